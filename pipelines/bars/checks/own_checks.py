"""Rows of the checks that code of the user's own gives: layer by layer, and of shear."""

from collections.abc import Iterator
from math import nan

import numpy as np

from pipelines.bars.demand.control_sections import Sections
from pipelines.bars.demand.shear import ShearDemand, across_shear, first_highest, tension
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis
from pipelines.deck.words import at_text, line_title
from pipelines.errors import MethodRangeError
from pipelines.standards.detailing.rules import Row
from pipelines.standards.own.checks import (
    NAMED,
    CheckRule,
    LayerDemand,
    LayerSection,
    ShearForces,
    ShearSection,
    share,
)
from pipelines.standards.own.code import MARK
from pipelines.standards.resistance.bars import Face, Layer, SlabBars, place_of
from pipelines.standards.sources import Source

OUTSIDE = "outside its range"


def own_rows(
    bars: SlabBars, layer: Layer, basis: DesignBasis, demand: LayerDemand
) -> Iterator[Row]:
    """Every check of one layer; nothing of one without bars, which bending refuses."""
    of, mat = bars.bars(layer), basis.materials
    if of.area == 0.0:
        return
    section = LayerSection(
        standard=mat.standard,
        face=layer[0],
        direction=layer[1],
        thickness_mm=1e3 * bars.thickness_of(layer),
        d_mm=1e3 * bars.effective_depth(layer),
        cover_mm=1e3 * bars.mat(layer[0]).cover_to(layer[1]),
        area_mm2_m=1e6 * of.area,
        diameter_mm=1e3 * of.largest,
        spacing_mm=1e3 * of.widest,
        f_ck_MPa=1e-6 * mat.concrete.f_ck,
        f_yk_MPa=1e-6 * mat.steel.f_yk,
    )
    for check in basis.own.checks:
        if check.of_layers is None or not check.counts_for(mat.standard):
            continue
        otherwise = ""
        try:
            value = share(check.of_layers, section, demand)
        except MethodRangeError as error:
            value, otherwise = nan, f"{OUTSIDE}, {error}"
        yield _row(check, place_of(layer), value, otherwise)


def own_shear_rows(
    deck: Deck,
    bars: SlabBars,
    basis: DesignBasis,
    sections: Sections,
    demand: ShearDemand,
    width: float,
) -> Iterator[Row]:
    """Every check of shear at its worst sample that has any; one row more where it is outside its
    range at some.

    width : of the means, one of the demand's [m].
    """
    mat, w = basis.materials, demand.widths.index(width)
    rules = [one for one in basis.own.checks if one.of_shear and one.counts_for(mat.standard)]
    judged = np.flatnonzero(sections.judged & (demand.v_Rd[w] > 0.0))
    if not rules or not len(judged):
        return
    forces, imposed = demand.forces[w][:, judged], demand.imposed
    pull = tension(forces, None if imposed is None else imposed[:, judged])
    moments, by_face = across_shear(bars, forces)
    asked = []
    for j, k in enumerate(judged):
        face: Face = "bottom" if moments[j] >= 0.0 else "top"
        h, d, area = (1e3 * float(values[j]) for values in by_face[face].arrays()[:3])
        asked.append(
            (
                ShearSection(
                    standard=mat.standard,
                    tension=face,
                    thickness_mm=h,
                    d_mm=d,
                    area_mm2_m=1e3 * area,
                    f_ck_MPa=1e-6 * mat.concrete.f_ck,
                    f_yk_MPa=1e-6 * mat.steel.f_yk,
                ),
                ShearForces(
                    v_kN_m=1e-3 * float(demand.v[w, k]),
                    m_kNm_m=1e-3 * float(moments[j]),
                    n_kN_m=1e-3 * float(pull[j]),
                    v_Rd_kN_m=1e-3 * float(demand.v_Rd[w, k]),
                ),
            )
        )
    for check in rules:
        assert check.of_shear is not None
        found = np.full(len(judged), nan)
        why = ""
        for j, (section, acting) in enumerate(asked):
            try:
                found[j] = share(check.of_shear, section, acting)
            except MethodRangeError as error:
                why = why or f"{OUTSIDE}, {error}"
        outside = np.isnan(found)
        if not outside.all():
            k = judged[first_highest(np.where(outside, -1.0, found))]
            where = (
                f"{_beside(deck, sections, int(k))}, under what {mat.standard} finds worst there"
            )
            yield _row(check, where, float(np.nanmax(found)))
        if outside.any():
            words = f"shear at {outside.sum()} of {len(judged)} places"
            yield _row(check, words, nan, why)


def _beside(deck: Deck, sections: Sections, k: int) -> str:
    """Where a sample of shear lies."""
    side = "before" if sections.side[k] < 0 else "after"
    title = line_title(deck, sections.names[sections.line[k]])
    x, y = sections.points[k].tolist()
    return f"shear {side} {title}, ({at_text((x, y))}) m"


def _row(check: CheckRule, place: str, value: float, otherwise: str = "") -> Row:
    return Row(
        check=f"{NAMED} {check.name}",
        place=place,
        required=1.0,
        provided=value,
        sense="at most",
        unit="-",
        source=Source(None, check.source, MARK),
        otherwise=otherwise,
    )

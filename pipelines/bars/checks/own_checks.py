"""Rows of the checks that code of the user's own gives, layer by layer."""

from collections.abc import Iterator
from math import nan

from pipelines.deck.reinforcement import DesignBasis
from pipelines.errors import MethodRangeError
from pipelines.standards.detailing.rules import Row
from pipelines.standards.own.checks import NAMED, LayerDemand, LayerSection
from pipelines.standards.own.code import MARK
from pipelines.standards.resistance.bars import Layer, SlabBars, place_of
from pipelines.standards.sources import Source


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
        if check.standard not in (None, mat.standard):
            continue
        otherwise = ""
        try:
            value = check.utilisation(section, demand)
        except MethodRangeError as error:
            value, otherwise = nan, f"outside its range, {error}"
        yield Row(
            check=f"{NAMED} {check.name}",
            place=place_of(layer),
            required=1.0,
            provided=value,
            sense="at most",
            unit="-",
            source=Source(None, check.source, MARK),
            otherwise=otherwise,
        )

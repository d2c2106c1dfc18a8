"""Whether a deck meets the conditions under which standards let slabs arch between beams, and what
that would be worth. Told beside the checks, in no verdict."""

from dataclasses import dataclass

import numpy as np

from pipelines.bars.checks.free_edges import free_edges
from pipelines.bars.checks.part import PartChecks
from pipelines.deck.deck import Deck
from pipelines.errors import MethodRangeError
from pipelines.standards.arching import (
    Arching,
    Condition,
    SlabOnBeams,
    arching,
    arching_conditions,
    empirical_conditions,
)
from pipelines.standards.materials import CYLINDER_OVER_CUBE, Materials
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, SlabBars
from pipelines.strips.deck_strip import StripDeck, strip_decks


@dataclass(frozen=True, kw_only=True)
class ArchingCheck:
    """Conditions of a strip between beams by a standard's materials.

    empirical, arching : the conditions. slab : what they are judged by. value : of a wheel where no
    condition of arching is known to fail, else None; used : the load of the wheel that governs
    punching over that at which the arching slab punches, None without either; load : that wheel's
    [N].
    """

    strip: StripDeck
    slab: SlabOnBeams
    empirical: tuple[Condition, ...]
    arching: tuple[Condition, ...]
    value: Arching | None
    load: float | None
    used: float | None


def arching_check(deck: Deck, part: PartChecks) -> ArchingCheck | str:
    """By the first strip of the deck whose lines are all beams, or why there is none."""
    try:
        strips = strip_decks(deck)
    except MethodRangeError as error:
        return str(error)
    beams = {line.name for line in deck.lines if line.beam is not None}
    strip = next((s for s in strips if all(one.name in beams for one in s.beam.supports)), None)
    if strip is None:
        return "the slab does not span between beams: some of its lines are supports of other kinds"
    mat, bars = part.basis.materials, part.bars
    slab = _slab(deck, strip, mat, bars)
    conditions = tuple(arching_conditions(slab))
    value = None
    if all(one.holds is not False for one in conditions):
        value = _value(slab, mat, bars, part)
    wheel = part.punching
    reduced = None if value is None else mat.factors.or_one("phi_shear") * value.load
    return ArchingCheck(
        strip=strip,
        slab=slab,
        empirical=tuple(empirical_conditions(slab)),
        arching=conditions,
        value=value,
        load=None if wheel is None else wheel.load,
        used=None if wheel is None or reduced is None else wheel.load / reduced,
    )


def _slab(deck: Deck, strip: StripDeck, mat: Materials, bars: SlabBars) -> SlabOnBeams:
    supports = strip.beam.supports
    mine = {one.name for one in supports}
    free = {name for name, _ in free_edges(deck)}
    own = mat.concrete.f_ck
    cylinder = own if mat.concrete.specimen == "cylinder" else CYLINDER_OVER_CUBE * own
    return SlabOnBeams(
        spans=tuple(np.diff([one.at for one in supports]).tolist()),
        widths=tuple(one.width for one in supports),
        overhangs=(strip.overhang(0), strip.overhang(len(supports) - 1)),
        free_ends=tuple(edge for edge in strip.on_deck.edges if edge in free),
        joined=all(
            line.beam is not None and line.beam.connection > 0.0
            for line in deck.lines
            if line.name in mine
        ),
        uniform=not deck.slab.zones,
        thickness=bars.thickness,
        covers=sum(bars.mat(face).cover for face in FACES),
        cylinder=cylinder,
        cube=cylinder / CYLINDER_OVER_CUBE,
        skew=abs(strip.skew_deg),
    )


def _value(slab: SlabOnBeams, mat: Materials, bars: SlabBars, part: PartChecks) -> Arching | None:
    wheel = part.punching
    if wheel is None:
        return None
    clear = max(
        span - 0.5 * (a + b)
        for span, a, b in zip(slab.spans, slab.widths, slab.widths[1:], strict=False)
    )
    depth = float(np.mean([bars.effective_depth(("bottom", one)) for one in DIRECTIONS]))
    return arching(
        half_span=0.5 * clear,
        thickness=slab.thickness,
        depth=depth,
        strength=slab.cylinder / mat.factors.or_one("gamma_c"),
        area=float(np.prod(wheel.sides)),
    )

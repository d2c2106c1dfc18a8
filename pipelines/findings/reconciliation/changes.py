"""A deck under the assumptions of a hand strip, and the changes that lead from there to the deck.

The start is an exact plate: infinitely wide across the strip, straight, of one thickness, isotropic
and uncracked, on rigid lines, without other lines. Each change replaces one assumption by what the
deck file says. Some need another first: beams that bend need a width.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

import numpy as np

from pipelines.deck.deck import Deck, Line
from pipelines.model.build import Near, build_model
from pipelines.strips.deck_strip import StripDeck
from plate.geometry.plan import Plan, grid_plan
from plate.model.model import PlateModel
from plate.model.supports import LineSupport

Change = Literal[
    "width", "plan", "zones", "others", "bending", "shear", "torsion", "composite", "slab", "spread"
]
ORDER: tuple[Change, ...] = (
    "width", "plan", "zones", "others", "bending", "shear", "torsion", "composite", "slab", "spread"
)  # fmt: skip
NEEDS: Mapping[Change, tuple[Change, ...]] = MappingProxyType(
    {
        "plan": ("width",),
        "zones": ("width",),
        "others": ("width",),
        "bending": ("width", "others"),
        "shear": ("bending",),
        "composite": ("bending",),
    }
)
# An infinitely wide plate is cut off so many spans beyond the outermost wheel: what a load does
# there is below exp(-pi) squared of it, on the free edge that is left.
REACH = 2.5


@dataclass(frozen=True)
class Changes:
    """What of a deck differs from the hand strip's assumptions, in both orders of walking.

    forward : as ORDER; reverse : the last first as far as one change does not need another.
    """

    forward: tuple[Change, ...]
    reverse: tuple[Change, ...]


def changes(deck: Deck, strip: StripDeck, spreads: bool) -> Changes:
    """spreads : whether the deck spreads wheels otherwise than the strip's rule."""
    slab, plan = deck.slab, deck.plan
    primary = {support.name for support in strip.beam.supports}
    beams = [line.beam for line in deck.lines if line.beam is not None]
    there: dict[Change, bool] = {
        "width": True,
        "plan": plan.skew != 0.0 or not plan.alignment.straight or plan.end_offsets != plan.offsets,
        "zones": bool(slab.zones),
        "others": any(line.name not in primary for line in deck.lines) or bool(deck.points),
        "bending": any(
            line.name in primary and line.support in ("beam", "spring") for line in deck.lines
        ),
        "shear": any(beam.Av is not None for beam in beams),
        "torsion": any(beam.J > 0.0 for beam in beams),
        "composite": any(beam.connection > 0.0 for beam in beams),
        "slab": slab.stiffness != (1.0, 1.0, 1.0) or slab.rigidity is not None,
        "spread": spreads,
    }
    forward = tuple(change for change in ORDER if there[change])
    left = list(forward)
    reverse: list[Change] = []
    while left:
        done = set(reverse)
        ready = [c for c in left if all(n in done or n not in forward for n in NEEDS.get(c, ()))]
        reverse.append(ready[-1])
        left.remove(ready[-1])
    return Changes(forward, tuple(reverse))


def changed_deck(
    deck: Deck, strip: StripDeck, done: Collection[Change], loads: tuple[float, float]
) -> Deck:
    """The deck with only those changes made.

    loads : range across the strip that the wheels take [m], for the cut of an infinite width.
    """
    slab = deck.slab
    if "slab" not in done:
        slab = replace(slab, stiffness=(1.0, 1.0, 1.0), rigidity=None)
    if "zones" not in done:
        slab = replace(slab, zones=())
    primary = {support.name for support in strip.beam.supports}
    lines = tuple(
        _line(line, line.name in primary, done)
        for line in deck.lines
        if line.name in primary or "others" in done
    )
    return replace(
        deck,
        slab=slab,
        plan=_plan(deck, strip, done, loads),
        lines=lines,
        points=deck.points if "others" in done else (),
        cases=(),
        probes=(),
    )


def changed_model(
    deck: Deck, strip: StripDeck, done: Collection[Change], near: Near | None
) -> PlateModel:
    """The model of a changed deck; its lines do not yield before they bend."""
    model = build_model(deck, near).model
    if "bending" in done:
        return model
    # Beams that only twist lie on rigid lines.
    primary = {support.name for support in strip.beam.supports}
    rigid = [
        LineSupport(line=beam.line, kind="rigid")
        for beam in model.beams
        if beam.line.removesuffix(":full") in primary
    ]
    return replace(model, supports=(*model.supports, *rigid))


def _line(line: Line, primary: bool, done: Collection[Change]) -> Line:
    if primary and "width" not in done:
        line = replace(line, to_edges=True)
    beam = line.beam
    if beam is not None:
        if "shear" not in done:
            beam = replace(beam, Av=None)
        if "torsion" not in done:
            beam = replace(beam, J=0.0)
        if "composite" not in done:
            beam = replace(beam, eccentricity=0.0, connection=0.0)
        line = replace(line, beam=beam)
    if primary and "bending" not in done:
        twists = beam is not None and beam.J > 0.0
        if line.support == "spring":
            line = replace(line, support="rigid", k=0.0, k_rot=0.0)
        elif beam is not None and twists:
            line = replace(line, held_at=())
        elif beam is not None:
            line = replace(line, support="rigid", beam=None, held_at=())
    return line


def _plan(
    deck: Deck, strip: StripDeck, done: Collection[Change], loads: tuple[float, float]
) -> Plan:
    plan = deck.plan
    overhang = dict(plan.overhang)
    if "width" not in done:
        reach = REACH * float(np.max(np.diff([support.at for support in strip.beam.supports])))
        low, high = loads[0] - reach, loads[1] + reach
        if strip.bars == "parallel":
            overhang["left"] = max(overhang["left"], plan.offsets[0] - low)
            overhang["right"] = max(overhang["right"], high - plan.offsets[-1])
        else:
            overhang["start"] = max(overhang["start"], plan.stations[0] - low)
            overhang["end"] = max(overhang["end"], high - plan.stations[-1])
    if "plan" in done:
        return plan
    return grid_plan(plan.stations, plan.offsets, overhang=overhang)

"""The strip along a deck: the beam over its cross lines and the slab around it."""

from dataclasses import dataclass

import numpy as np

from pipelines.deck import Axle, Deck
from pipelines.errors import MethodRangeError
from pipelines.stripbeam import StripBeam, StripSupport
from pipelines.strips_input import Ends, StripInput


@dataclass(frozen=True)
class StripDeck:
    """What a hand strip along the deck needs of it: the beam per metre and the slab around it.

    depth, surfacing : thickness of the slab and of what lies on it [m]; slab_width [m].
    """

    beam: StripBeam
    depth: float
    surfacing: float
    slab_width: float
    skew_deg: float = 0.0

    def overhang(self, support: int) -> float:
        """Length of the overhang that hangs from a support [m]; 0 where none does."""
        beam = self.beam
        before = beam.supports[0].at - beam.start if support == 0 else 0.0
        after = beam.end - beam.supports[-1].at if support == len(beam.supports) - 1 else 0.0
        return max(before, after)

    def ends(self, bay: int) -> Ends:
        """How many ends of a bay are continuous or clamped."""
        supports = self.beam.supports
        left = bay > 0 or supports[0].k_rot > 0
        right = bay < len(supports) - 2 or supports[-1].k_rot > 0
        if left and right:
            return "both ends"
        return "one end" if left or right else "simple"

    def span_input(self, axle: Axle, bay: int) -> StripInput:
        """What a method is asked about a wheel of the axle in a bay; the position is still 0."""
        left, right = self.beam.supports[bay], self.beam.supports[bay + 1]
        return StripInput(
            span=round(right.at - left.at, 9),  # equal bays ask the same question
            position=0.0,
            contact=axle.patch,
            depth=self.depth,
            surfacing=self.surfacing,
            support_width=0.5 * (left.width + right.width),
            slab_width=self.slab_width,
            ends=self.ends(bay),
            skew_deg=self.skew_deg,
        )


def strip_deck(deck: Deck) -> StripDeck:
    """The strip along a deck over its supporting cross lines; beams are taken as rigid lines.

    Raises MethodRangeError where fewer than two cross lines carry the deck.
    """
    slab = deck.slab
    start, end = deck.plan.u_range
    stations = {f"C{i + 1}": at for i, at in enumerate(deck.stations)}
    stations |= {"start": start, "end": end}
    supports = [
        StripSupport(
            at=stations[line.name],
            k=line.k if line.support == "spring" else np.inf,
            k_rot={"clamped": np.inf, "spring": line.k_rot}.get(line.support, 0.0),
            width=line.width,
            name=line.name,
        )
        for line in deck.lines
        if line.name in stations and (line.support != "spring" or line.k > 0)
    ]
    if len(supports) < 2:
        raise MethodRangeError(
            f"a strip along the deck needs two cross lines that carry it, here {len(supports)}"
        )
    if slab.rigidity is not None:
        rigidity = slab.rigidity[0]
    else:
        rigidity = slab.E * slab.thickness**3 / 12 / (1 - slab.poisson**2) * slab.stiffness[0]
    edges = deck.plan.line_offsets(np.array([start, end]))
    return StripDeck(
        beam=StripBeam(tuple(sorted(supports, key=lambda one: one.at)), start, end, rigidity),
        depth=slab.thickness,
        surfacing=deck.traffic.surfacing if deck.traffic else 0.0,
        slab_width=float(np.min(edges[:, -1] - edges[:, 0])),
        skew_deg=float(np.degrees(deck.plan.skew)),
    )

"""The strip of a deck, along it or across it: the beam over its lines and the slab around it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.deck.deck import Deck, Line
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Axle
from pipelines.standards.strip_widths.method import Bars, Ends, StripInput
from pipelines.strips.beam import StripBeam, StripSupport

# From this ratio of spans on the strip with the shorter span takes all wheels (AASHTO LRFD
# 4.6.2.1.5, from memory); below it both strips are shown, each with all wheels.
ONE_WAY = 1.5
WORDS = {"parallel": ("along", "cross"), "across": ("across", "longitudinal")}


@dataclass(frozen=True, kw_only=True)
class StripDeck:
    """What a hand strip needs of a deck: the beam per metre and the slab around it.

    depth, surfacing : thickness of the slab and of what lies on it [m].
    slab_width : of the slab across the strip [m].
    bars : "parallel": the strip runs along traffic over C lines and its stations are the deck's;
        "across": it runs across over L lines and its stations are offsets.
    """

    beam: StripBeam
    depth: float
    surfacing: float
    slab_width: float
    skew_deg: float = 0.0
    bars: Bars = "parallel"

    @property
    def bays(self) -> range:
        return range(len(self.beam.supports) - 1)

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
        contact = axle.patch if self.bars == "parallel" else axle.patch[::-1]
        return StripInput(
            span=round(right.at - left.at, 9),  # equal bays ask the same question
            position=0.0,
            contact=contact,
            depth=self.depth,
            surfacing=self.surfacing,
            support_width=0.5 * (left.width + right.width),
            slab_width=self.slab_width,
            ends=self.ends(bay),
            bars=self.bars,
            skew_deg=self.skew_deg,
        )

    @property
    def is_mirrored(self) -> bool:
        """Whether the strip is the same seen from its other end."""
        beam = self.beam
        middle = beam.start + beam.end
        turned = [replace(s, at=middle - s.at, name="") for s in reversed(beam.supports)]
        same = all(
            abs(support.at - two.at) < 1e-9
            and replace(support, at=0.0, name="") == replace(two, at=0.0)
            for support, two in zip(beam.supports, turned, strict=True)
        )
        EI = np.broadcast_to(beam.EI, beam.nodes.size - 1)
        return same and bool(np.array_equal(EI, EI[::-1]))


def strip_decks(deck: Deck) -> tuple[StripDeck, ...]:
    """The strips that a designer would draw: along, across, or both where spans are alike.

    Raises MethodRangeError where no two parallel lines carry the deck.
    """
    found, reasons = [], []
    for bars in ("parallel", "across"):
        try:
            found.append(strip_deck(deck, bars))
        except MethodRangeError as error:
            reasons.append(str(error))
    if not found:
        raise MethodRangeError("; ".join(reasons))
    spans = [float(np.mean(np.diff([s.at for s in one.beam.supports]))) for one in found]
    return tuple(
        one
        for one, span in zip(found, spans, strict=True)
        if span < ONE_WAY * min(spans) * (1.0 - 1e-9)
    )


def strip_deck(deck: Deck, bars: Bars = "parallel") -> StripDeck:
    """The strip along a deck over its supporting C lines, or across it over its L lines.

    Beams are taken as rigid lines. Raises MethodRangeError where fewer than two lines carry it, on
    a plan without such lines, and across a deck whose L lines are not parallel.
    """
    slab, plan = deck.slab, deck.plan
    along, lines = WORDS[bars]
    if not plan.is_grid:
        raise MethodRangeError(f"a strip {along} the deck needs lines of a grid, the plan has none")
    u_low, u_high = plan.u_range
    edges = plan.line_offsets(np.array([u_low, u_high]))
    if bars == "parallel":
        start, end = u_low, u_high
        stations = {f"C{i + 1}": at for i, at in enumerate(deck.stations)}
        stations |= {"start": start, "end": end}
        width = float(np.min(edges[:, -1] - edges[:, 0]))
        factor, index = slab.stiffness[0], 0
    else:
        if plan.end_offsets != plan.offsets:
            raise MethodRangeError(
                "a strip across the deck needs parallel L lines, here they taper"
            )
        start, end = float(edges[0, 0]), float(edges[0, -1])
        stations = {f"L{j + 1}": at for j, at in enumerate(deck.offsets)}
        stations |= {"left": start, "right": end}
        width = u_high - u_low
        factor, index = slab.stiffness[1], 1
    supports = _supports(deck.lines, stations)
    if len(supports) < 2:
        raise MethodRangeError(
            f"a strip {along} the deck needs two {lines} lines that carry it, here {len(supports)}"
        )
    if slab.rigidity is not None:
        rigidity = slab.rigidity[index]
    else:
        rigidity = slab.E * slab.thickness**3 / 12 / (1 - slab.poisson**2) * factor
    return StripDeck(
        beam=StripBeam(tuple(supports), start, end, rigidity),
        depth=slab.thickness,
        surfacing=deck.traffic.surfacing if deck.traffic else 0.0,
        slab_width=width,
        skew_deg=float(np.degrees(plan.skew)),
        bars=bars,
    )


def _supports(lines: Sequence[Line], stations: dict[str, float]) -> list[StripSupport]:
    supports = [
        StripSupport(
            at=stations[line.name],
            k=line.k if line.support == "spring" else np.inf,
            k_rot={"clamped": np.inf, "spring": line.k_rot}.get(line.support, 0.0),
            width=line.width,
            name=line.name,
        )
        for line in lines
        if line.name in stations and (line.support != "spring" or line.k > 0)
    ]
    return sorted(supports, key=lambda one: one.at)

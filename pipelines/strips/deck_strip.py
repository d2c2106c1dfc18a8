"""The strip of a deck, along it or across it: the beam over its lines and the slab around it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.deck.deck import Deck, Line
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Axle
from pipelines.standards.strip_widths.method import Bars, Ends, StripInput
from pipelines.strips.beam import StripBeam, StripSupport
from pipelines.strips.crossed_lines import ruled_layout
from pipelines.strips.layout import WORDS, StripLayout, grid_layout

# From this ratio of spans on the strip with the shorter span takes all wheels (AASHTO LRFD
# 4.6.2.1.5, from memory); below it both strips are shown, each with all wheels.
ONE_WAY = 1.5


@dataclass(frozen=True, kw_only=True)
class StripDeck:
    """What a hand strip needs of a deck: the beam per metre and the slab around it.

    depth, surfacing : thickness of the slab and of what lies on it [m].
    slab_width : of the slab across the strip [m].
    bars : "parallel": the strip runs along traffic over C lines and its stations are the deck's;
        "across": it runs across over L lines and its stations are offsets. On a plan of any outline
        named lines stand for C and L lines.
    layout : where it lies on its deck; None of a strip by itself.
    """

    beam: StripBeam
    depth: float
    surfacing: float
    slab_width: float
    skew_deg: float = 0.0
    bars: Bars = "parallel"
    layout: StripLayout | None = field(default=None, compare=False)

    @property
    def on_deck(self) -> StripLayout:
        """The strip's layout on its deck. Raises MethodRangeError for a strip without a deck."""
        if self.layout is None:
            raise MethodRangeError("this strip lies on no deck")
        return self.layout

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
    """The strips that a designer would draw: along, across, or both where spans are alike; only the
    one that the deck file states, where it does.

    Raises MethodRangeError where no two parallel lines carry the deck.
    """
    if deck.strip is not None and deck.strip.bars is not None:
        return (strip_deck(deck, deck.strip.bars),)
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

    Beams are taken as rigid lines. Raises MethodRangeError where fewer than two lines carry it, and
    where they are no lines of a strip: across a deck whose L lines are not parallel, on an outline
    see `ruled_layout`.
    """
    slab = deck.slab
    along, lines = WORDS[bars]
    layout = grid_layout(deck, bars) if deck.plan.is_grid else ruled_layout(deck, bars)
    index = 0 if bars == "parallel" else 1
    start, end = layout.extent
    supports = _supports(deck.lines, layout.lines)
    if len(supports) < 2:
        raise MethodRangeError(
            f"a strip {along} the deck needs two {lines} lines that carry it, here {len(supports)}"
        )
    if slab.rigidity is not None:
        rigidity = slab.rigidity[index]
    else:
        rigidity = slab.E * slab.thickness**3 / 12 / (1 - slab.poisson**2) * slab.stiffness[index]
    return StripDeck(
        beam=StripBeam(tuple(supports), start, end, rigidity),
        depth=slab.thickness,
        surfacing=deck.traffic.surfacing if deck.traffic else 0.0,
        slab_width=layout.width,
        skew_deg=float(np.degrees(layout.skew)),
        bars=bars,
        layout=layout,
    )


def _supports(lines: Sequence[Line], stations: Mapping[str, float]) -> list[StripSupport]:
    supports = [
        StripSupport(
            at=stations[line.name],
            k=line.k if line.support == "spring" else np.inf,
            k_rot={"clamped": np.inf, "spring": line.k_rot}.get(line.support, 0.0),
            width=line.width,
            rests=line.rests,
            name=line.name,
        )
        for line in lines
        if line.name in stations and (line.support != "spring" or line.k > 0)
    ]
    return sorted(supports, key=lambda one: one.at)

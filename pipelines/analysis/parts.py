"""What of a deck the stages of its analysis read: what they have no business with is taken out, so
that a change of it does nothing again."""

from dataclasses import replace

from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import Reinforcement
from pipelines.standards.own.own import Own
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars

NO_SIZE = 1e-6


def plate_part(deck: Deck) -> Deck:
    """The deck without all that plate, cases and traffic do not depend on."""
    return replace(
        deck,
        title="",
        warnings=(),
        probes=(),
        reinforcement=None,
        strip=None,
        load_tests=(),
        fitted=(),
        factors=(),
        sums=(),
        own=Own(),
    )


def strip_part(deck: Deck) -> Deck:
    """The deck with what strips and findings read, but its probes: of the bars depths and
    standards."""
    bars = deck.reinforcement
    if bars is not None:
        bars = Reinforcement(bars=bars.bars.of_depth, angle=bars.angle, bases=bars.bases[:1])
    return replace(
        deck,
        title="",
        warnings=(),
        probes=(),
        reinforcement=bars,
        factors=(),
        load_tests=(),
        fitted=(),
        sums=(),
        own=deck.own.of("strips"),
    )


def walk_part(on_strip: Deck) -> Deck:
    """What of that a walk from strip to plate reads: of the bars their standard alone, so that bars
    of no size stand in their place."""
    bars = on_strip.reinforcement
    if bars is None:
        return on_strip
    mat = Mat(cover=NO_SIZE, x=Bars(NO_SIZE, 1.0), y=Bars(NO_SIZE, 1.0), outer="x")
    none = replace(bars, bars=SlabBars(on_strip.slab.thickness, mat, mat))
    return replace(on_strip, reinforcement=none)

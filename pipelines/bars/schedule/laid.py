"""The bars of every layer where they are laid, before laps."""

from collections.abc import Iterator
from dataclasses import dataclass

import shapely

from pipelines.bars.schedule.lines import BarLine, course_of
from pipelines.bars.schedule.steps import lines_by_level
from pipelines.deck.deck import Deck
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, SlabBars


@dataclass(frozen=True, kw_only=True)
class LaidBars:
    """Bars of a mat, or with the `mark` of those added to it, and the lines on which they lie.

    whole : the bars of the slab where these lie, of the thickness at whose level.
    """

    layer: Layer
    mark: str
    bars: Bars
    whole: SlabBars
    lines: tuple[BarLine, ...]


def laid_bars(deck: Deck) -> tuple[LaidBars, ...]:
    """The bars of every layer: of its mat, then those added to it."""
    reinforcement = deck.required_reinforcement
    found: list[LaidBars] = []
    for layer in LAYERS:
        mat = reinforcement.bars.bars(layer)
        found += _laid(deck, layer, "", mat, reinforcement.bars, None)
        for added in reinforcement.added:
            if added.layer == layer:
                whole = reinforcement.with_added(added)
                found += _laid(deck, layer, added.mark, added.bars, whole, added.area)
    return tuple(found)


def _laid(
    deck: Deck,
    layer: Layer,
    mark: str,
    bars: Bars,
    whole: SlabBars,
    area: shapely.Geometry | None,
) -> Iterator[LaidBars]:
    """At the level of every thickness."""
    course, mat = course_of(deck, layer[1]), deck.required_reinforcement.bars.bars(layer)
    lines = course.lines(mat, bars if mark else None, area)
    for t, mine in lines_by_level(deck, layer, lines, course.cover).items():
        yield LaidBars(layer=layer, mark=mark, bars=bars, whole=whole.at(t), lines=mine)

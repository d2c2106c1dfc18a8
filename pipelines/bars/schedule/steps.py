"""Bars where the soffit steps: cut there, each at the level of the thickness that it is for.

The top of the slab is level: top bars run past a step. Bottom bars of the thinner part run on
straight into the thicker one by their bond length; those of the thicker part end at the step, with
the cover. Between two thinner parts no further apart than they run on their bars run through.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely

from pipelines.bars.drawn_parts import run_on
from pipelines.bars.schedule.lines import SAME, SHORTEST, BarLine
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import Reinforcement
from pipelines.deck.thicknesses import Part, Thicknesses
from pipelines.standards.resistance.bars import Direction, Layer
from plate.arrays import Floats

Interval = tuple[float, float, float]
"""From where to where along a line, and how thick the slab is there [m]."""


def lines_by_level(
    deck: Deck, layer: Layer, lines: Sequence[BarLine], cover: float
) -> dict[float, tuple[BarLine, ...]]:
    """Lines of bars by the thickness at whose level they lie [m]; top bars by the thickest, whose
    bond is the poorest. cover : at the ends of bars [m]."""
    thicknesses = Thicknesses.of(deck)
    if layer[0] == "top" or thicknesses.uniform:
        return {thicknesses.thickest: tuple(lines)}
    reach = longest_run_on(deck.required_reinforcement)[layer[1]]
    parts = thicknesses.within_cover(cover)
    found: dict[float, list[BarLine]] = {t: [] for t, _ in parts}
    for line in lines:
        intervals = _intervals(parts, line)
        for t, mine in found.items():
            mine += [_part(line, a, b) for a, b in _stretches(intervals, t, reach)]
    return {t: tuple(mine) for t, mine in found.items() if mine}


def longest_run_on(reinforcement: Reinforcement) -> Mapping[Direction, float]:
    """How far bottom bars run on past a step, by the standard that asks for most [m]."""
    each = [run_on(reinforcement, basis.materials) for basis in reinforcement.bases]
    return {direction: max(one[direction] for one in each) for direction in each[0]}


def level_along(thicknesses: Thicknesses, paths: Sequence[Floats]) -> float:
    """The least thickness under some bars [m], at whose level they pass all steps."""
    line = shapely.MultiLineString([path.tolist() for path in paths])
    found = [t for t, part in thicknesses.parts if line.intersection(part).length > SHORTEST / 10]
    return min(found, default=thicknesses.slab.thickness)


def room_at_level(thicknesses: Thicknesses, line: BarLine, side: int, cover: float) -> float:
    """Length of a line from its first (0) or its last end (1) to the cover of where a thinner part
    begins [m]."""
    if thicknesses.uniform:
        return line.length
    intervals = _intervals(thicknesses.within_cover(cover), line)
    if side == 1:
        intervals = [(line.length - b, line.length - a, t) for a, b, t in reversed(intervals)]
    thinner = [a for a, _, t in intervals if t < intervals[0][2]]
    return min(thinner, default=line.length)


def _intervals(parts: Sequence[Part], line: BarLine) -> list[Interval]:
    """Thicknesses along a line, in order, by lengths on the ground."""
    path = shapely.LineString(line.path)
    scale = line.length / path.length
    found = []
    for t, part in parts:
        for piece in shapely.get_parts(path.intersection(part)):
            if isinstance(piece, shapely.LineString) and piece.length > SAME:
                ends = [path.project(shapely.Point(piece.coords[k])) for k in (0, -1)]
                found.append((scale * min(ends), scale * max(ends), t))
    return sorted(found)


def _stretches(
    intervals: Sequence[Interval], thickness: float, reach: float
) -> Iterator[tuple[float, float]]:
    """From where to where bars at the level of a thickness lie along a line."""
    merged: list[list[float]] = []
    for run in _at_least(intervals, thickness):
        low, high = run[0][0], run[-1][1]  # beyond are thinner parts, or the line ends
        for start, end, t in run:
            if t > thickness:
                continue
            a, b = max(start - reach, low), min(end + reach, high)
            if merged and merged[-1][1] >= a - SAME:
                merged[-1][1] = b
            else:
                merged.append([a, b])
    yield from ((a, b) for a, b in merged if b - a >= SHORTEST)


def _at_least(intervals: Sequence[Interval], thickness: float) -> Iterator[list[Interval]]:
    """Runs of intervals that are no thinner."""
    run: list[Interval] = []
    for one in intervals:
        if one[2] >= thickness:
            run.append(one)
        elif run:
            yield run
            run = []
    if run:
        yield run


def _part(line: BarLine, start: float, end: float) -> BarLine:
    ends = (
        line.ends[0] if start < SAME else "",
        line.ends[1] if end > line.length - SAME else "",
    )
    path = np.asarray(line.part(start, end))
    return BarLine(number=line.number, path=path, length=end - start, across=line.across, ends=ends)

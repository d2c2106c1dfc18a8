"""Bars of the schedule as plans show them: one of those side by side, and the others' range."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from pipelines.bars.schedule.marks import Mark, PlacedBar, Schedule
from pipelines.deck.deck import Deck
from pipelines.numbers import as_given
from pipelines.report.drawings.plan import traced
from pipelines.standards.resistance.bars import Layer
from plate.arrays import Floats

LAID = ("mat", "added")
"""Uses of the bars that a layer's own plan shows; the others have a plan of their own."""


OFF = 0.06  # of the bars, so that one in the middle is not drawn over a line there
ON = 1e-9
CROSSED = 0.3  # of a bar, where its range crosses it
PASSED = 0.5  # along bars that a range crosses squarely, where all of them lie [m]
SHORT = 0.5  # of the shortest of them, where that is less


@dataclass(frozen=True, eq=False, kw_only=True)
class DrawnRange:
    """bar : Cartesian points (n, 2) of the bar that is drawn; middle : where the range crosses it;
    reach : (n, 2) from the first to the last bar, None of one alone; words : number, diameter
    and spacing, and the length; even : whether it is drawn on the line, else a little beside."""

    mark: Mark
    bar: Floats
    middle: Floats
    reach: Floats | None
    words: tuple[str, str]
    even: bool


def is_laid(mark: Mark, layer: Layer) -> bool:
    """Whether its bars are of the mat of a layer or added to it."""
    return mark.use in LAID and mark.layers == (layer,)


def layer_ranges(deck: Deck, schedule: Schedule, layer: Layer) -> Iterator[DrawnRange]:
    """Mats and added bars of a layer; sets of lines are drawn at different places across.

    Bars side by side that share no place are drawn as several ranges, each square to its bars: a
    line askew would read as bars laid askew.
    """
    found = [
        (mark, bars) for mark in schedule.marks if is_laid(mark, layer) for bars in mark.ranges
    ]
    sets = list(dict.fromkeys(_lines(bars) for _, bars in found))
    pieces = dict.fromkeys(sets, 0)
    for mark, bars in sorted(found, key=lambda one: float(one[1][0].path[0].sum())):
        own = _lines(bars)
        share = (sets.index(own) + 1) / (len(sets) + 1) - OFF
        pieces[own] += 1
        for run in _runs(bars):
            yield _drawn(deck, mark, run, share, even=pieces[own] % 2 == 1)


def beside_ranges(deck: Deck, schedule: Schedule) -> Iterator[DrawnRange]:
    """U-bars, bars along edges, trimmers and diagonals."""
    for mark in schedule.marks:
        if mark.use not in LAID:
            for bars in mark.ranges:
                yield _drawn(deck, mark, bars, 0.5, even=True)


def _lines(bars: Sequence[PlacedBar]) -> tuple[float, ...]:
    return tuple(sorted({round(bar.across, 6) for bar in bars}))


def _runs(bars: Sequence[PlacedBar]) -> Iterator[list[PlacedBar]]:
    """Bars side by side in the fewest runs of like numbers that each share a place along them."""
    ordered = sorted(bars, key=lambda bar: bar.across)
    for count in range(1, len(ordered) + 1):
        parts = np.array_split(np.arange(len(ordered)), count)
        runs = [[ordered[k] for k in part] for part in parts]
        if all(_common(run, run[0]) for run in runs):
            yield from runs
            return


def _common(bars: Sequence[PlacedBar], one: PlacedBar) -> tuple[float, float] | None:
    """From where to where along one of the bars all of them lie [m]; None where they hardly do."""
    run = _run(one)
    ends = np.sort([[bar.path[0] @ run, bar.path[-1] @ run] for bar in bars], axis=1)
    low, high = float(ends[:, 0].max()), float(ends[:, 1].min())
    shortest = float(np.diff(ends, axis=1).min())
    return (low, high) if high - low >= min(PASSED, SHORT * shortest) else None


def _run(bar: PlacedBar) -> Floats:
    run = bar.path[-1] - bar.path[0]
    return np.asarray(run / np.linalg.norm(run))


def _drawn(
    deck: Deck, mark: Mark, bars: Sequence[PlacedBar], share: float, *, even: bool
) -> DrawnRange:
    bars = sorted(bars, key=lambda bar: bar.across)
    one = bars[min(int(share * len(bars)), len(bars) - 1)]
    drawn = traced(deck, one.path)
    # words run to the right, or up the sheet where they cannot, on the longer side of the crossing
    run, down = (drawn[-1] - drawn[0]).tolist()
    back = run < -ON or (run < ON and down > 0.0)
    at = 1.0 - CROSSED if back else CROSSED
    reach = None
    if len(bars) > 1:
        first, middle, last = _crossings(bars, one, at)
        reach = traced(deck, np.array([first, middle, last]))
    else:
        course = shapely.LineString(one.path)  # along an edge that may be an arc
        middle = np.array(course.interpolate(at, normalized=True).coords[0])
    return DrawnRange(
        mark=mark,
        bar=drawn,
        middle=deck.plan.alignment.to_cartesian(middle),
        reach=reach,
        words=range_words(mark, bars),
        even=even,
    )


def _crossings(
    bars: Sequence[PlacedBar], one: PlacedBar, at: float
) -> tuple[Floats, Floats, Floats]:
    """Plan points (2,) where a range crosses the first bar, the one that is drawn and the last.

    It runs square to the bars where they all pass one place, else, of U-bars along an edge, from
    the first bar to the last.
    """
    run, common = _run(one), _common(bars, one)
    if common:
        low, high = common
        level = low + at * (high - low)
        here = [
            bar.path[0] + (level - float(bar.path[0] @ run)) * run
            for bar in (bars[0], one, bars[-1])
        ]
        return here[0], here[1], here[2]
    first, last = (bar.path[0] + at * (bar.path[-1] - bar.path[0]) for bar in (bars[0], bars[-1]))
    wide = bars[-1].across - bars[0].across
    straight = first + (one.across - bars[0].across) / (wide or 1.0) * (last - first)
    # where the straight line from the first to the last bar meets this one, no nearer to its ends
    long = float(np.linalg.norm(one.path[-1] - one.path[0]))
    part = np.clip(float((straight - one.path[0]) @ run), 0.1 * long, 0.9 * long)
    return first, one.path[0] + part * run, last


def range_words(mark: Mark, bars: Sequence[PlacedBar]) -> tuple[str, str]:
    """ "26 x 16@150" and "L 6720": of lines lapped in turn twice the spacing."""
    words = f"{len(bars)} x {as_given(round(1e3 * mark.diameter, 6))}"
    places = _lines(bars)
    if mark.spacing and len(places) > 1:
        # bars across a curved deck stand closer in plan by less than half
        apart = max(round(float(np.median(np.diff(places))) / mark.spacing), 1) * mark.spacing
        words += f"@{as_given(round(1e3 * apart, 6))}"
    cuts = sorted({round(1e3 * bar.cut) for bar in bars}, reverse=True)
    return words, f"L {cuts[0]}" + (f" to {cuts[-1]}" if len(cuts) > 1 else "")


def counted(one: DrawnRange) -> str:
    """Words of a range with the number and the lengths of all bars of its mark."""
    size = as_given(round(1e3 * one.mark.diameter, 6))
    if one.mark.spacing:
        size += f"@{as_given(round(1e3 * one.mark.spacing, 6))}"
    cuts = [round(1e3 * cut) for cut in one.mark.lengths]
    length = f"L {cuts[0]}" + (f" to {cuts[-1]}" if len(cuts) > 1 else "")
    return f"{len(one.mark.bars)} x {size}, {length}"

"""Lines of bars longer than the stock length in pieces, lapped where the layer is little used."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.schedule.lines import SAME, BarLine
from pipelines.bars.schedule.marks import PlacedBar, down, up
from pipelines.standards.detailing.laps import APART
from plate.arrays import Floats, Ints

STEP = 0.05  # of the places where laps may begin [m]
SHIFTS = 4  # from one shift of odd lines to the next that is looked at, in such steps
MOST_LINES = 24  # of a group at which the utilisation is looked at
WITHIN = 5  # places along a lap at which it is looked at
Used = Callable[[Floats], Floats]
"""Utilisation (n,) of a layer at plan points (n, 2)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Lapped:
    """Lines lapped alike. starts : of the laps of even lines from the lines' first ends [m], those
    of odd lines lie `shift` further on; lap [m]; highest : utilisation at the laps."""

    lines: tuple[BarLine, ...]
    starts: tuple[float, ...]
    lap: float
    shift: float
    highest: float | None

    def pieces(self) -> list[list[PlacedBar]]:
        """Bars that have one place in the lines: pieces of even lines, then those of odd ones."""
        if not self.starts:
            return [[_bar(line, 0.0, down(line.length)) for line in self.lines]]
        found = []
        for odd in (0, 1):
            mine = [line for line in self.lines if line.number % 2 == odd]
            starts = [0.0, *(s + odd * self.shift for s in self.starts)]
            for k, start in enumerate(starts):
                last = k + 1 == len(starts)
                found.append(
                    [
                        _bar(line, start, down(line.length) if last else starts[k + 1] + self.lap)
                        for line in mine
                    ]
                )
        return [bars for bars in found if bars]


def _bar(line: BarLine, start: float, end: float) -> PlacedBar:
    return PlacedBar(line.part(start, end), end - start, line.across)


def lapped(lines: Sequence[BarLine], lap: float, stock: float, used: Used) -> list[Lapped]:
    """Groups of lines that are lapped alike, each with as few laps as the stock length allows.

    Laps of neighbouring bars lie apart; no piece is shorter than two laps. A line without room for
    that stays one bar.
    """
    lap, shift = up(lap), up(APART * lap)
    by_count: dict[int, list[BarLine]] = {}
    for line in lines:
        # both the even and the odd line have to fit
        more = max(line.length - stock, 0.0)
        count = 0 if more <= SAME else max(ceil((more + shift) / (stock - lap) - SAME), 1)
        by_count.setdefault(count, []).append(line)
    found: list[Lapped] = []
    for count, group in sorted(by_count.items()):
        found += _grouped(group, count, lap, stock, used)
    return found


def _grouped(
    lines: list[BarLine], count: int, lap: float, stock: float, used: Used
) -> list[Lapped]:
    # from a lap of an even line to the next, with one of an odd line between them
    least = 2.0 * APART * lap
    if count == 0 or least > stock - lap or count * least > max(o.length for o in lines):
        return [Lapped(lines=tuple(lines), starts=(), lap=lap, shift=0.0, highest=None)]
    best = _best(lines, count, lap, stock, used)
    if best is not None:
        shift, starts, highest = best
        return [Lapped(lines=tuple(lines), starts=starts, lap=lap, shift=shift, highest=highest)]
    if len({round(line.length, 3) for line in lines}) == 1:
        return _grouped(lines, count + 1, lap, stock, used)
    lines = sorted(lines, key=lambda line: line.length)
    half = len(lines) // 2
    return [
        part
        for some in (lines[:half], lines[half:])
        for part in _grouped(some, count, lap, stock, used)
    ]


def _best(
    lines: Sequence[BarLine], count: int, lap: float, stock: float, used: Used
) -> tuple[float, tuple[float, ...], float] | None:
    """The shift of odd lines, where the laps of even lines begin, and the highest utilisation at
    any, for the least sum of utilisations; None without room."""
    short, long = (float(f(line.length for line in lines)) for f in (min, max))
    places: Floats = np.asarray(STEP * np.arange(int(long / STEP) + 1), dtype=np.float64)
    one = _at_laps(lines, places, lap, used)
    apart = ceil(APART * lap / STEP - SAME)
    best: tuple[float, float, tuple[float, ...], float] | None = None
    for steps in range(apart, max(int(stock / 2 / STEP), apart + 1), SHIFTS):
        cost = np.maximum(one, np.append(one[steps:], np.full(min(steps, len(one)), np.inf)))
        shift = STEP * steps
        first = (places >= lap - SAME) & (places + shift + lap <= stock + SAME)
        last = (long - places <= stock + SAME) & (short - places - shift >= 2 * lap - SAME)
        reach = (shift + STEP * apart, stock - lap)
        found = _path(np.where(first, cost, np.inf), cost, last, places, reach, count)
        if found is not None and (best is None or found[0] < best[0] - SAME):
            starts = tuple(round(float(places[k]), 3) for k in found[1])
            best = (found[0], round(shift, 3), starts, float(cost[list(found[1])].max()))
    return None if best is None else best[1:]


def _path(
    total: Floats,
    cost: Floats,
    last: NDArray[np.bool_],
    places: Floats,
    reach: tuple[float, float],
    count: int,
) -> tuple[float, tuple[int, ...]] | None:
    """The cheapest `count` places, from one to the next no less and no more than `reach`; total :
    cost of the first of them, last : where the last may be."""
    apart = places[:, None] - places[None, :]
    shut = np.where((apart >= reach[0] - SAME) & (apart <= reach[1] + SAME), 0.0, np.inf)
    before: list[Ints] = []
    for _ in range(count - 1):
        ways = shut + total[None, :]
        before.append(ways.argmin(axis=1))
        total = cost + ways.min(axis=1)
    total = np.where(last, total, np.inf)
    k = int(total.argmin())
    if not np.isfinite(total[k]):
        return None
    chosen = [k]
    for way in reversed(before):
        chosen.append(int(way[chosen[-1]]))
    return float(total[k]), tuple(reversed(chosen))


def _at_laps(lines: Sequence[BarLine], places: Floats, lap: float, used: Used) -> Floats:
    """Highest utilisation along a lap that begins at each place of any line."""
    within = np.linspace(0.0, lap, WITHIN)
    worst = np.zeros(len(places))
    for line in lines[:: max(len(lines) // MOST_LINES, 1)]:
        s = np.clip(places[:, None] + within, 0.0, line.length) / line.length
        points = line.path[0] + s[..., None] * (line.path[-1] - line.path[0])
        worst = np.maximum(worst, used(points.reshape(-1, 2)).reshape(s.shape).max(axis=1))
    return worst

"""The worst arrangement of lanes across a carriageway.

Lanes act independently, so the worst value of an arrangement is the sum of each lane's own worst
at its offset, and the worst arrangement is found lane by lane from left to right: the best sum
with the last lane at an offset is its own value there and the best sum of the lanes before it
that keep their distance.
"""

from collections.abc import Sequence
from functools import cache
from itertools import permutations

import numpy as np

from pipelines.standards.actions.loads import LoadModel
from plate.arrays import Floats, Ints

# Lanes may stand nearer than allowed by this rounding [m].
SAME = 1e-6
# Values that differ by no more than this share are equal: the first of them is told, so that
# rounding does not decide which.
TIE = 1e-9


@cache
def orders(kinds: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """The different orders of kinds from left to right."""
    return tuple(sorted(set(permutations(kinds))))


def arrangement_orders(model: LoadModel) -> list[tuple[int, tuple[int, ...]]]:
    """Every lane set of a load model with every order of its kinds from left to right."""
    return [(k, order) for k, lane_set in enumerate(model.sets) for order in orders(lane_set.kinds)]


def best_sum(
    values: Sequence[Floats], offsets: Sequence[Floats], rooms: Sequence[float]
) -> tuple[Floats, Ints]:
    """Greatest sums of one value of each lane, and the places chosen, the first of equal ones.

    Parameters
    ----------
    values : for each lane from left to right (n_offset, n), its values at its offsets.
    offsets : for each lane (n_offset,) growing [m].
    rooms : neighbouring lanes stand at least the sum of their rooms apart [m].

    Returns
    -------
    sums (n,), -inf where the lanes find no room, and places (n_lane, n) among their offsets.
    """
    total = values[0]
    picks: list[Ints] = []
    for lane in range(1, len(values)):
        best, at = _running_best(total)
        least = rooms[lane - 1] + rooms[lane]
        last = np.searchsorted(offsets[lane - 1], offsets[lane] - least + SAME, side="right") - 1
        able = last >= 0
        before = np.where(able[:, None], best[np.maximum(last, 0)], -np.inf)
        picks.append(at[np.maximum(last, 0)])
        total = values[lane] + before
    most = total.max(axis=0)
    place = np.argmax(total >= most - _tie(most), axis=0)
    places = [place]
    columns = np.arange(total.shape[1])
    for pick in reversed(picks):
        place = pick[place, columns]
        places.append(place)
    return np.asarray(most), np.array(places[::-1])


def _running_best(values: Floats) -> tuple[Floats, Ints]:
    """Greatest of the values (n, m) down to each row, and the first row that has it."""
    best = np.maximum.accumulate(values, axis=0)
    rises = np.ones(values.shape, dtype=bool)
    rises[1:] = values[1:] > best[:-1] + _tie(best[:-1])
    rows = np.arange(len(values))[:, None]
    at = np.maximum.accumulate(np.where(rises, rows, 0), axis=0)
    return best, np.asarray(at)


def _tie(values: Floats) -> Floats:
    return TIE * np.abs(np.where(np.isinf(values), 0.0, values))


def lane_offsets(low: float, high: float, step: float, apart: float) -> Floats:
    """Offsets (n,) [m] about the middle of a range, and its ends.

    They are at most a step from each other, and a whole number of them makes the distance `apart`
    that neighbours keep, so that lanes can stand as near as they may.
    """
    step = apart / np.ceil(apart / step - SAME)
    middle = 0.5 * (low + high)
    reach = int(np.floor(0.5 * (high - low) / step + SAME))
    inner = middle + step * np.arange(-reach, reach + 1)
    every = np.sort(np.concatenate([[low, high], inner]))
    return np.asarray(every[np.concatenate([[True], np.diff(every) > SAME])])


def strip_sides(
    offset: Floats, width: float, carriageway: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Sides (n,) of strips of a width about offsets (n,), moved inward where they would leave the
    carriageway [m]."""
    width = min(width, carriageway[1] - carriageway[0])
    low = np.clip(offset - 0.5 * width, carriageway[0], carriageway[1] - width)
    return low, low + width


def strip_shares(
    edges: Floats, offset: Floats, width: float, carriageway: tuple[float, float]
) -> Floats:
    """Shares (n, n_cell) of cells between edges (n_cell + 1,) that strips of a width about offsets
    (n,) cover, as `strip_sides` has them."""
    low, high = (side[:, None] for side in strip_sides(offset, width, carriageway))
    covered = np.minimum(edges[1:], high) - np.maximum(edges[:-1], low)
    return np.asarray(np.clip(covered / np.diff(edges), 0.0, 1.0))

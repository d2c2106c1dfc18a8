"""Sums over lanes side by side: the highest through every stretch of every lane's offsets.

As `traffic.lanes.best_sum` adds up values at offsets, this adds up upper bounds over stretches of
offsets, in both directions across the deck: what no arrangement with a lane within that stretch
exceeds.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.traffic.lanes import SAME
from plate.arrays import Floats, Ints


@dataclass(frozen=True, eq=False)
class BoundedLane:
    """BoundedLane of one lane's offsets, growing, none within another.

    low, high : (n,) their ends [m]; bound : (n,) of the lane's values in each.
    """

    low: Floats
    high: Floats
    bound: Floats


def highest_through(lanes: Sequence[BoundedLane], rooms: Sequence[float]) -> list[Floats]:
    """Bounds (n,) of the sums of one value of each lane, through each lane's stretches.

    lanes : from left to right; rooms : neighbours stand at least the sum of their rooms apart [m].
    """
    before = [np.zeros(len(lanes[0].low))]
    for k in range(1, len(lanes)):
        left, right = lanes[k - 1], lanes[k]
        best = np.maximum.accumulate(before[-1] + left.bound)
        limit = right.high - (rooms[k - 1] + rooms[k]) + SAME
        before.append(_at(best, np.asarray(np.searchsorted(left.low, limit, side="right")) - 1))
    after = [np.zeros(len(lanes[-1].low))]
    for k in range(len(lanes) - 2, -1, -1):
        left, right = lanes[k], lanes[k + 1]
        best = np.maximum.accumulate((after[-1] + right.bound)[::-1])
        limit = left.low + (rooms[k] + rooms[k + 1]) - SAME
        first = np.asarray(np.searchsorted(right.high, limit, side="left"))
        after.append(_at(best, len(right.high) - 1 - first))
    return [
        lane.bound + one + other
        for lane, one, other in zip(lanes, before, reversed(after), strict=True)
    ]


def _at(best: Floats, last: Ints) -> Floats:
    """The best up to each index, -inf where there is none."""
    if not len(best):
        return np.full(len(last), -np.inf)
    return np.where(last >= 0, best[np.maximum(last, 0)], -np.inf)

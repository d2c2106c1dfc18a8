"""The multiplier of a vehicle at which a layer's moment reaches what the layer can take.

With dead load g and traffic q the terms of Wood and Armer's rule are linear in the multiplier r:
g + r q. So a point's multiplier by the linear terms, (limit - g) / q, is found at once, and no
smaller one is possible there. Where positions need none of the second bars the rule asks for less,
and the point's own multiplier is larger: it is found by halving, at the points only whose linear
one is not above the best so far. These are the same moments as those that a run judges.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.demand.moments import LAYER_ROWS, CombinationTracker
from pipelines.bars.demand.wood_armer import Block, layer_moment
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.root import CLOSE, MOST
from pipelines.numbers import SLACK
from plate.arrays import Floats, Ints

# Points at which the rule's own multiplier is looked for together.
TOGETHER = 64
STEP = 1.05
HALVINGS = 40


@dataclass(frozen=True, eq=False)
class Moments:
    """What the load positions of a vehicle make at some result points: extremes over every block
    of positions, of each row of LAYER_ROWS.

    points : (n,) result points; own : of each row (2, 3, n_block, n), sums, numbers : (2, 4,
    n_block, n), as of `Block`.
    """

    points: Ints
    own: tuple[Floats, ...]
    sums: tuple[Floats, ...]
    numbers: tuple[Ints, ...]

    @classmethod
    def of(cls, points: Ints, blocks: Sequence[Sequence[Block]]) -> "Moments":
        """blocks : of every block of load positions those of each row."""
        rows = list(zip(*blocks, strict=True))
        if all(row == rows[0] for row in rows):
            rows = rows[:1]  # the same array for every row
        parts = [
            tuple(np.stack([getattr(block, name) for block in row], axis=2) for row in rows)
            for name in ("own", "sums", "numbers")
        ]
        every = [part * (len(LAYER_ROWS) // len(part)) for part in parts]
        return cls(points, *every)

    def extreme(self, row: int) -> Floats:
        """(2, n) largest a + t and a - t of a row's first bars, the signs of the layer."""
        sign, which = (1.0, 0) if row < 2 else (-1.0, 1)
        pair = slice(0, 2) if row % 2 == 0 else slice(2, 4)
        return np.asarray((sign * self.sums[row][which, pair]).max(axis=1))

    def block(self, row: int, columns: Ints) -> Block:
        """All blocks at some of the points (k,) as one with n_block k points."""
        own, sums = (
            values[row][..., columns].reshape(2, len(values[row][0]), -1)
            for values in (self.own, self.sums)
        )
        numbers = self.numbers[row][..., columns].reshape(2, len(self.numbers[row][0]), -1)
        return Block(own, sums, numbers, nothing_beside)


def nothing_beside(extreme: int, which: object, points: object) -> Floats:
    """What coexists, which no multiplier needs."""
    raise AssertionError("what coexists with a rated moment is not kept")


@dataclass(frozen=True)
class MomentMultiplier:
    """value : the largest multiplier; at : number of the result point; number : of the load
    position that governs there, -1 = none does."""

    value: float
    at: int
    number: int


def linear_multipliers(
    tracker: CombinationTracker, row: int, limit: float, extreme: Floats, at: Ints
) -> Floats:
    """(n,) multipliers by the linear terms at some points, between 0 and MOST.

    extreme : (2, n) of `Moments` there.
    """
    traffic = tracker.combination.traffic * extreme
    spare = room(tracker, row, limit, at)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(traffic > 0.0, spare / traffic, np.where(spare < 0.0, 0.0, np.inf))
    return np.asarray(np.clip(found.min(axis=0), 0.0, MOST))


def room(tracker: CombinationTracker, row: int, limit: float, at: Ints) -> Floats:
    """(2, n) what permanent actions leave of a limit for the traffic's a + t and a - t [N m/m]."""
    sign = 1.0 if row < 2 else -1.0
    first, t = tracker.permanent[row][:, row % 2][:, at], tracker.permanent[row][:, 2][:, at]
    return np.asarray(limit - np.stack([(sign * (first + t)).max(0), (sign * (first - t)).max(0)]))


def moment_multiplier(
    limit: MomentLimit, moments: Moments, columns: Ints, below: float = MOST
) -> MomentMultiplier:
    """The largest multiplier at which the check passes at some of the points.

    columns : (n,) which of the points of `moments`; below : where none of them has a smaller one
    than this, this is told.
    """
    row, allowed = limit.row, limit.moment * (1.0 + SLACK)
    at = moments.points[columns]
    linear = linear_multipliers(limit.tracker, row, allowed, moments.extreme(row)[:, columns], at)
    order = np.argsort(linear, kind="stable")
    best, found = below, columns[order[0]]
    for start in range(0, len(order), TOGETHER):
        some = order[start : start + TOGETHER]
        if linear[some[0]] >= best:
            break
        own = _exact(limit.tracker, row, allowed, moments, columns[some], linear[some])
        k = int(own.argmin())
        if own[k] < best:
            best, found = float(own[k]), columns[some[k]]
    here = np.array([found])
    _, number = _value(limit.tracker, row, moments, here, np.array([best]))
    none = best >= MOST or not len(columns)
    return MomentMultiplier(best, int(moments.points[found]), -1 if none else int(number[0]))


def _value(
    tracker: CombinationTracker, row: int, moments: Moments, columns: Ints, multiplier: Floats
) -> tuple[Floats, Ints]:
    """Moments (n,) at some points under a multiplier of each, and the load positions."""
    states = tracker.permanent[row][..., moments.points[columns]]
    best = np.max([layer_moment(state, row) for state in states], axis=0)
    number = np.full(len(columns), -1, dtype=np.int64)
    block = moments.block(row, columns)
    count = block.own.shape[-1] // len(columns)
    factor = np.tile(tracker.combination.traffic * multiplier, count)
    every, here = np.arange(len(factor)), np.arange(len(columns))
    extreme = 0 if row < 2 else 1
    for state in states:
        bound, which = block.bound(np.tile(state, count), factor, row, every)
        top = bound.reshape(count, -1).argmax(axis=0) * len(columns) + here
        better = bound[top] > best
        best = np.where(better, bound[top], best)
        number = np.where(better, block.numbers[extreme, which[top], top], number)
    return best, number


def _exact(
    tracker: CombinationTracker,
    row: int,
    allowed: float,
    moments: Moments,
    columns: Ints,
    linear: Floats,
) -> Floats:
    """Multipliers (n,) at some points by the rule itself, from the linear ones upwards."""

    def passes(multiplier: Floats) -> NDArray[np.bool_]:
        return np.asarray(_value(tracker, row, moments, columns, multiplier)[0] <= allowed)

    low = linear.copy()
    low[~passes(np.zeros(len(columns)))] = 0.0
    high = np.minimum(np.maximum(low * STEP, 10.0 * CLOSE), MOST)
    just = np.minimum(low * (1.0 + CLOSE), MOST)
    rising = passes(just) & (low < MOST)
    high = np.where(rising, high, low)
    while rising.any():
        more = passes(high) & rising & (high < MOST)
        low = np.where(more, high, low)
        high = np.where(more, np.minimum(np.maximum(high * STEP, high + 1e-3), MOST), high)
        rising = more
    for _ in range(HALVINGS):
        if not (high - low > CLOSE * high).any():
            break
        middle = 0.5 * (low + high)
        good = passes(middle)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return low


def point_multipliers(limit: MomentLimit, moments: Moments) -> Floats:
    """(n,) multipliers by the linear terms at the points of the check, for drawing."""
    extreme = moments.extreme(limit.row)[:, limit.at]
    return linear_multipliers(limit.tracker, limit.row, limit.moment, extreme, limit.at)

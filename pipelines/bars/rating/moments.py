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
from pipelines.bars.demand.wood_armer import Block, functionals, layer_moment
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.root import CLOSE, MOST
from pipelines.numbers import SLACK
from plate.arrays import Floats, Ints
from plate.solver.stiffness import BLOCK

# Points at which the rule's own multiplier is looked for together.
TOGETHER = 64
STEP = 1.05
HALVINGS = 40


@dataclass(frozen=True, eq=False)
class Moments:
    """What the load positions of a vehicle make at some result points: extremes over every block
    of positions, of each row of LAYER_ROWS.

    points : (n,) result points; own : of each row (2, 3, n_block, n), sums, numbers : (2, 4,
    n_block, n), as of `Block`. beside : what traffic that is not multiplied makes beside each
    block, its `own` and `sums` by row; None = there is none.
    """

    points: Ints
    own: tuple[Floats, ...]
    sums: tuple[Floats, ...]
    numbers: tuple[Ints, ...]
    beside: tuple[tuple[Floats, ...], tuple[Floats, ...]] | None = None

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
        own, sums, numbers = (part * (len(LAYER_ROWS) // len(part)) for part in parts)
        return cls(points, own, sums, numbers)

    @classmethod
    def of_values(cls, points: Ints, values: Sequence[Floats]) -> "Moments":
        """The same of a, b, t (3, n, n_position) of some runs, in the blocks of a run."""
        own, sums, numbers, first = [], [], [], 0
        for run in values:
            count = run.shape[2]
            # the last position again where a block is not full
            index = np.arange(-(-count // BLOCK) * BLOCK).clip(max=count - 1).reshape(-1, BLOCK)
            blocks = run[:, :, index]
            total = functionals(blocks)
            at = np.stack([total.argmax(axis=3), total.argmin(axis=3)])
            sums.append(np.stack([total.max(axis=3), total.min(axis=3)]))
            numbers.append((first + index[:, 0] + at).clip(max=first + count - 1))
            own.append(np.stack([blocks.max(axis=3), blocks.min(axis=3)]))
            first += count
        parts = [np.concatenate(one, axis=3).swapaxes(2, 3) for one in (own, sums, numbers)]
        of_own, of_sums, of_numbers = ((part,) * len(LAYER_ROWS) for part in parts)
        return cls(points, of_own, of_sums, of_numbers)

    def extreme(self, row: int) -> Floats:
        """(2, n) largest a + t and a - t of a row's first bars, the signs of the layer."""
        return np.asarray(self._signed(self.sums, row).max(axis=1))

    @staticmethod
    def _signed(sums: tuple[Floats, ...], row: int) -> Floats:
        """(2, n_block, n) a + t and a - t of a row's first bars, the signs of the layer."""
        sign, which = (1.0, 0) if row < 2 else (-1.0, 1)
        pair = slice(0, 2) if row % 2 == 0 else slice(2, 4)
        return np.asarray(sign * sums[row][which, pair])

    def linear(self, limit: "MomentLimit", allowed: float, columns: Ints) -> Floats:
        """(n,) multipliers by the linear terms at some of the points, between 0 and MOST."""
        at, row, tracker = self.points[columns], limit.row, limit.tracker
        if self.beside is None:
            return linear_multipliers(tracker, row, allowed, self.extreme(row)[:, columns], at)
        every, beside = (self._signed(s, row)[..., columns] for s in (self.sums, self.beside[1]))
        blocks = zip(every.swapaxes(0, 1), beside.swapaxes(0, 1), strict=True)
        found = [linear_multipliers(tracker, row, allowed, a, at, b) for a, b in blocks]
        return np.asarray(np.minimum.reduce(found))

    def block(self, row: int, columns: Ints, multiplier: Floats) -> Block:
        """All blocks at some of the points (k,) as one with n_block k points, each with the traffic
        times its multiplier (k,)."""
        parts = [multiplier * values[row][..., columns] for values in (self.own, self.sums)]
        if self.beside is not None:
            parts = [
                part + values[row][..., columns]
                for part, values in zip(parts, self.beside, strict=True)
            ]
        own, sums = (part.reshape(2, len(part[0]), -1) for part in parts)
        numbers = self.numbers[row][..., columns].reshape(2, len(sums[0]), -1)
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
    tracker: CombinationTracker,
    row: int,
    limit: float,
    extreme: Floats,
    at: Ints,
    beside: Floats | float = 0.0,
) -> Floats:
    """(n,) multipliers by the linear terms at some points, between 0 and MOST.

    extreme : (2, n) of `Moments` there; beside : (2, n) of the traffic that is not multiplied.
    """
    traffic = tracker.combination.traffic * extreme
    spare = room(tracker, row, limit, at) - tracker.combination.traffic * beside
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
    linear = moments.linear(limit, allowed, columns)
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
    block = moments.block(row, columns, multiplier)
    size = block.own.shape[-1]
    count = size // len(columns)
    factor = tracker.combination.traffic
    every, here = np.arange(size), np.arange(len(columns))
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
    return moments.linear(limit, limit.moment, limit.at)

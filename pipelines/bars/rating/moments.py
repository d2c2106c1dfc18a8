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

from pipelines.bars.demand.moments import CombinationTracker
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
    """What the load positions of a vehicle make: blocks of each row of LAYER_ROWS."""

    blocks: tuple[tuple[Block, ...], ...]

    @classmethod
    def of(cls, blocks: Sequence[Sequence[Block]]) -> "Moments":
        """blocks : of every block of load positions those of each row."""
        return cls(tuple(zip(*blocks, strict=True)))

    def extreme(self, row: int) -> Floats:
        """(2, n_point) largest a + t and a - t of a row's first bars, the signs of the layer."""
        sign, which = (1.0, 0) if row < 2 else (-1.0, 1)
        pair = slice(0, 2) if row % 2 == 0 else slice(2, 4)
        sums = [sign * block.sums[which, pair] for block in self.blocks[row]]
        return np.asarray(np.maximum.reduce(sums))


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
    """(n,) multipliers by the linear terms at some points, between 0 and MOST."""
    sign = 1.0 if row < 2 else -1.0
    first, t = tracker.permanent[row][:, row % 2][:, at], tracker.permanent[row][:, 2][:, at]
    steady = sign * np.stack([first + t, first - t], axis=1)
    traffic = tracker.combination.traffic * extreme[:, at]
    room = limit - steady
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(traffic > 0.0, room / traffic, np.where(room < 0.0, 0.0, np.inf))
    return np.asarray(np.clip(found.min(axis=(0, 1)), 0.0, MOST))


def moment_multiplier(limit: MomentLimit, moments: Moments) -> MomentMultiplier:
    """The largest multiplier at which the check passes at every point."""
    row, allowed = limit.row, limit.moment * (1.0 + SLACK)
    linear = linear_multipliers(limit.tracker, row, allowed, moments.extreme(row), limit.at)
    order = np.argsort(linear, kind="stable")
    best, at = MOST, int(limit.at[order[0]])
    for start in range(0, len(order), TOGETHER):
        some = order[start : start + TOGETHER]
        if linear[some[0]] >= best:
            break
        own = _exact(limit.tracker, row, allowed, moments, limit.at[some], linear[some])
        k = int(own.argmin())
        if own[k] < best:
            best, at = float(own[k]), int(limit.at[some[k]])
    _, number = _value(limit.tracker, row, moments, np.array([at]), np.array([best]))
    return MomentMultiplier(best, at, int(number[0]) if best < MOST else -1)


def _value(
    tracker: CombinationTracker, row: int, moments: Moments, at: Ints, multiplier: Floats
) -> tuple[Floats, Ints]:
    """Moments (n,) at some points under a multiplier of each, and the load positions."""
    states = tracker.permanent[row]
    best = np.max([layer_moment(state[:, at], row) for state in states], axis=0)
    number = np.full(len(at), -1, dtype=np.int64)
    factor = tracker.combination.traffic * multiplier
    extreme = 0 if row < 2 else 1
    for block in moments.blocks[row]:
        for state in states:
            bound, which = block.bound(state, factor, row, at)
            better = bound > best
            best = np.where(better, bound, best)
            number = np.where(better, block.numbers[extreme, which, at], number)
    return best, number


def _exact(
    tracker: CombinationTracker,
    row: int,
    allowed: float,
    moments: Moments,
    at: Ints,
    linear: Floats,
) -> Floats:
    """Multipliers (n,) at some points by the rule itself, from the linear ones upwards."""

    def passes(multiplier: Floats) -> NDArray[np.bool_]:
        return np.asarray(_value(tracker, row, moments, at, multiplier)[0] <= allowed)

    low = linear.copy()
    low[~passes(np.zeros(len(at)))] = 0.0
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
    extreme = moments.extreme(limit.row)
    return linear_multipliers(limit.tracker, limit.row, limit.moment, extreme, limit.at)

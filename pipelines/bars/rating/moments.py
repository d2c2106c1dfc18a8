"""The multiplier of a vehicle at which a layer's moment reaches what the layer can take.

With dead load g and traffic q the terms of Wood and Armer's rule are linear in the multiplier r:
g + r q. So a point's multiplier by the linear terms, (limit - g) / q, is found at once, and no
smaller one is possible there. Where positions need none of the second bars the rule asks for less,
and the point's own multiplier is larger: it is found by halving, at the points only whose linear
one is not above the best so far. These are the same moments as those that a run judges.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import attrgetter
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.demand.wood_armer import Block, needed, nothing_beside
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.root import CLOSE, MOST
from pipelines.numbers import SLACK
from plate.arrays import Floats, Ints
from plate.solver.stiffness import BLOCK

Number = TypeVar("Number", np.float64, np.int64)
# Points at which the rule's own multiplier is looked for together.
TOGETHER = 64
STEP = 1.05
HALVINGS = 40


@dataclass(frozen=True, eq=False)
class Extremes:
    """Extremes over blocks of load positions at some points, in the signs of a layer of each: its
    own moment first, then that of the bars across and the twisting moment.

    own : (2, 3, n_block, n) largest and least; sums : (2, n_block, n) largest of the first plus and
    less the twisting moment; numbers : (2, n_block, n) of the load positions of those. beside :
    what traffic that is not multiplied makes beside each block; None = there is none.
    """

    own: Floats
    sums: Floats
    numbers: Ints
    beside: "Extremes | None" = None

    @classmethod
    def of_values(cls, values: Sequence[Floats]) -> "Extremes":
        """Of what some runs make (3, n, n_position), in the order and the signs of `own`, in the
        blocks of a run."""
        own, sums, numbers, first = [], [], [], 0
        for run in values:
            count = run.shape[2]
            # the last position again where a block is not full
            index = np.arange(-(-count // BLOCK) * BLOCK).clip(max=count - 1).reshape(-1, BLOCK)
            blocks = run[:, :, index]
            total = np.stack([blocks[0] + blocks[2], blocks[0] - blocks[2]])
            sums.append(total.max(axis=3))
            at = first + index[:, 0] + total.argmax(axis=3)
            numbers.append(at.clip(max=first + count - 1))
            own.append(np.stack([blocks.max(axis=3), blocks.min(axis=3)]))
            first += count
        every = [np.concatenate(one, axis=-1).swapaxes(-1, -2) for one in (own, sums, numbers)]
        return cls(every[0], every[1], every[2])

    @classmethod
    def joined(cls, every: "Sequence[Extremes]") -> "Extremes":
        """Those of all points, one after the other, with nothing beside."""
        most = np.arange(max(one.own.shape[2] for one in every))
        own, sums, numbers = (
            # the last block again where there are fewer
            np.concatenate(
                [x[..., most.clip(max=x.shape[-2] - 1), :] for x in map(attrgetter(name), every)],
                axis=-1,
            )
            for name in ("own", "sums", "numbers")
        )
        return cls(own, sums, numbers)

    def block(self, multiplier: Floats) -> Block:
        """All blocks as one with n_block n points, each with the traffic times its multiplier
        (n,)."""
        own, sums = multiplier * self.own, multiplier * self.sums
        if self.beside is not None:
            own, sums = own + self.beside.own, sums + self.beside.sums
        own, sums = (x.reshape(*x.shape[:-2], -1) for x in (own, sums))
        numbers = self.numbers.reshape(len(self.numbers), -1)
        return Block(own, sums[None], numbers[None], nothing_beside)


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

    def of_row(self, row: int, columns: Ints) -> Extremes:
        """Those of a row of LAYER_ROWS at some of the points (k,)."""

        def one(own: Sequence[Floats], sums: Sequence[Floats]) -> tuple[Floats, Floats]:
            mine = own[row][..., columns][:, [row % 2, 1 - row % 2, 2]]
            return (mine if row < 2 else -mine[::-1]), _signed(sums[row], row)[..., columns]

        numbers = _pair(self.numbers[row], row)[..., columns]
        beside = None if self.beside is None else Extremes(*one(*self.beside), numbers)
        return Extremes(*one(self.own, self.sums), numbers, beside)

    def extreme(self, row: int) -> Floats:
        """(2, n) largest a + t and a - t of a row's first bars, the signs of the layer."""
        return self._extremes[row]

    @cached_property
    def _extremes(self) -> list[Floats]:
        return [np.asarray(_signed(one, row).max(axis=1)) for row, one in enumerate(self.sums)]

    def linear(self, limits: "LimitsAt", row: int, columns: Ints) -> Floats:
        """(k,) multipliers by the linear terms at some of the points, between 0 and MOST."""
        if self.beside is None:
            return limits.linear(self.extreme(row)[:, columns])
        every, beside = (
            _signed(one[row], row)[..., columns].swapaxes(0, 1)
            for one in (self.sums, self.beside[1])
        )
        found = [limits.linear(a, b) for a, b in zip(every, beside, strict=True)]
        return np.asarray(np.minimum.reduce(found))


def _pair(sums: NDArray[Number], row: int) -> NDArray[Number]:
    """(2, n_block, n) of a + t and a - t of a row's first bars the extreme that counts in the
    layer."""
    pair = slice(0, 2) if row % 2 == 0 else slice(2, 4)
    return np.asarray(sums[0 if row < 2 else 1, pair])


def _signed(sums: Floats, row: int) -> Floats:
    """The same in the signs of the layer."""
    return _pair(sums, row) if row < 2 else -_pair(sums, row)


@dataclass(frozen=True)
class MomentMultiplier:
    """value : the largest multiplier; at : number of the result point; number : of the load
    position that governs there, -1 = none does."""

    value: float
    at: int
    number: int


@dataclass(frozen=True, eq=False)
class LimitsAt:
    """Limits, each at a result point, with what permanent actions make there in the signs of the
    layer: all layers are alike then.

    permanent : (n_state, 3, n) its own moment, that of the bars across and the twisting moment;
    factor : (n,) on the traffic; allowed : (n,) [N m/m].
    """

    permanent: Floats
    factor: Floats
    allowed: Floats

    @classmethod
    def of(cls, limit: MomentLimit, at: Ints) -> "LimitsAt":
        """One limit at result points (n,)."""
        row, n = limit.row, len(at)
        order = [row % 2, 1 - row % 2, 2]
        permanent = limit.tracker.permanent[row][..., at][:, order]
        return cls(
            permanent if row < 2 else -permanent,
            np.full(n, limit.tracker.combination.traffic),
            np.full(n, limit.moment * (1.0 + SLACK)),
        )

    @classmethod
    def joined(cls, every: "Sequence[LimitsAt]") -> "LimitsAt":
        """All of them, one after the other."""
        most = max(len(one.permanent) for one in every)
        # the first state again where there are fewer
        states = [one.permanent[np.arange(most) % len(one.permanent)] for one in every]
        return cls(
            np.concatenate(states, axis=2),
            np.concatenate([one.factor for one in every]),
            np.concatenate([one.allowed for one in every]),
        )

    def __getitem__(self, some: Ints) -> "LimitsAt":
        return LimitsAt(self.permanent[..., some], self.factor[some], self.allowed[some])

    @cached_property
    def room(self) -> Floats:
        """(2, n) what permanent actions leave for the traffic's own moment plus and less its
        twisting moment [N m/m]."""
        own, _, t = self.permanent.swapaxes(0, 1)
        return np.asarray(self.allowed - np.stack([(own + t).max(axis=0), (own - t).max(axis=0)]))

    def linear(self, extreme: Floats, beside: Floats | float = 0.0) -> Floats:
        """(n,) multipliers by the linear terms, between 0 and MOST.

        extreme : (2, n) of `Moments`; beside : (2, n) of the traffic that is not multiplied.
        """
        return linear_multipliers(self.room - self.factor * beside, self.factor * extreme)

    def moments(self, extremes: Extremes, multiplier: Floats) -> tuple[Floats, Ints]:
        """Moments (n,) under a multiplier of each, and the load positions, -1 = none."""
        n, n_state = len(multiplier), len(self.permanent)
        block = extremes.block(multiplier)
        count = block.own.shape[-1] // n
        # all states of all blocks as points of one block
        every = np.tile(np.arange(count * n), n_state)
        steady = np.repeat(self.permanent[:, :, None], count, axis=2)
        steady = steady.swapaxes(0, 1).reshape(3, -1)
        bound, which = block.bound(steady, np.tile(self.factor, n_state * count), 0, every)
        bound = bound.reshape(-1, n)
        top = bound.argmax(axis=0) * n + np.arange(n)
        without = needed(*self.permanent.swapaxes(0, 1)).max(axis=0)
        found = bound.ravel()[top]
        number = np.where(found > without, block.numbers[0, which[top], every[top]], -1)
        return np.maximum(found, without), number

    def multipliers(self, extremes: Extremes, linear: Floats) -> Floats:
        """Multipliers (n,) by the rule itself, from the linear ones upwards."""

        def passes(multiplier: Floats) -> NDArray[np.bool_]:
            return np.asarray(self.moments(extremes, multiplier)[0] <= self.allowed)

        low = np.where(passes(np.zeros(len(linear))), linear, 0.0)
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


def linear_multipliers(spare: Floats, traffic: Floats) -> Floats:
    """(n,) the largest factor on both of the traffic's terms (2, n) that both spare terms (2, n)
    allow, between 0 and MOST."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(traffic > 0.0, spare / traffic, np.where(spare < 0.0, 0.0, np.inf))
    return np.asarray(np.clip(found.min(axis=0), 0.0, MOST))


def moment_multiplier(limit: MomentLimit, moments: Moments, columns: Ints) -> MomentMultiplier:
    """The largest multiplier at which the check passes at some of the points.

    columns : (n,) which of the points of `moments`.
    """
    limits = LimitsAt.of(limit, moments.points[columns])
    linear = moments.linear(limits, limit.row, columns)
    order = np.argsort(linear, kind="stable")
    best, found = MOST, int(order[0])
    for start in range(0, len(order), TOGETHER):
        some = order[start : start + TOGETHER]
        if linear[some[0]] >= best:
            break
        own = limits[some].multipliers(moments.of_row(limit.row, columns[some]), linear[some])
        k = int(own.argmin())
        if own[k] < best:
            best, found = float(own[k]), int(some[k])
    at = int(moments.points[columns[found]])
    if best >= MOST:
        return MomentMultiplier(best, at, -1)
    here = np.array([found])
    extremes = moments.of_row(limit.row, columns[here])
    _, number = limits[here].moments(extremes, np.array([best]))
    return MomentMultiplier(best, at, int(number[0]))


def point_multipliers(limit: MomentLimit, moments: Moments) -> Floats:
    """(n,) multipliers by the linear terms at the points of the check, for drawing."""
    return moments.linear(LimitsAt.of(limit, limit.at), limit.row, limit.at)

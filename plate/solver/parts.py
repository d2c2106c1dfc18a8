"""Fronts held in parts: the subtree of some neighbouring cells each, whose rows are together in
cache, and last the separators between all parts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plate.arrays import Floats, Ints
from plate.solver.bisection import Tree
from plate.solver.fronts import Front
from plate.solver.solution import Layout

# Most cells of a part.
PART_CELLS = 64
# Fronts are solved together up to so many rows, and so much more work for zeros filled in.
BATCH_ROWS = 3000
FILL = 0.2
# Batches that are still filled while others are begun.
OPEN = 6


@dataclass(frozen=True, kw_only=True)
class _Batch:
    """Neighbouring fronts of one height, each filled up with zeros to the same size.

    rows : of their pivots, front after front; sizes : (k,) how much of each border is its own;
    border (k, m) rows, inverse (k, n, n), coupling (k, m, n) as fronts keep it. Rows count within
    the part.
    """

    rows: slice
    sizes: Ints
    border: Ints
    inverse: Floats
    coupling: Floats

    def pivots(self, X: Floats) -> Floats:
        """The rows (k, n, n_load) of the pivots in those of the part, not copied."""
        return X[self.rows].reshape(*self.inverse.shape[:2], X.shape[1])


@dataclass(frozen=True)
class Part:
    """The fronts of a subtree, or those of all separators between subtrees."""

    layout: Layout
    batches: list[_Batch]

    def empty(self, n_load: int) -> Floats:
        """Zeros in its rows."""
        return np.zeros((self.layout.size, n_load))

    def loaded(self, loads: sparse.csr_array) -> tuple[Floats, NDArray[np.bool_]]:
        """Of all rows its own, on its rows, and which of these are not zero."""
        # By hand: slicing a sparse array costs more than all the rest.
        ends = loads.indptr[self.layout.rows.start : self.layout.rows.stop + 1]
        X, not_zero = self.empty(loads.shape[1]), np.zeros(self.layout.size, dtype=bool)
        own, count = slice(ends[0], ends[-1]), np.diff(ends)
        X[np.repeat(np.arange(len(count)), count), loads.indices[own]] = loads.data[own]
        not_zero[: len(count)] = count > 0
        return X, not_zero

    def up(self, X: Floats, loaded: NDArray[np.bool_]) -> list[list[int]]:
        """Eliminate the rows X of loads; `loaded` tells those that are not zero. Returns of each
        batch the fronts that a load reaches: the others are left out."""
        reached = []
        for batch in self.batches:
            pivots = batch.pivots(X)
            own = loaded[batch.rows].reshape(pivots.shape[:2])
            reached.append(np.flatnonzero(own.any(axis=1)).tolist())
            for k in reached[-1]:
                border = batch.border[k, : batch.sizes[k]]
                given = batch.coupling[k, : len(border)] @ pivots[k]
                given += X.take(border, axis=0)
                X[border] = given
                loaded[border] = True
        return reached

    def down(self, X: Floats, reached: Sequence[list[int]] | None) -> None:
        """Put the solution in place of what `up` left at the pivots; the border holds it already.

        reached : None = by no load.
        """
        reached = [[] for _ in self.batches] if reached is None else reached
        for batch, mine in zip(reversed(self.batches), reversed(reached), strict=True):
            pivots, border = batch.pivots(X), X.take(batch.border, axis=0)
            if not mine:
                np.matmul(batch.coupling.swapaxes(1, 2), border, out=pivots)
                continue
            for k in mine:
                pivots[k] = batch.inverse[k] @ pivots[k]
            pivots += batch.coupling.swapaxes(1, 2) @ border


def part_of_each(tree: Tree) -> Ints:
    """The part (n,) of each part of the tree: the largest that it lies in of those with
    `PART_CELLS` cells at most, numbered from the first; -1 = in none."""
    cells = np.cumsum([0, *(len(leaf) for leaf in tree.leaves)])
    found = np.full(len(tree.ranges), -1)
    count = 0
    # From the root down, the second child before the first.
    for node in range(len(tree.ranges) - 1, -1, -1):
        first, last = tree.ranges[node]
        if found[node] < 0 and cells[last] - cells[first] <= PART_CELLS:
            found[node] = count
            count += 1
        for child in tree.children[node]:
            found[child] = found[node]
    return np.where(found >= 0, count - 1 - found, -1)


def parts_of(
    fronts: Sequence[Front], part_of: Ints, n_free: int
) -> tuple[list[Part], list[tuple[Floats, Floats]], Ints]:
    """The parts, separators last, where in them the inverse and the coupling of each front are
    kept, and the row (n_free + 1,) of each eliminated dof."""
    owners = [*range(part_of.max() + 1), -1]
    groups = [_groups(fronts, np.flatnonzero(part_of == k).tolist()) for k in owners]
    rows = np.zeros(n_free + 1, dtype=np.int64)
    starts = [0]
    for part in groups:
        first = starts[-1]
        for group in part:
            n = max(fronts[k].n for k in group)
            for k in group:
                rows[fronts[k].pivots] = first + np.arange(fronts[k].n)
                first += n
        starts.append(first)
    rows[-1] = starts[-1]
    kept = [(np.empty((0, 0)), np.empty((0, 0)))] * len(fronts)
    parts = []
    for part, (start, stop) in zip(groups, pairwise(starts), strict=True):
        coupled = [rows[fronts[k].border] for group in part for k in group]
        border = np.unique(np.concatenate([np.empty(0, dtype=np.int64), *coupled]))
        one = Part(Layout(slice(start, stop), border[border >= stop]), [])
        first = 0
        for group in part:
            mine = [fronts[k] for k in group]
            batch = _empty_batch(mine, first, one.layout, rows)
            first = batch.rows.stop
            one.batches.append(batch)
            for at, (k, front) in enumerate(zip(group, mine, strict=True)):
                n, m = front.n, front.m
                kept[k] = batch.inverse[at, :n, :n], batch.coupling[at, :m, :n]
        parts.append(one)
    return parts, kept, rows


class _Size(NamedTuple):
    """Of fronts of one height that may make a batch: their number, most pivots, longest border,
    and how much of the blocks of that size is their own."""

    height: int
    many: int
    n: int
    m: int
    own: int

    @classmethod
    def of(cls, front: Front) -> "_Size":
        return cls(front.height, 1, front.n, front.m, front.n * front.m)

    def with_one(self, other: "_Size") -> "_Size":
        n, m = max(self.n, other.n), max(self.m, other.m)
        return _Size(self.height, self.many + 1, n, m, self.own + other.own)

    @property
    def fits(self) -> bool:
        """Whether they are in cache together, and few zeros filled in."""
        within = self.many * (self.n + self.m) <= BATCH_ROWS
        return within and self.many * self.n * self.m <= (1.0 + FILL) * self.own


def _groups(fronts: Sequence[Front], among: Sequence[int]) -> list[list[int]]:
    """Fronts put together from the leaves up.

    Fewer and larger products: threads that share one interpreter then work side by side. Fronts
    come in the tree's order, so that a batch is one place of the slab and in cache together.
    """
    groups: list[list[int]] = []
    sizes: list[_Size] = []
    for k in sorted(among, key=lambda k: fronts[k].height):
        one = _Size.of(fronts[k])
        for at in range(max(len(groups) - OPEN, 0), len(groups)):
            if (both := sizes[at].with_one(one)).fits and sizes[at].height == one.height:
                groups[at].append(k)
                sizes[at] = both
                break
        else:
            groups.append([k])
            sizes.append(one)
    return groups


def _empty_batch(group: Sequence[Front], start: int, part: Layout, rows: Ints) -> _Batch:
    """A batch whose pivots start at that row of the part."""
    k, n, m = len(group), max(f.n for f in group), max(f.m for f in group)
    border = np.full((k, m), part.size - 1)
    for one, front in enumerate(group):
        border[one, : front.m] = part.local(rows[front.border])
    return _Batch(
        rows=slice(start, start + k * n),
        sizes=np.array([f.m for f in group]),
        border=border,
        inverse=np.zeros((k, n, n)),
        coupling=np.zeros((k, m, n)),
    )

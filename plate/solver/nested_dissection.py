"""Sparse Cholesky factorisation by nested dissection with dense fronts.

The cells are bisected until a few remain; degrees of freedom are eliminated at the smallest part
that contains every cell they touch, so the interior of a cell goes first and separators last
(George 1973; multifrontal organisation after Duff and Reid 1983). Each front keeps the inverse
of its pivot block and the product of the coupling with it: a solve is then matrix products only,
the same number of operations as with triangular factors, at the speed of the hardware.

Fronts are held in parts: the subtree of some neighbouring cells each, whose rows are together in
cache, and last the separators between all parts. What is solved for is kept by part
(`plate.solver.solution`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import lapack

from plate.arrays import Floats, Ints
from plate.elements.group import ElementGroup
from plate.errors import SolutionError
from plate.solver.bisection import Tree, bisection
from plate.solver.solution import Combined, Layout, SolutionByPart, in_few

# Right-hand sides (n_dof, n_load), each entry of a sparse one stored once.
Loads = Floats | sparse.csc_array

LEAF_CELLS = 4
# Most cells of a part.
PART_CELLS = 64
# Fronts are solved together up to so many rows, and so much more work for zeros filled in.
BATCH_ROWS = 3000
FILL = 0.2
# Batches that are still filled while others are begun.
OPEN = 6
# Blocks are added run by run where their rows are in fewer runs than that.
RUNS = 8


@dataclass(frozen=True, kw_only=True)
class _Front:
    """One front of the tree: its pivots and border in the order of elimination, ascending.

    parts : for each child, or each kind of elements of a leaf, where its rows come in this front.
    """

    height: int
    pivots: slice
    border: Ints
    parts: list[Ints]

    @property
    def n(self) -> int:
        """Number of pivots."""
        return int(self.pivots.stop - self.pivots.start)

    @property
    def m(self) -> int:
        """Number of what is coupled with them."""
        return len(self.border)


@dataclass(frozen=True, kw_only=True)
class _Batch:
    """Neighbouring fronts of one height, each filled up with zeros to the same size.

    rows : of their pivots, front after front; sizes : (k,) how much of each border is its own;
    border (k, m) rows, inverse (k, n, n), coupling (k, m, n). Rows count within the part.
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
class _Part:
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
                X[border] -= batch.coupling[k, : len(border)] @ pivots[k]
                loaded[border] = True
        return reached

    def down(self, X: Floats, reached: Sequence[list[int]] | None) -> None:
        """Put the solution in place of what `up` left at the pivots; the border holds it already.

        reached : None = by no load.
        """
        reached = [[] for _ in self.batches] if reached is None else reached
        for batch, mine in zip(reversed(self.batches), reversed(reached), strict=True):
            pivots = batch.pivots(X)
            for k in mine:
                pivots[k] = batch.inverse[k] @ pivots[k]
            pivots -= batch.coupling.swapaxes(1, 2) @ X[batch.border]


class Factorisation:
    """Factorised symmetric positive definite matrix, given as a sum of element matrices.

    Parameters
    ----------
    pieces : the elements; the first piece holds one element per cell.
    centroids : (n_cell, 2) of the cells.
    n_dof : size of the system.
    free : (n_dof,) bool, the others are held at zero.

    Raises
    ------
    SolutionError
        The matrix is not positive definite.
    """

    def __init__(
        self, pieces: Sequence[ElementGroup], centroids: Floats, n_dof: int, free: NDArray[np.bool_]
    ) -> None:
        self.n_dof = n_dof
        tree = bisection(centroids, LEAF_CELLS)
        leaf_of = np.empty(len(centroids), dtype=np.int64)
        for k, cells in enumerate(tree.leaves):
            leaf_of[cells] = k
        low = np.full(n_dof, len(tree.leaves))
        high = np.full(n_dof, -1)
        for piece in pieces:
            leaves = np.broadcast_to(leaf_of[piece.cell][:, None], piece.dofs.shape)
            np.minimum.at(low, piece.dofs, leaves)
            np.maximum.at(high, piece.dofs, leaves)
        used = free & (high >= 0)
        if np.any(free & (high < 0)):
            raise SolutionError("some degrees of freedom belong to no element")
        home = tree.smallest(low, high)
        home[~used] = -1
        # Elimination order: by tree node in post-order.
        dofs = np.flatnonzero(used)
        dofs = dofs[np.argsort(home[dofs], kind="stable")]
        order = np.full(n_dof, len(dofs))
        order[dofs] = np.arange(len(dofs))
        starts = np.searchsorted(home[dofs], np.arange(len(tree.ranges) + 1))
        self.n_free = len(dofs)
        elements = _elements(pieces, leaf_of, order)
        fronts = _fronts(tree, elements, starts, self.n_free)
        self.n_factor = sum(f.n * (f.n + 1) // 2 + f.n * f.m for f in fronts)
        # Row of each dof among those that are solved for; the last row is that of all the others.
        self.parts, kept, rows = _parts(fronts, _part_of(tree), self.n_free)
        self.n_rows = int(rows[-1]) + 1
        self.row = rows[order]
        self._by_row = np.argsort(self.row, kind="stable")
        _eliminate(tree, elements, fronts, kept)

    def solve(self, F: Loads) -> Floats:
        """Solution (n_dof, n_load) of right-hand sides (n_dof, n_load); zero where not free."""
        return self.solution(F, few=False).dense()

    def solution(self, F: Loads, *, few: bool = True) -> SolutionByPart:
        """The same part by part, each part solved for when it is read.

        few : whether parts without loads are solved for few of the loads, where these do.
        """
        load = sparse.coo_array(F)
        dof, column = load.coords
        size = (self.n_rows, F.shape[1])
        own = sparse.coo_array((load.data, (self.row[dof], column)), shape=size).tocsr()
        *parts, last = self.parts
        top, at_top = last.loaded(own)
        borders = [part.layout.border - last.layout.rows.start for part in parts]
        loaded: dict[int, tuple[Floats, list[list[int]]]] = {}
        for k, part in enumerate(parts):
            rows = part.layout.rows
            if own.indptr[rows.stop] > own.indptr[rows.start]:
                X, not_zero = part.loaded(own)
                n = part.layout.n
                loaded[k] = X, part.up(X, not_zero)
                top[borders[k]] += X[n:-1]
                at_top[borders[k]] |= not_zero[n:-1]
        last.down(top, last.up(top, at_top))

        def solved(k: int) -> Combined:
            border = Combined(top[borders[k]], None)
            if k not in loaded and few:
                border = in_few(border.values)
            part = parts[k]
            X, reached = loaded.pop(k, None) or (part.empty(border.values.shape[1]), None)
            X[part.layout.n : -1] = border.values
            part.down(X, reached)
            return border.of(X)

        layouts = [part.layout for part in self.parts]
        return SolutionByPart(
            row=self.row, order=self._by_row, layouts=layouts, solve=solved, separators=top
        )


def _part_of(tree: Tree) -> Ints:
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


def _parts(
    fronts: Sequence[_Front], part_of: Ints, n_free: int
) -> tuple[list[_Part], list[tuple[Floats, Floats]], Ints]:
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
        one = _Part(Layout(slice(start, stop), border[border >= stop]), [])
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
    def of(cls, front: _Front) -> "_Size":
        return cls(front.height, 1, front.n, front.m, front.n * front.m)

    def with_one(self, other: "_Size") -> "_Size":
        n, m = max(self.n, other.n), max(self.m, other.m)
        return _Size(self.height, self.many + 1, n, m, self.own + other.own)

    @property
    def fits(self) -> bool:
        """Whether they are in cache together, and few zeros filled in."""
        within = self.many * (self.n + self.m) <= BATCH_ROWS
        return within and self.many * self.n * self.m <= (1.0 + FILL) * self.own


def _groups(fronts: Sequence[_Front], among: Sequence[int]) -> list[list[int]]:
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


def _empty_batch(group: Sequence[_Front], start: int, part: Layout, rows: Ints) -> _Batch:
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


@dataclass(frozen=True)
class _Elements:
    """Alike elements of a leaf as they are eliminated: rows (k, n) in that order, that of what is
    held beyond all others, and matrices (k, n, n)."""

    rows: Ints
    matrices: Floats


def _elements(
    pieces: Sequence[ElementGroup], leaf_of: Ints, order: Ints
) -> dict[int, list[_Elements]]:
    """The elements of every leaf."""
    found: dict[int, list[_Elements]] = {}
    for piece in pieces:
        rows, leaf = order[piece.dofs], leaf_of[piece.cell]
        by_leaf = np.argsort(leaf, kind="stable")
        leaves, first = np.unique(leaf[by_leaf], return_index=True)
        for k, mine in zip(leaves.tolist(), np.split(by_leaf, first[1:]), strict=False):
            found.setdefault(k, []).append(_Elements(rows[mine], piece.matrices[mine]))
    return found


def _fronts(
    tree: Tree, elements: dict[int, list[_Elements]], starts: Ints, n_free: int
) -> list[_Front]:
    """The front of every part of the tree."""
    fronts: list[_Front] = []
    for node, ((first, _), children) in enumerate(zip(tree.ranges, tree.children, strict=True)):
        parts = [fronts[c].border for c in children]
        if not children:
            parts = [some.rows for some in elements.get(first, [])]
        pivots = slice(int(starts[node]), int(starts[node + 1]))
        touched = np.unique(np.concatenate([[n_free], *(rows.ravel() for rows in parts)]))
        border = touched[np.searchsorted(touched, pivots.stop) : -1]
        slots = np.concatenate([np.arange(pivots.start, pivots.stop), border])
        fronts.append(
            _Front(
                height=1 + max((fronts[c].height for c in children), default=-1),
                pivots=pivots,
                border=border,
                parts=[np.searchsorted(slots, rows) for rows in parts],
            )
        )
    return fronts


def _eliminate(
    tree: Tree,
    elements: dict[int, list[_Elements]],
    fronts: Sequence[_Front],
    kept: Sequence[tuple[Floats, Floats]],
) -> None:
    """Fill in the inverse and the coupling of every front, from the leaves to the root."""
    updates: dict[int, Floats] = {}
    for node, front in enumerate(fronts):
        # What is held goes to a last row and column, which are left out.
        size = front.n + front.m + 1
        A = np.zeros((size, size))
        if children := tree.children[node]:
            for at, child in zip(front.parts, children, strict=True):
                _add(A, at, updates.pop(child))
        else:
            for at, some in zip(front.parts, elements.get(tree.ranges[node][0], []), strict=True):
                entries = at[:, :, None] * size + at[:, None, :]
                np.add.at(A.ravel(), entries.ravel(), some.matrices.ravel())
        updates[node] = _pivot(A[:-1, :-1], *kept[node])


def _add(A: Floats, at: Ints, matrix: Floats) -> None:
    """Add a matrix to rows and columns `at` of another, run by run where they are few."""
    cuts = [0, *(np.flatnonzero(np.diff(at) != 1) + 1).tolist(), len(at)]
    if len(cuts) > RUNS:
        A[at[:, None], at] += matrix
        return
    runs = [(slice(a, b), slice(at[a], at[a] + b - a)) for a, b in pairwise(cuts) if b > a]
    for own, there in runs:
        for own_column, column in runs:
            A[there, column] += matrix[own, own_column]


def _pivot(A: Floats, inverse: Floats, coupling: Floats) -> Floats:
    """Eliminate the first rows of a front: writes the inverse of their block and what is coupled
    with them times that inverse, and returns what is left of the others' block."""
    n = len(inverse)
    if not n:
        return A
    pivot, rest = A[:n, :n], A[n:, n:]
    # Scaling by the diagonal keeps very stiff beams and soft slabs in one well-scaled factor.
    diagonal = np.diagonal(pivot)
    if np.any(diagonal <= 0.0):
        raise SolutionError("the stiffness matrix is not positive definite")
    scale = 1.0 / np.sqrt(diagonal)
    # LAPACK's columns are numpy's rows: of symmetric blocks it works in place on the transposes.
    factor, info = lapack.dpotrf((scale[:, None] * pivot * scale).T, lower=1, overwrite_a=1)
    if info != 0:
        raise SolutionError("the stiffness matrix is not positive definite")
    half, _ = lapack.dtrtrs(factor, (A[n:, :n] * scale).T, lower=1, overwrite_b=1)
    rest -= half.T @ half
    right, _ = lapack.dtrtrs(factor, half, lower=1, trans=1, overwrite_b=1)
    np.multiply(right.T, scale, out=coupling)
    full, _ = lapack.dpotri(factor, lower=1, overwrite_c=1)
    full = full + full.T
    full.ravel()[:: n + 1] *= 0.5
    full *= scale[:, None]
    np.multiply(full, scale, out=inverse)
    return rest

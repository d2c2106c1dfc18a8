"""Sparse Cholesky factorisation by nested dissection with dense fronts.

The cells are bisected until a few remain; degrees of freedom are eliminated at the smallest part
that contains every cell they touch, so the interior of a cell goes first and separators last
(George 1973; multifrontal organisation after Duff and Reid 1983). Each front keeps the inverse
of its pivot block and the product of the coupling with it: a solve is then matrix products only,
the same number of operations as with triangular factors, at the speed of the hardware.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import lapack

from plate.arrays import Floats, Ints
from plate.elements.group import ElementGroup
from plate.errors import SolutionError

# Right-hand sides (n_dof, n_load), each entry of a sparse one stored once.
Loads = Floats | sparse.csc_array

LEAF_CELLS = 4
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

    parts : for each child, or each element of a leaf, where its rows come in this front.
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
    border (k, m) rows, inverse (k, n, n), coupling (k, m, n).
    """

    rows: slice
    sizes: Ints
    border: Ints
    inverse: Floats
    coupling: Floats


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
        elements = _elements(pieces, leaf_of, order, self.n_free)
        fronts = _fronts(tree, elements, starts)
        self.n_factor = sum(f.n * (f.n + 1) // 2 + f.n * f.m for f in fronts)
        # Row of each dof among those that are solved for; the last row is that of all the others.
        self.batches, kept, rows = _batches(fronts, self.n_free)
        self.n_rows = int(rows[-1]) + 1
        self.row = rows[order]
        _eliminate(tree, elements, fronts, kept)

    def solve(self, F: Loads) -> Floats:
        """Solution (n_dof, n_load) of right-hand sides (n_dof, n_load); zero where not free.

        Fronts that no load reaches are left out on the way up and need no inverse on the way
        down: a block of wheels stands on few of them.
        """
        load = sparse.coo_array(F)
        n_load = F.shape[1]
        X = np.zeros((self.n_rows, n_load))
        dof, column = load.coords
        X[self.row[dof], column] = load.data
        X[-1] = 0.0
        loaded = np.zeros(self.n_rows, dtype=bool)
        loaded[self.row[dof]] = True
        reached: list[list[int]] = []
        for batch in self.batches:
            pivots = self._pivots(X, batch)
            own = loaded[batch.rows].reshape(pivots.shape[:2])
            reached.append(np.flatnonzero(own.any(axis=1)).tolist())
            for k in reached[-1]:
                border = batch.border[k, : batch.sizes[k]]
                X[border] -= batch.coupling[k, : len(border)] @ pivots[k]
                loaded[border] = True
        for batch, mine in zip(reversed(self.batches), reversed(reached), strict=True):
            pivots = self._pivots(X, batch)
            for k in mine:
                pivots[k] = batch.inverse[k] @ pivots[k]
            pivots -= batch.coupling.swapaxes(1, 2) @ X[batch.border]
        return np.asarray(np.take(X, self.row, axis=0))

    @staticmethod
    def _pivots(X: Floats, batch: _Batch) -> Floats:
        """The rows (k, n, n_load) of a batch's pivots, not copied."""
        return X[batch.rows].reshape(*batch.inverse.shape[:2], X.shape[1])


def _batches(
    fronts: Sequence[_Front], n_free: int
) -> tuple[list[_Batch], list[tuple[Floats, Floats]], Ints]:
    """Fronts put together from the leaves up, where in them the inverse and the coupling of each
    front are kept, and the row (n_free + 1,) of each eliminated dof.

    Fewer and larger products: threads that share one interpreter then work side by side. Fronts
    come in the tree's order, so that a batch is one place of the slab and in cache together.
    """
    groups: list[list[int]] = []
    for k in sorted(range(len(fronts)), key=lambda k: fronts[k].height):
        near = (g for g in groups[-OPEN:] if _fits([fronts[i] for i in (*g, k)]))
        if (group := next(near, None)) is not None:
            group.append(k)
        else:
            groups.append([k])
    rows = np.zeros(n_free + 1, dtype=np.int64)
    first = 0
    starts = []
    for group in groups:
        n = max(fronts[k].n for k in group)
        starts.append(first)
        for k in group:
            rows[fronts[k].pivots] = first + np.arange(fronts[k].n)
            first += n
    rows[-1] = first
    batches = []
    kept = [(np.empty((0, 0)), np.empty((0, 0)))] * len(fronts)
    for group, start in zip(groups, starts, strict=True):
        mine = [fronts[k] for k in group]
        batch = _empty_batch(mine, start, rows)
        batches.append(batch)
        for one, (k, front) in enumerate(zip(group, mine, strict=True)):
            n, m = front.n, front.m
            kept[k] = batch.inverse[one, :n, :n], batch.coupling[one, :m, :n]
    return batches, kept, rows


def _empty_batch(group: Sequence[_Front], start: int, rows: Ints) -> _Batch:
    k, n, m = len(group), max(f.n for f in group), max(f.m for f in group)
    border = np.full((k, m), rows[-1])
    for one, front in enumerate(group):
        border[one, : front.m] = rows[front.border]
    return _Batch(
        rows=slice(start, start + k * n),
        sizes=np.array([f.m for f in group]),
        border=border,
        inverse=np.zeros((k, n, n)),
        coupling=np.zeros((k, m, n)),
    )


def _fits(together: Sequence[_Front]) -> bool:
    """Whether fronts make a batch: of the same height, in cache, and few zeros filled in."""
    first, last = together[0], together[-1]
    if last.height != first.height:
        return False
    n, m = max(f.n for f in together), max(f.m for f in together)
    own = sum(f.n * f.m for f in together)
    return len(together) * (n + m) <= BATCH_ROWS and len(together) * n * m <= (1.0 + FILL) * own


@dataclass(frozen=True)
class Tree:
    """Binary tree of parts in post-order: leaf range and children of each, cells of each leaf."""

    ranges: list[tuple[int, int]]
    children: list[tuple[int, ...]]
    leaves: list[Ints]

    def smallest(self, low: Ints, high: Ints) -> Ints:
        """The smallest part that contains leaves low..high, for each dof."""
        home = np.full(len(low), len(self.ranges) - 1)
        # A leaf is its own child, on both sides of a cut that nothing straddles.
        sides = np.array([two or (k, k) for k, two in enumerate(self.children)])
        cut = np.array([self.ranges[second][0] for second in sides[:, 1]])
        while True:
            below = np.where(high < cut[home], sides[home, 0], home)
            below = np.where(low >= cut[home], sides[home, 1], below)
            if np.array_equal(below, home):
                return home
            home = below


def bisection(centroids: Floats, most: int) -> Tree:
    """Cells (n, 2) halved across their longer direction until parts have `most` at most."""
    ranges: list[tuple[int, int]] = []
    children: list[tuple[int, ...]] = []
    leaves: list[Ints] = []

    def split(cells: Ints) -> int:
        if len(cells) <= most:
            leaves.append(cells)
            ranges.append((len(leaves) - 1, len(leaves)))
            children.append(())
            return len(ranges) - 1
        points = centroids[cells]
        axis = int(np.argmax(np.ptp(points, axis=0)))
        ordered = cells[np.argsort(points[:, axis], kind="stable")]
        cut = _gap(centroids[ordered, axis])
        first, second = split(ordered[:cut]), split(ordered[cut:])
        ranges.append((ranges[first][0], ranges[second][1]))
        children.append((first, second))
        return len(ranges) - 1

    split(np.arange(len(centroids)))
    return Tree(ranges, children, leaves)


def _gap(values: Floats) -> int:
    """Where to cut sorted values: the widest gap near the middle, so that grids cut straight."""
    n = len(values)
    first, last = max(1, int(0.35 * n)), min(n - 1, int(np.ceil(0.65 * n)))
    gaps = values[first : last + 1] - values[first - 1 : last]
    near = np.flatnonzero(gaps >= 0.5 * gaps.max())
    return int(first + near[np.argmin(np.abs(near + first - n / 2))])


@dataclass(frozen=True)
class _Element:
    """An element as it is eliminated: rows (n,) in that order of what is not held, its matrix."""

    rows: Ints
    matrix: Floats


def _elements(
    pieces: Sequence[ElementGroup], leaf_of: Ints, order: Ints, n_free: int
) -> dict[int, list[_Element]]:
    """The elements of every leaf."""
    found: dict[int, list[_Element]] = {}
    for piece in pieces:
        rows = order[piece.dofs]
        whole = np.all(rows < n_free, axis=1).tolist()
        for e, leaf in enumerate(leaf_of[piece.cell].tolist()):
            own, matrix = rows[e], piece.matrices[e]
            if not whole[e]:
                kept = np.flatnonzero(own < n_free)
                own, matrix = own[kept], matrix[np.ix_(kept, kept)]
            found.setdefault(leaf, []).append(_Element(own, matrix))
    return found


def _fronts(tree: Tree, elements: dict[int, list[_Element]], starts: Ints) -> list[_Front]:
    """The front of every part of the tree."""
    fronts: list[_Front] = []
    for node, ((first, _), children) in enumerate(zip(tree.ranges, tree.children, strict=True)):
        parts = [fronts[c].border for c in children]
        if not children:
            parts = [element.rows for element in elements.get(first, [])]
        pivots = slice(int(starts[node]), int(starts[node + 1]))
        touched = np.unique(np.concatenate([np.empty(0, dtype=np.int64), *parts]))
        border = touched[np.searchsorted(touched, pivots.stop) :]
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
    elements: dict[int, list[_Element]],
    fronts: Sequence[_Front],
    kept: Sequence[tuple[Floats, Floats]],
) -> None:
    """Fill in the inverse and the coupling of every front, from the leaves to the root."""
    updates: dict[int, Floats] = {}
    for node, front in enumerate(fronts):
        matrices = [updates.pop(c) for c in tree.children[node]]
        if not tree.children[node]:
            matrices = [element.matrix for element in elements.get(tree.ranges[node][0], [])]
        A = np.zeros((front.n + front.m, front.n + front.m))
        for at, matrix in zip(front.parts, matrices, strict=True):
            _add(A, at, matrix)
        updates[node] = _pivot(A, *kept[node])


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

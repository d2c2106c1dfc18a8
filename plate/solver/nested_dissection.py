"""Sparse Cholesky factorisation by nested dissection with dense fronts.

The cells are bisected until a few remain; degrees of freedom are eliminated at the smallest part
that contains every cell they touch, so the interior of a cell goes first and separators last
(George 1973; multifrontal organisation after Duff and Reid 1983). Each front keeps the inverse
of its pivot block and the product of the coupling with it: a solve is then matrix products only,
the same number of operations as with triangular factors, at the speed of the hardware.
"""

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, kw_only=True)
class _Front:
    """One front: rows of its pivots and border, and of what is kept of it."""

    height: int
    pivots: slice
    border: Ints
    inverse: Floats
    coupling: Floats


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
        fronts = _eliminate(pieces, tree, leaf_of, order, starts)
        self.n_free = len(dofs)
        self.n_factor = sum(
            f.inverse.shape[0] * (f.inverse.shape[0] + 1) // 2 + f.coupling.size for f in fronts
        )
        # Row of each dof among those that are solved for; the last row is that of all the others.
        self.batches, rows = _batches(fronts, self.n_free)
        self.n_rows = int(rows[-1]) + 1
        self.row = rows[order]

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


def _batches(fronts: list[_Front], n_free: int) -> tuple[list[_Batch], Ints]:
    """Fronts put together from the leaves up, and the row (n_free + 1,) of each eliminated dof.

    Fewer and larger products: threads that share one interpreter then work side by side. Fronts
    come in the tree's order, so that a batch is one place of the slab and in cache together.
    """
    groups: list[list[_Front]] = []
    for front in sorted(fronts, key=lambda f: f.height):
        near = (g for g in groups[-OPEN:] if _fits(g, front))
        if (group := next(near, None)) is not None:
            group.append(front)
        else:
            groups.append([front])
    rows = np.zeros(n_free + 1, dtype=np.int64)
    first = 0
    starts = []
    for group in groups:
        n = max(len(f.inverse) for f in group)
        starts.append(first)
        for front in group:
            rows[front.pivots] = first + np.arange(len(front.inverse))
            first += n
    rows[-1] = first
    return [_batch(g, start, rows) for g, start in zip(groups, starts, strict=True)], rows


def _batch(group: list[_Front], start: int, rows: Ints) -> _Batch:
    k = len(group)
    n, m = max(len(f.inverse) for f in group), max(len(f.border) for f in group)
    border = np.full((k, m), rows[-1])
    inverse, coupling = np.zeros((k, n, n)), np.zeros((k, m, n))
    for one, front in enumerate(group):
        i, j = len(front.inverse), len(front.border)
        border[one, :j] = rows[front.border]
        inverse[one, :i, :i], coupling[one, :j, :i] = front.inverse, front.coupling
    sizes = np.array([len(f.border) for f in group])
    return _Batch(
        rows=slice(start, start + k * n),
        sizes=sizes,
        border=border,
        inverse=inverse,
        coupling=coupling,
    )


def _fits(group: list[_Front], front: _Front) -> bool:
    """Whether a front joins a batch: of the same height, in cache, and few zeros filled in."""
    together = [*group, front]
    n, m = max(len(f.inverse) for f in together), max(len(f.border) for f in together)
    own = sum(len(f.inverse) * len(f.border) for f in together)
    return (
        front.height == group[0].height
        and len(together) * (n + m) <= BATCH_ROWS
        and len(together) * n * m <= (1.0 + FILL) * own
    )


@dataclass(frozen=True)
class Tree:
    """Binary tree of parts in post-order: leaf range and children of each, cells of each leaf."""

    ranges: list[tuple[int, int]]
    children: list[tuple[int, ...]]
    leaves: list[Ints]

    def smallest(self, low: Ints, high: Ints) -> Ints:
        """The smallest part that contains leaves low..high, for each dof."""
        home = np.full(len(low), len(self.ranges) - 1)
        # Children come before their parents: visit from the root down.
        for node in range(len(self.ranges) - 1, -1, -1):
            for child in self.children[node]:
                first, last = self.ranges[child]
                inside = (home == node) & (low >= first) & (high < last)
                home[inside] = child
        return home


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


def _eliminate(
    pieces: Sequence[ElementGroup], tree: Tree, leaf_of: Ints, order: Ints, starts: Ints
) -> list[_Front]:
    by_leaf = [np.argsort(leaf_of[piece.cell], kind="stable") for piece in pieces]
    bounds = [
        np.searchsorted(leaf_of[piece.cell][elements], np.arange(len(tree.leaves) + 1))
        for piece, elements in zip(pieces, by_leaf, strict=True)
    ]
    n_free = int(starts[-1])
    fronts: list[_Front] = []
    updates: dict[int, tuple[Ints, Floats]] = {}
    heights: list[int] = []
    for node, (first, _) in enumerate(tree.ranges):
        heights.append(1 + max((heights[c] for c in tree.children[node]), default=-1))
        parts: list[tuple[Ints, Floats]] = [updates.pop(c) for c in tree.children[node]]
        if not tree.children[node]:
            for piece, elements, bound in zip(pieces, by_leaf, bounds, strict=True):
                for e in elements[bound[first] : bound[first + 1]]:
                    rows = order[piece.dofs[e]]
                    kept = np.flatnonzero(rows < n_free)
                    parts.append((rows[kept], piece.matrices[e][np.ix_(kept, kept)]))
        pivots = slice(int(starts[node]), int(starts[node + 1]))
        n = pivots.stop - pivots.start
        touched = np.unique(np.concatenate([rows for rows, _ in parts]))
        border = touched[touched >= pivots.stop]
        slot = np.concatenate([np.arange(pivots.start, pivots.stop), border])
        A = np.zeros((len(slot), len(slot)))
        for rows, matrix in parts:
            at = np.searchsorted(slot, rows)
            A[at[:, None], at] += matrix
        inverse, coupling = _pivot(A[:n, :n], A[n:, :n])
        fronts.append(
            _Front(
                height=heights[node],
                pivots=pivots,
                border=border,
                inverse=inverse,
                coupling=coupling,
            )
        )
        updates[node] = (border, A[n:, n:] - coupling @ A[:n, n:])
    return fronts


def _pivot(pivot: Floats, below: Floats) -> tuple[Floats, Floats]:
    """Inverse of a pivot block and the coupling times that inverse."""
    if not len(pivot):
        return pivot.copy(), below.copy()
    # Scaling by the diagonal keeps very stiff beams and soft slabs in one well-scaled factor.
    diagonal = np.diagonal(pivot)
    if np.any(diagonal <= 0.0):
        raise SolutionError("the stiffness matrix is not positive definite")
    scale = 1.0 / np.sqrt(diagonal)
    factor, info = lapack.dpotrf(scale[:, None] * pivot * scale, lower=1, clean=1)
    if info != 0:
        raise SolutionError("the stiffness matrix is not positive definite")
    right, _ = lapack.dpotrs(factor, (scale[:, None] * below.T), lower=1)
    inverse, _ = lapack.dpotri(factor, lower=1)
    inverse = np.tril(inverse) + np.tril(inverse, -1).T
    return np.ascontiguousarray(scale[:, None] * inverse * scale), np.ascontiguousarray(
        (scale[:, None] * right).T
    )

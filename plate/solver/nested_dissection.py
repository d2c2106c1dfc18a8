"""Sparse Cholesky factorisation by nested dissection with dense fronts.

The cells are bisected until a few remain; degrees of freedom are eliminated at the smallest part
that contains every cell they touch, so the interior of a cell goes first and separators last
(George 1973; multifrontal organisation after Duff and Reid 1983). Fronts (`fronts`) are held in
parts (`parts`), by which what is solved for is kept as well (`solution`).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plate.arrays import Floats
from plate.elements.group import ElementGroup
from plate.errors import SolutionError
from plate.solver.bisection import bisection
from plate.solver.fronts import elements_by_leaf, eliminate, fronts_of
from plate.solver.parts import part_of_each, parts_of
from plate.solver.solution import Combined, SolutionByPart, in_few

# Right-hand sides (n_dof, n_load), each entry of a sparse one stored once.
Loads = Floats | sparse.csc_array

LEAF_CELLS = 4


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
        elements = elements_by_leaf(pieces, leaf_of, order)
        fronts = fronts_of(tree, elements, starts, self.n_free)
        self.n_factor = sum(f.n * (f.n + 1) // 2 + f.n * f.m for f in fronts)
        # Row of each dof among those that are solved for; the last row is that of all the others.
        self.parts, kept, rows = parts_of(fronts, part_of_each(tree), self.n_free)
        self.n_rows = int(rows[-1]) + 1
        self.row = rows[order]
        self._by_row = np.argsort(self.row, kind="stable")
        eliminate(tree, elements, fronts, kept)

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
            border = Combined(top.take(borders[k], axis=0), None)
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

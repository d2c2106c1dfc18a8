"""Fronts of a nested dissection: what is eliminated at each part of the tree, and its elimination.

Each front keeps the inverse of its pivot block and the product of the coupling with it, its sign
turned: a solve is then matrix products only, the same number of operations as with triangular
factors, at the speed of the hardware.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.linalg import lapack

from plate.arrays import Floats, Ints
from plate.elements.group import ElementGroup
from plate.errors import SolutionError
from plate.solver.bisection import Tree

# Blocks are added run by run where their rows are in fewer runs than that.
RUNS = 8


@dataclass(frozen=True, kw_only=True)
class Front:
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


@dataclass(frozen=True)
class Elements:
    """Alike elements of a leaf as they are eliminated: rows (k, n) in that order, that of what is
    held beyond all others, and matrices (k, n, n)."""

    rows: Ints
    matrices: Floats


def elements_by_leaf(
    pieces: Sequence[ElementGroup], leaf_of: Ints, order: Ints
) -> dict[int, list[Elements]]:
    """The elements of every leaf."""
    found: dict[int, list[Elements]] = {}
    for piece in pieces:
        rows, leaf = order[piece.dofs], leaf_of[piece.cell]
        by_leaf = np.argsort(leaf, kind="stable")
        leaves, first = np.unique(leaf[by_leaf], return_index=True)
        for k, mine in zip(leaves.tolist(), np.split(by_leaf, first[1:]), strict=False):
            found.setdefault(k, []).append(Elements(rows[mine], piece.matrices[mine]))
    return found


def fronts_of(
    tree: Tree, elements: dict[int, list[Elements]], starts: Ints, n_free: int
) -> list[Front]:
    """The front of every part of the tree."""
    fronts: list[Front] = []
    for node, ((first, _), children) in enumerate(zip(tree.ranges, tree.children, strict=True)):
        parts = [fronts[c].border for c in children]
        if not children:
            parts = [some.rows for some in elements.get(first, [])]
        pivots = slice(int(starts[node]), int(starts[node + 1]))
        touched = np.unique(np.concatenate([[n_free], *(rows.ravel() for rows in parts)]))
        border = touched[np.searchsorted(touched, pivots.stop) : -1]
        slots = np.concatenate([np.arange(pivots.start, pivots.stop), border])
        fronts.append(
            Front(
                height=1 + max((fronts[c].height for c in children), default=-1),
                pivots=pivots,
                border=border,
                parts=[np.searchsorted(slots, rows) for rows in parts],
            )
        )
    return fronts


def eliminate(
    tree: Tree,
    elements: dict[int, list[Elements]],
    fronts: Sequence[Front],
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
    with them times that inverse, its sign turned, and returns what is left of the others' block."""
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
    np.multiply(right.T, -scale, out=coupling)
    full, _ = lapack.dpotri(factor, lower=1, overwrite_c=1)
    full = full + full.T
    full.ravel()[:: n + 1] *= 0.5
    full *= scale[:, None]
    np.multiply(full, scale, out=inverse)
    return rest

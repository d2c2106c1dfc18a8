"""Solutions for a block of loads, part by part of the slab.

Far from where a block of neighbouring load positions stands, its solutions are nearly alike: on the
border of a part without loads they are combinations of a few, and so they are within, where they
are linear in those of the border. The few are solved for and their results formed; those of the
block are products with the weights.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Protocol

import numpy as np
from scipy import linalg, sparse

from plate.arrays import Floats, Ints

# Of a part's solutions at most one in so many is solved for, or all are.
SHARE = 4
# What combinations may leave of the largest value on a border: about what rounding leaves.
REMAINDER = 1e-12


@dataclass(frozen=True)
class Layout:
    """Where the rows of a part are: its own, then those on its border, then one of zeros.

    rows : its own among all; border : (m,) those of separators that they are coupled with,
    ascending.
    """

    rows: slice
    border: Ints

    @property
    def n(self) -> int:
        """Number of its own rows."""
        return int(self.rows.stop - self.rows.start)

    @property
    def size(self) -> int:
        """Number of its rows, border and zeros included."""
        return self.n + len(self.border) + 1

    def local(self, rows: Ints) -> Ints:
        """Where rows among all are in it; rows of nothing that it has are the one of zeros."""
        place = np.searchsorted(self.border, rows)
        known = np.append(self.border, -1)[place] == rows
        place = np.where(known, self.n + place, self.size - 1)
        inside = (rows >= self.rows.start) & (rows < self.rows.stop)
        return np.where(inside, rows - self.rows.start, place)


@dataclass(frozen=True)
class Combined:
    """Values under a block of loads, or under a few from which those of the loads are put together.

    values : (..., k); weights : (k, n_load) of the k among those of the loads, None where they are
    the loads' own.
    """

    values: Floats
    weights: Floats | None

    @property
    def of_loads(self) -> Floats:
        """The loads' own (..., n_load)."""
        return self.values if self.weights is None else np.asarray(self.values @ self.weights)

    def of(self, values: Floats) -> "Combined":
        """The same combinations of other values."""
        return Combined(values, self.weights)

    def bounds(self, groups: int = 1) -> tuple[Floats, Floats]:
        """Above and below (..., groups) all of the loads' in each of so many groups of them, equal
        and one after the other: their own extremes, or each of the k at its largest and least."""
        of_loads = self.values if self.weights is None else self.weights
        *rows, n = of_loads.shape
        if isinstance(of_loads, np.ndarray):
            starts = np.arange(0, n, n // groups)
            high, low = (f.reduceat(of_loads, starts, axis=-1) for f in (np.maximum, np.minimum))
        else:  # of a card: it has no such function, the processor takes twice as long without
            grouped = of_loads.reshape(*rows, groups, n // groups)
            high, low = grouped.max(axis=-1), grouped.min(axis=-1)
        if self.weights is None:
            return high, low
        up, down = np.maximum(self.values, 0.0), np.minimum(self.values, 0.0)
        return up @ high + down @ low, up @ low + down @ high


class Solution(Protocol):
    """Displacements under a block of loads."""

    @property
    def shape(self) -> tuple[int, int]:
        """Numbers of degrees of freedom and of loads."""

    @property
    def is_finite(self) -> bool:
        """Whether all of it is finite."""

    def __getitem__(self, dofs: Ints) -> Floats:
        """Displacements (..., n_load) at degrees of freedom (...)."""

    def part(self, k: int) -> Combined:
        """Those of the cells of part k."""

    def local(self, k: int, dofs: Ints) -> Ints:
        """Rows of degrees of freedom in the values of part k."""

    def dense(self) -> Floats:
        """All (n_dof, n_load)."""


@dataclass(frozen=True, eq=False)
class WholeSolution:
    """Displacements U (n_dof, n_load) that are there already."""

    U: Floats

    @property
    def shape(self) -> tuple[int, int]:
        """As of `Solution`, and so the others."""
        return self.U.shape[0], self.U.shape[1]

    @property
    def is_finite(self) -> bool:
        # Row by row, which a card sums side by side.
        return bool(np.isfinite(self.U.sum(axis=1)).all())

    def __getitem__(self, dofs: Ints) -> Floats:
        return np.asarray(self.U[dofs])

    def part(self, k: int) -> Combined:
        return Combined(self.U, None)

    def local(self, k: int, dofs: Ints) -> Ints:
        return dofs

    def dense(self) -> Floats:
        return self.U


@dataclass(frozen=True, eq=False, kw_only=True)
class SolutionByPart:
    """Displacements by the parts of a factorisation.

    row : (n_dof,) the row of each degree of freedom; order : they themselves by row; layouts : of
    the parts, the separators last; solve : makes the values of a part, each when it is first asked
    for; separators : theirs, with a row of zeros.
    """

    row: Ints
    order: Ints
    layouts: Sequence[Layout]
    solve: Callable[[int], Combined]
    separators: Floats
    _solved: dict[int, Combined] = field(default_factory=dict)

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.row), self.separators.shape[1]

    @property
    def is_finite(self) -> bool:
        every = range(len(self.layouts) - 1)
        sums = [self.separators.sum(), *(self.part(k).values.sum() for k in every)]
        return bool(np.isfinite(sum(sums)))

    def __getitem__(self, dofs: Ints) -> Floats:
        rows = self.row[dofs.ravel()]
        ends = [layout.rows.stop for layout in self.layouts[:-1]]
        owner = np.searchsorted(ends, rows, side="right")
        found = np.empty((len(rows), self.shape[1]))
        for k in np.unique(owner).tolist():
            mine = np.flatnonzero(owner == k)
            local = rows[mine] - self.layouts[k].rows.start
            values = self.part(k) if k < len(ends) else Combined(self.separators, None)
            found[mine] = values.of(values.values.take(local, axis=0)).of_loads
        return found.reshape(*dofs.shape, self.shape[1])

    def part(self, k: int) -> Combined:
        if k not in self._solved:
            self._solved[k] = self.solve(k)
        return self._solved[k]

    def local(self, k: int, dofs: Ints) -> Ints:
        return self.layouts[k].local(self.row[dofs])

    def dense(self) -> Floats:
        U = np.empty(self.shape)
        ends = [layout.rows.stop for layout in self.layouts[:-1]]
        cuts = np.searchsorted(self.row[self.order], ends)
        every = [*map(self.part, range(len(ends))), Combined(self.separators, None)]
        for dofs, layout, part in zip(np.split(self.order, cuts), self.layouts, every, strict=True):
            own = part.values.take(self.row[dofs] - layout.rows.start, axis=0)
            U[dofs] = part.of(own).of_loads
        return U


class LocalRows:
    """Rows (n, n_dof) on displacements, which ask of a solution what they are not zero at alone.

    dofs : (k,) degrees of freedom; rows : (n, k) on these.
    """

    def __init__(self, rows: sparse.csr_array) -> None:
        self.dofs: Ints = np.unique(rows.indices).astype(np.int64)
        self.rows = sparse.csr_array(rows[:, self.dofs])
        self._n_dof = rows.shape[1]

    def of(self, solution: Solution) -> Floats:
        """The results (n, n_load).

        Raises ValueError for the solution of a model with other degrees of freedom.
        """
        if solution.shape[0] != self._n_dof:
            raise ValueError(f"rows on {self._n_dof} displacements, a solution of {solution.shape}")
        return np.asarray(self.rows @ solution[self.dofs])


def in_few(border: Floats) -> Combined:
    """Values on a border (m, n) put together from few, or as they are where no few do.

    A random projection finds the few (Halko, Martinsson, Tropp 2011, from memory), and what they
    leave of every value is looked at.
    """
    as_they_are = Combined(border, None)
    n = border.shape[1]
    most = n // SHARE
    scale = max(border.max(initial=0.0), -border.min(initial=0.0))
    if most < SHARE or not np.isfinite(scale):
        return as_they_are
    q, r, _ = linalg.qr(border @ _projection(n, most), mode="economic", pivoting=True)
    size = np.abs(np.diagonal(r))
    few: Floats = np.asarray(
        q[:, : max(1, int((size > 0.1 * REMAINDER * scale).sum()))], dtype=float
    )
    weights = few.T @ border
    left = few @ weights
    left -= border
    enough = max(left.max(initial=0.0), -left.min(initial=0.0)) <= REMAINDER * scale
    return Combined(few, weights) if enough else as_they_are


@cache
def _projection(n: int, most: int) -> Floats:
    return np.random.default_rng(1).standard_normal((n, most))

"""Influence surfaces on a grid of rectangles: products of functions along and across.

On such a mesh the mean of a surface under a rectangular patch is a product of a mean along and a
mean across, and so a polynomial between the places where an edge of the patch passes a line of the
mesh.
"""

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from scipy import sparse

from pipelines.accuracy.bernstein import steepest
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from plate.arrays import Floats, Ints
from plate.interpolation import lobatto
from plate.meshing.mesh import Mesh

# Places nearer to each other than this are one [m], as `plate.loads` has patches.
NEAR = 1e-9


@dataclass(frozen=True, eq=False)
class GridAxis:
    """One direction of a grid of rectangles.

    lines : (n + 1,) of the mesh [m]; order : of the elements.
    """

    lines: Floats
    order: int

    @cached_property
    def nodes(self) -> Ints:
        """Numbers (n, order + 1) of each cell's nodes in this direction."""
        first = self.order * np.arange(len(self.lines) - 1)
        return np.asarray(first[:, None] + np.arange(self.order + 1))

    @property
    def n_nodes(self) -> int:
        return self.order * (len(self.lines) - 1) + 1

    def means(self, middle: Floats, side: float) -> sparse.csr_array:
        """(n, n_node) integrals over lengths `side` about the places (n,), divided by the side, or
        the sums of those about each row of places (n, k); what reaches beyond the slab counts as
        zero."""
        low, high = middle.ravel() - 0.5 * side, middle.ravel() + 0.5 * side
        n_cell = len(self.lines) - 1
        first = np.clip(np.searchsorted(self.lines, low, side="right") - 1, 0, n_cell - 1)
        last = np.clip(np.searchsorted(self.lines, high) - 1, 0, n_cell - 1)
        count = last - first + 1
        place = np.repeat(np.arange(len(low)), count)
        cell = (
            np.repeat(first, count)
            + np.arange(len(place))
            - np.repeat(np.cumsum(count) - count, count)
        )
        start, end = self.lines[cell], self.lines[cell + 1]
        a = np.clip(low[place], start, end)
        b = np.clip(high[place], a, end)
        ends = (2.0 * np.stack([a, b]) - start - end) / (end - start)
        values = np.diff(_integrals(self.order, ends), axis=0)[0]
        values *= 0.5 * ((end - start) / side)[:, None]
        row = place // max(middle[:1].size, 1)
        entries = np.repeat(row, self.order + 1), self.nodes[cell].ravel()
        return sparse.csr_array((values.ravel(), entries), shape=(len(middle), self.n_nodes))


def _integrals(order: int, ends: Floats) -> Floats:
    """Integrals (..., order + 1) from 0 to ends (...) of the Lagrange polynomials through the nodes
    of a side."""
    powers = np.multiply.accumulate(np.stack([ends] * (order + 1), axis=-1), axis=-1)
    return np.asarray((powers / np.arange(1, order + 2)) @ _from_powers(order))


@cache
def _from_powers(order: int) -> Floats:
    """(order + 1, order + 1) by which integrals of 1, x, x^2, .. become those of the Lagrange
    polynomials."""
    return np.asarray(np.linalg.inv(np.vander(lobatto(order + 1), increasing=True)))


@dataclass(frozen=True, eq=False)
class GridSurfaces:
    """Influence surfaces on a grid of rectangles that has no openings.

    s, y : the directions along and across; ordinates : (n_row, n_s, n_y) at the nodes.
    """

    s: GridAxis
    y: GridAxis
    ordinates: Floats

    @classmethod
    def of(cls, surfaces: Surfaces) -> "GridSurfaces | None":
        """The surfaces if the mesh is such a grid and the deck straight, else None."""
        numbers = _node_grid(surfaces.mesh)
        if numbers is None:
            return None
        plan, order = surfaces.mesh.plan, surfaces.mesh.order
        s, y = plan[numbers[::order, 0], 0], plan[numbers[0, ::order], 1]
        return cls(GridAxis(s, order), GridAxis(y, order), surfaces.ordinates[:, numbers])

    @classmethod
    def under_traffic(cls, surfaces: Surfaces, deck: Deck) -> "GridSurfaces | None":
        """The same if traffic runs along the grid, else None."""
        return cls.of(surfaces) if deck.required_traffic.axis is None else None

    def part(self, rows: Ints | slice) -> "GridSurfaces":
        """Those of some rows."""
        return GridSurfaces(self.s, self.y, self.ordinates[rows])

    @cached_property
    def slopes(self) -> tuple[Floats, Floats]:
        """Upper bounds (2, n_row, n_cell_s, n_cell_y) of the slopes along and across in every cell,
        and of these with the other sign."""
        return steepest(self.ordinates, (np.diff(self.s.lines), np.diff(self.y.lines)))


def _node_grid(mesh: Mesh) -> Ints | None:
    """Node numbers (n_s, n_y) of a mesh that is a grid of rectangles on a straight deck."""
    if not mesh.alignment.straight or mesh.curved.any():
        return None
    size = np.ptp(mesh.corners, axis=1).max(axis=1)
    sides = np.roll(mesh.corners, -1, axis=1) - mesh.corners
    askew = np.abs(np.stack([sides[:, 0, 1], sides[:, 2, 1], sides[:, 1, 0], sides[:, 3, 0]]))
    if np.any(askew > 1e-12 * size):
        return None
    lines = [np.unique(mesh.corners[:, 0, k].round(9)) for k in (0, 1)]
    if len(lines[0]) * len(lines[1]) != mesh.n_cells:
        return None
    p = mesh.order
    at = [np.searchsorted(lines[k], mesh.corners[:, 0, k].round(9)) for k in (0, 1)]
    numbers = np.full([p * len(one) + 1 for one in lines], -1, dtype=np.int64)
    local = mesh.cells.reshape(-1, p + 1, p + 1)
    i = p * at[0][:, None, None] + np.arange(p + 1)[:, None]
    j = p * at[1][:, None, None] + np.arange(p + 1)
    numbers[i, j] = local
    # A node of two cells that are not joined, or turned against each other, makes no grid.
    joined = np.array_equal(numbers[i, j], local) and len(np.unique(numbers)) == numbers.size
    return numbers if joined and numbers.size == mesh.n_nodes else None

"""Meshes of order-p quadrilaterals: nodes, cells and the edges that lie on lines of the plan."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints, different_rows
from plate.errors import GeometryError, MeshError
from plate.geometry.alignment import Alignment
from plate.interpolation import cell_nodes, gauss, lobatto, shape, shape_gradient, square

# Sides of a cell: xi = -1, xi = +1, eta = -1, eta = +1.
N_SIDES = 4
# A side of order p leaves its arc by less than this share of the cell.
ON_ARC = 0.01
# Points this far off the slab [m] lie on its edge.
ROUNDING = 1e-8


def side_nodes(order: int) -> Ints:
    """Local nodes (4, p+1) of the sides xi = -1, xi = +1, eta = -1, eta = +1 of a cell."""
    local = np.arange((order + 1) ** 2).reshape(order + 1, order + 1)
    return np.stack([local[0], local[-1], local[:, 0], local[:, -1]])


@dataclass(frozen=True, kw_only=True)
class Mesh:
    """Order-p quadrilaterals with Gauss-Lobatto nodes.

    order : p.
    alignment : plan coordinates to Cartesian.
    plan : (n_node, 2) nodes in plan coordinates [m].
    cells : (n_cell, (p+1)^2) node numbers, the second reference direction fastest.
    lines : for each line of the plan its edges (n_edge, p+1) as node numbers, in order from the
        line's first end, without gaps.
    """

    order: int
    alignment: Alignment
    plan: Floats
    cells: Ints
    lines: Mapping[str, Ints]

    def __post_init__(self) -> None:
        points, _ = gauss(self.order + 1)
        det = np.linalg.det(self.jacobian(square(points, points)))
        if np.any(det <= 0.0):
            raise MeshError(f"{int(np.sum(np.any(det <= 0.0, axis=1)))} folded or turned cells")

    @property
    def n_nodes(self) -> int:
        return len(self.plan)

    @property
    def n_cells(self) -> int:
        return len(self.cells)

    @cached_property
    def xy(self) -> Floats:
        """Cartesian nodes (n_node, 2) [m]."""
        return self.alignment.to_cartesian(self.plan)

    @cached_property
    def corners(self) -> Floats:
        """Plan corners (n_cell, 4, 2) in order of turning from x to y [m]."""
        p = self.order
        local = [0, (p + 1) * p, (p + 1) ** 2 - 1, p]
        return self.plan[self.cells[:, local]]

    def jacobian(self, points: Floats) -> Floats:
        """d(x, y)/d(xi, eta) (n_cell, n_point, 2, 2) at (n_point, 2); a row per direction."""
        gradient = shape_gradient(self.order, points)
        nodes = self.xy[self.cells]
        return np.asarray(np.einsum("qan,cnb->cqab", gradient, nodes, optimize=True))

    def area(self) -> float:
        """Cartesian area [m2]."""
        points, weights = gauss(self.order + 1)
        det = np.linalg.det(self.jacobian(square(points, points)))
        return float(np.sum(det * np.outer(weights, weights).ravel()))

    @cached_property
    def edges(self) -> tuple[Ints, Ints]:
        """All edges: end nodes (n, 2) sorted, and the cells and sides on them (n, 2, 2).

        The second entry holds (cell, side) of up to two cells, -1 where there is none.
        """
        sides = side_nodes(self.order)[:, [0, -1]]
        ends = np.sort(self.cells[:, sides].reshape(-1, 2), axis=1)
        first, edge = different_rows(ends)
        # Sides edge after edge, those of an edge by cell.
        by_edge = np.argsort(edge, kind="stable")
        second = np.diff(edge[by_edge], prepend=-1) == 0
        owner = np.full((len(first), 2, 2), -1, dtype=np.int64)
        owner[edge[by_edge], second.astype(int)] = np.column_stack(np.divmod(by_edge, N_SIDES))
        return ends[first], owner

    def edge_index(self, ends: Ints) -> Ints:
        """Numbers (n,) in `edges` of edges given by their end nodes (n, 2)."""
        every = self.edges[0] @ [self.n_nodes, 1]
        wanted = np.sort(ends, axis=1) @ [self.n_nodes, 1]
        numbers = np.searchsorted(every, wanted)
        assert np.array_equal(every[np.minimum(numbers, len(every) - 1)], wanted)
        return np.asarray(numbers, dtype=np.int64)

    @cached_property
    def curved(self) -> NDArray[np.bool_]:
        """Which cells (n_cell,) have sides that are not straight in plan coordinates."""
        nodes = self.plan[self.cells]
        (u, v), one = 0.5 * (1.0 + self.node_reference.T), np.ones(nodes.shape[1])
        blend = np.stack([(one - u) * (one - v), u * (one - v), u * v, (one - u) * v], axis=-1)
        away = np.abs(nodes - blend @ self.corners).max(axis=(1, 2))
        return np.asarray(away > 1e-9 * np.ptp(self.corners, axis=1).max(axis=1))

    @cached_property
    def upright(self) -> NDArray[np.bool_]:
        """Which cells (n_cell,) have their corners at those of a rectangle along the axes."""
        return are_upright(self.corners)

    @cached_property
    def parallelograms(self) -> NDArray[np.bool_]:
        """Which cells (n_cell,) have their corners at those of a parallelogram in plan."""
        bent = np.abs(np.einsum("kia,i->ka", self.corners, [1.0, -1.0, 1.0, -1.0])).max(axis=1)
        return np.asarray(bent < 1e-9 * np.ptp(self.corners, axis=1).max(axis=1))

    @cached_property
    def boxes(self) -> tuple[Floats, Floats]:
        """Lowest and highest plan coordinates (n_cell, 2) of each cell [m]; those of curved cells
        with a margin, since a side may bulge beyond its nodes."""
        nodes = self.plan[self.cells]
        low, high = nodes.min(axis=1), nodes.max(axis=1)
        margin = np.where(self.curved, 0.05 * (high - low).max(axis=1), 0.0)[:, None]
        return low - margin, high + margin

    @cached_property
    def left_sides(self) -> tuple[Ints, Floats, float]:
        """Cells (n_cell,) in order of the lowest x of their boxes, these, and the widest box."""
        low, high = self.boxes
        order = np.argsort(low[:, 0], kind="stable")
        return order, low[order, 0], float((high - low)[:, 0].max())

    def meeting(self, low: Floats, high: Floats) -> tuple[Ints, Ints]:
        """Pairs of a cell and one of some boxes, from low to high plan coordinates (n, 2) [m], that
        the box of the cell overlaps."""
        # Cells by their left sides: those that may overlap a box are in one run of them.
        order, starts, widest = self.left_sides
        first = np.searchsorted(starts, low[:, 0] - widest)
        count = np.maximum(np.searchsorted(starts, high[:, 0]) - first, 0)
        box = np.repeat(np.arange(len(low)), count)
        place = np.arange(len(box)) - np.repeat(np.cumsum(count) - count, count)
        cell = order[np.repeat(first, count) + place]
        # A run goes all across the slab: few of it are at the box's offset.
        for axis in (1, 0):
            lowest, highest = (side[:, axis] for side in self.boxes)
            hit = lowest[cell] < high[box, axis]
            hit &= highest[cell] > low[box, axis]
            cell, box = cell[hit], box[hit]
        return cell, box

    def locate(self, plan: Floats, tolerance: float = 1e-8) -> tuple[Ints, Ints, Floats]:
        """All cells that contain each plan point (n, 2), edges included.

        Returns which of the points, cells and reference coordinates (m,), (m,), (m, 2), point after
        point, one at least of each. A point on an arc is found in the cells whose sides follow the
        arc. Raises GeometryError for a point on no cell.
        """
        low, high = self.boxes
        margin = 0.02 * (high - low)
        cells, point = self.meeting(plan - margin.max(axis=0), plan + margin.max(axis=0))
        low, high, target = low - margin, high + margin, plan[point]
        # In plan coordinates, where all but arcs are straight and meet the edges exactly.
        near = np.all((low[cells] <= target) & (target <= high[cells]), axis=1)
        which = np.flatnonzero(near)
        which = which[np.lexsort((cells[which], point[which]))]
        cells, point, target = cells[which], point[which], target[which]
        xi = self.invert_plan(cells, target)
        image = np.einsum("kn,kna->ka", shape(self.order, xi), self.plan[self.cells[cells]])
        met = np.abs(image - target).max(axis=1) <= 1e-6 * (high - low)[cells].max(axis=1)
        outside = np.where(met, np.abs(xi).max(axis=1) - 1.0, np.inf)
        # Off the edge of the slab by rounding, or on an arc that cells follow nearly.
        least = np.ptp(self.corners[cells], axis=1).min(axis=1)
        nearly = np.where(self.curved[cells], ON_ARC, 2.0 * ROUNDING / least)
        inside, missed = outside <= tolerance, np.ones(len(plan), dtype=bool)
        missed[point[inside]] = False
        inside |= missed[point] & (outside <= nearly)
        missed[point[inside]] = False
        if missed.any():
            x, y = plan[int(missed.argmax())].tolist()
            raise GeometryError(f"point ({x:g}, {y:g}) lies off the slab")
        return point[inside], cells[inside], np.clip(xi[inside], -1.0, 1.0)

    def invert(self, cells: Ints, xy: Floats) -> Floats:
        """Reference coordinates (n, 2) of Cartesian points (n, 2) in the given cells (n,).

        Newton's method on the cell's map; a point far outside may not converge and then lies
        outside [-1, 1]^2.
        """
        return self._invert(self.xy, cells, xy)

    def invert_plan(self, cells: Ints, plan: Floats) -> Floats:
        """The same of plan points (n, 2)."""
        return self._invert(self.plan, cells, plan)

    def _invert(self, coordinates: Floats, cells: Ints, xy: Floats) -> Floats:
        nodes = coordinates[self.cells[cells]]
        xi = np.zeros((len(cells), 2))
        for _ in range(20):
            residual = xy - np.einsum("kn,knb->kb", shape(self.order, xi), nodes)
            jacobian = np.einsum("kan,knb->kab", shape_gradient(self.order, xi), nodes)
            step = np.linalg.solve(jacobian.swapaxes(1, 2), residual[..., None])[..., 0]
            xi = np.clip(xi + step, -1.5, 1.5)
            if np.abs(step).max(initial=0.0) < 1e-14:
                break
        return xi

    @cached_property
    def node_reference(self) -> Floats:
        """Reference coordinates ((p+1)^2, 2) of a cell's nodes."""
        return cell_nodes(self.order)


def are_upright(quads: Floats) -> NDArray[np.bool_]:
    """Which quadrilaterals (n, 4, 2) are rectangles along the axes."""
    size = np.ptp(quads, axis=1).max(axis=1)
    sides = np.roll(quads, -1, axis=1) - quads
    askew = np.abs(np.stack([sides[:, 0, 1], sides[:, 2, 1], sides[:, 1, 0], sides[:, 3, 0]]))
    found: NDArray[np.bool_] = askew.max(axis=0) <= 1e-12 * size
    return found


def subdivide(breaks: Floats, order: int) -> Floats:
    """Node coordinates (p n + 1,) of n intervals with Gauss-Lobatto points of order p in each."""
    points = 0.5 * (lobatto(order + 1)[:-1] + 1.0)
    inner = breaks[:-1, None] + np.diff(breaks)[:, None] * points
    return np.append(inner.ravel(), breaks[-1])

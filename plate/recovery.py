"""Results from displacements: w, moments and shears at points, along segments, in whole fields.

Every result is a linear operator on the displacements of one cell, or a mean of such operators.
Fields are given at the nodes of the mesh. Where a beam or support line or a step of thickness
divides the slab a node has one value for each side; elsewhere the values of the cells that meet
are averaged.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from plate.conventions import N_FIELDS, RESULTS
from plate.element import cartesian_gradient, cell_dofs, curvature, shear
from plate.loads import segment_points
from plate.mesh import Mesh, side_nodes
from plate.model import PlateModel
from plate.reference import shape
from plate.section import moment_rotation

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

N_RESULTS = len(RESULTS)
# Cells whose results are formed together.
CHUNK = 32


def cell_operators(model: PlateModel, cells: Ints, points: Floats) -> Floats:
    """Operators (n_cell, n_point, 6, n_dof) to w, m_x, m_y, m_xy, q_x, q_y [m, N m/m, N/m].

    Parameters
    ----------
    cells : (n_cell,).
    points : reference points (n_point, 2), or (n_cell, n_point, 2) in each cell.

    Components are along the local tangent and the growing offset. Under Kirchhoff theory the
    shears are the divergence of the moments.
    """
    mesh = model.mesh
    nodes = mesh.xy[mesh.cells[cells]]
    N = np.broadcast_to(shape(mesh.order, points), (len(cells), points.shape[-2], nodes.shape[1]))
    plan = N @ mesh.plan[mesh.cells[cells]]
    out = np.zeros((*plan.shape[:2], N_RESULTS, N_FIELDS * nodes.shape[1]))
    out[:, :, 0, ::N_FIELDS] = N
    moments = _moment_operator(model, nodes, _inside(mesh, cells, plan), points)
    if model.section.thin:
        # Moments at the cell's nodes, interpolated and differentiated.
        reference = mesh.node_reference
        inside = _inside(mesh, cells, mesh.plan[mesh.cells[cells]])
        at_nodes = _moment_operator(model, nodes, inside, reference)
        gradient, _ = cartesian_gradient(mesh.order, nodes, points)
        mx, my, mxy = (at_nodes[:, :, k] for k in range(3))
        dx, dy = gradient[..., 0, :], gradient[..., 1, :]
        shears = np.stack([dx @ mx + dy @ mxy, dx @ mxy + dy @ my], axis=-2)
    else:
        rigidity = model.section.shear(_inside(mesh, cells, plan))
        shears = rigidity[..., None, None] * shear(mesh.order, nodes, points)
    if not mesh.chart.straight:
        tangent = mesh.chart.tangent(plan)
        moments = moment_rotation(tangent) @ moments
        c, s = tangent[..., 0], tangent[..., 1]
        turn = np.stack([np.stack([c, s], axis=-1), np.stack([-s, c], axis=-1)], axis=-2)
        shears = turn @ shears
    out[:, :, 1:4] = moments
    out[:, :, 4:] = shears
    return out


def _moment_operator(model: PlateModel, nodes: Floats, inside: Floats, points: Floats) -> Floats:
    """(n_cell, n_point, 3, n_dof) Cartesian moments [N m/m]."""
    B, _ = curvature(model.mesh.order, nodes, points)
    return np.asarray(-model.section.bending(inside, model.mesh.chart) @ B)


def _inside(mesh: Mesh, cells: Ints, plan: Floats) -> Floats:
    """Plan points drawn slightly into their cells, where the thickness is that cell's own."""
    centre = mesh.corners[cells].mean(axis=1)[:, None]
    return np.asarray(plan + 1e-6 * (centre - plan))


def point_operators(model: PlateModel, cells: Ints, points: Floats) -> sparse.csr_array:
    """Rows (6 n, n_dof) of results at one reference point (n, 2) in each cell (n,)."""
    local = cell_operators(model, cells, points[:, None, :])[:, 0]
    dofs = cell_dofs(model.mesh.cells[cells])
    rows = np.arange(N_RESULTS * len(cells)).reshape(len(cells), N_RESULTS, 1)
    index = np.broadcast_arrays(rows, dofs[:, None, :])
    values = (local.ravel(), (index[0].ravel(), index[1].ravel()))
    return sparse.coo_array(values, shape=(rows.size, model.n_dof)).tocsr()


def mean_along(model: PlateModel, path: Floats) -> sparse.csr_array:
    """Rows (6, n_dof) of the arc-length mean of each result along a path (n, 2) in plan [m]."""
    total = sparse.csr_array((N_RESULTS, model.n_dof))
    length = 0.0
    for cells, xi, weights in segment_points(model.mesh, path):
        rows = point_operators(model, cells, xi)
        n = len(cells)
        pick = sparse.coo_array(
            (
                np.repeat(weights, N_RESULTS),
                (np.tile(np.arange(N_RESULTS), n), np.arange(N_RESULTS * n)),
            ),
            shape=(N_RESULTS, N_RESULTS * n),
        ).tocsr()
        total = total + pick @ rows
        length += float(weights.sum())
    return sparse.csr_array(total / length)


@dataclass(frozen=True)
class FieldPoints:
    """Where fields are given.

    node : (n_point,) node of the mesh.
    cells : (n_cell, (p+1)^2) points of each cell, in the order of the cell's nodes.
    """

    node: Ints
    cells: Ints

    @property
    def n_points(self) -> int:
        return len(self.node)


def field_points(model: PlateModel) -> FieldPoints:
    """Nodes of the mesh, doubled where supports, beams or steps of thickness divide the slab."""
    mesh = model.mesh
    n = mesh.cells.shape[1]
    ends, owner = mesh.edges
    divided = np.zeros(len(ends), dtype=bool)
    for line in [s.line for s in model.supports] + [b.line for b in model.beams]:
        divided[mesh.edge_index(mesh.lines[line][:, [0, -1]])] = True
    inner = owner[:, 1, 0] >= 0
    t = model.section.thickness_at(mesh.corners.mean(axis=1))
    divided[inner] |= ~np.isclose(t[owner[inner, 0, 0]], t[owner[inner, 1, 0]], rtol=1e-12)
    joined = owner[inner & ~divided]
    sides = side_nodes(mesh.order)
    first = joined[:, 0, :1] * n + sides[joined[:, 0, 1]]
    second = joined[:, 1, :1] * n + sides[joined[:, 1, 1]]
    # Match the two cells' local nodes of each edge by their node numbers.
    flat = mesh.cells.ravel()
    first = np.take_along_axis(first, np.argsort(flat[first], axis=1), axis=1)
    second = np.take_along_axis(second, np.argsort(flat[second], axis=1), axis=1)
    graph = sparse.coo_array(
        (np.ones(first.size), (first.ravel(), second.ravel())), shape=(flat.size, flat.size)
    )
    count, label = connected_components(graph, directed=False)
    node = np.empty(count, dtype=np.int64)
    node[label] = flat
    return FieldPoints(node, label.reshape(mesh.cells.shape).astype(np.int64))


class FieldRecovery:
    """Fields of results from displacements, in blocks of loads.

    Parameters
    ----------
    model : the plate.
    points : where; default `field_points(model)`.
    """

    def __init__(self, model: PlateModel, points: FieldPoints | None = None) -> None:
        self.points = points or field_points(model)
        mesh = model.mesh
        everything = np.arange(mesh.n_cells)
        operators = cell_operators(model, everything, mesh.node_reference)[:, :, 1:]
        n_cell, n_node = mesh.cells.shape
        n_values = operators.shape[2]
        self._operators = operators.swapaxes(1, 2).reshape(n_cell, n_values * n_node, -1).copy()
        self._dofs = cell_dofs(mesh.cells)
        # Row (component, point) is the mean over the cells that meet at the point.
        n_points = self.points.n_points
        point = np.broadcast_to(self.points.cells[:, None], (n_cell, n_values, n_node))
        rows = (point + n_points * np.arange(n_values)[:, None]).ravel()
        count = np.bincount(self.points.cells.ravel(), minlength=n_points)
        self._average = sparse.coo_array(
            (1.0 / count[point.ravel()], (rows, np.arange(rows.size))),
            shape=(n_values * n_points, rows.size),
        ).tocsr()
        self._w = N_FIELDS * self.points.node

    def fields(self, U: Floats) -> Floats:
        """(6, n_point, n_load) w, m_x, m_y, m_xy, q_x, q_y of displacements (n_dof, n_load)."""
        n_cell, n_rows, _ = self._operators.shape
        n_load = U.shape[1]
        local = np.empty((n_cell, n_rows, n_load))
        # Few cells at a time, so that their displacements stay in cache.
        for start in range(0, n_cell, CHUNK):
            part = slice(start, start + CHUNK)
            np.matmul(self._operators[part], U[self._dofs[part]], out=local[part])
        means = self._average @ local.reshape(-1, n_load)
        w = U[self._w][None]
        return np.concatenate([w, means.reshape(-1, self.points.n_points, n_load)])

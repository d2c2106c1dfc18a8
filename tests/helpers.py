"""What the tests of the mechanics share: small models, distorted meshes, results at points."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu
from threadpoolctl import threadpool_info

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.section import Section
from plate.geometry.elementary import rectangle_corners
from plate.geometry.plan import grid_plan
from plate.interpolation import cell_nodes, gauss, shape, shape_gradient, square
from plate.loads.loads import patch_loads
from plate.meshing.grid import Grading, grid_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.supports import LineSupport
from plate.results.functionals import result_rows
from plate.results.places import at_points
from plate.solver.stiffness import Stiffness

Field = Callable[[Floats], Floats]

EDGES = ("start", "end", "left", "right")
SOFT = {edge: ("rigid", False) for edge in EDGES}
HARD = {edge: ("rigid", True) for edge in EDGES}
CLAMPED = {edge: ("clamped", False) for edge in EDGES}


def unit_section(
    t: float, poisson: float = 0.2, thin_span: float | None = None, **more: object
) -> Section:
    """A section of thickness t whose rigidity D is 1."""
    return Section(
        thickness=t,
        E=12.0 * (1.0 - poisson**2) / t**3,
        poisson=poisson,
        thin_span=thin_span,
        **more,
    )


def shear_rigidity(section: Section) -> float:
    """kappa G t of the main thickness."""
    return float(section.shear(np.zeros((1, 2)))[0])


def edge_supports(edges: Mapping[str, tuple[str, bool]]) -> tuple[LineSupport, ...]:
    """Supports from edge -> (kind, hard)."""
    return tuple(
        LineSupport(line=edge, kind=kind, hard=hard) for edge, (kind, hard) in edges.items()
    )


def rectangle(
    a: float,
    b: float,
    section: Section,
    edges: Mapping[str, tuple[str, bool]],
    *,
    order: int = 3,
    size: float,
    grading: Grading | None = None,
) -> PlateModel:
    """A plate 0 <= x <= a, 0 <= y <= b."""
    plan = grid_plan([0.0, a], [0.0, b])
    mesh = grid_mesh(plan, order=order, size=size, grading=grading)
    return PlateModel(mesh=mesh, section=section, supports=edge_supports(edges))


def solved(model: PlateModel, *loads: Floats) -> tuple[Stiffness, Floats, Floats]:
    """Stiffness, displacements and loads (n_dof, n_load) of a model."""
    stiffness = Stiffness(model)
    F = np.stack(loads, axis=1)
    return stiffness, stiffness.solve(F, refine=True), F


def results(model: PlateModel, u: Floats, points: Sequence[tuple[float, float]]) -> Floats:
    """w, m_x, m_y, m_xy, q_x, q_y (n, 6) at plan points, the mean of the cells that meet there."""
    places = at_points(model.mesh, np.asarray(points, dtype=float))
    return np.asarray(result_rows(model, places) @ u).reshape(-1, 6)


def result(model: PlateModel, u: Floats, x: float, y: float) -> Floats:
    """The six results (6,) at one plan point."""
    return np.asarray(results(model, u, [(x, y)])[0])


def patch(mesh: Mesh, x: float, y: float, a: float, b: float, load: float = 1.0) -> Floats:
    """Right-hand side (n_dof,) of one patch."""
    corners = rectangle_corners([(x, y)], (a, b))
    one = np.zeros(1, dtype=np.int64)
    return np.asarray(patch_loads(mesh, corners, np.array([load]), one, 1).toarray()[:, 0])


def area_load(mesh: Mesh, pressure: Field) -> Floats:
    """Right-hand side (n_dof,) of a pressure given at Cartesian points, by Gauss's rule."""
    x, weight = gauss(mesh.order + 4)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    N = shape(mesh.order, points)
    det = np.linalg.det(mesh.jacobian(points))
    load = np.zeros(N_FIELDS * mesh.n_nodes)
    values = (pressure(N @ mesh.xy[mesh.cells]) * det * weights) @ N
    np.add.at(load, N_FIELDS * mesh.cells, values)
    return load


def perturbed(mesh: Mesh, share: float, seed: int = 0) -> Mesh:
    """The mesh with its inner corners moved by up to `share` of the shortest side."""
    corner = np.unique(mesh.cells[:, _corner_slots(mesh.order)])
    ends, owner = mesh.edges
    outer = np.unique(ends[owner[:, 1, 0] < 0])
    inner = np.setdiff1d(corner, outer)
    sides = np.linalg.norm(mesh.plan[ends[:, 0]] - mesh.plan[ends[:, 1]], axis=1)
    plan = mesh.plan.copy()
    shift = np.random.default_rng(seed).uniform(-1.0, 1.0, (len(inner), 2))
    plan[inner] += share * sides.min() * shift
    xi = cell_nodes(mesh.order)
    for cell in mesh.cells:
        plan[cell] = shape(1, xi) @ plan[cell[_corner_slots(mesh.order)]]
    return replace(mesh, plan=plan)


def _corner_slots(order: int) -> list[int]:
    """Local corner nodes in the order of an order-1 cell's nodes."""
    return [0, order, order * (order + 1), (order + 1) ** 2 - 1]


def outer_nodes(mesh: Mesh) -> NDArray[np.int64]:
    """Nodes on the edges of the slab."""
    return np.unique(np.concatenate([mesh.lines[f"{edge}"] for edge in EDGES]))


def prescribed(model: PlateModel, exact: Floats, load: Floats | None = None) -> Floats:
    """Displacements (n_dof,) with the dofs of the outer nodes taken from `exact` (n_node, 3).

    By a general sparse solved on the assembled matrix. The model must be held somehow; its
    constraints are not used.
    """
    stiffness = Stiffness(model)
    K = stiffness.matrix().tocsc()
    n = model.n_dof
    held = np.zeros((model.mesh.n_nodes, N_FIELDS), dtype=bool)
    held[outer_nodes(model.mesh)] = True
    fixed, free = np.flatnonzero(held.ravel()), np.flatnonzero(~held.ravel())
    u = np.zeros(n)
    u[fixed] = exact.ravel()[fixed]
    load = np.zeros(n) if load is None else load
    factor = splu(sparse.csc_matrix(K[free][:, free]))
    u[free] = factor.solve((load - K @ u)[free])
    for _ in range(2):
        # Residuals element by element keep the digits that the assembled matrix loses.
        u[free] += factor.solve((load - stiffness.force(u[:, None])[:, 0])[free])
    return u


def gauss_points(mesh: Mesh) -> tuple[Floats, Floats, Floats]:
    """Reference points (n_point, 2), their Cartesian places and weights in every cell."""
    x, weight = gauss(mesh.order + 1)
    points = square(x, x)
    xy = shape(mesh.order, points) @ mesh.xy[mesh.cells]
    det = np.linalg.det(shape_gradient(mesh.order, points) @ mesh.xy[mesh.cells][:, None])
    return points, xy, det * np.outer(weight, weight).ravel()


def measured_rate(sizes: Sequence[float], errors: Sequence[float]) -> float:
    """Slope of log(error) over log(size) between the last two meshes."""
    return float(np.log(errors[-2] / errors[-1]) / np.log(sizes[-2] / sizes[-1]))


def blas_threads() -> int:
    return max(i["num_threads"] for i in threadpool_info() if i["user_api"] == "blas")


def alike(there: Any, here: Any) -> bool:
    """Whether two results differ by no more than sums of linear algebra in another order.

    A kernel sums differently where an array begins at another address: 1e-16 of the terms of a
    sum, moments of up to 1e3 kNm/m here, so that 1e-9 has room for what a solve makes of it.
    """
    if isinstance(there, dict):
        return there.keys() == here.keys() and all(alike(there[key], here[key]) for key in there)
    if isinstance(there, (list, tuple)):
        return len(there) == len(here) and all(map(alike, there, here))
    if isinstance(there, float) and isinstance(here, float):
        return math.isclose(there, here, rel_tol=1e-9, abs_tol=1e-9)
    return bool(there == here)

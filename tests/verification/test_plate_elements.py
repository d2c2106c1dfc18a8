"""Patch tests, measured rates of convergence, and no locking, for every order."""

from dataclasses import replace

import numpy as np
import pytest

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.plate import cell_dofs
from plate.exact.clamped import clamped_rectangle
from plate.exact.common import Patch
from plate.geometry.plan import grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from tests.helpers import (
    CLAMPED,
    edge_supports,
    gauss_points,
    perturbed,
    prescribed,
    rectangle,
    result,
    shear_rigidity,
    solved,
    unit_section,
)
from tests.verification.sine_plates import cell_results, sine_errors

ORDERS = [1, 2, 3, 4]


# --- patch tests ---------------------------------------------------------------------------


def distorted(order: int, t: float, poisson: float = 0.3) -> PlateModel:
    """A rectangle of distorted quadrilaterals, D = 1."""
    mesh = perturbed(grid_mesh(grid_plan([0.0, 2.4], [0.0, 1.6]), order=order, size=0.6), 0.3, 4)
    return PlateModel(mesh=mesh, section=unit_section(t, poisson), supports=edge_supports(CLAMPED))


@pytest.mark.parametrize("t", [0.5, 1e-2])
@pytest.mark.parametrize("curvature", [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)])
@pytest.mark.parametrize("order", ORDERS)
def test_constant_curvature(order: int, curvature: tuple[float, float, float], t: float) -> None:
    """Prescribed at the edges, exact inside: moments to 1e-10 and no shear strain."""
    model = distorted(order, t)
    a, b, c = curvature
    x, y = model.mesh.xy.T
    w = 0.5 * (a * x**2 + b * y**2 + c * x * y)
    exact = np.column_stack([w, a * x + 0.5 * c * y, b * y + 0.5 * c * x])
    u = prescribed(model, exact)
    np.testing.assert_allclose(u, exact.ravel(), rtol=0, atol=1e-10)
    found = cell_results(model, u)
    moments = -np.array([a + 0.3 * b, b + 0.3 * a, 0.35 * c])
    np.testing.assert_allclose(
        found[..., 1:4], np.broadcast_to(moments, found[..., 1:4].shape), rtol=0, atol=1e-10
    )
    strain = found[..., 4:] / shear_rigidity(model.section)
    np.testing.assert_allclose(strain, 0.0, rtol=0, atol=1e-10)


@pytest.mark.parametrize("t", [0.5, 1e-2])
@pytest.mark.parametrize("order", [3, 4])
def test_constant_shear(order: int, t: float) -> None:
    """Cylindrical bending by a constant shear force, oblique to the mesh: w cubic, slopes
    quadratic, which orders 3 and above contain. Orders 1 and 2 hold the strain alone constant
    (tests of the element)."""
    model = distorted(order, t)
    S = shear_rigidity(model.section)
    n = np.array([0.8, 0.6])
    s = model.mesh.xy @ n
    # m = -D theta,s with q = m,s = 1: theta = -s^2 / 2, w,s = theta + q / S
    w, theta = -(s**3) / 6.0 + s / S, -(s**2) / 2.0
    exact = np.column_stack([w, theta[:, None] * n])
    u = prescribed(model, exact)
    np.testing.assert_allclose(u, exact.ravel(), rtol=0, atol=1e-10)
    found = cell_results(model, u)
    # rounding of w (1e-15) passes through S, which is 1e4 at t = 1e-2
    np.testing.assert_allclose(
        found[..., 4:],
        np.broadcast_to(n, found[..., 4:].shape),
        rtol=0,
        atol=1e-10 * max(1, 1e-2 * S),
    )
    _, xy, _ = gauss_points(model.mesh)
    along = xy @ n
    exact_m = along[..., None] * [0.64 + 0.3 * 0.36, 0.36 + 0.3 * 0.64, 0.7 * 0.48]
    np.testing.assert_allclose(found[..., 1:4], exact_m, rtol=0, atol=1e-10)


def test_uniform_load_in_the_space_of_order_4() -> None:
    """w quartic under a uniform load, prescribed at the edges of a distorted mesh."""
    model = distorted(4, 0.3)
    S = shear_rigidity(model.section)
    n = np.array([0.8, 0.6])
    s = model.mesh.xy @ n
    # q,s = -1: q = -s, m = -s^2 / 2, theta = s^3 / 6, w = s^4 / 24 - s^2 / 2 S
    exact = np.column_stack([s**4 / 24.0 - s**2 / (2.0 * S), (s**3 / 6.0)[:, None] * n])
    u = prescribed(model, exact, pressure(model.mesh, 1.0))
    np.testing.assert_allclose(u, exact.ravel(), rtol=0, atol=1e-10)


# --- rates ---------------------------------------------------------------------------------


CELLS = {1: (16, 32), 2: (8, 16), 3: (6, 12), 4: (4, 8)}


def rates(t: float, order: int, share: float) -> Floats:
    """Rates of w, m, q between two meshes; on moved meshes the mean over four of each size."""
    seeds = range(4) if share else range(1)
    coarse, fine = (
        np.mean([np.log(sine_errors(t, order, n, share, seed)) for seed in seeds], axis=0)
        for n in CELLS[order]
    )
    return np.asarray((coarse - fine) / np.log(CELLS[order][1] / CELLS[order][0]))


@pytest.mark.parametrize("t", [0.1, 1e-3])
@pytest.mark.parametrize("order", ORDERS)
def test_rates_on_regular_meshes(order: int, t: float) -> None:
    """Order p + 1 for w, p for moments and p for shears, thick and thin."""
    np.testing.assert_allclose(rates(t, order, 0.0), [order + 1, order, order], rtol=0, atol=0.1)


@pytest.mark.parametrize("order", ORDERS)
def test_rates_on_moved_meshes_of_a_thick_plate(order: int) -> None:
    """Every mesh moved anew by 0.2 of a side: the same orders."""
    found = rates(0.1, order, 0.2)
    np.testing.assert_allclose(found, [order + 1, order, order], rtol=0, atol=0.25)


@pytest.mark.parametrize("order", ORDERS)
def test_rates_on_moved_meshes_of_a_thin_plate(order: int) -> None:
    """t/a = 1e-3, moved by 0.2 of a side: w and moments keep their order, the shears of the
    constitutive law lose one, p - 1 (so at order 1 they do not converge until h ~ t). Measured
    -0.3, 0.9, 1.8, 2.8."""
    found = rates(1e-3, order, 0.2)
    np.testing.assert_allclose(found[:2], [order + 1, order], rtol=0, atol=0.25)
    assert found[2] == pytest.approx(order - 1, abs=0.4)


# --- locking -------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.0, 0.2])
@pytest.mark.parametrize("order", ORDERS)
def test_no_locking(order: int, share: float) -> None:
    """A clamped square under a uniform load on a fixed mesh, from t/a = 1e-2 to 1e-5: w and m of
    the middle keep the thin-plate error of their mesh and do not follow t. Below, the condition
    of the matrix leaves 1e-4 on moved meshes."""
    n = {1: 16, 2: 12, 3: 6, 4: 4}[order]
    exact = clamped_rectangle(1.0, 1.0, 1.0, 0.3, [Patch.uniform(1.0, 1.0)]).at(0.5, 0.5)
    found = []
    for t in (1e-2, 1e-3, 1e-4, 1e-5):
        model = rectangle(1.0, 1.0, unit_section(t, 0.3), CLAMPED, order=order, size=1.0 / n)
        if share:
            model = replace(model, mesh=perturbed(model.mesh, share, 1))
        _, U, _ = solved(model, pressure(model.mesh, 1.0))
        found.append(result(model, U[:, 0], 0.5, 0.5)[:3])
    values = np.array(found)
    reference = np.array([float(exact.w), float(exact.m_x), float(exact.m_y)])
    tolerance = {1: 0.05, 2: 0.02, 3: 0.02, 4: 0.02}[order]
    np.testing.assert_allclose(values, np.broadcast_to(reference, (4, 3)), rtol=tolerance)
    # what changes between 1e-3 and 1e-5 is the shear deflection of t/a = 1e-3 and rounding
    np.testing.assert_allclose(values[1:], np.broadcast_to(values[1], (3, 3)), rtol=2e-3)


def test_full_shear_would_lock() -> None:
    """What the mixed shear is for: with the strains of the displacements themselves the same
    bilinear mesh gives next to nothing."""
    t, n = 1e-3, 16
    model = rectangle(1.0, 1.0, unit_section(t, 0.3), CLAMPED, order=1, size=1.0 / n)
    from plate.elements.plate import curvature
    from plate.interpolation import gauss, shape, shape_gradient, square

    mesh = model.mesh
    x, weight = gauss(2)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    B, det = curvature(1, mesh.xy[mesh.cells], points)
    gradient = np.linalg.solve(
        shape_gradient(1, points) @ mesh.xy[mesh.cells][:, None],
        np.broadcast_to(shape_gradient(1, points), (mesh.n_cells, 4, 2, 4)),
    )
    Bs = np.zeros((mesh.n_cells, 4, 2, 4, N_FIELDS))
    Bs[..., 0] = gradient
    Bs[..., 0, :, 1] = Bs[..., 1, :, 2] = -shape(1, points)
    Bs = Bs.reshape(mesh.n_cells, 4, 2, -1)
    D = np.array([[1.0, 0.3, 0.0], [0.3, 1.0, 0.0], [0.0, 0.0, 0.35]])
    scale = det * weights
    K = np.einsum("cq,cqai,ab,cqbj->cij", scale, B, D, B, optimize=True)
    K += shear_rigidity(model.section) * np.einsum(
        "cq,cqai,cqaj->cij", scale, Bs, Bs, optimize=True
    )
    full = np.zeros((model.n_dof, model.n_dof))
    for dofs, matrix in zip(cell_dofs(mesh.cells), K, strict=True):
        full[np.ix_(dofs, dofs)] += matrix
    inner = np.all((mesh.plan > 1e-9) & (mesh.plan < 1.0 - 1e-9), axis=1)
    free = np.repeat(inner, N_FIELDS)
    F = pressure(mesh, 1.0)
    u = np.zeros(model.n_dof)
    u[free] = np.linalg.solve(full[np.ix_(free, free)], F[free])
    middle = int(np.argmin(np.hypot(*(mesh.plan - 0.5).T)))
    assert u[N_FIELDS * middle] < 0.1 * 0.00126532

"""One element: symmetry, rigid motions, no other motion without energy; states of strain."""

import numpy as np
import pytest

from plate.arrays import Floats
from plate.elements.plate import curvature, shear, stiffness_matrices
from plate.geometry.alignment import Alignment
from plate.geometry.plan import grid_plan
from plate.interpolation import cell_nodes, shape, square
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from tests.helpers import unit_section

ORDERS = [1, 2, 3, 4, 5]
SQUARE = np.array([[0.0, 0.0], [0.0, 1.0], [1.0, 0.0], [1.0, 1.0]])
DISTORTED = np.array([[0.1, -0.2], [-0.1, 1.4], [1.6, 0.1], [0.9, 0.8]])
SLIVER = np.array([[0.0, 0.0], [0.0, 0.01], [1.0, 0.0], [1.0, 0.01]])
SHAPES = {"square": SQUARE, "distorted": DISTORTED, "sliver": SLIVER}


def one_cell(order: int, corners: Floats) -> Mesh:
    plan = shape(1, cell_nodes(order)) @ corners
    return Mesh(
        order=order, alignment=Alignment(), plan=plan, cells=np.arange(len(plan))[None], lines={}
    )


def rigid_motions(xy: Floats) -> Floats:
    """w = 1, x, y with the slopes that follow (n_dof, 3)."""
    modes = np.zeros((len(xy), 3, 3))
    modes[:, 0] = np.column_stack([np.ones(len(xy)), xy])
    modes[:, 1, 1] = modes[:, 2, 2] = 1.0
    return modes.reshape(-1, 3)


@pytest.mark.parametrize("t", [0.3, 1e-3])
@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("order", ORDERS)
def test_three_rigid_motions_and_no_other(order: int, name: str, t: float) -> None:
    mesh = one_cell(order, SHAPES[name])
    [K] = stiffness_matrices(mesh, unit_section(t))
    scale = np.abs(K).max()
    assert np.abs(K - K.T).max() <= 1e-14 * scale
    assert np.abs(K @ rigid_motions(mesh.xy)).max() <= 1e-12 * scale
    # scaled by the diagonal, so that w and slopes, thin and thick, compare
    d = 1.0 / np.sqrt(np.diag(K))
    values = np.linalg.eigvalsh(d[:, None] * K * d)
    # rounding against the softest true motion, which for the thin sliver is 2e-10
    assert np.all(np.abs(values[:3]) < 1e-13)
    assert values[3] > 1e-10


@pytest.mark.parametrize("order", [2, 3, 4])
def test_a_curved_cell_has_three_rigid_motions(order: int) -> None:
    mesh = grid_mesh(grid_plan([0.0, 2.0], [-1.0, 1.0], radius=3.0), order=order, size=3.0)
    assert mesh.n_cells == 1
    [K] = stiffness_matrices(mesh, unit_section(0.2))
    moved = K @ rigid_motions(mesh.xy[mesh.cells[0]])
    assert np.abs(moved).max() <= 1e-12 * np.abs(K).max()
    d = 1.0 / np.sqrt(np.diag(K))
    values = np.linalg.eigvalsh(d[:, None] * K * d)
    assert values[2] < 1e-12 < 1e-7 < values[3]


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("order", ORDERS)
def test_constant_shear_strain(order: int, name: str) -> None:
    """w linear and slopes constant give constant shear strains exactly, at every order."""
    mesh = one_cell(order, SHAPES[name])
    x, y = mesh.xy.T
    u = np.column_stack([0.3 * x - 0.7 * y, np.full(len(x), 0.1), np.full(len(x), 0.4)]).ravel()
    points = square(np.linspace(-1, 1, 4), np.linspace(-1, 1, 4))
    gamma = shear(order, mesh.xy[mesh.cells], points)[0] @ u
    np.testing.assert_allclose(gamma, np.broadcast_to([0.2, -1.1], gamma.shape), rtol=0, atol=1e-11)


@pytest.mark.parametrize("order", ORDERS)
def test_no_shear_in_pure_bending(order: int) -> None:
    """w = (a x^2 + b y^2 + c x y)/2 and its slopes: constant curvature, no shear at all."""
    a, b, c = 0.7, -0.4, 1.3
    mesh = one_cell(order, DISTORTED)
    x, y = mesh.xy.T
    w = 0.5 * (a * x**2 + b * y**2 + c * x * y)
    u = np.column_stack([w, a * x + 0.5 * c * y, b * y + 0.5 * c * x]).ravel()
    points = square(np.linspace(-1, 1, 4), np.linspace(-1, 1, 4))
    nodes = mesh.xy[mesh.cells]
    np.testing.assert_allclose(shear(order, nodes, points)[0] @ u, 0.0, rtol=0, atol=1e-12)
    B, det = curvature(order, nodes, points)
    kappa = B[0] @ u
    np.testing.assert_allclose(kappa, np.broadcast_to([a, b, c], kappa.shape), rtol=0, atol=1e-12)
    assert np.all(det > 0.0)


@pytest.mark.parametrize("order", [1, 2, 3])
def test_matrices_turn_with_the_cell(order: int) -> None:
    """The stiffness of a turned cell in turned axes is the same."""
    angle = 0.6
    R = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    first, second = one_cell(order, DISTORTED), one_cell(order, DISTORTED @ R)
    T = np.eye(3)
    T[1:, 1:] = R.T
    turn = np.kron(np.eye(first.n_nodes), T)
    K = [stiffness_matrices(mesh, unit_section(0.1))[0] for mesh in (first, second)]
    np.testing.assert_allclose(turn @ K[0] @ turn.T, K[1], rtol=0, atol=1e-10 * np.abs(K[0]).max())


def test_chunks_do_not_matter() -> None:
    mesh = grid_mesh(grid_plan([0.0, 2.0], [-1.0, 1.0], skew=0.3), order=2, size=0.4)
    first = stiffness_matrices(mesh, unit_section(0.1), chunk=7)
    second = stiffness_matrices(mesh, unit_section(0.1))
    np.testing.assert_allclose(first, second, rtol=1e-12, atol=1e-12 * np.abs(first).max())

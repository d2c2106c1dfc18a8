"""Location of points in cells of every shape, edges, degenerate meshes."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plate.errors import GeometryError, MeshError
from plate.geometry.plan import Plan, grid_plan
from plate.interpolation import shape
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from tests.helpers import perturbed

PLANS = {
    "straight": grid_plan([0.0, 4.0], [-2.0, 2.0], overhang={"end": 0.3}),
    "skew": grid_plan([0.0, 4.0], [-2.0, 2.0], skew=0.9),
    "tapered": grid_plan([0.0, 4.0], [-2.0, 2.0], end_offsets=[-0.5, 1.5], skew=0.2),
    "right": grid_plan([0.0, 8.0], [-3.0, 3.0], radius=6.0),
    "left": grid_plan([0.0, 8.0], [-3.0, 3.0], radius=-7.0),
}


def plan_point(plan: Plan, s: float, r: float) -> np.ndarray:
    """Point at shares s along and r across the slab."""
    low, high = plan.u_range
    u = np.array(low + s * (high - low))
    y = plan.line_offsets(u)
    return plan.at(u, y[0] + r * (y[-1] - y[0]))


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("name", PLANS)
@given(s=st.floats(0.0, 1.0), r=st.floats(0.0, 1.0))
def test_locate_returns_to_the_point(name: str, order: int, s: float, r: float) -> None:
    plan = PLANS[name]
    mesh = grid_mesh(plan, order=order, size=1.1)
    point = plan_point(plan, s, r)
    _, cells, xi = mesh.locate(point[None])
    assert 1 <= len(cells) <= 4
    for cell, reference in zip(cells, xi, strict=True):
        found = shape(order, reference) @ mesh.plan[mesh.cells[cell]]
        np.testing.assert_allclose(found, point, rtol=0, atol=1e-9)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("name", PLANS)
def test_points_on_the_edges_of_the_slab(name: str, order: int) -> None:
    """A curved edge of the slab is not the polynomial edge of its cells: still on the slab."""
    plan = PLANS[name]
    mesh = grid_mesh(plan, order=order, size=1.3)
    shares = np.linspace(0.0, 1.0, 23)
    for fixed in (0.0, 1.0):
        points = [plan_point(plan, s, fixed) for s in shares]
        points += [plan_point(plan, fixed, r) for r in shares]
        found, *_ = mesh.locate(np.array(points))
        assert len(np.unique(found)) == 2 * len(shares)


@pytest.mark.parametrize("name", PLANS)
def test_off_the_slab(name: str) -> None:
    plan = PLANS[name]
    mesh = grid_mesh(plan, order=2, size=1.3)
    for s, r in ((0.5, 1.001), (0.5, -0.001), (-0.001, 0.5), (1.001, 0.5)):
        with pytest.raises(GeometryError, match="off the slab"):
            mesh.locate(plan_point(plan, s, r)[None])


def test_a_corner_belongs_to_four_cells() -> None:
    mesh = grid_mesh(PLANS["straight"], order=3, size=1.0)
    _, cells, xi = mesh.locate(np.array([[2.0, 0.0]]))
    assert len(cells) == 4
    np.testing.assert_allclose(np.abs(xi), 1.0)


@pytest.mark.parametrize("order", [1, 3])
def test_invert_in_distorted_cells(order: int) -> None:
    mesh = perturbed(grid_mesh(PLANS["straight"], order=order, size=1.0), 0.3)
    wanted = np.random.default_rng(2).uniform(-1.0, 1.0, (mesh.n_cells, 2))
    xy = np.einsum("kn,knb->kb", shape(order, wanted), mesh.xy[mesh.cells])
    np.testing.assert_allclose(mesh.invert(np.arange(mesh.n_cells), xy), wanted, rtol=0, atol=1e-12)


def test_folded_cells_are_refused() -> None:
    mesh = grid_mesh(PLANS["straight"], order=2, size=1.0)
    plan = mesh.plan.copy()
    plan[mesh.cells[0]] = plan[mesh.cells[0]] * [-1.0, 1.0]
    with pytest.raises(MeshError, match="folded"):
        replace(mesh, plan=plan)


@pytest.mark.parametrize("order", [1, 2, 3])
def test_edges_and_their_cells(order: int) -> None:
    mesh: Mesh = grid_mesh(PLANS["skew"], order=order, size=1.0)
    n_u, n_v = 4, mesh.n_cells // 4
    ends, owner = mesh.edges
    assert len(ends) == n_u * (n_v + 1) + n_v * (n_u + 1)
    assert np.sum(owner[:, 1, 0] < 0) == 2 * (n_u + n_v)
    for pair, cells in zip(ends, owner, strict=True):
        for cell, side in cells[cells[:, 0] >= 0]:
            local = np.arange((order + 1) ** 2).reshape(order + 1, order + 1)
            row = [local[0], local[-1], local[:, 0], local[:, -1]][side]
            assert set(mesh.cells[cell][row[[0, -1]]]) == set(pair)
    np.testing.assert_array_equal(mesh.edge_index(ends[:, ::-1]), np.arange(len(ends)))

"""Right-hand sides of pressures, patches and lines: exact forces and moments, on any mesh."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.section import Section, Zone
from plate.geometry.elementary import rectangle_corners
from plate.geometry.plan import Plan, grid_plan
from plate.interpolation import gauss, shape, square
from plate.loads.loads import line_load, patch_loads, pressure, segment_points, self_weight
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from tests.helpers import patch, perturbed

STRAIGHT = grid_plan([0.0, 4.0], [-2.0, 2.0], overhang={"start": 0.5})
SKEW = grid_plan([0.0, 4.0], [-2.0, 2.0], skew=0.6)
TAPER = grid_plan([0.0, 4.0], [-2.0, 2.0], end_offsets=[-1.0, 2.5], skew=-0.2)
CURVED = grid_plan([0.0, 8.0], [-2.0, 2.0], radius=7.0)
PLANS = {"straight": STRAIGHT, "skew": SKEW, "taper": TAPER, "curved": CURVED}


def millimetres(low: float, high: float) -> st.SearchStrategy[float]:
    """Lengths [m] in whole millimetres: patches are told apart by nanometres."""
    return st.integers(round(1000 * low), round(1000 * high)).map(lambda k: k / 1000.0)


sides = millimetres(0.05, 3.0)
places = st.tuples(millimetres(-1.5, 6.0), millimetres(-3.0, 3.0))


def mesh_of(name: str, order: int = 3) -> Mesh:
    return grid_mesh(PLANS[name], order=order, size=0.9)


def force(load: Floats) -> float:
    return float(load[::N_FIELDS].sum())


def share_on_slab(plan: Plan, corners: Floats) -> float:
    """Share of a patch's area on the slab, with an independent geometry library."""
    overlap = Polygon(corners).intersection(Polygon(plan.outline))
    if overlap.is_empty or overlap.area == 0.0:
        return 0.0
    area = plan.alignment.polygon_area(np.array(overlap.exterior.coords)[:-1])
    return float(abs(area) / abs(plan.alignment.polygon_area(corners)))


@pytest.mark.parametrize("name", PLANS)
@given(at=places, a=sides, b=sides)
def test_force_of_a_patch_anywhere(name: str, at: tuple[float, float], a: float, b: float) -> None:
    """Only the part on the slab acts, wherever the patch's centre lies."""
    corners = rectangle_corners(at, (a, b))
    found = force(patch(mesh_of(name), *at, a, b, 100.0))
    assert found == pytest.approx(100.0 * share_on_slab(PLANS[name], corners), abs=1e-8)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("name", PLANS)
def test_a_patch_on_the_slab_keeps_its_force(name: str, order: int) -> None:
    load = patch(mesh_of(name, order), 2.03, 0.17, 0.7, 1.1, 250.0)
    assert force(load) == pytest.approx(250.0, rel=1e-13)
    assert np.all(load.reshape(-1, N_FIELDS)[:, 1:] == 0.0)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("name", ["straight", "skew"])
@given(at=st.tuples(millimetres(0.7, 3.0), millimetres(-1.0, 1.0)), a=sides, b=sides)
def test_moments_of_a_patch(
    name: str, order: int, at: tuple[float, float], a: float, b: float
) -> None:
    """The vector integrates polynomials of the order exactly: sums and first moments."""
    a, b = min(a, 0.9), min(b, 0.9)
    mesh = mesh_of(name, order)
    q = patch(mesh, *at, a, b)[::N_FIELDS]
    if name == "skew" and not PLANS[name].contains(rectangle_corners(at, (a, b))).all():
        return
    np.testing.assert_allclose(q @ mesh.plan, at, rtol=0, atol=1e-11)
    second = q @ (mesh.plan - at) ** 2
    exact = np.array([a, b]) ** 2 / 12.0
    if order > 1:
        np.testing.assert_allclose(second, exact, rtol=0, atol=1e-11)
    else:
        assert np.all(second > exact)  # linear interpolation of a parabola lies above it


@pytest.mark.parametrize("name", ["straight", "skew", "curved"])
@given(at=places, a=sides, b=sides)
def test_a_patch_in_four_parts(name: str, at: tuple[float, float], a: float, b: float) -> None:
    mesh = mesh_of(name)
    whole = patch(mesh, *at, a, b)
    quarters = np.zeros_like(whole)
    alignment = mesh.alignment
    area = alignment.polygon_area(rectangle_corners(at, (a, b)))
    for i in (-0.25, 0.25):
        for k in (-0.25, 0.25):
            x, y = at[0] + i * a, at[1] + k * b
            part = alignment.polygon_area(rectangle_corners((x, y), (a / 2, b / 2)))
            quarters += patch(mesh, x, y, a / 2, b / 2, float(part / area))
    np.testing.assert_allclose(quarters, whole, rtol=0, atol=1e-11)


def test_parts_of_a_patch_in_tapered_cells() -> None:
    """There the inverse of a cell's map is not a polynomial: exact force, moments to 1e-9."""
    mesh = mesh_of("taper")
    q = patch(mesh, 2.1, 0.3, 0.8, 0.6)[::N_FIELDS]
    assert q.sum() == pytest.approx(1.0, rel=1e-13)
    np.testing.assert_allclose(q @ mesh.plan, [2.1, 0.3], rtol=0, atol=1e-9)
    np.testing.assert_allclose(
        q @ (mesh.plan - [2.1, 0.3]) ** 2, [0.64 / 12, 0.36 / 12], rtol=0, atol=1e-9
    )


@given(at=places, a=sides, b=sides, turn=st.floats(0.0, 3.0))
def test_patches_askew(at: tuple[float, float], a: float, b: float, turn: float) -> None:
    """Any quadrilateral on any straight mesh, here turned about its centre on distorted cells."""
    mesh = perturbed(mesh_of("straight"), 0.25)
    c, s = np.cos(turn), np.sin(turn)
    corners = np.array(at) + (rectangle_corners((0.0, 0.0), (a, b)) @ [[c, s], [-s, c]])
    one = np.zeros(1, dtype=np.int64)
    load = patch_loads(mesh, corners[None], np.array([10.0]), one, 1).toarray()[:, 0]
    assert force(load) == pytest.approx(10.0 * share_on_slab(STRAIGHT, corners), abs=1e-8)


def test_an_overlap_of_eight_corners() -> None:
    """A patch turned by 45 degrees over a cell of its size: a regular octagon is left."""
    mesh = grid_mesh(grid_plan([0.0, 1.0], [0.0, 1.0]), order=3, size=1.0)
    half = np.sqrt(0.5)
    turned = 0.5 + half * np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])
    one = np.zeros(1, dtype=np.int64)
    load = patch_loads(mesh, turned[None], np.ones(1), one, 1).toarray()[:, 0]
    assert force(load) == pytest.approx(2.0 * np.sqrt(2.0) - 2.0, rel=1e-8)
    np.testing.assert_allclose(load[::N_FIELDS] @ mesh.plan / force(load), 0.5, rtol=0, atol=1e-8)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@given(at=places, a=sides, b=sides, turn=st.sampled_from([0.0, 0.6, 1.3, np.pi / 2]))
def test_every_share_of_a_patch_on_parallelograms(
    order: int, at: tuple[float, float], a: float, b: float, turn: float
) -> None:
    """Nodes take what shape functions integrate to over the overlaps that another library finds."""
    mesh = grid_mesh(SKEW, order=order, size=1.7)
    c, s = np.cos(turn), np.sin(turn)
    turned = rectangle_corners((0.0, 0.0), (a, b)) @ [[c, s], [-s, c]]
    corners = np.round(np.array(at) + turned, 9)
    x, weight = gauss(order + 1)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    expected = np.zeros(mesh.n_nodes)
    for cell, own in zip(mesh.cells, mesh.corners, strict=True):
        overlap = Polygon(corners).intersection(Polygon(own))
        if overlap.area < 1e-14:
            continue
        outline = np.array(overlap.exterior.coords)[:-1]
        # Triangles about a corner, the square of Gauss's points drawn together at it.
        for p, q in pairwise(outline[1:]):
            u, v = p - outline[0], q - p
            near = 0.5 * (1.0 + points[:, :1])
            inside = outline[0] + near * (u + 0.5 * (1.0 + points[:, 1:]) * v)
            area = 0.25 * np.abs(u[0] * v[1] - u[1] * v[0]) * near[:, 0] * weights
            map_to = np.linalg.inv(0.5 * np.array([own[1] - own[0], own[3] - own[0]]))
            np.add.at(expected, cell, area @ shape(order, (inside - own.mean(axis=0)) @ map_to))
    one = np.zeros(1, dtype=np.int64)
    load = patch_loads(mesh, corners[None], np.full(1, Polygon(corners).area), one, 1).toarray()[
        ::N_FIELDS, 0
    ]
    np.testing.assert_allclose(load, expected, rtol=0, atol=1e-13)


def test_the_general_path_agrees_with_the_one_for_rectangles() -> None:
    """Rectangles in rectangular cells are integrated by products: a hair of skew takes the other
    way through the same code."""
    mesh = mesh_of("straight")
    plan = mesh.plan.copy()
    plan[:, 0] += 1e-9 * plan[:, 1]
    skewed = replace(mesh, plan=plan)
    for place in ((1.3, 0.4), (-0.4, 1.9), (4.0, -2.0)):
        first, second = (patch(m, *place, 0.7, 0.9) for m in (mesh, skewed))
        np.testing.assert_allclose(first, second, rtol=0, atol=1e-7)


def test_patches_share_columns() -> None:
    """Several patches in one right-hand side, and one patch in several."""
    mesh = mesh_of("straight")
    corners = np.stack([rectangle_corners((1.0, y), (0.4, 0.4)) for y in (-1.0, 0.0, -1.0)])
    columns = np.array([0, 0, 2])
    loads = patch_loads(mesh, corners, np.array([1.0, 2.0, 5.0]), columns, 3).toarray()
    one, two = patch(mesh, 1.0, -1.0, 0.4, 0.4), patch(mesh, 1.0, 0.0, 0.4, 0.4)
    np.testing.assert_allclose(
        loads, np.stack([one + 2 * two, 0 * one, 5 * one], axis=1), rtol=0, atol=1e-14
    )


def test_pressure_is_one_patch_over_everything() -> None:
    for name in ("straight", "skew"):
        mesh = mesh_of(name)
        everything = patch(mesh, 2.0, 0.0, 12.0, 8.0, 96.0)
        np.testing.assert_allclose(pressure(mesh, 1.0), everything, rtol=0, atol=1e-12)


def test_self_weight_follows_the_thickness() -> None:
    zone = Zone(np.array([[2.0, -2.0], [4.0, -2.0], [4.0, 2.0], [2.0, 2.0]]), 0.5)
    section = Section(thickness=0.25, E=30e9, poisson=0.2, zones=(zone,))
    mesh = grid_mesh(STRAIGHT, order=3, size=0.9, extra_u=[2.0])
    weight = force(self_weight(mesh, section, 25e3))
    assert weight == pytest.approx(25e3 * (0.25 * 2.5 * 4.0 + 0.5 * 2.0 * 4.0), rel=1e-12)


# --- lines ---------------------------------------------------------------------------------

POINTS = st.tuples(st.floats(0.0, 4.0), st.floats(-2.0, 2.0)).map(
    lambda p: (round(p[0], 2), round(p[1], 2))
)


@given(start=POINTS, end=POINTS)
def test_line_loads(start: tuple[float, float], end: tuple[float, float]) -> None:
    """Force and first moments of a line load on the slab."""
    mesh = mesh_of("straight", 2)
    path = np.array([start, end])
    length = float(np.hypot(*(path[1] - path[0])))
    if length < 0.05:
        return
    q = line_load(mesh, path, 7.0)[::N_FIELDS]
    assert q.sum() == pytest.approx(7.0 * length, rel=1e-9)
    np.testing.assert_allclose(
        q @ mesh.plan, 7.0 * length * path.mean(axis=0), rtol=1e-8, atol=1e-8
    )


def test_a_line_load_leaves_the_slab() -> None:
    mesh = mesh_of("straight")
    path = np.array([[2.0, 0.0], [2.0, 5.0], [-3.0, 5.0], [-3.0, 0.0], [0.0, 0.0]])
    assert force(line_load(mesh, path, 1.0)) == pytest.approx(2.0 + 0.5, rel=1e-12)


def test_a_line_load_along_the_border_of_cells() -> None:
    """It is shared equally, and equals what lies an inch beside it on either side."""
    mesh = grid_mesh(STRAIGHT, order=2, size=1.0)
    at = float(np.unique(mesh.corners[..., 1])[2])
    loads = [line_load(mesh, np.array([[0.3, y], [3.1, y]]), 1.0) for y in (at, at + 1e-7)]
    np.testing.assert_allclose(loads[0], loads[1], rtol=0, atol=1e-6)
    edge = line_load(mesh, np.array([[0.3, 2.0], [3.1, 2.0]]), 1.0)
    assert force(edge) == pytest.approx(2.8, rel=1e-12)


def test_line_loads_on_a_curve_count_arc_length() -> None:
    mesh = mesh_of("curved")
    along = np.array([[1.0, -1.5], [5.0, -1.5]])
    across = np.array([[3.0, -1.5], [3.0, 1.5]])
    assert force(line_load(mesh, along, 1.0)) == pytest.approx(4.0 * (1 + 1.5 / 7.0), rel=1e-12)
    assert force(line_load(mesh, across, 1.0)) == pytest.approx(3.0, rel=1e-12)


@pytest.mark.parametrize("name", ["straight", "skew", "taper"])
def test_means_along_segments_are_exact(name: str) -> None:
    """Weights and points of a segment integrate cubics exactly."""
    mesh = mesh_of(name)
    path = np.array([[0.4, -0.9], [3.3, 1.1], [1.2, 0.2]])
    cubic = mesh.plan[:, 0] ** 3 if name != "taper" else mesh.plan[:, 0]
    total, exact = 0.0, 0.0
    for (cells, xi, weights), (a, b) in zip(
        segment_points(mesh, path), [(path[0], path[1]), (path[1], path[2])], strict=True
    ):
        values = np.einsum("kn,kn->k", shape(mesh.order, xi), cubic[mesh.cells[cells]])
        length = np.hypot(*(b - a))
        assert weights.sum() == pytest.approx(length, rel=1e-12)
        total += weights @ values
        x0, x1 = a[0], b[0]
        power = 4 if name != "taper" else 2
        exact += length * (x1**power - x0**power) / (power * (x1 - x0))
    assert total == pytest.approx(exact, rel=1e-12)

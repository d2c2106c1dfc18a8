"""Graded meshes: areas, lines, cell widths."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plate.geometry.plan import grid_plan
from plate.meshing.grid import (
    CORNER_RATIO,
    GROWTH,
    Band,
    Grading,
    corner_width,
    graded_breaks,
    grid_mesh,
)
from plate.meshing.mesh import Mesh

widths = st.floats(-4.0, 0.0).map(lambda x: 10.0**x)


@given(st.floats(-1.5, 1.2).map(lambda x: 10.0**x), widths, widths)
def test_graded_breaks(length: float, first: float, last: float) -> None:
    breaks = graded_breaks(length, 1.0, first, last)
    cells = np.diff(breaks)
    assert breaks[0] == 0.0
    assert breaks[-1] == pytest.approx(length, rel=1e-12)
    assert cells.min() > 0.0
    assert cells.max() <= 1.0 + 1e-9
    assert cells[0] <= first * (1 + 1e-9)
    assert cells[-1] <= last * (1 + 1e-9)
    # twice the growth only where two ramps meet without room between them
    steps = np.maximum(cells[1:] / cells[:-1], cells[:-1] / cells[1:])
    assert np.all(steps <= 2.0 * growth(cells) * (1 + 1e-9))


@given(st.floats(1.0, 40.0), widths, widths)
def test_growth_where_there_is_room(length: float, first: float, last: float) -> None:
    """A ramp up to the full width, then cells of nearly that width."""
    cells = np.diff(graded_breaks(length + 4.0, 1.0, first, last))
    steps = np.maximum(cells[1:] / cells[:-1], cells[:-1] / cells[1:])
    assert np.all(steps <= growth(cells) * (1 + 1e-9))


def growth(cells: np.ndarray) -> np.ndarray:
    """How much wider than its neighbour each cell may be, 1.0 being the widest: those narrower than
    any layer by the ratio of the rows of corners."""
    to_corner = np.minimum(cells[1:], cells[:-1]) < CORNER_RATIO**2 * (1 - 1e-6)
    return np.where(to_corner, 1.0 / CORNER_RATIO, GROWTH)


def test_towards_a_corner_rows_are_those_of_its_ratio_till_they_are_of_a_layer() -> None:
    """Each 0.15 of the next up to 0.15² of the full width, from there three times the last."""
    ramp = [0.15**5, 0.15**4, 0.15**3, 0.15**2, 3.0 * 0.15**2, 9.0 * 0.15**2, 27.0 * 0.15**2]
    cells = np.diff(graded_breaks(4.0 + sum(ramp), 1.0, 0.15**5, 1.0))
    np.testing.assert_allclose(cells, [*ramp, 1.0, 1.0, 1.0, 1.0])


def test_no_sliver_is_left_beside_a_ramp() -> None:
    """0.1 + 0.3 + 0.9 leave 0.001 of 1.301."""
    cells = np.diff(graded_breaks(1.301, 1.0, 0.1, 1.0))
    assert cells.min() == pytest.approx(0.1)


def test_uniform_cells_where_nothing_is_graded() -> None:
    np.testing.assert_allclose(graded_breaks(3.0, 0.75, 1.0, 1.0), np.linspace(0.0, 3.0, 5))
    np.testing.assert_allclose(graded_breaks(3.0, 0.8, 1.0, 1.0), np.linspace(0.0, 3.0, 5))


def cell_sides(mesh: Mesh) -> tuple[np.ndarray, np.ndarray]:
    """Lengths of the cells' sides along and across, in plan (n_cell, 2 each)."""
    c = mesh.corners
    along = np.linalg.norm([c[:, 1] - c[:, 0], c[:, 2] - c[:, 3]], axis=-1).T
    across = np.linalg.norm([c[:, 3] - c[:, 0], c[:, 2] - c[:, 1]], axis=-1).T
    return along, across


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize(
    ("plan", "area"),
    [
        (grid_plan([0, 3, 7], [-2, 1], overhang={"start": 0.5, "right": 0.3}), 7.5 * 3.3),
        (grid_plan([0, 3], [-2, 2], skew=0.7, overhang={"left": 0.4}), 3 * 4.4),
        (grid_plan([0, 4], [-2, 2], end_offsets=[-1.0, 3.0]), 4 * 4.0),
        (grid_plan([0, 4], [-2, 2], end_offsets=[-1.0, 1.5], skew=-0.3), None),
    ],
)
def test_area_of_straight_plans(plan: object, area: float | None, order: int) -> None:
    mesh = grid_mesh(plan, order=order, size=0.9)
    if area is None:
        area = float(plan.alignment.polygon_area(plan.outline))
    assert mesh.area() == pytest.approx(area, rel=1e-12)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_area_of_a_curved_plan(order: int) -> None:
    """Curved cells approach the sector as h^(2 p) (superconvergent) or better."""
    plan = grid_plan([0.0, 6.0], [-2.0, 2.0], radius=8.0)
    exact = 0.5 * 0.75 * (10.0**2 - 6.0**2)
    errors = [abs(grid_mesh(plan, order=order, size=s).area() / exact - 1) for s in (2.0, 1.0)]
    assert errors[0] < {1: 1e-2, 2: 1e-4, 3: 1e-7, 4: 1e-9}[order]
    assert errors[1] < max(errors[0] / 3.5 ** min(order, 2), 1e-13)


@pytest.mark.parametrize("skew", [0.0, 0.5, -1.0])
def test_no_side_is_longer_than_asked(skew: float) -> None:
    plan = grid_plan([0.0, 2.0, 5.0], [-2.0, 2.0], skew=skew, overhang={"end": 0.4})
    along, across = cell_sides(grid_mesh(plan, order=2, size=0.6))
    assert max(along.max(), across.max()) <= 0.6 * (1 + 1e-9)


def test_no_side_of_a_curved_or_tapered_mesh_is_longer_than_asked() -> None:
    curved = grid_mesh(grid_plan([0.0, 6.0], [-3.0, 3.0], radius=9.0), order=2, size=0.5)
    along, across = cell_sides(curved)
    outer = along * (1.0 + 3.0 / 9.0)
    assert outer.max() <= 0.5 * (1 + 1e-9)
    assert across.max() <= 0.5 * (1 + 1e-9)
    taper = grid_plan([0.0, 6.0], [-1.0, 1.0], end_offsets=[-3.0, 3.0])
    assert cell_sides(grid_mesh(taper, order=2, size=0.5))[1].max() <= 0.5 * (1 + 1e-9)


def test_edge_rows_are_as_narrow_as_asked() -> None:
    t = 0.27
    plan = grid_plan([0.0, 3.1, 6.2], [-4.3, 4.3], overhang={"start": 0.31, "end": 0.31})
    across = {"start": t / 2, "end": t / 2}
    along = {"left": t / 2, "right": t / 2}
    mesh = grid_mesh(plan, order=3, size=0.8, grading=Grading(across, along))
    corners = mesh.corners
    for axis, (low, high) in enumerate([(-0.31, 6.51), (-4.3, 4.3)]):
        values = np.unique(corners[..., axis].round(9))
        assert values[0] == pytest.approx(low)
        assert values[-1] == pytest.approx(high)
        assert values[1] - values[0] <= t / 2 + 1e-9
        assert values[-1] - values[-2] <= t / 2 + 1e-9
        assert np.diff(values).max() <= 0.8 + 1e-9
        steps = np.diff(values)[1:] / np.diff(values)[:-1]
        assert max(steps.max(), (1 / steps).max()) <= 2 * GROWTH


def test_corner_grading_shrinks_on_both_sides_of_a_line() -> None:
    fine = corner_width(0.5)
    plan = grid_plan([0.0, 2.0, 4.0], [0.0, 3.0])
    mesh = grid_mesh(plan, order=2, size=0.5, grading=Grading({"C2": fine}, {"L2": fine}))
    x = np.unique(mesh.corners[..., 0].round(12))
    y = np.unique(mesh.corners[..., 1].round(12))
    k = int(np.abs(x - 2.0).argmin())
    np.testing.assert_allclose([x[k] - x[k - 1], x[k + 1] - x[k]], fine, rtol=1e-6)
    assert y[-1] - y[-2] == pytest.approx(fine, rel=1e-6)
    assert y[1] - y[0] == pytest.approx(0.5, rel=0.5)
    assert fine == pytest.approx(0.5 * 0.15**5)


def test_bands_and_extra_lines() -> None:
    plan = grid_plan([0.0, 6.0], [0.0, 6.0])
    mesh = grid_mesh(
        plan, order=1, size=1.0, extra_u=[2.34], extra_y=[5.0], bands_u=[Band(3.0, 4.0, 0.2)]
    )
    x = np.unique(mesh.corners[..., 0].round(12))
    assert {2.34, 3.0, 4.0} <= set(x.tolist())
    assert 5.0 in np.unique(mesh.corners[..., 1])
    inside = x[(x >= 3.0) & (x <= 4.0)]
    assert np.diff(inside).max() <= 0.2 + 1e-9
    beside = np.diff(x)[np.searchsorted(x, 4.0)]
    assert beside <= 0.2 + 1e-9  # the neighbour starts with cells of the band's size


def test_lines_lie_where_the_plan_has_them() -> None:
    plan = grid_plan(
        [0.0, 3.0, 7.0],
        [-2.0, 0.5, 2.0],
        end_offsets=[-1.0, 0.0, 3.0],
        skew=0.2,
        overhang={"start": 0.5, "end": 0.2, "left": 0.4, "right": 0.1},
    )
    mesh = grid_mesh(plan, order=3, size=1.0)
    for name, line in plan.lines.items():
        for key, ends in ((name, line.path), (f"{name}:full", line.full)):
            edges = mesh.lines[key]
            np.testing.assert_array_equal(edges[1:, 0], edges[:-1, -1])
            path = mesh.plan[edges].reshape(-1, 2)
            np.testing.assert_allclose(path[[0, -1]], ends, rtol=0, atol=1e-12)
            direction = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
            off = (path - ends[0]) @ np.array([-direction[1], direction[0]])
            np.testing.assert_allclose(off, 0.0, rtol=0, atol=1e-12)


def test_a_line_on_an_edge_shares_its_nodes() -> None:
    mesh = grid_mesh(grid_plan([0.0, 3.0], [0.0, 2.0]), order=2, size=1.0)
    np.testing.assert_array_equal(mesh.lines["C1"], mesh.lines["start"])
    np.testing.assert_array_equal(mesh.lines["L2"], mesh.lines["right"])
    assert math.isclose(mesh.area(), 6.0)

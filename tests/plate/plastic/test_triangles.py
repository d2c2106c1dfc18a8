"""Triangles of meshes, patches cut into them, triangles halved."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plate.errors import GeometryError, LoadError, MeshError
from plate.geometry.elementary import rectangle_corners
from plate.geometry.plan import grid_plan
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import quad_mesh
from plate.meshing.grid import grid_mesh
from plate.plastic.cutting import NEAR, Cutter
from plate.plastic.discrete import discrete, with_loads
from plate.plastic.slab import PlasticLoad, PlasticSlab, PressedPatch
from plate.plastic.slab import uniform as same
from plate.plastic.triangles import Triangles, split_in_four
from plate.verification.plastic import all_edges, panel
from tests.plate.plans import holed_square, l_shape

EYE = np.eye(2)


def slab(triangles: Triangles) -> PlasticSlab:
    return PlasticSlab(triangles=triangles, resistances=same(EYE, EYE), holds={})


def area_within(mesh: Triangles, corners: np.ndarray) -> float:
    inside = shapely.contains_xy(shapely.Polygon(corners), mesh.centroids)
    return float(mesh.areas[inside].sum())


def conforming(mesh: Triangles) -> bool:
    """Every edge within the slab is on two triangles, and runs both ways."""
    count = np.bincount(mesh.cell_edges.ravel())
    forward = np.bincount(mesh.cell_edges.ravel(), mesh.forward.ravel())
    return bool(np.all(count <= 2) and np.all(forward[count == 2] == 1))


def test_normals_point_outward_and_gradients_add_to_nothing() -> None:
    mesh = panel(2.0, 1.0, 0.5)
    middles = 0.5 * (mesh.corners + np.roll(mesh.corners, -1, axis=1))
    away = middles - mesh.centroids[:, None]
    assert np.all(np.sum(away * mesh.outward, axis=2) > 0.0)
    np.testing.assert_allclose(mesh.gradients.sum(axis=1), 0.0, atol=1e-12)
    # each is one at its own corner, nothing at the others
    values = np.einsum("mki,mji->mkj", mesh.gradients, mesh.corners)
    np.testing.assert_allclose(values[:, 0, 0] - values[:, 0, 1], 1.0, rtol=1e-12)


@pytest.mark.parametrize("plan", [l_shape, holed_square])
def test_meshes_of_outlines_keep_area_and_lines(plan: object) -> None:
    shape = plan()  # type: ignore[operator]
    mesh = quad_mesh(shape, order=2, field=uniform(0.6))
    triangles = split_in_four(mesh)
    assert conforming(triangles)
    assert len(triangles.cells) == 4 * mesh.n_cells
    for name in shape.edges:
        assert np.all(triangles.on_rim[triangles.edges_of(name)])
    # chords of arcs leave out, or take in, a little
    assert triangles.areas.sum() == pytest.approx(mesh.area(), rel=0.02)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(-0.1, 1.1),
    st.floats(-0.1, 1.1),
    st.floats(0.05, 0.5),
    st.floats(0.05, 0.5),
    st.floats(0.0, 3.0),
)
def test_patches_are_cut_in_exactly(x: float, y: float, a: float, b: float, turn: float) -> None:
    """The triangles within a patch make up what of it lies on the slab, lines stay whole.

    A corner, or a point on the way, that all but lies on another or on an edge of a cell goes
    there: the patch's rim moves by no more than that. Cells are 0.25 m wide.
    """
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    corners = (rectangle_corners([(0.0, 0.0)], (a, b))[0]) @ rotation + [x, y]
    other = rectangle_corners([(0.5, 0.5)], (0.33, 0.21))[0]
    before = panel(1.0, 1.0, 0.25)
    on_slab = shapely.Polygon(corners).intersection(shapely.box(0.0, 0.0, 1.0, 1.0)).area
    load = PlasticLoad(patches=[PressedPatch(corners, 1.0), PressedPatch(other, 1.0)])
    if on_slab < 1e-12:
        with pytest.raises(LoadError, match="off the slab"):
            with_loads(slab(before), load)
        return
    mesh = with_loads(slab(before), load)
    assert conforming(mesh)
    assert mesh.areas.sum() == pytest.approx(1.0, rel=1e-12)
    moved = NEAR * 0.25
    assert area_within(mesh, corners) == pytest.approx(on_slab, abs=2.0 * (a + b) * moved)
    assert area_within(mesh, other) == pytest.approx(0.33 * 0.21, abs=2.0 * (0.33 + 0.21) * moved)
    for name in ("start", "end", "left", "right"):
        assert mesh.lengths[mesh.edges_of(name)].sum() == pytest.approx(1.0, rel=1e-12)


def test_halving_keeps_what_was_cut_and_makes_no_slivers() -> None:
    corners = rectangle_corners([(0.41, 0.37)], (0.2, 0.13))[0]
    mesh = with_loads(slab(panel(1.0, 1.0, 0.25)), PlasticLoad(patches=[PressedPatch(corners, 1)]))
    least = smallest_angle(mesh)
    for _ in range(4):
        cutter = Cutter(mesh)
        cutter.bisect(range(0, len(mesh.cells), 7))
        mesh = cutter.triangles()
        assert conforming(mesh)
        assert area_within(mesh, corners) == pytest.approx(0.2 * 0.13, rel=1e-9)
    # halving by longest edges at most halves the smallest angle (Rosenberg and Stenger 1975)
    assert smallest_angle(mesh) > 0.5 * least


def smallest_angle(mesh: Triangles) -> float:
    cosine = -np.sum(mesh.along * np.roll(mesh.along, 1, axis=1), axis=2)
    return float(np.arccos(np.clip(cosine, -1.0, 1.0)).min())


def test_points_near_a_corner_or_a_side_are_moved_there() -> None:
    """A held point beside a free point of the mesh takes its place, another one gets its own."""
    before = panel(1.0, 1.0, 0.5)
    near = PlasticSlab(
        triangles=before,
        resistances=same(EYE, EYE),
        holds=all_edges("simple"),
        points=[(0.51, 0.49)],
    )
    mesh = with_loads(near)
    assert len(mesh.points) == len(before.points)
    assert np.any(np.all(mesh.points == [0.51, 0.49], axis=1))
    assert conforming(mesh)


def test_points_of_a_line_slide_along_it_onto_the_side_of_a_patch() -> None:
    """A side 1 % of a mesh size beside the points of a line that it crosses: no slivers, and the
    line stays where it is."""
    before = split_in_four(grid_mesh(grid_plan([0.0, 1.0, 2.0], [0.0, 2.0]), order=1, size=0.5))
    corners = rectangle_corners([(1.0, 1.0)], (0.66, 0.99))[0]
    mesh = with_loads(slab(before), PlasticLoad(patches=[PressedPatch(corners, 1.0)]))
    assert conforming(mesh)
    assert smallest_angle(mesh) > 0.1
    on_line = mesh.points[np.unique(mesh.lines["C2"])]
    np.testing.assert_allclose(on_line[:, 0], 1.0, rtol=0, atol=1e-12)
    assert mesh.lengths[mesh.edges_of("C2")].sum() == pytest.approx(2.0, rel=1e-12)
    assert area_within(mesh, corners) == pytest.approx(0.66 * 0.99, rel=1e-9)
    # a point of support on the line does not slide
    held = PlasticSlab(triangles=before, resistances=same(EYE, EYE), holds={}, points=[(1.0, 0.5)])
    mesh = with_loads(held, PlasticLoad(patches=[PressedPatch(corners, 1.0)]))
    assert np.any(np.all(mesh.points == [1.0, 0.5], axis=1))


def test_what_is_not_there_is_told() -> None:
    mesh = panel(1.0, 1.0, 0.5)
    with pytest.raises(MeshError, match="no line C7"):
        mesh.edges_of("C7")
    with pytest.raises(GeometryError, match=r"\(3, 0.5\) lies off the slab"):
        Cutter(mesh).point((3.0, 0.5))
    with pytest.raises(MeshError, match="1 triangles are turned"):
        Triangles(np.array([(0.0, 0.0), (0.0, 1.0), (1.0, 0.0)]), np.array([[0, 1, 2]]), {})


def test_cuts_that_cross_almost_in_one_point_cross_in_one() -> None:
    """Sides of three patches pass each other by hundredths of a millimetre: edges between the
    crossings would be as short, and left no upper bound."""
    cutter = Cutter(panel(2.0, 2.0, 1.0))
    cutter.path(np.array([[0.3, 0.9], [1.7, 1.1]]), "one")
    cutter.path(np.array([[0.9, 0.3], [1.1, 1.7]]), "two")
    cutter.path(np.array([[0.3, 0.31], [1.7, 1.69001]]), "three")
    mesh = cutter.triangles()
    assert conforming(mesh)
    assert mesh.areas.sum() == pytest.approx(4.0, rel=1e-12)
    assert mesh.lengths.min() > 5e-3
    for name in ("one", "two", "three"):
        length = mesh.lengths[mesh.edges_of(name)].sum()
        assert length == pytest.approx(np.hypot(1.4, 1.38 if name == "three" else 0.2), rel=1e-3)


def test_a_moved_side_moves_no_load() -> None:
    """Of two patches one ends a tenth of a millimetre beside the other: both keep their load."""
    corners = [rectangle_corners((0.7, 0.7), 0.4), rectangle_corners((1.0, 0.7001), (0.6, 0.4))]
    load = PlasticLoad(patches=[PressedPatch(patch, 1.0) for patch in corners])
    base = slab(panel(2.0, 2.0, 0.5))
    mesh = with_loads(base, load)
    assert mesh.lengths.min() > 1e-3
    problem = discrete(base, mesh, load, PlasticLoad())
    total = problem.live @ problem.triangles.areas / problem.factor * problem.moment
    assert total == pytest.approx(0.16 + 0.24, rel=1e-12)


def test_loads_that_are_spread_lie_on_what_they_cover() -> None:
    """Not cut in: all of the load, each triangle with its share."""
    corners = rectangle_corners((1.0, 1.0), (0.37, 1.93))
    load = PlasticLoad(spread=[PressedPatch(corners, 3.0)])
    base = slab(panel(2.0, 2.0, 0.5))
    mesh = with_loads(base, load)
    assert len(mesh.cells) == len(base.triangles.cells)
    problem = discrete(base, mesh, load, PlasticLoad())
    pressures = problem.live / problem.factor * problem.moment / problem.length**2
    assert pressures @ mesh.areas == pytest.approx(3.0 * 0.37 * 1.93, rel=1e-12)
    off = shapely.disjoint(shapely.polygons(mesh.corners), shapely.Polygon(corners))
    assert not pressures[off].any()

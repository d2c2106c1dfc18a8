"""Loads and places on cells with curved sides, against areas and lengths cut by other means."""

import itertools

import numpy as np
import pytest
import shapely

from plate.errors import GeometryError
from plate.geometry.curves import arc_through, circle
from plate.geometry.outline import outline_plan, region
from plate.geometry.plan import Plan
from plate.interpolation import gauss, shape, square
from plate.loads.loads import edge_load, line_load, patch_loads, pressure, segment_points
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import quad_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.supports import PointSupport
from tests.helpers import unit_section

# Sides of order p leave arcs of a sixteenth of a turn and less by these lengths [m].
OFF_ARC = {2: 2e-4, 3: 5e-6, 4: 2e-7}


def disc() -> Plan:
    """A disc of 4 m with a round hole and an arc of a line inside."""
    return outline_plan(
        circle((0.0, 0.0), 4.0),
        [circle((0.3, 0.2), 0.8)],
        {"W": (arc_through((-1.0, -1.0), (0.0, -1.3), (1.0, -1.0)),)},
    )


@pytest.fixture(scope="module", params=[2, 3, 4])
def mesh(request: pytest.FixtureRequest) -> Mesh:
    return quad_mesh(disc(), order=request.param, field=uniform(0.35))


def boxes(rng: np.random.Generator, n: int) -> np.ndarray:
    """Rectangles (n, 4, 2) on, off and across the edge of the disc."""
    centre, half = rng.uniform(-2.1, 2.1, (n, 1, 2)), 0.5 * rng.uniform(0.1, 0.8, (n, 1, 2))
    return np.asarray(centre + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]))


def test_some_cells_are_curved(mesh: Mesh) -> None:
    assert 0.2 * mesh.n_cells < mesh.curved.sum() < 0.8 * mesh.n_cells


def test_patches_act_on_what_is_slab(mesh: Mesh) -> None:
    """Force and moments of a patch are those of its part within the circles."""
    patches = boxes(np.random.default_rng(1), 30)
    areas = np.prod(np.ptp(patches, axis=1), axis=1)
    found = patch_loads(mesh, patches, areas, np.arange(30), 30).toarray()[::3]
    slab = region(disc(), 1e-9)
    reach = OFF_ARC[mesh.order]
    for k, patch in enumerate(patches):
        part = shapely.Polygon(patch).intersection(slab)
        assert found[:, k].sum() == pytest.approx(part.area, abs=0.8 * reach)
        if part.area > 0.0:
            centroid = np.array(part.centroid.coords[0])
            np.testing.assert_allclose(
                mesh.plan.T @ found[:, k], centroid * part.area, atol=1.6 * reach
            )


def test_patches_that_cover_the_disc_are_a_pressure(mesh: Mesh) -> None:
    """Nine patches that together cover all: the consistent nodal forces of a pressure."""
    edges = [-2.5, -0.7, 0.4, 2.5]
    patches = np.array(
        [
            [[a, c], [b, c], [b, d], [a, d]]
            for a, b in itertools.pairwise(edges)
            for c, d in itertools.pairwise(edges)
        ]
    )
    areas = np.prod(np.ptp(patches, axis=1), axis=1)
    zero = np.zeros(len(patches), dtype=np.int64)
    found = patch_loads(mesh, patches, areas, zero, 1).toarray()[:, 0]
    whole = pressure(mesh, 1.0)
    assert found.sum() == pytest.approx(whole.sum(), rel=1e-12)
    # The inverse of a cell's map is no polynomial: Gauss's rule leaves a little.
    np.testing.assert_allclose(found, whole, atol=2e-5 * np.abs(whole).max())


def test_a_patch_within_one_curved_cell(mesh: Mesh) -> None:
    """Against a quadrature of the cell itself with the patch's indicator smoothed away: the
    integrals of 1, x and y are those of the patch, and of products of them by adjoining."""
    cell = int(np.flatnonzero(mesh.curved)[0])
    middle = shape(mesh.order, np.array([[0.1, -0.2]])) @ mesh.plan[mesh.cells[cell]]
    side = 0.02
    patch = middle + 0.5 * side * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    load = patch_loads(mesh, patch[None], np.array([1.0]), np.array([0]), 1).toarray()[::3, 0]
    x, w = gauss(6)
    at = middle + 0.5 * side * square(x, x)
    xi = mesh.invert_plan(np.full(len(at), cell), at)
    expected = 0.25 * np.outer(w, w).ravel() @ shape(mesh.order, xi)
    np.testing.assert_allclose(load[mesh.cells[cell]], expected, atol=1e-12)


def test_patch_along_straight_sides_counts_once() -> None:
    """Patches whose edges lie on sides of curved cells, from within and from outside."""
    mesh = quad_mesh(disc(), order=3, field=uniform(0.35))
    curved = np.flatnonzero(mesh.curved)
    slab = region(disc(), 1e-9)
    for cell in curved[::6].tolist():
        corners = mesh.corners[cell]
        chord = shapely.Polygon(corners)
        load = patch_loads(mesh, corners[None], np.array([1.0]), np.array([0]), 1)
        share = chord.intersection(slab).area / chord.area
        assert load.sum() == pytest.approx(share, abs=1e-5)


def test_segments_are_as_long_as_they_are_on_the_slab(mesh: Mesh) -> None:
    slab = region(disc(), 1e-9)
    rng = np.random.default_rng(2)
    for a, b in rng.uniform(-2.2, 2.2, (15, 2, 2)):
        expected = shapely.LineString([a, b]).intersection(slab).length
        found = sum(w.sum() for _, _, w in segment_points(mesh, np.array([a, b])))
        # a segment that leaves the slab at a small angle to the arc is cut that much further off
        assert found == pytest.approx(expected, abs=12.0 * OFF_ARC[mesh.order])


def test_points_of_segments_map_back(mesh: Mesh) -> None:
    path = np.array([[-1.9, -0.3], [1.7, 0.9]])
    for cells, xi, weights in segment_points(mesh, path):
        at = np.einsum("kn,knb->kb", shape(mesh.order, xi), mesh.plan[mesh.cells[cells]])
        along = path[1] - path[0]
        off = (at - path[0]) @ np.array([-along[1], along[0]]) / np.hypot(*along)
        np.testing.assert_allclose(off, 0.0, atol=1e-10)
        assert weights.min() > 0.0


def test_line_load_across_the_disc(mesh: Mesh) -> None:
    load = line_load(mesh, np.array([[-3.0, 1.0], [3.0, 1.0]]), 2.0)
    assert load.sum() == pytest.approx(4.0 * np.sqrt(3.0), abs=20.0 * OFF_ARC[mesh.order])


def test_load_along_an_arc(mesh: Mesh) -> None:
    load = edge_load(mesh, "E1", 3.0)[::3]
    assert load.sum() == pytest.approx(3.0 * 2.0 * np.pi, abs=20.0 * OFF_ARC[mesh.order])
    # half a circle of radius 2: its centroid is 4 / pi from the centre
    assert abs(load @ mesh.plan[:, 1]) == pytest.approx(
        load.sum() * 4.0 / np.pi, abs=40.0 * OFF_ARC[mesh.order]
    )


def test_places_on_arcs_and_off_the_slab(mesh: Mesh) -> None:
    angle = np.linspace(0.1, 6.2, 25)
    on_arc = 2.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    found, cells, xi = mesh.locate(on_arc)
    different, first = np.unique(found, return_index=True)
    assert np.array_equal(different, np.arange(len(on_arc)))
    nodes = mesh.plan[mesh.cells[cells[first]]]
    image = np.einsum("kn,kna->ka", shape(mesh.order, xi[first]), nodes)
    assert np.hypot(*(image - on_arc).T).max() < 3.0 * OFF_ARC[mesh.order]
    for off in ([0.3, 0.2], [0.3, 0.55], [1.5, 1.5], [2.02, 0.0]):
        with pytest.raises(GeometryError, match="off the slab"):
            mesh.locate(np.array([off]))


def test_point_support_at_an_arc_holds_the_mean_of_what_is_slab(mesh: Mesh) -> None:
    model = PlateModel(mesh=mesh, section=unit_section(0.2))
    mean = model.point_mean(PointSupport("P", (1.95, 0.0), 0.4))
    part = shapely.box(1.75, -0.2, 2.15, 0.2).intersection(region(disc(), 1e-9))
    assert mean.sum() == pytest.approx(1.0, rel=1e-12)
    x = mesh.plan[:, 0] @ mean[::3]
    assert x == pytest.approx(part.centroid.x, abs=10.0 * OFF_ARC[mesh.order])

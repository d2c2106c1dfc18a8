"""Meshes of any plan: area, conformity, lines, shapes of cells, rows and corners, patch tests."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from plate.elements.plate import cell_dofs, stiffness_matrices
from plate.errors import GeometryError, MeshError
from plate.geometry.curves import circle, distance, polyline
from plate.geometry.outline import outline_plan, plan_area, with_lines
from plate.geometry.plan import Plan, grid_plan
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import Grading, mesh_quality, quad_mesh
from plate.meshing.mesh import Mesh, side_nodes
from plate.model.model import PlateModel
from plate.results.fields import cell_operators
from tests.helpers import unit_section
from tests.plate.plans import PLANS, corners_of

Meshes = Callable[[str, int], tuple[Plan, Mesh]]


@pytest.fixture(scope="module")
def meshes() -> Meshes:
    """Graded meshes of the plans, made once: rows of 8 cm along everything, corners shrunk."""
    known: dict[tuple[str, int], tuple[Plan, Mesh]] = {}

    def made(name: str, order: int) -> tuple[Plan, Mesh]:
        if (name, order) not in known:
            plan = PLANS[name]()
            known[name, order] = (
                plan,
                quad_mesh(plan, order=order, field=uniform(0.5), grading=rows_and_corners(plan)),
            )
        return known[name, order]

    return made


def rows_and_corners(plan: Plan) -> Grading:
    names = [*plan.edges, *(f"opening {k + 1}" for k in range(len(plan.openings)))]
    names += [name for name, line in plan.lines.items() if line.curves and name not in names]
    return Grading(dict.fromkeys(names, 0.08), corners_of(plan)[::2])


@pytest.mark.parametrize("name", PLANS)
def test_cells_cover_the_slab_once(meshes: Meshes, name: str) -> None:
    plan, mesh = meshes(name, 3)
    # Exact but for arcs, which polynomials of degree 3 over a sixteenth of a turn leave by 1e-7
    # of the area between arc and chord.
    arcs = any(curve.sweep for ring in plan.boundary for curve in ring)
    exact = 3e-8 if arcs or not plan.alignment.straight else 1e-12
    assert mesh.area() == pytest.approx(plan_area(plan), rel=exact)


@pytest.mark.parametrize("name", PLANS)
def test_cells_meet_edge_to_edge(meshes: Meshes, name: str) -> None:
    plan, mesh = meshes(name, 2)
    ends, owner = mesh.edges
    on_rim = {
        tuple(sorted(edge))
        for line in (*plan.edges, *(f"opening {k + 1}" for k in range(len(plan.openings))))
        for edge in mesh.lines[line][:, [0, -1]].tolist()
    }
    once = {tuple(edge) for edge in ends[owner[:, 1, 0] < 0].tolist()}
    assert once == on_rim  # all other edges have a cell on either side, the rim has one
    # Euler's formula for a slab with holes
    nodes = np.unique(ends).size
    assert nodes - len(ends) + mesh.n_cells == 1 - len(plan.openings)


@pytest.mark.parametrize("name", PLANS)
def test_lines_are_edges_of_cells_on_their_true_course(meshes: Meshes, name: str) -> None:
    plan, mesh = meshes(name, 3)
    lines = dict(plan.lines)
    for line, curves in [
        *((line, found.course()) for line, found in lines.items()),
        *((f"opening {k + 1}", ring) for k, ring in enumerate(plan.openings)),
    ]:
        edges = mesh.lines[line]
        assert distance(curves, mesh.plan[edges].reshape(-1, 2)).max() < 1e-9
        if name == "opening on a curve" or name == "skew with line":
            continue  # its C and L lines may have gaps at openings
        np.testing.assert_array_equal(edges[1:, 0], edges[:-1, -1])
        start, end = mesh.plan[edges[0, 0]], mesh.plan[edges[-1, -1]]
        np.testing.assert_allclose(start, curves[0].start, atol=1e-9)
        np.testing.assert_allclose(end, curves[-1].end, atol=1e-9)
        total = sum(np.hypot(*np.diff(mesh.plan[e], axis=0).T).sum() for e in edges)
        # chords between the nodes of an arc are shorter than the arc
        assert total == pytest.approx(sum(curve.length for curve in curves), rel=2e-2)


def test_a_line_over_an_opening_has_a_gap(meshes: Meshes) -> None:
    plan = with_lines(PLANS["round hole"](), {"W": polyline([(0, 2.2), (4, 2.2)])})
    mesh = quad_mesh(plan, order=1, field=uniform(0.5))
    edges = mesh.lines["W"]
    jumps = np.flatnonzero(edges[1:, 0] != edges[:-1, -1])
    assert len(jumps) == 1
    gap = mesh.plan[edges[jumps[0] + 1, 0]] - mesh.plan[edges[jumps[0], -1]]
    np.testing.assert_allclose(gap, [1.2, 0.0], atol=1e-9)


@pytest.mark.parametrize("name", PLANS)
def test_shapes_of_cells(meshes: Meshes, name: str) -> None:
    """Angles are far from flat even where cells shrink to a corner by 0.15 three times."""
    _, mesh = meshes(name, 2)
    quality = mesh_quality(mesh)
    assert np.degrees(quality.smallest) > 10.0
    assert np.degrees(quality.largest) < 170.0
    assert quality.jacobian > 0.09
    # between curves that are close cells are long: 0.5 m by 4 cm, and the rows in those
    assert quality.aspect < (45.0 if name in ("narrow strips", "tiny features") else 25.0)


@pytest.mark.parametrize("name", ["L-shape", "round hole", "curved taper"])
def test_plain_cells_are_nearly_square(name: str) -> None:
    quality = mesh_quality(quad_mesh(PLANS[name](), order=2, field=uniform(0.3)))
    assert np.degrees(quality.smallest) > 38.0
    assert np.degrees(quality.largest) < 142.0
    assert quality.aspect < 4.0


def test_a_mesh_is_the_same_every_time() -> None:
    plan = PLANS["curved taper"]()
    one, other = (
        quad_mesh(plan, order=3, field=uniform(0.6), grading=rows_and_corners(plan))
        for _ in range(2)
    )
    np.testing.assert_array_equal(one.cells, other.cells)
    np.testing.assert_array_equal(one.plan, other.plan)


def test_sizes_follow_the_field() -> None:
    plan = outline_plan(polyline([(0, 0), (6, 0), (6, 6), (0, 6), (0, 0)]))
    field = uniform(0.6).with_places(
        np.array([[1.0, 1.0]]), np.array([0.1]), np.array([[0.2, 0.2]])
    )
    mesh = quad_mesh(plan, order=1, field=field)
    sides = np.linalg.norm(mesh.corners - np.roll(mesh.corners, 1, axis=1), axis=2).max(axis=1)
    centre = mesh.corners.mean(axis=1)
    near = np.abs(centre - 1.0).max(axis=1) < 0.2
    far = np.linalg.norm(centre - 1.0, axis=1) > 3.0
    assert near.sum() >= 12
    assert sides[near].max() < 0.16  # cells of any mesh differ by half from what is asked
    assert np.median(sides[far]) == pytest.approx(0.6, rel=0.15)
    assert sides.max() < 0.95


def test_rows_are_no_wider_than_asked(meshes: Meshes) -> None:
    plan, mesh = meshes("curved taper", 2)
    ends, owner = mesh.edges
    for edge in mesh.edge_index(mesh.lines["E1"][:, [0, -1]]).tolist():
        cell = owner[edge, 0, 0]
        gap = distance(plan.lines["E1"].course(), mesh.corners[cell])
        assert gap.max() < 0.08 * 1.42  # along the diagonal of a corner cell
    assert len(ends)


def test_cells_shrink_towards_a_corner() -> None:
    plan = PLANS["L-shape"]()
    grading = Grading({}, np.array([[2.0, 2.0]]))
    mesh = quad_mesh(plan, order=1, field=uniform(0.4), grading=grading)
    plain = quad_mesh(plan, order=1, field=uniform(0.4))
    corner = np.linalg.norm(mesh.corners - 2.0, axis=2)
    at = np.flatnonzero(corner.min(axis=1) < 1e-12)
    before = np.linalg.norm(plain.corners - 2.0, axis=2)
    sizes = np.sort(np.linalg.norm(mesh.corners[at] - 2.0, axis=2).max(axis=1))
    plain_sizes = np.sort(before[before.min(axis=1) < 1e-12].max(axis=1))
    np.testing.assert_allclose(sizes, 0.15**3 * plain_sizes, rtol=1e-6)
    assert mesh.n_cells == plain.n_cells + 3 * 2 * len(at)


def test_points_at_a_corner_are_found_in_the_smallest_cells() -> None:
    """A point off the slab by rounding lies on its edge, however small the cells there are."""
    grading = Grading({}, np.array([[2.0, 2.0]]))
    mesh = quad_mesh(PLANS["L-shape"](), order=2, field=uniform(0.4), grading=grading)
    _, cells, _ = mesh.locate(np.array([[2.0 + 1e-9, 2.0 + 1e-9]]))
    assert len(cells)
    with pytest.raises(GeometryError, match="off the slab"):
        mesh.locate(np.array([[2.0 + 1e-6, 2.0 + 1e-6]]))


def test_a_grid_without_more_is_meshed_as_well() -> None:
    plan = grid_plan([0.0, 2.0, 4.0], [-1.0, 1.0], overhang={"start": 0.5, "left": 0.3})
    mesh = quad_mesh(plan, order=2, field=uniform(0.5))
    assert mesh.area() == pytest.approx(4.5 * 2.3, rel=1e-12)
    path, full = mesh.plan[mesh.lines["C1"]], mesh.plan[mesh.lines["C1:full"]]
    assert (path[..., 1].min(), path[..., 1].max()) == pytest.approx((-1.0, 1.0))
    assert (full[..., 1].min(), full[..., 1].max()) == pytest.approx((-1.3, 1.0))


def test_no_cells_fit_into_a_spike() -> None:
    # two arcs that meet at 2 degrees, with rows of cells along both
    ring = (*circle((0.0, 0.0), 6.0),)
    spike = (ring[0].part(0.4, 0.6), ring[0].part(0.4, 0.6).reversed())
    thin = (spike[0], type(spike[1])(spike[1].start, spike[1].end, spike[1].sweep * 0.9))
    plan = outline_plan(thin)
    with pytest.raises(MeshError, match=r"folded|fit between"):
        quad_mesh(
            plan, order=3, field=uniform(0.5), grading=Grading({"E1": 0.01, "E2": 0.01}, NOWHERE)
        )


NOWHERE = np.empty((0, 2))

STRAIGHT = [name for name in PLANS if name not in ("round hole", "curved taper", "tiny features")]


@pytest.mark.parametrize(
    ("name", "order"), [*itertools.product(STRAIGHT[:3], (1, 2, 3)), ("narrow strips", 2)]
)
def test_constant_curvature_is_exact(meshes: Meshes, name: str, order: int) -> None:
    """Patch test: w quadratic in x and y, slopes linear, no load but on the rim."""
    _, mesh = meshes(name, order)
    assert not mesh.curved.any()
    section = unit_section(0.2)
    model = PlateModel(mesh=mesh, section=section)
    x, y = mesh.xy.T
    zero = np.zeros_like(x)
    K, dofs = stiffness_matrices(mesh, section), cell_dofs(mesh.cells)
    free = np.repeat(~_rim(mesh), 3)
    points = mesh.node_reference
    operators = cell_operators(model, np.arange(mesh.n_cells), points)
    for w, slopes, moments in (
        (x**2 / 2, (x, zero), (-1.0, -0.2, 0.0)),
        (y**2 / 2, (zero, y), (-0.2, -1.0, 0.0)),
        (x * y, (y, x), (0.0, 0.0, -0.8)),
    ):
        u = np.stack([w, *slopes], axis=1).ravel()
        forces = np.einsum("cij,cj->ci", K, u[dofs])
        total = np.zeros(len(u))
        np.add.at(total, dofs, forces)
        # Forces of one cell grow with the shear rigidity; what is left over is their rounding.
        assert np.abs(total[free]).max() < 1e-9 * np.abs(forces).max()
        found = np.einsum("cqkd,cd->cqk", operators, u[dofs])
        expected = np.broadcast_to(moments, found[..., 1:4].shape)
        np.testing.assert_allclose(found[..., 1:4], expected, atol=1e-9)
        # gamma is rounding of w over cells of mm times kappa G t / D = 250
        np.testing.assert_allclose(found[..., 4:], 0.0, atol=1e-5)


def _rim(mesh: Mesh) -> np.ndarray:
    ends, owner = mesh.edges
    on = np.zeros(mesh.n_nodes, dtype=bool)
    sides = side_nodes(mesh.order)
    for cell, side in owner[owner[:, 1, 0] < 0][:, 0].tolist():
        on[mesh.cells[cell][sides[side]]] = True
    assert len(ends)
    return on

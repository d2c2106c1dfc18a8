"""Results at points, along segments and in fields, on both sides of what divides the slab."""

from dataclasses import replace

import numpy as np
import pytest

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.beam import BeamSection
from plate.elements.section import Section, Zone
from plate.geometry.elementary import rectangle_corners
from plate.geometry.plan import Plan, grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport
from plate.results.fields import FieldRecovery, cell_operators, field_points
from plate.results.functionals import component_rows, mean_rows, result_rows
from plate.results.places import at_field_points, at_points, on_sides, side_of
from plate.solver.solution import WholeSolution
from plate.solver.stiffness import Stiffness
from tests.helpers import patch, results, solved, unit_section

D = np.array([1.3, 0.9, 0.4, 0.6])
STATE = Section(thickness=0.3, E=1.0, poisson=0.2, rigidity=(1.3, 0.9, 0.4, 0.6))
STRAIGHT = grid_plan([0.0, 2.0, 4.0], [-2.0, 2.0])
SKEW = grid_plan([0.0, 2.0, 4.0], [-2.0, 2.0], skew=0.5)
TAPER = grid_plan([0.0, 2.0, 4.0], [-2.0, 2.0], end_offsets=[-1.0, 2.5])
CURVED = grid_plan([0.0, 2.0, 4.0], [-2.0, 2.0], radius=6.0)
ENDS = (LineSupport(line="C1", kind="rigid"), LineSupport(line="C3", kind="rigid"))


def cubic(xy: Floats) -> tuple[Floats, Floats]:
    """Displacements (n, 3) of a cubic w without shear, and its six results (n, 6)."""
    x, y = xy.T
    a, b, c, d = 0.3, -0.2, 0.5, 0.4
    w = a * x**3 + b * x**2 * y + c * x * y**2 + d * y**3
    slope = np.column_stack(
        [3 * a * x**2 + 2 * b * x * y + c * y**2, b * x**2 + 2 * c * x * y + 3 * d * y**2]
    )
    kx, ky, kxy = 6 * a * x + 2 * b * y, 2 * c * x + 6 * d * y, 4 * b * x + 4 * c * y
    Dx, Dy, D1, Dxy = D
    m = [-(Dx * kx + D1 * ky), -(D1 * kx + Dy * ky), -Dxy * kxy]
    zero = np.zeros_like(x)
    return np.column_stack([w, slope]), np.column_stack([w, *m, zero, zero])


@pytest.mark.parametrize("order", [3, 4])
@pytest.mark.parametrize("plan", [STRAIGHT, SKEW, TAPER], ids=["straight", "skew", "taper"])
def test_points_of_a_cubic_state(plan: Plan, order: int) -> None:
    model = PlateModel(mesh=grid_mesh(plan, order=order, size=1.1), section=STATE, supports=ENDS)
    u = cubic(model.mesh.xy)[0].ravel()
    points = [(1.1, 0.3), (2.0, 0.0), (3.3, -0.7)]
    np.testing.assert_allclose(
        results(model, u, points), cubic(np.array(points))[1], rtol=0, atol=1e-11
    )


@pytest.mark.parametrize("order", [3, 4])
@pytest.mark.parametrize("plan", [STRAIGHT, SKEW, TAPER], ids=["straight", "skew", "taper"])
def test_fields_of_a_cubic_state(plan: Plan, order: int) -> None:
    """Moments that are linear are exact at all points, beside wide and narrow cells."""
    mesh = grid_mesh(plan, order=order, size=1.1, extra_u=[0.3, 2.2], extra_y=[])
    model = PlateModel(mesh=mesh, section=STATE, supports=ENDS)
    recovery = FieldRecovery(model)
    fields = recovery.fields(cubic(mesh.xy)[0].reshape(-1, 1))[:, :, 0].T
    np.testing.assert_allclose(fields, cubic(recovery.points.xy)[1], rtol=0, atol=1e-10)


def test_thin_shears_are_the_divergence_of_the_moments() -> None:
    section = Section(thickness=0.3, E=1.0, poisson=0.2, rigidity=STATE.rigidity, thin_span=2.0)
    model = PlateModel(mesh=grid_mesh(SKEW, order=3, size=1.1), section=section, supports=ENDS)
    u = cubic(model.mesh.xy)[0].ravel()
    found = results(model, u, [(1.1, 0.3), (2.5, -0.7)])
    Dx, Dy, D1, Dxy = D
    a, b, c, d = 0.3, -0.2, 0.5, 0.4
    qx = -(Dx * 6 * a + D1 * 2 * c) - Dxy * 4 * c
    qy = -Dxy * 4 * b - (D1 * 2 * b + Dy * 6 * d)
    np.testing.assert_allclose(found[:, 4:], [[qx, qy]] * 2, rtol=0, atol=1e-9)


def test_components_turn_with_a_curved_deck() -> None:
    """A state of constant Cartesian moments, seen along the tangent and the growing offset."""
    model = PlateModel(
        mesh=grid_mesh(CURVED, order=4, size=0.8), section=unit_section(0.2, 0.0), supports=ENDS
    )
    x = model.mesh.xy[:, 0]
    u = np.column_stack([0.5 * x**2, x, 0 * x]).ravel()
    at = np.array([[3.0, 1.0], [1.0, -1.3]])
    found = results(model, u, at)
    c, s = model.mesh.alignment.tangent(at).T
    exact = np.column_stack([-(c**2), -(s**2), c * s])
    np.testing.assert_allclose(found[:, 1:4], exact, rtol=0, atol=2e-5)


@pytest.mark.parametrize("order", [2, 3, 4])
@pytest.mark.parametrize("plan", [STRAIGHT, SKEW, TAPER, CURVED])
def test_fields_are_what_rows_read_at_their_points(plan: Plan, order: int) -> None:
    """One value where cells meet, both values on a line that divides, of any displacements."""
    beams = (BeamLine(line="C2", section=BeamSection(5.0, 2.0), holds=(Hold("L1"), Hold("L2"))),)
    model = PlateModel(
        mesh=grid_mesh(plan, order=order, size=0.9, extra_u=[0.6]),
        section=unit_section(0.2),
        supports=ENDS,
        beams=beams,
    )
    U = np.random.default_rng(order).normal(size=(model.n_dof, 2))
    recovery = FieldRecovery(model)
    fields = recovery.fields(U)
    points = recovery.points
    assert fields.shape == (6, points.n_points, 2)
    every = at_field_points(points, np.arange(points.n_points))
    rows = (result_rows(model, every) @ U).reshape(points.n_points, 6, 2)
    scale = np.abs(rows).max(axis=(0, 2))[:, None]
    assert (np.abs(fields.swapaxes(0, 1) - rows).max(axis=(0, 2)) < 1e-12 * scale.ravel()).all()
    chosen = np.arange(points.n_points) % 6
    some = component_rows(model, every, chosen) @ U
    np.testing.assert_allclose(some, rows[np.arange(len(rows)), chosen], rtol=0, atol=1e-9)
    some_points = np.random.default_rng(2).permutation(points.n_points)[: points.n_points // 3]
    at_some = recovery.at(WholeSolution(U), some_points)
    np.testing.assert_allclose(at_some, fields[:, some_points], rtol=0, atol=1e-9)
    # some kinds alone are formed of the same numbers
    for kinds in (slice(1, 4), slice(4, 6)):
        alone = recovery.of_kinds(kinds)
        np.testing.assert_allclose(alone.fields(U), fields[kinds], rtol=0, atol=1e-9)
        there = alone.at(WholeSolution(U), some_points)
        np.testing.assert_allclose(there, fields[kinds][:, some_points], rtol=0, atol=1e-9)
        read = result_rows(model, every, range(6)[kinds]) @ U
        own = read.reshape(points.n_points, -1, 2)
        np.testing.assert_allclose(own, rows[:, kinds], rtol=0, atol=1e-9)
    _, place, doubled = np.unique(
        np.round(points.xy, 9), axis=0, return_index=True, return_counts=True
    )
    on_beam = np.abs(plan.logical_station(points.plan[place]) - 2.0) < 1e-9
    assert np.all(doubled[on_beam] == 2)
    assert np.all(doubled[~on_beam] == 1)


def test_a_beam_in_torsion_makes_the_moments_jump() -> None:
    """Across it w is one value, m_x two; together with the beam's torque they are in balance."""
    beams = (BeamLine(line="C2", section=BeamSection(50.0, 500.0), holds=(Hold("L1"), Hold("L2"))),)
    model = PlateModel(
        mesh=grid_mesh(STRAIGHT, order=3, size=0.5),
        section=unit_section(0.2),
        supports=ENDS,
        beams=beams,
    )
    _, U, _ = solved(model, patch(model.mesh, 1.0, 0.0, 1.0, 2.0))
    recovery = FieldRecovery(model)
    both = np.flatnonzero(np.hypot(*(recovery.points.plan - [2.0, 0.0]).T) < 1e-9)
    assert len(both) == 2
    values = recovery.fields(U)[:, both, 0]
    assert values[0, 0] == values[0, 1]
    assert abs(values[1, 0] - values[1, 1]) > 0.1 * np.abs(values[1]).max()


@pytest.mark.parametrize("thin_span", [None, 4.0])
def test_steps_of_thickness(thin_span: float | None) -> None:
    """m_x is continuous across a step though the curvature jumps eightfold; nu = 0 makes a beam
    of the slab. Points, points of one side of a cell, and fields tell the sides apart."""
    zone = Zone(rectangle_corners((3.0, 0.0), (2.0, 4.0)), 0.5)
    mesh = grid_mesh(STRAIGHT, order=3, size=0.7, extra_u=[2.0])
    section = Section(thickness=0.25, E=1.0, poisson=0.0, zones=(zone,), thin_span=thin_span)
    model = PlateModel(mesh=mesh, section=section, supports=ENDS)
    _, U, _ = solved(model, pressure(mesh, 1.0))
    exact = 4.0**2 / 8.0
    for y in (-2.0, 0.3, 1.1):
        places = at_points(mesh, np.array([[2.0, y]])).apart()
        cells, xi = places.cells, places.reference
        sides = (result_rows(model, places) @ U).reshape(-1, 6)
        np.testing.assert_allclose(sides[:, 1], exact, rtol=1e-7)
        edge = np.column_stack([np.full(3, xi[0, 0]), [-0.5, 0.0, 0.5]])
        dofs = (N_FIELDS * mesh.cells[cells[0]][:, None] + np.arange(N_FIELDS)).ravel()
        along = cell_operators(model, cells[:1], edge)[0] @ U[dofs, 0]
        np.testing.assert_allclose(along[:, 1], exact, rtol=1e-7)
    points = field_points(model)
    step = np.abs(points.plan[:, 0] - 2.0) < 1e-9
    _, count = np.unique(np.round(points.plan[step], 9), axis=0, return_counts=True)
    assert np.all(count == 2)
    fields = FieldRecovery(model).fields(U)
    np.testing.assert_allclose(fields[1, step, 0], exact, rtol=1e-7)


@pytest.mark.parametrize("plan", [STRAIGHT, SKEW], ids=["straight", "skew"])
def test_means_along_segments(plan: Plan) -> None:
    """The exact mean of a cubic w and of its linear moments."""
    model = PlateModel(mesh=grid_mesh(plan, order=3, size=1.1), section=STATE, supports=ENDS)
    u = cubic(model.mesh.xy)[0].ravel()
    path = np.array([[0.7, -0.4], [3.1, 0.9]])
    found = mean_rows(model, path) @ u
    x, weight = np.polynomial.legendre.leggauss(6)
    at = path[0] + 0.5 * (1 + x)[:, None] * (path[1] - path[0])
    exact = 0.5 * weight @ cubic(at)[1]
    np.testing.assert_allclose(found, exact, rtol=0, atol=1e-11)


def test_means_along_a_dividing_line_are_of_both_sides() -> None:
    beams = (BeamLine(line="C2", section=BeamSection(50.0, 500.0), holds=(Hold("L1"), Hold("L2"))),)
    model = PlateModel(
        mesh=grid_mesh(STRAIGHT, order=3, size=0.5),
        section=unit_section(0.2),
        supports=ENDS,
        beams=beams,
    )
    _, U, _ = solved(model, patch(model.mesh, 1.0, 0.0, 1.0, 2.0))
    means = [
        (mean_rows(model, np.array([[x, -1.0], [x, 1.0]])) @ U[:, 0])[1]
        for x in (2.0 - 1e-6, 2.0, 2.0 + 1e-6)
    ]
    assert means[1] == pytest.approx(0.5 * (means[0] + means[2]), rel=1e-4)
    assert abs(means[0] - means[2]) > 0.1 * abs(means[1])


def test_means_on_a_curve_are_of_arc_length() -> None:
    model = PlateModel(
        mesh=grid_mesh(CURVED, order=4, size=0.8), section=unit_section(0.2), supports=ENDS
    )
    w = model.mesh.plan[:, 1]  # the offset, linear in plan
    u = np.column_stack([w, 0 * w, 0 * w]).ravel()
    path = np.array([[0.5, -1.5], [3.5, 1.0]])
    found = (mean_rows(model, path) @ u)[0]
    s = np.linspace(0.0, 1.0, 200001)
    y = -1.5 + 2.5 * s
    speed = np.hypot(3.0 * (1 - y / 6.0), 2.5)
    exact = np.trapezoid(y * speed, s) / np.trapezoid(speed, s)
    assert found == pytest.approx(exact, abs=1e-7)


def test_a_side_is_all_its_cells_however_wide() -> None:
    """A point where unequal cells meet is read on a side as the fields give it there: beside a line
    the mean of the two cells on that side, elsewhere of all four; the plan point amid its cells,
    by which the side is known, lies in one of them alone."""
    mesh = grid_mesh(STRAIGHT, order=3, size=1.0, extra_u=[1.3], extra_y=[0.2])
    model = PlateModel(mesh=mesh, section=STATE, supports=(LineSupport(line="C2", kind="rigid"),))
    points = field_points(model)
    u = np.random.default_rng(3).normal(size=model.n_dof)
    fields = FieldRecovery(model, points).fields(u[:, None])[..., 0]
    met = [
        np.flatnonzero(np.all(np.isclose(points.plan, at), axis=1))
        for at in ([2.0, 0.2], [1.3, 0.2])
    ]
    assert [len(numbers) for numbers in met] == [2, 1]
    numbers = np.concatenate(met)
    towards = np.array([side_of(mesh, points, number) for number in numbers])
    there = on_sides(mesh, points, points.plan[numbers], towards)
    assert np.bincount(there.place).tolist() == [2, 2, 4]
    read = (result_rows(model, there) @ u).reshape(-1, 6)
    np.testing.assert_allclose(read, fields[:, numbers].T, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("plan", [STRAIGHT, CURVED], ids=["straight", "curved"])
def test_softened_cells_are_a_section_with_factors(plan: Plan) -> None:
    """The same factors in every cell: displacements, moments and shears of both theories."""
    for span in (None, 2.0):
        section = Section(thickness=0.3, E=30e9, poisson=0.2, thin_span=span)
        mesh = grid_mesh(plan, order=3, size=1.1)
        factors = np.tile([0.5, 0.8], (mesh.n_cells, 1))
        soft = PlateModel(mesh=mesh, section=section, supports=ENDS, softened=factors)
        # the thin theory's shear layer follows the stiffer direction of its own section
        shear_of = replace(section, factors=(0.5, 0.8, 0.4**0.5))
        plain = PlateModel(mesh=mesh, section=shear_of, supports=ENDS)
        fields = [
            FieldRecovery(model).fields(Stiffness(model).solve(pressure(mesh, 5e3)[:, None]))
            for model in (soft, plain)
        ]
        for k in range(4):
            scale = np.abs(fields[1][k]).max()
            np.testing.assert_allclose(fields[0][k], fields[1][k], atol=1e-5 * scale)

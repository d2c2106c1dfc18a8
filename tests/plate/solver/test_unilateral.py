"""Supports without tension against beams worked by hand."""

import numpy as np
import pytest

from plate.conventions import N_FIELDS
from plate.elements.section import Section
from plate.errors import SupportError
from plate.geometry.plan import grid_plan
from plate.loads.loads import line_load, pressure
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.supports import LineSupport, PointSupport
from plate.solver.stiffness import Stiffness
from plate.solver.unilateral import LiftingSupports
from tests.helpers import result

E, T, B = 30e9, 0.2, 1.0
D = E * T**3 / 12.0


def three_lines() -> PlateModel:
    """A strip of two spans of 4 m with nu = 0, thin, on three rigid lines."""
    plan = grid_plan([0.0, 4.0, 8.0], [0.0, B])
    mesh = grid_mesh(plan, order=3, size=1.0)
    lines = tuple(LineSupport(line=line, kind="rigid") for line in ("C1", "C2", "C3"))
    return PlateModel(
        mesh=mesh,
        section=Section(thickness=T, E=E, poisson=0.0, thin_span=4.0),
        supports=lines,
        creases=under_the_load(mesh),
    )


def under_the_load(mesh: Mesh) -> np.ndarray:
    """Edges of the mesh along the line load: moments have a kink there."""
    ends, _ = mesh.edges
    return ends[(np.abs(mesh.plan[ends][..., 0] - 2.0) < 1e-9).all(axis=1)]


def load_in_span_1(model: PlateModel) -> np.ndarray:
    return line_load(model.mesh, np.array([[2.0, 0.0], [2.0, B]]), 1e4)


def moment(model: PlateModel, U: np.ndarray, x: float) -> float:
    return float(result(model, U, x, 0.4)[1])


def test_the_far_end_lifts_and_the_slab_is_one_span() -> None:
    model = three_lines()
    contact = LiftingSupports(model, ["C1", "C2", "C3"]).solve(load_in_span_1(model))
    lifted = {name for name, o in zip(contact.names, contact.open, strict=True) if o}
    assert lifted == {"C3"}
    # P L / 4 of a simple span; with C3 holding down it would be 13/64 P L.
    assert moment(model, contact.U, 2.0) == pytest.approx(1e4 * 4.0 / 4.0, rel=1e-3)
    held = Stiffness(model).solve(load_in_span_1(model)[:, None])[:, 0]
    assert moment(model, held, 2.0) == pytest.approx(13.0 / 64.0 * 1e4 * 4.0, rel=1e-3)
    assert contact.force.sum() == pytest.approx(1e4 * B, rel=1e-9)


def test_nothing_lifts_under_weight() -> None:
    model = three_lines()
    F = load_in_span_1(model) + pressure(model.mesh, 2e4)
    contact = LiftingSupports(model, ["C1", "C2", "C3"]).solve(F)
    assert not contact.open.any()
    held = Stiffness(model).solve(F[:, None], refine=True)[:, 0]
    # The lines of the held model also tie the slope along them; nu = 0 makes it zero.
    assert moment(model, contact.U, 2.0) == pytest.approx(moment(model, held, 2.0), rel=1e-6)


def test_a_point_support_lifts() -> None:
    plan = grid_plan([0.0, 4.0, 8.0], [0.0, B])
    mesh = grid_mesh(plan, order=3, size=1.0)
    lines = tuple(LineSupport(line=line, kind="rigid") for line in ("C1", "C2"))
    points = (PointSupport("P", (7.8, 0.5), 0.3),)
    model = PlateModel(
        mesh=mesh,
        section=Section(thickness=T, E=E, poisson=0.0),
        supports=lines,
        beams=(),
        points=points,
        creases=under_the_load(mesh),
    )
    contact = LiftingSupports(model, ["P"]).solve(load_in_span_1(model))
    assert contact.open.all()
    assert moment(model, contact.U, 2.0) == pytest.approx(1e4, rel=5e-3)


def test_what_lies_in_a_support_before_is_pulled_out_first() -> None:
    """Weight that was there before the load is the same as weight that comes with it."""
    model = three_lines()
    weight, load = pressure(model.mesh, 5e2), load_in_span_1(model)
    lifting = LiftingSupports(model, ["C1", "C2", "C3"])
    together = lifting.solve(weight + load)
    assert together.open.any()
    held = Stiffness(model).solve(weight[:, None], refine=True)
    below = weight - Stiffness(model).force(held)[: len(weight), 0]
    locked = below[N_FIELDS * lifting.nodes]
    # some of the end stays down under it
    assert locked.sum() == pytest.approx(5e2 * 8.0 * B, rel=1e-6)
    after = lifting.solve(load, locked)
    np.testing.assert_array_equal(after.open, together.open)
    size = np.abs(together.force).max()
    np.testing.assert_allclose(after.force, together.force, atol=1e-6 * size)
    np.testing.assert_allclose(
        moment(model, after.U + held[:, 0], 2.0), moment(model, together.U, 2.0), rtol=1e-6
    )


def test_only_rigid_supports_can_lift() -> None:
    with pytest.raises(SupportError, match="C9: no rigid support"):
        LiftingSupports(three_lines(), ["C9"])

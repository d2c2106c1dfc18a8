"""Which cells results go on into."""

import numpy as np

from plate.arrays import Floats, Ints
from plate.elements.section import Section
from plate.geometry.plan import grid_plan
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.supports import LineSupport

PLAN = grid_plan([0.0, 2.0, 4.0], [-1.0, 1.0], overhang={"left": 0.6, "right": 0.6})
SECTION = Section(thickness=0.2, E=1.0, poisson=0.2)
HELD = (LineSupport(line="C2", kind="rigid"),)


def across(mesh: Mesh, continued: Ints, x: float) -> Floats:
    """Whether the cells (n,) that end at x from below go on beyond it."""
    ends = np.abs(mesh.corners[:, :, 0].max(axis=1) - x) < 1e-9
    return np.asarray(continued[ends, 1] >= 0)


def test_a_line_that_divides_anywhere_is_one_along_all_the_deck() -> None:
    """C2 ends at L1 and L2; the overhangs beyond, which it does not reach, are not read across it
    either, so that all four cells at its end see the same. L2, along which nothing is, is."""
    model = PlateModel(mesh=grid_mesh(PLAN, order=2, size=0.5), section=SECTION, supports=HELD)
    mesh, continued = model.mesh, model.continued
    assert not across(mesh, continued, 2.0).any()
    assert across(mesh, continued, 1.5).all()
    below = np.abs(mesh.corners[:, :, 1].max(axis=1) - 1.0) < 1e-9
    assert (continued[below, 3] >= 0).all()
    other = continued[below, 3]
    np.testing.assert_array_equal(continued[other, 2], np.flatnonzero(below))


def test_creases_and_bends_are_not_read_across() -> None:
    """An edge along which a load ends; in a mesh that is bent there, no line goes on straight."""
    mesh = grid_mesh(PLAN, order=2, size=0.5)
    node = np.flatnonzero(np.abs(mesh.plan[:, 0] - 1.0) < 1e-9)
    ends = mesh.edges[0]
    crease = ends[np.isin(ends, node).all(axis=1)][:1]
    model = PlateModel(mesh=mesh, section=SECTION, supports=HELD, creases=crease)
    assert not across(mesh, model.continued, 1.0).any()
    assert across(mesh, model.continued, 0.5).all()
    plan = mesh.plan.copy()
    plan[:, 1] += 0.3 * np.maximum(plan[:, 0] - 1.0, 0.0)
    bent = Mesh(order=2, alignment=mesh.alignment, plan=plan, cells=mesh.cells, lines=mesh.lines)
    model = PlateModel(mesh=bent, section=SECTION, supports=HELD)
    assert not across(bent, model.continued, 1.0).any()
    assert across(bent, model.continued, 0.5).all()

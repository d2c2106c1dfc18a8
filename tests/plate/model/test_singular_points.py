"""Singular places found from angles and supports."""

import numpy as np
import pytest

from plate.elements.beam import BeamSection
from plate.elements.section import Section
from plate.geometry.plan import Plan, grid_plan
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace, singular_places
from plate.model.supports import BeamLine, Hold, LineSupport


def places(plan: Plan, *lines: str, kind: str = "rigid") -> tuple[SingularPlace, ...]:
    mesh = grid_mesh(plan, order=2, size=1.0)
    supports = tuple(LineSupport(line, kind) for line in lines)  # type: ignore[arg-type]
    return singular_places(PlateModel(mesh, Section(0.2, 30e9, 0.3), supports))


def test_a_right_slab_has_none() -> None:
    assert not places(grid_plan([0.0, 6.0], [-3.0, 3.0]), "C1", "C2")
    assert not places(grid_plan([0.0, 6.0], [-3.0, 3.0]), "C1", "C2", "L1", "L2")


def test_right_corners_of_a_curved_slab_are_none() -> None:
    """Radial supports meet the arcs at right angles, on either side and bent either way."""
    for radius in (-20.0, 20.0, 60.0):
        plan = grid_plan([0.0, 6.0], [-3.0, 3.0], radius=radius)
        assert not places(plan, "C1", "C2")


def test_obtuse_corners_of_a_skew_slab() -> None:
    plan = grid_plan([0.0, 6.0], [-3.0, 3.0], skew=np.radians(30.0))
    found = places(plan, "C1", "C2")
    # Williams 1952, simply supported and free at 120 degrees, nu = 0.3.
    assert [p.exponent for p in found] == pytest.approx([1.7184, 1.7184], abs=2e-4)
    assert [np.degrees(p.angle) for p in found] == pytest.approx([120.0, 120.0])
    assert {p.at[1] for p in found} == {-3.0, 3.0}


def test_simply_supported_obtuse_corner_is_pi_over_the_angle() -> None:
    plan = grid_plan([0.0, 6.0], [-3.0, 3.0], skew=np.radians(30.0))
    found = places(plan, "C1", "C2", "L1", "L2")
    assert [p.exponent for p in found] == pytest.approx([1.5, 1.5])


def test_a_line_that_ends_inside_the_slab_is_a_crack_of_the_support() -> None:
    over = {"left": 1.0, "right": 1.0, "start": 0.5, "end": 0.5}
    plan = grid_plan([0.0, 3.0], [-2.0, 2.0], overhang=over)
    found = places(plan, "C1", "C2")
    assert len(found) == 4
    assert all(p.exponent == pytest.approx(1.5) for p in found)
    assert not places(plan, "C1:full", "C2:full")


def test_a_beam_held_on_the_slab_is_a_point_force() -> None:
    """At the joint edge, half the slab around it; inside, all of it; held beyond the slab, none."""
    plan = grid_plan([0.0, 6.0], [-3.0, 0.0, 3.0], overhang={"end": 1.0})
    mesh = grid_mesh(plan, order=2, size=1.0)
    section = BeamSection(EI=1e9, GJ=1e6, GA=1e9)

    def found(*holds: Hold) -> list[tuple[tuple[float, float], float]]:
        beams = (BeamLine("L2:full", section, holds),)
        supports = (LineSupport("L1:full", "rigid"), LineSupport("L3:full", "rigid"))
        model = PlateModel(mesh, Section(0.2, 30e9, 0.3), supports, beams)
        return [
            (p.at, round(np.degrees(p.angle), 6))
            for p in singular_places(model)
            if p.edges == ("held", "held")
        ]

    assert found(Hold("C1"), Hold("C2")) == [((0.0, 0.0), 180.0), ((6.0, 0.0), 360.0)]
    assert found(Hold("C1", k=1e8)) == [((0.0, 0.0), 180.0)]
    assert not found(Hold("C1", stub=0.3))


def test_springs_make_no_wedge() -> None:
    plan = grid_plan([0.0, 6.0], [-3.0, 3.0], skew=np.radians(30.0))
    assert not places(plan, "C1", "C2", kind="spring")

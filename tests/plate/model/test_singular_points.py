"""Singular places found from angles and supports."""

from typing import Literal

import numpy as np
import pytest

from plate.elements.beam import BeamSection
from plate.elements.section import Section
from plate.geometry.curves import Curve, polyline
from plate.geometry.outline import outline_plan
from plate.geometry.plan import Plan, grid_plan
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import quad_mesh
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace, singular_places, stiff_ends
from plate.model.supports import BeamLine, Hold, LineSupport


def places(plan: Plan, *lines: str, kind: str = "rigid") -> tuple[SingularPlace, ...]:
    mesh = grid_mesh(plan, order=2, size=1.0)
    supports = tuple(LineSupport(line=line, kind=kind) for line in lines)  # type: ignore[arg-type]
    return singular_places(
        PlateModel(
            mesh=mesh, section=Section(thickness=0.2, E=30e9, poisson=0.3), supports=supports
        )
    )


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
    """At the joint edge, half the slab around it, as beyond it on a stub; inside, all of it."""
    plan = grid_plan([0.0, 6.0], [-3.0, 0.0, 3.0], overhang={"end": 1.0})
    mesh = grid_mesh(plan, order=2, size=1.0)
    section = BeamSection(EI=1e9, GJ=1e6, GA=1e9)

    def found(*holds: Hold) -> list[tuple[tuple[float, float], float]]:
        beams = (BeamLine(line="L2:full", section=section, holds=holds),)
        supports = (
            LineSupport(line="L1:full", kind="rigid"),
            LineSupport(line="L3:full", kind="rigid"),
        )
        model = PlateModel(
            mesh=mesh,
            section=Section(thickness=0.2, E=30e9, poisson=0.3),
            supports=supports,
            beams=beams,
        )
        return [
            (p.at, round(np.degrees(p.angle), 6))
            for p in singular_places(model)
            if p.edges == ("held", "held")
        ]

    assert found(Hold("C1"), Hold("C2")) == [((0.0, 0.0), 180.0), ((6.0, 0.0), 360.0)]
    assert found(Hold("C1", k=1e8)) == [((0.0, 0.0), 180.0)]
    assert found(Hold("C1", stub=0.3)) == [((0.0, 0.0), 180.0)]


def test_beams_that_cross_are_point_forces_where_a_web_strains() -> None:
    plan = grid_plan([0.0, 3.0, 6.0], [-3.0, 0.0, 3.0])
    mesh = grid_mesh(plan, order=2, size=1.0)
    web, none = BeamSection(EI=1e9, GJ=1e6, GA=1e9), BeamSection(EI=1e9, GJ=1e6)
    supports = (
        LineSupport(line="L1:full", kind="rigid"),
        LineSupport(line="L3:full", kind="rigid"),
    )

    def crossed(*sections: BeamSection) -> list[tuple[float, float]]:
        lines = ("C2", "L2")
        beams = tuple(BeamLine(line=n, section=s) for n, s in zip(lines, sections, strict=False))
        found = singular_places(
            PlateModel(
                mesh=mesh,
                section=Section(thickness=0.2, E=30e9, poisson=0.3),
                supports=supports,
                beams=beams,
            )
        )
        return [p.at for p in found if p.edges == ("crossed", "crossed")]

    assert crossed(web, none) == crossed(none, web) == [(3.0, 0.0)]
    assert not crossed(none, none)
    assert not crossed(web)


def test_a_rigid_line_holds_a_beam_whose_web_strains() -> None:
    """Where it runs across; not where it ends there, nor on springs."""
    plan = grid_plan([0.0, 3.0, 6.0], [-3.0, 0.0, 3.0])
    mesh = grid_mesh(plan, order=2, size=1.0)

    def held(
        kind: Literal["rigid", "clamped", "spring"], GA: float | None
    ) -> dict[tuple[float, float], float]:
        supports = tuple(LineSupport(line=c, kind=kind, k=1e8) for c in ("C1", "C2", "C3"))
        beam = BeamLine(line="L2:full", section=BeamSection(EI=1e9, GJ=1e6, GA=GA))
        section = Section(thickness=0.2, E=30e9, poisson=0.3)
        found = singular_places(
            PlateModel(mesh=mesh, section=section, supports=supports, beams=(beam,))
        )
        return {p.at: p.exponent for p in found if p.edges == ("held", "held")}

    assert held("rigid", 1e9) == held("clamped", 1e9) == {(3.0, 0.0): 2.0}
    assert not held("rigid", None)
    assert not held("spring", 1e9)


def test_lines_that_hold_both_slopes_end_stiffly_at_free_edges() -> None:
    """A beam, a hard line and a clamped one that run on to edges; not a soft line, nor one that
    ends at a supported edge."""
    over = {"start": 1.0, "end": 0.0}
    mesh = grid_mesh(grid_plan([0.0, 3.0], [-3.0, 0.0, 3.0], overhang=over), order=2, size=1.0)
    section = Section(thickness=0.2, E=30e9, poisson=0.3)
    beam = BeamLine(line="L2:full", section=BeamSection(EI=1e9, GJ=1e6))

    def found(*supports: LineSupport, beams: tuple[BeamLine, ...] = ()) -> list[list[float]]:
        model = PlateModel(mesh=mesh, section=section, supports=supports, beams=beams)
        return sorted(mesh.plan[stiff_ends(model)].tolist())

    across = LineSupport(line="C2", kind="rigid")
    end = [[-1.0, 0.0]]
    assert found(across, beams=(beam,)) == end
    assert found(across, LineSupport(line="L2:full", kind="rigid", hard=True)) == end
    assert found(across, LineSupport(line="L2:full", kind="clamped")) == end
    assert not found(across, LineSupport(line="L2:full", kind="rigid"))


def test_springs_make_no_wedge() -> None:
    plan = grid_plan([0.0, 6.0], [-3.0, 3.0], skew=np.radians(30.0))
    assert not places(plan, "C1", "C2", kind="spring")


def test_a_kink_of_a_beam_is_a_couple_at_a_point() -> None:
    """At the vertex of two chords; nowhere on an arc, whatever the size of the cells on it."""
    arc = Curve((0.0, 0.0), (8.0, 0.0), 0.6)
    chords = polyline([arc.start, arc.at(0.5).tolist(), arc.end])
    for curves, kinked in ((chords, True), ((arc,), False)):
        plan = outline_plan(
            polyline([(0, -3), (8, -3), (8, 3), (0, 3), (0, -3)]), lines={"rib": curves}
        )
        for order, size in ((2, 1.0), (3, 2.0)):
            mesh = quad_mesh(plan, order=order, field=uniform(size))
            supports = (LineSupport(line="E1", kind="rigid"), LineSupport(line="E3", kind="rigid"))
            beams = (BeamLine(line="rib", section=BeamSection(EI=1e9, GJ=1e6)),)
            model = PlateModel(
                mesh=mesh,
                section=Section(thickness=0.2, E=30e9, poisson=0.3),
                supports=supports,
                beams=beams,
            )
            found = [p for p in singular_places(model) if p.edges == ("kinked", "kinked")]
            assert [p.exponent for p in found] == [1.0] * kinked
            for place in found:
                assert place.at == pytest.approx(tuple(arc.at(0.5)))
                assert place.angle == pytest.approx(2.0 * np.pi)


def beams_of(plan: Plan, *lines: str, J: float = 1e6) -> list[tuple[tuple[float, float], float]]:
    """Places and exponents of a slab on rigid C lines with beams along other lines."""
    mesh = grid_mesh(plan, order=2, size=1.0)
    beam = BeamSection(EI=1e9, GJ=J)
    model = PlateModel(
        mesh=mesh,
        section=Section(thickness=0.2, E=30e9, poisson=0.3),
        supports=(LineSupport(line="C1", kind="rigid"), LineSupport(line="C2", kind="rigid")),
        beams=tuple(BeamLine(line=line, section=beam) for line in lines),
    )
    return [(p.at, p.exponent) for p in singular_places(model)]


def test_an_edge_beam_that_ends_at_an_askew_edge_is_as_a_support_there() -> None:
    """Beside a point the slab is soft against any beam. Of an edge beam and a free end at 120
    degrees the exponent is that of an edge simply supported, Williams 1952: 1.7184; of 60 degrees
    there is none. Edge beam and rigid line: pi over the angle."""
    over = {"start": 1.0, "end": 1.0}
    plan = grid_plan([0.0, 6.0], [-3.0, 3.0], skew=np.radians(30.0), overhang=over)
    found = dict(beams_of(plan, "L1:full", "L2:full"))
    ends = {at: s for at, s in found.items() if s == pytest.approx(1.7184, abs=2e-4)}
    assert len(ends) == 2
    assert sorted(y for _, y in ends) == [-3.0, 3.0]
    crossings = [s for at, s in found.items() if at not in ends]
    assert crossings == pytest.approx([1.5] * 4)


def test_an_edge_beam_at_right_angles_or_along_an_arc_has_none() -> None:
    over = {"start": 1.0, "end": 1.0}
    for radius in (np.inf, 20.0):
        plan = grid_plan([0.0, 6.0], [-3.0, 3.0], overhang=over, radius=radius)
        assert not beams_of(plan, "L1:full", "L2:full")


def test_a_beam_that_ends_inside_the_slab_is_a_crack_of_the_support() -> None:
    """Clamped along both sides of its line, all the slab around its end: r^1.5."""
    ring = polyline([(0, -3), (8, -3), (8, 3), (0, 3), (0, -3)])
    plan = outline_plan(ring, lines={"rib": polyline([(2, 0.0), (6, 0.0)])})
    model = PlateModel(
        mesh=quad_mesh(plan, order=2, field=uniform(1.0)),
        section=Section(thickness=0.2, E=30e9, poisson=0.3),
        supports=(LineSupport(line="E1", kind="rigid"), LineSupport(line="E3", kind="rigid")),
        beams=(BeamLine(line="rib", section=BeamSection(EI=1e9, GJ=1e6)),),
    )
    found = [p for p in singular_places(model) if abs(p.at[1]) < 1e-9]
    assert sorted(p.at[0] for p in found) == pytest.approx([2.0, 6.0])
    assert [p.exponent for p in found] == pytest.approx([1.5, 1.5])

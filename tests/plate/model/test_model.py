"""Mechanisms in words, crossings of lines, supports that cannot be."""

import numpy as np
import pytest

from plate.elements.beam import BeamSection
from plate.errors import MechanismError, SupportError
from plate.geometry.plan import grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport, PointSupport
from plate.solver.stiffness import Stiffness
from tests.helpers import edge_supports, unit_section

STRAIGHT = grid_mesh(grid_plan([0.0, 3.0], [-2.0, 2.0]), order=2, size=1.0)
SKEW = grid_mesh(grid_plan([0.0, 3.0], [-2.0, 2.0], skew=0.5), order=2, size=1.0)
CURVED = grid_mesh(grid_plan([0.0, 3.0], [-2.0, 2.0], radius=8.0), order=2, size=1.0)
BEAM = BeamSection(10.0, 1.0)


def rigid(*lines: str) -> dict[str, object]:
    return {"supports": tuple(LineSupport(line=line, kind="rigid") for line in lines)}


def springs(k: float, k_rot: float, *lines: str) -> dict[str, object]:
    return {"supports": tuple(LineSupport(line=n, kind="spring", k=k, k_rot=k_rot) for n in lines)}


def beams(*lines: str, holds: tuple[Hold, ...]) -> dict[str, object]:
    return {"beams": tuple(BeamLine(line=line, section=BEAM, holds=holds) for line in lines)}


def points(*at: tuple[float, float], k: float = np.inf) -> dict[str, object]:
    return {"points": tuple(PointSupport(f"P{i}", p, 0.3, k) for i, p in enumerate(at))}


HELD = (Hold("L1"), Hold("L2"))


def model(mesh: Mesh, parts: dict[str, object]) -> PlateModel:
    return PlateModel(mesh=mesh, section=unit_section(0.25), **parts)


@pytest.mark.parametrize(
    ("mesh", "parts", "words"),
    [
        (STRAIGHT, {}, "nothing holds it"),
        (STRAIGHT, springs(0.0, 0.0, "C1", "C2", "L1", "L2"), "nothing holds it"),
        (STRAIGHT, beams("C1", "C2", holds=()), "nothing holds it"),
        (STRAIGHT, beams("C1", holds=(Hold("L1", k=0.0, stub=0.5),)), "nothing holds it"),
        (STRAIGHT, rigid("C1"), "rotate about the line x = 0.000 m, along y"),
        (STRAIGHT, rigid("C2"), "rotate about the line x = 3.000 m, along y"),
        (STRAIGHT, rigid("L1"), "rotate about the line y = -2.000 m, along x"),
        (
            STRAIGHT,
            {"supports": (LineSupport(line="C1", kind="rigid", hard=True),)},
            "x = 0.000 m, along y",
        ),
        (STRAIGHT, springs(5.0, 0.0, "L2"), "y = 2.000 m, along x"),
        (STRAIGHT, beams("C1", holds=HELD), "rotate about the line x = 0.000 m"),
        (STRAIGHT, beams("C1", holds=(Hold("L1", stub=0.4, k_rot=9.0),)), "x = 0.000 m"),
        (STRAIGHT, beams("C1", holds=(Hold("L1"),)), r"only the point \(0.000, -2.000\) m"),
        (STRAIGHT, points((1.0, 0.5)), r"only the point \(1.000, 0.500\) m"),
        (STRAIGHT, points((1.0, 0.5), k=7.0), r"only the point \(1.000, 0.500\) m"),
        (STRAIGHT, points((1.0, 0.0), (2.0, 1.0)), "rotate about the line through"),
        (STRAIGHT, points((1.0, 0.0), (2.0, 1.0), (0.5, -0.5)), "rotate about the line through"),
        (STRAIGHT, springs(0.0, 9.0, "C1", "C2", "L1", "L2"), "can move down as a whole"),
        (STRAIGHT, springs(0.0, 9.0, "C1", "C2"), "parallel guides alone"),
        (STRAIGHT, springs(0.0, 9.0, "L1"), "parallel guides alone"),
        (SKEW, rigid("C1"), r"in direction \(0.479, 0.878\)"),
        (CURVED, rigid("C2"), r"\(Cartesian\)"),
        (CURVED, points((1.0, 0.5)), r"\(Cartesian\)"),
    ],
)
def test_mechanisms(mesh: Mesh, parts: dict[str, object], words: str) -> None:
    with pytest.raises(MechanismError, match=words):
        Stiffness(model(mesh, parts))


@pytest.mark.parametrize(
    ("mesh", "parts"),
    [
        (STRAIGHT, rigid("C1", "C2")),
        (STRAIGHT, rigid("C1", "L1")),
        (STRAIGHT, {"supports": (LineSupport(line="L1", kind="clamped"),)}),
        (STRAIGHT, springs(1e-6, 0.0, "C1", "C2")),
        (STRAIGHT, springs(2.0, 1e-3, "C1")),
        (STRAIGHT, {**rigid("C1"), **points((2.5, 0.3))}),
        (STRAIGHT, points((0.5, 0.0), (2.5, 1.0), (2.5, -1.0))),
        (STRAIGHT, points((0.5, 0.0), (2.5, 1.0), (2.5, -1.0), k=1e-3)),
        (STRAIGHT, beams("C1", "C2", holds=HELD)),
        (STRAIGHT, beams("C1", "C2", holds=(Hold("L1", stub=0.4), Hold("L2", k=3.0)))),
        (STRAIGHT, beams("C1", holds=(Hold("L1", stub=0.4, k_rot=9.0), Hold("L2")))
         | points((2.0, 0.0))),
        (CURVED, rigid("L1")),  # an arc holds all three motions
        (CURVED, rigid("L2")),
        (SKEW, beams("C1", "C2", holds=HELD)),
    ],
)  # fmt: skip
def test_decks_that_stand(mesh: Mesh, parts: dict[str, object]) -> None:
    """They stand, and hold a load in equilibrium."""
    stiffness = Stiffness(model(mesh, parts))
    F = pressure(mesh, 1.0)[:, None]
    U = stiffness.solve(F, refine=True)
    total = sum(value[0] for value in stiffness.reactions(U, F).values())
    assert total == pytest.approx(F.sum(), rel=1e-9)


def test_guides_need_one_support_of_deflection() -> None:
    """k = 0 all round and a single point: no mechanism."""
    parts = springs(0.0, 9.0, "C1", "C2", "L1", "L2") | points((1.5, 0.0))
    stiffness = Stiffness(model(STRAIGHT, parts))
    F = pressure(STRAIGHT, 1.0)[:, None]
    reactions = stiffness.reactions(stiffness.solve(F), F)
    assert reactions["P0"][0] == pytest.approx(12.0)


def test_crossings() -> None:
    plate = model(SKEW, beams("C1", holds=HELD))
    first, direction = plate.crossing("C1", "L1")
    np.testing.assert_allclose(SKEW.plan[first], [-2.0 * np.tan(0.5), -2.0])
    # pointing off the line at either end
    np.testing.assert_allclose(direction, [-np.sin(0.5), -np.cos(0.5)])
    last, direction = plate.crossing("C1", "L2")
    np.testing.assert_allclose(SKEW.plan[last], [2.0 * np.tan(0.5), 2.0])
    np.testing.assert_allclose(direction, [np.sin(0.5), np.cos(0.5)])


def test_supports_that_cannot_be() -> None:
    wrong = [
        (rigid("C1", "C7"), "C7 is not in the mesh"),
        (beams("C1", "C2", holds=(Hold("C2"),)), "does not meet"),
        (beams("C1", "C2", holds=(Hold("L9"),)), "L9 is not in the mesh"),
        (rigid("C1", "C2") | points((9.0, 0.0)), "lies off the slab"),
    ]
    for parts, words in wrong:
        with pytest.raises(SupportError, match=words):
            Stiffness(model(STRAIGHT, parts))


def test_a_stub_needs_the_end_of_its_beam() -> None:
    mesh = grid_mesh(grid_plan([0.0, 3.0], [-2.0, 0.0, 2.0]), order=2, size=1.0)
    parts = beams("C1", "C2", holds=(Hold("L2", stub=0.3), *HELD))
    with pytest.raises(SupportError, match="stub at L2"):
        Stiffness(model(mesh, parts))


def test_edges_given_twice_agree_with_themselves() -> None:
    edges = {"start": ("rigid", False), "end": ("rigid", False)}
    named = PlateModel(mesh=STRAIGHT, section=unit_section(0.25), supports=edge_supports(edges))
    lines = model(STRAIGHT, rigid("C1", "C2"))
    F = pressure(STRAIGHT, 1.0)[:, None]
    first, second = (Stiffness(m).solve(F) for m in (named, lines))
    np.testing.assert_array_equal(first, second)

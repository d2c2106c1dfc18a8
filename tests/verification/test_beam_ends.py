"""Hogging over a cross beam at the slab's free edge, where the beam is held or leaves the slab.

Two bays on flexible cross beams without edge beams, axles beside the middle one. On the beam's line
a peak stands at its end. Meshes refined towards that end, thin and thick theory and means over
widths tell what of it is a moment.
"""

from functools import cache

import numpy as np
import pytest
from scipy.optimize import brentq

from plate.arrays import Floats
from plate.elements.beam import BeamSection
from plate.elements.section import Section
from plate.geometry.plan import grid_plan
from plate.loads.loads import pressure
from plate.meshing.grid import Grading, grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport
from plate.results.functionals import component_rows, mean_rows
from plate.results.places import at_points
from plate.solver.stiffness import Stiffness
from tests.helpers import patch

T, LINE, EDGE, FACE = 0.25, 3.5, -3.0, 0.15
WEB = 81e9 * 110e-4
M_X = 1
KINDS = [(stub, web, thin) for stub in (0.0, 0.4) for web in (0.0, WEB) for thin in (False, True)]
MESHES = [(3, 0.5 * T), (4, 0.03)]


@cache
def solved(
    stub: float, web: float, thin: bool, order: int, first: float
) -> tuple[PlateModel, Floats]:
    """The model and its displacements; first : width of the cells along the edge and the beams."""
    across, along = dict.fromkeys(("C1", "C2", "C3"), first), {"left": first, "right": first}
    mesh = grid_mesh(
        grid_plan([0.0, LINE, 2 * LINE], [EDGE, -EDGE]),
        order=order,
        size=0.5,
        grading=Grading(across, along),
    )
    section = BeamSection(EI=210e9 * 4e-3, GJ=81e9 * 3e-6, GA=web or None)
    holds = (Hold("L1", stub=stub), Hold("L2", stub=stub))
    model = PlateModel(
        mesh=mesh,
        section=Section(thickness=T, E=30e9, poisson=0.2, thin_span=LINE if thin else None),
        supports=(),
        beams=tuple(BeamLine(line=c, section=section, holds=holds) for c in ("C1", "C2", "C3")),
    )
    F = np.zeros(model.n_dof)
    F[: model.n_plate_dof] += pressure(mesh, 9e3)
    for x in (1.0, 2.2):
        for y in (-2.25, -0.25):
            F[: model.n_plate_dof] += patch(mesh, x, y, 0.73, 0.73, 150e3)
    return model, Stiffness(model).solve(F[:, None], refine=True)[:, 0]


def hogging(kind: tuple[float, float, bool], mesh: tuple[int, float], away: float) -> Floats:
    """-m_x [kNm/m] as a function of the distance from the edge, that far beside the beam's line:
    at the first row of cells, half a thickness and a thickness from the edge."""
    model, U = solved(*kind, *mesh)
    at = np.array([[LINE - away, EDGE + r] for r in (0.0, 0.125 * T, 0.5 * T, T)])
    rows = component_rows(model, at_points(model.mesh, at), [M_X] * len(at))
    return np.asarray(-1e-3 * (rows @ U))


def mean(kind: tuple[float, float, bool], width: float) -> float:
    """-m_x [kNm/m] over a width from the edge on the beam's line."""
    model, U = solved(*kind, *MESHES[-1])
    path = np.array([[LINE, EDGE], [LINE, EDGE + width]])
    return float(-1e-3 * (mean_rows(model, path) @ U)[M_X])


@pytest.mark.parametrize("kind", KINDS)
def test_at_the_faces_it_converges_from_the_first_mesh(kind: tuple[float, float, bool]) -> None:
    """To 1.2 % of the largest, to the edge itself: a moment that bars have to bear. It is more
    there than at the place a thickness off the beam's end."""
    coarse, fine = (hogging(kind, mesh, FACE) for mesh in MESHES)
    np.testing.assert_allclose(coarse, fine, rtol=0.0, atol=0.012 * fine.max())
    off = hogging(kind, MESHES[-1], FACE)[-1]
    assert 1.02 * off < fine.max() < 1.2 * off


@pytest.mark.parametrize("stub", [0.0, 0.4])
def test_on_the_line_a_web_makes_it_grow_like_a_logarithm(stub: float) -> None:
    """By thin theory. Against waves of 2 pi/k along the line the web resists with G A_v k^2, the
    slab with 4 D k^3: nearer than 4 D/(G A_v), 0.18 m, the slab takes the force as if alone, and
    what each halving of the distance adds comes to a constant. Without a web E I k^4 stays above
    all, and nothing is added."""
    model, U = solved(stub, WEB, True, 5, 0.006)
    at = np.array([[LINE, EDGE + r] for r in (0.08, 0.04, 0.02, 0.01)])
    rows = component_rows(model, at_points(model.mesh, at), [M_X] * len(at))
    steps = np.diff(-1e-3 * (rows @ U))
    assert steps.min() > 5.0
    assert (steps[1:] / steps[:-1]).min() > 0.8
    model, U = solved(stub, 0.0, True, *MESHES[-1])
    rows = component_rows(model, at_points(model.mesh, at[2:]), [M_X] * 2)
    assert np.diff(-1e-3 * (rows @ U)) < 1.0


@pytest.mark.parametrize("y", [EDGE, 0.0])
def test_where_it_runs_across_a_rigid_line_a_web_makes_them_grow(y: float) -> None:
    """Over a rigid line that beams cross, by Mindlin's theory: along that line each halving of the
    distance from the crossing adds more than the one before. Without a web they do not grow."""

    def along_the_line(web: float) -> Floats:
        across = dict.fromkeys(("C1", "C2", "C3"), 0.02)
        mesh = grid_mesh(
            grid_plan([0.0, LINE, 2 * LINE], [EDGE, 0.0, -EDGE]),
            order=4,
            size=0.5,
            grading=Grading(across, {"left": 0.02, "L2": 0.02}),
        )
        section = BeamSection(EI=34e9 * 1.9e-2, GJ=14e9 * 4e-3, GA=web or None)
        model = PlateModel(
            mesh=mesh,
            section=Section(thickness=T, E=30e9, poisson=0.2),
            supports=tuple(LineSupport(line=c, kind="rigid") for c in across),
            beams=tuple(BeamLine(line=name, section=section) for name in ("L1", "L2", "L3")),
        )
        F = np.zeros(model.n_dof)
        F[: model.n_plate_dof] = pressure(mesh, 1e4)
        U = Stiffness(model).solve(F[:, None], refine=True)[:, 0]
        at = np.array([[LINE, y + r] for r in (0.08, 0.04, 0.02, 0.01)])
        rows = component_rows(model, at_points(mesh, at), [M_X] * len(at))
        return np.diff(-1e-3 * (rows @ U))

    steps = along_the_line(WEB)
    assert steps[-1] > steps[-2] > 0.2
    assert along_the_line(0.0).max() < 0.05


@pytest.mark.parametrize("poisson", [0.2, 0.3])
def test_a_hard_line_makes_them_grow_at_a_free_edge_as_in_plane_stress(poisson: float) -> None:
    """By Mindlin's theory, within the layer: across the end of the line like r^(lambda - 1) with
    Williams' equation for a clamped and a free edge at right angles, whose exponent each halving of
    the distance comes nearer to."""
    kappa = (3.0 - poisson) / (1.0 + poisson)
    known = brentq(
        lambda x: kappa * np.sin(0.5 * np.pi * x) ** 2 - 0.25 * (kappa + 1.0) ** 2 + x**2, 0.3, 0.99
    )
    first = 0.002 * T
    mesh = grid_mesh(
        grid_plan([0.0, LINE], [EDGE, 0.0, -EDGE]),
        order=4,
        size=0.5,
        grading=Grading({"start": first}, {"L2": first}),
    )
    lines = [LineSupport(line=name, kind="rigid", hard=True) for name in ("L1", "L2", "L3")]
    model = PlateModel(
        mesh=mesh, section=Section(thickness=T, E=30e9, poisson=poisson), supports=tuple(lines)
    )
    F = np.zeros(model.n_dof)
    F[: model.n_plate_dof] = pressure(mesh, 1e4)
    U = Stiffness(model).solve(F[:, None], refine=True)[:, 0]
    at = np.array([[0.0, r] for r in (0.16 * T, 0.08 * T, 0.04 * T, 0.02 * T)])
    moments = component_rows(model, at_points(mesh, at), [M_X + 1] * len(at)) @ U
    power = np.log2(moments[1:] / moments[:-1])
    assert power[0] < power[1] < power[2]
    assert power[2] == pytest.approx(1.0 - known, abs=0.01)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if not (kind[1] and kind[2])])
def test_without_a_web_or_by_mindlins_theory_it_stays_finite(
    kind: tuple[float, float, bool],
) -> None:
    """An eighth of the thickness off the end it is no more than a fifth beyond the mean over a
    thickness, and refined it stays: what is left is nearer than that to the end."""
    coarse, fine = (hogging(kind, mesh, 0.0)[1] for mesh in MESHES)
    assert coarse == pytest.approx(fine, rel=0.05)
    assert fine < 1.2 * mean(kind, T)


@pytest.mark.parametrize("kind", KINDS)
def test_the_value_a_thickness_off_is_the_mean_of_two(kind: tuple[float, float, bool]) -> None:
    """Within 7 %, with and without the logarithm."""
    off = hogging(kind, MESHES[-1], 0.0)[-1]
    assert off == pytest.approx(mean(kind, 2.0 * T), rel=0.07)

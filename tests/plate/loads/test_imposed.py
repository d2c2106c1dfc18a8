"""Strains imposed on a slab against plate theory.

A free plate takes the curvature difference/t and has no moment; a clamped one has
m = D (1 + nu) difference/t everywhere and no curvature; simply supported on all sides Timoshenko
and Woinowsky-Krieger, Theory of Plates and Shells, article 24 (from memory) give
div grad w = (1 + nu) kappa_0 with w = 0 along the edges.
"""

import numpy as np
import pytest

from plate.arrays import Floats
from plate.elements.beam import BeamSection
from plate.elements.section import Section, Zone
from plate.geometry.plan import grid_plan
from plate.loads.imposed import ImposedStrain, imposed_load
from plate.meshing.grid import Grading, grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, LineSupport, PointSupport
from plate.results.functionals import held_forces, held_results, membrane_rows, result_rows
from plate.results.places import at_points
from plate.solver.stiffness import Stiffness

T, E, NU = 0.25, 30e9, 0.2
D = E * T**3 / (12 * (1 - NU**2))
WARMER = ImposedStrain(difference=1e-4)  # 10 K at 1e-5 per kelvin
KAPPA = 1e-4 / T
SECTION = Section(thickness=T, E=E, poisson=NU)
POINTS = np.array([[2.0, 0.0], [1.0, 0.7], [3.3, -1.2]])


def results(model: PlateModel, points: Floats, imposed: ImposedStrain = WARMER) -> Floats:
    F = imposed_load(model.mesh, model.section, imposed)
    places = at_points(model.mesh, points)
    U = Stiffness(model).solve(F[:, None], refine=True)[:, 0]
    found = result_rows(model, places) @ U + held_results(model, places, imposed)
    return np.asarray(found).reshape(-1, 6)


@pytest.mark.parametrize(
    ("skew", "radius"), [(0.0, np.inf), (0.4, np.inf), (0.0, 12.0)], ids=["plain", "skew", "curved"]
)
def test_a_free_plate_bends_without_moments(skew: float, radius: float) -> None:
    plan = grid_plan([0.0, 4.0], [-2.0, 2.0], skew=skew, radius=radius)
    at = ((0.5, -1.5), (3.5, -1.5), (2.0, 1.5))
    points = tuple(PointSupport(f"P{k}", p, 0.2) for k, p in enumerate(at))
    model = PlateModel(mesh=grid_mesh(plan, order=3, size=0.7), section=SECTION, points=points)
    found = results(model, POINTS)
    # an arc is followed by cubic sides: there the paraboloid is not quite among the shapes
    rounding = 1e-9 if np.isinf(radius) else 2e-4
    assert np.abs(found[:, 1:4]).max() < rounding * D * KAPPA
    # w = kappa r^2 / 2 but for a plane: its second difference along x and y
    places = at_points(model.mesh, np.array([[1.5, 0.0], [2.0, 0.0], [2.5, 0.0]]))
    if np.isinf(radius):
        U = Stiffness(model).solve(imposed_load(model.mesh, SECTION, WARMER)[:, None], refine=True)
        w = (result_rows(model, places) @ U[:, 0]).reshape(-1, 6)[:, 0]
        assert (w[0] - 2 * w[1] + w[2]) / 0.25 == pytest.approx(KAPPA, rel=1e-7)


@pytest.mark.parametrize("skew", [0.0, 0.4])
def test_a_clamped_plate_has_moments_without_bending(skew: float) -> None:
    plan = grid_plan([0.0, 4.0], [-2.0, 2.0], skew=skew)
    edges = ("start", "end", "left", "right")
    supports = tuple(LineSupport(line=e, kind="clamped") for e in edges)
    model = PlateModel(mesh=grid_mesh(plan, order=3, size=0.7), section=SECTION, supports=supports)
    found = results(model, POINTS)
    expected = D * (1 + NU) * KAPPA  # 9 842 N m/m: tension where it is colder, below
    assert found[:, 1:3] == pytest.approx(expected, rel=1e-9)
    assert np.abs(found[:, 3:]).max() < 1e-8 * expected
    assert np.abs(found[:, 0]).max() < 1e-12


def test_zones_and_orthotropic_slabs_take_their_own_moments() -> None:
    plan = grid_plan([0.0, 2.0, 4.0], [-2.0, 2.0])
    zone = Zone(np.array([[2.0, -2.0], [4.0, -2.0], [4.0, 2.0], [2.0, 2.0]]), 2 * T)
    rigidity = (3e6, 1e6, 0.2e6, 0.7e6)
    section = Section(thickness=T, E=E, poisson=NU, rigidity=rigidity, zones=(zone,))
    mesh = grid_mesh(plan, order=2, size=1.0)
    supports = tuple(
        LineSupport(line=e, kind="clamped") for e in ("start", "end", "left", "right", "C2")
    )
    found = results(
        PlateModel(mesh=mesh, section=section, supports=supports),
        np.array([[1.0, 0.1], [3.0, 0.1]]),
    )
    here = np.array([3.2e6, 1.2e6]) * KAPPA
    # rigidity grows with t^3, the curvature falls with 1/t
    assert found[:, 1:3] == pytest.approx(np.stack([here, 4 * here]), rel=1e-9)


def test_a_simply_supported_plate_follows_the_series() -> None:
    """Thin square: w solves Poisson's equation; m_n = 0 along the edges but m_t is not, and in the
    middle of a square both moments are D (1 - nu^2) kappa_0 / 2 by symmetry: div grad w is
    (1 + nu) kappa_0, of which each direction has half."""
    a = 4.0
    plan = grid_plan([0.0, a], [-a / 2, a / 2])
    thin = Section(thickness=T, E=E, poisson=NU, thin_span=a)
    edges = ("start", "end", "left", "right")
    supports = tuple(LineSupport(line=e, kind="rigid", hard=True) for e in edges)
    model = PlateModel(mesh=grid_mesh(plan, order=4, size=0.5), section=thin, supports=supports)
    found = results(model, np.array([[a / 2, 0.0]]))[0]
    assert found[1:3] == pytest.approx(D * (1 - NU**2) * KAPPA / 2, rel=1e-3)
    odd = np.arange(1, 60, 2)
    m, n = np.meshgrid(odd, odd)
    sign = (-1.0) ** ((m - 1) // 2 + (n - 1) // 2)
    q = 16 * (1 + NU) * KAPPA * a**2 / (np.pi**4)
    w = -(sign * q / (m * n * (m**2 + n**2))).sum()
    assert found[0] == pytest.approx(w, rel=1e-3)


def test_a_free_edge_lets_the_restrained_moment_go_within_a_span() -> None:
    """A strip held along both ends, x = 0 and a, far from its free edge y = 0: m_x = 0 and
    m_y = D (1 - nu^2) kappa_0, as it cannot bend across. At the edge m_y and Kirchhoff's shear are
    zero: Levy's series under the edge moment -m_y, w = sum (A + B b y) exp(-b y) sin(b x) with
    b = n pi/a, A = -B (1 + nu)/(1 - nu), B = -M_n / (D b^2 (3 + nu)), M_n = 4 m_y/(n pi)."""
    a = 4.0
    thin = Section(thickness=T, E=E, poisson=NU, thin_span=a)
    supports = tuple(LineSupport(line=e, kind="rigid", hard=True) for e in ("start", "end"))
    grading = Grading({"start": 0.05, "end": 0.05}, {"left": 0.05})
    mesh = grid_mesh(grid_plan([0.0, a], [0.0, 5 * a]), order=4, size=0.5, grading=grading)
    model = PlateModel(mesh=mesh, section=thin, supports=supports)
    points = np.array([[2.0, 0.4], [1.0, 1.0], [2.0, 2.0], [3.0, 4.0], [2.0, 1e-6]])
    found = results(model, points)
    x, y = points[:, :1], points[:, 1:]
    far = D * (1 - NU**2) * KAPPA
    n = np.arange(1, 400, 2)
    b = n * np.pi / a
    B = -4 * far / (n * np.pi) / (D * b**2 * (3 + NU))
    A = -B * (1 + NU) / (1 - NU)
    wave = np.exp(-b * y) * np.sin(b * x)
    w = (wave * (A + B * b * y)).sum(axis=1) + (1 + NU) * KAPPA * x[:, 0] * (x[:, 0] - a) / 2
    w_xx = -(wave * b**2 * (A + B * b * y)).sum(axis=1)
    w_yy = (wave * b**2 * (A - 2 * B + B * b * y)).sum(axis=1)
    assert found[:, 0] == pytest.approx(w, rel=1e-3)
    inside = slice(0, 4)
    assert found[inside, 1] == pytest.approx(-D * (w_xx + NU * w_yy)[inside], abs=2e-3 * far)
    assert found[inside, 2] == pytest.approx(far - D * (w_yy + NU * w_xx)[inside], abs=2e-3 * far)
    assert abs(found[4, 2]) < 5e-3 * far
    # the layer is a span wide
    assert found[0, 2] < 0.5 * far < 0.9 * far < found[3, 2]


def test_shrinkage_of_a_composite_section_by_hand() -> None:
    """A slab on one girder with full connection, held at its ends: N = EA_eff (eps - eps_0) from
    the plane section alone, uniform along the girder."""
    L, b, e = 10.0, 0.5, 0.6
    plan = grid_plan([0.0, L], [-b / 2, 0.0, b / 2])
    mesh = grid_mesh(plan, order=3, size=0.5)
    section = Section(thickness=T, E=E, poisson=0.0)
    steel = BeamSection(EI=210e9 * 2e-3, GJ=1e3, EA=210e9 * 0.02)
    beam = BeamLine(line="L2", section=steel, eccentricity=e, connection=np.inf)
    supports = tuple(LineSupport(line=c, kind="rigid") for c in ("C1", "C2"))
    model = PlateModel(mesh=mesh, section=section, supports=supports, beams=(beam,))
    shrinks = ImposedStrain(mean=-3e-4)
    F = imposed_load(mesh, section, shrinks, membrane=True)
    U = Stiffness(model).solve(np.pad(F, (0, model.n_dof - len(F)))[:, None], refine=True)[:, 0]
    places = at_points(mesh, np.array([[L / 2, 0.2]]))
    n = membrane_rows(model, places) @ U + held_forces(model, places, shrinks)
    w = (result_rows(model, places) @ U)[0]
    # slab with EA_c, EI_c; beam with EA_s, EI_s; N tension in the slab, -N in the beam:
    # N/EA_c - 3e-4 + N/EA_s = -e kappa', (EI_c + EI_s) kappa' = N e (kappa' = -w'' sagging)
    EA_c, EI_c = E * T * b, E * T**3 / 12 * b
    EA_s, EI_s = 210e9 * 0.02, 210e9 * 2e-3
    N = 3e-4 / (1 / EA_c + 1 / EA_s + e**2 / (EI_c + EI_s))
    assert n[0] * b == pytest.approx(N, rel=3e-3)
    assert w == pytest.approx(N * e / (EI_c + EI_s) * L**2 / 8, rel=3e-3)

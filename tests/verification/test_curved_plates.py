"""Plates with true arcs against closed forms and series: rates, the polygon paradox, equilibrium.

Closed forms: `plate.exact.circular`; polygons: `plate.exact.polygons`.
"""

import numpy as np
import pytest

from plate.arrays import Floats
from plate.exact.circular import RingPlate
from plate.exact.polygons import PolygonPlate
from plate.geometry.curves import circle, polyline
from plate.geometry.outline import outline_plan
from plate.geometry.plan import Plan
from plate.interpolation import shape
from plate.loads.loads import edge_load, patch_loads, pressure
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import Grading, quad_mesh
from plate.model.model import PlateModel
from plate.model.supports import LineSupport
from plate.results.fields import cell_operators
from plate.solver.stiffness import Stiffness
from tests.helpers import shear_rigidity, unit_section
from tests.plate.plans import PLANS, corners_of

NU = 0.2
RADIUS = 1.0


def disc(hole: float = 0.0) -> Plan:
    openings = [circle((0.0, 0.0), 2.0 * hole)] if hole else []
    return outline_plan(circle((0.0, 0.0), 2.0 * RADIUS), openings)


def errors(
    plan: Plan,
    ring: RingPlate,
    *,
    thickness: float,
    thin: bool,
    kind: str,
    hard: bool,
    order: int,
    size: float,
) -> Floats:
    """Largest error of w and root mean square of those of moments over all cells, relative."""
    mesh = quad_mesh(plan, order=order, field=uniform(size))
    section = unit_section(thickness, NU, thin_span=2.0 * RADIUS if thin else None)
    supports = tuple(LineSupport(line=edge, kind=kind, hard=hard) for edge in plan.edges)
    model = PlateModel(mesh=mesh, section=section, supports=supports)
    u = Stiffness(model).solve(pressure(mesh, 1.0)[:, None], refine=True)[:, 0]
    points = np.array([[x, y] for x in (-0.7, 0.1, 0.8) for y in (-0.6, 0.2, 0.7)])
    operators = cell_operators(model, np.arange(mesh.n_cells), points)
    nodes = (3 * mesh.cells[..., None] + np.arange(3)).reshape(mesh.n_cells, -1)
    found = np.einsum("cqkd,cd->cqk", operators, u[nodes])
    x, y = np.moveaxis(shape(order, points) @ mesh.xy[mesh.cells], -1, 0)
    r = np.hypot(x, y)
    c, s = x / r, y / r
    w, m_r, m_t, _ = (part.reshape(r.shape) for part in ring.at(r.ravel()))
    moments = np.stack([c * c * m_r + s * s * m_t, s * s * m_r + c * c * m_t, c * s * (m_r - m_t)])
    off = np.moveaxis(found[..., 1:4], -1, 0) - moments
    return np.array(
        [
            np.abs(found[..., 0] - w).max() / np.abs(w).max(),
            np.sqrt(np.mean(off**2)) / np.abs(m_t).max(),
        ]
    )


def closed_form(thickness: float, thin: bool, kind: str, hole: float = 0.0) -> RingPlate:
    section = unit_section(thickness, NU)
    return RingPlate(
        outer=RADIUS,
        d=1.0,
        poisson=NU,
        edge="clamped" if kind == "clamped" else "simple",
        inner=hole,
        shear_rigidity=np.inf if thin else shear_rigidity(section),
    )


CASES = {
    "soft": (0.1, False, "rigid", False),
    "clamped": (0.1, False, "clamped", False),
    "hard": (0.1, False, "rigid", True),
    "thin": (0.1, True, "rigid", False),
}


@pytest.mark.parametrize(
    ("case", "order", "w_error", "m_error"),
    [
        ("soft", 3, 1e-5, 2e-6),
        ("soft", 2, 3e-4, 2e-3),
        ("clamped", 3, 5e-5, 5e-6),
        ("hard", 3, 1e-5, 2e-5),
        # the thin theory is run with a shear deflection of 4e-6
        ("thin", 3, 2e-5, 5e-5),
    ],
)
def test_circular_plate(case: str, order: int, w_error: float, m_error: float) -> None:
    thickness, thin, kind, hard = CASES[case]
    found = errors(
        disc(),
        closed_form(thickness, thin, kind),
        thickness=thickness,
        thin=thin,
        kind=kind,
        hard=hard,
        order=order,
        size=0.15,
    )
    assert found[0] < w_error
    assert found[1] < m_error


@pytest.mark.slow
@pytest.mark.parametrize(
    ("case", "order", "w_rate", "m_rate"),
    [
        ("soft", 2, 2.5, 1.7),
        ("soft", 3, 2.9, 2.9),
        ("clamped", 2, 2.5, 1.7),
        ("clamped", 3, 2.9, 2.9),
        ("thin", 2, 2.5, 1.8),
        ("thin", 3, 1.5, 2.9),  # w reaches the shear deflection that stands for none
        ("hard", 2, 2.5, 1.7),
        # The tangent of a side of order 3 is wrong by h^3 at its nodes, where the slope is held:
        # half an order is lost.
        ("hard", 3, 2.9, 2.2),
    ],
)
def test_rates_with_arcs_are_those_of_the_element(
    case: str, order: int, w_rate: float, m_rate: float
) -> None:
    """Over two halvings from 54 to 728 cells: moments fall with the order, w with one more; a
    fifth of an order is left to the meshes, which do not nest."""
    thickness, thin, kind, hard = CASES[case]
    ring = closed_form(thickness, thin, kind)
    coarse, fine = (
        errors(
            disc(),
            ring,
            thickness=thickness,
            thin=thin,
            kind=kind,
            hard=hard,
            order=order,
            size=size,
        )
        for size in (0.3, 0.075)
    )
    rates = 0.5 * np.log2(coarse / fine)
    assert rates[0] > w_rate
    assert rates[1] > m_rate


@pytest.mark.parametrize(("thin", "m_error"), [(False, 6e-4), (True, 7e-4)])
def test_annulus(thin: bool, m_error: float) -> None:
    """Free at the inner arc, simply supported at the outer one."""
    found = errors(
        disc(0.4),
        closed_form(0.1, thin, "rigid", 0.4),
        thickness=0.1,
        thin=thin,
        kind="rigid",
        hard=False,
        order=3,
        size=0.15,
    )
    assert found[0] < 8e-5
    assert found[1] < m_error


def polygon(n: int) -> Floats:
    angle = 2.0 * np.pi * np.arange(n) / n
    return RADIUS * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def central_deflection(plan: Plan, corners: Floats, order: int = 3) -> float:
    mesh = quad_mesh(plan, order=order, field=uniform(0.2), grading=Grading({}, corners))
    section = unit_section(0.1, NU, thin_span=2.0 * RADIUS)
    supports = tuple(LineSupport(line=edge, kind="rigid") for edge in plan.edges)
    model = PlateModel(mesh=mesh, section=section, supports=supports)
    u = Stiffness(model).solve(pressure(mesh, 1.0)[:, None])[:, 0]
    _, cells, xi = mesh.locate(np.zeros((1, 2)))
    return float(shape(order, xi[0]) @ u[3 * mesh.cells[cells[0]]])


def test_many_sides_are_no_circle() -> None:
    """Simply supported thin polygons tend to 3 q a^4 / 64 D, the circle has (5 + nu) / (1 + nu)
    (Babuska 1961, in words of any text on the finite element method)."""
    corners = polygon(12)
    found = 64.0 * central_deflection(
        outline_plan(polyline([*corners.tolist(), corners[0].tolist()])), corners
    )
    series = PolygonPlate(
        corners=tuple(complex(x, y) for x, y in corners),
        edges=("simple",) * 12,
        poisson=NU,
        poles=14,
    )
    exact = 64.0 * float(series.solve().at(0.0, 0.0).w)
    # corners of 150 degrees: moments grow with r^-0.8, cells shrink by 0.15 three times
    assert found == pytest.approx(exact, rel=0.02)
    arcs = 64.0 * central_deflection(disc(), np.empty((0, 2)))
    circle_exact = (5.0 + NU) / (1.0 + NU)
    assert arcs == pytest.approx(circle_exact, rel=3e-5)
    assert found < 0.7 * circle_exact


@pytest.mark.parametrize("name", PLANS)
def test_equilibrium_on_odd_plans(name: str) -> None:
    """Reactions, from what the cells carry, balance pressure, a patch and an edge load."""
    plan = PLANS[name]()
    names = [*plan.edges, *(f"opening {k + 1}" for k in range(len(plan.openings)))]
    grading = Grading(dict.fromkeys(names, 0.1), corners_of(plan)[:2])
    mesh = quad_mesh(plan, order=3, field=uniform(0.7), grading=grading)
    supports = tuple(
        LineSupport(line=edge, kind=kind, k=2.0 if kind == "spring" else 0.0)
        for edge, kind in zip(plan.edges, ("rigid", "spring", "clamped"), strict=False)
    )
    model = PlateModel(mesh=mesh, section=unit_section(0.2), supports=supports)
    centre = mesh.plan[mesh.cells[len(mesh.cells) // 2]].mean(axis=0)
    patch = centre + 0.3 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    loads = np.stack(
        [
            pressure(mesh, 1.0),
            patch_loads(mesh, patch[None], np.ones(1), np.array([0]), 1).toarray()[:, 0],
            edge_load(mesh, plan.edges[-1], 1.0),
        ],
        axis=1,
    )
    stiffness = Stiffness(model)
    u = stiffness.solve(loads, refine=True)
    total = sum(stiffness.reactions(u, loads).values())
    np.testing.assert_allclose(total, loads[::3].sum(axis=0), rtol=1e-9)

"""Exact strips of infinite width against the finite elements.

Kirchhoff theory, D = 1. Values are series solutions (Fourier integrals along the supports)
recomputed to five digits: Timoshenko and Woinowsky-Krieger 2nd ed. 1959 arts. 37 and 78 and their
extension to patches; the clamped root moment -0.1670 P under a central load and Jaramillo's
-0.509 P (J. Appl. Mech. 17, 1950) are their published limits, from memory. The width is cut off
three spans from the load, where what is left of it is below exp(-3 pi).
"""

import numpy as np
import pytest

from plate.arrays import Floats
from plate.geometry.plan import grid_plan
from plate.meshing.grid import Band, grid_mesh
from plate.model.model import PlateModel
from plate.model.supports import LineSupport
from plate.solver.stiffness import Stiffness
from tests.helpers import patch, results, unit_section

WITHIN = 5e-3  # of every value, that of prints of three digits
W, M_X, M_Y, Q_X = 0, 1, 2, 4
SS, FIXED = ("rigid", True), ("clamped", False)


def strip(
    stations: tuple[float, ...],
    kinds: tuple[tuple[str, bool] | None, ...],
    poisson: float,
    patches: list[tuple[float, float, float, float]],
    *,
    reach: float = 3.0,
    share: float = 0.5,
) -> PlateModel:
    """A slab across lines at the stations, cut off `reach` spans beyond the patches (x, y, a, b);
    cells over and round patches take that share of a side."""
    span = float(np.diff(stations).max())
    low = min(y for _, y, _, _ in patches) - reach * span
    high = max(y for _, y, _, _ in patches) + reach * span
    plan = grid_plan(stations, (low, high))
    bands_u, bands_y = [], []
    for x, y, a, b in patches:
        for k in (0.5, 1.0):
            bands_u.append(
                Band(max(x - k * a, stations[0]), min(x + k * a, stations[-1]), share * a)
            )
            bands_y.append(Band(y - k * b, y + k * b, share * b))
    mesh = grid_mesh(plan, order=4, size=0.25 * span, bands_u=bands_u, bands_y=bands_y)
    supports = tuple(
        LineSupport(line=f"C{i + 1}", kind=kind[0], hard=kind[1])  # type: ignore[arg-type]
        for i, kind in enumerate(kinds)
        if kind is not None
    )
    return PlateModel(
        mesh=mesh, section=unit_section(0.01, poisson, thin_span=span), supports=supports
    )


def under(
    model: PlateModel,
    loads: list[tuple[tuple[float, float, float, float], float]],
    points: list[tuple[float, float]],
) -> Floats:
    """Results (n, 6) at points under patches with their loads."""
    F = sum(patch(model.mesh, *one, load=load) for one, load in loads)
    U = Stiffness(model).solve(np.asarray(F)[:, None], refine=True)
    return results(model, U[:, 0], points)


# Simply supported, square patch c at mid-span: c, nu, w D / (P L^2), m_x / P, m_y / P.
@pytest.mark.parametrize(
    ("c", "nu", "w", "m_x", "m_y"),
    [
        (0.1, 0.2, 0.016720, 0.30984, 0.24635),
        pytest.param(0.05, 0.15, 0.016889, 0.36374, 0.29614, marks=pytest.mark.slow),
        pytest.param(0.2, 0.0, 0.016180, 0.21594, 0.13724, marks=pytest.mark.slow),
        pytest.param(0.4, 0.3, 0.014574, 0.18448, 0.13127, marks=pytest.mark.slow),
    ],
)
def test_simple_strip_under_a_patch(c: float, nu: float, w: float, m_x: float, m_y: float) -> None:
    one = (0.5, 0.0, c, c)
    found = under(strip((0.0, 1.0), (SS, SS), nu, [one]), [(one, 1.0)], [(0.5, 0.0)])[0]
    np.testing.assert_allclose(found[[W, M_X, M_Y]], (w, m_x, m_y), rtol=WITHIN)
    # Back-figured width P L / 4 / m_x: 0.807 of the span for c = 0.1, nu = 0.2.
    if (c, nu) == (0.1, 0.2):
        assert 0.25 / found[M_X] == pytest.approx(0.8069, rel=WITHIN)


# Both edges clamped: c, w, m_x and m_y at mid-span, m_x at the root; nu = 0.2.
@pytest.mark.parametrize(
    ("c", "w", "m_x", "m_y", "root"),
    [
        (0.2, 0.006619, 0.17309, 0.13937, -0.16375),
        pytest.param(0.4, 0.005483, 0.10911, 0.07687, -0.15133, marks=pytest.mark.slow),
    ],
)
def test_clamped_strip_under_a_patch(
    c: float, w: float, m_x: float, m_y: float, root: float
) -> None:
    one = (0.5, 0.0, c, c)
    model = strip((0.0, 1.0), (FIXED, FIXED), 0.2, [one])
    found = under(model, [(one, 1.0)], [(0.5, 0.0), (0.0, 0.0)])
    np.testing.assert_allclose(found[0, [W, M_X, M_Y]], (w, m_x, m_y), rtol=WITHIN)
    assert found[1, M_X] == pytest.approx(root, rel=WITHIN)


# Equal spans on line supports, patch 0.2 x 0.2 at the middle of a span, nu = 0.2: number of spans,
# loaded one, m_x and m_y under the load, m_x over the inner supports.
@pytest.mark.parametrize(
    ("spans", "loaded", "m_x", "m_y", "supports"),
    [
        (3, 2, 0.20217, 0.15730, (-0.09152, -0.09152)),
        pytest.param(2, 1, 0.21842, 0.16709, (-0.10480,), marks=pytest.mark.slow),
        pytest.param(3, 1, 0.21718, 0.16667, (-0.10808, 0.01656), marks=pytest.mark.slow),
        pytest.param(
            5, 3, 0.20054, 0.15673, (0.01375, -0.09373, -0.09373, 0.01375), marks=pytest.mark.slow
        ),
    ],
)
def test_continuous_slab(
    spans: int, loaded: int, m_x: float, m_y: float, supports: tuple[float, ...]
) -> None:
    one = (loaded - 0.5, 0.0, 0.2, 0.2)
    stations = tuple(float(i) for i in range(spans + 1))
    model = strip(stations, (SS,) * (spans + 1), 0.2, [one])
    points = [(one[0], 0.0), *((s, 0.0) for s in stations[1:-1])]
    found = under(model, [(one, 1.0)], points)
    np.testing.assert_allclose(found[0, [M_X, M_Y]], (m_x, m_y), rtol=WITHIN)
    # Of the largest support moment: far supports feel a sixth of it.
    largest = max(abs(v) for v in supports)
    np.testing.assert_allclose(found[1:, M_X], supports, atol=WITHIN * largest)


# Cantilever, square patch with its outer side on the free edge: nu, c, root moment / P, tip w.
@pytest.mark.parametrize(
    ("nu", "c", "root", "tip"),
    [
        (0.2, 0.2, -0.45888, 0.13151),
        pytest.param(0.2, 0.4, -0.42539, None, marks=pytest.mark.slow),
        pytest.param(0.3, 0.2, -0.47228, None, marks=pytest.mark.slow),
    ],
)
def test_cantilever_slab(nu: float, c: float, root: float, tip: float | None) -> None:
    one = (1.0 - 0.5 * c, 0.0, c, c)
    # A cantilever's edge disturbance dies away twice as slowly: exp(-1.5 y) of its length.
    model = strip((0.0, 1.0), (FIXED, None), nu, [one], reach=7.0)
    found = under(model, [(one, 1.0)], [(0.0, 0.0), (1.0, 0.0)])
    assert found[0, M_X] == pytest.approx(root, rel=WITHIN)
    if tip is not None:
        assert found[1, W] == pytest.approx(tip, rel=WITHIN)


# Peak shear at a line support, patch c x c at xi of the span, nu = 0.2, P = L = 1.
@pytest.mark.parametrize(
    ("kind", "c", "xi", "q"),
    [
        (FIXED, 0.2, 0.3, 1.8741),
        pytest.param(FIXED, 0.2, 0.5, 0.90369, marks=pytest.mark.slow),
        pytest.param(SS, 0.2, 0.2, 1.5143, marks=pytest.mark.slow),
        pytest.param(SS, 0.2, 0.5, 0.49973, marks=pytest.mark.slow),
    ],
)
def test_support_shear(kind: tuple[str, bool], c: float, xi: float, q: float) -> None:
    one = (xi, 0.0, c, c)
    model = strip((0.0, 1.0), (kind, kind), 0.2, [one], share=0.25)
    found = under(model, [(one, 1.0)], [(0.0, 0.0)])[0]
    assert found[Q_X] == pytest.approx(q, rel=WITHIN)


SPREAD = 0.41  # two surfacings of 80 mm and a slab of 250 mm, at 45 degrees to mid-depth


# Wheels of EN 1991-2 on a strip whose span lies across traffic, nu = 0.2, kNm/m: span, edges,
# whether spread, then m_x, m_y under the load and m_x at the root.
@pytest.mark.parametrize(
    ("L", "kind", "spread", "m_x", "m_y", "root"),
    [
        (3.0, SS, True, 47.541, 24.179, None),
        pytest.param(3.0, SS, False, 58.059, 33.896, None, marks=pytest.mark.slow),
        pytest.param(4.0, FIXED, True, 35.772, 20.425, -38.956, marks=pytest.mark.slow),
        pytest.param(4.0, FIXED, False, 46.005, 30.029, -39.563, marks=pytest.mark.slow),
    ],
)
def test_two_wheels_of_lm1(
    L: float, kind: tuple[str, bool], spread: bool, m_x: float, m_y: float, root: float | None
) -> None:
    side = 0.40 + (SPREAD if spread else 0.0)
    wheels = [(0.5 * L, y, side, side) for y in (0.0, 1.2)]
    model = strip((0.0, L), (kind, kind), 0.2, wheels, reach=2.5)
    found = under(model, [(one, 150.0) for one in wheels], [(0.5 * L, 0.0), (0.0, 0.0)])
    np.testing.assert_allclose(found[0, [M_X, M_Y]], (m_x, m_y), rtol=WITHIN)
    if root is not None:
        assert found[1, M_X] == pytest.approx(root, rel=WITHIN)


@pytest.mark.parametrize(
    ("L", "kind", "spread", "m_x", "m_y", "root"),
    [
        (3.0, FIXED, True, 26.385, 21.608, -32.143),
        pytest.param(4.0, SS, False, 56.686, 47.763, None, marks=pytest.mark.slow),
    ],
)
def test_one_wheel_of_lm2(
    L: float, kind: tuple[str, bool], spread: bool, m_x: float, m_y: float, root: float | None
) -> None:
    more = SPREAD if spread else 0.0
    one = (0.5 * L, 0.0, 0.60 + more, 0.35 + more)
    model = strip((0.0, L), (kind, kind), 0.2, [one])
    found = under(model, [(one, 200.0)], [(0.5 * L, 0.0), (0.0, 0.0)])
    np.testing.assert_allclose(found[0, [M_X, M_Y]], (m_x, m_y), rtol=WITHIN)
    if root is not None:
        assert found[1, M_X] == pytest.approx(root, rel=WITHIN)


# One 16 kip wheel and one axle (wheels 6 ft apart) on five equal spans, first wheel and section at
# 0.4 of the end span, nu = 0.2, tyre 20 in along the span by 10 in, grown by the 8 in deck or not;
# kip ft / ft.
@pytest.mark.parametrize(
    ("S", "grow", "wheel", "axle"),
    [
        (8.0, True, 3.128, 2.960),
        pytest.param(6.0, False, 3.271, 3.012, marks=pytest.mark.slow),
        pytest.param(8.0, False, 3.712, 3.535, marks=pytest.mark.slow),
        pytest.param(12.0, True, 3.751, 3.961, marks=pytest.mark.slow),
    ],
)
def test_wheels_on_a_deck_over_five_spans(S: float, grow: bool, wheel: float, axle: float) -> None:
    more = 8.0 / 12.0 if grow else 0.0
    first, second = ((x, 0.0, 20 / 12 + more, 10 / 12 + more) for x in (0.4 * S, 0.4 * S + 6.0))
    stations = tuple(S * i for i in range(6))
    model = strip(stations, (SS,) * 6, 0.2, [first, second], reach=2.5)
    alone = under(model, [(first, 16.0)], [(0.4 * S, 0.0)])[0, M_X]
    both = under(model, [(first, 16.0), (second, 16.0)], [(0.4 * S, 0.0)])[0, M_X]
    assert alone == pytest.approx(wheel, rel=WITHIN)
    assert both == pytest.approx(axle, rel=WITHIN)

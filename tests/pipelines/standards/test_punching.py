"""Control perimeters in closed form, a hand example, and the least of the shapes at edges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.errors import MethodRangeError
from pipelines.standards.materials import KSI, Materials, materials
from pipelines.standards.resistance.punching import SHAPES, MatAtPunching, perimeter, punching

EN = materials("C35/45", "B500B", "EN 1992")
IRC = materials("M35", "Fe 500", "IRC:112")
AASHTO = materials("4 ksi", "Grade 60", "AASHTO LRFD")
STANDARDS = pytest.mark.parametrize("mat", [EN, IRC, AASHTO], ids=lambda mat: mat.standard)
BARS = MatAtPunching(0.21, 0.19, 0.0016, 0.0012)


@pytest.mark.parametrize(
    ("c_x", "c_y", "d", "u_mm"),
    [(0.4, 0.4, 0.2, 4113.27), (0.4, 0.4, 0.25, 4741.59), (0.6, 0.35, 0.2, 4413.27)],
)
def test_perimeters_at_2d(c_x: float, c_y: float, d: float, u_mm: float) -> None:
    found = perimeter(c_x, c_y, 2 * d)
    assert_allclose(found.length * 1e3, u_mm, atol=5e-3)  # 2 (c_x + c_y) + 4 pi d to two decimals
    assert SHAPES[found.shape] == "interior"


def test_shapes_by_hand() -> None:
    """c 0.4 x 0.3, r = 0.4; edges 0.1 along x, 0.2 along y, one by one and both."""
    inf = np.inf
    found = perimeter(0.4, 0.3, 0.4, [inf, 0.1, inf, 0.1], [inf, inf, 0.2, 0.2])
    quarter = np.pi / 2 * 0.4
    assert_allclose(
        found.length,
        [
            1.4 + 4 * quarter,
            0.3 + 2 * 0.5 + 2 * quarter,
            0.4 + 2 * 0.5 + 2 * quarter,
            0.7 + 0.3 + quarter,
        ],
        rtol=1e-12,
    )
    assert list(SHAPES[found.shape]) == ["interior", "edge across x", "edge across y", "corner"]


def test_straight_corners() -> None:
    assert_allclose(perimeter(0.4, 0.3, 0.1, corners="straight").length, 2 * 0.7 + 8 * 0.1)


@settings(max_examples=60, deadline=None)
@given(e_x=st.floats(0, 3), e_y=st.floats(0, 3), nearer=st.floats(0, 1), r=st.floats(0.05, 0.6))
def test_an_edge_never_lengthens_the_perimeter(
    e_x: float, e_y: float, nearer: float, r: float
) -> None:
    free, edge = perimeter(0.4, 0.3, r), perimeter(0.4, 0.3, r, e_x, e_y)
    near = perimeter(0.4, 0.3, r, e_x * nearer, e_y)
    assert near.length <= edge.length <= free.length


def test_hand_example_en_1992() -> None:
    """150 kN x 1.35 on 0.4 x 0.4, d = 200: rho = sqrt(0.00761905 x 0.00631579) = 0.0069369."""
    found = punching(1.35 * 150e3, 0.4, 0.4, EN, BARS)
    v_Ed = 202.5e3 / (4113.274 * 200)
    v_Rd = 0.12 * 2.0 * (100 * 0.0069369 * 35) ** (1 / 3)
    assert_allclose(found.v_Ed / 1e6, v_Ed, rtol=1e-6)
    assert_allclose(found.v_Rd / 1e6, v_Rd, rtol=1e-5)
    assert_allclose(found.utilisation, v_Ed / v_Rd, rtol=1e-5)
    assert not found.near_edge


def test_crushing_at_the_loaded_area_may_govern() -> None:
    """A small contact: 0.4 nu f_cd on u_0 = 4 x 50 mm, nu = 0.6 (1 - 35/250)."""
    found = punching(300e3, 0.05, 0.05, EN, BARS)
    limit = 0.4 * 0.6 * 0.86 * 19.83333e6
    assert_allclose(found.utilisation, 300e3 / (0.2 * 0.2) / limit, rtol=1e-6)
    assert found.utilisation > found.v_Ed / found.v_Rd


def test_hand_example_aashto() -> None:
    """d_v = 0.9 x 200; b_o = 2 (0.51 + 0.25) + 4 d_v; stress 0.063 + 0.126 x 0.25/0.51."""
    found = punching(100e3, 0.25, 0.51, AASHTO, BARS)
    d_v = 0.18
    stress = 0.9 * (0.063 + 0.126 * 0.25 / 0.51) * 2.0 * KSI
    b_o = 2 * 0.76 + 4 * d_v
    assert_allclose(found.u, b_o, rtol=1e-12)
    assert_allclose(found.utilisation, 100e3 / (stress * b_o * d_v), rtol=1e-9)
    square = punching(100e3, 0.3, 0.3, AASHTO, BARS)
    assert_allclose(square.v_Rd, 0.9 * 0.126 * 2.0 * KSI, rtol=1e-12)


def test_irc_takes_80_rho_on_cubes() -> None:
    found = punching(100e3, 0.4, 0.4, IRC, BARS)
    assert_allclose(found.v_Rd / 1e6, 0.12 * 2 * (80 * 0.0069369 * 35) ** 0.33, rtol=1e-5)


def test_wheel_at_edge_and_corner() -> None:
    found = punching(
        100e3, 0.4, 0.4, EN, BARS, edge_x=[np.inf, 0.1, 0.1], edge_y=[np.inf, np.inf, 0.15]
    )
    assert list(SHAPES[found.shape]) == ["interior", "edge across x", "corner"]
    assert list(found.near_edge) == [False, True, True]
    assert np.all(np.diff(found.utilisation) > 0)
    # u_0 with d = 0.2: 1.6; 0.4 + 3 x 0.2 < 0.4 + 0.8; 0.6 < 0.8
    assert_allclose(found.u_0, [1.6, 1.0, 0.6], rtol=1e-12)


@STANDARDS
@settings(max_examples=40, deadline=None)
@given(
    load=st.floats(1e3, 500e3),
    factor=st.floats(1, 3),
    edge=st.floats(0, 2),
    deeper=st.floats(0, 0.2),
    more=st.floats(1, 2),
)
def test_monotone_in_load_depth_and_steel(
    mat: Materials, load: float, factor: float, edge: float, deeper: float, more: float
) -> None:
    base = punching(load, 0.4, 0.25, mat, BARS, edge).utilisation
    assert_allclose(
        punching(factor * load, 0.4, 0.25, mat, BARS, edge).utilisation, factor * base, rtol=1e-9
    )
    thick = MatAtPunching(0.21 + deeper, 0.19 + deeper, 0.0016, 0.0012)
    assert punching(load, 0.4, 0.25, mat, thick, edge).utilisation <= base * (1 + 1e-9)
    steel = MatAtPunching(0.21, 0.19, 0.0016 * more, 0.0012 * more)
    assert punching(load, 0.4, 0.25, mat, steel, edge).utilisation <= base * (1 + 1e-9)


def test_membrane_tension_lowers_punching() -> None:
    plain, pulled = (punching(100e3, 0.4, 0.4, EN, BARS, sigma_cp=s) for s in (0.0, -2e6))
    assert_allclose(plain.v_Rd - pulled.v_Rd, 0.2e6, rtol=1e-9)  # 0.1 sigma_cp


def test_moment_factor() -> None:
    one, raised = (punching(100e3, 0.4, 0.4, EN, BARS, beta=b).utilisation for b in (1.0, 1.15))
    assert_allclose(raised, 1.15 * one, rtol=1e-12)


def test_a_load_over_the_edge_is_refused() -> None:
    with pytest.raises(MethodRangeError, match="hangs over the free edge"):
        punching(100e3, 0.4, 0.4, EN, BARS, edge_x=-0.05)

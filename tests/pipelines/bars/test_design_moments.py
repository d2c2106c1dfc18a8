"""The rule of Wood (Concrete 2, 1968) and Armer, from memory: by hand, against the yield
condition itself, and its bounds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_allclose, assert_array_equal

from tests.oracles.design_moments import (
    DesignMoments,
    gain,
    layered_forces,
    wood_armer,
    wood_armer_of_envelope,
)

MOMENT = st.floats(-200e3, 200e3, allow_nan=False, allow_subnormal=False)
FIELD = arrays(float, (6, 4), elements=MOMENT)
NORMALS = np.radians(np.arange(0, 180, 0.25))
NAMES = ("bottom_1", "bottom_2", "top_1", "top_2")

BY_HAND = [
    # m_x, m_y, m_xy; bottom x, y; top x, y (kNm/m)
    ((100, 20, 3), (103, 23), (0, 0)),
    ((50, 20, 10), (60, 30), (0, 0)),
    ((50, -5, 10), (60, 5), (0, -7.0)),
    ((-50, 5, 10), (0, 7.0), (-60, -5)),
    ((-40, -30, 20), (0, 0), (-60, -50)),
    ((10, -30, 25), (30.8333333, 0), (-15, -55)),
]


@pytest.mark.parametrize(("m", "bottom", "top"), BY_HAND)
def test_examples_by_hand(
    m: tuple[float, ...], bottom: tuple[float, ...], top: tuple[float, ...]
) -> None:
    out = wood_armer(*m)
    assert_allclose([out.bottom_1, out.bottom_2], bottom, rtol=1e-8, atol=1e-12)
    assert_allclose([out.top_1, out.top_2], top, rtol=1e-8, atol=1e-12)


def test_all_examples_at_once_are_elementwise() -> None:
    m = np.array([row[0] for row in BY_HAND]).T
    out = wood_armer(*m)
    assert_allclose(out.bottom_1, [row[1][0] for row in BY_HAND], rtol=1e-8)
    assert_allclose(out.top_2, [row[2][1] for row in BY_HAND], rtol=1e-8)


def test_skew_agrees_with_the_published_formula_measured_the_other_way() -> None:
    m_x, m_y, m_xy, alpha = 40.0, 30.0, 10.0, np.radians(60)
    cot, sin = 1 / np.tan(alpha), np.sin(alpha)
    twist = abs((m_xy + m_y * cot) / sin)
    out = wood_armer(m_x, m_y, m_xy, np.pi - alpha)
    assert_allclose(out.bottom_1, m_x + 2 * m_xy * cot + m_y * cot**2 + twist, rtol=1e-12)
    assert_allclose(out.bottom_2, m_y / sin**2 + twist, rtol=1e-12)


@settings(max_examples=150, deadline=None)
@given(m=st.tuples(MOMENT, MOMENT, MOMENT), degrees=st.floats(20, 160))
def test_bars_carry_the_moment_on_every_section_and_no_more(
    m: tuple[float, float, float], degrees: float
) -> None:
    """The yield condition itself: a_n = r_1 n_x^2 + r_2 (n.e)^2 >= m_n, with equality somewhere."""
    alpha = np.radians(degrees)
    out = wood_armer(*m, alpha)
    c, s = np.cos(NORMALS), np.sin(NORMALS)
    m_n = m[0] * c**2 + m[1] * s**2 + 2 * m[2] * c * s
    along = np.cos(NORMALS - alpha) ** 2
    bottom = out.bottom_1 * c**2 + out.bottom_2 * along - m_n
    top = m_n - (out.top_1 * c**2 + out.top_2 * along)
    # rounding against the largest term
    scale = np.abs(m).sum() / np.sin(alpha) ** 2 + 1.0
    for spare, r_1, r_2 in ((bottom, out.bottom_1, out.bottom_2), (top, -out.top_1, -out.top_2)):
        assert spare.min() >= -1e-9 * scale
        assert min(r_1, r_2) >= 0
        if max(r_1, r_2) > 0:  # touched within the quarter degree of the normals
            assert spare.min() <= 1e-4 * scale


@settings(max_examples=100, deadline=None)
@given(m=st.tuples(MOMENT, MOMENT, MOMENT), degrees=st.floats(20, 160))
def test_fewer_bars_in_either_direction_fail(m: tuple[float, float, float], degrees: float) -> None:
    alpha = np.radians(degrees)
    out = wood_armer(*m, alpha)
    less = 1e-3 * (np.abs(m).sum() / np.sin(alpha) ** 2 + 1.0)
    e = np.array([np.cos(alpha), np.sin(alpha)])
    acting = np.array([[m[0], m[2]], [m[2], m[1]]])
    for r_1, r_2 in ((out.bottom_1 - less, out.bottom_2), (out.bottom_1, out.bottom_2 - less)):
        if min(r_1, r_2) >= 0:
            spare = np.diag([float(r_1), 0.0]) + r_2 * np.outer(e, e) - acting
            assert np.linalg.eigvalsh(spare)[0] < 0


@settings(max_examples=100, deadline=None)
@given(FIELD, FIELD, FIELD)
def test_each_load_position_never_exceeds_the_enveloped_components(
    m_x: np.ndarray, m_y: np.ndarray, m_xy: np.ndarray
) -> None:
    exact = wood_armer(m_x, m_y, m_xy).enveloped()
    shortcut = wood_armer_of_envelope(m_x, m_y, m_xy)
    assert exact.bottom_1.shape == (4,)
    slack = 1e-9 * 600e3  # rounding of the sums
    assert np.all(exact.bottom_1 <= shortcut.bottom_1 + slack)
    assert np.all(exact.bottom_2 <= shortcut.bottom_2 + slack)
    assert np.all(exact.top_1 >= shortcut.top_1 - slack)
    assert np.all(exact.top_2 >= shortcut.top_2 - slack)
    assert np.all(exact.top_1 <= 0)
    assert np.all(exact.top_2 <= 0)
    for share in gain(exact, shortcut).values():
        assert np.all((share >= -1e-9) & (share <= 1))


def test_gain_of_two_wheel_positions() -> None:
    """Twist and bending peak under different positions: 60 and 65 apart, 100 + 60 together."""
    m_x, m_y, m_xy = np.array([100.0, 5]), np.array([50.0, 5]), np.array([0.0, 60])
    exact = wood_armer(m_x, m_y, m_xy).enveloped()
    shares = gain(exact, wood_armer_of_envelope(m_x, m_y, m_xy))
    assert_allclose(exact.bottom_1, 100.0)
    assert_allclose(shares["bottom_1"], 1 - 100 / 160)
    assert_allclose(shares["bottom_2"], 1 - 65 / 110)
    assert_allclose(shares["top_1"], 0.0, atol=1e-15)  # -55 either way


@settings(max_examples=60, deadline=None)
@given(m=st.tuples(MOMENT, MOMENT, MOMENT))
def test_faces_mirror_each_other(m: tuple[float, float, float]) -> None:
    up, down = wood_armer(*m), wood_armer(*(-v for v in m))
    assert_array_equal(up.top_1, -down.bottom_1)
    assert_array_equal(up.top_2, -down.bottom_2)


@settings(max_examples=60, deadline=None)
@given(m=st.tuples(MOMENT, MOMENT, MOMENT), z=st.floats(0.1, 0.5))
def test_layers_without_membrane_force_are_wood_armer(
    m: tuple[float, float, float], z: float
) -> None:
    layers = (0.4 * z,) * 3, (0.6 * z,) * 3
    forces, moments = layered_forces(m, (0.0, 0.0, 0.0), *layers), wood_armer(*m)
    for name in NAMES:
        # rounding of m/z times z
        assert_allclose(
            getattr(forces, name) * z, np.abs(getattr(moments, name)), rtol=1e-9, atol=1e-6
        )


def test_layers_by_hand() -> None:
    """n/2 +- m/z in kN/m: bottom 150 + 200, top 150 - 200; concrete by equilibrium."""
    out = layered_forces((40.0, 10.0, 5.0), (300.0, 0.0, 0.0), (0.1,) * 3, (0.1,) * 3)
    assert_allclose([out.bottom_1, out.bottom_2], [350 + 25, 50 + 25], rtol=1e-12)
    assert_allclose(out.concrete_bottom, -2 * 25, rtol=1e-12)
    # top: n_x = -50, n_y = -50, n_xy = -25: bars idle, principal -75
    assert_allclose([out.top_1, out.top_2, out.concrete_top], [0, 0, -75], rtol=1e-12, atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(m=st.tuples(MOMENT, MOMENT, MOMENT), n=st.tuples(*3 * [st.floats(-5e5, 5e5)]))
def test_concrete_of_the_layers_is_in_compression_and_in_equilibrium(
    m: tuple[float, float, float], n: tuple[float, float, float]
) -> None:
    z, b, t = 0.2, 0.08, 0.12
    out = layered_forces(m, n, (b,) * 3, (t,) * 3)
    faces = (
        (1, t, out.bottom_1, out.bottom_2, out.concrete_bottom),
        (-1, b, out.top_1, out.top_2, out.concrete_top),
    )
    for sign, other, r_1, r_2, concrete in faces:
        a = [v * other / z + sign * w / z for v, w in zip(n, m, strict=True)]
        left = np.array([[a[0] - r_1, a[2]], [a[2], a[1] - r_2]])
        principal = np.linalg.eigvalsh(left)
        scale = np.abs(a).sum() + 1.0
        assert principal[1] <= 1e-9 * scale  # no tension left to the concrete
        assert_allclose(concrete, principal[0], atol=1e-6 * scale)


def test_layers_at_unequal_distances_by_hand() -> None:
    """EN 1992-2 annex LL (from memory), in kN/m: m 36, n 100, bars 0.08 below mid-depth and the
    compressed concrete 0.10 above it: bottom 100 x 0.10/0.18 + 36/0.18, top 100 x 0.08/0.18 - 200;
    the twist of 9 adds 50 to each bar."""
    out = layered_forces((36.0, 36.0, 9.0), (100.0, 0.0, 0.0), (0.08,) * 3, (0.10,) * 3)
    assert_allclose([out.bottom_1, out.bottom_2], [255.5556 + 50, 200 + 50], rtol=1e-6)
    assert_allclose(out.top_1, 0.0, atol=1e-12)


def test_refusals() -> None:
    with pytest.raises(ValueError, match="equal shapes"):
        wood_armer([1.0, 2.0], 1.0, 1.0)
    with pytest.raises(ValueError, match="outside 15 to 165"):
        wood_armer(1.0, 1.0, 1.0, np.radians(10))
    with pytest.raises(ValueError, match="lever arms must be positive"):
        layered_forces((1.0,) * 3, (0.0,) * 3, (0.1, 0.0, 0.1), (0.1, 0.0, 0.1))


def test_envelope_takes_the_axis() -> None:
    m = DesignMoments(*(np.arange(6.0).reshape(2, 3) * s for s in (1, 1, -1, -1)))
    assert_array_equal(m.enveloped(1).bottom_1, [2, 5])
    assert_array_equal(m.enveloped(1).top_2, [-2, -5])

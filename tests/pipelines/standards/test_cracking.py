"""Cracked stresses by hand and by equilibrium of integrated stresses; crack widths by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.errors import MethodRangeError
from pipelines.standards.factors import FACTORS
from pipelines.standards.resistance.bars import Bars
from pipelines.standards.resistance.bending import Section
from pipelines.standards.resistance.cracking import crack_width, cracked_section, cracked_state

E_S = 200e9
E_C = 200e9 / 15
GAUSS = np.polynomial.legendre.leggauss(3)
A_16_125 = Bars(0.016, 0.125).area


def test_hand_worked_neutral_axis_and_stresses() -> None:
    """n = 15, A_s = 1608.495, d = 222 mm, m = 60 kNm/m: x^2/2 = 15 x 1.608495 (d - x)."""
    k = 15 * 1.608495
    x = -k + np.sqrt(k**2 + 2 * k * 222)  # 82.2 mm
    sigma_s = 60e6 / (1608.495 * (222 - x / 3))
    sigma_c = 2 * 60e6 / (1000 * x * (222 - x / 3))
    state = cracked_state(Section(h=0.270, d=0.222, A_s=A_16_125), 60e3, E_C, E_S)
    assert_allclose(
        [state.x * 1e3, state.sigma_s / 1e6, -state.sigma_c / 1e6],
        [x, sigma_s, sigma_c],
        rtol=1e-6,
    )
    assert state.k_2 == 0.5


def test_uniform_tension_is_shared_by_the_bars() -> None:
    """Both faces 1000 mm2/m at equal depths, n = 200 kN/m: 100 MPa each, no concrete."""
    state = cracked_state(
        Section(h=0.25, d=0.2, A_s=1e-3, d_c=0.05, A_sc=1e-3), 0.0, E_C, E_S, 200e3
    )
    assert_allclose([state.sigma_s, state.sigma_sc], 100e6, rtol=1e-9)
    assert_allclose([state.x, state.sigma_c], 0.0, atol=1e-9)
    assert_allclose(state.k_2, 1.0, rtol=1e-9)


def test_tension_and_moment_without_compressed_concrete_are_n_over_2_plus_m_over_z() -> None:
    state = cracked_state(
        Section(h=0.25, d=0.2, A_s=1e-3, d_c=0.05, A_sc=1e-3), 5e3, E_C, E_S, 200e3
    )
    # 5/0.15 = 33.333 kN/m more at d and less at d_c
    assert_allclose([state.sigma_s / 1e6, state.sigma_sc / 1e6], [133.3333, 66.6667], rtol=1e-6)


def test_no_load_and_no_equilibrium() -> None:
    # beside each other, so that the settled point must not be spoiled by the hopeless one
    state = cracked_state(Section(h=0.25, d=0.2, A_s=1e-3), 0.0, E_C, E_S, np.array([0.0, 100e3]))
    assert state.sigma_s[0] == 0
    assert np.isnan(state.sigma_s[1])
    assert np.isnan(state.x[1])


@settings(max_examples=150, deadline=None)
@given(
    h=st.floats(0.15, 0.6),
    a=st.floats(300e-6, 5000e-6),
    a_c=st.floats(300e-6, 5000e-6),
    m=st.floats(0, 200e3),
    n=st.floats(-1e6, 1e6),
)
def test_stresses_are_in_equilibrium(h: float, a: float, a_c: float, m: float, n: float) -> None:
    """Concrete integrated numerically from the strains that the bars show."""
    d, d_c = h - 0.05, 0.06
    state = cracked_state(Section(h=h, d=d, A_s=a, d_c=d_c, A_sc=a_c), m, E_C, E_S, n)
    slope = (state.sigma_s - state.sigma_sc) / E_S / (d - d_c)
    # the stress is linear on each side of the neutral axis: three Gauss points are exact there
    neutral = np.clip(d_c - state.sigma_sc / E_S / slope, 0.0, h) if slope != 0 else h
    parts = [(0.0, float(neutral)), (float(neutral), h)]
    z = np.concatenate([lo + (GAUSS[0] + 1) / 2 * (hi - lo) for lo, hi in parts])
    weight = np.concatenate([GAUSS[1] * (hi - lo) / 2 for lo, hi in parts])
    stress = np.minimum(E_C * (state.sigma_sc / E_S + slope * (z - d_c)), 0.0)
    force = weight @ stress + a * state.sigma_s + a_c * state.sigma_sc
    moment = (
        weight @ (stress * (z - h / 2))
        + a * state.sigma_s * (d - h / 2)
        + a_c * state.sigma_sc * (d_c - h / 2)
    )
    # the solved's own tolerance, a thousand times
    assert_allclose([force, moment / h], [n, m / h], atol=1e-6 * (abs(n) + m / h) + 1e-6)


@settings(max_examples=60, deadline=None)
@given(m=st.floats(1e3, 200e3), factor=st.floats(1.0, 3.0))
def test_stress_is_proportional_to_load(m: float, factor: float) -> None:
    section = Section(h=0.3, d=0.25, A_s=2e-3, d_c=0.05, A_sc=1e-3)
    one, more = (cracked_state(section, v, E_C, E_S) for v in (m, factor * m))
    assert_allclose(more.sigma_s, factor * one.sigma_s, rtol=1e-8)
    assert_allclose(more.x, one.x, rtol=1e-8)


@pytest.mark.parametrize("moment", [-20e3, 0.0, 1.0, 37e3, 900e3])
def test_a_section_asked_for_again_is_in_the_same_state(moment: float) -> None:
    """Found once under a unit moment and in proportion, against the moment itself."""
    for section in (
        Section(h=0.270, d=0.222, A_s=A_16_125),
        Section(h=0.25, d=0.2, A_s=1e-3, d_c=0.05, A_sc=2e-3),
    ):
        one, other = (f(section, moment, E_C, E_S) for f in (cracked_section, cracked_state))
        for name in ("x", "sigma_c", "sigma_s", "sigma_sc", "k_2"):
            assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-8, err_msg=name)


def test_hand_worked_crack_width() -> None:
    """EN 1992-1-1 7.3.4 in mm and MPa: 16 at 125, cover 40, h 270, f_ctm 3.21, long-term."""
    section = Section(h=0.270, d=0.222, A_s=A_16_125)
    state = cracked_state(section, 60e3, E_C, E_S)
    x, sigma = float(state.x) * 1e3, float(state.sigma_s) / 1e6
    h_c = min(2.5 * 48, (270 - x) / 3, 135)
    rho = 1608.495 / (1000 * h_c)
    s_r = 3.4 * 40 + 0.425 * 0.8 * 0.5 * 16 / rho
    strain = max((sigma - 0.4 * 3.21 / rho * (1 + 15 * rho)) / 200e3, 0.6 * sigma / 200e3)
    found = crack_width(section, state, 0.016, 0.125, 0.040, 3.21e6, E_C, E_S)
    # x 82.149, z 194.62, sigma 191.67, h_c 62.62, s_r 241.9, strain 6.121e-4: w = 0.1481 mm
    assert_allclose(found.s_r_max * 1e3, s_r, rtol=1e-6)
    assert_allclose(found.w * 1e3, s_r * strain, rtol=1e-6)
    assert_allclose(found.w * 1e3, 0.1481, atol=5e-5)
    assert found.source.clause == "7.3.4"


def test_bars_far_apart_crack_wider() -> None:
    """Beyond 5 (c + phi/2) the cracks between the bars are 1.3 (h - x) apart at most."""
    section = Section(h=0.270, d=0.222, A_s=A_16_125)
    state = cracked_state(section, 60e3, E_C, E_S)
    near, far = (
        crack_width(section, state, 0.016, s, 0.040, 3.21e6, E_C, E_S) for s in (0.239, 0.241)
    )
    assert_allclose(near.s_r_max, 0.136 + 0.34 * 0.5 * 0.016 / near.rho_eff, rtol=1e-12)
    assert_allclose(far.s_r_max, 1.3 * (0.270 - state.x), rtol=1e-12)
    assert far.w > near.w


@settings(max_examples=60, deadline=None)
@given(m=st.floats(1e3, 150e3), more=st.floats(0, 50e3), k_t=st.sampled_from([0.4, 0.6]))
def test_crack_width_is_monotone_in_load(m: float, more: float, k_t: float) -> None:
    section = Section(h=0.27, d=0.22, A_s=2e-3)
    widths = [
        crack_width(
            section, cracked_state(section, v, E_C, E_S), 0.016, 0.1, 0.04, 3e6, E_C, E_S, k_t=k_t
        ).w
        for v in (m, m + more)
    ]
    assert widths[1] >= widths[0] * (1 - 1e-9)


def test_membrane_tension_opens_cracks() -> None:
    section = Section(h=0.25, d=0.2, A_s=1.5e-3, d_c=0.05, A_sc=1.5e-3)
    states = [cracked_state(section, 10e3, E_C, E_S, n) for n in (0.0, 400e3)]
    plain, pulled = (
        crack_width(section, s, 0.016, 0.1, 0.04, 3e6, E_C, E_S, FACTORS["IRC:112"]) for s in states
    )
    assert pulled.w > plain.w
    assert states[1].k_2 > 0.5
    # h/2 = 125 = 2.5 x 50 is the effective depth of a wholly tensile section
    assert_allclose(pulled.rho_eff, 1.5e-3 / 0.125, rtol=1e-12)


def test_aashto_has_no_crack_width() -> None:
    section = Section(h=0.27, d=0.22, A_s=2e-3)
    state = cracked_state(section, 10e3, E_C, E_S)
    with pytest.raises(MethodRangeError, match="its spacing rule applies"):
        crack_width(section, state, 0.016, 0.1, 0.04, 3e6, E_C, E_S, FACTORS["AASHTO LRFD"])

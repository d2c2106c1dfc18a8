"""One-way shear: evaluated digits, hand examples, and that remedies never lower a resistance."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.errors import MethodRangeError
from pipelines.standards.materials import KSI, Materials, grade_ladder, materials
from pipelines.standards.resistance.bending import Section, utilisation
from pipelines.standards.resistance.shear import (
    beta_resistance,
    near_support_factor,
    one_way_resistance,
    principal_shear,
    strut_limit,
    v_Rd_c,
)
from tests.oracles.means import means_over_widths

EN = materials("C35/45", "B500B", "EN 1992")
IRC = materials("M35", "Fe 500", "IRC:112")
AASHTO = materials("4 ksi", "Grade 60", "AASHTO LRFD")
STANDARDS = pytest.mark.parametrize("mat", [EN, IRC, AASHTO], ids=lambda mat: mat.standard)


@pytest.mark.parametrize(
    ("d", "grade", "rho", "steel"),
    [
        (0.200, "C30/37", 0.005, 0.5919),
        (0.200, "C35/45", 0.010, 0.7851),
        (0.250, "C35/45", 0.008, 0.6903),
        (0.250, "C40/50", 0.012, 0.8262),
    ],
)
def test_evaluated_digits_of_en_1992(d: float, grade: str, rho: float, steel: float) -> None:
    mat = materials(grade, "B500B", "EN 1992")
    found = v_Rd_c(Section(h=d + 0.05, d=d, A_s=rho * d), mat)
    assert_allclose(found.v_Rd / d / 1e6, steel, atol=5e-5)  # evaluated to four digits
    assert not found.least_governs
    assert found.source.clause == "6.2.2(1)"


@pytest.mark.parametrize(
    ("d", "grade", "least"),
    [
        (0.200, "C30/37", 0.5422),
        (0.200, "C35/45", 0.5857),
        (0.250, "C35/45", 0.5399),
        (0.250, "C40/50", 0.5772),
    ],
)
def test_least_value_of_en_1992(d: float, grade: str, least: float) -> None:
    found = v_Rd_c(Section(h=d + 0.05, d=d, A_s=1e-5), materials(grade, "B500B", "EN 1992"))
    assert_allclose(found.v_Rd / d / 1e6, least, atol=5e-5)
    assert found.least_governs


def test_size_factor_stops_at_two() -> None:
    found = v_Rd_c(Section(h=0.2, d=0.15, A_s=0.01 * 0.15), EN)
    assert_allclose(found.v_Rd / 0.15e6, 0.12 * 2.0 * 35 ** (1 / 3), rtol=1e-9)


def test_irc_by_hand() -> None:
    """K = 1 + sqrt(200/250); 0.12 K (80 x 0.008 x 35)^0.33; least 0.031 K^1.5 sqrt(35)."""
    k = 1.894427
    found = v_Rd_c(Section(h=0.3, d=np.full(2, 0.25), A_s=np.array([0.002, 1e-5])), IRC)
    assert_allclose(found.v_Rd[0] / 0.25e6, 0.12 * k * 22.4**0.33, rtol=1e-6)
    assert_allclose(found.v_Rd[1] / 0.25e6, 0.031 * k**1.5 * 35**0.5, rtol=1e-6)
    # the cube strength fed to the cylinder formula would give 8 % too much
    assert found.v_Rd[0] < 0.94 * v_Rd_c(Section(h=0.3, d=0.25, A_s=0.002), EN).v_Rd


def test_membrane_force_of_en_1992() -> None:
    """0.15 sigma_cp d: 300 kN/m on 300 mm is 1 MPa, 37.5 kN/m on d = 250 mm."""
    pulled, plain, pressed = v_Rd_c(
        Section(h=0.3, d=0.25, A_s=0.002), EN, np.array([300e3, 0, -300e3])
    ).v_Rd
    assert_allclose([plain - pulled, pressed - plain], 37.5e3, rtol=1e-9)
    # compression counts up to 0.2 f_cd only; tension to zero resistance
    most = v_Rd_c(Section(h=0.3, d=0.25, A_s=0.002), EN, np.array([-1e9, 1e9])).v_Rd
    assert_allclose(most, [plain + 0.15 * 0.2 * EN.f_cd * 0.25, 0.0], rtol=1e-9)


def test_aashto_general_method_by_hand() -> None:
    """In kip and inches: d = 9, h = 11, A_s = 0.8 in2/ft, V = 10, M = 30 kip ft per foot."""
    inch, kip = 0.0254, 4448.2216
    foot = 12 * inch
    d_v = max(0.9 * 9, 0.72 * 11)
    strain = (30 * 12 / d_v + 10) / (29e3 * 0.8)
    s_xe = max(d_v * 1.38 / (0.75 + 0.63), 12.0)
    beta = 4.8 / (1 + 750 * strain) * 51 / (39 + s_xe)
    expected = 0.9 * 0.0316 * beta * 2.0 * 12 * d_v
    section = Section(h=11 * inch, d=9 * inch, A_s=0.8 * inch**2 / foot)
    steel = replace(AASHTO.steel, E_s=29e3 * KSI)
    mat = Materials(AASHTO.concrete, steel, AASHTO.factors)
    found = beta_resistance(section, mat, 10 * kip / foot, 30 * kip, 0.0, 0.75 * inch)
    assert_allclose(found.v_Rd / (kip / foot), expected, rtol=1e-6)


def test_aashto_least_moment_is_v_d_v() -> None:
    section = Section(h=0.28, d=0.23, A_s=0.0017)
    d_v = 0.9 * 0.23
    small, at_least = (beta_resistance(section, AASHTO, 100e3, m).v_Rd for m in (0.0, 100e3 * d_v))
    assert_allclose(small, at_least, rtol=1e-12)
    assert beta_resistance(section, AASHTO, 100e3, 40e3).v_Rd < small
    # membrane tension strains the bars too
    assert beta_resistance(section, AASHTO, 100e3, 40e3, 200e3).v_Rd < (
        beta_resistance(section, AASHTO, 100e3, 40e3).v_Rd
    )


def test_aashto_deep_sections_without_links_crack_wider() -> None:
    """s_xe = d_v 1.38/(0.75 + 0.63) from 12 in on: beta falls by 51/(39 + s_xe)."""
    inch = 0.0254
    deep = beta_resistance(
        Section(h=40 * inch, d=30 * inch, A_s=1e-3), AASHTO, 1.0, 0.0, 0.0, 0.75 * inch
    )
    d_v = 28.8  # 0.72 x 40 exceeds 0.9 x 30
    beta = 4.8 * 51 / (39 + d_v)
    assert_allclose(deep.v_Rd, 0.9 * 0.0316 * beta * 2 * KSI * d_v * inch, rtol=1e-4)


def test_methods_stay_with_their_standard() -> None:
    section = Section(h=0.28, d=0.23, A_s=0.001)
    with pytest.raises(MethodRangeError, match="beta method, which needs m and v"):
        v_Rd_c(section, AASHTO)
    with pytest.raises(MethodRangeError, match="not EN 1992's"):
        beta_resistance(section, EN, 1.0, 1.0)
    with pytest.raises(MethodRangeError, match="no reduction of shear"):
        strut_limit(section, AASHTO)


GRADES = {mat.standard: grade_ladder(mat.standard) for mat in (EN, IRC, AASHTO)}


@STANDARDS
@settings(max_examples=60, deadline=None)
@given(
    h=st.floats(0.15, 0.8),
    axis=st.floats(0.03, 0.07),
    a=st.floats(100e-6, 10000e-6),
    v=st.floats(1e3, 400e3),
    m=st.floats(0, 300e3),
    step=st.floats(0.001, 0.3),
    rung=st.integers(0, 8),
)
def test_remedies_never_lower_the_resistance(
    mat: Materials, h: float, axis: float, a: float, v: float, m: float, step: float, rung: int
) -> None:
    """Thickness, grade and longitudinal steel: never lower, though they need not raise it."""
    weak, strong = (replace(mat, concrete=GRADES[mat.standard][i]) for i in (rung, rung + 1))

    def resistance(h: float, a: float, grade: Materials) -> float:
        return float(one_way_resistance(Section(h=h, d=h - axis, A_s=a), grade, v, m).v_Rd)

    floor = resistance(h, a, weak) * (1 - 1e-12)
    assert resistance(h + step, a, weak) >= floor
    assert resistance(h, a * (1 + step), weak) >= floor
    assert resistance(h, a, strong) >= floor


def test_longitudinal_steel_need_not_raise_it() -> None:
    rho = np.array([0.0005, 0.001, 0.02, 0.03])
    v = v_Rd_c(Section(h=0.3, d=0.25, A_s=0.25 * rho), EN).v_Rd
    assert_allclose(v[1], v[0], rtol=1e-12)  # the least value governs
    assert_allclose(v[3], v[2], rtol=1e-12)  # beyond 2 %
    assert v[2] > v[1]


@STANDARDS
@settings(max_examples=40, deadline=None)
@given(v=st.floats(1e3, 400e3), m=st.floats(0, 200e3), factor=st.floats(1.0, 3.0))
def test_utilisation_is_monotone_in_load(mat: Materials, v: float, m: float, factor: float) -> None:
    section = Section(h=0.28, d=0.23, A_s=0.0017)
    one, more = (
        utilisation(f * v, one_way_resistance(section, mat, f * v, f * m).v_Rd)
        for f in (1.0, factor)
    )
    assert more >= one * factor * (1 - 1e-12)  # AASHTO: the resistance falls besides


@pytest.mark.parametrize(
    ("a_v", "share"), [(0.0, 0.25), (0.1, 0.25), (0.2, 0.5), (0.4, 1.0), (2.0, 1.0)]
)
def test_load_near_support(a_v: float, share: float) -> None:
    assert_allclose(near_support_factor(a_v, 0.2), share, rtol=1e-12)


def test_strut_limit_by_hand() -> None:
    # 0.5 x 250 mm x 0.6 (1 - 35/250) x 19.8333; IRC: 310, f_cd 15.6333
    section = Section(h=0.3, d=0.25, A_s=0.002)
    assert_allclose(strut_limit(section, EN) / 1e3, 125 * 0.6 * 0.86 * 19.83333, rtol=1e-6)
    assert_allclose(
        strut_limit(section, IRC) / 1e3, 125 * 0.6 * (1 - 35 / 310) * 15.63333, rtol=1e-6
    )


def test_principal_shear_and_what_lies_along_it() -> None:
    shear = principal_shear(np.array([30.0, 0, -40]), np.array([40.0, 50, 0]))
    assert_allclose(shear.v, [50, 50, 40])
    # cos^2 = 0.36, 0, 1
    assert_allclose(shear.along(1000e-6, 500e-6), [680e-6, 500e-6, 1000e-6], rtol=1e-12)
    assert_allclose(np.degrees(shear.angle), [53.130102, 90, 180], rtol=1e-7)


def test_means_of_a_triangle() -> None:
    """Peak 200 at the centre, zero 1 m away: the mean over w <= 2 is 200 (1 - w/4)."""
    s = np.array([-2.0, -1, 0, 1, 2])
    v = np.array([0, 0, 200.0, 0, 0])
    widths = np.array([0.001, 0.5, 1.0, 2.0, 4.0])
    means = means_over_widths(s, np.stack([v, 2 * v]), 0.0, widths)
    expected = np.array([199.95, 175, 150, 100, 50])
    assert_allclose(means, [expected, 2 * expected], rtol=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    values=st.lists(st.floats(-100, 100), min_size=6, max_size=6),
    centre=st.floats(1.5, 3.5),
    width=st.floats(0.05, 2.5),
)
def test_means_against_fine_sampling(values: list[float], centre: float, width: float) -> None:
    s = np.array([0.0, 0.7, 1.9, 2.3, 4.0, 5.0])
    fine = centre + width * ((np.arange(20000) + 0.5) / 20000 - 0.5)
    found = means_over_widths(s, values, centre, width)
    assert_allclose(found, [np.interp(fine, s, values).mean()], atol=1e-3)


def test_a_width_beyond_the_section_is_refused() -> None:
    with pytest.raises(MethodRangeError, match="leaves the section 0 to 2"):
        means_over_widths([0.0, 1.0, 2.0], [1.0, 1.0, 1.0], 0.4, 1.0)

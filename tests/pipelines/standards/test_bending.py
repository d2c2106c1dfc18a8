"""Bending capacity by hand in mm and MPa, by integration of strains, and its properties."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from pipelines.standards.materials import Materials, materials
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, Mat, SlabBars
from pipelines.standards.resistance.bending import (
    Section,
    capacity,
    layer_section,
    order_cost,
    required_steel,
    utilisation,
)

EN = materials("C35/45", "B500B", "EN 1992")
IRC = materials("M35", "Fe 500", "IRC:112")
AASHTO = materials("5 ksi", "Grade 60", "AASHTO LRFD")
STANDARDS = pytest.mark.parametrize("mat", [EN, IRC, AASHTO], ids=lambda mat: mat.standard)
A_16_125 = Bars(0.016, 0.125).area

DEPTH = st.floats(0.10, 0.60)
STEEL = st.floats(200e-6, 6000e-6)


@pytest.mark.parametrize(
    ("mat", "m_Rd"),
    [
        # A_s f_yd = 1608.495 x 434.783 = 699.346 kN/m; a = 699.346/19.8333 = 35.261 mm
        (EN, 0.699346 * (222 - 35.261 / 2)),
        # the same force on 0.67 x 35/1.5 = 15.6333 MPa: a = 44.734 mm
        (IRC, 0.699346 * (222 - 44.734 / 2)),
        # 0.9 x 1608.495 x 413.685 = 0.9 x 665.411 kN/m; a = 665.411/(0.85 x 34.4738) = 22.708 mm
        (AASHTO, 0.9 * 0.665411 * (222 - 22.708 / 2)),
    ],
    ids=["EN", "IRC", "AASHTO"],
)
def test_hand_worked_capacity(mat: Materials, m_Rd: float) -> None:
    found = capacity(Section(h=0.270, d=0.222, A_s=A_16_125), mat)
    assert_allclose(found.m_Rd / 1e3, m_Rd, rtol=2e-6)  # six digits in the hand values
    assert found.source.mark == "from memory"


def test_hand_worked_required_steel() -> None:
    # m = 100 kNm/m, d = 222 mm: a = 222 - sqrt(222^2 - 2 x 100e3/19.8333) = 24.0196 mm
    a = 222 - np.sqrt(222**2 - 2 * 100e3 / 19.83333)
    steel = required_steel(100e3, Section(h=0.270, d=0.222, A_s=0.0), EN)
    assert_allclose(steel * 1e6, a * 19.83333 / 434.7826 * 1e3, rtol=1e-6)


def test_over_reinforced_section_in_which_steel_does_not_yield() -> None:
    """A_s E_s eps_cu (d - x)/x = 0.8 x f_cd is a quadratic in x; here by its roots."""
    a, d = 12000e-6, 0.150
    c = 0.8 * EN.f_cd
    k = a * 200e9 * 3.5e-3
    x = (-k + np.sqrt(k**2 + 4 * c * k * d)) / (2 * c)
    found = capacity(Section(h=0.2, d=d, A_s=a), EN)
    assert found.strain < EN.yield_strain
    assert_allclose(found.x, x, rtol=1e-9)
    assert_allclose(found.m_Rd, c * x * (d - 0.4 * x), rtol=1e-9)


def test_aashto_factor_between_yield_and_ductile_strain() -> None:
    ends = capacity(Section(h=0.3, d=0.2, A_s=np.array([1000e-6, 5200e-6, 20000e-6])), AASHTO)
    strain = ends.strain[1]
    assert 413.685 / 200e3 < strain < 0.005
    expected = 0.75 + 0.15 * (strain - 413.685 / 200e3) / (0.005 - 413.685 / 200e3)
    assert_allclose(ends.phi, [0.9, expected, 0.75], rtol=1e-6)


@STANDARDS
@settings(max_examples=40, deadline=None)
@given(d=DEPTH, a=STEEL, share=st.floats(0.0, 1.0), top=st.floats(0.03, 0.06))
def test_capacity_against_strains_solved_another_way(
    mat: Materials, d: float, a: float, share: float, top: float
) -> None:
    """Equilibrium found by a root finder; the moment taken about the compressed face."""
    block, f_yd = mat.block, mat.f_yd

    def forces(x: float) -> tuple[float, float, float]:
        tension = a * min(200e9 * block.eps_cu * (d - x) / x, f_yd)
        bar = min(200e9 * block.eps_cu * (x - top) / x, f_yd) - block.stress
        return block.depth_ratio * x * block.stress, share * a * max(bar, 0.0), tension

    x = brentq(lambda x: forces(x)[0] + forces(x)[1] - forces(x)[2], 1e-6, d, xtol=1e-14)
    concrete, bar, tension = forces(x)
    moment = tension * d - bar * top - concrete * block.depth_ratio * x / 2
    alone = capacity(Section(h=d + 0.05, d=d, A_s=a), mat)
    found = capacity(Section(h=d + 0.05, d=d, A_s=a, d_c=top, A_sc=share * a), mat)
    if found.m_Rd > alone.m_Rd or share == 0:
        assert_allclose(found.m_Rd, found.phi * moment, rtol=1e-7)
    else:  # the bars would lower it: they are left out
        strain = block.eps_cu * (d - x) / x
        assert moment <= alone.m_Rd / alone.phi * (1 + 1e-9) or strain < mat.ductile_strain


@STANDARDS
@settings(max_examples=40, deadline=None)
@given(d=DEPTH, m=st.floats(1e3, 400e3))
def test_required_steel_resists_exactly(mat: Materials, d: float, m: float) -> None:
    steel = required_steel(m, Section(h=d + 0.05, d=d, A_s=0.0), mat)
    if np.isnan(steel):
        # more steel than the ductile strain allows would be needed
        x = d * mat.block.eps_cu / (mat.block.eps_cu + mat.ductile_strain)
        most = mat.block.depth_ratio * x * mat.block.stress / mat.f_yd
        assert capacity(Section(h=d + 0.05, d=d, A_s=0.999 * most), mat).m_Rd < m
    else:
        assert_allclose(capacity(Section(h=d + 0.05, d=d, A_s=steel), mat).m_Rd, m, rtol=1e-6)


def test_required_steel_with_compression_bars_counted_is_less() -> None:
    section = (
        Section(h=0.2, d=0.16, A_s=0.0),
        Section(h=0.2, d=0.16, A_s=0.0, d_c=0.04, A_sc=2500e-6),
    )
    alone, helped = (float(required_steel(150e3, s, EN)) for s in section)
    assert helped < alone
    resisting = capacity(Section(h=0.2, d=0.16, A_s=helped, d_c=0.04, A_sc=2500e-6), EN)
    assert_allclose(resisting.m_Rd, 150e3, rtol=1e-6)


@STANDARDS
@settings(max_examples=40, deadline=None)
@given(d=DEPTH, a=STEEL, a_c=STEEL, deeper=st.floats(0.001, 0.05))
def test_capacity_rises_with_depth_steel_and_compression_steel(
    mat: Materials, d: float, a: float, a_c: float, deeper: float
) -> None:
    h = d + 0.1
    base = capacity(Section(h=h, d=d, A_s=a), mat).m_Rd
    # relative to the bisection's last digit
    floor = base * (1 - 1e-9)
    assert capacity(Section(h=h, d=d + deeper, A_s=a), mat).m_Rd >= floor
    assert capacity(Section(h=h, d=d, A_s=a, d_c=0.04, A_sc=a_c), mat).m_Rd >= floor
    # AASHTO's factor falls as the steel strain does: the nominal moment rises
    more = capacity(Section(h=h, d=d, A_s=1.1 * a), mat)
    plain = capacity(Section(h=h, d=d, A_s=a), mat)
    assert more.m_Rd / more.phi >= plain.m_Rd / plain.phi * (1 - 1e-9)


def slab(cover: float, outer: str = "x", extra: float = 0.0) -> SlabBars:
    bars = Bars(0.016, 0.125)
    mat = Mat(cover=cover, x=bars, y=bars, outer=outer)  # type: ignore[arg-type]
    return SlabBars(0.270, Mat(cover=0.045 + extra, x=bars, y=bars, outer="x"), mat)


@STANDARDS
@pytest.mark.parametrize("compression", ["ignored", "counted"])
@settings(max_examples=30, deadline=None)
@given(cover=st.floats(0.02, 0.08), more=st.floats(0.0, 0.03))
def test_more_cover_never_raises_capacity(
    mat: Materials, compression: str, cover: float, more: float
) -> None:
    def resists(bars: SlabBars, layer: Layer) -> float:
        section = layer_section(bars, layer, compression)  # type: ignore[arg-type]
        return float(capacity(section, mat).m_Rd)

    base = {layer: resists(slab(cover), layer) for layer in LAYERS}
    for changed in (slab(cover + more), slab(cover, extra=more)):
        for layer in LAYERS:
            assert resists(changed, layer) <= base[layer] * (1 + 1e-9)
    if more > 1e-3:
        assert resists(slab(cover + more), ("bottom", "x")) < base["bottom", "x"]


@STANDARDS
def test_swapping_layers_moves_capacity_as_d(mat: Materials) -> None:
    """While steel yields, dm = A_s f_yd dd (times phi): 16 mm for equal bars."""
    x, y = order_cost(slab(0.04), "bottom", mat)
    assert_allclose([x.d - x.d_swapped, y.d - y.d_swapped], [0.016, -0.016], rtol=1e-9)
    step = mat.factors.or_one("phi_bending") * A_16_125 * mat.f_yd * 0.016
    assert_allclose([x.m_Rd - x.m_Rd_swapped, y.m_Rd - y.m_Rd_swapped], [step, -step], rtol=1e-6)
    assert x.m_Rd > y.m_Rd  # main bars belong outermost


def test_layer_section_takes_the_opposite_face_when_counted() -> None:
    section = layer_section(slab(0.04), ("bottom", "y"), "counted")
    assert_allclose(section.d, 0.270 - 0.040 - 0.016 - 0.008, rtol=1e-12)
    assert_allclose(section.d_c, 0.045 + 0.016 + 0.008, rtol=1e-12)
    assert layer_section(slab(0.04), ("bottom", "y")).A_sc == 0


@settings(max_examples=40, deadline=None)
@given(m=st.floats(-100e3, 400e3), more=st.floats(0, 100e3), m_Rd=st.floats(1e3, 300e3))
def test_utilisation_is_monotone_in_load(m: float, more: float, m_Rd: float) -> None:
    assert utilisation(m + more, m_Rd) >= utilisation(m, m_Rd)


def test_utilisation_by_sign() -> None:
    assert_allclose(utilisation([50.0, -50, 0, 10], [100.0, 100, 0, 0]), [0.5, 0, 0, np.inf])


def test_arrays_and_scalars_agree() -> None:
    d, a = np.array([0.2, 0.25]), np.array([[1e-3], [2e-3]])
    together = capacity(Section(h=0.3, d=d, A_s=a), EN).m_Rd
    assert together.shape == (2, 2)
    assert_allclose(together[1, 0], capacity(Section(h=0.3, d=0.2, A_s=2e-3), EN).m_Rd, rtol=1e-12)
    no_bars = capacity(Section(h=0.3, d=0.2, A_s=0.0), EN).m_Rd
    assert_allclose(no_bars, 0.0, atol=1e-6)

"""Rows of the service rules worked by hand."""

import math
from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from pipelines.standards.detailing.serviceability import (
    crack_bar_stress,
    crack_spacing_row,
    crack_steel_rows,
    crack_width_row,
    span_depth_rows,
    stress_rows,
)
from pipelines.standards.factors import FACTORS
from pipelines.standards.materials import Materials, materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from pipelines.standards.sources import Standard

EN = materials("C30/37", "B500B", "EN 1992")
IRC = materials("M35", "Fe 500", "IRC:112")
AASHTO = materials("4 ksi", "Grade 60", "AASHTO LRFD")

# d of the bars along x at the soffit: 254 - 32 - 8 = 214 mm
MAT = Mat(cover=0.032, x=Bars(0.016, 0.150), y=Bars(0.012, 0.150), outer="x")
SLAB = SlabBars(0.254, MAT, MAT)


def test_crack_width_limits() -> None:
    (en,) = crack_width_row(0.25e-3, "soffit", FACTORS["EN 1992"], "XC4")
    (irc,) = crack_width_row(0.25e-3, "soffit", FACTORS["IRC:112"], "extreme")
    (own,) = crack_width_row(0.25e-3, "soffit", FACTORS["EN 1992"], "XC4", limit=0.2e-3)
    assert [row.required for row in (en, irc, own)] == [0.3e-3, 0.2e-3, 0.2e-3]
    assert [row.passes for row in (en, irc, own)] == [True, False, False]
    assert "stated by the user" in own.source.clause
    assert crack_width_row(0.25e-3, "soffit", FACTORS["AASHTO LRFD"], "exterior") == ()


def test_crack_width_says_its_combination() -> None:
    (chosen,) = crack_width_row(0.1e-3, "soffit", FACTORS["EN 1992"], "XC4")
    assert "frequent combination" in chosen.source.clause
    (calm,) = crack_width_row(0.1e-3, "soffit", FACTORS["EN 1992"], "XC4", None, "quasi-permanent")
    assert "no traffic in it" in calm.source.clause


@pytest.mark.parametrize(
    ("phi", "w", "stress"),
    [
        (16, 0.3, 240),
        (12, 0.3, 280),
        (20, 0.3, 240 - 40 * 4 / 9),  # between 16 at 240 and 25 at 200
        (12, 0.2, 240),
        (16, 0.25, 220),  # between 200 at 0.2 mm and 240 at 0.3 mm
        (40, 0.3, 160 * math.sqrt(32 / 40)),  # beyond the table: sigma^2 phi stays
        (16, 0.1, 200 * math.sqrt(0.5)),
        (5, 0.3, 450),
        (4, 0.5, 450),
    ],
)
def test_stress_by_size_of_bars(phi: float, w: float, stress: float) -> None:
    """Table 7.2N of EN 1992-1-1."""
    assert_allclose(crack_bar_stress(phi * 1e-3, w * 1e-3) / 1e6, stress, rtol=1e-9)


@pytest.mark.parametrize(
    ("grade", "standard", "h", "required"),
    [
        # k_c k f_ct A_ct / sigma_s: 0.4 x 0.965 x 3.210 x 175 000 / 240
        ("C35/45", "EN 1992", 350, 0.4 * 0.965 * 3.20996 * 175e3 / 240),
        # 0.4 x 0.93 x 0.259 x 40^(2/3) x 200 000 / 240
        ("M40", "IRC:112", 400, 0.4 * 0.93 * 3.02926 * 200e3 / 240),
        # 2.56 MPa of C25/30 counts as 2.9; up to 300 mm k = 1
        ("C25/30", "EN 1992", 250, 0.4 * 2.9 * 125e3 / 240),
        ("C35/45", "EN 1992", 900, 0.4 * 0.65 * 3.20996 * 450e3 / 240),
    ],
)
def test_least_steel_for_cracks(grade: str, standard: Standard, h: float, required: float) -> None:
    """16 mm at 125 mm for 0.3 mm: 240 MPa; 903 and 939 mm2/m are the first two."""
    bars = Bars(0.016, 0.125)
    slab = SlabBars(h * 1e-3, *2 * [Mat(cover=0.04, x=bars, y=bars, outer="x")])
    steel = "B500B" if standard == "EN 1992" else "Fe 500"
    (row,) = crack_steel_rows(slab, ("bottom", "x"), materials(grade, steel, standard), 0.3e-3)
    assert_allclose(row.required * 1e6, required, rtol=1e-5)
    assert_allclose(row.provided * 1e6, 1608.5, rtol=1e-4)
    assert row.passes == (required <= 1608.5)
    assert "240 MPa" in row.source.clause


def test_tension_of_the_whole_section_needs_more_steel_for_cracks() -> None:
    """k_c = 0.4 (1 + 1.5 x 1 MPa / 3.21 MPa), at most 1."""
    en = materials("C35/45", "B500B", "EN 1992")
    plain, pulled, whole = (
        crack_steel_rows(SLAB, ("bottom", "x"), en, 0.3e-3, n * 254e3)[0].required
        for n in (0.0, 1.0, 5.0)
    )
    assert_allclose(pulled / plain, 1 + 1.5 / 3.20996, rtol=1e-5)
    assert_allclose(whole / plain, 2.5, rtol=1e-9)


def test_aashto_has_rules_of_its_own_for_cracks() -> None:
    assert crack_steel_rows(SLAB, ("bottom", "x"), AASHTO, 0.3e-3) == ()


def test_aashto_spacing_for_cracks() -> None:
    """d_c = 40 mm = 1.5748 in, h = 10 in; beta_s = 1 + 1.5748/(0.7 x 8.4252); f_ss 30 ksi."""
    stress = 30 * 6.894757e6
    (row,) = crack_spacing_row(SLAB, ("bottom", "x"), AASHTO, stress)
    beta_s = 1 + 1.5748 / (0.7 * 8.4252)
    inches = 700 * 0.75 / (beta_s * 30) - 2 * 1.5748
    assert_allclose(row.required, inches * 0.0254, rtol=1e-4)
    assert_allclose(inches, 10.66, atol=0.01)
    assert row.passes
    milder = replace(AASHTO, factors=AASHTO.factors.with_values(gamma_e=1.0))
    (class_1,) = crack_spacing_row(SLAB, ("bottom", "x"), milder, stress)
    assert class_1.required > row.required
    # the stress counts up to 0.6 f_y
    most, beyond = (
        crack_spacing_row(SLAB, ("bottom", "x"), AASHTO, f * 6.894757e6)[0].required
        for f in (36.0, 50.0)
    )
    assert_allclose(most, beyond, rtol=1e-9)
    (idle,) = crack_spacing_row(SLAB, ("bottom", "x"), AASHTO, 0.0)
    assert idle.required == math.inf
    assert idle.passes
    assert crack_spacing_row(SLAB, ("bottom", "x"), EN, stress) == ()


@pytest.mark.parametrize(
    ("mat", "limits"),
    [(EN, [18.0, 400.0]), (IRC, [16.8, 400.0]), (AASHTO, [0.6 * 413.685])],
    ids=["EN", "IRC", "AASHTO"],
)
def test_stress_limits(mat: Materials, limits: list[float]) -> None:
    rows = stress_rows("soffit", mat, -17e6, 300e6)
    assert_allclose([row.required / 1e6 for row in rows], limits, rtol=1e-5)
    assert [row.passes for row in rows] == [v >= (17 if v < 100 else 300) for v in limits]


@pytest.mark.parametrize(
    ("rho", "table"),
    [(0.005, 20), (0.015, 14)],
)
@pytest.mark.parametrize(
    ("support", "k"),
    [("simply supported", 1.0), ("end span", 1.3), ("interior span", 1.5), ("cantilever", 0.4)],
)
def test_en_span_depth_against_table_7_4n(rho: float, table: int, support: str, k: float) -> None:
    """C30/37 at 310 MPa: the table rounds 20.5 and 14.0 times K to whole numbers."""
    d = 0.214
    required = rho * d
    bars = Bars(0.016, math.pi * 0.016**2 / 4 / required)
    slab = SlabBars(0.254, MAT, Mat(cover=0.032, x=bars, y=MAT.y, outer="x"))
    (row,) = span_depth_rows(slab, ("bottom", "x"), EN, 4.28, support, required)  # type: ignore[arg-type]
    assert_allclose(row.required, k * table, atol=0.9 * k)
    assert_allclose(row.provided, 20.0, rtol=1e-9)
    assert "advice only" in row.source.clause


def test_more_steel_than_required_relieves_span_depth_up_to_half_more() -> None:
    limits = [
        span_depth_rows(SLAB, ("bottom", "x"), EN, 4.0, "end span", r)[0].required
        for r in (MAT.x.area, MAT.x.area / 1.2, MAT.x.area / 4)
    ]
    rho_0 = 1e-3 * math.sqrt(30)

    def base(rho: float) -> float:
        low = 3.2 * math.sqrt(30) * (rho_0 / rho - 1) ** 1.5 if rho <= rho_0 else 0.0
        return 1.3 * (11 + 1.5 * math.sqrt(30) * rho_0 / rho + low)

    rho = MAT.x.area / 0.214
    assert_allclose(limits, [base(rho), 1.2 * base(rho / 1.2), 1.5 * base(rho / 4)], rtol=1e-9)


def test_aashto_thickness() -> None:
    deck, advice = span_depth_rows(SLAB, ("bottom", "x"), AASHTO, 20 * 0.3048, "end span", 1e-3)
    assert_allclose(deck.required, 7 * 0.0254, rtol=1e-12)
    assert_allclose(advice.required, 0.3048, rtol=1e-9)  # (20 + 10)/30 = 1 ft
    assert (deck.passes, advice.passes) == (True, False)
    simple = span_depth_rows(SLAB, ("bottom", "x"), AASHTO, 6.096, "simply supported", 1e-3)
    assert_allclose(simple[1].required, 1.2 * 0.3048, rtol=1e-9)
    short = span_depth_rows(SLAB, ("bottom", "x"), AASHTO, 1.0, "interior span", 1e-3)
    assert_allclose(short[1].required, 0.54 * 0.3048, rtol=1e-9)
    # bars across traffic: only the least thickness of decks
    assert len(span_depth_rows(SLAB, ("bottom", "y"), AASHTO, 3.0, "interior span", 1e-3)) == 1


def test_irc_has_no_span_depth_rule() -> None:
    assert span_depth_rows(SLAB, ("bottom", "x"), IRC, 3.0, "end span", 1e-3) == ()

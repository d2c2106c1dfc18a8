"""Rows of the detailing rules against clauses worked by hand, in mm and mm2/m."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipelines.errors import CoverageError
from pipelines.standards.detailing.cover import cover_rows, structural_class
from pipelines.standards.detailing.rules import (
    Row,
    distribution_rows,
    least_moment_row,
    least_steel_rows,
    most_steel_rows,
    spacing_rows,
)
from pipelines.standards.factors import FACTORS
from pipelines.standards.materials import Materials, materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from pipelines.standards.sources import Source, Standard

EN = materials("C35/45", "B500B", "EN 1992")
IRC = materials("M35", "Fe 500", "IRC:112")
AASHTO = materials("4 ksi", "Grade 60", "AASHTO LRFD")
STANDARDS: tuple[Standard, ...] = ("EN 1992", "IRC:112", "AASHTO LRFD")

# bars along x outermost at the soffit: d_x = 270 - 45 - 8 = 217
SLAB = SlabBars(
    0.270,
    Mat(cover=0.055, x=Bars(0.012, 0.150), y=Bars(0.012, 0.150), outer="x"),
    Mat(cover=0.045, x=Bars(0.016, 0.125), y=Bars(0.012, 0.250), outer="x"),
)


@pytest.mark.parametrize(
    ("sense", "provided", "passes"),
    [("at least", 10.0, True), ("at least", 9.9, False), ("at most", 10.0, True),
     ("at most", 10.1, False)],
)  # fmt: skip
def test_row_passes_by_its_sense(sense: str, provided: float, passes: bool) -> None:
    row = Row(
        check="x",
        place="y",
        required=10.0,
        provided=provided,
        sense=sense,
        unit="-",
        source=Source(None, "z"),
    )  # type: ignore[arg-type]
    assert row.passes is passes


@pytest.mark.parametrize(
    ("grade", "share"),
    [("C25/30", 0.001334), ("C30/37", 0.001506), ("C35/45", 0.001669), ("C40/50", 0.001825)],
)
def test_least_steel_of_en_1992(grade: str, share: float) -> None:
    (row,) = least_steel_rows(SLAB, ("bottom", "x"), materials(grade, "B500B", "EN 1992"))
    # 0.26 f_ctm / f_yk, evaluated to six decimals
    assert_allclose(row.required / 0.217, share, atol=5e-7)
    assert_allclose(row.provided * 1e6, 1608.495, rtol=1e-6)
    assert row.passes
    assert row.source.clause == "9.3.1.1(1), 9.2.1.1(1)"


def test_least_steel_has_a_floor_and_a_tensile_strength_of_its_standard() -> None:
    (weak,) = least_steel_rows(SLAB, ("bottom", "x"), materials("C20/25", "B500B", "EN 1992"))
    assert_allclose(weak.required, 0.0013 * 0.217, rtol=1e-12)
    (irc,) = least_steel_rows(SLAB, ("bottom", "x"), IRC)
    assert_allclose(irc.required, 0.26 * 2.7713 / 500 * 0.217, rtol=1e-4)


def test_aashto_shrinkage_steel() -> None:
    # 1.3 x 10.63 in / (2 x 60) = 0.1152 in2/ft; 1 in2/ft = 2116.67 mm2/m
    (row,) = least_steel_rows(SLAB, ("bottom", "y"), AASHTO)
    assert_allclose(row.required * 1e6, 0.11516 * 2116.67, rtol=1e-4)
    thin = SlabBars(0.200, SLAB.top, SLAB.bottom)
    assert_allclose(
        least_steel_rows(thin, ("top", "x"), AASHTO)[0].required * 1e6, 0.11 * 2116.67, rtol=1e-5
    )


def test_aashto_least_moment() -> None:
    # 1.6 x 0.67 x 0.48 ksi (3.3095 MPa) x 270^2/6 = 43.10 kNm/m
    (row,) = least_moment_row(SLAB, ("bottom", "x"), AASHTO, m_Rd=90e3, m_Ed=80e3)
    assert_allclose(row.required / 1e3, 43.105, rtol=1e-4)
    assert row.passes
    (small,) = least_moment_row(SLAB, ("bottom", "x"), AASHTO, m_Rd=26e3, m_Ed=20e3)
    assert_allclose(small.required, 1.33 * 20e3, rtol=1e-12)
    assert not small.passes
    assert least_moment_row(SLAB, ("bottom", "x"), EN, 1.0, 1.0) == ()


def test_most_steel() -> None:
    (en,) = most_steel_rows(SLAB, ("bottom", "x"), FACTORS["EN 1992"])
    (irc,) = most_steel_rows(SLAB, ("bottom", "x"), FACTORS["IRC:112"])
    assert_allclose([en.required, irc.required], [0.04 * 0.27, 0.025 * 0.27], rtol=1e-12)
    assert en.passes
    assert most_steel_rows(SLAB, ("bottom", "x"), FACTORS["AASHTO LRFD"]) == ()


@pytest.mark.parametrize(
    ("standard", "at_peak", "main", "distribution"),
    [
        ("EN 1992", False, 400, 450),  # 3h = 810, 3.5h = 945
        ("EN 1992", True, 250, 400),
        ("IRC:112", False, 250, 400),
        ("AASHTO LRFD", False, 405, 405),  # 1.5h
    ],
)
def test_largest_spacing(
    standard: Standard, at_peak: bool, main: float, distribution: float
) -> None:
    for layer, limit in ((("bottom", "x"), main), (("bottom", "y"), distribution)):
        row, _ = spacing_rows(SLAB, layer, "x", standard, at_peak, 0.020)  # type: ignore[arg-type]
        assert_allclose(row.required * 1e3, limit, rtol=1e-9)
        assert row.passes


def test_thin_slab_spacing_follows_the_thickness() -> None:
    thin = SlabBars(
        0.110, *2 * [Mat(cover=0.02, x=Bars(0.01, 0.25), y=Bars(0.01, 0.25), outer="x")]
    )
    row, _ = spacing_rows(thin, ("bottom", "x"), "x", "EN 1992", True, 0.020)
    assert_allclose(row.required, 0.220, rtol=1e-12)
    assert not row.passes


@pytest.mark.parametrize(
    ("standard", "clear"),
    [("EN 1992", 30.0), ("IRC:112", 35.0), ("AASHTO LRFD", 38.1)],
)
def test_clear_distance_of_a_25_mm_aggregate(standard: Standard, clear: float) -> None:
    _, row = spacing_rows(SLAB, ("bottom", "x"), "x", standard, True, 0.025)
    assert_allclose([row.required * 1e3, row.provided * 1e3], [clear, 109.0], rtol=1e-9)
    tight = SlabBars(
        0.27, SLAB.top, Mat(cover=0.045, x=Bars(0.016, 0.040), y=Bars(0.012, 0.2), outer="x")
    )
    _, row = spacing_rows(tight, ("bottom", "x"), "x", standard, True, 0.025)
    assert not row.passes


@pytest.mark.parametrize(
    ("standard", "main", "span", "share"),
    [
        ("EN 1992", "x", 3.0, 0.20),
        ("IRC:112", "x", 3.0, 0.20),
        ("AASHTO LRFD", "x", 16 * 0.3048, 0.25),  # 100/sqrt(16)
        ("AASHTO LRFD", "x", 0.9, 0.50),
        ("AASHTO LRFD", "y", 16 * 0.3048, 0.55),
        ("AASHTO LRFD", "y", 9 * 0.3048, 0.67),  # 220/3 = 73
    ],
)
def test_distribution_share(standard: Standard, main: str, span: float, share: float) -> None:
    (row,) = distribution_rows(SLAB, "bottom", main, standard, span, 1000e-6)  # type: ignore[arg-type]
    assert_allclose(row.required * 1e6, 1000 * share, rtol=1e-9)
    across = SLAB.bottom.y if main == "x" else SLAB.bottom.x
    assert row.provided == across.area


def test_distribution_share_of_aashto_is_a_rule_for_the_bottom() -> None:
    assert distribution_rows(SLAB, "top", "x", "AASHTO LRFD", 3.0, 1e-3) == ()


@pytest.mark.parametrize(
    ("mat", "exposure", "cover", "grade"),
    [
        (EN, "XC4", 35 + 10, 30),  # 100 years, slab: S4 + 2 - 1
        (EN, "XD3", 50 + 10, 35),
        (EN, "X0", 16 + 10, 12),  # bond: the bar's diameter
        (IRC, "severe", 45, 30),
        (IRC, "extreme", 75, 45),
        (AASHTO, "slab soffit", 25.4, None),
        (AASHTO, "deck surface, tyre wear", 63.5, None),
    ],
)
def test_cover_by_exposure(
    mat: Materials, exposure: str, cover: float, grade: float | None
) -> None:
    rows = cover_rows(SLAB, "bottom", mat, exposure)
    assert_allclose(rows[0].required * 1e3, cover, rtol=1e-9)
    assert rows[0].provided == 0.045
    assert rows[0].passes == (cover <= 45)
    if grade is None:
        assert len(rows) == 1
    else:
        assert_allclose(rows[1].required / 1e6, grade)
        assert rows[1].passes == (grade <= 35)


def test_stated_class_of_en_1992() -> None:
    rows = [cover_rows(SLAB, "bottom", EN, "XC4", s)[0] for s in (2, 3, 4, 5, 6)]
    # S2: 20 mm, above the bar's own 16 mm
    assert_allclose([r.required for r in rows], [0.030, 0.035, 0.040, 0.045, 0.050], rtol=1e-9)
    assert "class S2 (class stated by the user)" in rows[0].source.clause


@pytest.mark.parametrize(
    ("exposure", "f_ck", "life", "number"),
    [
        ("XD1", 35, 100, 5),  # 4 + 2 for the life - 1 for the slab
        ("XD1", 40, 100, 4),  # and one less for C40/50
        ("XD1", 35, 50, 3),
        ("XD1", 40, 50, 2),
        ("XC1", 30, 50, 2),
        ("XD3", 40, 100, 5),  # XD3 asks for C45/55
        ("XD3", 45, 100, 4),
        ("XC3", 35, 100, 4),
        ("XC4", 35, 60, 5),  # the table has no life between 50 and 100 years
    ],
)
def test_class_by_design_life(exposure: str, f_ck: float, life: float, number: int) -> None:
    """Table 4.3N of EN 1992-1-1, column by column."""
    assert structural_class(exposure, f_ck * 1e6, life).number == number


def test_a_hundred_years_need_fifty_millimetres_in_de_icing_salts() -> None:
    """XD1, C35/45: S5 has 40 mm, and 10 mm are for deviations; at 50 years S3 has 30 mm."""
    row, _ = cover_rows(SLAB, "top", EN, "XD1")
    assert_allclose(row.required, 0.050, rtol=1e-12)
    assert "class S5 (table 4.3N: S4, +2 100 years, \u22121 slab)" in row.source.clause
    assert_allclose(cover_rows(SLAB, "top", EN, "XD1", None, 50.0)[0].required, 0.040, rtol=1e-12)


def test_measured_cover_is_held_against_the_least_one() -> None:
    """XD1, S5: c_min,dur 40 mm without the 10 mm for deviations; a bar of 16 mm asks for less. The
    tables of the others hold least covers already."""
    row, grade = cover_rows(SLAB, "top", EN, "XD1", measured=0.033)
    assert row.check == "cover, XD1, measured"
    assert_allclose([row.required, row.provided], [0.040, 0.033], rtol=1e-12)
    assert not row.passes
    assert row.utilisation == pytest.approx(40 / 33)
    assert "c_min of 4.4.1" in row.source.clause
    assert grade.check == "concrete grade, XD1"
    assert cover_rows(SLAB, "top", EN, "XD1", measured=0.040)[0].passes
    for mat, exposure in ((IRC, "severe"), (AASHTO, "exterior")):
        drawn, read = (cover_rows(SLAB, "top", mat, exposure, measured=m)[0] for m in (None, 0.03))
        assert drawn.required == read.required
        assert read.provided == 0.03
    assert cover_rows(SLAB, "top", EN, "XD1", measured=0.0)[0].utilisation == np.inf


def test_unknown_exposure() -> None:
    with pytest.raises(CoverageError, match="'XC9' is not of EN 1992: write X0, XC1"):
        cover_rows(SLAB, "bottom", EN, "XC9")


@pytest.mark.parametrize("mat", [EN, IRC, AASHTO], ids=lambda mat: mat.standard)
def test_every_row_names_its_clause_and_its_trust(mat: Materials) -> None:
    exposure = {"EN 1992": "XC4", "IRC:112": "severe", "AASHTO LRFD": "exterior"}[mat.standard]
    rows = [
        *least_steel_rows(SLAB, ("bottom", "x"), mat),
        *most_steel_rows(SLAB, ("bottom", "x"), mat.factors),
        *spacing_rows(SLAB, ("bottom", "x"), "x", mat.standard, True, 0.02),
        *distribution_rows(SLAB, "bottom", "x", mat.standard, 3.0, 1e-3),
        *cover_rows(SLAB, "bottom", mat, exposure),
    ]
    assert len(rows) >= 5
    for row in rows:
        assert row.source.standard == mat.standard
        assert row.source.mark == "from memory"
        assert any(c.isdigit() for c in row.source.clause)
        assert row.place.startswith("bottom, bars along")

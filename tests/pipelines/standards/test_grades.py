"""Grades against printed digits and against the caution that each standard has its own strength."""

from itertools import pairwise

import pytest
from numpy.testing import assert_allclose

from pipelines.errors import CoverageError
from pipelines.standards.factors import FACTORS, RECOMMENDED
from pipelines.standards.materials import (
    KSI,
    Materials,
    concrete,
    grade_ladder,
    materials,
    steel,
)
from pipelines.standards.sources import EDITIONS, Source


@pytest.mark.parametrize(
    ("name", "f_ctm"),
    [("C25/30", 2.565), ("C30/37", 2.8965), ("C35/45", 3.2100), ("C40/50", 3.5088)],
)
def test_mean_tensile_strength_of_en_1992(name: str, f_ctm: float) -> None:
    # 0.30 f_ck^(2/3), evaluated to four or five digits
    assert_allclose(concrete(name, "EN 1992").f_ct / 1e6, f_ctm, rtol=2e-5)


def test_mean_tensile_strength_on_both_sides_of_the_change_of_formula() -> None:
    low, high = (concrete(n, "EN 1992").f_ct for n in ("C50/60", "C55/67"))
    assert_allclose([low / 1e6, high / 1e6], [4.0716, 4.2143], rtol=2e-5)  # 2.12 ln(7.3)


def test_irc_strength_is_that_of_cubes() -> None:
    m35 = materials("M35", "Fe 500", "IRC:112")
    assert m35.concrete.specimen == "cube"
    assert_allclose(m35.f_cd / 1e6, 15.6333, rtol=1e-5)  # 0.67 x 35 / 1.5
    assert_allclose(m35.concrete.f_ct / 1e6, 2.7713, rtol=2e-5)  # 0.259 x 35^(2/3)
    # M45 is about the concrete of C35/45 (cube 45 MPa): design strengths within 2 %
    en, irc = materials("C35/45", "B500B", "EN 1992"), materials("M45", "Fe 500", "IRC:112")
    assert_allclose(irc.f_cd, en.f_cd, rtol=0.02)


@pytest.mark.parametrize(
    ("name", "depth_ratio", "share"),
    [("4 ksi", 0.85, 0.85), ("5 ksi", 0.80, 0.85), ("8 ksi", 0.65, 0.85), ("10 ksi", 0.65, 0.85)],
)
def test_aashto_block(name: str, depth_ratio: float, share: float) -> None:
    mat = materials(name, "Grade 60", "AASHTO LRFD")
    assert_allclose(mat.block.depth_ratio, depth_ratio, rtol=1e-12)
    assert_allclose(mat.block.stress, share * mat.concrete.f_ck, rtol=1e-12)


def test_aashto_modulus_and_modulus_of_rupture() -> None:
    four = concrete("4 ksi", "AASHTO LRFD")
    # 120 000 x 0.145^2 x 4^0.33 = 3986 ksi; 0.24 x 2 = 0.48 ksi
    assert_allclose(four.E_c / KSI, 3986.5, rtol=1e-4)
    assert_allclose(four.f_ct / KSI, 0.48, rtol=1e-12)
    assert concrete("28 MPa", "AASHTO LRFD").f_ck == 28e6


def test_en_block_of_high_strength() -> None:
    block = materials("C70/85", "B500B", "EN 1992").block
    # lambda = 0.8 - 20/400, eta = 1 - 20/200, eps = (2.6 + 35 x 0.2^4) per mille
    assert_allclose(
        [block.depth_ratio, block.stress / 1e6, 1e3 * block.eps_cu],
        [0.75, 0.9 * 0.85 * 70 / 1.5, 2.656],
        rtol=1e-12,
    )


@pytest.mark.parametrize("standard", ["EN 1992", "IRC:112", "AASHTO LRFD"])
def test_ladder_rises_and_names_its_source(standard: str) -> None:
    ladder = grade_ladder(standard)  # type: ignore[arg-type]
    assert all(a.f_ck < b.f_ck for a, b in pairwise(ladder))
    assert {grade.source.standard for grade in ladder} == {standard}
    assert standard in EDITIONS
    rows = RECOMMENDED[standard].values()  # type: ignore[index]
    assert {row.source.mark for row in rows} == {"from memory"}


def test_source_reads_as_a_reference() -> None:
    assert str(Source("EN 1992", "6.2.2(1)")) == "EN 1992 6.2.2(1) (from memory)"
    assert str(Source(None, "main bars outermost", "common practice")) == (
        "main bars outermost (common practice)"
    )


@pytest.mark.parametrize(
    ("name", "standard", "message"),
    [
        ("C35", "EN 1992", "not of EN 1992: write C12/15"),
        ("C35/45", "IRC:112", "not of IRC:112: write M20"),
        ("C4", "AASHTO LRFD", "not of AASHTO LRFD: write 4 ksi"),
        ("15 ksi", "AASHTO LRFD", "between 2.4 and 10.0 ksi"),
    ],
)
def test_unknown_concrete(name: str, standard: str, message: str) -> None:
    with pytest.raises(CoverageError, match=message):
        concrete(name, standard)  # type: ignore[arg-type]


def test_unknown_steel() -> None:
    with pytest.raises(CoverageError, match="not of EN 1992: write B500A"):
        steel("Fe 500", "EN 1992")


def test_standards_do_not_mix() -> None:
    with pytest.raises(CoverageError, match="must come from one standard"):
        Materials(concrete("M35", "IRC:112"), steel("B500B", "EN 1992"), FACTORS["EN 1992"])

"""Hogging over supports whose widths are stated: at the face of a slab that is one with them, a
quarter of the width off the line of one that only rests there; the centre line's value beside."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.bars.checks.part import LayerCheck
from pipelines.deck.deck import Deck
from pipelines.model.readable import hogging_points
from pipelines.model.responses import SolvedDeck
from pipelines.report.sections.bars import bars_section
from pipelines.report.sections.bars_words import moments_at
from pipelines.report.sections.findings import finding_words
from pipelines.standards.supports import hogging_at
from pipelines.strips.beam import StripBeam, StripSupport, moment_lines
from tests.pipelines.report_page import page_of
from tests.pipelines.small_decks import SLAB, TRAFFIC, WEIGHT, deck_of, grades, mat

# Two bays of 4 m on rigid lines, a slab without Poisson's ratio: a beam under its weight.
SPAN, WEIGHT_LOAD = 4.0, 25e3 * 0.25
PLAN = """
[plan]
stations_m = [0.0, 4.0, 8.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = "C*"
support = "rigid"
{width}
"""
BARS = (
    WEIGHT
    + grades({"EN 1992": "C35/45"}, {"EN 1992": "B500B"})
    + mat("bottom", "16@150", "16@150")
    + mat("top", "16@150", "16@150", cover=45)
    + "{at}[mesh]\nsize_m = 0.25\n"
)
BEAM_SLAB = SLAB.replace("poisson = 0.2", "poisson = 0.0")


def top_along(folder: Path, *, width: int, rests: bool = False, at: str = "") -> LayerCheck:
    text = f"width_mm = {width}\nrests = {str(rests).lower()}" if width else ""
    narrow = PLAN.replace("[-2.0, 2.0]", "[-0.5, 0.5]")  # as good a beam
    deck = deck_of(folder, BEAM_SLAB, narrow, BARS, width=text, at=at)
    result = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    assert result.design is not None
    return result.design.standards[0].layers[2]


def hogging(x: float) -> float:
    """1.35 times the weight's moment x off the middle line of a beam of two equal spans."""
    return 1.35 * WEIGHT_LOAD * (SPAN**2 / 8 - 5 / 8 * SPAN * x + x**2 / 2)


# The slab's shear strain over a line makes its moment a little flatter than a beam's.
FLATTER = 0.01


@pytest.mark.parametrize("rests", [False, True])
@pytest.mark.parametrize("width", [1000, 700, 300, 200, 100, 0])
def test_top_bars_count_where_the_rule_reads_them(width: int, rests: bool, tmp_path: Path) -> None:
    """In cells of 250 mm, whose own points lie 125 mm apart, at no other place than asked for."""
    check = top_along(tmp_path, width=width, rests=rests)
    off = (0.25e-3 if rests else 0.5e-3) * width
    assert check.m_centre == pytest.approx(hogging(0.0), rel=FLATTER)
    assert check.m_Ed == check.m_face == pytest.approx(hogging(off), rel=FLATTER)


@pytest.mark.parametrize("width", [0.3, 1.0])
def test_a_quarter_of_the_width_off_is_the_rounding_of_the_peak(width: float) -> None:
    """By hand: F = 5/4 p l over the middle line, M - F t/8 by EN 1992-1-1 5.3.2.2(4), and what the
    load over the quarters adds, 1.35 p t^2/32, on the safe side."""
    reaction = 1.35 * 1.25 * WEIGHT_LOAD * SPAN
    rounded = hogging(0.0) - reaction * width / 8
    more = 1.35 * WEIGHT_LOAD * width**2 / 32
    assert hogging(hogging_at(width, rests=True)) == pytest.approx(rounded + more, rel=1e-12)


def test_the_strip_is_rounded_at_the_same_place() -> None:
    """A wheel line of 100 kN at the middle of one of two spans of 4 m, a support of 400 mm: by hand
    M = 3/32 P l over it, and shears of 19/32 P on the load's side, 3/32 P on the other. The larger
    side at a quarter of the width is read, above M - F t/8 by half the difference."""
    load, t = 100e3, 0.4
    supports = tuple(StripSupport(at=at, width=t, rests=True) for at in (0.0, SPAN, 2 * SPAN))
    beam = StripBeam(supports, 0.0, 2 * SPAN)
    moment, loaded, other = 3 / 32 * load * SPAN, 19 / 32 * load, 3 / 32 * load
    off = supports[1].hogging_at
    values = [
        load * moment_lines(beam, [SPAN + side * off], "right").at(0.5 * SPAN)[0, 0]
        for side in (-1.0, 1.0)
    ]
    assert values == pytest.approx([-moment + loaded * t / 4, -moment + other * t / 4], rel=1e-9)
    rounded = moment - (loaded + other) * t / 8
    assert np.mean(values) == pytest.approx(-rounded, rel=1e-9)
    assert -min(values) - rounded == pytest.approx((loaded - other) * t / 8, rel=1e-9)


def test_the_deck_file_may_ask_for_centre_lines(tmp_path: Path) -> None:
    check = top_along(tmp_path, width=250, at='moment_at = "centre line"\n')
    assert check.m_Ed == check.m_centre == pytest.approx(hogging(0.0), rel=FLATTER)
    assert check.m_face == pytest.approx(hogging(0.125), rel=FLATTER)


def test_the_clamped_end_of_a_strip_is_read_at_its_face(tmp_path: Path) -> None:
    """One span clamped at both ends: M(x) = p (l^2/12 - l x/2 + x^2/2), by hand."""
    plan = PLAN.replace("4.0, 8.0]", "4.0]").replace('"rigid"', '"clamped"')
    deck = deck_of(tmp_path, BEAM_SLAB, plan, BARS, width="width_mm = 400", at="")
    result = analyse(deck, tolerances_wanted=False, strips_wanted=False)
    assert result.design is not None
    check = result.design.standards[0].layers[2]

    def moment(x: float) -> float:
        return 1.35 * WEIGHT_LOAD * (SPAN**2 / 12 - SPAN * x / 2 + x**2 / 2)

    # a free side's layer, without Poisson's ratio, adds less than the strip's shear strain
    assert check.m_Ed == pytest.approx(moment(0.2), rel=FLATTER)
    assert check.m_centre == pytest.approx(moment(0.0), rel=FLATTER)


@pytest.mark.parametrize(
    ("support", "rests"),
    [
        ('"rigid"', True),
        ('"spring"\nk_kN_m2 = 1e6', True),
        ('"spring"\nk_kN_m2 = 1e6\nk_rot_kNm_rad_m = 1e4', False),
        ('"clamped"', False),
        ('"rigid"\nrests = false', False),
    ],
)
def test_the_slab_rests_where_it_may_turn_unless_told(
    support: str, rests: bool, tmp_path: Path
) -> None:
    plan = PLAN.replace('"rigid"', support)
    deck = deck_of(tmp_path, BEAM_SLAB, plan, width="width_mm = 400")
    assert {line.rests for line in deck.lines} == {rests}
    assert {line.hogging_at for line in deck.lines} == {0.1 if rests else 0.2}


def test_rows_next_to_where_it_is_read_stand_for_it(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, BEAM_SLAB, PLAN, BARS, width="", at="")
    points = SolvedDeck.of(deck).recovery.points
    assert hogging_points(deck, points).all()
    gap = np.abs(points.plan[:, :1] - [0.0, SPAN, 2 * SPAN]).min(axis=1)
    # on the mesh of lines without a width the row at 125 mm is the last one over 300 mm
    of_walls = (replace(line, width=0.3, rests=False) for line in deck.lines)
    wide = replace(deck, lines=tuple(of_walls))
    np.testing.assert_array_equal(hogging_points(wide, points), gap > 0.1)


def test_every_point_nearer_than_read_is_left_out(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, BEAM_SLAB, PLAN, BARS, width="width_mm = 600", at="")
    points = SolvedDeck.of(deck).recovery.points
    gap = np.abs(points.plan[:, :1] - [0.0, SPAN, 2 * SPAN]).min(axis=1)
    np.testing.assert_array_equal(hogging_points(deck, points), gap > 0.15 - 1e-9)
    assert np.isclose(gap, 0.15).any()


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 1.0")
    folder = tmp_path_factory.mktemp("deck")
    deck = deck_of(folder, BEAM_SLAB, PLAN, few, BARS, width="width_mm = 300", at="")
    return analyse(deck, tolerances_wanted=False)


def test_both_values_stand_in_the_table(result: Result) -> None:
    words = page_of(bars_section(result))
    assert "Beside supports [kNm/m]" in words
    assert "Centre lines [kNm/m]" in words
    assert "top bars where hogging counts" in words


def test_the_first_page_tells_hogging_at_faces_with_centre_lines_beside(result: Result) -> None:
    """Plate and strip at the same face; both at the centre line of the same line beside them."""
    [sentence] = [
        words
        for words in finding_words(result.findings, "")
        if words.startswith("Largest hogging over a line:")
    ]
    assert "line C2, 75 mm off its centre line" in sentence
    assert "; at the centre line the plate has" in sentence
    rows = {
        kind: [
            row
            for row in result.findings
            if row.section.kind == kind and row.section.lines == ("C2",) and row.ratio is not None
        ]
        for kind in ("face", "hogging")
    }
    for face in rows["face"]:
        [centre] = [row for row in rows["hogging"] if row.hand.strip == face.hand.strip]
        assert centre.plate.peak < face.plate.peak < 0.0
        assert centre.hand.value is not None
        assert face.hand.value is not None
        assert centre.hand.value < face.hand.value < 0.0


def words_of(deck: Deck, **changes: object) -> str:
    reinforcement = deck.required_reinforcement
    asked = replace(reinforcement, **changes)  # type: ignore[arg-type]
    return moments_at(replace(deck, reinforcement=asked))


def test_the_words_are_true_of_the_deck(result: Result, tmp_path: Path) -> None:
    deck = result.deck
    assert "a quarter of the width off" in words_of(deck)
    assert "at the faces" not in words_of(deck)
    joined = replace(deck, lines=tuple(replace(line, rests=False) for line in deck.lines))
    assert "at the faces of supports that the slab is one with" in words_of(joined)
    assert "a quarter of the width off" not in words_of(joined)
    assert "moment_at asks for it" in words_of(deck, hogging_at_face=False)
    first, *others = deck.lines
    mixed = replace(deck, lines=(replace(first, width=0.0), *others))
    assert "at the centre lines of lines without a width" in words_of(mixed)
    none = replace(deck, lines=tuple(replace(line, width=0.0) for line in deck.lines))
    assert "no line states its width_mm" in words_of(none)

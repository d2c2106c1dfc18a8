"""Hogging at the faces of supports whose widths are stated, with the centre line's value beside."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis import analyse
from pipelines.bars.checks.part import LayerCheck
from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import up_to_faces
from pipelines.model.responses import SolvedDeck
from pipelines.report.sections.bars import bars_section
from pipelines.report.sections.bars_words import moments_at
from pipelines.report.sections.findings import finding_words
from pipelines.result import Result
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


def top_along(folder: Path, *, width: int, at: str = "", traffic: str = "") -> LayerCheck:
    text = f"width_mm = {width}" if width else ""
    deck = deck_of(folder, BEAM_SLAB, PLAN, traffic, BARS, width=text, at=at)
    result = analyse(deck, tolerances_wanted=False)
    assert result.design is not None
    return result.design.standards[0].layers[2]


def hogging(x: float) -> float:
    """1.35 times the weight's moment x off the middle line of a beam of two equal spans."""
    return 1.35 * WEIGHT_LOAD * (SPAN**2 / 8 - 5 / 8 * SPAN * x + x**2 / 2)


@pytest.mark.parametrize(
    ("width", "row"),
    # in cells of 250 mm result points lie 125 mm apart
    [(250, 0.125), (300, 0.125), (200, 0.0), (0, 0.0)],
)
def test_top_bars_count_at_the_face_or_just_over_the_width(
    width: int, row: float, tmp_path: Path
) -> None:
    check = top_along(tmp_path, width=width)
    # 1 %: the slab's shear strain over a line makes its moment a little flatter than a beam's
    assert check.m_centre == pytest.approx(hogging(0.0), rel=0.01)
    assert check.m_Ed == check.m_face == pytest.approx(hogging(row), rel=0.01)
    assert check.m_Ed >= 0.99 * hogging(0.5e-3 * width)


def test_the_deck_file_may_ask_for_centre_lines(tmp_path: Path) -> None:
    check = top_along(tmp_path, width=250, at='moment_at = "centre line"\n')
    assert check.m_Ed == check.m_centre == pytest.approx(hogging(0.0), rel=0.01)
    assert check.m_face == pytest.approx(hogging(0.125), rel=0.01)


def test_rows_next_to_the_faces_are_read(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, BEAM_SLAB, PLAN, BARS, width="width_mm = 300", at="")
    points = SolvedDeck.of(deck).recovery.points
    gap = np.abs(points.plan[:, :1] - [0.0, SPAN, 2 * SPAN]).min(axis=1)
    # the row at 125 mm is the last one over the width
    np.testing.assert_array_equal(up_to_faces(deck, points), gap > 0.1)
    narrow = replace(deck, lines=tuple(replace(line, width=0.0) for line in deck.lines))
    assert up_to_faces(narrow, points).all()


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    few = TRAFFIC.replace("step_m = 0.5", "step_m = 1.0")
    folder = tmp_path_factory.mktemp("deck")
    deck = deck_of(folder, BEAM_SLAB, PLAN, few, BARS, width="width_mm = 300", at="")
    return analyse(deck, tolerances_wanted=False)


def test_both_values_stand_in_the_table(result: Result) -> None:
    words = page_of(bars_section(result))
    assert "Up to faces [kNm/m]" in words
    assert "Centre lines [kNm/m]" in words
    assert "top bars up to their faces" in words


def test_the_first_page_tells_hogging_at_faces_with_centre_lines_beside(result: Result) -> None:
    """Plate and strip at the same face; both at the centre line of the same line beside them."""
    [sentence] = [
        words
        for words in finding_words(result.findings, "")
        if words.startswith("Largest hogging over a line:")
    ]
    assert "line C2, at its face" in sentence
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
    assert "up to their faces, for a slab" in words_of(deck)
    assert "moment_at asks for it" in words_of(deck, hogging_at_face=False)
    first, *others = deck.lines
    mixed = replace(deck, lines=(replace(first, width=0.0), *others))
    assert "of lines without a width at the centre line" in words_of(mixed)
    none = replace(deck, lines=tuple(replace(line, width=0.0) for line in deck.lines))
    assert "no line states its width_mm" in words_of(none)

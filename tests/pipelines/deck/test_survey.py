"""Reading as-built surveys: repeated readings, blanks, and every mistake with its line."""

import math
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from pipelines.deck.survey import Key, parse_survey, read_survey
from pipelines.errors import DeckError

HEADER = "panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm\n"
PANELS = ("B1", "B2", "B3")

GOOD = HEADER + (
    "B1,bottom,x,16,128,,,\n"
    "B1,bottom,x,,132,,,\n"
    "B1,bottom,x,,124,,,\n"
    "\n"
    ",,,,,,,\n"
    "B1,bottom,,,,44,y,\n"
    "B1,,,,,,,268\n"
    "B2, top ,x,,,61,,\n"
)


def test_repeated_readings_and_their_statistics() -> None:
    survey = parse_survey(GOOD, PANELS)
    assert list(survey) == ["B1", "B2"]  # nothing was read in B3
    b1 = survey["B1"]
    assert b1.outer == {"bottom": "y"}
    spacing = b1.statistics()[Key("spacing", "bottom", "x")]
    assert spacing.n == 3
    assert_allclose(
        [spacing.mean, spacing.deviation, spacing.least, spacing.most],
        [0.128, 0.004, 0.124, 0.132],
        rtol=1e-9,
    )
    assert_allclose([spacing.value("spacing", "mean"), spacing.value("spacing", "worst")],
                    [0.128, 0.132])  # fmt: skip
    assert b1.readings[Key("thickness")] == (0.268,)
    assert b1.readings[Key("cover", "bottom")] == (0.044,)
    assert survey["B2"].readings == {Key("cover", "top", "x"): (0.061,)}


def test_one_reading_has_no_deviation_and_worst_depends_on_the_quantity() -> None:
    text = HEADER + "B1,,,,,,,268\nB1,,,,,,,262\nB1,top,,,,50,,\n"
    statistics = parse_survey(text, PANELS)["B1"].statistics()
    assert math.isnan(statistics[Key("cover", "top")].deviation)
    thickness = statistics[Key("thickness")]
    assert_allclose(thickness.value("thickness", "worst"), 0.262)


def test_columns_may_be_fewer_and_in_any_order(tmp_path: Path) -> None:
    file = tmp_path / "survey.csv"
    file.write_text("\ufeffthickness_mm,panel\n271,B3\n", encoding="utf-8")
    assert read_survey(file, PANELS)["B3"].readings == {Key("thickness"): (0.271,)}


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("B9,,,,,,,268", r"line 2: panel 'B9' is not one of the deck's"),
        ("B1,soffit,x,16,,,,", r"line 2: face 'soffit': top or bottom"),
        ("B1,top,z,16,,,,", r"line 2: direction 'z': x or y"),
        ("B1,top,,,,,z,", r"line 2: outer 'z': x or y"),
        ("B1,top,,16,,,,", r"line 2: diameter_mm needs face and direction"),
        ("B1,,x,,125,,,", r"line 2: spacing_mm needs face and direction"),
        ("B1,,,,,45,,", r"line 2: cover_mm needs face"),
        ("B1,,,,,,x,", r"line 2: outer needs face"),
        ("B1,,,,,,,abc", r"line 2: thickness_mm 'abc' is not a number"),
        ("B1,,,,,,,2_50", r"line 2: thickness_mm '2_50' is not a number"),
        ("B1,,,,,,,\uff12\uff15\uff10", r"is not a number"),
        ("B1,,,,,,,nan", r"line 2: thickness_mm nan lies outside 50 to 2000"),
        ("B1,,,,,,,0.27", r"line 2: thickness_mm 0.27 lies outside 50 to 2000"),
        ("B1,top,x,16,1250,,,", r"line 2: spacing_mm 1250 lies outside 20 to 1000"),
        ("B1,,,,,,,268,7", r"line 2: more cells than columns"),
        ("B1,top,,,,,x,\nB1,top,,,,,y,", r"line 3: outer: y contradicts an earlier row"),
    ],
)
def test_mistakes_in_rows(row: str, message: str) -> None:
    with pytest.raises(DeckError, match=message):
        parse_survey(HEADER + row + "\n", PANELS)


def test_all_mistakes_are_told_at_once() -> None:
    with pytest.raises(DeckError, match=r"site\.csv: 3 mistakes") as caught:
        parse_survey(HEADER + "B9,up,,,,,,\nB1,,,,,,,x\n", PANELS, "site.csv")
    assert len(caught.value.mistakes) == 3


@pytest.mark.parametrize(
    ("header", "message"),
    [
        ("panel,thick_mm\n", "column 'thick_mm' is not known"),
        ("face,direction\n", "column 'panel' is missing"),
        ("panel,face,face\n", "column 'face' appears twice"),
        ("", "column 'panel' is missing"),
    ],
)
def test_mistakes_in_columns(header: str, message: str) -> None:
    with pytest.raises(DeckError, match=message):
        parse_survey(header, PANELS)


def test_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(DeckError, match="cannot be read"):
        read_survey(tmp_path / "none.csv", PANELS)
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DeckError, match="cannot be read as UTF-8"):
        read_survey(binary, PANELS)


def test_keys_in_words() -> None:
    assert str(Key("spacing", "bottom", "x")) == "spacing, bottom, bars along x"
    assert str(Key("thickness")) == "thickness"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_end_as_on_any_system(tmp_path: Path, end: str) -> None:
    path = tmp_path / "site.csv"
    path.write_bytes((HEADER.strip() + end + "B1,,,,,,,268" + end).encode())
    assert read_survey(path, PANELS)["B1"].readings[Key("thickness")] == (0.268,)

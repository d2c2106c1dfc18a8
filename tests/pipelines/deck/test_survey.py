"""Reading as-built surveys: repeated readings, blanks, and every mistake with its line."""

import math
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from pipelines.deck.panels import Panels
from pipelines.deck.reading.survey_file import parse_survey, read_survey
from pipelines.deck.reading.survey_schema import COLUMNS
from pipelines.deck.survey import MEASURES, Key
from pipelines.errors import DeckError
from plate.geometry.plan import grid_plan

HEADER = "panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm\n"
PANELS = Panels(grid_plan([0.0, 3.0, 6.0, 9.0], [-2.0, 2.0], overhang={"start": 0.4}))

GOOD = HEADER + (
    "C1-C2,bottom,x,16,128,,,\n"
    "C1-C2,bottom,x,,132,,,\n"
    "C1-C2,bottom,x,,124,,,\n"
    "\n"
    ",,,,,,,\n"
    "C1-C2,bottom,,,,44,y,\n"
    "C1-C2,,,,,,,268\n"
    "C2-C3, top ,x,,,61,,\n"
)


def test_repeated_readings_and_their_statistics() -> None:
    survey = parse_survey(GOOD, PANELS)
    assert list(survey) == ["C1-C2", "C2-C3"]  # nothing was read in C3-C4
    b1 = survey["C1-C2"]
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
    assert survey["C2-C3"].readings == {Key("cover", "top", "x"): (0.061,)}


def test_one_reading_has_no_deviation_and_worst_depends_on_the_quantity() -> None:
    text = HEADER + "C1-C2,,,,,,,268\nC1-C2,,,,,,,262\nC1-C2,top,,,,50,,\n"
    statistics = parse_survey(text, PANELS)["C1-C2"].statistics()
    assert math.isnan(statistics[Key("cover", "top")].deviation)
    thickness = statistics[Key("thickness")]
    assert_allclose(thickness.value("thickness", "worst"), 0.262)


def test_columns_may_be_fewer_and_in_any_order(tmp_path: Path) -> None:
    file = tmp_path / "survey.csv"
    file.write_text("\ufeffthickness_mm,panel\n271,C3-C4\n", encoding="utf-8")
    assert read_survey(file, PANELS)["C3-C4"].readings == {Key("thickness"): (0.271,)}


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("C9,,,,,,,268", r"line 2: panel 'C9' is not one of the deck's"),
        ("C1-C2,soffit,x,16,,,,", r"line 2: face 'soffit': top or bottom"),
        ("C1-C2,top,z,16,,,,", r"line 2: direction 'z': x or y"),
        ("C1-C2,top,,,,,z,", r"line 2: outer 'z': x or y"),
        ("C1-C2,top,,16,,,,", r"line 2: diameter_mm needs face and direction"),
        ("C1-C2,,x,,125,,,", r"line 2: spacing_mm needs face and direction"),
        ("C1-C2,,,,,45,,", r"line 2: cover_mm needs face"),
        ("C1-C2,,,,,,x,", r"line 2: outer needs face"),
        ("C1-C2,,,,,,,abc", r"line 2: thickness_mm 'abc' is not a number"),
        ("C1-C2,,,,,,,2_50", r"line 2: thickness_mm '2_50' is not a number"),
        ("C1-C2,,,,,,,\uff12\uff15\uff10", r"is not a number"),
        ("C1-C2,,,,,,,nan", r"line 2: thickness_mm nan lies outside 50 to 2000"),
        ("C1-C2,,,,,,,0.27", r"line 2: thickness_mm 0.27 lies outside 50 to 2000"),
        ("C1-C2,top,x,16,1250,,,", r"line 2: spacing_mm 1250 lies outside 20 to 1000"),
        ("C1-C2,,,,,,,268,7", r"line 2: more cells than columns"),
        ("C1-C2,top,,,,,x,\nC1-C2,top,,,,,y,", r"line 3: outer: y contradicts an earlier row"),
    ],
)
def test_mistakes_in_rows(row: str, message: str) -> None:
    with pytest.raises(DeckError, match=message):
        parse_survey(HEADER + row + "\n", PANELS)


def test_all_mistakes_are_told_at_once() -> None:
    with pytest.raises(DeckError, match=r"site\.csv: 3 mistakes") as caught:
        parse_survey(HEADER + "C9,up,,,,,,\nC1-C2,,,,,,,x\n", PANELS, "site.csv")
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
    with pytest.raises(DeckError, match="there is no such file"):
        read_survey(tmp_path / "none.csv", PANELS)
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DeckError, match="cannot be read as UTF-8"):
        read_survey(binary, PANELS)


PLACED = """panel,date,x_m,y_m,face,direction,cover_mm,core_MPa,area_loss_percent,\
remaining_diameter_mm,spalled_mm
C1-C2,2026-04-20,,,bottom,x,42,,12.5,,
,2026-04-18,1.0,-0.5,bottom,x,44,,,14.2,
,2026-04-19,3.5,1.5,,,,33.5,,,
C2-C3,2026-04-19,3.0,1.5,top,,,,,,15
"""


def test_places_days_and_what_is_lost() -> None:
    """A row without a panel is of the panel in which its place lies; on a line, of the one that it
    names."""
    survey = parse_survey(PLACED, PANELS)
    first, second = survey["C1-C2"], survey["C2-C3"]
    assert dict(first.readings) == {
        Key("cover", "bottom", "x"): pytest.approx((0.042, 0.044)),
        Key("area loss", "bottom", "x"): pytest.approx((0.125,)),
        Key("remaining diameter", "bottom", "x"): pytest.approx((0.0142,)),
    }
    assert dict(second.readings) == {
        Key("core strength"): pytest.approx((33.5e6,)),
        Key("spalled depth", "top"): pytest.approx((0.015,)),
    }
    assert first.dates == ("2026-04-18", "2026-04-20")
    assert first.days == "2026-04-18 to 2026-04-20"
    assert second.days == "2026-04-19"
    assert first.places == ((1.0, -0.5),)
    assert second.places == ((3.5, 1.5), (3.0, 1.5))


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("C1-C2,18.04.2026,,,,,,,,,", r"line 2: date '18.04.2026': a day as 2026-04-18"),
        ("C1-C2,2026-02-30,,,,,,,,,", r"line 2: date '2026-02-30': a day"),
        ("C1-C2,20260418,,,,,,,,,", r"line 2: date '20260418': a day"),
        (",,1.0,,bottom,,40,,,,", r"line 2: x_m '1.0': y_m is missing beside it"),
        (",,,,bottom,,40,,,,", r"line 2: panel is empty, and so are x_m and y_m"),
        (",,99,0,bottom,,40,,,,", r"x_m 99, y_m 0 is not on the slab: x_m -0.4 to 9, y_m -2 to 2"),
        (",,nan,0,bottom,,40,,,,", r"x_m nan, y_m 0 is not on the slab"),
        (",,1e308,0,bottom,,40,,,,", r"is not on the slab"),
        (",,one,0,bottom,,40,,,,", r"x_m 'one' is not a number: allowed is a coordinate in m"),
        ("C2-C3,,1.0,0,bottom,,40,,,,", r"x_m 1, y_m 0 lies in C1-C2, not in C2-C3"),
        ("C1-C2,,,,,,,35000000,,,", r"core_MPa 35000000 lies outside 5 to 150"),
        ("C1-C2,,,,bottom,x,,,101,,", r"area_loss_percent 101 lies outside 0 to 100"),
        ("C1-C2,,,,bottom,,,,10,,", r"area_loss_percent needs face and direction"),
        ("C1-C2,,,,bottom,x,,,-5,,", r"area_loss_percent -5 lies outside 0 to 100"),
        ("C1-C2,,,,,,,,,,20", r"spalled_mm needs face"),
        ("C1-C2,,,,bottom,x,,,,1e1x,", r"remaining_diameter_mm '1e1x' is not a number: allowed is"),
    ],
)
def test_mistakes_in_new_columns(row: str, message: str) -> None:
    with pytest.raises(DeckError, match=message):
        parse_survey(PLACED.splitlines()[0] + "\n" + row + "\n", PANELS)


def test_a_bay_is_all_of_its_parts() -> None:
    """The thickness of a bay counts for its four parts, a cover at a place for one of them."""
    parts = Panels(PANELS.plan, (1.5, 2.0))
    text = "panel,x_m,y_m,face,cover_mm,thickness_mm\nC1-C2,,,,,248\nC1-C2,2.0,1.0,top,40,\n"
    survey = parse_survey(text, parts)
    assert list(survey) == [f"C1-C2 part {a}.{b}" for a in (1, 2) for b in (1, 2)]
    assert all(one.readings[Key("thickness")] == (0.248,) for one in survey.values())
    covered = [name for name, one in survey.items() if Key("cover", "top") in one.readings]
    assert covered == ["C1-C2 part 2.2"]
    with pytest.raises(DeckError, match=r"lies in C2-C3 part 1.2, not in C1-C2"):
        parse_survey(text.replace("2.0,1.0", "3.5,1.0"), parts)


def test_a_place_needs_both_coordinates() -> None:
    with pytest.raises(DeckError, match="column 'y_m' is missing beside 'x_m'"):
        parse_survey("panel,x_m\n", PANELS)
    with pytest.raises(DeckError, match="column 'panel' is missing, and so are 'x_m' and 'y_m'"):
        parse_survey("face\n", PANELS)
    assert list(parse_survey("x_m,y_m,thickness_mm\n1,0,250\n", PANELS)) == ["C1-C2"]


def test_every_quantity_has_a_column_with_its_unit() -> None:
    units = {"mm": 1e-3, "MPa": 1e6, "percent": 1e-2}
    for measure in MEASURES.values():
        assert measure.column in COLUMNS
        assert measure.unit == units[measure.column.rsplit("_", 1)[1]]
        assert measure.low < measure.high


def test_keys_in_words() -> None:
    assert str(Key("spacing", "bottom", "x")) == "spacing, bottom, bars along x"
    assert str(Key("thickness")) == "thickness"


def test_cells_may_be_divided_by_semicolons(tmp_path: Path) -> None:
    """As spreadsheets write them where the decimal mark is a comma."""
    file = tmp_path / "survey.csv"
    text = HEADER.replace(",", ";") + "C1-C2;bottom;x;16;131,5;;;\nC1-C2;;;;;;;268\n"
    file.write_text("\ufeff" + text, encoding="utf-8")
    readings = read_survey(file, PANELS)["C1-C2"].readings
    assert readings[Key("spacing", "bottom", "x")] == (0.1315,)
    assert readings[Key("thickness")] == (0.268,)
    with pytest.raises(DeckError, match=r"line 2: thickness_mm 'a,b' is not a number"):
        parse_survey(HEADER.replace(",", ";") + "C1-C2;;;;;;;a,b\n", PANELS)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_end_as_on_any_system(tmp_path: Path, end: str) -> None:
    path = tmp_path / "site.csv"
    path.write_bytes((HEADER.strip() + end + "C1-C2,,,,,,,268" + end).encode())
    assert read_survey(path, PANELS)["C1-C2"].readings[Key("thickness")] == (0.268,)

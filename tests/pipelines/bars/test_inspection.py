"""The inspection sheet: limits that the as-built check finds again when the sheet is filled in."""

import csv
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipelines.analysis.analyse import analyse
from pipelines.analysis.kept import Kept
from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Adequacy, Check, PanelVerdict
from pipelines.bars.inspection import Measured, PanelSheet, panel_sheets, read_as_drawn
from pipelines.caution import CAUTION
from pipelines.cli.main import main
from pipelines.deck.deck import Deck
from pipelines.deck.reading.survey_file import parse_survey
from pipelines.deck.survey import Key
from pipelines.errors import DeckError, JobError
from pipelines.inspection import inspect
from pipelines.report.data.inspection_csv import least_words, most_words, write_inspection
from pipelines.report.drawings.inspection_plan import MARK, OFF, SIDES, _beside, _box
from pipelines.report.html import html_of
from pipelines.report.pdf import typst_of
from pipelines.report.sections.inspection import _on_an_arc, inspection
from pipelines.standards.detailing.tolerances import (
    cover_tolerance,
    diameter_tolerance,
    thickness_tolerance,
)
from tests.pipelines.decks_with_bars import bars
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

THICK = SLAB.replace("thickness_mm = 250", "thickness_mm = 300")
# the soffit along x has little to spare
BARS = bars(bottom=("14@125", "20@125"))
SURVEY = '[survey]\nfile = "inspection.csv"\n'
Row = dict[str, str]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("deck")


@pytest.fixture(scope="module")
def kept() -> Kept:
    return Kept()


@pytest.fixture(scope="module")
def drawn(folder: Path) -> Deck:
    return deck_of(folder, THICK, PLAN, BEAMS, TRAFFIC, BARS)


@pytest.fixture(scope="module")
def as_drawn(drawn: Deck, kept: Kept) -> Result:
    return analyse(read_as_drawn(drawn), kept=kept, tolerances_wanted=False, strips_wanted=False)


@pytest.fixture(scope="module")
def sheets(as_drawn: Result) -> tuple[PanelSheet, ...]:
    assert as_drawn.design is not None
    return panel_sheets(as_drawn.solved, as_drawn.design)


@pytest.fixture(scope="module")
def rows(folder: Path, sheets: tuple[PanelSheet, ...]) -> list[Row]:
    write_inspection(folder / "blank.csv", sheets)
    with (folder / "blank.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def filled(
    folder: Path, rows: list[Row], kept: Kept, reading: Callable[[Row], str], plan: str = PLAN
) -> Result:
    """The deck judged by the sheet with readings."""
    with (folder / "inspection.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows({**row, "reading": reading(row), "date": "2026-11-30"} for row in rows)
    deck = deck_of(folder, THICK, plan, BEAMS, TRAFFIC, SURVEY, BARS)
    return analyse(deck, kept=kept, tolerances_wanted=False, strips_wanted=False)


def utilisations(verdict: PanelVerdict) -> list[tuple[Check, str, float]]:
    return [
        (judged.check, found.place, found.utilisation)
        for judged in verdict.judgements
        for found in judged.found
    ]


def test_a_sheet_filled_in_with_the_drawing_finds_the_drawing(
    folder: Path, rows: list[Row], kept: Kept, as_drawn: Result
) -> None:
    result = filled(folder, rows, kept, lambda row: row["drawing"])
    assert result.design is not None
    bars = result.design.reinforcement.bars
    for panel, before in zip(result.verdicts[0].panels, as_drawn.verdicts[0].panels, strict=True):
        assert panel.adequacy is before.adequacy is Adequacy.ADEQUATE
        for one, other in zip(utilisations(panel), utilisations(before), strict=True):
            assert one[:2] == other[:2]
            # readings are mm in the file
            assert one[2] == pytest.approx(other[2], rel=1e-9)
    for check in result.design.standards[0].panels:
        assert check.as_built.from_drawing == ()
        for face in ("top", "bottom"):
            assert check.bars.mat(face).cover == pytest.approx(bars.mat(face).cover, rel=1e-12)
    # as drawn means the checks of the drawing: together both panels are the slab
    without = analyse(
        replace(result.deck, reinforcement=replace(result.design.reinforcement, survey=None)),
        kept=kept,
        tolerances_wanted=False,
        strips_wanted=False,
    )
    for check in (Check.BENDING, Check.SHEAR, Check.CRACKS, Check.FATIGUE):
        [slab, panels] = (
            max(
                found.utilisation
                for verdict in verdicts
                for judged in verdict.judgements
                if judged.check is check
                for found in judged.found
            )
            for verdicts in (without.verdicts, result.verdicts[0].panels)
        )
        assert panels == pytest.approx(slab, rel=1e-9)


def limits(sheet: PanelSheet) -> list[tuple[Measured, str, float, Check]]:
    """Every limit that something stops: the value as printed [mm], away from the drawing, and the
    check."""
    found = []
    for one in sheet.measured:
        for limit, words, away in ((one.least, least_words, -1.0), (one.most, most_words, 1.0)):
            if limit is not None and limit.stops is not None:
                found.append((one, words(limit), away, limit.stops[0]))
    return found


def in_the_row(one: Measured, row: Row) -> bool:
    key = (row["quantity"], row["face"], row["direction"])
    return key == (one.key.measure.column, one.key.face or "", one.key.direction or "")


def judge_limits(
    folder: Path,
    rows: list[Row],
    kept: Kept,
    panel: str,
    looked: list[tuple[Measured, str, float, Check]],
) -> None:
    """The printed value passes; 0.3 mm more does not, by the check that is named: a tenth is of
    printing, a tenth of bisection."""
    for one, printed, away, check in looked:
        for value, passes in ((float(printed), True), (float(printed) + 0.3 * away, False)):

            def reading(row: Row, one: Measured = one, value: float = value) -> str:
                mine = row["panel"] == panel and in_the_row(one, row)
                return f"{value:.6g}" if mine else row["drawing"]

            [found] = [
                verdict
                for verdict in filled(folder, rows, kept, reading).verdicts[0].panels
                if verdict.panel == panel
            ]
            assert (found.adequacy is Adequacy.ADEQUATE) == passes, (one.key, value)
            failing = {judged.check for judged in found.of(Adequacy.NOT_ADEQUATE)}
            assert passes or check in failing, (one.key, value)


def test_readings_inside_the_limits_pass_and_outside_fail_by_the_check_that_is_named(
    folder: Path, rows: list[Row], kept: Kept, sheets: tuple[PanelSheet, ...]
) -> None:
    looked = [
        limit
        for limit in limits(sheets[0])
        if limit[0].key == Key("spacing", "bottom", "x")
        or (limit[0].key == Key("cover", "bottom") and limit[2] < 0.0)
    ]
    assert {check for *_, check in looked} == {Check.FATIGUE, Check.COVER}
    judge_limits(folder, rows, kept, sheets[0].panel, looked)


@pytest.mark.slow
def test_all_limits_of_all_panels(
    folder: Path, rows: list[Row], kept: Kept, sheets: tuple[PanelSheet, ...]
) -> None:
    for sheet in sheets:
        looked = limits(sheet)
        quantities = {"thickness", "cover", "diameter", "spacing"}
        assert {one.key.quantity for one, *_ in looked} == quantities
        assert {check for *_, check in looked} >= {Check.FATIGUE, Check.COVER, Check.CRACKS}
        judge_limits(folder, rows, kept, sheet.panel, looked)


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["skew_deg = 30", "radius_m = 40"])
def test_a_sheet_of_a_skew_or_curved_deck_comes_back(tmp_path: Path, shape: str) -> None:
    """Filled in with the drawing it finds the drawing, mm of the file apart; the limit of a spacing
    passes, 0.3 mm more does not, by the check that is named."""
    plan, kept = PLAN.replace("overhang_m", f"{shape}\noverhang_m"), Kept()
    deck = deck_of(tmp_path, THICK, plan, BEAMS, TRAFFIC, BARS)
    drawn = analyse(read_as_drawn(deck), kept=kept, tolerances_wanted=False, strips_wanted=False)
    assert drawn.design is not None
    sheets = panel_sheets(drawn.solved, drawn.design)
    write_inspection(tmp_path / "blank.csv", sheets)
    with (tmp_path / "blank.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    same = filled(tmp_path, rows, kept, lambda row: row["drawing"], plan)
    for panel, before in zip(same.verdicts[0].panels, drawn.verdicts[0].panels, strict=True):
        found = utilisations(panel)
        assert len(found) > 10
        for one, other in zip(found, utilisations(before), strict=True):
            assert one[:2] == other[:2]
            assert one[2] == pytest.approx(other[2], rel=1e-9)
    (one, printed, _, check), *_ = (
        limit
        for limit in limits(sheets[0])
        if limit[0].key == Key("spacing", "bottom", "x") and limit[2] > 0.0
    )
    for more, passes in ((0.0, True), (0.3, False)):

        def reading(row: Row, more: float = more) -> str:
            mine = row["panel"] == sheets[0].panel and in_the_row(one, row)
            return f"{float(printed) + more:.6g}" if mine else row["drawing"]

        verdict = filled(tmp_path, rows, kept, reading, plan).verdicts[0].panels[0]
        assert (verdict.adequacy is Adequacy.ADEQUATE) == passes
        assert passes or check in {judged.check for judged in verdict.of(Adequacy.NOT_ADEQUATE)}


def test_swapped_layers_that_fail_are_told_and_found(tmp_path: Path) -> None:
    """12@115 along x outermost with nothing to spare: inside it fails in fatigue."""
    deck = deck_of(tmp_path, THICK, PLAN, BEAMS, TRAFFIC, bars(bottom=("12@115", "20@125")))
    kept = Kept()
    result = analyse(read_as_drawn(deck), kept=kept, tolerances_wanted=False, strips_wanted=False)
    assert result.design is not None
    told = panel_sheets(result.solved, result.design)
    for face, order in zip(("top", "bottom"), told[0].orders, strict=True):
        assert order.face == face
        assert (order.stops is None) == (face == "top")
    stops = told[0].orders[1].stops
    assert stops is not None
    (tmp_path / "inspection.csv").write_text(
        "panel,face,quantity,reading\nC1-C2,bottom,outer,y\n", encoding="utf-8"
    )
    text = bars(bottom=("12@115", "20@125"))
    read = deck_of(tmp_path, THICK, PLAN, BEAMS, TRAFFIC, SURVEY, text)
    panel = (
        analyse(read, kept=kept, tolerances_wanted=False, strips_wanted=False).verdicts[0].panels[0]
    )
    assert stops[0] in {judged.check for judged in panel.of(Adequacy.NOT_ADEQUATE)}


def test_every_panel_has_its_page_with_places_in_it(
    folder: Path, as_drawn: Result, sheets: tuple[PanelSheet, ...], rows: list[Row]
) -> None:
    document = inspection(as_drawn, sheets)
    source, drawings = typst_of(document)
    assert source.count("#pagebreak(weak: true)") == len(sheets) == len(drawings) == 2
    survey = as_drawn.deck.required_reinforcement.survey
    assert survey is not None
    for number, sheet in zip(survey.built, sheets, strict=True):
        assert [place.number for place in sheet.places] == list(range(1, len(sheet.places) + 1))
        for place in sheet.places:
            assert survey.panels.holds(number, [place.at])[0]  # type: ignore[arg-type]
        for one in sheet.measured:
            assert one.places
    assert {row["caution"] for row in rows} == {"for a qualified engineer to verify"}
    # a blank sheet holds nothing that was read
    blank = (folder / "blank.csv").read_text(encoding="utf-8")
    assert parse_survey(blank, survey.panels) == {}


def test_the_command_writes_the_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    deck_of(tmp_path, THICK, PLAN, BEAMS, TRAFFIC, BARS)
    assert main(["inspect", str(tmp_path / "deck.toml"), "--out", str(tmp_path / "out")]) == 0
    assert "2 panels" in capsys.readouterr().out
    page = (tmp_path / "out" / "inspection.html").read_text(encoding="utf-8")
    assert '<main class="paged">' in page
    assert page.count("Results are for a qualified engineer to verify") >= 3
    assert (tmp_path / "out" / "inspection.csv").exists()


def test_what_cannot_be_inspected_is_told(tmp_path: Path) -> None:
    deck_of(tmp_path, THICK, PLAN, BEAMS, TRAFFIC)
    with pytest.raises(JobError, match="no bars to inspect"):
        inspect(tmp_path / "deck.toml", tmp_path / "out")
    assert not (tmp_path / "out").exists()


HEAD = "panel,face,direction,cover_mm,quantity,reading\n"


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("C1-C2,bottom,,,depth,42", "line 2: quantity 'depth': thickness_mm, cover_mm"),
        ("C1-C2,bottom,,,,42", "line 2: reading '42' needs quantity"),
        ("C1-C2,bottom,,40,cover_mm,42", "line 2: reading '42' stands beside cover_mm '40'"),
        ("C1-C2,bottom,,,cover_mm,fifty", "line 2: cover_mm 'fifty' is not a number"),
        ("C1-C2,bottom,,,spacing_mm,125", "line 2: spacing_mm needs face and direction"),
        ("C1-C2,bottom,,,outer,z", "line 2: outer 'z': x or y"),
    ],
)
def test_mistakes_in_a_sheet(drawn: Deck, row: str, told: str) -> None:
    survey = read_as_drawn(drawn).required_reinforcement.survey
    assert survey is not None
    with pytest.raises(DeckError) as error:
        parse_survey(HEAD + row + "\n", survey.panels)
    assert told in str(error.value)


def test_a_reading_of_a_sheet_is_that_of_its_column(drawn: Deck) -> None:
    survey = read_as_drawn(drawn).required_reinforcement.survey
    assert survey is not None
    text = HEAD + "C1-C2,bottom,,,cover_mm,42\nC1-C2,bottom,,44,,\nC1-C2,bottom,,,outer,y\n"
    read = parse_survey(text, survey.panels)["C1-C2"]
    assert read.readings == {Key("cover", "bottom"): (0.042, 0.044)}
    assert read.outer == {"bottom": "y"}


def test_tolerances_of_execution_by_hand() -> None:
    """EN 13670: 300 mm lies 0.6 of the way from 150 to 400: 10 + 0.6 5 = 13 mm; covers 10 less.
    Half of 4.5 % of the mass of 16 mm is 0.36 mm. IS 456, ACI 117: 3/8 and 1/4 in up to 12 in."""
    thick = thickness_tolerance("EN 1992", 0.300)
    assert (thick.less, thick.more) == pytest.approx((0.013, 0.013))
    cover = cover_tolerance("EN 1992", 0.300, 0.045)
    assert (cover.less, cover.more) == pytest.approx((0.010, 0.013))
    assert diameter_tolerance("EN 1992", 0.016).less == pytest.approx(0.00036)
    assert thickness_tolerance("IRC:112", 0.3).less == pytest.approx(0.006)
    assert cover_tolerance("IRC:112", 0.3, 0.05).less == 0.0
    assert thickness_tolerance("AASHTO LRFD", 0.215).more == pytest.approx(0.009525)
    assert cover_tolerance("AASHTO LRFD", 0.215, 0.0254).less == pytest.approx(0.0254 / 3)


ADDED = """
[[bars.added]]
mark = "A1"
direction = "x"
diameter_mm = 14
spacing_mm = 250
stations_m = [-1.0, 3.2]
"""


@pytest.mark.slow
def test_added_bars_are_read_by_their_mark(tmp_path: Path) -> None:
    """The first panel has them between its top bars, the second a strip that is too short to count.

    Filled in with the drawing, the sheet finds the drawing; with 12 in place of 14 mm the parts
    that have them have 12 mm, and no other part changes.
    """
    text = bars(bottom=("14@125", "20@125"), top=("20@250", "20@125"), more=ADDED)
    deck = deck_of(tmp_path, THICK, PLAN, BEAMS, TRAFFIC, text)
    kept = Kept()
    as_drawn = analyse(read_as_drawn(deck), kept=kept, tolerances_wanted=False, strips_wanted=False)
    assert as_drawn.design is not None
    names = [one.panel for one in as_drawn.verdicts[0].panels]
    assert names == ["C1-C2", "C1-C2, with A1", "C2-C3"]
    write_inspection(tmp_path / "blank.csv", panel_sheets(as_drawn.solved, as_drawn.design))
    with (tmp_path / "blank.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    marked = [row for row in rows if row["mark"]]
    assert {(row["panel"], row["mark"], row["quantity"]) for row in marked} == {
        ("C1-C2", "A1", "diameter_mm"),
        ("C1-C2", "A1", "spacing_mm"),
    }
    assert all(row["face"] == "top" and row["direction"] == "x" for row in marked)

    def judged(diameter: str) -> Result:
        with (tmp_path / "inspection.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            for row in rows:
                own = row in marked and row["quantity"] == "diameter_mm"
                writer.writerow({**row, "reading": diameter if own else row["drawing"]})
        read = deck_of(tmp_path, THICK, PLAN, BEAMS, TRAFFIC, SURVEY, text)
        return analyse(read, kept=kept, tolerances_wanted=False, strips_wanted=False)

    same, less = judged("14"), judged("12")
    for result, alike in ((same, True), (less, False)):
        for one, before in zip(result.verdicts[0].panels, as_drawn.verdicts[0].panels, strict=True):
            assert one.panel == before.panel
            pairs = zip(utilisations(one), utilisations(before), strict=True)
            found = [abs(a[2] - b[2]) < 1e-8 * max(b[2], 1.0) for a, b in pairs]
            assert all(found) == (alike or "A1" not in one.panel)
    assert less.design is not None
    (check,) = (one for one in less.design.standards[0].panels if "A1" in one.panel)
    assert check.bars.bars(("top", "x")).between[0].diameter == pytest.approx(0.012)
    assert any("A1: diameter 12 mm, drawn 14" in why for why in check.why)
    assert any(one.key.mark == "A1" and one.value > 0.0 for one in check.deviations)


def test_names_of_places_near_each_other_stand_apart() -> None:
    """One place a little to the left of another and one below it, as on a skew panel."""
    places = [np.array([100.0, 100.0]), np.array([89.0, 100.0]), np.array([100.0, 112.0])]
    half = MARK / 2
    marks = [_box(at, (-half, half), half, MARK) for at in places]
    taken: list[shapely.Geometry] = [*marks]
    sides = [_beside(at, f"P{k}", taken, marks) for k, at in enumerate(places, start=1)]
    assert sides[0] == SIDES[0]
    assert len(taken) == 6
    for one, other in combinations(taken, 2):
        assert not one.intersects(other)


def test_the_name_of_a_place_beside_a_line_stands_on_its_other_side() -> None:
    at, half = np.array([100.0, 100.0]), MARK / 2
    mark = _box(at, (-half, half), half, MARK)
    line = shapely.LineString([(106.0, 0.0), (106.0, 200.0)])
    assert _beside(at, "P1", [mark, line], [mark])[2] == "end"


def test_a_name_stands_nearer_to_its_own_place_than_to_another() -> None:
    """Of three in a row, as where bars of all layers are used most in the middle of a panel."""
    places = [np.array([x, 100.0]) for x in (100.0, 111.0, 122.0)]
    half = MARK / 2
    marks = [_box(at, (-half, half), half, MARK) for at in places]
    taken: list[shapely.Geometry] = [*marks]
    for k, at in enumerate(places):
        _beside(at, f"P{k}", taken, marks)
        room = taken[-1]
        assert min(marks, key=room.distance) is marks[k]


def test_a_name_without_room_beside_its_place_stands_off() -> None:
    """Three places nearer to each other than a name is wide, below a line, as on a curved panel;
    the line to its place meets no other place and no other name."""
    places = [np.array([x, 100.0]) for x in (100.0, 106.0, 112.0)]
    half = MARK / 2
    marks = [_box(at, (-half, half), half, MARK) for at in places]
    line = shapely.LineString([(0.0, 95.0), (200.0, 95.0)])
    taken: list[shapely.Geometry] = [*marks, line]
    sides = [_beside(at, f"P{k}", taken, marks) for k, at in enumerate(places)]
    assert any(side in OFF for side in sides)
    names = taken[4:]
    for k, (at, side) in enumerate(zip(places, sides, strict=True)):
        others = [*marks[:k], *marks[k + 1 :], *names[:k], *names[k + 1 :]]
        assert not any(names[k].intersects(one) for one in (*others, line))
        if side in OFF:
            way = shapely.shortest_line(shapely.Point(at), names[k])
            assert not any(way.intersects(one) for one in others[: len(marks) - 1 + k])
        else:
            assert min(marks, key=names[k].distance) is marks[k]


def test_a_curved_panel_tells_how_radial_spacings_are_read(tmp_path: Path) -> None:
    """On R 12 m to the left the outer edge is the right one, offset 2 m: 14 m; to the right, the
    left one."""
    for radius, told, edge in (
        ("-12", "14.00 / (12.00 + y)", "offset 2.00 m"),
        ("12", "14.00 / (12.00 \u2212 y)", "offset \u22122.00 m"),
    ):
        plan = PLAN.replace("overhang_m", f"radius_m = {radius}\noverhang_m")
        (words,) = _on_an_arc(deck_of(tmp_path, SLAB, plan, BEAMS).plan)
        assert told in str(words)
        assert edge in str(words)
    assert not [*_on_an_arc(deck_of(tmp_path, SLAB, PLAN, BEAMS).plan)]


def test_a_caution_has_no_page_of_its_own(sheets: tuple[PanelSheet, ...], as_drawn: Result) -> None:
    """Each page has it with its notes: the first with the rules, the others with their panel."""
    text, _ = typst_of(inspection(as_drawn, sheets))
    assert text.count(CAUTION) == 2 + len(sheets)  # and at the foot of all
    first, *pages = text.split("#pagebreak(weak: true)")
    assert first.count(CAUTION) == 2
    assert [page.count(CAUTION) for page in pages] == [1] * len(sheets)


def test_there_is_room_to_write_readings_by_hand(
    sheets: tuple[PanelSheet, ...], as_drawn: Result
) -> None:
    """Every panel's rows are set higher than those that are only read, on paper and in HTML."""
    document = inspection(as_drawn, sheets)
    text, _ = typst_of(document)
    assert text.count("by-hand: true") == len(sheets)
    assert html_of(document).count('<table class="by-hand">') == len(sheets)

"""Bars added to the mats in parts of the slab: where they count, and what the checks make of it."""

import re
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Check
from pipelines.bars.checks.bending_and_service import resistances
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.drawn_parts import OUTSIDE, DrawnBars
from pipelines.bars.schedule.laid import laid_bars
from pipelines.deck.deck import Deck
from pipelines.errors import DeckError
from pipelines.report.data.summary import summary
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.resistance.bars import Bars
from tests.pipelines.decks_with_bars import bars, result_of
from tests.pipelines.report_page import report_page
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of, solver_of


def added(layer: str, size: str, where: str, mark: str = "") -> str:
    """A table that belongs to the mat before it; layer: "x" or "y"."""
    diameter, spacing = size.split("@")
    name = f'mark = "{mark}"\n' if mark else ""
    return (
        f'[[bars.added]]\n{name}direction = "{layer}"\ndiameter_mm = {diameter}\n'
        f"spacing_mm = {spacing}\n{where}\n"
    )


def top(size: str, *more: str) -> str:
    """The sound bars with other top bars along x and bars added to the top mat."""
    text = bars(top=(size, "20@125"))
    tables = "".join(more)
    return text.replace("[fatigue]", f"{tables}[fatigue]")


def read(folder: Path, text: str, plan: str = PLAN) -> Deck:
    slab = SLAB.replace("thickness_mm = 250", "thickness_mm = 300")
    return deck_of(folder, slab, plan, BEAMS, TRAFFIC, text)


def test_a_layer_of_two_sets_by_hand() -> None:
    """16@200 and 12@200 between: (201.06 + 113.10) / 0.2 = 1570.8 mm2/m; equation 7.12 of EN
    1992-1-1: (256 + 144) / (16 + 12) = 14.29 mm; 100 - 8 - 6 = 86 mm clear."""
    both = Bars(0.016, 0.200, between=(Bars(0.012, 0.200),))
    assert both.area == pytest.approx(1570.8e-6, rel=1e-5)
    assert both.equivalent == pytest.approx(14.2857e-3, rel=1e-5)
    assert both.largest == 0.016
    assert both.widest == pytest.approx(0.100)
    assert both.clear == pytest.approx(0.086)
    assert str(both) == "16@200 + 12@200"


def test_bars_in_every_second_gap() -> None:
    """16@100 and 20@200: neighbours stay 100 mm apart where nothing lies between; clear in the
    other gaps 50 - 8 - 10 = 32 mm."""
    both = Bars(0.016, 0.100, between=(Bars(0.020, 0.200),))
    assert both.widest == 0.100
    assert both.clear == pytest.approx(0.032)
    assert both.largest == 0.020


def test_several_sets_in_one_place(tmp_path: Path) -> None:
    """Between 16@250: B takes the middle of every second gap; C, at 500 too, that of the others; D,
    12@250 over both, lies halfway to the bars of the mat, E elsewhere in the middle.

    The steel where all lie: (201.06 / 250 + 2 x 113.10 / 500 + 113.10 / 250) = 1709 mm2/m; centres
    0, 62.5, 125, 250: 125 mm at most, 62.5 - 6 - 8 = 48.5 mm clear.
    """
    where = {"B": (0.0, 2.0), "C": (0.0, 2.0), "D": (-1.0, 1.0), "E": (-2.0, -1.0)}
    tables = [
        added("x", "12@500" if mark in "BC" else "12@250", f"offsets_m = {list(pair)}", mark)
        for mark, pair in where.items()
    ]
    deck = read(tmp_path, top("16@250", *tables))
    reinforcement = deck.required_reinforcement
    assert [one.bars.place for one in reinforcement.added] == [0.5, 1.5, 0.25, 0.5]
    whole = reinforcement.with_added(reinforcement.added[2]).bars(("top", "x"))
    assert 1e6 * whole.area == pytest.approx(1709.0, abs=0.1)
    assert whole.clear == pytest.approx(0.0485)
    assert whole.widest == pytest.approx(0.125)
    assert str(whole) == "16@250 + 12@500 + 12@500 + 12@250"
    # the checks read what is there, the schedule lays each where it is
    drawn = DrawnBars.of(solver_of(deck), reinforcement.bases[0].materials)
    at = np.column_stack([np.full(4, 3.0), [-1.5, -0.5, 0.5, 1.5]])
    areas = drawn.at(at, lambda bars: {("top", "x"): bars.bars(("top", "x")).area})["top", "x"]
    steel = np.pi / 4 * np.array([16.0**2 / 250, 12.0**2 / 250, 12.0**2 / 500])
    expected = [steel[:2].sum(), steel[:2].sum(), steel @ [1, 1, 2], steel @ [1, 0, 2]]
    assert 1e3 * areas == pytest.approx(expected, rel=1e-9)
    mat, *more = (one for one in laid_bars(deck) if one.layer == ("top", "x"))
    first = min(line.across for line in mat.lines)
    for one, off in zip(more, (0.5, 1.5, 0.25, 0.5), strict=True):
        gaps = (np.array([line.across for line in one.lines]) - first) / 0.250 - off
        multiple = 2 if one.mark in "BC" else 1
        assert gaps / multiple == pytest.approx(np.rint(gaps / multiple), abs=1e-9)


@pytest.mark.parametrize(
    ("between", "words"),
    [
        (Bars(0.012, 0.180), "whole multiple"),
        (Bars(0.012, 0.050), "whole multiple"),
        (Bars(0.090, 0.100), "do not fit"),
    ],
)
def test_bars_that_do_not_lie_between_each_other(between: Bars, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Bars(0.016, 0.100).with_more(between)


def test_added_bars_count_from_where_they_are_anchored(tmp_path: Path) -> None:
    """Along x over C2 (x = 3) they end 1.6 m to each side inside the slab; those along y end at
    its edges, where they are anchored like the mat's."""
    text = top(
        "20@250",
        added("x", "16@250", 'along = "C2"\nreach_m = 1.6', "over"),
        added("y", "16@125", "stations_m = [0.0, 1.0]", "edge"),
    )
    deck = read(tmp_path, text)
    drawn = DrawnBars.of(solver_of(deck), deck.required_reinforcement.bases[0].materials)
    bond = drawn.anchored[0]
    both = deck.required_reinforcement.bars.with_added(("top", "x"), Bars(0.016, 0.250))
    assert bond == anchorage(both, ("top", "x"), deck.required_reinforcement.bases[0].materials)
    assert 0.5 < bond < 1.5
    reach = 1.6 - bond
    x = 3.0 + np.array([-reach - 1e-3, -reach + 1e-3, 0.0, reach - 1e-3, reach + 1e-3])
    across = np.column_stack([x, np.full(5, 1.9)])
    assert drawn.counted(across)[0].tolist() == [False, True, True, True, False]
    # along an edge of the slab they end where they end within it
    assert drawn.counted(across + np.array([0.0, 0.1]))[0].tolist() == [
        False,
        True,
        True,
        True,
        False,
    ]
    along = np.column_stack([np.full(3, 0.5), [-2.0, 0.0, 2.0]])
    assert drawn.counted(along)[1].all()
    assert [part.name for part in drawn.parts] == [OUTSIDE, "with edge", "with over"]


def test_bars_that_stop_short_of_lines(tmp_path: Path) -> None:
    """Clear of C1 to C3, 3 m apart, by 0.5 m: two strips of 2 m over a width of 4 m, and nothing in
    the overhangs of 0.4 m. In each they count where they are anchored."""
    text = top("20@250", added("x", "16@250", 'clear_of = "C*"\nclear_m = 0.5'))
    deck = read(tmp_path, text)
    (one,) = deck.required_reinforcement.added
    assert one.area.area == pytest.approx(2 * 2.0 * 4.0, rel=1e-9)
    assert one.where == "clear of C* by 0.50 m"
    drawn = DrawnBars.of(solver_of(deck), deck.required_reinforcement.bases[0].materials)
    (bond,) = drawn.anchored
    assert bond < 1.0
    x = 0.5 + np.array([-0.6, bond - 1e-3, bond + 1e-3, 2.0 - bond - 1e-3, 2.0 - bond + 1e-3, 2.2])
    counted = drawn.counted(np.column_stack([x, np.full(6, -1.9)]))[0]
    assert counted.tolist() == [False, False, True, True, False, False]


@pytest.fixture(scope="module")
def strengthened(tmp_path_factory: pytest.TempPathFactory) -> Result:
    over = added("x", "16@250", 'along = "C2"\nreach_m = 2.0', "over")
    return result_of(tmp_path_factory.mktemp("added"), top("16@250", over))


def test_every_place_is_judged_by_its_own_bars(strengthened: Result) -> None:
    """The field of utilisations, read by parts, has the largest value of each part."""
    design = strengthened.design
    assert design is not None
    (standard,) = design.standards
    (part,) = standard.added
    plan = strengthened.solved.recovery.points.plan
    drawn = DrawnBars.of(strengthened.solved, standard.basis.materials)
    inside = drawn.parts[1].holds(plan)
    assert 0 < inside.sum() < len(plan)
    for k, layer in enumerate(LAYER_ROWS):
        for checks, where in ((standard, ~inside), (part, inside)):
            check = next(one for one in checks.layers if one.layer == layer)
            assert check.utilisation == pytest.approx(
                float(standard.utilisation[k][where].max()), rel=1e-12
            )
    more = resistances(part.bars, standard.basis.materials)["top", "x"]
    less = resistances(standard.bars, standard.basis.materials)["top", "x"]
    assert more > 1.5 * less


def test_verdict_and_page_tell_of_the_part(strengthened: Result) -> None:
    (verdict,) = strengthened.verdicts
    bending = next(j for j in verdict.judgements if j.layer == ("top", "x"))
    assert any(found.place.endswith("(with over)") for found in bending.found)
    assert any("(with" not in found.place for found in bending.found)
    entry = summary(strengthened)["design"]["standards"]["EN 1992"]["added"]["with over"]
    assert entry["bars"]["top_x"] == "16@250 + 16@250"
    page = re.sub(r"<[^>]*>", "", report_page(strengthened))
    assert "Bars added to the mats" in page
    assert "within 2.00 m of C2" in page


def test_bars_added_everywhere_are_a_denser_mat(tmp_path: Path) -> None:
    """16@250 between 16@250 over the whole slab are 16@125: every check comes to the same."""
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    everywhere = added("x", "16@250", "stations_m = [-5.0, 20.0]", "all")
    doubled = result_of(tmp_path / "one", top("16@250", everywhere))
    dense = result_of(tmp_path / "two", top("16@125"))
    assert doubled.design is not None
    assert dense.design is not None
    (found,), (wanted,) = doubled.design.standards, dense.design.standards
    assert found.added == ()
    for one, other in zip(found.layers, wanted.layers, strict=True):
        assert one.utilisation == pytest.approx(other.utilisation, rel=1e-9)
    np.testing.assert_allclose(found.utilisation, wanted.utilisation, rtol=1e-9)
    mine, theirs = (
        {(j.check, j.layer): j.worst.utilisation for j in verdict.judgements if j.worst is not None}
        for verdict in (*doubled.verdicts, *dense.verdicts)
    )
    assert mine.keys() == theirs.keys()
    assert Check.SHEAR in {check for check, _ in mine}
    for key, value in theirs.items():
        assert mine[key] == pytest.approx(value, rel=1e-6), key


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ("reach_m = 1.0", "goes with along or opening"),
        ('along = "C2"', "goes with along or opening"),
        ('along = "C9"\nreach_m = 1.0', "matches no line of the plan"),
        ("opening = 1\nreach_m = 0.5", "the plan has 0 openings"),
        ('clear_of = "C2"', "goes with clear_of"),
        ("stations_m = [0.0, 2.0]\nclear_m = 0.5", "goes with clear_of"),
        ('clear_of = "C9"\nclear_m = 1.0', "matches no line of the plan"),
        ('clear_of = "C*"\nclear_m = 50.0', "lies nowhere on the slab"),
        ("", "needs along, clear_of, opening, corners_m, stations_m or offsets_m"),
        ("stations_m = [40.0, 50.0]", "lies nowhere on the slab"),
        ("stations_m = [2.0, 1.0]", "the second must be larger"),
        ("corners_m = [[0.0, 0.0], [2.0, 1.0], [2.0, 0.0], [0.0, 1.0]]", "crosses itself"),
    ],
)
def test_mistakes_in_where_bars_lie(tmp_path: Path, where: str, words: str) -> None:
    with pytest.raises(DeckError, match=words):
        read(tmp_path, top("16@250", added("x", "16@250", where)))


def test_mistakes_between_added_bars(tmp_path: Path) -> None:
    one = added("x", "16@250", 'along = "C2"\nreach_m = 1.0', "M")
    full = [added("x", "12@250", "offsets_m = [0.0, 1.0]") for _ in range(3)]
    with pytest.raises(DeckError, match=r"A4 lies in one layer with M and A2 and A3: .* no gap"):
        read(tmp_path, top("16@250", one, *full))
    # 60 - 8 - 23 mm from the mat's bars, but 30 - 8 - 23 from M's
    thick = added("x", "46@120", "offsets_m = [0.0, 1.0]")
    with pytest.raises(DeckError, match=r"A2 lies in one layer with M: .* do not fit"):
        read(tmp_path, top("16@120", one.replace("250", "120"), thick))
    with pytest.raises(DeckError, match="stands twice"):
        read(tmp_path, top("16@250", one, one.replace("C2", "C1")))
    with pytest.raises(DeckError, match=r"added\[1\], spacing_mm = 180: .*whole multiple"):
        read(tmp_path, top("16@250", one.replace("spacing_mm = 250", "spacing_mm = 180")))

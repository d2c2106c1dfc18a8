"""Load tests of a deck file and their readings: what is read, and every mistake with its place."""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.deck.load_test import Stiffness
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError
from tests.pipelines.load_test_decks import (
    FIT,
    HEADS,
    LORRY,
    MESH,
    POSITIONS,
    blank_readings,
    deck_with,
    load_test,
)
from tests.pipelines.mutants import mutant, table_mutant
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB

ROW = "P1,G1,1.5,0.0,1,,,,,0.01"
TWO = f"{HEADS}\n{ROW}\nP2,G1,,,1,,,,,0.01\n"
SOFT = 'fit = [{ of = "slab E" }]'


def told(folder: Path, *parts: str, readings: str | None = None) -> list[str]:
    """The mistakes of a deck."""
    with pytest.raises(DeckError) as refused:
        deck_with(folder, *parts, readings=readings)
    return refused.value.mistakes


def test_what_is_read(tmp_path: Path) -> None:
    text = "position,place,x_m,y_m,strain_um_m,face,direction,lever_mm,accuracy\n"
    text += "P1,S1,1.5,0.5,-61.5,top,y,110,2\n"
    probe = '[[probe]]\nname = "mid"\nat_m = [4.5, 0.25]\n'
    text = text.replace("\n", ",deflection_mm\n", 1) + "P3,mid,,,,,,,0.02,3.5\n"
    deck = deck_with(tmp_path, load_test(fit=""), probe, readings=text)
    [test] = deck.load_tests
    strain, deflection = test.readings
    assert (strain.line, strain.position, strain.place, strain.at) == (2, "P1", "S1", (1.5, 0.5))
    assert (strain.quantity, strain.face, strain.direction) == ("strain", "top", "y")
    read = np.array([strain.value, strain.accuracy, strain.lever], dtype=float)
    np.testing.assert_allclose(read, [-61.5e-6, 2e-6, 0.11], rtol=1e-12)
    assert deflection.at == (4.5, 0.25)
    read = np.array([deflection.value, deflection.accuracy], dtype=float)
    np.testing.assert_allclose(read, [3.5e-3, 2e-5], rtol=1e-12)
    assert [one.direction for one in test.positions["P3"]] == ["reverse"]
    assert test.vehicle.impact == 1.0
    assert [axle.load for axle in test.vehicle.axles] == [60e3, 100e3]


def test_commas_for_points_between_semicolons(tmp_path: Path) -> None:
    text = "position;place;x_m;y_m;deflection_mm\nP1;G1;1,5;0,0;3,25\n"
    deck = deck_with(tmp_path, load_test(fit=""), readings=text)
    assert deck.load_tests[0].readings[0].value == pytest.approx(3.25e-3)


ROWS = {
    "P9,G1,1.5,0,1,,,,,": 'line 2, position = "P9": no position of the test, the nearest known one',
    "P1,G1,150,0,1,,,,,": "line 2, x_m, y_m = [150, 0]: not on the slab",
    "P1,G1,nan,0,1,,,,,": "line 2, x_m = nan: allowed is -10000 to 10000 m",
    "P1,G1,1.5,,1,,,,,": "line 2, x_m = 1.5: y_m is missing beside it",
    "P1,G1,,,1,,,,,": 'line 2, place = "G1": its x_m and y_m are missing, and no earlier row',
    "P1,G1,1.5,0,1_0,,,,,": 'line 2, deflection_mm = "1_0": is not a number: allowed is -1000 to',
    "P1,G1,1.5,0,1e9,,,,,": "line 2, deflection_mm = 1000000000: allowed is -1000 to 1000 mm",
    "P1,G1,1.5,0,1,5,,bottom,x,": "line 2: a row has one reading: deflection_mm, strain_um_m, rot",
    "P1,G1,1.5,0,,,,,,": "line 2: a row has one reading",
    "P1,G1,1.5,0,,5,,,x,": "line 2, strain_um_m = 5: needs face",
    "P1,G1,1.5,0,,,5,,,": "line 2, rotation_mrad = 5: needs direction",
    "P1,G1,1.5,0,1,,,top,,": 'line 2, face = "top": a deflection has none',
    "P1,G1,1.5,0,,5,,side,x,": 'line 2, face = "side": allowed is "top" or "bottom"',
    "P1,G1,1.5,0,1,,,,,0": "line 2, accuracy = 0: allowed is 1e-09 to 10000",
    "P1,G1,1.5,0,1,,,,,,,": "line 2: more cells than columns",
    ",G1,1.5,0,1,,,,,": "line 2, position: is missing; allowed is text",
    '"P1,G1': "line 2, place: is missing; allowed is text",
    f"{ROW}\nP1,G1,1.5,0.1,1,,,,,": 'line 3, x_m, y_m = [1.5, 0.1]: place "G1" is at [1.5, 0]',
}


@pytest.mark.parametrize("row", ROWS)
def test_a_mistake_in_a_row_is_told_with_line_column_and_value(tmp_path: Path, row: str) -> None:
    found = told(tmp_path, load_test(fit=""), readings=f"{HEADS}\n{row}\n")
    assert len(found) == 1, found
    assert found[0].startswith("[[loadtest]] 1, readings.csv: ")
    assert ROWS[row] in found[0]


FILES = {
    "": 'column "position": is missing',
    "position,place,x_m,deflexion_mm\n": 'column "deflexion_mm": unknown, the nearest known one is',
    "position,place,place\n": 'column "place": stands twice',
    f"{HEADS}\n": "rows = 0: allowed are 1 to 5000 readings",
    HEADS + "\n" + f"{ROW}\n" * 5001: "rows = 5001: allowed are 1 to 5000 readings",
    "\xff\xfe": "unknown, the nearest",
}


@pytest.mark.parametrize("text", FILES, ids=lambda text: text[:20])
def test_a_file_that_is_none_is_told(tmp_path: Path, text: str) -> None:
    assert any(FILES[text] in line for line in told(tmp_path, load_test(fit=""), readings=text))


def test_a_file_that_is_not_there_or_elsewhere(tmp_path: Path) -> None:
    for name, words in (
        ("none.csv", "there is no such file"),
        ("../readings.csv", "allowed is a file in the deck file's folder"),
        ("/etc/passwd", "allowed is a file in the deck file's folder"),
    ):
        table = load_test(fit="").replace("readings.csv", name)
        assert words in told(tmp_path, table)[0]


TABLES = {
    (LORRY, 'vehicle = "tank"'): '[[loadtest]] 1, vehicle = "tank": unknown vehicle, the nearest',
    (LORRY, ""): "[[loadtest]] 1: give vehicle, the name of one, or its axles",
    ("gauge_m = 1.8, patch_mm = [250, 350] },", "patch_mm = [250, 350] },"): "axles 1: has no whee",
    (
        "offset_m = 0.0 }",
        "offset_m = nan }",
    ): "[[loadtest]] 1, positions 1, offset_m = nan: allowed",
    (
        'name = "P2", station_m = 5.3, offset_m = 0.2',
        'name = "P1", station_m = 2.5, offset_m = 0',
    ): "positions 2, station_m = 2.5: a vehicle stands there already at P1",
    ('of = "slab E"', 'of = "slab F"'): 'fit 1, of = "slab F": allowed is "slab E", "slab thickn',
    (
        'of = "slab E"',
        'of = "slab E", on = "C1"',
    ): "fit 1, on = a list of 1: slab E is of the whole",
    ('on = "C2"', 'on = "C7"'): 'fit 3, on = "C7": has no beam EI that is neither zero nor rigid',
    (', on = "C2"', ""): "fit 3, on: is missing; names or patterns of C1, C2, C3",
    ('on = "C2"', 'on = "C*"'): 'fit 3, of = "beam EI": fit 2 has this stiffness already',
    ('of = "slab E"', 'of = "point k"'): "the deck has none that is neither zero nor rigid: a [[po",
    ('of = "slab E"', 'of = "slab E", factor = [2, 1]'): "fit 1, factor = [2, 1]: the second must",
    ('"middle beam"', '"end beams"'): 'fit 3, name = "end beams": fit 2 has this name already',
    ("fit = [", "fits = ["): 'fits: unknown key, the nearest known one is "fit"',
}


@pytest.mark.parametrize("change", TABLES)
def test_a_mistake_in_the_table_is_told_with_key_and_value(
    tmp_path: Path, change: tuple[str, str]
) -> None:
    table = load_test()
    assert change[0] in table
    found = told(tmp_path, table.replace(change[0], change[1], 1))
    assert any(TABLES[change] in line for line in found), found


def test_a_fit_has_to_know_how_readings_weigh(tmp_path: Path) -> None:
    """All accuracies, or readings of one quantity without any."""
    some = blank_readings().replace("1,,,,,0.01", "1,,,,,", 1)
    words = told(tmp_path, load_test(), readings=some)[0]
    assert "readings.csv, line 2, accuracy: is missing; 26 other readings have theirs" in words
    words = told(tmp_path, load_test(), readings=blank_readings(accuracy=False))[0]
    assert "and so is that of all others, which are deflection and rotation and strain" in words
    of_one = blank_readings(accuracy=False, deflections_only=True)
    deck_with(tmp_path, load_test(), readings=of_one)
    deck_with(tmp_path, load_test(fit=""), readings=blank_readings(accuracy=False))


def test_more_readings_than_unknowns(tmp_path: Path) -> None:
    words = told(tmp_path, load_test(), readings=TWO)[0]
    assert "fit = a list of 3: 2 readings in readings.csv: they have to be more" in words
    deck_with(tmp_path, load_test(fit=SOFT), readings=TWO)


ONE = '[[fitted]]\nof = "slab E"\nfactor = 0.9\n'
FITTED = f'{ONE}[[fitted]]\nof = "beam EI"\non = "C*"\nfactor = 2\n'


def read_with(folder: Path, fitted: str) -> Deck:
    """The deck with the tables of another file."""
    deck_with(folder, load_test(fit=""))
    (folder / "fitted.toml").write_text(fitted, encoding="utf-8")
    return read_deck(folder / "deck.toml", folder / "fitted.toml")


def test_what_was_found_is_in_the_deck(tmp_path: Path) -> None:
    plain = deck_with(tmp_path, load_test(fit=""))
    for deck in (deck_with(tmp_path, load_test(fit=""), FITTED), read_with(tmp_path, FITTED)):
        assert pytest.approx(0.9 * plain.slab.E) == deck.slab.E
        for line, before in zip(deck.lines, plain.lines, strict=True):
            assert line.beam is not None
            assert before.beam is not None
            assert pytest.approx(2.0 * before.beam.I) == line.beam.I
            assert line.beam.Av == before.beam.Av
        assert "slab E × 0.9, beam EI C1 C2 C3 × 2" in deck.warnings[-1]
        assert deck.factor_on(Stiffness("slab E")) == 0.9
        assert deck.factor_on(Stiffness("beam E", ("C1",))) == 1.0


def test_another_file_of_what_was_found_stands_for_the_deck_files_own(tmp_path: Path) -> None:
    deck_with(tmp_path, FITTED)
    (tmp_path / "other.toml").write_text('[[fitted]]\nof = "slab E"\nfactor = 0.5\n', "utf-8")
    deck = read_deck(tmp_path / "deck.toml", tmp_path / "other.toml")
    assert [one.value for one in deck.fitted] == [0.5]


@pytest.mark.parametrize(
    ("fitted", "words"),
    [
        ("", "[[fitted]]: is missing"),
        ("[slab]\nE_GPa = 3\n" + FITTED, "[slab]: unknown key: a file of stiffnesses found"),
        (FITTED.replace("0.9", "0"), "[[fitted]] 1, factor = 0: allowed is 0.001 to 1000"),
        (FITTED.replace("C*", "L1"), '[[fitted]] 2, on = "L1": has no beam EI that is neither'),
        (
            FITTED + ONE,
            '[[fitted]] 3, of = "slab E": [[fitted]] 1 has this stiffness',
        ),
        ("[[fitted]\n", "line 1: not valid TOML"),
    ],
)
def test_mistakes_of_the_other_file_are_told_of_it(tmp_path: Path, fitted: str, words: str) -> None:
    with pytest.raises(DeckError) as refused:
        read_with(tmp_path, fitted)
    assert refused.value.path.endswith("fitted.toml")
    assert any(words in line for line in refused.value.mistakes), refused.value.mistakes


def test_what_is_sought_again_is_of_the_same_lines(tmp_path: Path) -> None:
    of_all = '[[fitted]]\nof = "beam EI"\non = "C*"\nfactor = 2\n'
    words = told(tmp_path, load_test(fit=FIT), of_all)
    assert len(words) == 2  # of the end beams, and of the middle one
    assert words[0].startswith("[[fitted]] on = a list of 3: ")
    assert 'fit of load test "May" asks for C1, C3, this table is of C1, C2, C3' in words[0]


def test_an_edge_may_be_called_by_the_line_with_which_it_coincides(tmp_path: Path) -> None:
    spring = '[[line]]\non = "left"\nsupport = "spring"\nk_kN_m2 = 5000\n'
    table = load_test(fit='fit = [{ of = "spring k", on = "L1" }]')
    deck = deck_with(tmp_path, spring, table)
    assert deck.load_tests[0].unknowns[0].stiffness.on == ("left",)


def test_a_vehicle_of_the_file_needs_no_traffic_where_a_test_has_it(tmp_path: Path) -> None:
    named = load_test(lorry='vehicle = "own"\n', fit="", positions=POSITIONS)
    deck = deck_with(tmp_path, named, f'[[vehicle]]\nname = "own"\n{LORRY}')
    assert deck.traffic is None
    assert deck.load_tests[0].vehicle.name == "own"


def test_mutants_are_told_as_mistakes_or_read(tmp_path: Path) -> None:
    """Of the deck file's tables and of the readings in turn: never a traceback, and finite values
    alone."""
    text = SLAB + PLAN + BEAMS + MESH + load_test() + FITTED.replace("C*", "C2")
    deck, readings = tmp_path / "deck.toml", tmp_path / "readings.csv"
    found: Counter[str] = Counter()
    for seed in range(80):
        deck.write_bytes(mutant([text], seed) if seed % 2 else text.encode())
        rows = blank_readings()
        readings.write_bytes(rows.encode() if seed % 2 else table_mutant(rows, seed))
        try:
            [test] = read_deck(deck).load_tests or [None]
            found["read"] += 1
        except DeckError:
            found["mistake"] += 1
            continue
        for one in () if test is None else test.readings:
            assert np.isfinite([one.value, *one.at, one.accuracy or 1.0, one.lever or 1.0]).all()
    assert min(found["read"], found["mistake"]) > 5

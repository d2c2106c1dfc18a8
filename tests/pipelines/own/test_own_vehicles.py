"""Vehicles of a user's own: the same as the deck file's, marked, and told where they are wrong."""

import csv
import re
from pathlib import Path

import pytest

from pipelines import DeckFile
from pipelines.cli.main import main
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.own.office import CRANE, written
from tests.pipelines.rated import COARSE
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, TRAFFIC

LISTED = TRAFFIC.replace("[[vehicle]]", 'vehicles = ["crane"]\n[[vehicle]]')
NAMED = f'{SLAB}{PLAN}{BEAMS}{LISTED}{MESH}[own]\nvehicles = "office.py"\n'


def deck_with(folder: Path, code: str = CRANE, deck: str = NAMED) -> Deck:
    path, file = written(folder, code, deck)
    return read_deck(path, own=[file])


def test_those_that_are_listed_drive_and_are_those_of_a_deck_file(tmp_path: Path) -> None:
    crane, lorry = deck_with(tmp_path).required_traffic.vehicles
    assert (crane.name, crane.cited, crane.mark) == ("crane", "office.py (user's)", "user's")
    assert (lorry.name, lorry.mark) == ("lorry", "")
    table = """
[[vehicle]]
name = "crane"
impact = 1.1
axles = [ { at_m = 0.0, load_kN = 120, gauge_m = 2.0, patch_mm = [250, 400] },
          { at_m = 1.6, load_kN = 120, gauge_m = 2.0, patch_mm = [250, 400] } ]
"""
    same = DeckFile.read(_plain(tmp_path, table)).deck.required_traffic.vehicles[0]
    assert (same.axles, same.impact) == (crane.axles, crane.impact)


def _plain(folder: Path, table: str) -> Path:
    path = folder / "plain.toml"
    path.write_text(SLAB + PLAN + BEAMS + LISTED + table + MESH, encoding="utf-8")
    return path


def test_the_source_that_it_states_is_printed(tmp_path: Path) -> None:
    deck = deck_with(tmp_path, deck=NAMED.replace('"crane"', '"other"'))
    assert deck.required_traffic.vehicles[0].cited == "office note 3 (user's)"


SAME = """
[[vehicle]]
name = "same"
impact = 1.1
axles = [ { at_m = 0.0, load_kN = 120, gauge_m = 2.0, patch_mm = [250, 400] },
          { at_m = 1.6, load_kN = 120, gauge_m = 2.0, patch_mm = [250, 400] } ]
"""


HALF = """
from pipelines import OwnCheck

checks = [OwnCheck(name="half", source="office note 7", utilisation=lambda layer, demand: 0.5)]
"""


def test_they_stand_in_a_fleet_by_their_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One that does not drive, one that does, and the same axles by a table of the fleet."""
    deck = SLAB + PLAN + BEAMS + TRAFFIC + GRADES + BOTTOM + TOP + COARSE
    both = '[own]\nvehicles = "office.py"\nchecks = "office.py"\n'
    path, file = written(tmp_path, CRANE + HALF, deck + both)
    fleet = tmp_path / "fleet.toml"
    permit = '[[permit]]\nname = "crane"\noffsets_m = [-0.2, 0.4]\n'
    same = f"{SAME}offsets_m = [-0.2, 0.4]\n"
    fleet.write_text('vehicles = ["lorry"]\n' + permit + same, encoding="utf-8")
    asked = ["rate", str(path), "--vehicles", str(fleet), "--out", str(tmp_path / "out")]
    assert main([*asked, "--own", str(file)]) == 0
    told = capsys.readouterr().out
    assert "crane (user's), EN 1992: " in told
    assert "Checks of the user's own: not rated." in told
    with (tmp_path / "out" / "rating.csv").open(encoding="utf-8", newline="") as table:
        rows = [row for row in csv.DictReader(table) if row["governs"] == "yes"]
    found = {row["vehicle"]: row for row in rows}
    assert {name: row["vehicle_mark"] for name, row in found.items()} == {
        "crane": "user's",
        "lorry": "",
        "same": "",
    }
    # the same loads in another order of blocks: rounding of sums
    like = float(found["same"]["multiplier"])
    assert float(found["crane"]["multiplier"]) == pytest.approx(like, rel=1e-5)
    page = (tmp_path / "out" / "rating.html").read_text(encoding="utf-8")
    assert "crane (user&#x27;s)" in page
    assert main(asked) == 2  # not permitted to run
    fleet.write_text('vehicles = ["kran", "crane"]\n' + SAME.replace("same", "crane"), "utf-8")
    capsys.readouterr()
    assert main([*asked, "--own", str(file)]) == 2
    told = capsys.readouterr().err
    assert 'vehicles 1 = "kran": unknown vehicle, the nearest known one is "crane"' in told
    assert 'name = "crane": is among `vehicles` or [[permit]], too' in told


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("120", "-120"), r"office\.py, vehicles 1, axles 1, load_kN = -120: allowed is"),
        (("120", "None"), r"\[own\] vehicles = .*None is a NoneType: allowed are tables"),
        (('"gauge_m": 2.0, ', ""), r"vehicles 1, axles 1: has no wheels"),
        (('"crane"', '"lorry"'), r'name = "lorry": a \[\[vehicle\]\] has this name'),
        (('"crane"', '"EN 1991-2 LM2"'), "a standard's vehicle has this name"),
        (('"other"', '"crane"'), "has this name already"),
        (("impact", "inpact"), r"vehicles 1, inpact: unknown key, .*impact"),
        (('{"name": "crane"', '5, {"name": "crane"'), r"vehicles 1 = 5: must be a table"),
        (('"crane"', '"kran"'), r'\[traffic\] vehicles 1 = "crane": unknown vehicle'),
    ],
)
def test_mistakes_are_told_as_those_of_a_deck_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: tuple[str, str], words: str
) -> None:
    path, file = written(tmp_path, CRANE.replace(*change), NAMED)
    assert main(["check", str(path), "--own", str(file)]) == 2
    told = capsys.readouterr().err
    assert re.search(words, told), told
    assert "Traceback" not in told

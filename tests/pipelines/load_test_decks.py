"""Load tests made from a deck with hidden stiffnesses, written as a user would."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.load_test import UNITS, LoadTest, Reading
from pipelines.deck.reading.deck_file import read_deck
from pipelines.loadtest.loaded_deck import LoadedDeck, build_for
from plate.arrays import Floats
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB

MESH = "[mesh]\norder = 2\nsize_m = 1.5\n"
LORRY = """
axles = [
  { at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] },
  { at_m = 2.0, load_kN = 100, gauge_m = 1.8, patch_mm = [250, 350] } ]
"""
POSITIONS = """
positions = [
  { name = "P1", station_m = 2.5, offset_m = 0.0 },
  { name = "P2", station_m = 5.3, offset_m = 0.2 },
  { name = "P3", station_m = 3.5, offset_m = -0.6, direction = "reverse" } ]
"""
FIT = """
fit = [
  { of = "slab E" },
  { of = "beam EI", on = ["C1", "C3"], name = "end beams" },
  { of = "beam EI", on = "C2", name = "middle beam" } ]
"""
PLACES = {
    "G1": (1.5, 0.0),
    "G2": (4.5, 0.1),
    "G3": (3.0, 0.0),
    "G4": (0.1, -0.5),
    "G5": (6.0, 1.0),
    "G6": (1.5, 1.5),
}
HEADS = "position,place,x_m,y_m,deflection_mm,strain_um_m,rotation_mrad,face,direction,accuracy"
TRUE = (0.8, 1.3, 0.7)
ACCURACY = {"deflection": 1e-5, "strain": 1e-6, "rotation": 1e-5}  # m, -, rad


def load_test(*, positions: str = POSITIONS, fit: str = FIT, lorry: str = LORRY) -> str:
    """A [[loadtest]] table."""
    return f'[[loadtest]]\nname = "May"\nfile = "readings.csv"\n{lorry}\n{positions}\n{fit}\n'


def blank_readings(*, accuracy: bool = True, deflections_only: bool = False) -> str:
    """A file of readings, all 1: at all places deflections, a strain at either face and a
    rotation."""

    def stated(quantity: str) -> str:
        scale = {"deflection": 1e-3, "strain": 1e-6, "rotation": 1e-3}[quantity]
        return f"{ACCURACY[quantity] / scale:g}" if accuracy else ""

    rows = [HEADS]
    for position in ("P1", "P2", "P3"):
        for place, (x, y) in PLACES.items():
            rows.append(f"{position},{place},{x},{y},1,,,,,{stated('deflection')}")
        if not deflections_only:
            rows.append(f"{position},S1,1.5,0.4,,1,,bottom,x,{stated('strain')}")
            rows.append(f"{position},S2,4.5,0.4,,1,,top,y,{stated('strain')}")
            rows.append(f"{position},R1,0.1,0.4,,,1,,x,{stated('rotation')}")
    return "\n".join(rows) + "\n"


def deck_with(folder: Path, *parts: str, readings: str | None = None, mesh: str = MESH) -> Deck:
    """The small deck on beams with more tables, and a file of readings beside it."""
    (folder / "readings.csv").write_text(
        blank_readings() if readings is None else readings, encoding="utf-8"
    )
    path = folder / "deck.toml"
    path.write_text(SLAB + PLAN + BEAMS + mesh + "\n".join(parts), encoding="utf-8")
    return read_deck(path)


def loaded(deck: Deck) -> LoadedDeck:
    """The deck under its only load test."""
    [test] = deck.load_tests
    return LoadedDeck(deck, test, build_for(deck, test))


def read_again(test: LoadTest, values: Floats) -> LoadTest:
    """The test with other values read [m, -, rad]."""
    rows = zip(test.readings, values.tolist(), strict=True)
    return replace(test, readings=tuple(replace(one, value=value) for one, value in rows))


def accuracies(readings: Sequence[Reading]) -> Floats:
    """(n,) of readings that all have theirs [m, -, rad]."""
    return np.array([one.accuracy for one in readings], dtype=float)


def readings_file(test: LoadTest) -> str:
    """A file of the readings of a test."""
    columns = {"deflection": "{},,", "strain": ",{},", "rotation": ",,{}"}
    rows = [HEADS]
    for one in test.readings:
        scale = UNITS[one.quantity].scale
        value = columns[one.quantity].format(repr(one.value / scale))
        accuracy = "" if one.accuracy is None else repr(one.accuracy / scale)
        x, y = one.at
        start = f"{one.position},{one.place},{x},{y},{value}"
        rows.append(f"{start},{one.face or ''},{one.direction or ''},{accuracy}")
    return "\n".join(rows) + "\n"

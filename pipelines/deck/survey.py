"""As-built readings: a CSV file of what was measured on site, per panel.

The columns are those of `COLUMNS`: one reading or several per row, blank where nothing was read.
Readings may be repeated; their scatter is kept.

    panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm
    B2,bottom,x,16,131,,,
    B2,bottom,,,,42,y,
    B2,,,,,,,268

cover_mm without a direction is to the outermost bars; with one, to the bars along it, as a cover
meter reads them: then the depth of each layer follows from its own cover.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

import numpy as np

from pipelines.errors import DeckError
from pipelines.files import UnreadableError, csv_rows, read_plain
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, Direction, Face

Quantity = Literal["thickness", "cover", "diameter", "spacing"]
Value = Literal["mean", "worst"]

COLUMNS = (
    "panel",
    "face",
    "direction",
    "diameter_mm",
    "spacing_mm",
    "cover_mm",
    "outer",
    "thickness_mm",
)
LARGEST_FILE = 10_000_000  # bytes
# readings outside these are slips of the pen or of the unit [mm]
BOUNDS: dict[Quantity, tuple[float, float]] = {
    "thickness": (50.0, 2000.0),
    "cover": (1.0, 300.0),
    "diameter": (4.0, 60.0),
    "spacing": (20.0, 1000.0),
}
# what lowers the capacity: +1 more, -1 less
ADVERSE: dict[Quantity, float] = {"thickness": -1, "cover": 1, "diameter": -1, "spacing": 1}


@dataclass(frozen=True)
class Key:
    """What a reading is of: face None for the thickness, direction None for the outermost cover."""

    quantity: Quantity
    face: Face | None = None
    direction: Direction | None = None

    def __str__(self) -> str:
        where = [self.face or "", f"bars along {self.direction}" if self.direction else ""]
        return ", ".join(word for word in (self.quantity, *where) if word)


@dataclass(frozen=True, kw_only=True)
class Statistics:
    """Readings of one quantity [m]; deviation: sample standard deviation, NaN of one reading."""

    n: int
    mean: float
    deviation: float
    least: float
    most: float

    def value(self, quantity: Quantity, which: Value) -> float:
        """The mean, or the reading that lowers the capacity most."""
        if which == "mean":
            return self.mean
        return self.most if ADVERSE[quantity] > 0 else self.least


@dataclass(frozen=True)
class PanelReadings:
    """readings : values [m] by what they are of; outer : outermost direction seen at a face."""

    panel: str
    readings: Mapping[Key, tuple[float, ...]]
    outer: Mapping[Face, Direction]

    def statistics(self) -> dict[Key, Statistics]:
        return {key: _statistics(values) for key, values in self.readings.items()}


def _statistics(values: tuple[float, ...]) -> Statistics:
    a = np.asarray(values)
    deviation = float(a.std(ddof=1)) if a.size > 1 else float("nan")
    return Statistics(
        n=a.size,
        mean=float(a.mean()),
        deviation=deviation,
        least=float(a.min()),
        most=float(a.max()),
    )


def read_survey(path: Path, panels: Iterable[str]) -> dict[str, PanelReadings]:
    """Readings by panel.

    Raises
    ------
    DeckError
        With every mistake of the file, each with its line.
    """
    try:
        text = read_plain(path, LARGEST_FILE).decode("utf-8-sig")
    except UnreadableError as error:
        raise DeckError(str(path), [str(error)]) from None
    except UnicodeDecodeError as error:
        raise DeckError(str(path), [f"cannot be read as UTF-8 text: {error.reason}"]) from None
    return parse_survey(text, panels, str(path))


def parse_survey(
    text: str, panels: Iterable[str], name: str = "survey"
) -> dict[str, PanelReadings]:
    """Readings by panel from the text of a survey; `name` stands in its errors."""
    try:
        columns, rows = csv_rows(text)
    except UnreadableError as error:
        raise DeckError(name, [str(error)]) from None
    if mistakes := _column_mistakes(columns):
        raise DeckError(name, mistakes)
    known = list(panels)
    values: dict[str, dict[Key, list[float]]] = defaultdict(lambda: defaultdict(list))
    outer: dict[str, dict[Face, Direction]] = defaultdict(dict)
    for line, row in rows:
        where = f"line {line}"
        if len(row) > len(columns):
            mistakes.append(f"{where}: more cells than columns")
            continue
        cells = dict.fromkeys(columns, "") | dict(zip(columns, map(str.strip, row), strict=False))
        if not any(cells.values()):
            continue
        found = _row_mistakes(cells, known)
        if not found:
            readings, seen = _row_readings(cells, found)
            for key, value in readings:
                values[cells["panel"]][key].append(value)
            if seen is not None:
                face = cast(Face, cells["face"])
                if outer[cells["panel"]].setdefault(face, seen) != seen:
                    found.append(f"outer: {seen} contradicts an earlier row for this face")
        mistakes += [f"{where}: {text}" for text in found]
    if mistakes:
        raise DeckError(name, mistakes)
    return {
        panel: PanelReadings(
            panel, {key: tuple(v) for key, v in values[panel].items()}, dict(outer[panel])
        )
        for panel in known
        if panel in values or panel in outer
    }


def _column_mistakes(columns: list[str]) -> list[str]:
    mistakes = [
        f"column {c!r} is not known: {', '.join(COLUMNS)}" for c in columns if c not in COLUMNS
    ]
    mistakes += [f"column {c!r} appears twice" for c in COLUMNS if columns.count(c) > 1]
    if "panel" not in columns:
        mistakes.append("column 'panel' is missing")
    return mistakes


def _row_mistakes(cells: Mapping[str, str], panels: list[str]) -> list[str]:
    """What makes the row unusable; face and direction must be there where they are needed."""
    found = []
    panel, face, direction, outer = (
        cells.get(c, "") for c in ("panel", "face", "direction", "outer")
    )
    if panel not in panels:
        found.append(f"panel {panel!r} is not one of the deck's")
    if face not in ("", *FACES):
        found.append(f"face {face!r}: top or bottom")
    if direction not in ("", *DIRECTIONS):
        found.append(f"direction {direction!r}: x or y")
    if outer not in ("", *DIRECTIONS):
        found.append(f"outer {outer!r}: x or y")
    for column in ("diameter_mm", "spacing_mm"):
        if cells.get(column) and not (face and direction):
            found.append(f"{column} needs face and direction")
    for column in ("cover_mm", "outer"):
        if cells.get(column) and not face:
            found.append(f"{column} needs face")
    return found


def _row_readings(
    cells: Mapping[str, str], found: list[str]
) -> tuple[list[tuple[Key, float]], Direction | None]:
    """Readings [m] and the outermost direction of a row; mistakes are added to `found`."""
    face = cast(Face | None, cells.get("face") or None)
    direction = cast(Direction | None, cells.get("direction") or None)
    readings = []
    for quantity, (low, high) in BOUNDS.items():
        text = cells.get(f"{quantity}_mm", "")
        if not text:
            continue
        try:
            value = float(text)
        except ValueError:
            found.append(f"{quantity}_mm {text!r} is not a number")
            continue
        if "_" in text or not text.isascii():  # numbers to Python, to nobody who reads a meter
            found.append(f"{quantity}_mm {text!r} is not a number")
            continue
        if not low <= value <= high:
            found.append(f"{quantity}_mm {text} lies outside {low:g} to {high:g}")
            continue
        key = Key(quantity) if quantity == "thickness" else Key(quantity, face, direction)
        readings.append((key, value / 1e3))
    return readings, cast(Direction | None, cells.get("outer") or None)

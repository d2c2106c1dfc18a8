"""Readings under load: a CSV file, one reading a row, judged whole before any of it is used.

Example:

    position,place,x_m,y_m,deflection_mm,strain_um_m,face,direction,accuracy
    P1,G1,1.5,0.0,3.42,,,,0.05
    P1,S1,1.5,0.0,,61,bottom,x,2
    P2,G1,,,1.18,,,,0.05
"""

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from pipelines.deck.load_test import UNITS, Quantity, Reading
from pipelines.deck.reading.load_test_schema import COLUMNS, LoadTestColumns
from pipelines.deck.reading.mistakes import Mistakes, nearest, shown, validated
from pipelines.deck.reading.schema import described_keys
from pipelines.errors import DeckError
from pipelines.system.files import UnreadableError, csv_rows, read_plain
from plate.geometry.curves import distance
from plate.geometry.plan import Plan

LARGEST_FILE = 5_000_000  # bytes
MOST_READINGS = 5000
TEXTS = ("position", "place", "face", "direction", "beam")
VALUES: dict[str, Quantity] = {
    "deflection_mm": "deflection",
    "strain_um_m": "strain",
    "rotation_mrad": "rotation",
}
# A gauge on a beam lies this near to the beam's line [m].
ON_LINE = 1e-3
# What a reading needs beside its value, and what it has no use for.
NEEDS: dict[Quantity, tuple[str, ...]] = {
    "deflection": (),
    "strain": ("face", "direction"),
    "rotation": ("direction",),
}
NEEDS_ON_BEAM = ("face", "lever_mm")
ALLOWED = {keys[0]: words for keys, words in described_keys(LoadTestColumns).items()}


def read_load_test(
    path: Path,
    positions: tuple[str, ...],
    probes: Mapping[str, tuple[float, float]],
    plan: Plan,
    beams: Mapping[str, str] = MappingProxyType({}),
) -> tuple[Reading, ...]:
    """The readings of a file, in its order.

    positions : names of the test's load positions; probes : places by the deck's own names; beams :
    lines with a beam, by the names that a file may use.

    Raises
    ------
    DeckError
        With every mistake of the file, each with its line, column and value.
    """
    name = str(path)
    try:
        columns, rows = csv_rows(read_plain(path, LARGEST_FILE).decode("utf-8-sig"))
    except UnreadableError as error:
        raise DeckError(name, [str(error)]) from None
    except UnicodeDecodeError as error:
        raise DeckError(name, [f"cannot be read as UTF-8 text: {error.reason}"]) from None
    mistakes = Mistakes(name)
    columns = [column.strip() for column in columns]
    for column in dict.fromkeys(columns):
        if column not in COLUMNS:
            mistakes.add(f"column {shown(column)}", None, f"unknown, {nearest(column, COLUMNS)}")
        elif columns.count(column) > 1:
            mistakes.add(f"column {shown(column)}", None, "stands twice")
    for column in ("position", "place"):
        if column not in columns:
            mistakes.add(f'column "{column}"', None, f"is missing; allowed is {ALLOWED[column]}")
    mistakes.raise_if_any()
    if not 1 <= len(rows) <= MOST_READINGS:
        mistakes.add("rows", len(rows), f"allowed are 1 to {MOST_READINGS} readings")
    places = dict(probes)
    readings = []
    for line, row in rows[:MOST_READINGS]:
        if len(row) > len(columns):
            mistakes.add(f"line {line}", None, "more cells than columns")
            continue
        cells = {
            key: text for key, cell in zip(columns, row, strict=False) if (text := cell.strip())
        }
        if cells:
            reading = _reading(line, cells, positions, places, plan, beams, mistakes)
            if reading is not None:
                readings.append(reading)
    mistakes.raise_if_any()
    return tuple(readings)


def _reading(
    line: int,
    cells: Mapping[str, str],
    positions: tuple[str, ...],
    places: dict[str, tuple[float, float]],
    plan: Plan,
    beams: Mapping[str, str],
    mistakes: Mistakes,
) -> Reading | None:
    """The reading of a row; its place is added to those known."""
    where, before = f"line {line}", len(mistakes.lines)
    values: dict[str, Any] = {}
    for key, text in cells.items():
        value = text if key in TEXTS else _number(text)
        if value is None:
            mistakes.add(f"{where}, {key}", text, f"is not a number: allowed is {ALLOWED[key]}")
        else:
            values[key] = value
    if len(mistakes.lines) > before:
        return None
    row = validated(LoadTestColumns, values, where, mistakes)
    if row is None:
        return None
    if row.position not in positions:
        hint = nearest(row.position, positions)
        mistakes.add(f"{where}, position", row.position, f"no position of the test, {hint}")
    at = _place(where, row, places, plan, mistakes)
    given = [column for column in VALUES if getattr(row, column) is not None]
    if len(given) != 1:
        told = "a row has one reading: " + ", ".join(VALUES)
        mistakes.add(where, None, f"{told}; this one has {len(given)}")
        return None
    [column] = given
    quantity = VALUES[column]
    on_beam = row.beam is not None and quantity == "strain"
    needs = NEEDS_ON_BEAM if on_beam else NEEDS[quantity]
    for key in needs:
        if getattr(row, key) is None:
            mistakes.add(f"{where}, {column}", getattr(row, column), f"needs {key}")
    for key in ("face", "direction", "lever_mm", "beam"):
        wanted = key in needs or (key in ("lever_mm", "beam") and quantity == "strain")
        if getattr(row, key) is not None and not wanted:
            what = "strain along a beam" if on_beam else quantity
            mistakes.add(f"{where}, {key}", getattr(row, key), f"a {what} has none")
    if on_beam and at is not None:
        _check_beam(where, str(row.beam), at, plan, beams, mistakes)
    if at is None or len(mistakes.lines) > before:
        return None
    scale = UNITS[quantity].scale
    return Reading(
        line=line,
        position=row.position,
        place=row.place,
        at=at,
        quantity=quantity,
        value=scale * getattr(row, column),
        accuracy=None if row.accuracy is None else scale * row.accuracy,
        face=row.face,
        direction=row.direction,
        lever=None if row.lever_mm is None else row.lever_mm / 1e3,
        beam="" if row.beam is None else beams[row.beam],
    )


def _check_beam(
    where: str,
    beam: str,
    at: tuple[float, float],
    plan: Plan,
    beams: Mapping[str, str],
    mistakes: Mistakes,
) -> None:
    """A gauge on a beam lies on the line of one."""
    if beam not in beams:
        hint = nearest(beam, list(beams)) if beams else "there is none"
        mistakes.add(f"{where}, beam", beam, f"no line with a beam, {hint}")
        return
    off = float(distance(plan.lines[beams[beam]].course(full=True), np.array([at]))[0])
    if off > ON_LINE:
        mistakes.add(f"{where}, x_m, y_m", list(at), f"{1e3 * off:.0f} mm off the line of {beam}")


def _number(text: str) -> float | None:
    # 2_50 and full-width digits are numbers to Python, to nobody who reads a gauge
    if text.isascii() and "_" not in text:
        try:
            return float(text)
        except ValueError:
            pass
    return None


def _place(
    where: str,
    row: LoadTestColumns,
    places: dict[str, tuple[float, float]],
    plan: Plan,
    mistakes: Mistakes,
) -> tuple[float, float] | None:
    if (row.x_m is None) != (row.y_m is None):
        given, other = ("x_m", "y_m") if row.y_m is None else ("y_m", "x_m")
        mistakes.add(f"{where}, {given}", getattr(row, given), f"{other} is missing beside it")
        return None
    if row.x_m is None or row.y_m is None:
        if row.place not in places:
            told = "its x_m and y_m are missing, and no earlier row and no [[probe]] at a point "
            mistakes.add(f"{where}, place", row.place, f"{told}has this name")
        return places.get(row.place)
    at = (row.x_m, row.y_m)
    if not plan.contains(np.array(at)):
        mistakes.add(f"{where}, x_m, y_m", list(at), "not on the slab")
        return None
    if places.setdefault(row.place, at) != at:
        told = f"place {shown(row.place)} is at {shown(list(places[row.place]))} already"
        mistakes.add(f"{where}, x_m, y_m", list(at), told)
    return at

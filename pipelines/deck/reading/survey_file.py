"""As-built readings: a CSV file of what was measured on site.

The columns are those of `SurveyColumns`, in any order; blank where nothing was read. A row holds
one reading or several, of the panel that it names or of the panel in which its place lies; where
bays are cut into parts, one that names a bay alone is of all of its parts. Readings may be
repeated; their scatter is kept.

    panel,date,x_m,y_m,face,direction,diameter_mm,spacing_mm,cover_mm,thickness_mm
    C2-C3,2026-04-18,,,bottom,x,16,131,,
    ,2026-04-18,3.85,-1.20,bottom,,,,42,
    C2-C3,2026-04-20,,,,,,,,268

An inspection sheet that is filled in has one reading a row, and the columns of what it tells, which
are not read:

    panel,x_m,y_m,face,direction,quantity,reading
    C2-C3,3.85,-1.20,bottom,,cover_mm,42

A reading of bars is of the mat's own; one with a mark is of the added bars of that name, whose face
and direction need not be told.

cover_mm without a direction is to the outermost bars; with one, to the bars along it, as a cover
meter reads them: then the depth of each layer follows from its own cover. spalled_mm is how much
concrete is gone from a face; core_MPa the strength of a core twice as long as wide.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from pathlib import Path
from typing import cast

import numpy as np

from pipelines.deck.panels import Panels
from pipelines.deck.reading.survey_schema import COLUMNS, FARTHEST, QUANTITIES
from pipelines.deck.survey import MEASURES, Key, PanelReadings
from pipelines.deck.thicknesses import Thicknesses
from pipelines.errors import DeckError
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    Direction,
    Face,
    Layer,
    place_of,
)
from pipelines.system.files import UnreadableError, csv_rows, plain_cell, read_plain

PLACE = ("x_m", "y_m")
LARGEST_FILE = 10_000_000  # bytes
LISTED = 12  # names of panels in a message
MOST_SHOWN = 40  # letters of a cell in a message


@dataclass(kw_only=True)
class _Row:
    """A row of the file: its cells by column, its mistakes so far, and its place with the number of
    the panel there, None where it states no place and -1 where that is off the slab."""

    line: int
    cells: Mapping[str, str]
    mistakes: list[str]
    place: tuple[float, float] | None = None
    here: int | None = None


@dataclass(kw_only=True)
class _Panel:
    """What has been read of a panel so far. several : whether the slab has several thicknesses in
    it, None = not looked at; set_off : whether readings of that are set off to the slab's own."""

    values: dict[Key, list[float]] = field(default_factory=lambda: defaultdict(list))
    outer: dict[Face, Direction] = field(default_factory=dict)
    dates: set[str] = field(default_factory=set)
    several: bool | None = None
    set_off: bool = False
    places: list[tuple[float, float]] = field(default_factory=list)


def read_survey(
    path: Path,
    panels: Panels,
    added: Mapping[str, Layer] | None = None,
    thicknesses: Thicknesses | None = None,
) -> dict[str, PanelReadings]:
    """Readings by panel, in the deck's order; added : layers of added bars by their marks;
    thicknesses : of the slab, by which readings of a panel that has several are told from each
    other, None = one.

    Raises
    ------
    DeckError
        With every mistake of the file, each with its line, column and value.
    """
    try:
        text = read_plain(path, LARGEST_FILE).decode("utf-8-sig")
    except UnreadableError as error:
        raise DeckError(str(path), [str(error)]) from None
    except UnicodeDecodeError as error:
        raise DeckError(str(path), [f"cannot be read as UTF-8 text: {error.reason}"]) from None
    return parse_survey(text, panels, str(path), added or {}, thicknesses)


def parse_survey(
    text: str,
    panels: Panels,
    name: str = "survey",
    added: Mapping[str, Layer] | None = None,
    thicknesses: Thicknesses | None = None,
) -> dict[str, PanelReadings]:
    """Readings by panel from the text of a survey; `name` stands in its errors."""
    try:
        columns, rows = csv_rows(text)
    except UnreadableError as error:
        raise DeckError(name, [str(error)]) from None
    if mistakes := _column_mistakes(columns):
        raise DeckError(name, mistakes)
    found: dict[str, _Panel] = defaultdict(_Panel)
    marks = {plain_cell(mark): (mark, layer) for mark, layer in (added or {}).items()}
    for row in _located(_rows(columns, rows, mistakes), panels):
        row.cells = _marked(row.cells, marks, row.mistakes)
        taken = _take(row, panels, found, thicknesses)
        mistakes += [f"line {row.line}: {told}" for told in taken]
    if mistakes:
        raise DeckError(name, mistakes)
    return {
        panel: PanelReadings(
            panel=panel,
            readings={key: tuple(values) for key, values in found[panel].values.items()},
            outer=dict(found[panel].outer),
            dates=tuple(sorted(found[panel].dates)),
            places=tuple(found[panel].places),
            set_off=found[panel].set_off,
        )
        for panel in panels.names
        if panel in found
    }


def _column_mistakes(columns: list[str]) -> list[str]:
    mistakes = [
        f"column {_shown(c)} is not known: allowed are {', '.join(COLUMNS)}"
        for c in columns
        if c not in COLUMNS
    ]
    mistakes += [f"column {c!r} appears twice" for c in COLUMNS if columns.count(c) > 1]
    for column, other in (PLACE, PLACE[::-1]):
        if column in columns and other not in columns:
            mistakes.append(f"column {other!r} is missing beside {column!r}")
    if "panel" not in columns and not set(PLACE) <= set(columns):
        mistakes.append("column 'panel' is missing, and so are 'x_m' and 'y_m' in its place")
    return mistakes


def _rows(
    columns: list[str], rows: Iterable[tuple[int, list[str]]], mistakes: list[str]
) -> list[_Row]:
    """The rows that hold anything."""
    found = []
    for line, row in rows:
        if len(row) > len(columns):
            mistakes.append(f"line {line}: more cells than columns")
            continue
        cells = dict.fromkeys(COLUMNS, "")
        cells |= dict(zip(columns, map(str.strip, row), strict=False))
        if any(cells.values()):
            own: list[str] = []
            found.append(_Row(line=line, cells=_in_columns(cells, own), mistakes=own))
    return found


def _in_columns(cells: Mapping[str, str], mistakes: list[str]) -> Mapping[str, str]:
    """The cells with the reading of an inspection sheet in the column of its quantity."""
    column, reading = cells["quantity"], cells["reading"]
    if column and column not in QUANTITIES:
        mistakes.append(f"quantity {_shown(column)}: {', '.join(QUANTITIES)}")
    elif reading and not column:
        mistakes.append(f"reading {_shown(reading)} needs quantity")
    elif reading and cells[column]:
        mistakes.append(f"reading {_shown(reading)} stands beside {column} {_shown(cells[column])}")
    elif reading:
        return {**cells, column: reading}
    return cells


def _marked(
    cells: Mapping[str, str], marks: Mapping[str, tuple[str, Layer]], mistakes: list[str]
) -> Mapping[str, str]:
    """The cells with face and direction of the added bars that they name."""
    name = cells["mark"]
    if not name:
        return cells
    if plain_cell(name) not in marks:
        known = ", ".join(mark for mark, _ in marks.values()) or "none here"
        mistakes.append(f"mark {_shown(name)} is of no [[bars.added]]: {known}")
        return cells
    mark, layer = marks[plain_cell(name)]
    for column, own in zip(("face", "direction"), layer, strict=True):
        if cells[column] not in ("", own):
            mistakes.append(f"{column} {_shown(cells[column])}: {mark} lies in {place_of(layer)}")
    return {**cells, "mark": mark, "face": layer[0], "direction": layer[1]}


def _located(rows: list[_Row], panels: Panels) -> list[_Row]:
    """The rows with their places, looked up together."""
    for row in rows:
        row.place = _place(row.cells, row.mistakes)
    placed = [row for row in rows if row.place is not None]
    points = np.array([row.place for row in placed]).reshape(-1, 2)
    sensible = (np.abs(points) < FARTHEST).all(axis=1)  # not so of NaN
    inside = np.zeros(len(points), dtype=bool)
    inside[sensible] = panels.plan.contains(points[sensible])
    numbers = np.full(len(points), -1)
    numbers[inside] = panels.index(points[inside])
    for row, k in zip(placed, numbers.tolist(), strict=True):
        row.here = k
    return rows


def _take(
    row: _Row, panels: Panels, found: dict[str, _Panel], thicknesses: Thicknesses | None
) -> list[str]:
    """Take in a row; what makes it unusable instead, each with column, value and what is
    allowed."""
    cells, mistakes = row.cells, row.mistakes
    for column, allowed in (("face", FACES), ("direction", DIRECTIONS), ("outer", DIRECTIONS)):
        if cells[column] not in ("", *allowed):
            mistakes.append(f"{column} {_shown(cells[column])}: {allowed[0]} or {allowed[1]}")
    day = cells["date"]
    if day and not _is_day(day):
        mistakes.append(f"date {_shown(day)}: a day as 2026-04-18")
    names = _panels(row, panels)
    readings = _readings(cells, mistakes)
    if mistakes:
        return mistakes
    outer, face = cast(Direction, cells["outer"]), cast(Face, cells["face"])
    if not readings and not outer:
        return []  # a row that was left blank
    for name in names:
        read = found[name]
        for key, value in readings:
            if key.quantity == "thickness" and _has_several(panels, name, thicknesses, found):
                if row.place is None:
                    told = "the slab has several thicknesses there, each a reading of its own"
                    return [f"thickness_mm of {name} needs x_m and y_m: {told}"]
                assert thicknesses is not None
                (there,) = thicknesses.at(np.array([row.place]))
                value += thicknesses.slab.thickness - float(there)
                read.set_off = True
            read.values[key].append(value)
        if day:
            read.dates.add(day)
        if row.place is not None:
            read.places.append(row.place)
        if outer and read.outer.setdefault(face, outer) != outer:
            return [f"outer: {outer} contradicts an earlier row for this face"]
    return []


def _has_several(
    panels: Panels, name: str, thicknesses: Thicknesses | None, found: dict[str, _Panel]
) -> bool:
    """Whether the slab has several thicknesses in a panel; looked at once."""
    read = found[name]
    if read.several is None:
        read.several = thicknesses is not None and (
            len(thicknesses.within(partial(panels.holds, panels.names.index(name)))) > 1
        )
    return read.several


def _is_day(text: str) -> bool:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _number(column: str, text: str, allowed: str, mistakes: list[str]) -> float | None:
    # 2_50 and full-width digits are numbers to Python, to nobody who reads a meter
    if text.isascii() and "_" not in text:
        try:
            return float(text)
        except ValueError:
            pass
    mistakes.append(f"{column} {_shown(text)} is not a number: allowed is {allowed}")
    return None


def _place(cells: Mapping[str, str], mistakes: list[str]) -> tuple[float, float] | None:
    """The plan point of a row, None where it states none or a wrong one."""
    given = [column for column in PLACE if cells[column]]
    if len(given) == 1:
        other = PLACE[1 - PLACE.index(given[0])]
        mistakes.append(f"{given[0]} {_shown(cells[given[0]])}: {other} is missing beside it")
    if len(given) < 2:
        return None
    x, y = (_number(column, cells[column], "a coordinate in m", mistakes) for column in PLACE)
    return None if x is None or y is None else (x, y)


def _panels(row: _Row, panels: Panels) -> tuple[str, ...]:
    """The panels that a row's readings are of: the one in which its place lies, or the one that it
    names, or all parts of the bay that it names."""
    name = row.cells["panel"]
    named = panels.called(name)
    if name and not named:
        known = panels.with_slab
        more = [f"and {len(known) - LISTED} more"] * (len(known) > LISTED)
        listed = ", ".join([*known[:LISTED], *more])
        row.mistakes.append(f"panel {_shown(name)} is not one of the deck's: {listed}")
        return ()
    if row.place is None or row.here is None:
        if not name and not row.mistakes:
            row.mistakes.append("panel is empty, and so are x_m and y_m in its place")
        return named
    at = "x_m {:g}, y_m {:g}".format(*row.place)
    if row.here < 0:
        (x0, y0), (x1, y1) = panels.plan.outline.min(axis=0), panels.plan.outline.max(axis=0)
        limits = f"x_m {x0:g} to {x1:g}, y_m {y0:g} to {y1:g}"
        row.mistakes.append(f"{at} is not on the slab: {limits}")
        return ()
    here, point = panels.names[row.here], np.array([row.place])
    if not name or here in named:
        return (here,)
    beside = [part for part in named if panels.holds(panels.names.index(part), point)[0]]
    if not beside:
        row.mistakes.append(f"{at} lies in {here}, not in {name}")
    return tuple(beside[:1])


def _readings(cells: Mapping[str, str], mistakes: list[str]) -> list[tuple[Key, float]]:
    """Readings of a row in SI."""
    if cells["outer"] and not cells["face"]:
        mistakes.append("outer needs face")
    found = []
    for quantity, measure in MEASURES.items():
        text = cells[measure.column]
        if not text:
            continue
        if not all(cells[needed] for needed in measure.where):
            mistakes.append(f"{measure.column} needs {' and '.join(measure.where)}")
        limits = f"{measure.low:g} to {measure.high:g}"
        value = _number(measure.column, text, limits, mistakes)
        if value is None:
            continue
        if not measure.low <= value <= measure.high:
            mistakes.append(f"{measure.column} {text} lies outside {limits}")
            continue
        by_layer = "direction" in measure.where or quantity == "cover"
        mark = cells["mark"]
        if mark and "direction" not in measure.where:
            mistakes.append(f"{measure.column} is of no single bars: mark {_shown(mark)}")
        face = cast(Face, cells["face"] or None) if measure.where else None
        direction = cast(Direction, cells["direction"] or None) if by_layer else None
        found.append((Key(quantity, face, direction, mark), value * measure.unit))
    return found


def _shown(text: str) -> str:
    return repr(text if len(text) <= MOST_SHOWN else f"{text[:MOST_SHOWN]}…")

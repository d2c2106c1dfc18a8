"""bar_schedule.csv: one row a mark, as bars are bent and placed."""

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipelines.bars.schedule.marks import SHAPES, Mark, Schedule
from pipelines.bars.schedule.sprung import is_sprung
from pipelines.caution import TO_VERIFY
from pipelines.system.files import plain_cell

COLUMNS = (
    *("mark", "use", "layers", "of", "diameter_mm", "spacing_mm", "shape"),
    *("a_mm", "b_mm", "c_mm", "R_mm", "R_to_mm", "sprung", "number"),
    *("cut_length_mm", "cut_length_to_mm", "number_by_length", "total_length_m", "mass_kg"),
    *("first_bar_at_m", "last_bar_at_m", "shape_source", "caution"),
)

# Of numbers, where it is not all of their digits.
FORMATS = {"total_length_m": ".3f", "mass_kg": ".2f", **dict.fromkeys(COLUMNS[-4:-2], "")}


def write_schedule(path: Path, schedule: Schedule) -> None:
    """Write bar_schedule.csv; what has no value stays empty."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for row in schedule_table(schedule):
            rows.writerow([_cell(name, value) for name, value in row.items()])


def schedule_table(schedule: Schedule) -> Iterator[dict[str, Any]]:
    """Rows by COLUMNS; None where there is no value."""
    for mark in schedule.marks:
        yield dict(zip(COLUMNS, _row(mark), strict=True))


def _row(mark: Mark) -> Iterator[Any]:
    """By COLUMNS. A series goes from its longest bar to its shortest; places are across the bars
    in plan, offsets of bars along x."""
    lengths = mark.lengths
    longest, shortest = max(lengths), min(lengths)
    radius, to = (None, None) if mark.radius is None else mark.radius
    across = [bar.across for bar in mark.bars]
    yield mark.number
    yield mark.use
    yield " ".join("_".join(layer) for layer in mark.layers)
    yield mark.of
    yield _mm(mark.diameter)
    yield _mm(mark.spacing) if mark.spacing else None
    yield mark.shape
    for size in (mark.a, mark.b, mark.c, radius, None if to == radius else to):
        yield None if size is None else _mm(size)
    yield None if mark.shape != "67" else "yes" if is_sprung(mark) else "no"
    yield len(mark.bars)
    yield _mm(longest)
    yield None if longest == shortest else _mm(shortest)
    yield "; ".join(f"{number} x {_mm(length):.12g}" for length, number in lengths.items())
    yield mark.total
    yield mark.mass
    yield round(min(across), 4)
    yield round(max(across), 4)
    yield str(SHAPES)
    yield TO_VERIFY


def _mm(value: float) -> float:
    return round(1e3 * value, 9)


def _cell(name: str, value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:{FORMATS.get(name, '.12g')}}"
    return plain_cell(value) if isinstance(value, str) else value

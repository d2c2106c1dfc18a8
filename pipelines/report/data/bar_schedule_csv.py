"""bar_schedule.csv: one row a mark, as bars are bent and placed."""

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipelines.bars.schedule.marks import SHAPES, Mark, Schedule
from pipelines.caution import TO_VERIFY
from pipelines.files import plain_cell

COLUMNS = (
    *("mark", "use", "layers", "of", "diameter_mm", "spacing_mm", "shape"),
    *("a_mm", "b_mm", "c_mm", "R_mm", "R_to_mm", "number"),
    *("cut_length_mm", "cut_length_to_mm", "number_by_length", "total_length_m", "mass_kg"),
    *("first_bar_at_m", "last_bar_at_m", "shape_source", "caution"),
)


def write_schedule(path: Path, schedule: Schedule) -> None:
    """Write bar_schedule.csv; what has no value stays empty."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for mark in schedule.marks:
            rows.writerow(
                [plain_cell(cell) if isinstance(cell, str) else cell for cell in _row(mark)]
            )


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
    yield _mm(mark.spacing) if mark.spacing else ""
    yield mark.shape
    for size in (mark.a, mark.b, mark.c, radius, None if to == radius else to):
        yield "" if size is None else _mm(size)
    yield len(mark.bars)
    yield _mm(longest)
    yield "" if longest == shortest else _mm(shortest)
    yield "; ".join(f"{number} x {_mm(length)}" for length, number in lengths.items())
    yield f"{mark.total:.3f}"
    yield f"{mark.mass:.2f}"
    yield round(min(across), 4)
    yield round(max(across), 4)
    yield str(SHAPES)
    yield TO_VERIFY


def _mm(value: float) -> str:
    return f"{round(1e3 * value, 9):.12g}"

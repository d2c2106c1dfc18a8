"""rating.csv: one row a vehicle or load model, standard and check, the least multiplier with its
place."""

import csv
from collections.abc import Iterator
from pathlib import Path

from pipelines.bars.adequacy import Check
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.rate import Rating
from pipelines.caution import TO_VERIFY
from pipelines.system.files import plain_cell

COLUMNS = (
    "vehicle",
    "vehicle_mark",
    "axles",
    "weight_kN",
    "standard",
    "check",
    "rule",
    "multiplier",
    "between_steps",
    "no_less",
    "adequate",
    "governs",
    "where",
    "at_station_m",
    "at_offset_m",
    "station_m",
    "offset_m",
    "direction",
    "lanes",
    "gamma",
    "source",
    "caution",
)


def write_rating(path: Path, rating: Rating) -> None:
    """The table, that with the least multiplier first."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        for one in rating.worst_first:
            for multiplier in least_by_check(one):
                cells = _row(one, multiplier)
                writer.writerow([plain_cell(c) if isinstance(c, str) else c for c in cells])


def least_by_check(one: Rated) -> Iterator[Multiplier]:
    """The least multiplier of every check that is judged."""
    yield from (found for check in Check if (found := one.of(check)) is not None)


def _row(one: Rated, found: Multiplier) -> list[str | float]:
    at = None if found.position is None else found.position.single
    return [
        one.vehicle,
        one.mark,
        "" if one.axles is None else len(one.axles),
        "" if one.weight is None else round(one.weight / 1e3, 6),
        one.standard,
        found.check.value,
        f"{found.rule}: {found.words}",
        below(found.value),
        "" if one.between is None or found is not one.least else below(one.between.value),
        "yes" if found.floor else "no",
        "yes" if found.adequate else "no",
        "yes" if found is one.least else "no",
        found.where,
        "" if found.floor else round(found.at[0], 6),
        "" if found.floor else round(found.at[1], 6),
        "" if at is None else round(at.station, 9),
        "" if at is None else round(at.offset, 9),
        "" if at is None else at.direction,
        "" if found.position is None or at is not None else found.position.words,
        one.gamma if found.ultimate else "",
        str(found.source),
        TO_VERIFY,
    ]


def below(value: float) -> float:
    """A multiplier to six digits, never above its value."""
    digits = float(f"{value:.6g}")
    return digits if digits <= value else float(f"{value * (1.0 - 5e-6):.6g}")

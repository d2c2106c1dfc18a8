"""collapse.csv: one row a load position or an arrangement of a load model, the least multiplier
first."""

import csv
import math
from pathlib import Path

from pipelines.bars.collapse.search import Bounded, CollapseLoad
from pipelines.caution import TO_VERIFY
from pipelines.system.files import plain_cell

COLUMNS = (
    "vehicle",
    "direction",
    "station_m",
    "offset_m",
    "safe_multiplier",
    "lower_bound",
    "upper_bound",
    "gap",
    "triangles",
    "least_resistance_counted_kNm_m",
    "load_model",
    "arrangement",
    "governs_elastic",
    "caution",
)


def write_collapse(path: Path, found: CollapseLoad) -> None:
    """Every position that was looked at; what was not found of it stays empty."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        rows.writerows(map(_row, found.positions))


def _row(one: Bounded) -> list[str | int]:
    at, both = one.standing.at, one.found
    alone = at.single
    return [
        "" if alone is None else plain_cell(alone.vehicle),
        "" if alone is None else alone.direction,
        "" if alone is None else f"{alone.station:.6g}",
        "" if alone is None else f"{alone.offset:.6g}",
        "" if math.isnan(one.safe) else f"{one.safe:.6g}",
        "" if both is None else f"{both.lower:.6g}",
        "" if both is None else f"{both.upper:.6g}",
        "" if both is None else f"{both.gap:.4g}",
        "" if both is None else len(both.triangles.cells),
        "" if both is None else f"{1e-3 * both.floor:.4g}",
        at.model if at.whole else "",
        plain_cell(at.words) if at.whole else "",
        plain_cell(one.standing.worst_of),
        TO_VERIFY,
    ]

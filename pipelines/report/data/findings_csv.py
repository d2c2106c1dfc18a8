"""findings.csv: one row a comparison of strip and plate, in the order a checker reads it."""

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from pipelines.caution import TO_VERIFY
from pipelines.findings.finding import Finding
from pipelines.system.files import plain_cell

COLUMNS = (
    "reference",
    "place",
    "where",
    "peak_station_m",
    "peak_offset_m",
    "effect",
    "result",
    "load",
    "load_source",
    "station_m",
    "offset_m",
    "direction",
    "arrangement",
    "combination",
    "strip",
    "strip_of_design",
    "clause",
    "edition",
    "mark",
    "note",
    "span_m",
    "width_m",
    "width_of",
    "unit",
    "strip_value",
    "strip_station_m",
    "strip_offset_m",
    "strip_direction",
    "plate_peak",
    "plate_error",
    "plate_mean",
    "mean_width_m",
    "plate_mean_3h",
    "strip_over_plate",
    "with_m_x_kNm_m",
    "with_m_y_kNm_m",
    "with_m_xy_kNm_m",
    "plate_low",
    "plate_high",
    "resistance",
    "utilisation_strip",
    "utilisation_plate",
    "resistance_standard",
    "resistance_source",
    "finding",
    "reason",
    "caution",
)


def write_findings(path: Path, findings: Sequence[Finding]) -> None:
    """Write findings.csv; values in `unit`, moments sagging positive, shears as magnitudes."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.DictWriter(file, COLUMNS)
        rows.writeheader()
        for row in findings_table(findings):
            rows.writerow({key: _cell(value) for key, value in row.items()})


def findings_table(findings: Sequence[Finding]) -> Iterator[dict[str, Any]]:
    """Rows by COLUMNS; None where something is not known."""
    for finding in findings:
        entry = finding.entry()
        entry["caution"] = "; ".join(words for words in (entry["caution"], TO_VERIFY) if words)
        entry["peak_station_m"], entry["peak_offset_m"] = entry["peak_at_m"]
        yield {key: entry[key] for key in COLUMNS}


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    return plain_cell(value) if isinstance(value, str) else value

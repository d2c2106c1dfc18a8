"""as_built.csv: one row a check of a panel as built by one standard, in the report's order."""

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from pipelines.bars.adequacy import StandardVerdict
from pipelines.caution import TO_VERIFY
from pipelines.system.files import plain_cell

COLUMNS = (
    "panel",
    "standard",
    "panel_finding",
    "check",
    "layer",
    "finding",
    "utilisation",
    "place",
    "found_by",
    "clause",
    "reason",
    "caution",
)


def write_as_built(path: Path, verdicts: Sequence[StandardVerdict]) -> None:
    """Write as_built.csv; what has no value stays empty."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for row in as_built_table(verdicts):
            rows.writerow([plain_cell(cell) if isinstance(cell, str) else cell for cell in row])


def as_built_table(verdicts: Sequence[StandardVerdict]) -> Iterator[tuple[Any, ...]]:
    """Rows by COLUMNS."""
    for verdict in verdicts:
        for panel in verdict.panels:
            for judged in panel.judgements:
                worst = judged.worst
                yield (
                    panel.panel,
                    verdict.standard,
                    panel.adequacy.value,
                    judged.check.value,
                    "" if judged.layer is None else "_".join(judged.layer),
                    judged.adequacy.value,
                    "" if worst is None else f"{worst.utilisation:.6g}",
                    "" if worst is None else worst.place,
                    "" if worst is None else worst.by,
                    "" if worst is None else str(worst.source),
                    judged.reason,
                    TO_VERIFY,
                )

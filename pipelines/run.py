"""A run: deck file in, report, summary and fields out."""

from pathlib import Path

from pipelines.analysis import Progress, analyse
from pipelines.deckfile import read_deck
from pipelines.fieldfiles import write_fields
from pipelines.report import write_report
from pipelines.result import Result
from pipelines.summary import write_summary


def run(path: Path, out: Path, progress: Progress | None = None) -> Result:
    """Read a deck file, analyse it and write summary.json, fields.vtu and report.html to `out`.

    Each file is replaced as a whole once it is finished.
    """
    deck = read_deck(path)
    result = analyse(deck, progress)
    out.mkdir(parents=True, exist_ok=True)
    if progress is not None:
        progress("report", 0, 1)
    write_fields(
        out / "fields.vtu",
        result.built.model.mesh,
        result.solver.recovery.points,
        result.cases,
        result.envelopes,
    )
    write_report(out / "report.html", result)
    write_summary(out / "summary.json", result.summary)
    return result

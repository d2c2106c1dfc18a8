"""A run: deck file in, report, summary and fields out."""

from pathlib import Path

from pipelines.analysis import Progress, analyse
from pipelines.deck.reading.deck_file import read_deck
from pipelines.envelopes.columns import field_columns
from pipelines.outputs import check_writable, replacing
from pipelines.report.data.fields_vtu import write_fields
from pipelines.report.data.findings_csv import write_findings
from pipelines.report.data.summary import summary, write_summary
from pipelines.report.drawings.bars_dxf import write_bars
from pipelines.report.pdf import pdf_of, require_pdf
from pipelines.report.report import report
from pipelines.result import Result


def run(path: Path, out: Path, progress: Progress | None = None, *, pdf: bool = False) -> Result:
    """Read a deck file, analyse it and write summary.json, fields.vtu and report.html to `out`,
    with `pdf` also report.pdf, and of a deck with bars bars.dxf.

    The files replace those of the run before together, once all are finished.
    """
    if pdf:
        require_pdf()
    deck = read_deck(path)
    check_writable(out)
    result = analyse(deck, progress)
    if progress is not None:
        progress("report", 0, 1)
    with replacing(out) as folder:
        write_fields(
            folder / "fields.vtu",
            result.solver.recovery.points,
            field_columns(result.cases, result.envelopes, result.models),
        )
        entries = summary(result)
        html = report(result, entries)
        (folder / "report.html").write_text(html, encoding="utf-8")
        if pdf:
            (folder / "report.pdf").write_bytes(pdf_of(html))
        if result.design is not None:
            write_bars(folder / "bars.dxf", deck, result.design)
        write_findings(folder / "findings.csv", result.findings)
        write_summary(folder / "summary.json", entries)
    return result

"""The inspection sheet of a deck's bars: analysed as if every panel were read as drawn."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.bars.inspection import FILE, PanelSheet, panel_sheets, read_as_drawn
from pipelines.deck.reading.deck_file import read_deck
from pipelines.report.pdf import pdf_of, require_pdf
from pipelines.system.files import write_text
from pipelines.system.outputs import SMALL, check_folder, replacing

if TYPE_CHECKING:
    from pipelines.analysis.stages import Progress

PAGES, PDF = "inspection.html", "inspection.pdf"
KIND = "inspection"


def inspect(
    path: Path,
    out: Path,
    progress: "Progress | None" = None,
    *,
    pdf: bool = False,
    own: Sequence[Path] = (),
) -> tuple[PanelSheet, ...]:
    """Read a deck file with bars and write inspection.html, one page a panel, with `pdf` also
    inspection.pdf, and inspection.csv, which filled in is the file of `[survey]`. own : as of
    `read_deck`.

    Raises
    ------
    DeckError, JobError
        What is wrong with the deck file, or that it has no bars to inspect.
    """
    deck = read_as_drawn(read_deck(path, own=own))
    check_folder(out, KIND, (FILE, PAGES, PDF), SMALL)
    from pipelines.analysis.analyse import analyse
    from pipelines.report.data.inspection_csv import write_inspection
    from pipelines.report.html import html_of
    from pipelines.report.sections.inspection import inspection

    if pdf:
        require_pdf()
    result = analyse(deck, progress, tolerances_wanted=False)
    assert result.design is not None
    sheets = panel_sheets(result.solved, result.design)
    document = inspection(result, sheets)
    with replacing(out, KIND) as folder:
        write_inspection(folder / FILE, sheets)
        write_text(folder / PAGES, html_of(document))
        if pdf:
            (folder / PDF).write_bytes(pdf_of(document))
    return sheets

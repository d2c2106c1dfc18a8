"""The files of a design: those of a run with its bars, the deck file that has them, what was found
of the design."""

import csv
import json
from collections.abc import Sequence
from pathlib import Path

from pipelines.bar_design.design import designed
from pipelines.bar_design.designed import Designed
from pipelines.bar_design.least_change import Kind
from pipelines.bar_design.search import Tell
from pipelines.bar_design.told import COLUMNS
from pipelines.bars.choice.deck_text import DeckText
from pipelines.deck.reading.toml import text_of
from pipelines.run import FILES, write_results
from pipelines.system.files import write_text
from pipelines.system.outputs import check_folder

DECK_FILE, DESIGN_CSV, DESIGN_JSON = "deck.toml", "design.csv", "design.json"
DESIGN_FILES = (DECK_FILE, DESIGN_CSV, DESIGN_JSON)


def design_bars(
    path: Path,
    out: Path,
    tell: Tell = lambda _: None,
    change: Kind | None = None,
    own: Sequence[Path] = (),
) -> Designed:
    """Bars of a deck file; where they are adequate its whole run with them is written to `out`,
    beside the deck file that has them and what was found of the design. change : as of `designed`;
    own : as of `read_deck`.

    Raises
    ------
    DeckError, JobError
        What is wrong with the deck file, or with asking it for a design.
    """
    check_folder(out, "results", (*FILES, *DESIGN_FILES))
    found = designed(DeckText(text_of(str(path)), str(path), tuple(own)), tell, change)
    if found.adequate:
        write_results(found.result, out, beside=(found.section,))
        write_text(out / DECK_FILE, found.text.text)
        entries = found.entries()
        write_text(out / DESIGN_JSON, json.dumps(entries, indent=2, ensure_ascii=False) + "\n")
        with (out / DESIGN_CSV).open("w", encoding="utf-8", newline="") as file:
            rows = csv.DictWriter(file, COLUMNS)
            rows.writeheader()
            rows.writerows(entries["layers"])
    return found

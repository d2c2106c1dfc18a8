"""What a deck file may say of code of the user's own."""

from typing import Annotated

from pipelines.deck.reading.rules import Text
from pipelines.deck.reading.schema import Table, entry

OwnName = Annotated[str, Text(200)]


class OwnTable(Table):
    """Code of the user's own: Python files, relative to the deck file, or packages that are
    installed, by their entry point of the group `deckslab`. A file runs only where the command
    names it, too: --own FILE."""

    strips: OwnName | None = entry(
        "What gives strip methods, in its list `strips`.",
        "office.py",
        default=None,
        left_out="none but the library's",
    )

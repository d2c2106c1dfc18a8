"""What a deck file may say of code of the user's own."""

from typing import Annotated

from pipelines.deck.reading.loads_schema import VehicleTable
from pipelines.deck.reading.rules import Text
from pipelines.deck.reading.schema import Name, Table, entry

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
    vehicles: OwnName | None = entry(
        "What gives vehicles, in its list `vehicles`, as tables [[vehicle]] have them, with "
        "`source`; [traffic] vehicles names those that drive.",
        "office.py",
        default=None,
        left_out="none but the library's and those of [[vehicle]]",
    )
    factors: OwnName | None = entry(
        "What gives a set of factors and national choices, in its table `factors`, which holds "
        "what [factors] may hold; what a file of factors or [factors] itself states wins.",
        "office.py",
        default=None,
        left_out="recommended ones",
    )
    checks: OwnName | None = entry(
        "What gives checks of bars, in its list `checks`; they count as the standards' own do.",
        "office.py",
        default=None,
        left_out="the standards' alone",
    )
    results: OwnName | None = entry(
        "What gives results made of those that [[probe]] tables ask for, in its list `results`.",
        "office.py",
        default=None,
        left_out="none",
    )


class OwnVehicleTable(VehicleTable):
    """A vehicle that code of the user's own gives."""

    source: Name | None = entry(
        "Where it comes from, for print.",
        "office note 12",
        default=None,
        left_out="the code's name",
    )

"""The command `verify` of the command line: parse, call, print."""

import argparse
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import Commands, terminal

# Of the table in a file or a pipe [characters].
WIDE = 200


def add_verify(commands: Commands) -> None:
    """Add the command `verify`."""
    parser = commands.add_parser(
        "verify",
        help="compute cases of plate theory and print the table",
        description="Compute cases of plate theory by the finite elements and compare them "
        "with a print, or with a closed form or a series that is recomputed. Takes about half a "
        "minute.",
        epilog=CAUTION + " Exit status: 0 every row agrees, 1 a row differs, 2 a user's mistake.",
    )
    parser.add_argument("--out", metavar="FILE.csv", type=Path, help="also write the table there")
    parser.set_defaults(do=_verify)


def _verify(arguments: argparse.Namespace) -> int:
    from rich.table import Table

    from pipelines.system.files import write_text
    from pipelines.system.outputs import SMALL, check_file
    from plate.verification.table import (
        COLUMNS,
        LEGEND,
        agreement,
        cells,
        csv_text,
        verification_rows,
    )

    if arguments.out is not None:
        check_file(arguments.out, SMALL)
    console = terminal(WIDE)
    rows = verification_rows()
    table = Table(title="Cases of plate theory")
    numbers = ("value", "found", "difference", "within")
    for column in COLUMNS:
        table.add_column(column, justify="right" if column in numbers else "left")
    case = ""
    for row in rows:
        texts = cells(row)
        if texts[0] != case:
            table.add_section()
        table.add_row("" if texts[0] == case else texts[0], *texts[1:])
        case = texts[0]
    console.print(table)
    total = agreement(rows)
    console.print(total.sentence)
    console.print(LEGEND)
    console.print(CAUTION)
    if arguments.out is not None:
        write_text(arguments.out, csv_text(rows))
        console.print(str(arguments.out))
    return 1 if total.failed else 0

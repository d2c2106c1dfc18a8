"""The command `deckslab inspect`: a sheet to check the bars on site."""

import argparse
import os
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, STATUS, Commands, add_own, found_deck


def add_inspect(commands: Commands) -> None:
    """Add the command to the subparsers of the command line."""
    parser = commands.add_parser(
        "inspect",
        help="a sheet to check the bars of a deck file on site",
        description="What to measure on site and where, what is drawn, and the largest deviation "
        "that passes every check, panel by panel: inspection.html prints one page a panel, "
        "inspection.csv has a row a reading. Filled in, that very file is the one that [survey] "
        "of the deck file names, and run judges the panels by it.",
        epilog=STATUS,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder of results")
    parser.add_argument(
        "--pdf", action="store_true", help='also inspection.pdf (needs the extra "pdf")'
    )
    parser.set_defaults(do=_inspect)


def _inspect(arguments: argparse.Namespace) -> int:
    path = found_deck(arguments.deck)
    from pipelines.bars.inspection import FILE
    from pipelines.inspection import PAGES, PDF, inspect

    sheets = inspect(path, arguments.out, pdf=arguments.pdf, own=arguments.own)
    readings = sum(len(one.places) for sheet in sheets for one in sheet.measured)
    print(f"{len(sheets)} panels, {readings} readings of lengths")
    for name in (PAGES, FILE, *([PDF] if arguments.pdf else [])):
        print(os.fspath(arguments.out / name))
    print(CAUTION)
    return 0

"""The command `check` of the command line: read deck files, say what is wrong, compute nothing."""

import argparse

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, Commands, add_own, found_deck
from pipelines.errors import JobError


def add_check(commands: Commands) -> None:
    """Add the command `check`."""
    parser = commands.add_parser(
        "check",
        help="read deck files and tell every mistake, computing nothing",
        description="Read deck files with the drawings and readings that they name, and tell every "
        "mistake and warning. Whether a deck is a mechanism or too large is told by `draw`.",
        epilog=CAUTION + " Exit status: 0 no mistake, 2 a mistake.",
    )
    parser.add_argument("deck", metavar="DECK", nargs="+", help=DECK)
    add_own(parser)
    parser.set_defaults(do=_check)


def _check(arguments: argparse.Namespace) -> int:
    from pipelines.deck.reading.deck_file import read_deck

    mistakes = []
    for name in arguments.deck:
        try:
            deck = read_deck(found_deck(name), own=arguments.own)
        except JobError as error:
            mistakes.append(str(error))
            continue
        for warning in deck.warnings:
            print(f"{name}: warning: {warning}")
        print(f"{name}: no mistake")
    if mistakes:
        raise JobError("\n".join(mistakes))
    print(CAUTION)
    return 0

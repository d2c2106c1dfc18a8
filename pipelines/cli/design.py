"""The command `deckslab design`: bars that pass every check, as a deck file, and its whole run."""

import argparse
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, STATUS, Commands, add_own, found_deck, terminal


def add_design(commands: Commands) -> None:
    """Add the command to the subparsers of the command line."""
    parser = commands.add_parser(
        "design",
        help="bars from loads, concrete, cover and a set of bars",
        description="Choose the least steel of the deck file's [bar_choice] that passes every "
        "check, mats and bars added along lines and edges, and where bars do not suffice and "
        "thickness_mm is given there, or grades in [[concrete]], the thickness and the grade; "
        "analyse the deck again with them until every check that is judged is adequate. Tells "
        "what sets each layer, what else would weigh, and where no bars pass the least change "
        "with which some do. Writes the deck file with the bars, design.csv and design.json with "
        "what was told, and all that run writes. Bars that the file has are replaced, covers and "
        "moment_at stay.",
        epilog=STATUS,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder of results")
    parser.add_argument(
        "--change",
        choices=("thickness", "grade", "diameter", "spacing"),
        help="where no bars pass, take the least change of this kind with which some do, and write "
        "that deck: slab in steps of 10 mm, grade, one diameter or one spacing more in the set",
    )
    parser.set_defaults(do=_design)


def _design(arguments: argparse.Namespace) -> int:
    path = found_deck(arguments.deck)
    from pipelines.bar_design.files import design_bars

    found = design_bars(
        path,
        arguments.out,
        lambda words: print(words, flush=True),
        arguments.change,
        own=arguments.own,
    )
    for line in found.words:
        terminal().print(line)
    if not found.adequate:
        print(CAUTION)
        return 1
    from pipelines.bar_design.files import DESIGN_FILES
    from pipelines.cli.brief import brief
    from pipelines.run import FILES

    names = [name for name in (*DESIGN_FILES, *FILES) if (arguments.out / name).exists()]
    for line in brief(found.result, arguments.out, names):
        terminal().print(line)
    return 0

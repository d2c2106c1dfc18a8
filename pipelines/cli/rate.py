"""The command `deckslab rate`: how much of each vehicle a deck carries."""

import argparse
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, Commands, add_own, found_deck

FILES = ("rating.html", "rating.csv")
# Vehicles that the terminal tells.
TOLD = 8


def add_rate(commands: Commands) -> None:
    """Add the command to the subparsers of the command line."""
    parser = commands.add_parser(
        "rate",
        help="the largest multiplier of each vehicle that a deck carries, check by check",
        description="For each vehicle of a fleet file (`deckslab keys fleet`), alone on the deck "
        "at all its load positions, and each load model of the deck file that it names, with all "
        "its lanes, the largest multiplier at which bending by layer and direction, shear without "
        "links, punching, stresses and crack widths are still adequate, with the place, the load "
        "position and the next check. Writes rating.html and rating.csv.",
        epilog=CAUTION,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    parser.add_argument(
        "--vehicles",
        metavar="FILE",
        type=Path,
        help="fleet file (TOML); without it the vehicles and load models of the deck file",
    )
    parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder of results")
    parser.set_defaults(do=_rate)


def _rate(arguments: argparse.Namespace) -> int:
    from pipelines.bars.rating.fleet import Fleet, read_fleet
    from pipelines.deck.reading.deck_file import read_deck

    deck = read_deck(found_deck(arguments.deck), own=arguments.own)
    file: Path | None = arguments.vehicles
    fleet = Fleet.of_deck(deck) if file is None else read_fleet(file, deck)
    from pipelines.bars.rating.rate import rate
    from pipelines.report.data.rating_csv import write_rating
    from pipelines.report.html import html_of
    from pipelines.report.sections.factors import stated_words
    from pipelines.report.sections.rating import rated_line, rating_page
    from pipelines.system.files import write_text
    from pipelines.system.outputs import check_folder, replacing

    check_folder(arguments.out, "rating", FILES)
    found = rate(deck, fleet)
    with replacing(arguments.out, "rating") as folder:
        write_text(folder / "rating.html", html_of(rating_page(found)))
        write_rating(folder / "rating.csv", found)
    short = sum(not one.least.adequate for one in found.rated)
    print(
        f"{deck.title}: {short} of {len(found.rated)} ratings below 1, the least first; of the "
        "slab alone"
    )
    for one in found.worst_first[:TOLD]:
        print(f"  {rated_line(one)}")
    if len(found.rated) > TOLD:
        print(f"  and {len(found.rated) - TOLD} more: rating.csv")
    print(f"Scope: {' '.join(found.notes)}")
    print(stated_words(deck))
    print(f"Written: {', '.join(FILES)} in {arguments.out}")
    print(CAUTION)
    return 0

"""The command `influence` of the command line: parse, call, print."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, STATUS, Commands, add_own, found_deck, terminal
from pipelines.errors import JobError
from plate.conventions import RESULTS

if TYPE_CHECKING:
    from pipelines.model.influence import Wanted
    from pipelines.report.data.influence import InfluenceResult


def add_influence(commands: Commands) -> None:
    """Add the command `influence`."""
    parser = commands.add_parser(
        "influence",
        help="influence surface of one result and its worst load position",
        description="The value of one result under a unit load at every place of the slab, and the "
        "worst positions of the deck's vehicles, each alone, refined continuously. Writes "
        "influence.csv, influence.vtu and influence.svg. With --to the result is the mean along "
        "the segment, with --resultant the resultant across it.",
        epilog=STATUS,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    parser.add_argument(
        "--at", nargs=2, type=float, metavar=("X", "Y"), required=True, help="station, offset [m]"
    )
    parser.add_argument(
        "--to", nargs=2, type=float, metavar=("X", "Y"), help="other end of a segment [m]"
    )
    parser.add_argument("--component", choices=RESULTS, required=True, help="which result")
    parser.add_argument(
        "--side", choices=("before", "after"), default="", help="side of a line that holds the slab"
    )
    parser.add_argument("--resultant", action="store_true", help="resultant across the segment")
    parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder for files")
    parser.set_defaults(do=_influence)


def _influence(arguments: argparse.Namespace) -> int:
    from pipelines.deck.reading.deck_file import read_deck

    deck = read_deck(found_deck(arguments.deck), own=arguments.own)
    from pipelines.report.data.influence import FILES, influence_result, write_influence
    from pipelines.system.outputs import check_folder

    wanted = _wanted(arguments)
    check_folder(arguments.out, "influence", FILES)
    result = influence_result(deck, wanted)
    files = write_influence(result, arguments.out)
    console = terminal()
    for line in [*_words(result), *map(str, files), CAUTION]:
        console.print(line)
    return 0


def _wanted(arguments: argparse.Namespace) -> "Wanted":
    from pipelines.model.influence import Wanted

    at = (arguments.at[0], arguments.at[1])
    if arguments.to is None:
        if arguments.resultant:
            raise JobError("--resultant needs --to, the other end of the section")
        return Wanted(component=arguments.component, at=at, side=arguments.side)
    if arguments.side:
        raise JobError("--side is for a point, not for a segment")
    to = (arguments.to[0], arguments.to[1])
    if at == to:
        raise JobError("--to is the same point as --at")
    return Wanted(component=arguments.component, start=at, end=to, resultant=arguments.resultant)


def _words(result: "InfluenceResult") -> list[str]:
    from pipelines.numbers import as_given
    from pipelines.report.document import plain
    from pipelines.report.sections.positions import load_text

    lines = [f"Influence on {result.wanted.words}"]
    if not result.worst:
        lines.append("The deck file has no traffic: no load position is searched.")
    for k, worst in enumerate(result.worst):
        name = f"{worst.case}, {('largest', 'smallest')[k % 2]}"
        if worst.position is None:
            lines.append(f"{name}: 0 {result.unit}, the empty deck")
            continue
        told = "; ".join(plain(load_text(worst.position)).splitlines())
        lines.append(
            f"{name}: {as_given(float(f'{worst.value:.4g}'))} {result.unit} (the search may have "
            f"missed {worst.tolerance:.1g}); {told}"
        )
    if not result.wanted.resultant and result.wanted.component != "w":
        lines.append(
            "Near the place itself the surface of a moment or shear grows without bound and the "
            "mesh limits it: read means under a patch there, not ordinates."
        )
    return lines

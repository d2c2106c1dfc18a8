"""The command `influence` of the command line: parse, call, print."""

import argparse
from pathlib import Path
from typing import TypeAlias

from rich.console import Console

from pipelines.deck.examples import example_path
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import JobError
from pipelines.model.influence import Wanted
from pipelines.outputs import check_writable
from pipelines.report.data.influence import InfluenceResult, influence_result, write_influence
from plate.conventions import RESULTS

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def add_influence(commands: Commands, caution: str) -> None:
    """Add the command `influence`; caution : ends its help."""
    parser = commands.add_parser(
        "influence",
        help="influence surface of one result and its worst load position",
        description="The value of one result under a unit load at every place of the slab, and the "
        "worst positions of the deck's vehicles, each alone, refined continuously. Writes "
        "influence.csv, influence.vtu and influence.svg. With --to the result is the mean along "
        "the segment, with --resultant the resultant across it.",
        epilog=caution + " Exit status: 0 success, 2 a mistake in the input, 1 anything else.",
    )
    parser.add_argument("deck", metavar="DECK", help="deck file, or a packaged example: estuary")
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
    path = Path(arguments.deck)
    if not path.exists():
        path = example_path(arguments.deck) or path
    if arguments.out.exists() and not arguments.out.is_dir():
        raise JobError(f"--out {arguments.out}: is a file, a folder is needed")
    deck, wanted = read_deck(path), _wanted(arguments)
    check_writable(arguments.out)
    result = influence_result(deck, wanted)
    files = write_influence(result, arguments.out)
    console = Console(soft_wrap=True)
    for line in [*_words(result), *map(str, files)]:
        console.print(line, highlight=False, markup=False)
    return 0


def _wanted(arguments: argparse.Namespace) -> Wanted:
    at = (arguments.at[0], arguments.at[1])
    if arguments.to is None:
        if arguments.resultant:
            raise JobError("--resultant needs --to, the other end of the section")
        return Wanted(arguments.component, at, side=arguments.side)
    if arguments.side:
        raise JobError("--side is for a point, not for a segment")
    to = (arguments.to[0], arguments.to[1])
    if at == to:
        raise JobError("--to is the same point as --at")
    return Wanted(arguments.component, start=at, end=to, resultant=arguments.resultant)


def _words(result: InfluenceResult) -> list[str]:
    lines = [f"Influence on {result.wanted.words}"]
    if not result.worst:
        lines.append("The deck file has no vehicles: no load position is searched.")
    for name, place in zip(("largest", "smallest"), result.worst, strict=False):
        if place.position is None:
            lines.append(f"{name}: 0 {result.unit}, the empty deck")
            continue
        at = place.position
        lines.append(
            f"{name}: {place.value:.4g} {result.unit} (the search may have missed "
            f"{place.tolerance:.1g}), {at.vehicle} alone, {at.direction}, first axle at station "
            f"{at.station:.3f} m, offset {at.offset:+.3f} m"
        )
    if not result.wanted.resultant and result.wanted.component != "w":
        lines.append(
            "Near the place itself the surface of a moment or shear grows without bound and the "
            "mesh limits it: read means under a patch there, not ordinates."
        )
    return lines

"""The command `collapse` of the command line: parse, call, print."""

import argparse
import re
from fnmatch import fnmatchcase
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.caution import CAUTION
from pipelines.cli.progress import Progress
from pipelines.cli.words import DECK, STATUS, Commands, add_own, found_deck, terminal
from pipelines.errors import JobError, MissingError

if TYPE_CHECKING:
    from pipelines.bars.collapse.plastic_deck import BeamStrength
    from pipelines.deck.deck import Deck

FILES = ("collapse.csv", "collapse.html")
BEAM = re.compile(
    r"(?P<lines>[^=]+)=(?:(?P<rigid>rigid)|(?P<up>[\d.eE+]+)(?:,(?P<down>[\d.eE+]+))?)"
)


def add_collapse(commands: Commands) -> None:
    """Add the command `collapse`."""
    parser = commands.add_parser(
        "collapse",
        help="multiplier of traffic at which the slab collapses in bending",
        description="The multiplier of one vehicle, or of a load model with its lanes, at which "
        "the slab collapses in bending, between two certified bounds, permanent loads constant: a "
        "safe bound of its load positions, or of arrangements that govern the elastic slab, the "
        "worst of them between both. Shear and punching, as `deckslab run` checks them, end it "
        "where they are smaller. Writes collapse.csv and collapse.html, which says what the "
        "multiplier may be used for.",
        epilog=STATUS,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    traffic = parser.add_mutually_exclusive_group()
    traffic.add_argument("--vehicle", default="", help="its name; the first of the deck file")
    traffic.add_argument(
        "--load-model", default="", help="in place of a vehicle, one of the deck file's"
    )
    parser.add_argument(
        "--at", nargs=2, type=float, metavar=("X", "Y"), help="only there: first axle [m]"
    )
    parser.add_argument("--reverse", action="store_true", help="with --at: the other way round")
    parser.add_argument(
        "--beam",
        action="append",
        default=[],
        metavar="LINES=KNM[,KNM]",
        help="plastic moments of the beams on these lines, sagging and hogging (the same if one is "
        "given), or LINES=rigid for beams that are taken not to fail; may be repeated",
    )
    parser.add_argument(
        "--standard",
        default="",
        help="by which bars resist; the deck file's first, or the first of the load model's family",
    )
    parser.add_argument("--gap", type=float, default=1.0, help="between the bounds [%%], default 1")
    parser.add_argument(
        "--positions", type=int, default=1000, help="most places looked at, default 1000"
    )
    parser.add_argument(
        "--worst", type=int, default=3, help="of them between both bounds, default 3"
    )
    parser.add_argument(
        "--bending", action="store_true", help="bending alone, without shear and punching"
    )
    parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder for files")
    parser.set_defaults(do=_collapse)


def _collapse(arguments: argparse.Namespace) -> int:
    from pipelines.deck.reading.deck_file import read_deck

    deck = read_deck(found_deck(arguments.deck), own=arguments.own)
    if find_spec("clarabel") is None:
        raise MissingError("collapse", "collapse")
    from dataclasses import replace

    from pipelines.bars.collapse.search import Wanted, brittle_checks, collapse_load
    from pipelines.report.data.collapse_csv import write_collapse
    from pipelines.report.html import html_of
    from pipelines.report.sections.collapse import collapse_page, summary_lines
    from pipelines.system.files import write_text
    from pipelines.system.outputs import check_folder, replacing

    for name, low, high in (("gap", 0.05, 50.0), ("positions", 1, 100_000), ("worst", 1, 100)):
        if not low <= getattr(arguments, name) <= high:
            raise JobError(f"--{name} {getattr(arguments, name):g}: allowed is {low:g} to {high:g}")
    if arguments.at is not None and arguments.load_model:
        raise JobError("--at is for a vehicle, not for a load model")
    if arguments.reverse and arguments.at is None:
        raise JobError("--reverse needs --at, a load position")
    check_folder(arguments.out, "collapse", FILES)
    wanted = Wanted(
        vehicle=arguments.vehicle,
        load_model=arguments.load_model,
        at=None if arguments.at is None else (arguments.at[0], arguments.at[1]),
        reverse=arguments.reverse,
        beams=_beams(deck, arguments.beam),
        standard=arguments.standard,
        gap=0.01 * arguments.gap,
        positions=arguments.positions,
        worst=arguments.worst,
    )
    with Progress() as tell:
        found = collapse_load(deck, wanted, tell)
        if not arguments.bending:
            from pipelines.analysis.analyse import analyse

            verdicts = analyse(deck, tell, tolerances_wanted=False).verdicts
            found = replace(found, brittle=brittle_checks(verdicts, found.basis, found.combination))
    with replacing(arguments.out, "collapse") as folder:
        write_collapse(folder / "collapse.csv", found)
        write_text(folder / "collapse.html", html_of(collapse_page(found)))
    console = terminal()
    files = [str(arguments.out / name) for name in FILES]
    for line in [*summary_lines(found), *files, CAUTION]:
        console.print(line)
    return 0


def _beams(deck: "Deck", stated: list[str]) -> dict[str, "BeamStrength"]:
    """Plastic moments by line. Raises JobError for what cannot be read or names no beam."""
    from pipelines.bars.collapse.plastic_deck import BeamStrength

    names = [line.name for line in deck.lines if line.beam is not None]
    found: dict[str, BeamStrength] = {}
    for one in stated:
        match = BEAM.fullmatch(one.replace(" ", ""))
        if match is None:
            raise JobError(
                f'--beam "{one}": allowed is LINES=KNM, LINES=KNM,KNM or LINES=rigid, as C*=900,400'
            )
        mine = [name for name in names if fnmatchcase(name, match["lines"])]
        if not mine:
            there = ", ".join(names) or "none"
            raise JobError(f'--beam "{one}": no beam lies on {match["lines"]}; beams: {there}')
        if match["rigid"]:
            strength = BeamStrength(float("inf"), float("inf"))
        else:
            try:
                up = 1e3 * float(match["up"])
                down = up if match["down"] is None else 1e3 * float(match["down"])
            except ValueError as error:
                raise JobError(f'--beam "{one}": these are no numbers of kNm') from error
            if not 0.0 < up < 1e12 or not 0.0 <= down < 1e12:
                raise JobError(f'--beam "{one}": plastic moments must be positive')
            strength = BeamStrength(up, down)
        found |= dict.fromkeys(mine, strength)
    return found

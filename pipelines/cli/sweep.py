"""The command `deckslab sweep`: findings over the stiffness of what carries the slab."""

import argparse
import json
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, Commands, add_own, found_deck
from pipelines.errors import JobError

# Stiffness of a cracked slab as a share of the uncracked: common practice takes 0.25 to 0.5 of the
# gross section; to be judged for the slab at hand.
CRACKED = 0.4
FILES = ("sweep.html", "sweep.json")


def add_sweep(commands: Commands) -> None:
    """Add the command to the subparsers of the command line."""
    parser = commands.add_parser(
        "sweep",
        help="findings over the beams' stiffness, from soft to rigid",
        description="Find the governing sagging and hogging again with beams from soft to rigid, "
        "the slab uncracked and cracked, and where each hand strip's finding flips. Writes "
        "sweep.html and sweep.json.",
        epilog=CAUTION,
    )
    parser.add_argument("deck", metavar="DECK", help=DECK)
    add_own(parser)
    parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder of results")
    parser.add_argument(
        "--cracked",
        type=float,
        default=CRACKED,
        metavar="SHARE",
        help=f"stiffness of the cracked slab as a share of the uncracked (default {CRACKED})",
    )
    parser.set_defaults(do=_sweep)


def _sweep(arguments: argparse.Namespace) -> int:
    if not 0.01 <= arguments.cracked <= 1.0:
        raise JobError(f"--cracked {arguments.cracked}: must be between 0.01 and 1")
    from pipelines.deck.reading.deck_file import read_deck

    deck = read_deck(found_deck(arguments.deck), own=arguments.own)
    from pipelines.findings.beam_stiffness import sweep
    from pipelines.numbers import number
    from pipelines.report.data.summary import finite
    from pipelines.report.html import html_of
    from pipelines.report.sections.stiffness_sweep import sweep_page
    from pipelines.system.files import write_text
    from pipelines.system.outputs import check_folder, replacing

    check_folder(arguments.out, "sweep", FILES)
    found = sweep(deck, arguments.cracked)
    with replacing(arguments.out, "sweep") as folder:
        write_text(folder / "sweep.html", html_of(sweep_page(deck.title, found)))
        words = json.dumps(finite([one.entry() for one in found]), indent=1, allow_nan=False)
        write_text(folder / "sweep.json", words + "\n")
    print(
        "EI/(D L): bending stiffness of the beams over that of the slab, as in the deck file, "
        "times the strip's span"
    )
    for one in found:
        finding = one.finding
        print(
            f"{finding.place}, {finding.section.effect}, {one.load}; the deck has EI/(D L) = "
            f"{one.own:.3g}"
        )
        for strip, value in one.strips:
            for curve in one.curves:
                state = f"slab stiffness x {curve.share:g}"
                named = f"{strip} ({one.marks[strip]})"
                print(f"  {named} {number(1e-3 * value)} kNm/m, {state}: {one.words(value, curve)}")
    for name in FILES:
        print(arguments.out / name)
    print(CAUTION)
    return 0

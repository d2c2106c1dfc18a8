"""The command `deckslab sweep`: findings over the stiffness of what carries the slab."""

import argparse
import json
from pathlib import Path
from typing import Any

from pipelines.deck.examples import example_path
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.variants import BEAM_RANGE
from pipelines.errors import JobError
from pipelines.findings.beam_stiffness import CRACKED, Sweep, sweep
from pipelines.numbers import number
from pipelines.outputs import check_writable, replacing
from pipelines.report.data.summary import finite
from pipelines.report.drawings.stiffness_sweep import sweep_figure
from pipelines.report.page import bullets, figure, page, paragraph, section, table, text

CAUTIONS = (
    "Results are for a qualified engineer to verify. Local codes and licensed practice govern.",
    "Each vehicle runs alone: a single vehicle is not a standard's load model. Values are "
    "characteristic, of the traffic alone.",
    "The cracked slab is the same share of stiffness in both directions and in twisting; real "
    "cracking is neither uniform nor alike in both directions.",
)


def add_sweep(commands: Any, epilog: str) -> None:
    """Add the command to the subparsers of the command line."""
    parser = commands.add_parser(
        "sweep",
        help="findings over the beams' stiffness, from soft to rigid",
        description="Find the governing sagging and hogging again with beams from soft to rigid, "
        "the slab uncracked and cracked, and where each hand strip's finding flips. Writes "
        "sweep.html and sweep.json.",
        epilog=epilog,
    )
    parser.add_argument("deck", metavar="DECK", help="deck file (TOML), or a packaged example")
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
    path = Path(arguments.deck)
    if not path.exists():
        path = example_path(arguments.deck) or path
    if not 0.01 <= arguments.cracked <= 1.0:
        raise JobError(f"--cracked {arguments.cracked}: must be between 0.01 and 1")
    deck = read_deck(path)
    check_writable(arguments.out)
    found = sweep(deck, arguments.cracked)
    with replacing(arguments.out, "sweep") as folder:
        (folder / "sweep.html").write_text(sweep_page(deck.title, found), encoding="utf-8")
        words = json.dumps(finite([one.entry() for one in found]), indent=1, allow_nan=False)
        (folder / "sweep.json").write_text(words + "\n", encoding="utf-8")
    for one in found:
        print(f"{one.finding.place}, {one.finding.effect}, {one.finding.vehicle} alone:")
        for strip, value in one.strips:
            for curve in one.curves:
                state = f"slab stiffness x {curve.share:g}"
                print(f"  {strip} {1e-3 * value:.3g} kNm/m, {state}: {one.words(value, curve)}")
    print(arguments.out / "sweep.html")
    return 0


def sweep_page(title: str, found: tuple[Sweep, ...]) -> str:
    """The sweeps as one page that stands alone."""
    parts = []
    for k, one in enumerate(found, start=1):
        name = f"{one.finding.place}, {one.finding.effect}, {one.finding.vehicle} alone"
        caption = (
            "Plate's worst value, searched again at every stiffness; rings: the deck as it is; "
            "bars at the right: rigid lines; filled marks: where a strip's finding flips. "
            "The beams' bending and shear change together, torsion stays; D is the slab's "
            "stiffness along the strip as the deck file has it, for both curves."
        )
        drawing = figure(f"sweep-{k}", sweep_figure(f"flexibility-{k}", one), caption)
        parts.append(section(f"sweep-section-{k}", name, drawing, _flips(one), _values(one)))
    header = f'<h1>{text(title)}</h1>\n<p class="lead">Findings over the beams\' stiffness</p>'
    header += f'<div class="caution" role="note">{bullets(CAUTIONS)}</div>'
    low, high = BEAM_RANGE
    header += paragraph(
        f"The findings table of a run shows the range between {number(low)} and {number(high)} "
        "times the beams' stiffness at a held load position; here the position is searched again."
    )
    contents = [
        (f"sweep-section-{k}", f"{one.finding.place}, {one.finding.effect}")
        for k, one in enumerate(found, start=1)
    ]
    return page(title, header, contents, "\n".join(parts), text(CAUTIONS[0]))


def _flips(one: Sweep) -> str:
    heads = ["Strip", "Value [kNm/m]"]
    heads += [f"slab stiffness × {number(curve.share)}" for curve in one.curves]
    rows = [
        [text(strip), number(1e-3 * value), *(text(one.words(value, c)) for c in one.curves)]
        for strip, value in one.strips
    ]
    return table("EI / (D L) at which the finding of a strip flips", heads, rows, numeric=(1,))


def _values(one: Sweep) -> str:
    heads = ["EI / (D L)"]
    heads += [f"plate, slab stiffness × {number(c.share)} [kNm/m]" for c in one.curves]
    rows = [
        [number(float(ratio)), *(number(1e-3 * float(c.values[k])) for c in one.curves)]
        for k, ratio in enumerate(one.ratios)
    ]
    rows.append(["rigid lines", *(number(1e-3 * c.rigid) for c in one.curves)])
    rows.append([f"deck: {number(one.own)}", *(number(1e-3 * c.own) for c in one.curves)])
    return table("Plate's worst value", heads, rows, numeric=(1, 2))

"""The commands before and after a run: `new`, `draw`, `view`; parse, call, print."""

import argparse
from pathlib import Path

from pipelines.caution import CAUTION
from pipelines.cli.words import DECK, Commands, add_own, found_deck
from pipelines.deck.starters import FAMILIES, KINDS, family_starter, starter
from pipelines.deck.starters.notebooks import NOTEBOOKS, notebook_starter
from pipelines.errors import JobError
from pipelines.system.files import write_text


def add_start(commands: Commands) -> None:
    """Add the commands `new`, `draw` and `view`."""
    new = commands.add_parser(
        "new",
        help="write a commented deck, study or fit file, or a notebook, to start from",
        description="Write a commented file to start from. A deck file for a kind of deck: "
        + "; ".join(f"{kind}: {words}" for kind, words in KINDS.items())
        + ". For families of decks: "
        + "; ".join(f"{kind}: {words}" for kind, words in FAMILIES.items())
        + ". Pages that compute: "
        + "; ".join(f"{kind}: {words}" for kind, words in NOTEBOOKS.items()) + ".",
        epilog=CAUTION,
    )  # fmt: skip
    new.add_argument(
        "kind", choices=[*KINDS, *FAMILIES, *NOTEBOOKS], help="kind of deck, or of file"
    )
    new.add_argument("--out", metavar="FILE", type=Path, required=True, help="file to write")
    new.set_defaults(do=_new)
    draw = commands.add_parser(
        "draw",
        help="draw the model before anything is computed",
        description="Draw plan, section and vehicles of a deck file to a folder, or the plan to "
        "a file that ends in .svg.",
        epilog=CAUTION,
    )
    draw.add_argument("deck", metavar="DECK", help=DECK)
    add_own(draw)
    draw.add_argument("--out", metavar="DIR|FILE.svg", type=Path, required=True, help="where to")
    draw.set_defaults(do=_draw)
    view = commands.add_parser(
        "view",
        help="draw a scene in space: .png, .gif or .html",
        description="Draw a folder of results, or the model of a deck file, in space. A deck file "
        "to .gif is its first vehicle crossing. PNG and GIF need the extra 'views'; HTML nothing.",
        epilog=CAUTION,
    )
    view.add_argument("source", metavar="RESULTS|DECK", help="folder of `run`, or a deck file")
    view.add_argument("--out", metavar="FILE", type=Path, required=True, help=".png, .gif, .html")
    view.add_argument(
        "--field", default="m_x_max", help="field of the results, default m_x_max; see fields.vtu"
    )
    view.add_argument(
        "--deck", metavar="DECK", help="deck of the results: shows beams, supports, the vehicle"
    )
    add_own(view)
    view.set_defaults(do=_view)


def _new(arguments: argparse.Namespace) -> int:
    out: Path = arguments.out
    kind: str = arguments.kind
    if kind in NOTEBOOKS:
        files = {out: notebook_starter(kind)}
    else:
        files = family_starter(kind, out) if kind in FAMILIES else {out: starter(kind)}
    for path in files:
        if path.exists():
            raise JobError(f"--out {out}: {path} exists already; give another name")
    out.parent.mkdir(parents=True, exist_ok=True)
    for path, text in files.items():
        write_text(path, text)
        print(path)
    print(f"Next: {_next(kind, out)}")
    print(CAUTION)
    return 0


def _next(kind: str, out: Path) -> str:
    if kind == "study":
        return f"deckslab study {out} --out studied"
    if kind in NOTEBOOKS:
        return f"jupyter lab {out}"
    if kind == "fit":
        return f"deckslab fit {out} --table studied/table.parquet --out fitted"
    return f"deckslab draw {out} --out drawings, deckslab run {out} --out results"


def _draw(arguments: argparse.Namespace) -> int:
    from pipelines.deck.reading.deck_file import read_deck

    deck = read_deck(found_deck(arguments.deck), own=arguments.own)
    from pipelines.model.accepted import accepted
    from pipelines.report.drawings.before_run import write_drawings

    size = accepted(deck).size
    for path in write_drawings(deck, arguments.out):
        print(path)
    for warning in deck.warnings:
        print(f"Warning: {warning}")
    print(f"A run: {size.words}.")
    print(CAUTION)
    return 0


def _view(arguments: argparse.Namespace) -> int:
    from pipelines.deck.reading.deck_file import read_deck
    from pipelines.model.accepted import accepted
    from pipelines.report.space.views import write_view
    from pipelines.system.outputs import SMALL, check_file

    check_file(arguments.out, SMALL)
    source = found_deck(arguments.source)
    name = arguments.deck if source.is_dir() else str(source)
    deck = read_deck(found_deck(name), own=arguments.own) if name else None
    if deck is not None:
        accepted(deck)
    write_view(source, deck, arguments.out, arguments.field)
    print(arguments.out)
    print(CAUTION)
    return 0

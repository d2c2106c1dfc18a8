"""The commands `keys` and `theory` of the command line: parse, call, print."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.caution import CAUTION
from pipelines.cli.words import Commands, terminal
from pipelines.errors import JobError

if TYPE_CHECKING:
    from rich.table import Table

    from pipelines.deck.reading.key_reference import KeyFile, KeyTable

# Of the text in a file or a pipe [characters].
WIDE = 80


def add_reference(commands: Commands) -> None:
    """Add the commands `keys` and `theory`."""
    keys = commands.add_parser(
        "keys",
        help="tell every key of every file: meaning, unit, bounds, default, example",
        description="Tell the keys of a table of the deck file, the readings on site and under "
        "load, the study file or the fit file; without a table, which tables there are. With --out "
        "also a page with all of them.",
        epilog=CAUTION,
    )
    keys.add_argument("table", metavar="TABLE", nargs="?", help="such as slab, line.beam, study")
    keys.add_argument("--out", metavar="FILE.html", type=Path, help="page to write")
    keys.set_defaults(do=_keys)
    theory = commands.add_parser(
        "theory",
        help="tell mechanics, errors, strips and checks in formulas, with their sources",
        description="Tell the mechanics, the stated errors, the hand strips and the checks of the "
        "bars in formulas, with their sources: a chapter, or all of them. With --out also as a "
        "page.",
        epilog=CAUTION,
    )
    theory.add_argument("chapter", metavar="CHAPTER", nargs="?", help="such as strips, checks")
    theory.add_argument("--out", metavar="FILE.html", type=Path, help="page to write")
    theory.set_defaults(do=_theory)


def _keys(arguments: argparse.Namespace) -> int:
    from pipelines.bars.rating.fleet_schema import FleetTable
    from pipelines.deck.reading.key_reference import (
        deck_file_keys,
        file_keys,
        load_test_file_keys,
        names_of,
        selected,
        survey_file_keys,
    )
    from pipelines.deck.reading.mistakes import nearest
    from pipelines.study.fit.schema import FitTable
    from pipelines.study.schema import StudyTable
    from pipelines.system.files import write_text
    from pipelines.system.outputs import SMALL, check_file

    files = (
        deck_file_keys(),
        survey_file_keys(),
        load_test_file_keys(),
        file_keys("fleet", "Fleet file (TOML)", FleetTable),
        file_keys("study", "Study file (TOML)", StudyTable),
        file_keys("fit", "Fit file (TOML)", FitTable),
    )
    name: str | None = arguments.table
    shown = files if name is None else selected(files, name)
    if name is not None and not shown:
        known = names_of(files)
        top = ", ".join(one for one in known if "." not in one)
        told = f"no table {name}, {nearest(name, known)}; there are {top}, and their parts"
        raise JobError(told)
    if arguments.out is not None:
        check_file(arguments.out, SMALL)
    console = terminal(WIDE)
    for file in shown:
        console.print(file.title, style="bold underline")
        if name is None:
            console.print(_overview(file), soft_wrap=False)
        for part in () if name is None else file.tables:
            console.print(f"\n{part.heading}", style="bold")
            console.print(part.meaning, soft_wrap=False)
            console.print(_listing(file, part), soft_wrap=False)
        console.print()
    if name is None:
        console.print("deckslab keys TABLE tells the keys of one, --out FILE.html all on a page.")
    console.print(CAUTION, soft_wrap=False)
    if arguments.out is not None:
        from pipelines.report.html import html_of
        from pipelines.report.sections.key_list import key_page

        arguments.out.parent.mkdir(parents=True, exist_ok=True)
        write_text(arguments.out, html_of(key_page(files, CAUTION)))
        console.print(str(arguments.out))
    return 0


def _theory(arguments: argparse.Namespace) -> int:
    from rich.padding import Padding

    from pipelines.report.html import html_of
    from pipelines.report.sections.theory.page import (
        MARKS,
        chapters,
        theory_lines,
        theory_page,
    )
    from pipelines.system.files import write_text
    from pipelines.system.outputs import SMALL, check_file

    there = chapters()
    name: str | None = arguments.chapter
    shown = [chapter for chapter in there if name in (None, chapter.name)]
    if not shown:
        raise JobError(f"no chapter {name}; there are {', '.join(one.name for one in there)}")
    if arguments.out is not None:
        check_file(arguments.out, SMALL)
    console = terminal(WIDE)
    styles = {"title": "bold", "formula": "", "words": "", "source": "dim"}
    for chapter in shown if name is not None or arguments.out is None else ():
        console.print(chapter.title, style="bold underline")
        for kind, line in theory_lines(chapter):
            margin = (1 if kind == "title" else 0, 0, 0, 4 if kind == "formula" else 0)
            console.print(Padding(line, margin, expand=False), style=styles[kind], soft_wrap=False)
        console.print()
    console.print(MARKS, soft_wrap=False)
    console.print(CAUTION, soft_wrap=False)
    if arguments.out is not None:
        arguments.out.parent.mkdir(parents=True, exist_ok=True)
        write_text(arguments.out, html_of(theory_page(CAUTION)))
        console.print(str(arguments.out))
    return 0


def _grid() -> "Table":
    from rich.table import Table

    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True, style="bold")
    grid.add_column()
    return grid


def _overview(file: "KeyFile") -> "Table":
    """The tables of a file with their meaning; parts of tables come with theirs."""
    grid = _grid()
    for part in file.tables:
        if "." not in part.name:
            grid.add_row(part.name, part.meaning)
    return grid


def _listing(file: "KeyFile", part: "KeyTable") -> "Table":
    """The keys of a table, each with what is allowed, what holds without it and an example."""
    grid = _grid()
    for key in part.keys:
        example = key.example.strip('"') if file.is_csv else f"{key.name} = {key.example}"
        left_out = key.left_out if key.left_out == "needed" else f"left out: {key.left_out}"
        grid.add_row(key.name, f"{key.meaning}\n{key.allowed}; {left_out}\n{example}\n")
    return grid

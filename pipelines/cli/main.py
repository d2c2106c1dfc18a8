"""The command line: parses, calls, prints; computes nothing."""

import argparse
import os
import sys
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from importlib.metadata import version
from io import StringIO, TextIOWrapper
from pathlib import Path
from typing import Any, TextIO, cast

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.table import Table

from pipelines.cli.completion import SHELLS, completion
from pipelines.cli.influence import add_influence
from pipelines.cli.study import add_study
from pipelines.cli.sweep import add_sweep
from pipelines.cli.vehicles import add_vehicles
from pipelines.cli.verify import add_verify
from pipelines.deck.examples import example_path
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import KINDS, starter
from pipelines.envelopes.model_peaks import ModelPeak
from pipelines.errors import JobError, SizeError
from pipelines.files import write_text
from pipelines.model.job_size import check_job_size
from pipelines.report.data.summary import model_facts
from pipelines.report.drawings.before_run import write_drawings
from pipelines.report.sections.bars_words import bars_words, traffic_words
from pipelines.report.sections.tables import tolerance
from pipelines.report.space.views import write_view
from pipelines.result import Result
from pipelines.run import run
from pipelines.units import RESULT_KEYS
from plate.errors import PlateError

CAUTION = (
    "Results are for a qualified engineer to verify. Local codes and licensed practice govern; "
    "factors and national annexes are the user's to confirm."
)
NO_MEMORY = (
    "the memory that may be taken does not suffice: make [mesh] size_m larger, or [traffic] step_m "
    "and lateral_step_m"
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status: 0 success, 2 a user's mistake, 1 other.

    Where the reader of a pipe stops reading, as `head` does, the command goes on to its end and
    its status stays its own.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            # Not every console can print ± or ×: a question mark there, never the end of a run.
            stream.reconfigure(errors="replace")
    out, err = (cast(TextIO, WhileRead(s or StringIO())) for s in (sys.stdout, sys.stderr))
    with redirect_stdout(out), redirect_stderr(err):
        try:
            try:
                arguments = _parser().parse_args(argv)
                return int(arguments.do(arguments))
            finally:
                out.flush()
        except (JobError, PlateError) as error:
            message, status = str(error), 2
        except OSError as error:
            place = "" if error.filename is None else f"{error.filename}: "
            message, status = f"{place}{error.strerror or error}", 2
        except MemoryError:
            message, status = NO_MEMORY, 2
        except KeyboardInterrupt:
            message, status = "stopped", 1
        print(f"deckslab: {message}", file=sys.stderr)
        return status


class WhileRead:
    """A standard stream for as long as someone reads it: what follows is dropped."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)

    def write(self, text: str) -> int:
        """All of it is taken, as far as the caller can see."""
        try:
            return self.stream.write(text)
        except BrokenPipeError:
            self._drop()
            return len(text)

    def flush(self) -> None:
        """Also finds out that nobody reads."""
        try:
            self.stream.flush()
        except BrokenPipeError:
            self._drop()

    def _drop(self) -> None:
        # In place of the pipe: what is still in the buffer goes there too, also at the very end.
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, self.stream.fileno())
        os.close(null)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="deckslab",
        description="Reinforced-concrete deck slabs under wheels: plate analysis on flexible "
        "supports, envelopes of moving vehicles, comparison with hand strips.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"deckslab {version('deckslab')}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    run_ = commands.add_parser(
        "run",
        help="analyse a deck file and write its report",
        description="Analyse a deck file: static cases, every load position of its vehicles, "
        "envelopes, hand strips. Writes report.html, summary.json, findings.csv and fields.vtu, "
        "of a deck with bars also bars.dxf.",
        epilog=CAUTION + " Exit status: 0 success, 2 a mistake in the input, 1 anything else.",
    )
    run_.add_argument(
        "deck",
        metavar="DECK",
        help="deck file (TOML), or the name of a packaged example: estuary, girders, skew",
    )
    run_.add_argument(
        "--out", metavar="DIR", type=Path, required=True, help="folder for the results, made if new"
    )
    run_.add_argument("--pdf", action="store_true", help="also report.pdf (needs deckslab[pdf])")
    run_.set_defaults(do=_run)
    _starting_commands(commands)
    add_influence(commands, CAUTION)
    add_vehicles(commands, CAUTION)
    add_study(commands, CAUTION)
    add_sweep(commands, CAUTION)
    add_verify(commands, CAUTION)
    return parser


def _starting_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    new = commands.add_parser(
        "new",
        help="write a commented deck file to start from",
        description="Write a commented deck file for a kind of deck: "
        + "; ".join(f"{kind}: {words}" for kind, words in KINDS.items()) + ".",
        epilog=CAUTION,
    )  # fmt: skip
    new.add_argument("kind", choices=[*KINDS], help="kind of deck")
    new.add_argument("--out", metavar="DECK", type=Path, required=True, help="deck file to write")
    new.set_defaults(do=_new)
    draw = commands.add_parser(
        "draw",
        help="draw the model before anything is computed",
        description="Draw plan, section and vehicles of a deck file to a folder, or the plan to "
        "a file that ends in .svg.",
        epilog=CAUTION,
    )
    draw.add_argument("deck", metavar="DECK", help="deck file, or a packaged example")
    draw.add_argument("--out", metavar="DIR|FILE.svg", type=Path, required=True, help="where to")
    draw.set_defaults(do=_draw)
    view = commands.add_parser(
        "view",
        help="draw a scene in space: .png, .gif or .html",
        description="Draw a folder of results, or the model of a deck file, in space. A deck file "
        "to .gif is its first vehicle crossing. PNG and GIF need deckslab[views]; HTML nothing.",
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
    view.set_defaults(do=_view)
    shell = commands.add_parser("completion", help="print a script of completions for a shell")
    shell.add_argument("shell", choices=SHELLS)
    shell.set_defaults(do=_completion)


def _found(name: str) -> Path:
    """A path, or the packaged example of that name where there is no such file."""
    path = Path(name)
    return path if path.exists() else example_path(name) or path


def _new(arguments: argparse.Namespace) -> int:
    out: Path = arguments.out
    if out.exists():
        raise JobError(f"--out {out}: exists already; give another name")
    out.parent.mkdir(parents=True, exist_ok=True)
    write_text(out, starter(arguments.kind))
    print(f"{out}\nNext: deckslab draw {out} --out drawings, deckslab run {out} --out results")
    return 0


def _draw(arguments: argparse.Namespace) -> int:
    deck = read_deck(_found(arguments.deck))
    for path in write_drawings(deck, arguments.out):
        print(path)
    for warning in deck.warnings:
        print(f"Warning: {warning}")
    try:
        print(f"A run: {check_job_size(deck).words}.")
    except SizeError as error:
        print(f"Warning: {error}")
    return 0


def _view(arguments: argparse.Namespace) -> int:
    source = _found(arguments.source)
    name = arguments.deck if source.is_dir() else str(source)
    deck = read_deck(_found(name)) if name else None
    if deck is not None:
        check_job_size(deck)
    write_view(source, deck, arguments.out, arguments.field)
    print(arguments.out)
    return 0


def _completion(arguments: argparse.Namespace) -> int:
    print(completion(_parser(), arguments.shell), end="")
    return 0


def _run(arguments: argparse.Namespace) -> int:
    if arguments.out.exists() and not arguments.out.is_dir():
        raise JobError(f"--out {arguments.out}: is a file, a folder is needed")
    with _progress() as tell:
        result = run(_found(arguments.deck), arguments.out, tell, pdf=arguments.pdf)
    _closing_table(result, arguments.out)
    return 0


class _progress:
    """A progress bar on the terminal's error stream, nothing where that is not a terminal."""

    def __enter__(self) -> "_progress":
        self.bar = Progress(
            TextColumn("{task.description:<20}"),
            BarColumn(),
            TextColumn("{task.completed:>7.0f}/{task.total:<7.0f}"),
            TimeElapsedColumn(),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            disable=not sys.stderr.isatty(),
        )
        self.tasks: dict[str, int] = {}
        self.bar.__enter__()
        return self

    def __call__(self, stage: str, part: int, whole: int) -> None:
        if stage not in self.tasks:
            for task in self.tasks.values():
                total = self.bar.tasks[task].total
                self.bar.update(task, completed=total or 0)  # type: ignore[arg-type]
            self.tasks[stage] = self.bar.add_task(stage, total=whole)
        self.bar.update(self.tasks[stage], completed=part)  # type: ignore[arg-type]

    def __exit__(self, *error: object) -> None:
        if error[0] is None:
            for task in self.tasks.values():
                self.bar.update(task, completed=self.bar.tasks[task].total or 0)  # type: ignore
        self.bar.__exit__(*error)  # type: ignore[arg-type]


def _closing_table(result: Result, out: Path) -> None:
    """The governing values of the envelope and where the files are."""
    console = Console(soft_wrap=True)
    facts = model_facts(result)
    console.print(
        f"{result.deck.title}: {facts['cells']} cells, {facts['degrees_of_freedom']} degrees of "
        f"freedom, {facts['load_positions'] + facts['load_model_positions']} load positions, "
        f"{sum(result.seconds.values()):.1f} s",
        highlight=False,
    )
    if result.envelopes is not None:
        console.print(_envelope_table(result))
    for envelope, peaks in zip(result.models, result.model_peaks, strict=True):
        console.print(_model_table(envelope.model.name, peaks))
    short = [f for f in result.findings if f.finding.startswith("strip short")]
    if result.findings:
        worst = result.findings[0]
        console.print(
            f"Hand strips: {len(short)} of {len(result.findings)} comparisons short. Worst: "
            f"{worst.place}, {worst.effect}, {worst.vehicle}, {worst.strip}: {worst.finding}"
            + (f" ({worst.caution})." if worst.caution else "."),
            highlight=False,
        )
    elif result.no_findings:
        console.print(f"Hand strips: none compared; {result.no_findings}.", highlight=False)
    if result.design is not None:
        words = f"Bars. {traffic_words(result.design)} {bars_words(result.design)}"
        console.print(words, highlight=False)
    for warning in result.deck.warnings:
        console.print(f"Warning: {warning}", highlight=False)
    files = ("report.html", "report.pdf", "summary.json", "findings.csv", "fields.vtu", "bars.dxf")
    for name in files:
        if (out / name).exists():
            console.print(os.fspath(out / name), highlight=False)
    console.print(CAUTION, highlight=False)


def _model_table(name: str, peaks: Sequence[ModelPeak]) -> Table:
    table = Table(title=f"{name}, all lanes, over the deck")
    for heading in ("result", "unit", "value", "at station, offset [m]", "lanes, left to right"):
        table.add_column(heading)
    for peak in peaks:
        table.add_row(
            f"{RESULT_KEYS[peak.component].removesuffix('_mm')} {peak.extreme}",
            peak.unit,
            f"{peak.value:.3g}{tolerance(peak.whole_error)}",
            f"{peak.at[0]:.2f}, {peak.at[1]:+.2f}",
            peak.position.words,
        )
    return table


def _envelope_table(result: Result) -> Table:
    assert result.envelopes is not None
    table = Table(title="Envelope over the deck (one vehicle at a time)")
    for heading in ("result", "unit", "value", "at station, offset [m]", "vehicle", "first axle"):
        table.add_column(heading)
    for row in result.governing:
        position = row.position
        first = (
            ""
            if position is None
            else (f"{position.station:.2f}, {position.offset:+.2f} {position.direction}")
        )
        table.add_row(
            f"{row.result} {row.extreme}",
            row.unit,
            f"{row.value:.3g}{tolerance(row.error)}",
            f"{row.at[0]:.2f}, {row.at[1]:+.2f}",
            "" if position is None else position.vehicle,
            first,
        )
    return table

"""The commands `study` and `fit` of the command line: parse, call, print."""

import argparse
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.caution import CAUTION
from pipelines.cli.words import STATUS, Commands, add_device, add_own, found, terminal
from pipelines.deck.examples import FITS, STUDIES

if TYPE_CHECKING:
    from pipelines.study.run import Outcome

# Between two lines of progress where there is no terminal [s].
QUIET = 15.0


def add_study(commands: Commands) -> None:
    """Add the commands `study` and `fit`."""
    _add_study(commands)
    _add_fit(commands)


def _add_study(commands: Commands) -> None:
    parser = commands.add_parser(
        "study",
        help="compute a family of decks described by a study file",
        description="Compute every deck of a study file and write the table of its responses. What "
        "is finished is kept: the same command again computes what is missing or has changed. "
        "While it runs, progress.html in the folder shows how far it is and where its results go.",
        epilog=STATUS,
    )
    parser.add_argument(
        "study",
        metavar="STUDY",
        help=f"study file (TOML), or the name of a packaged one: {', '.join(STUDIES)}",
    )
    parser.add_argument(
        "--out", metavar="DIR", type=Path, required=True, help="folder for the results"
    )
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--workers",
        metavar="N",
        type=_count,
        help="worker processes (default: one per processor, or with --device gpu one per card, as "
        "far as memory allows)",
    )
    where.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="scheduler of a Dask cluster, as tcp://host:8786, instead of local processes",
    )
    add_own(parser)
    add_device(parser, "; every worker takes a card of its own, as far as there are enough")
    parser.set_defaults(do=_study)


def _add_fit(commands: Commands) -> None:
    parser = commands.add_parser(
        "fit",
        help="fit a formula to the table of a study",
        description="Fit a response of a study's table to dimensionless groups, as a fit file "
        "says: the mean and a safe-side quantile, judged on geometries that were held out and "
        "beside the hand methods and other forms. Prints the formulas; writes them as text, Python "
        "and a table, with numbers and figures.",
        epilog=STATUS,
    )
    parser.add_argument(
        "fit",
        metavar="FIT",
        help=f"fit file (TOML), or the name of a packaged one: {', '.join(FITS)}",
    )
    parser.add_argument(
        "--table", metavar="PARQUET", type=Path, help="table.parquet of the study, if not in FIT"
    )
    parser.add_argument(
        "--out", metavar="DIR", type=Path, required=True, help="folder for the results"
    )
    parser.set_defaults(do=_fit)


def _count(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"{value}: 1 or more")
    return value


def _study(arguments: argparse.Namespace) -> int:
    from pipelines.study.run import run_study

    tell = StudyProgress()
    outcome = run_study(
        found(arguments.study, STUDIES),
        arguments.out,
        workers=arguments.workers,
        cluster=arguments.cluster,
        progress=tell,
        own=arguments.own,
        device=arguments.device,
    )
    tell.close()
    _print_outcome(outcome, arguments.out)
    return 0


def _fit(arguments: argparse.Namespace) -> int:
    from pipelines.study.fit.run import FILES, run_fit

    result = run_fit(found(arguments.fit, FITS), arguments.out, arguments.table)
    print(result.text())
    for name in FILES:
        if (arguments.out / name).exists():
            print(os.fspath(arguments.out / name))
    print(CAUTION)
    return 0


def _print_outcome(outcome: "Outcome", out: Path) -> None:
    from pipelines.errors import extra_words
    from pipelines.study.convergence import PAGE
    from pipelines.study.effects import SENSITIVITY
    from pipelines.study.run import FILES

    console = terminal()
    console.print(
        f"{outcome.rows} rows, {outcome.failed} failed, {outcome.above_target} with a numerical "
        f"tolerance above the target; {outcome.computed} decks computed in this run"
    )
    if outcome.computed:
        console.print(
            f"{outcome.seconds:.1f} s on {outcome.workers} workers, {outcome.per_hour:.0f} decks "
            f"per hour; at most about {outcome.need.bytes / 1e9:.2f} GB per deck in flight "
            f"(estimate from {outcome.need.looked_at} of {outcome.need.structures} structures)"
        )
    if outcome.stopped:
        console.print(outcome.stopped)
    if outcome.empty:
        console.print(
            f"no value in any row: {', '.join(outcome.empty)}; a hand method has none outside its "
            "range, nor one for an axle of a wheel by itself"
        )
    for name in (*FILES, *SENSITIVITY, PAGE):
        if (out / name).exists():
            console.print(os.fspath(out / name))
        elif name == "table.parquet":
            console.print(f"{name} is left out: it needs {extra_words('study')}")
    console.print(CAUTION)


class StudyProgress:
    """What is done, how fast, and the time left: one line that is overwritten on a terminal, a
    line now and then elsewhere."""

    def __init__(self) -> None:
        self.terminal = sys.stderr.isatty()
        self.stage = ""
        self.start = self.last = 0.0
        self.open_line = False

    def __call__(self, stage: str, part: int, whole: int, failed: int) -> None:
        now = time.monotonic()
        if stage != self.stage:
            self.close()
            self.stage, self.start, self.last = stage, now, now if not self.terminal else 0.0
        pause = 0.2 if self.terminal else QUIET
        if part < whole and now - self.last < pause:
            return
        self.last = now
        text = progress_line(stage, part, whole, now - self.start, failed)
        if self.terminal:
            print(f"\r{text:<78}", end="", file=sys.stderr, flush=True)
            self.open_line = True
        elif stage == "rows":
            print(text, file=sys.stderr, flush=True)

    def close(self) -> None:
        """End the open line."""
        if self.open_line:
            print(file=sys.stderr, flush=True)
            self.open_line = False


def progress_line(stage: str, part: int, whole: int, seconds: float, failed: int = 0) -> str:
    """ "rows 12/540, 1 failed, 43 per minute, 12 min left"."""
    line = f"{stage} {part}/{whole}"
    if failed:
        line += f", {failed} failed"
    if part and seconds > 0.0:
        rate = part / seconds
        line += f", {60.0 * rate:.3g} per minute"
        if part < whole:
            line += f", {_duration((whole - part) / rate)} left"
    return line


def _duration(seconds: float) -> str:
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    if seconds < 90.0 * 60.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h"

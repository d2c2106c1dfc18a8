"""The command line: parses, calls, prints; computes nothing."""

import argparse
import os
import sys
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO, TextIOWrapper
from typing import Any, TextIO, cast

from pipelines.caution import CAUTION
from pipelines.cli.check import add_check
from pipelines.cli.collapse import add_collapse
from pipelines.cli.completion import add_completion
from pipelines.cli.design import add_design
from pipelines.cli.influence import add_influence
from pipelines.cli.inspect import add_inspect
from pipelines.cli.loadtest import add_loadtest
from pipelines.cli.rate import add_rate
from pipelines.cli.reference import add_reference
from pipelines.cli.run import add_run
from pipelines.cli.start import add_start
from pipelines.cli.study import add_study
from pipelines.cli.sweep import add_sweep
from pipelines.cli.vehicles import add_vehicles
from pipelines.cli.verify import add_verify
from pipelines.cli.words import mistake_words
from pipelines.errors import JobError
from plate.errors import PlateError


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status: 0 success, 2 a user's mistake, 1 other.

    Ctrl-C passes as KeyboardInterrupt, to be told where the process is entered.

    Where the reader of a pipe stops reading, as `head` does, the command goes on to its end and
    its status stays its own.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            # Not every console can print ± or ×: a question mark there, never the end of a run.
            stream.reconfigure(errors="replace")
    out, err = (cast(TextIO, WhileRead(s or StringIO())) for s in (sys.stdout, sys.stderr))
    with redirect_stdout(out), redirect_stderr(err):
        arguments = argparse.Namespace()
        try:
            try:
                command_line().parse_args(argv, arguments)
                return int(arguments.do(arguments))
            finally:
                out.flush()
        except (JobError, PlateError, OSError, MemoryError) as error:
            words = mistake_words(error, of_deck=hasattr(arguments, "deck"))
            print(f"deckslab: {words}", file=sys.stderr)
            return 2


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


class _Version(argparse.Action):
    """Prints the version, which is looked up only then."""

    def __call__(self, parser: argparse.ArgumentParser, *arguments: Any) -> None:
        from importlib.metadata import version

        print(f"deckslab {version('deckslab')}")
        parser.exit()


def command_line() -> argparse.ArgumentParser:
    """The parser of all commands; what a command needs is imported when it runs."""
    parser = argparse.ArgumentParser(
        prog="deckslab",
        description="Reinforced-concrete deck slabs under wheels: plate analysis on flexible "
        "supports, envelopes of moving vehicles, comparison with hand strips.",
        epilog=CAUTION,
    )
    parser.add_argument(
        "--version",
        action=_Version,
        nargs=0,
        default=argparse.SUPPRESS,
        help="show the version and exit",
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    add_run(commands)
    add_check(commands)
    add_design(commands)
    add_inspect(commands)
    add_rate(commands)
    add_start(commands)
    add_collapse(commands)
    add_completion(commands, parser)
    add_influence(commands)
    add_loadtest(commands)
    add_vehicles(commands)
    add_reference(commands)
    add_study(commands)
    add_sweep(commands)
    add_verify(commands)
    return parser

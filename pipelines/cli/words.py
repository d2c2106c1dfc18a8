"""What the commands of the command line share."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from pipelines.caution import CAUTION
from pipelines.deck.examples import EXAMPLES
from pipelines.errors import JobError

if TYPE_CHECKING:
    from rich.console import Console

    from plate.device.card import Card

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"

DECK = f"deck file (TOML), or the name of a packaged example: {', '.join(EXAMPLES)}"
STATUS = CAUTION + " Exit status: 0 success, 2 a mistake in the input, 1 anything else."


OWN = (
    "a Python file of your own that the deck file names in [own]: it runs only where it is named "
    "here, too; may be given several times"
)

DEVICE = (
    "where load positions are solved: on the processors, or on an accelerator (needs the extra "
    '"gpu"); those that bars are judged by stay on the processors'
)

NO_MEMORY = "the memory that may be taken does not suffice"
# What makes the job of one deck smaller.
SMALLER = ": make [mesh] size_m larger, or [traffic] step_m and lateral_step_m"


def mistake_words(error: BaseException, *, of_deck: bool = True) -> str:
    """What is told of a mistake of the user's, or of what the machine cannot give.

    of_deck : whether the job is one deck's.
    """
    if isinstance(error, MemoryError):
        return NO_MEMORY + (SMALLER if of_deck else "")
    if isinstance(error, OSError):
        place = "" if error.filename is None else f"{error.filename}: "
        return f"{place}{error.strerror or error}"
    return str(error)


def found(name: str, packaged: Mapping[str, Path]) -> Path:
    """A path, or the packaged example of that name where there is no such file; a folder, as one
    writes the results of an example into, does not hide it.

    Raises JobError where there is neither.
    """
    path = Path(name)
    if path.is_file() or (path.exists() and name not in packaged):
        return path
    if name not in packaged:
        examples = ", ".join(packaged)
        raise JobError(f"{name}: there is no such file; packaged examples are {examples}")
    return packaged[name]


def found_deck(name: str) -> Path:
    """The deck file of that path, or the packaged example of that name.

    Raises JobError where there is neither.
    """
    return found(name, EXAMPLES)


def add_own(parser: argparse.ArgumentParser) -> None:
    """Add the option that permits code of the user's own."""
    parser.add_argument("--own", metavar="FILE", type=Path, action="append", default=[], help=OWN)


def add_device(parser: argparse.ArgumentParser, more: str = "") -> None:
    """Add the option of where load positions are solved; more : what is told of it besides."""
    parser.add_argument("--device", choices=("cpu", "gpu"), default="cpu", help=DEVICE + more)


def card_of(arguments: argparse.Namespace) -> "Card | None":
    """The accelerator where one is asked for; raises JobError where there is none."""
    if arguments.device == "cpu":
        return None
    from pipelines.system.machine import accelerator

    return accelerator()


def terminal(width: int | None = None) -> "Console":
    """What tables and words are printed with, names as the user wrote them: nothing in them is
    markup, an emoji or a number to be coloured.

    width : of a file or a pipe [characters]; a terminal tells its own.
    """
    from rich.console import Console

    plain = Console(soft_wrap=True, markup=False, emoji=False, highlight=False)
    if width is not None and not plain.is_terminal:
        plain.width = width
    return plain

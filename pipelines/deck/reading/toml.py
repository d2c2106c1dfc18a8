"""Reads a TOML file written by anybody: whatever it holds, tables come back or one clear error."""

import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from pipelines.deck.reading.mistakes import printable
from pipelines.errors import DeckError

LARGEST_FILE = 5_000_000  # bytes
MOST_KEY_PARTS = 20

_LONG_KEY = re.compile(
    r"(?<![\w-])(?:(?:[\w-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+\.[ \t]*+)"
    rf"{{{MOST_KEY_PARTS}}}"
)
_PLACE = re.compile(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", re.DOTALL)


def read_toml(name: str) -> dict[str, Any]:
    """The top-level table of the file.

    Raises
    ------
    DeckError
        Not a readable file, too large, not UTF-8, not TOML (with the line), nested too deeply.
    """
    text = _text(name)
    long_key = _LONG_KEY.search(text)
    if long_key:  # the parser's time grows with the square of a key's parts
        line = text.count("\n", 0, long_key.start()) + 1
        raise DeckError(name, [f"line {line}: a key of more than {MOST_KEY_PARTS} parts"])
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = _PLACE.fullmatch(str(error))
        reason, line_number = place.groups() if place else (str(error), None)
        if reason.startswith("Cannot"):
            reason = "a key or table is given twice, or an inline table is added to"
        where = f"line {line_number}" if line_number else "end of the file"
        raise DeckError(name, [f"{where}: not valid TOML: {printable(reason)}"]) from None
    except RecursionError:
        raise DeckError(name, ["not valid: lists or tables nested too deeply"]) from None
    except ValueError:  # the interpreter converts no more than some thousand digits
        raise DeckError(name, ["not valid: a whole number of thousands of digits"]) from None


def _text(name: str) -> str:
    try:
        info = Path(name).stat()
        if stat.S_ISDIR(info.st_mode):
            raise DeckError(name, ["is a directory; a file is asked for"])
        if not stat.S_ISREG(info.st_mode):
            raise DeckError(name, ["is not a plain file"])
        if info.st_size > LARGEST_FILE:
            raise DeckError(
                name,
                [f"has {info.st_size / 1e6:.1f} MB; allowed is {LARGEST_FILE / 1e6:g} MB at most"],
            )
        content = Path(name).read_bytes()
    except FileNotFoundError:
        raise DeckError(name, ["there is no such file"]) from None
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = error.strerror if isinstance(error, OSError) else "not a file name"
        raise DeckError(name, [f"cannot be read ({reason})"]) from None
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise DeckError(name, [f"line {line}: not UTF-8 text; save the file as UTF-8"]) from None

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
_PLACE = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", re.DOTALL)
# How much of a line is shown before the place of a mistake.
_BEFORE = 40
_CURLY = "“”„‟‘’‚‛«»"
# What stands before and after the place where the parser stopped, and what is meant instead.
_HINTS = (
    (r".*=\s*[-+]?\d+", r",\d", "a decimal mark is a point, not a comma"),
    (r".*=\s*[-+]?\d+,\d+", "", "a decimal mark is a point, not a comma"),
    (r".*", f"[{_CURLY}]", "quotation marks are straight: \" or '"),
    (r".*\d\s*", r"[^\W\d_]|[%°]", "a number stands without its unit, which the key's name has"),
    (r".*", r";", "nothing stands after a value: take the semicolon away"),
    (r"[^\[{]*", r",", "nothing stands after a value: take the comma away"),
    (r".*,\s*", r"\}", "no comma stands before a closing brace"),
    (r"[^=]*", r":", "between a key and its value stands ="),
    (r".*[=,\[]\s*", r"(?i:true|false|yes|no|on|off)\b", "yes and no are written true and false"),
    (r".*[=,\[]\s*", r"[^\W\d_]", "text stands in quotation marks"),
)


def read_toml(name: str) -> dict[str, Any]:
    """The top-level table of the file.

    Raises
    ------
    DeckError
        Not a readable file, too large, not UTF-8, not TOML (with the line), nested too deeply.
    """
    return tables_of_text(text_of(name), name)


def tables_of_text(text: str, name: str) -> dict[str, Any]:
    """The top-level table of a text; name : of its file, for messages. Raises as `read_toml`."""
    long_key = _LONG_KEY.search(text)
    if long_key:  # the parser's time grows with the square of a key's parts
        line = text.count("\n", 0, long_key.start()) + 1
        raise DeckError(name, [f"line {line}: a key of more than {MOST_KEY_PARTS} parts"])
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DeckError(name, [_not_toml(text, str(error))]) from None
    except RecursionError:
        raise DeckError(name, ["not valid: lists or tables nested too deeply"]) from None
    except ValueError:  # the interpreter converts no more than some thousand digits
        raise DeckError(name, ["not valid: a whole number of thousands of digits"]) from None


def _not_toml(text: str, error: str) -> str:
    """Where a text is not TOML and why, with the line itself; error : the parser's words."""
    place = _PLACE.fullmatch(error)
    reason, number, column = place.groups("") if place else (error, "", "")
    if reason.startswith("Cannot"):
        reason = "a key or table is given twice, or an inline table is added to"
    elif reason.startswith(("Unclosed", "Unterminated")) and not number:
        reason = "a bracket or a quotation mark is never closed"
    lines = text.replace("\r\n", "\n").split("\n")  # as the parser counts them
    if number:
        where, line, at = f"line {number}", lines[int(number) - 1], int(column) - 1
    else:
        where, line = "end of the file", lines[-1]
        at = len(line)
    return f"{where}: not valid TOML: {_with_line(line, at, printable(reason))}"


def _with_line(line: str, at: int, reason: str) -> str:
    """What is meant instead of what a line has, or else the reason; at : where the parser stopped
    in it."""
    start = max(0, at - _BEFORE)
    before, after = line[start:at], line[at : at + _BEFORE]
    hints = (
        words
        for head, tail, words in _HINTS
        if re.fullmatch(head, before) and re.match(tail, after)
    )
    shown = printable(line[start:].strip())
    return f"{next(hints, reason)}{': ' if shown else ''}{'…' if start else ''}{shown}"


def text_of(name: str) -> str:
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

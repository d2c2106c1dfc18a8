"""Files replaced as a whole: a reader finds the old one or the new one, never a part; files of
anybody read within bounds; cells of tables that other programs open."""

import csv
import io
import os
import re
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

# What a formula begins with in a spreadsheet.
FORMULAS = ("=", "+", "-", "@", "\t", "\r", "\n")


def write_text(path: Path, text: str) -> None:
    """Replace a text file (UTF-8)."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Replace a file."""
    with named(path):
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException as error:
        Path(name).unlink(missing_ok=True)
        if isinstance(error, OSError):
            # A full disk does not say which file it was, and nobody knows the new one's name.
            error.filename, error.filename2 = os.fspath(path), None
        raise


@contextmanager
def named(path: Path) -> Iterator[None]:
    """What goes wrong is told of this file or folder, not of a new one beside or in it."""
    try:
        yield
    except OSError as error:
        error.filename = os.fspath(path)
        raise


class UnreadableError(Exception):
    """Why a file is not read, in a few words."""


def read_plain(path: Path, most: int) -> bytes:
    """The bytes of a plain file that has `most` at most.

    Raises UnreadableError where it is none, has more or cannot be read.
    """
    try:
        info = path.stat()
        if not stat.S_ISREG(info.st_mode):
            raise UnreadableError("is not a plain file")
        with path.open("rb") as stream:
            data = stream.read(most + 1)  # it may have grown since, or tell no size
    except FileNotFoundError:
        raise UnreadableError("there is no such file") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not a file name"
        raise UnreadableError(f"cannot be read ({reason})") from None
    if len(data) > most:
        size = max(info.st_size, len(data))
        raise UnreadableError(f"has {size / 1e6:.1f} MB; allowed is {most / 1e6:g} MB at most")
    return data


def csv_rows(text: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """The first line of a CSV text, and the cells of each other that is not empty, with its
    number.

    Where cells are divided by semicolons, as spreadsheets write them where the decimal mark is a
    comma, numbers come back with a point.

    Raises UnreadableError with the line where a cell has no end.
    """
    first = text.lstrip().split("\n", 1)[0]
    semicolons = ";" in first and "," not in first
    reader = csv.reader(
        io.StringIO(text, newline=None), skipinitialspace=True, delimiter=";" if semicolons else ","
    )
    rows: list[tuple[int, list[str]]] = []
    try:
        rows.extend((reader.line_num, row) for row in reader if row)
    except csv.Error as error:
        raise UnreadableError(
            f"line {rows[-1][0] + 1 if rows else 1}: cannot be read as CSV ({error}); is a "
            "quotation mark never closed?"
        ) from None
    if semicolons:
        rows = [(line, [_with_point(cell) for cell in row]) for line, row in rows]
    return (rows[0][1], rows[1:]) if rows else ([], [])


def _with_point(cell: str) -> str:
    return cell.replace(",", ".") if re.fullmatch(r"\s*[-+]?\d+,\d+\s*", cell) else cell


def is_beside(name: str) -> bool:
    """Whether a name leads to a file in a folder or below it, on any system."""
    path = PurePosixPath(name)
    return not (path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name)


def plain_cell(text: str) -> str:
    """A text as a cell of a CSV file that no spreadsheet takes for a formula: with an apostrophe
    before =, +, -, @, a tab or a line end at its beginning (common practice)."""
    return f"'{text}" if text[:1] in FORMULAS else text

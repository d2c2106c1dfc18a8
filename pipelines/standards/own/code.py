"""Code of the user's own: a Python file or an installed package, found, run once and called.

What a deck holds of it is its place and digest, never the code: `OwnFunction` can be pickled, and
another process runs the file that is named there itself, if it is still the same one.
"""

import hashlib
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from numbers import Integral, Real
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Literal, get_args

from pipelines.errors import MethodRangeError, OwnError
from pipelines.standards.sources import Mark
from pipelines.system.files import UnreadableError, read_plain

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

Kind = Literal["strips", "vehicles", "load_models", "factors", "sums", "checks", "results"]
KINDS: tuple[Kind, ...] = get_args(Kind)
GROUP = "deckslab"
MARK: Mark = "user's"
MOST_BYTES = 1_000_000
LONGEST_NAME = 100
# Of a value in a message.
LONGEST_SHOWN = 60


@dataclass(frozen=True)
class OwnCode:
    """A file of the user's, or a package that has an entry point of the group `deckslab`.

    name : of the file without its folder, or of the entry point. path : of the file, "" for a
    package. digest : SHA-256 of what was read of it.
    """

    name: str
    path: str
    digest: str

    @classmethod
    def of_file(cls, path: Path) -> "OwnCode":
        """Raises OwnError where the file cannot be read."""
        return cls(path.name, str(path), hashlib.sha256(_bytes(path)).hexdigest())

    @classmethod
    def of_package(cls, name: str) -> "OwnCode":
        """Raises OwnError where no package, or more than one, has an entry point of that name."""
        return cls(name, "", _package_digest(_entry_point(name)))

    def require_same(self) -> None:
        """Raise OwnError unless what lies here is what the digest was made of."""
        here = OwnCode.of_file(Path(self.path)) if self.path else OwnCode.of_package(self.name)
        if here.digest != self.digest:
            raise OwnError(f"{self.path or self.name} is not what it was when it was read first")

    def given(self, kind: Kind) -> tuple[object, ...]:
        """What it gives of a kind, of factors their one table. Raises OwnError where it has none,
        or where running it fails."""
        found = getattr(_run(self), kind, None)
        if kind == "factors":
            if isinstance(found, Mapping):
                return (found,)
            raise OwnError(f"{self.name} needs a table (dict) {kind}, as [factors] is")
        if not isinstance(found, list | tuple) or not found:
            raise OwnError(f"{self.name} needs a list {kind} with one entry or more")
        return tuple(found)


@dataclass(frozen=True)
class OwnFunction:
    """A function of the user's: attribute `name` of entry `number` (from 0) of a kind."""

    code: OwnCode
    kind: Kind
    number: int
    name: str

    def __call__(self, *arguments: object) -> Any:
        """What it gives. Raises OwnError where it fails, MethodRangeError where it says so."""
        function = getattr(self.code.given(self.kind)[self.number], self.name)
        try:
            return function(*arguments)
        except MethodRangeError:
            raise
        except Exception as error:
            raise OwnError(f"{self.words(function)} raised {_fault(self.code, error)}") from None

    def value(self, *arguments: object, unit: str, most: float, zero: bool = False) -> float:
        """A number above zero that it gives, or where that is allowed zero. Raises OwnError for
        anything else."""
        value = self(*arguments)
        number = finite(value)
        if number is not None and 0.0 <= number <= most and (zero or number > 0.0):
            return number
        least = "from 0" if zero else "above 0"
        raise self.refused(value, f"one number {least}, at most {most:g} {unit}")

    def signed(self, *arguments: object) -> float:
        """A finite number that it gives. Raises OwnError for anything else."""
        value = self(*arguments)
        number = finite(value)
        if number is None:
            raise self.refused(value, "one finite number")
        return number

    def refused(self, value: object, allowed: str) -> OwnError:
        """The error of a value that it gave."""
        function = getattr(self.code.given(self.kind)[self.number], self.name)
        return OwnError(f"{self.words(function)} gave {_shown(value)}: allowed is {allowed}")

    def words(self, function: object) -> str:
        """Which function it is."""
        own = getattr(function, "__qualname__", type(function).__name__)
        return f"{self.code.name}: {own}, {self.name} of {self.kind} {self.number + 1},"


def finite(value: object) -> float | None:
    """A finite number, None for anything else, true and false too."""
    if isinstance(value, bool) or not isinstance(value, Real):
        return None
    number = float(value)
    return number if isfinite(number) else None


def plain(value: object) -> Any:
    """Tables, lists, numbers and texts as a TOML file would give them: tuples are lists, numbers of
    arrays plain ones. Raises OwnError for what a file cannot hold."""
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(value)
    raise OwnError(
        f"{_shown(value)} is a {type(value).__name__}: allowed are tables (dict), lists, numbers, "
        "texts, true and false"
    )


def check_text(value: object, where: str) -> None:
    """Raise OwnError unless it is a text that can be printed in a line."""
    sound = isinstance(value, str) and value.isprintable() and value == value.strip()
    if not sound or not 1 <= len(str(value)) <= LONGEST_NAME:
        raise OwnError(f"{where}: allowed is text of 1 to {LONGEST_NAME} printable characters")


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 1]}…"


@lru_cache(maxsize=64)
def _run(code: OwnCode) -> object:
    """The names of a file or package that has been run; once in a process."""
    try:
        if not code.path:
            return _entry_point(code.name).load()
        data = _bytes(Path(code.path))
        if hashlib.sha256(data).hexdigest() != code.digest:
            raise OwnError(f"{code.path} is not what it was when it was read first")
        module = ModuleType(f"deckslab_own_{code.digest[:12]}")
        module.__file__ = code.path
        exec(compile(data, code.path, "exec"), module.__dict__)
        return module
    except OwnError:
        raise
    except (Exception, SystemExit) as error:
        raise OwnError(f"{code.name} cannot be run: {_fault(code, error)}") from None


def _fault(code: OwnCode, error: BaseException) -> str:
    """An exception in words, with the line of the user's file that it comes from."""
    words = f"{type(error).__name__}: {' '.join(str(error).split())}".removesuffix(": ")
    lines = [
        frame.lineno
        for frame in traceback.extract_tb(error.__traceback__)
        if code.path and frame.filename == code.path
    ]
    return f"{words} (line {lines[-1]})" if lines else words


def _bytes(path: Path) -> bytes:
    try:
        return read_plain(path, MOST_BYTES)
    except UnreadableError as error:
        raise OwnError(f"{path}: {error}") from None


def _entry_point(name: str) -> "EntryPoint":
    from importlib.metadata import entry_points  # here, since few decks need it

    found = entry_points(group=GROUP)
    named = [one for one in found if one.name == name]
    if len(named) == 1:
        return named[0]
    if named:
        packages = " and ".join(sorted(one.dist.name for one in named if one.dist is not None))
        raise OwnError(f"several packages have the entry point {name}: {packages}")
    there = ", ".join(sorted(one.name for one in found)) or "none"
    raise OwnError(
        f'no installed package has an entry point "{name}" of the group {GROUP} (there are: '
        f"{there}); the name of a file ends with .py"
    )


def _package_digest(point: "EntryPoint") -> str:
    """Of the module's file and the version of its package."""
    try:
        point.load()
    except (Exception, SystemExit) as error:
        words = _fault(OwnCode(point.name, "", ""), error)
        raise OwnError(f"{point.value} cannot be run: {words}") from None
    from sys import modules

    file = getattr(modules[point.module], "__file__", None)
    version = "" if point.dist is None else point.dist.version
    digest = hashlib.sha256(version.encode())
    if file is not None:
        digest.update(_bytes(Path(file)))
    return digest.hexdigest()

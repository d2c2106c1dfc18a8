"""The mistakes of a deck file, one line each: key, value and what is allowed."""

from collections.abc import Iterable, Sequence
from difflib import SequenceMatcher
from math import ceil, log10
from typing import Any, TypeVar

from pydantic import ValidationError

from pipelines.deck.reading.schema import Table, described_keys
from pipelines.errors import DeckError, Mistake

# What is allowed of the name of a file that a deck file names.
BESIDE = "allowed is a file in the deck file's folder or below it"

MOST_TOLD = 50
LONGEST_SHOWN = 60

AnyTable = TypeVar("AnyTable", bound=Table)


class Mistakes:
    """Collects the mistakes of one file; at `MOST_TOLD` of them it gives up and raises."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.lines: list[Mistake] = []

    def add(self, key: str, value: object, allowed: str) -> None:
        """A value that is not allowed; value None: the key itself is what is wrong."""
        shown_value = "" if value is None else f" = {shown(value)}"
        self.lines.append(Mistake(f"{key}{shown_value}: {allowed}", key, value, allowed))
        if len(self.lines) >= MOST_TOLD:
            self.lines.append(Mistake("and perhaps more: reading stopped here"))
            self.raise_if_any()

    def unknown_key(self, key: str, name: str, known: Iterable[str]) -> None:
        """A key that does not exist; `known` are those that do."""
        self.add(key, None, f"unknown key, {nearest(name, known)}")

    def raise_if_any(self) -> None:
        if self.lines:
            raise DeckError(self.path, self.lines)


def shown(value: object) -> str:
    """A value of the file on one short line, whatever it holds."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        if abs(value) < 10**18:
            return str(value)
        return f"a whole number of about {ceil(value.bit_length() * log10(2.0))} digits"
    if isinstance(value, float):
        rounded = f"{value:.12g}"
        return rounded if float(rounded) == value else repr(value)
    if isinstance(value, str):
        return f'"{printable(value)}"'
    if isinstance(value, Sequence):
        if 1 <= len(value) <= 3 and all(isinstance(x, int | float) for x in value):
            return f"[{', '.join(shown(x) for x in value)}]"
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "a table"
    return f"{value} (a date or time)"


def printable(text: str) -> str:
    """Text cut to a readable length, with every character that does not print escaped."""
    cut = text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)


def nearest(name: str, known: Iterable[str]) -> str:
    """Which of the known names, best with few, is nearest to a misspelt one, in words."""
    names = list(known)
    short = name[:LONGEST_SHOWN].lower()

    def likeness(other: str) -> float:
        return SequenceMatcher(None, short, other.lower()).ratio()

    best = max(names, key=likeness)
    hint = f'the nearest known one is "{best}"'
    if likeness(best) < 0.6 and 1 < len(names) <= 20:
        hint += f" (of {', '.join(names)})"
    return hint


def key_path(where: str, path: Iterable[str | int]) -> str:
    """A key in words: ("beam", "I_cm4") of "[[line]] 2" is "[[line]] 2, beam.I_cm4".

    Entries of lists count from 1: ("patches", 0, "load_kN") is "patches 1, load_kN".
    """
    words = ""
    for part in path:
        if isinstance(part, int):
            words += f" {part + 1}"
        elif not words:
            words = printable(part)
        else:
            words += (", " if words[-1].isdigit() else ".") + printable(part)
    if not words:
        return where
    return f"{where} {words}" if where.endswith("]") else f"{where}, {words}"


def validated(
    model: type[AnyTable], table: dict[str, Any], where: str, mistakes: Mistakes
) -> AnyTable | None:
    """The table as its model, or None with the mistakes added."""
    try:
        return model.model_validate(table)
    except ValidationError as error:
        keys = described_keys(model)
        for problem in error.errors(include_url=False):
            loc = problem["loc"]
            names = tuple(part for part in loc if isinstance(part, str))
            key = key_path(where, loc)
            match problem["type"]:
                case "extra_forbidden":
                    siblings = [k[-1] for k in keys if k[:-1] == names[:-1]]
                    mistakes.unknown_key(key, names[-1], siblings)
                case "missing":
                    mistakes.add(key, None, f"is missing; allowed is {keys[names]}")
                case "refused":
                    mistakes.add(key, problem["input"], problem["ctx"]["allowed"])
                case _:  # the only other problem of these models: something else than a table
                    mistakes.add(key, problem["input"], "must be a table")
        return None

"""Formulas as text, such as m_x = −D (w_{,xx} + ν w_{,yy}) or f^{1/3}, to a page's words and to a
terminal's."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pipelines.report.document import Code, Raised, Symbol, Words

LETTERS = "A-Za-zα-ωΑ-Ωϕ"
# A letter with a mark set lower, a mark set higher, what a machine reads, a letter by itself.
TOKEN = re.compile(
    rf"([{LETTERS}]+'?)_(\{{[^}}]*\}}|[{LETTERS}0-9]+)|\^(\{{[^}}]*\}}|[0-9]+)|`([^`]+)`"
)
ALONE = re.compile(rf"(?<![{LETTERS}0-9])([{LETTERS}])(?![{LETTERS}])")
SIGNS = {"**": "^", " * ": " ", "*": " ", "sqrt(": "√(", "<=": "≤", ">=": "≥", "alpha": "α"}
SIGNS |= {" - ": " − ", "(-": "(−", "= -": "= −"}


@dataclass(frozen=True, kw_only=True)
class Item:
    """A step of the theory: its title, words, formulas one below the other, and the source."""

    title: str
    words: str = ""
    formulas: tuple[str, ...] = ()
    source: str = ""


@dataclass(frozen=True)
class Chapter:
    """name : its address."""

    name: str
    title: str
    items: tuple[Item, ...]


def formula(text: str) -> tuple[Words, ...]:
    """A formula for a page: single letters are symbols."""
    return tuple(_parts(_signs(text), letters=True))


def running(text: str) -> tuple[Words, ...]:
    """Words of a page in which formulas stand."""
    return tuple(_parts(text, letters=False))


def on_terminal(text: str) -> str:
    """A formula, or words with formulas, for a terminal: a mark of several signs in parentheses
    where it is set higher."""
    bare = re.sub(r"\^\{([^}]*)\}", r"^(\1)", _signs(text))
    return re.sub(r"_\{([^}]*)\}", r"_\1", bare).replace("`", "")


def _signs(text: str) -> str:
    for sign, shown in SIGNS.items():
        text = text.replace(sign, shown)
    return text


def _parts(text: str, *, letters: bool) -> Iterator[Words]:
    end = 0
    for found in TOKEN.finditer(text):
        yield from _plain(text[end : found.start()], letters)
        letter, low, high, code = found.groups()
        if code is not None:
            yield Code(code)
        elif high is not None:
            yield Raised(tuple(_plain(high.strip("{}"), letters)))
        else:
            yield Symbol(letter, low.strip("{}"))
        end = found.end()
    yield from _plain(text[end:], letters)


def _plain(text: str, letters: bool) -> Iterator[Words]:
    if not letters:
        yield text
        return
    for k, part in enumerate(ALONE.split(text)):
        if part:
            yield Symbol(part) if k % 2 else part

"""Errors of the job.

JobError                a user's mistake; the command line prints it and exits with status 2
├── DeckError           mistakes in a deck file, each with key, value and what is allowed
├── MissingError        packages of an extra that are not installed
├── CoverageError       a request outside what the tool covers
├── SizeError           a job too large for the program or for the memory that is free
├── OwnError            what a user's own code is or gives that is not allowed
└── MethodRangeError    a hand method asked outside its range of validity
"""

from collections.abc import Sequence
from typing import Any, Self


class JobError(Exception):
    """A mistake of the user, told in one clear message.

    mistakes : with key, value and what is allowed, where it is of one; none of a job that cannot
    be done for another reason.

    >>> from pipelines import DeckFile
    >>> try:
    ...     DeckFile.read("estuary").influence("M", at=(6.0, 0.0))
    ... except JobError as error:
    ...     print(error)
    component = "M": allowed is one of w, m_x, m_y, m_xy, q_x, q_y
    """

    mistakes: "Sequence[Mistake]" = ()

    @classmethod
    def of(cls, words: str, key: str, value: object, allowed: str) -> Self:
        """The error of one mistake."""
        error = cls(words)
        error.mistakes = [Mistake(words, key, value, allowed)]
        return error


class MissingError(JobError):
    """Packages of an extra that are not installed.

    Parameters
    ----------
    what : str
        What needs them.
    extra : str
        The extra that brings them.
    """

    def __init__(self, what: str, extra: str) -> None:
        self.asked = what, extra
        super().__init__(f"{what} needs {extra_words(extra)}")

    def __reduce__(self) -> tuple[Any, ...]:
        return MissingError, self.asked


def extra_words(extra: str) -> str:
    """How the packages of an extra are installed, with pip, from a clone and from an index."""
    return (
        f"the packages of the extra \"{extra}\": pip install '.[{extra}]' in a clone of this "
        f"project, or pip install 'deckslab[{extra}]'"
    )


class Mistake(str):
    """A mistake in one line of words, and what it is made of.

    key : with the table that it stands in, "" of the file as a whole; value : as the file has it,
    None where the key itself is what is wrong; allowed : in words.

    >>> from pipelines import DeckFile
    >>> try:
    ...     DeckFile.read("estuary").with_({"slab.thickness_mm": -3})
    ... except DeckError as error:
    ...     [mistake] = error.mistakes
    >>> mistake.key, mistake.value, mistake.allowed
    ('[slab] thickness_mm', -3, 'allowed is 20 to 5000 mm')
    """

    key: str
    value: object
    allowed: str

    def __new__(cls, words: str, key: str = "", value: object = None, allowed: str = "") -> Self:
        one = super().__new__(cls, words)
        one.key, one.value, one.allowed = key, value, allowed
        return one

    def __reduce__(self) -> tuple[Any, ...]:
        return Mistake, (str(self), self.key, self.value, self.allowed)


class DeckError(JobError):
    """Mistakes in a deck file.

    Parameters
    ----------
    path : str
        The file.
    mistakes : sequence of str
        One line each: key, value, what is allowed.

    Attributes
    ----------
    path : str
    mistakes : list of Mistake

    >>> DeckError("deck.toml", ["[slab]: is missing"]).mistakes
    ['[slab]: is missing']
    """

    def __init__(self, path: str, mistakes: Sequence[str]) -> None:
        self.path = path
        self.mistakes = [m if isinstance(m, Mistake) else Mistake(m) for m in mistakes]
        count = "1 mistake" if len(self.mistakes) == 1 else f"{len(self.mistakes)} mistakes"
        super().__init__(f"{path}: {count}\n" + "\n".join(f"  - {m}" for m in self.mistakes))

    def __reduce__(self) -> tuple[Any, ...]:
        return DeckError, (self.path, self.mistakes)


class CoverageError(JobError):
    """A request outside what the tool covers."""


class SizeError(JobError):
    """A job too large for the program or for the memory that is free."""


class OwnError(JobError):
    """What a user's own code is, does or gives that is not allowed."""


class MethodRangeError(JobError):
    """A hand method asked outside its stated range of validity.

    >>> def width(strip):
    ...     if strip.span > 6.0:
    ...         raise MethodRangeError("office note 12: spans of at most 6 m")
    ...     return 0.4 * strip.span + 1.2
    """

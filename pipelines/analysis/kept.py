"""What the stages of an analysis made, kept for the next analysis of a deck that differs little.

A stage names all that it reads: data, which are the same where every value in them is, and what
other stages made, which is the same where it is the same object. A stage that reads the same again
is not done again. What it is given is all that it can read (`pipelines.analysis.parts` takes from
the deck what a stage has no business with), so nothing kept can be out of date. The parts of the
files are stages, too: what is drawn of a result is the same while that result is.
"""

from collections.abc import Callable, Sequence
from typing import Any, TypeVar, cast

from pipelines.model.cache import ModelCache, fingerprint

T = TypeVar("T")
Item = TypeVar("Item")


class Kept:
    """The stages of the last analysis and what they made.

    >>> from pipelines import DeckFile
    >>> deck, kept = DeckFile.read("skew"), Kept()
    >>> first = deck.analyse(kept=kept)
    >>> again = deck.with_({"probe": [{"name": "here", "at_m": [3.0, 0.0]}]}).analyse(kept=kept)

    models : where equal models are found. again, unchanged : names of the stages that the analysis
    under way has done, and of those that it has not.
    """

    def __init__(self, models: ModelCache | None = None) -> None:
        self.models = ModelCache() if models is None else models
        self.again: list[str] = []
        self.unchanged: list[str] = []
        self._made: dict[tuple[str, str], tuple[tuple[object, ...], Any]] = {}
        self._asked: set[tuple[str, str]] = set()
        self._done = False

    def begin(self) -> None:
        """Another analysis begins: what the one before and the writing of its files did not ask for
        is forgotten, unless it failed."""
        if self._done:
            self._made = {key: self._made[key] for key in self._asked}
        self.again.clear()
        self.unchanged.clear()
        self._asked.clear()
        self._done = False

    def end(self) -> None:
        """The analysis is done; its files may be written yet."""
        self._done = True

    def stage(
        self, name: str, make: Callable[[], T], *, data: object = None, made: Sequence[object] = ()
    ) -> T:
        """What a stage makes, now or when it last read the same.

        data, made : all that `make` reads, values of the deck and what other stages made.
        """
        (found,) = self.each(name, [data], lambda _: [make()], made=made)
        return found

    def each(
        self,
        name: str,
        items: Sequence[Item],
        make: Callable[[Sequence[Item]], Sequence[T]],
        *,
        made: Sequence[object] = (),
    ) -> list[T]:
        """The same of every one of some items, each by itself, made together where they are new.

        make : of items, what it makes of one must not depend on the others.
        """
        keys = [(name, fingerprint(item)) for item in items]
        new = {
            key: item for key, item in zip(keys, items, strict=True) if not self._is_kept(key, made)
        }
        if new:
            for key, found in zip(new, make(list(new.values())), strict=True):
                self._made[key] = tuple(made), found
        (self.again if new else self.unchanged).append(name)
        self._asked.update(keys)
        return [cast(T, self._made[key][1]) for key in keys]

    def _is_kept(self, key: tuple[str, str], made: Sequence[object]) -> bool:
        if key not in self._made:
            return False
        before, _ = self._made[key]
        return len(before) == len(made) and all(a is b for a, b in zip(before, made, strict=True))

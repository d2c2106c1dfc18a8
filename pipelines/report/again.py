"""What a report shows of a result, drawn again only where that has changed.

Sections are given less than the whole result: `but_probes` has nothing of the probes, `of_plate`
nothing of bars, strips and findings besides, and neither has what is read from the deck at probes.
What such a section shows is kept while the deck that it is given reads the same and everything else
is the same object (`pipelines.analysis.kept`).
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import fields, replace
from types import MappingProxyType
from typing import Any, TypeVar

from pipelines.accuracy.tolerances import CaseTolerances
from pipelines.analysis.kept import Kept
from pipelines.analysis.result import Result, TrafficResult
from pipelines.model.cache import fingerprint
from pipelines.report.document import Block

T = TypeVar("T")
# One object each, as what is kept is told by the objects that it was made of.
_NONE: Mapping[str, Any] = MappingProxyType({})
_NO_TOLERANCES = CaseTolerances(mesh=_NONE, theory=_NONE)


class Again:
    """A result as sections are given it, and what they showed of the last one."""

    def __init__(self, result: Result, kept: Kept) -> None:
        self._kept = kept
        deck = replace(result.deck, title="", probes=())
        self.but_probes = replace(
            result,
            deck=deck,
            solved=result.solved.of_deck(deck),
            cases=_NONE,
            case_tolerances=_NO_TOLERANCES,
            traffic=tuple(replace(case, probes=()) for case in result.traffic),
            cracked=(),
            seconds=_NONE,
        )
        deck = replace(
            deck, reinforcement=None, strip=None, load_tests=(), fitted=(), factors=(), sums=()
        )
        self.of_plate = replace(
            self.but_probes,
            deck=deck,
            solved=result.solved.of_deck(deck),
            findings=(),
            left_out=(),
            widths=(),
            reconciliations=(),
            design=None,
            schedule=None,
            load_tests=(),
        )
        self._decks = {of: fingerprint(of.deck) for of in (self.but_probes, self.of_plate)}

    def section(self, show: Callable[[Result], Iterable[Block]], of: Result) -> tuple[Block, ...]:
        """What a section shows of one of these."""
        return self.made(show.__name__, lambda: tuple(show(of)), of)

    def made(self, name: str, make: Callable[[], T], of: Result, more: object = None) -> T:
        """What is made of one of these, and of `more` values."""
        return self._kept.stage(name, make, data=(self._decks[of], more), made=[*_objects(of)])


def _objects(result: Result) -> Iterator[object]:
    """All that a result has but its deck; a plate that is solved is known by its stiffness."""
    yield result.solved.stiffness
    parts: list[Result | TrafficResult] = [result, *result.traffic]
    for one in parts:
        for field in fields(one):
            value = getattr(one, field.name)
            if field.name not in ("deck", "solved", "traffic", "probes"):
                yield value

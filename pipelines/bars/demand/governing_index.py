"""Numbers of what governs bars and shear: load positions of vehicles that drive alone, arrangements
of load models, and arrangements held and solved, numbered through in this order."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.traffic.arrangements import Arrangement
from pipelines.traffic.positions import WheelPatches


@dataclass(frozen=True, eq=False)
class FixedArrangement:
    """An arrangement as one load.

    loads : wheels, then cells of distributed loads, with all factors of the load model; contacts :
    of its wheels, as many as come first in `loads`.
    """

    position: Arrangement
    loads: WheelPatches
    contacts: WheelPatches


class GoverningIndex:
    """Where the traffic stands, by number."""

    def __init__(self) -> None:
        self._starts: list[int] = []
        self._position: list[Callable[[int], Arrangement | None]] = []
        self._held: list[Sequence[FixedArrangement]] = []
        self._end = 0

    def add(self, envelope: TrafficEnvelope) -> int:
        """Number of the first arrangement of a case of traffic."""
        return self._add(len(envelope.arrangements), envelope.position)

    def add_held(self, held: Sequence[FixedArrangement]) -> int:
        """Number of the first of some held arrangements."""
        return self._add(len(held), lambda k: held[k].position, held)

    def position(self, number: int) -> Arrangement | None:
        """None for the empty deck."""
        if number < 0:
            return None
        part, index = self._found(number)
        return self._position[part](index)

    def held(self, number: int) -> FixedArrangement | None:
        """None for what is not held as one load."""
        if number < 0:
            return None
        part, index = self._found(number)
        return self._held[part][index] if self._held[part] else None

    def _add(
        self,
        count: int,
        position: Callable[[int], Arrangement | None],
        held: Sequence[FixedArrangement] = (),
    ) -> int:
        start = self._end
        self._starts.append(start)
        self._position.append(position)
        self._held.append(held)
        self._end += count
        return start

    def _found(self, number: int) -> tuple[int, int]:
        part = bisect_right(self._starts, number) - 1
        return part, number - self._starts[part]

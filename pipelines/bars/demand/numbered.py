"""Numbers of what governs bars and shear: load positions of single vehicles, arrangements of load
models, and arrangements held and solved, numbered through in this order."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.envelopes.arrangements import ModelEnvelope, ModelPosition
from pipelines.envelopes.single_vehicles import Envelopes, LoadPosition
from pipelines.traffic.positions import WheelPatches

Position = LoadPosition | ModelPosition


@dataclass(frozen=True, eq=False)
class Held:
    """An arrangement as one load.

    loads : wheels, then cells of distributed loads, with all factors of the load model; contacts :
    of its wheels, as many as come first in `loads`.
    """

    position: ModelPosition
    loads: WheelPatches
    contacts: WheelPatches


class HeldLoads:
    """Held arrangements as loads that are solved one after the other."""

    words = "arrangements held for shear"

    def __init__(self, held: Sequence[Held]) -> None:
        self.held = held

    def __len__(self) -> int:
        return len(self.held)

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """Patches of the arrangements `index`."""
        chosen = np.arange(len(self.held))[index].tolist()
        loads = [self.held[k].loads for k in chosen]
        return WheelPatches(
            np.concatenate([one.corners for one in loads]),
            np.concatenate([one.load for one in loads]),
            np.repeat(np.arange(len(loads)), [len(one.load) for one in loads]),
        )


class Numbered:
    """Where the traffic stands, by number."""

    def __init__(self, envelopes: Envelopes | None) -> None:
        self._starts: list[int] = []
        self._position: list[Callable[[int], Position | None]] = []
        self._held: list[Sequence[Held]] = []
        self._end = 0
        if envelopes is not None:
            self._add(envelopes.n_positions, envelopes.position)

    def add_model(self, envelope: ModelEnvelope) -> int:
        """Number of a load model's first arrangement."""
        return self._add(len(envelope.arrangements), envelope.position)

    def add_held(self, held: Sequence[Held]) -> int:
        """Number of the first of some held arrangements."""
        return self._add(len(held), lambda k: held[k].position, held)

    def position(self, number: int) -> Position | None:
        """None for the empty deck."""
        if number < 0:
            return None
        part, index = self._found(number)
        return self._position[part](index)

    def held(self, number: int) -> Held | None:
        """None for what is not held as one load."""
        if number < 0:
            return None
        part, index = self._found(number)
        return self._held[part][index] if self._held[part] else None

    def _add(
        self, count: int, position: Callable[[int], Position | None], held: Sequence[Held] = ()
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

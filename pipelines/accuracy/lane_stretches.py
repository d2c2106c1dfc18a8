"""Stretches of the offsets of lanes, and what is known at their ends."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.traffic.lanes import TIE
from plate.arrays import Floats, Ints


@dataclass(frozen=True, eq=False, kw_only=True)
class Stretches:
    """Stretches of the offsets of lanes of a kind for some results.

    entry, kind : (n,); low, high : (n,) [m]; pressure : (n,) bound of what the lane's distributed
    load makes; floor : (n,) bound of what all vehicles make that are not looked at any more.
    """

    entry: Ints
    kind: Ints
    low: Floats
    high: Floats
    pressure: Floats
    floor: Floats

    def part(self, which: NDArray[np.bool_] | Ints) -> "Stretches":
        return Stretches(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

    @classmethod
    def sorted(cls, parts: Sequence["Stretches"]) -> tuple["Stretches", Ints]:
        """All of several, sorted by entry, kind and offset, and their order (n,)."""
        every = cls(
            **{
                field.name: np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(cls)
            }
        )
        order = np.lexsort((every.low, every.kind, every.entry))
        return every.part(order), np.asarray(order)


@dataclass(frozen=True, eq=False, kw_only=True)
class KnownEnds:
    """What is known at the ends of stretches (n, 2): the best vehicle there, -1 = none, what it
    makes, its station and widening."""

    values: Floats
    vehicle: Ints
    s: Floats
    spread: Floats

    @classmethod
    def none(cls, n: int) -> "KnownEnds":
        """No vehicle anywhere."""
        return cls(
            values=np.zeros((n, 2)),
            vehicle=np.full((n, 2), -1),
            s=np.zeros((n, 2)),
            spread=np.zeros((n, 2)),
        )

    def take(self, where: Any, values: Floats, vehicle: Ints, s: Floats, spread: Floats) -> None:
        """Take in vehicles at some ends, where they make more."""
        better = values > self.values[where] * (1.0 + TIE)
        for own, new in (
            (self.values, values),
            (self.vehicle, vehicle),
            (self.s, s),
            (self.spread, spread),
        ):
            own[where] = np.where(better, new, own[where])

    def part(self, which: Ints) -> "KnownEnds":
        return KnownEnds(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

    @classmethod
    def joined(cls, parts: Sequence["KnownEnds"]) -> "KnownEnds":
        return cls(
            **{
                field.name: np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(cls)
            }
        )


def highest(owner: Ints, values: Floats, *others: Floats | Ints) -> tuple[Ints, Ints]:
    """The owners (m,) that there are, and which of the values (n,) is the highest of each.

    Of values equal within `TIE` it is the first by the others (n,), the last of these foremost.
    """
    best = np.full(int(owner.max(initial=-1)) + 1, -np.inf)
    np.maximum.at(best, owner, values)
    limit = best - TIE * np.abs(np.where(np.isinf(best), 0.0, best))
    near = np.flatnonzero(values >= limit[owner])
    order = near[np.lexsort((*(other[near] for other in others), owner[near]))]
    first = order[np.diff(owner[order], prepend=-1) > 0]
    return owner[first], first

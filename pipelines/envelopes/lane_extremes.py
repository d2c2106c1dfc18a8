"""What is kept of a load model's loads while they are streamed: extremes of every train at every
offset, and sums over the cells of distributed loads where a result has the sign sought."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from pipelines.envelopes.extremes import (
    HOST,
    SIGNS,
    Fetch,
    FieldTracker,
    Peaks,
    RowPeaks,
    Tops,
    Tracker,
    with_sums,
)
from pipelines.model.responses import Response
from plate.arrays import Floats, Ints
from plate.solver.solution import Combined

Read = tuple[Ints, Combined, Combined]
"""Field points (k,), fields (n_field, k, ...) there and what is kept beside each
(n_beside, k, ...)."""

Reader = Callable[[Ints, Combined], Iterator[Read]]
"""Of field points and the six results there, some of the points after the other."""


@dataclass(frozen=True)
class Fields:
    """A set of fields that is enveloped together: how many, how many are kept beside each, and
    what reads them of a response."""

    n_field: int
    n_beside: int
    reader: Callable[[Response], Reader]


RESULTS_OF = Fields(6, 6, lambda _: lambda points, results: iter([(points, results, results)]))


class Watched(Protocol):
    """What else is enveloped under load models than the results.

    fields : by name, linear in the loads. shares : of distributed loads beside axles that those
    fields are wanted with.
    """

    @property
    def fields(self) -> Mapping[str, Fields]: ...

    @property
    def shares(self) -> Sequence[float]: ...

    def values(self, response: Response) -> Iterator[Floats]:
        """(n_value, n), linear in the loads, some values after the other."""


def other_values(response: Response, watched: Watched | None) -> Iterator[Floats]:
    """Probes, beam moments, beam shears, what is watched and reactions (n_other, n), some after the
    other."""
    yield response.probes
    yield response.beam_moments
    yield response.beam_shears
    if watched is not None:
        yield from watched.values(response)
    for values in with_sums(response.reactions).values():
        yield values[None]


def read_parts(
    sets: Mapping[str, Fields], response: Response
) -> Iterator[tuple[str, Ints, Combined, Combined]]:
    """Set, field points, its fields there and what is kept beside them, some points after the
    other."""
    if not sets:
        return
    readers = {name: lane_set.reader(response) for name, lane_set in sets.items()}
    for points, results in response.combined:
        for name, reader in readers.items():
            for mine, fields, beside in reader(points, results):
                yield name, mine, fields, beside


class TrainExtremes:
    """Running extremes of a train at each of its offsets, which are its lanes; fields : by the
    names of the sets. beside : of another train in whose place this one may stand, with factors
    as large and as many lanes: what stays within its extremes need not be found. like : arrays of
    its kind are kept, and taken in."""

    def __init__(
        self,
        sets: Mapping[str, Fields],
        n_point: int,
        n_other: int,
        lanes: int,
        beside: "TrainExtremes | None" = None,
        like: Floats = HOST,
    ) -> None:
        self.sets, self.lanes = sets, lanes
        self.fields: dict[str, FieldTracker] = {
            name: FieldTracker(
                n_point,
                one.n_field,
                one.n_beside,
                lanes,
                None if beside is None else beside.fields[name].limits,
                like,
            )
            for name, one in sets.items()
        }
        self.others = Tracker(n_other, lanes, like)

    def fetched(self, fetch: Fetch) -> None:
        """Go on with what `fetch` makes of the arrays."""
        self.others.fetched(fetch)
        for one in self.fields.values():
            one.fetched(fetch)

    def seen(self, response: Response, first: int) -> dict[str, list[Peaks]]:
        """What positions first, first + 1, ... may add to the fields, some points after the other;
        any thread may ask."""
        found: dict[str, list[Peaks]] = {name: [] for name in self.sets}
        for name, points, fields, beside in read_parts(self.sets, response):
            found[name].append(self.fields[name].seen(points, fields, beside, first))
        return found

    def reached(self, response: Response) -> list[tuple[str, Tops]]:
        """What positions reach of the sets of fields, some points after the other; any thread may
        ask."""
        return [
            (name, self.fields[name].reached(points, fields))
            for name, points, fields, _ in read_parts(self.sets, response)
        ]

    def know(self, reached: Sequence[tuple[str, Tops]]) -> None:
        """What some positions reach, before any is taken in."""
        for name, found in reached:
            self.fields[name].know(found)

    def take(self, part: "BlockResult") -> None:
        """Take in a block; blocks come in order."""
        for name, found in part.peaks.items():
            for one in found:
                self.fields[name].take(one)
        self.others.take(part.others)


# Sign, field points (k,), of strips sums (n_field, k, n_strip) and what coexists (n_field,
# n_beside, k, n_strip).
Sums = tuple[int, Ints, Floats, Floats]


@dataclass(frozen=True, eq=False)
class SignedSums:
    """Sums over the cells of strips by the sign sought: (n_field, n_point, n_strip) and
    (n_field, n_beside, n_point, n_strip)."""

    best: dict[int, Floats]
    coexisting: dict[int, Floats]

    @classmethod
    def empty(cls, one: Fields, n_point: int, strips: int, like: Floats) -> "SignedSums":
        """Before any cell."""
        shape = (one.n_field, one.n_beside, n_point, strips)
        return cls(
            {sign: np.zeros((one.n_field, n_point, strips), like=like) for sign in SIGNS},
            {sign: np.zeros(shape, like=like) for sign in SIGNS},
        )


class StripSums:
    """Sums over the cells of each strip of the carriageway of the responses of one sign; like : as
    of `TrainExtremes`."""

    def __init__(
        self,
        sets: Mapping[str, Fields],
        n_point: int,
        n_other: int,
        strips: int,
        like: Floats = HOST,
    ) -> None:
        self.strips = strips
        self.fields = {
            name: SignedSums.empty(one, n_point, strips, like) for name, one in sets.items()
        }
        self.others = {sign: np.zeros((n_other, strips), like=like) for sign in SIGNS}

    def fetched(self, fetch: Fetch) -> None:
        """Go on with what `fetch` makes of the arrays."""
        every = [self.others]
        for one in self.fields.values():
            every += [one.best, one.coexisting]
        for kept in every:
            kept.update({sign: fetch(values) for sign, values in kept.items()})

    def take(self, part: "BlockResult") -> None:
        """Take in a block of cells."""
        for sign, total in part.other_sums.items():
            self.others[sign] += total
        for name, found in part.sums.items():
            kept = self.fields[name]
            for sign, points, values, beside in found:
                kept.best[sign][:, points] += values
                kept.coexisting[sign][:, :, points] += beside


def adverse_sums(
    sets: Mapping[str, Fields], response: Response, strips: int
) -> dict[str, list[Sums]]:
    """Sums over a block of the cells of so many strips, one after the other, of the fields where
    one of them has a sign; any thread may ask."""
    found: dict[str, list[Sums]] = {name: [] for name in sets}
    for name, points, *both in read_parts(sets, response):
        fields, others = (
            one.of_loads.reshape(len(one.values), len(points), strips, -1) for one in both
        )
        for sign in SIGNS:
            adverse = (sign * fields > 0.0).astype(float)
            # (field sought, point, strip, cell) x (point, strip, cell, what coexists)
            beside = np.matmul(adverse.transpose(1, 2, 0, 3), others.transpose(1, 2, 3, 0))
            sums = np.einsum("kpsn,kpsn->kps", adverse, fields)
            found[name].append((sign, points, sums, beside.transpose(2, 3, 0, 1)))
    return found


def adverse_others(parts: Iterable[Floats], strips: int) -> dict[int, Floats]:
    """The same of everything that is no field, some (k, n_load) after the other: by the sign sought
    (n_other, n_strip)."""
    found: dict[int, list[Floats]] = {sign: [] for sign in SIGNS}
    for values in parts:
        values = values.reshape(len(values), strips, values.shape[1] // strips)
        for sign in SIGNS:
            found[sign].append(np.where(sign * values > 0.0, values, 0.0).sum(axis=-1))
    return {sign: np.concatenate(sums) for sign, sums in found.items()}


@dataclass(frozen=True, eq=False, kw_only=True)
class BlockResult:
    """What a block of so many loads adds: to the fields, by their sets, the peaks of a train's
    positions or the sums of cells, and the same to everything that is no field."""

    n_loads: int
    others: Sequence[RowPeaks] = ()
    peaks: Mapping[str, list[Peaks]] = field(default_factory=dict)
    other_sums: Mapping[int, Floats] = field(default_factory=dict)
    sums: Mapping[str, list[Sums]] = field(default_factory=dict)


class Selector:
    """Reads one kind of values from what is kept of a train or of strips of cells: a field of a
    set, or without a set everything that is no field. The last axis counts lanes, or strips."""

    def __init__(self, name: str = "", component: int = 0) -> None:
        self.name, self.component = name, component

    def __call__(self, kept: TrainExtremes | StripSums, sign: int) -> Floats:
        if not self.name:
            others = kept.others if isinstance(kept, StripSums) else kept.others.best
            return others[sign]
        return np.asarray(kept.fields[self.name].best[sign][self.component])

    def beside(self, kept: TrainExtremes | StripSums, sign: int) -> Floats:
        """(n_beside, n_point, n_lane or n_strip), what coexists."""
        return np.asarray(kept.fields[self.name].coexisting[sign][self.component])

    def at(self, kept: TrainExtremes, sign: int) -> Ints:
        """Numbers of the governing load positions."""
        if not self.name:
            return kept.others.at[sign]
        return np.asarray(kept.fields[self.name].at[sign][self.component])

"""What axles make of some results at all load positions of vehicles, quickly enough for thousands.

A unit axle of each kind is read at every offset once, at the stations of its wheels' lattice; a
vehicle is a sum of such grids, each moved along the deck by the axle's distance, cubic between the
stations: one product with a matrix for each kind of axle and run. Greatest values over the offsets,
added up in the same way, are no less than those of the sums: they tell which results are worth
adding up.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby
from threading import Lock

import numpy as np
from scipy import sparse

from pipelines.accuracy.wheel_influence import cubic
from pipelines.bars.rating.place_fields import UnitFields
from pipelines.traffic.positions import LoadPositions, Size
from plate.arrays import Floats, Ints

AxleKind = tuple[tuple[float, ...], Size]
"""Offsets of an axle's wheels from the vehicle's centre line and the sides of their patches [m]."""
Offsets = tuple[float, ...]
# The most bytes of grids that are kept.
KEPT = 0.8e9


def axles_of(run: LoadPositions) -> Iterator[tuple[AxleKind, float, float]]:
    """Of every axle its kind as it stands in that direction, its distance ahead of the first one
    [m] and its load with impact [N]."""
    side = -1.0 if run.direction == "reverse" else 1.0
    for axle, patch in zip(run.vehicle.axles, run.patches, strict=True):
        wheels = tuple(sorted(side * y + 0.0 for y in axle.wheels))
        yield (wheels, patch), -side * axle.at, axle.load * run.vehicle.impact


def offsets_of(run: LoadPositions) -> Offsets:
    """The offsets of a run, which are the same at every station [m]."""
    return tuple(run.offsets[run.stations == run.stations[0]].tolist())


def grids_of(run: LoadPositions) -> list[tuple[AxleKind, Offsets]]:
    """The grids that a run needs, in order."""
    offsets = offsets_of(run)
    return sorted({(kind, offsets) for kind, _, _ in axles_of(run)})


@dataclass(frozen=True, eq=False)
class DrivenAxles:
    """A vehicle at all load positions of some runs with the same offsets, one after the other.

    parts : of every kind of its axles results (n_offset, n_result, n_s) of a unit axle, the
    greatest values (n_s, n_screened) that they are screened by, and what moves both along the deck
    (n_s, n_station). lengths : load positions of every run.
    """

    parts: tuple[tuple[Floats, Floats, Floats], ...]
    lengths: tuple[int, ...]

    def __len__(self) -> int:
        """Load positions."""
        grid, _, moved = self.parts[0]
        return len(grid) * int(moved.shape[1])

    @cached_property
    def greatest(self) -> Floats:
        """(n_station, n_screened) no less than what is screened at any offset, as the grids have
        it: sums of every axle's own greatest."""
        # few stations of the lattice have a share in each
        every = [sparse.csr_array(moved.T) @ greatest for _, greatest, moved in self.parts]
        return np.asarray(sum(every[1:], every[0]))

    def over_stations(self, results: Ints, stations: Ints | slice = slice(None)) -> Floats:
        """Some of the results (n_offset, n, k) at all offsets of some stations."""
        total: Floats = np.zeros(())
        for grid, _, moved in self.parts:
            mine = grid[:, results]
            values = mine.reshape(-1, mine.shape[2]) @ moved[:, stations]
            total = total + values.reshape(*mine.shape[:2], values.shape[1])
        return total

    def under(self, results: Ints) -> Floats:
        """Some of the results (n, n_position) at all load positions."""
        return self.over_stations(results).transpose(1, 2, 0).reshape(len(results), len(self))

    def at(self, results: Ints, positions: Ints) -> Floats:
        """Results (k, n) each at a load position (n,) of its own."""
        total: Floats = np.zeros(())
        for grid, _, moved in self.parts:
            station, offset = np.divmod(positions, len(grid))
            total = total + np.einsum("kns,ns->kn", grid[offset, results], moved.T[station])
        return total


@dataclass(eq=False)
class AxleGrids:
    """Grids of some results per newton of an axle.

    screened : a grid (n_offset, n_result, n_s) -> greatest values (n_screened, n_s) over the
    offsets of what results are screened by. lock : of the threads that judge vehicles.
    """

    fields: UnitFields
    screened: Callable[[Floats], Floats]
    known: dict[tuple[AxleKind, Offsets], tuple[Floats, Floats]] = field(default_factory=dict)
    lock: AbstractContextManager[object] = field(default_factory=Lock)

    def driven(self, runs: Sequence[LoadPositions]) -> list[DrivenAxles]:
        """A vehicle at the load positions of some runs, of those that follow one another and need
        the same grids together."""
        return [self._together(list(alike)) for _, alike in groupby(runs, grids_of)]

    def _together(self, runs: Sequence[LoadPositions]) -> DrivenAxles:
        offsets = offsets_of(runs[0])
        every: dict[AxleKind, list[tuple[Floats, Ints, float]]] = {}
        count = 0
        for run in runs:
            stations = run.stations[:: len(offsets)]
            columns = count + np.arange(len(stations))
            count += len(stations)
            for kind, ahead, load in axles_of(run):
                every.setdefault(kind, []).append((stations + ahead, columns, load))
        moved: dict[AxleKind, Floats] = {}
        for kind, axles in every.items():
            s = self.fields.lattices[kind[1]].lattice.s
            place, weight = cubic(np.concatenate([at for at, _, _ in axles]), s)
            weight *= np.concatenate([np.full(len(at), load) for at, _, load in axles])[:, None]
            moved[kind] = np.zeros((len(s), count), dtype=np.float32)
            column = np.concatenate([columns for _, columns, _ in axles])[:, None]
            np.add.at(moved[kind], (place, column), weight)
        return DrivenAxles(
            tuple((*self._grid(kind, offsets), matrix) for kind, matrix in moved.items()),
            tuple(len(run) for run in runs),
        )

    def _grid(self, kind: AxleKind, offsets: Offsets) -> tuple[Floats, Floats]:
        key = kind, offsets
        with self.lock:
            if key not in self.known:
                wheels, patch = kind
                grid = self.fields.across(patch, np.add.outer(np.array(offsets), np.array(wheels)))
                # the oldest first
                while sum(one.nbytes for one, _ in self.known.values()) > KEPT:
                    del self.known[next(iter(self.known))]
                self.known[key] = grid, np.ascontiguousarray(self.screened(grid).T)
            return self.known[key]

"""What axles make of some results at all load positions of vehicles, quickly enough for thousands.

A unit axle of each kind is driven along the deck at every offset once; a vehicle is a sum of such
grids, each moved along the deck by the axle's distance, cubic between the stations: one product
with a matrix for each kind of axle and run. Greatest values over the offsets, added up in the same
way, are no less than those of the sums: they tell which results are worth adding up.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipelines.accuracy.wheel_influence import cubic, grid_places
from pipelines.bars.rating.place_fields import DrivenOver
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.traffic.positions import LoadPositions, Size
from plate.arrays import Floats, Ints
from plate.geometry.axis import Course

AxleKind = tuple[tuple[float, ...], Size]
"""Offsets of an axle's wheels from the vehicle's centre line and the sides of their patches [m]."""
Offsets = tuple[float, ...]
# Stations in the length of the shortest patch, and the most bytes of grids that are kept.
PER_PATCH, KEPT = 6.0, 1.5e9


def axles_of(run: LoadPositions) -> Iterator[tuple[AxleKind, float, float]]:
    """Of every axle its kind as it stands in that direction, its distance ahead of the first one
    [m] and its load with impact [N]."""
    side = -1.0 if run.direction == "reverse" else 1.0
    for axle, patch in zip(run.vehicle.axles, run.patches, strict=True):
        wheels = tuple(sorted(side * y + 0.0 for y in axle.wheels))
        yield (wheels, patch), -side * axle.at, axle.load * run.vehicle.impact


def stations_over(low: float, high: float, patches: Sequence[Size]) -> Floats:
    """Stations (n,) [m] of an axle from where the first of the patches comes onto the slab, which
    lies from `low` to `high`, to where the last leaves it."""
    along = [patch[0] for patch in patches]
    half = 0.5 * max(along)
    spaces = int(np.ceil(PER_PATCH * (high - low + 2.0 * half) / min(along)))
    return np.linspace(low - half, high + half, max(spaces, 4) + 1)


@dataclass(eq=False)
class AxleGrids:
    """Grids of some results per newton of an axle.

    read : driven axles -> results (n_result, n_position). screened : a grid (n_result, n_offset,
    n_station) -> what results are screened by (n_screened, n_offset, n_station), linear in it.
    stations : (n_station,) of the axles, rising.
    """

    read: Callable[[DrivenOver], Floats]
    screened: Callable[[Floats], Iterator[Floats]]
    drive: Callable[[LoadPositions], DrivenOver]
    course: Course
    stations: Floats
    known: dict[tuple[AxleKind, Offsets], tuple[Floats, Floats]] = field(default_factory=dict)

    def greatest(self, runs: Sequence[LoadPositions]) -> Floats:
        """(n_screened,) no less than what is screened under any load position of the runs, as the
        grids have it: the greatest sums of every axle's own greatest over the offsets."""
        found = [self._sum(run, 1, slice(None)).max(axis=1) for run in runs]
        return np.asarray(np.maximum.reduce(found), dtype=float)

    def under(self, run: LoadPositions, results: Ints) -> Floats:
        """Some of the results (n, n_position) under a run at all its stations and offsets."""
        n_offset = len(np.unique(run.offsets))
        values = self._sum(run, 0, results).reshape(len(results), n_offset, -1)
        return np.asarray(values.transpose(0, 2, 1).reshape(len(results), -1), dtype=float)

    def _sum(self, run: LoadPositions, which: int, rows: Ints | slice) -> Floats:
        """(n_row, n) of grids (0), or of their greatest values over the offsets (1), at the n
        stations of a run; of a grid by row and offset."""
        offsets = tuple(np.unique(run.offsets).tolist())
        stations = run.stations[:: len(offsets)]
        moved: dict[AxleKind, Floats] = {}
        column = np.arange(len(stations))[:, None]
        for kind, ahead, load in axles_of(run):
            if kind not in moved:
                moved[kind] = np.zeros((len(self.stations), len(stations)), dtype=np.float32)
            place, weight = cubic(stations + ahead, self.stations)
            moved[kind][place, column] += load * weight
        total: Floats = np.zeros(())
        for kind, matrix in moved.items():
            grid = self._grid(kind, offsets)[which][rows]
            total = total + grid.reshape(-1, len(self.stations)) @ matrix
        return total

    def _grid(self, kind: AxleKind, offsets: Offsets) -> tuple[Floats, Floats]:
        key = kind, offsets
        if key not in self.known:
            wheels, patch = kind
            along, across = grid_places(self.stations, np.array(offsets))
            run = LoadPositions(
                vehicle=Vehicle(name="axle", axles=(Axle(0.0, 1.0, wheels, patch),)),
                direction="forward",
                stations=along,
                offsets=across,
                patches=(patch,),
                course=self.course,
            )
            values = self.read(self.drive(run)).reshape(-1, len(self.stations), len(offsets))
            grid: Floats = np.ascontiguousarray(values.transpose(0, 2, 1), dtype=np.float32)
            greatest: Floats = np.concatenate([part.max(axis=1) for part in self.screened(grid)])
            if sum(one.nbytes for one, _ in self.known.values()) > KEPT:
                self.known.clear()
            self.known[key] = grid, greatest
        return self.known[key]

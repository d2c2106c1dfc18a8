"""What axles make of some results at all load positions of vehicles, quickly enough for thousands.

A unit axle of each kind is driven along the deck at every offset once; a vehicle is a sum of such
grids, each shifted along the deck by the axle's distance, cubic between the steps.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from pipelines.accuracy.wheel_influence import grid_places
from pipelines.bars.rating.place_fields import DrivenOver
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.traffic.positions import LoadPositions, Size
from plate.arrays import Floats
from plate.geometry.axis import Course

AxleKind = tuple[tuple[float, ...], Size]
"""Offsets of an axle's wheels from the vehicle's centre line and the sides of their patches [m]."""
Offsets = tuple[float, ...]
# Stations between which a shift is interpolated.
TAPS = (-1, 0, 1, 2)


def axles_of(run: LoadPositions) -> Iterator[tuple[AxleKind, float, float]]:
    """Of every axle its kind as it stands in that direction, its distance ahead of the first one
    [m] and its load with impact [N]."""
    side = -1.0 if run.direction == "reverse" else 1.0
    for axle, patch in zip(run.vehicle.axles, run.patches, strict=True):
        wheels = tuple(sorted(side * y + 0.0 for y in axle.wheels))
        yield (wheels, patch), -side * axle.at, axle.load * run.vehicle.impact


@dataclass(eq=False)
class AxleGrids:
    """Grids (n_result, n_offset, n_station) of some results per newton of an axle.

    read : driven axles -> results (n_result, n_position). step : of the stations, whose numbers
    run from `first` over `count` of them and cover every place of an axle on the slab.
    """

    read: Callable[[DrivenOver], Floats]
    drive: Callable[[LoadPositions], DrivenOver]
    course: Course
    step: float
    first: int
    count: int
    known: dict[tuple[AxleKind, Offsets], Floats] = field(default_factory=dict)

    def under(self, run: LoadPositions) -> tuple[Floats, int]:
        """Results (n_result, n_offset, n) at stations one step apart, and the first one's number.

        run : load positions at all their stations and offsets.
        """
        offsets = tuple(np.unique(run.offsets).tolist())
        axles = [*axles_of(run)]
        shifts = [ahead / self.step for _, ahead, _ in axles]
        before = int(np.ceil(max(shifts))) + 2
        width = self.count + before - int(np.floor(min(shifts))) + 2
        total: Floats = np.zeros(0, dtype=np.float32)
        for (kind, _, load), shift in zip(axles, shifts, strict=True):
            grid = self._grid(kind, offsets)
            if not len(total):
                total = np.zeros((*grid.shape[:2], width), dtype=np.float32)
            whole = int(np.floor(shift + 1e-9))
            for tap, share in zip(TAPS, _cubic(max(shift - whole, 0.0)), strict=True):
                if share:
                    # the first axle at station j has this one at j + shift
                    start = before - whole - tap
                    total[..., start : start + self.count] += np.float32(load * share) * grid
        return total, self.first - before

    def _grid(self, kind: AxleKind, offsets: Offsets) -> Floats:
        key = kind, offsets
        if key not in self.known:
            wheels, patch = kind
            stations = np.asarray(self.step * (self.first + np.arange(self.count)), dtype=float)
            along, across = grid_places(stations, np.array(offsets))
            run = LoadPositions(
                vehicle=Vehicle(name="axle", axles=(Axle(0.0, 1.0, wheels, patch),)),
                direction="forward",
                stations=along,
                offsets=across,
                patches=(patch,),
                course=self.course,
            )
            values = self.read(self.drive(run)).reshape(-1, self.count, len(offsets))
            self.known[key] = np.ascontiguousarray(values.transpose(0, 2, 1), dtype=np.float32)
        return self.known[key]


def _cubic(part: float) -> list[float]:
    """(4,) shares of the values at `TAPS` in that at `part` between 0 and 1."""
    if part < 1e-9:
        return [0.0, 1.0, 0.0, 0.0]
    return [float(np.prod([(part - b) / (a - b) for b in TAPS if b != a])) for a in TAPS]

"""Moving loads: every load position of every vehicle, and the wheel patches of a position.

One vehicle at a time. A load position is (vehicle, direction, station and offset of the first
axle's centre). Vehicles follow their own offset y0 from the course of the traffic, which is x, the
arc of a curved deck or the carriageway's axis: lengths along the vehicle count on the arc at y0,
the length of a patch on a curved deck on the arc at each offset.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.deck.traffic import SAME, Direction, Traffic
from pipelines.errors import JobError
from pipelines.standards.actions.loads import Vehicle
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.on_slab import multiples_along, multiples_on_slab
from plate.arrays import Floats
from plate.geometry.axis import Course
from plate.geometry.outline import DRAWN, points_of, region

Size = tuple[float, float]


def dispersed(patch: Size, traffic: Traffic, slab_thickness: float) -> Size:
    """Sides (along, across) [m] of a contact patch after dispersal to the depth asked for."""
    if traffic.dispersal == "none":
        return patch
    depth = traffic.surfacing
    if traffic.dispersal == "mid-depth":
        depth += 0.5 * slab_thickness
    spread = 2.0 * depth * np.tan(traffic.dispersal_angle)
    return float(patch[0] + spread), float(patch[1] + spread)


def lateral_offsets(vehicle: Vehicle, traffic: Traffic, direction: Direction = "forward") -> Floats:
    """Offsets (n,) [m] of the vehicle's centre line: those given, or equal places in its range.

    Raises JobError if the vehicle is too wide for the carriageway.
    """
    if traffic.offsets is not None:
        return np.array(traffic.offsets, dtype=float)
    assert traffic.lateral_step is not None
    low, high = traffic.offset_range(vehicle, direction)
    if high < low:
        raise JobError(
            f"{vehicle.name} with its clearances is {low - high:.3g} m wider than the carriageway"
        )
    spaces = int(np.ceil((high - low) / traffic.lateral_step - SAME))
    return np.linspace(low, high, spaces + 1)


@dataclass(frozen=True, eq=False)
class WheelPatches:
    """Wheel patches of some load positions.

    corners : (k, 4, 2) plan corners [m], order (s-, y-), (s+, y-), (s+, y+), (s-, y+).
    load : (k,) [N]; position : (k,) index of each wheel's position among those asked for.
    """

    corners: Floats
    load: Floats
    position: NDArray[np.intp]

    def each(self, count: int) -> list["WheelPatches"]:
        """Those of each of so many positions of one vehicle, which have equally many."""
        one = np.zeros(len(self.load) // count, dtype=np.intp)
        parts = zip(np.split(self.corners, count), np.split(self.load, count), strict=True)
        return [WheelPatches(corners, load, one) for corners, load in parts]


def together(parts: Sequence[tuple[WheelPatches, float]]) -> WheelPatches:
    """Patches times factors as one load."""
    corners = np.concatenate([np.empty((0, 4, 2)), *(part.corners for part, _ in parts)])
    load = np.concatenate([np.empty(0), *(factor * part.load for part, factor in parts)])
    return WheelPatches(corners, load, np.zeros(len(load), dtype=np.intp))


class Loads(Protocol):
    """Numbered loads, each some patches at once."""

    @property
    def words(self) -> str:
        """What they are."""

    def __len__(self) -> int:
        """How many."""

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """Patches of the loads `index`, those of a load together."""


@dataclass(frozen=True, eq=False, kw_only=True)
class LoadPositions:
    """All positions of one vehicle in one direction, by station, then offset.

    stations, offsets : (n,) of the first axle's centre [m].
    patches : dispersed sides (along, across) [m] of each axle's wheels.
    spreads : (n,) by how much the vehicle's variable spacing is wider than its axles say [m];
        None = nowhere.
    """

    vehicle: Vehicle
    direction: Direction
    stations: Floats
    offsets: Floats
    patches: tuple[Size, ...]
    course: Course
    spreads: Floats | None = None

    def __len__(self) -> int:
        return len(self.stations)

    @property
    def words(self) -> str:
        """Vehicle and direction."""
        return f"{self.vehicle.name}, {self.direction}"

    @property
    def contacts(self) -> "LoadPositions":
        """The same with the wheels' contacts in place of what they spread to."""
        return replace(self, patches=tuple(axle.patch for axle in self.vehicle.axles))

    def at_offset(self, offset: float) -> "LoadPositions":
        """Those at one of the offsets [m]."""
        mine = self.offsets == offset
        return replace(
            self,
            stations=self.stations[mine],
            offsets=self.offsets[mine],
            spreads=None if self.spreads is None else self.spreads[mine],
        )

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """Patches of all wheels at the positions `index`, wheels of a position together."""
        stations, offsets = self.stations[index], self.offsets[index]
        spreads = None if self.spreads is None else self.spreads[index]
        pattern = wheel_pattern(self.vehicle, self.patches)
        corners = _corners(pattern, self.direction, self.course, stations, offsets, spreads)
        return WheelPatches(
            corners,
            self.vehicle.impact * np.tile(pattern[:, 2], len(stations)),
            np.repeat(np.arange(len(stations)), len(pattern)),
        )


def find_position(runs: Sequence[LoadPositions], number: int) -> tuple[LoadPositions, int]:
    """The run of a position numbered through all runs, and its index there."""
    for run in runs:
        if number < len(run):
            return run, number
        number -= len(run)
    raise IndexError("no such load position")


def position_of(runs: Sequence[LoadPositions], number: int) -> LoadPosition:
    """The load position of that number, through all runs."""
    run, k = find_position(runs, number)
    return LoadPosition(
        vehicle=run.vehicle.name,
        direction=run.direction,
        station=float(run.stations[k]),
        offset=float(run.offsets[k]),
    )


def load_positions(deck: Deck) -> tuple[LoadPositions, ...]:
    """Positions of every vehicle in the order listed, forward before reverse.

    Stations are all integer multiples of the step at which any wheel patch, at any of the offsets,
    overlaps the slab. A reverse run that would repeat the forward one is left out.

    Raises JobError if a vehicle is too wide for the carriageway or reaches the centre of curvature.
    """
    if deck.traffic is None:
        return ()
    traffic = deck.traffic
    course = deck.course
    found: list[LoadPositions] = []
    for vehicle in traffic.vehicles:
        patches = tuple(dispersed(a.patch, traffic, deck.slab.thickness) for a in vehicle.axles)
        directions: tuple[Direction, ...] = ("forward",)
        if traffic.directions == "both" and not turn_repeats(vehicle, traffic, course):
            directions = ("forward", "reverse")
        for direction in directions:
            offsets = np.sort(lateral_offsets(vehicle, traffic, direction))
            pattern = wheel_pattern(vehicle, patches)
            across = np.abs(pattern[:, 1]) + 0.5 * pattern[:, 4]
            if course.least_stretch(np.add.outer(offsets, [-across, across]).ravel()) <= 0.0:
                raise JobError(f"{vehicle.name} reaches the centre of curvature")
            stations = _stations(deck, pattern, direction, offsets)
            found.append(
                LoadPositions(
                    vehicle=vehicle,
                    direction=direction,
                    stations=np.repeat(stations, len(offsets)),
                    offsets=np.tile(offsets, len(stations)),
                    patches=patches,
                    course=course,
                )
            )
    return tuple(found)


def _stations(deck: Deck, pattern: Floats, direction: Direction, offsets: Floats) -> Floats:
    """Stations (n,) of the first axle at which any wheel, at any of the offsets, is on the slab."""
    traffic, plan, course = deck.required_traffic, deck.plan, deck.course

    def corners(station: float) -> Floats:
        return _corners(pattern, direction, course, np.full(len(offsets), station), offsets)

    if traffic.axis is None:
        rings = [plan.outline] if plan.is_mapped else points_of(plan.boundary)
        return multiples_on_slab(corners(0.0), rings, traffic.step)
    between = station_range(deck, pattern, direction, offsets)
    return multiples_along(corners, region(plan, DRAWN), between, traffic.step)


def station_range(
    deck: Deck, pattern: Floats, direction: Direction, offsets: Floats, spread: float = 0.0
) -> tuple[float, float]:
    """Stations of the first axle [m] beyond which no wheel is on the slab.

    spread : widest variable spacing [m]. Somewhat wide, by half a patch at least.
    """
    first, last = deck.slab_limits[:, 0]
    patch, behind = float(pattern[:, 3].max()), float(pattern[:, 0].max()) + spread
    ends = np.array([offsets[0], offsets[-1]])
    before = patch + (behind if direction == "reverse" else 0.0)
    after = patch + (behind if direction == "forward" else 0.0)
    low = deck.course.along(np.array(first), ends, np.array(-before)).min()
    return float(low), float(deck.course.along(np.array(last), ends, np.array(after)).max())


def is_symmetric(vehicle: Vehicle) -> bool:
    """Whether the vehicle turned by 180 degrees about its own centre is the same vehicle."""
    pattern = wheel_pattern(vehicle, tuple(axle.patch for axle in vehicle.axles))
    turned = pattern.copy()
    turned[:, 0] = pattern[:, 0].max() - pattern[:, 0]
    turned[:, 1] = -pattern[:, 1]

    def ordered(rows: Floats) -> Floats:
        return rows[np.lexsort(np.round(rows, 9).T)]

    return np.allclose(ordered(pattern), ordered(turned), rtol=1e-12, atol=SAME)


def turn_repeats(vehicle: Vehicle, traffic: Traffic, course: Course) -> bool:
    """Whether the reverse positions load the deck as the forward ones do, one for one.

    Turning about the vehicle's centre keeps its offset and moves the first axle by the vehicle's
    length; the stations agree if that is a whole number of steps. On a curve it is R/(R - y0)
    times as long and differs with the offset, so there only single axles repeat.
    """
    length = max(axle.at for axle in vehicle.axles)
    whole = abs(length - traffic.step * round(length / traffic.step)) <= SAME
    return is_symmetric(vehicle) and (length == 0.0 or (course.straight and whole))


def wheel_pattern(vehicle: Vehicle, patches: tuple[Size, ...]) -> Floats:
    """Rows (m, 6), one a wheel: distance behind the first axle, offset from the centre line [m],
    load without impact [N], sides of the patch along and across [m], whether the variable spacing
    moves it."""
    moved = len(vehicle.axles) if vehicle.variable is None else vehicle.variable[0]
    return np.array(
        [
            (axle.at, y, axle.load / len(axle.wheels), *patch, k >= moved)
            for k, (axle, patch) in enumerate(zip(vehicle.axles, patches, strict=True))
            for y in axle.wheels
        ],
        dtype=float,
    )


def _corners(
    pattern: Floats,
    direction: Direction,
    course: Course,
    stations: Floats,
    offsets: Floats,
    spreads: Floats | None = None,
) -> Floats:
    """Patch corners (n m, 4, 2) of the wheel pattern at n positions, order as in WheelPatches."""
    ahead = 1.0 if direction == "reverse" else -1.0
    at, across, _, a, b, moved = pattern.T
    if spreads is not None:
        at = at + spreads[:, None] * moved
    y0 = offsets[:, None]
    s = course.along(stations[:, None], y0, ahead * at)
    y = y0 - ahead * across
    corners = course.rectangles(np.stack([s, y], axis=-1), np.stack([a, b], axis=-1))
    return corners.reshape(-1, 4, 2)

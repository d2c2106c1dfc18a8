"""Moving loads: every load position of every vehicle, and the wheel patches of a position.

One vehicle at a time. A load position is (vehicle, direction, station and offset of the first
axle's centre). Vehicles run parallel to x; on a curved deck they follow their own offset y0:
lengths along the vehicle count on the arc at y0, the length of a patch on the arc at each offset.
"""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import SAME, Deck, Direction, Traffic
from pipelines.errors import JobError
from pipelines.standards.actions.loads import Vehicle
from pipelines.traffic.touching import touching_multiples
from plate.geometry.alignment import Chart, Floats
from plate.geometry.outline import points_of

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


class Loads(Protocol):
    """Numbered loads, each some patches at once."""

    @property
    def words(self) -> str:
        """What they are."""

    def __len__(self) -> int:
        """How many."""

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """Patches of the loads `index`, those of a load together."""


@dataclass(frozen=True, eq=False)
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
    chart: Chart
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

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """Patches of all wheels at the positions `index`, wheels of a position together."""
        stations, offsets = self.stations[index], self.offsets[index]
        spreads = None if self.spreads is None else self.spreads[index]
        pattern = wheel_pattern(self.vehicle, self.patches)
        corners = _corners(pattern, self.direction, self.chart, stations, offsets, spreads)
        return WheelPatches(
            corners,
            self.vehicle.impact * np.tile(pattern[:, 2], len(stations)),
            np.repeat(np.arange(len(stations)), len(pattern)),
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
    found: list[LoadPositions] = []
    for vehicle in traffic.vehicles:
        patches = tuple(dispersed(a.patch, traffic, deck.slab.thickness) for a in vehicle.axles)
        directions: tuple[Direction, ...] = ("forward",)
        if traffic.directions == "both" and not turn_repeats(vehicle, traffic, deck.plan.chart):
            directions = ("forward", "reverse")
        for direction in directions:
            offsets = np.sort(lateral_offsets(vehicle, traffic, direction))
            pattern = wheel_pattern(vehicle, patches)
            start = _corners(pattern, direction, deck.plan.chart, np.zeros(len(offsets)), offsets)
            if np.any(deck.plan.chart.stretch(start) <= 0.0):
                raise JobError(f"{vehicle.name} reaches the centre of curvature")
            if deck.plan.is_mapped:
                stations = _touching(start, deck.plan.outline, traffic.step)
            else:
                stations = touching_multiples(start, points_of(deck.plan.boundary), traffic.step)
            found.append(
                LoadPositions(
                    vehicle,
                    direction,
                    np.repeat(stations, len(offsets)),
                    np.tile(offsets, len(stations)),
                    patches,
                    deck.plan.chart,
                )
            )
    return tuple(found)


def position_count(deck: Deck) -> int:
    """Number of load positions of the deck."""
    return sum(len(positions) for positions in load_positions(deck))


def is_symmetric(vehicle: Vehicle) -> bool:
    """Whether the vehicle turned by 180 degrees about its own centre is the same vehicle."""
    pattern = wheel_pattern(vehicle, tuple(axle.patch for axle in vehicle.axles))
    turned = pattern.copy()
    turned[:, 0] = pattern[:, 0].max() - pattern[:, 0]
    turned[:, 1] = -pattern[:, 1]

    def ordered(rows: Floats) -> Floats:
        return rows[np.lexsort(np.round(rows, 9).T)]

    return np.allclose(ordered(pattern), ordered(turned), rtol=1e-12, atol=SAME)


def turn_repeats(vehicle: Vehicle, traffic: Traffic, chart: Chart) -> bool:
    """Whether the reverse positions load the deck as the forward ones do, one for one.

    Turning about the vehicle's centre keeps its offset and moves the first axle by the vehicle's
    length; the stations agree if that is a whole number of steps. On a curve it is R/(R - y0)
    times as long and differs with the offset, so there only single axles repeat.
    """
    length = max(axle.at for axle in vehicle.axles)
    whole = abs(length - traffic.step * round(length / traffic.step)) <= SAME
    return is_symmetric(vehicle) and (length == 0.0 or (chart.straight and whole))


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
    chart: Chart,
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
    s = stations[:, None] + ahead * at / (1.0 - y0 / chart.radius)
    y = y0 - ahead * across
    y_near, y_far = y - 0.5 * b, y + 0.5 * b
    near = 0.5 * a / (1.0 - y_near / chart.radius)
    far = 0.5 * a / (1.0 - y_far / chart.radius)
    corners = np.empty((len(stations), len(pattern), 4, 2))
    corners[..., 0] = np.stack([s - near, s + near, s + far, s - far], axis=-1)
    corners[..., 1] = np.stack([y_near, y_near, y_far, y_far], axis=-1)
    return corners.reshape(-1, 4, 2)


def _touching(start: Floats, outline: Floats, step: float) -> Floats:
    """Integer multiples (n,) of the step by which any patch may move along x and lie on the slab.

    start : (k, 4, 2) patch corners with the first axle at station 0; outline : (n, 2), convex.

    At each y common to patch and outline the moves form an open interval; patch and outline are
    convex, so a patch's moves are one interval, and its ends are found at a corner of either.
    """
    y_near, y_far = start[:, 0, 1], start[:, 3, 1]
    low = np.maximum(y_near, outline[:, 1].min())
    high = np.minimum(y_far, outline[:, 1].max())
    beside = high - low > SAME
    start, y_near, y_far = start[beside], y_near[beside], y_far[beside]
    if len(start) == 0:
        return np.empty(0)
    low, high = low[beside], high[beside]
    levels = np.column_stack([low, high, np.clip(outline[:, 1], low[:, None], high[:, None])])

    share = (levels - y_near[:, None]) / (y_far - y_near)[:, None]
    behind = start[:, 0, 0, None] + share * (start[:, 3, 0] - start[:, 0, 0])[:, None]
    front = start[:, 1, 0, None] + share * (start[:, 2, 0] - start[:, 1, 0])[:, None]
    slab_start, slab_end = _stations_at(outline, levels)

    first = np.floor(((slab_start - front).min(axis=1) + SAME) / step).astype(int) + 1
    last = np.ceil(((slab_end - behind).max(axis=1) - SAME) / step).astype(int) - 1
    base = first.min()
    change = np.zeros(max(last.max(), first.max()) - base + 2, dtype=int)
    np.add.at(change, first - base, 1)
    np.add.at(change, last + 1 - base, -1)
    return np.asarray(step * (base + np.flatnonzero(np.cumsum(change) > 0)), dtype=float)


def _stations_at(outline: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Stations at which the outline (n, 2) begins and ends at offsets y (...,) within it."""
    begin, end = np.full(y.shape, np.inf), np.full(y.shape, -np.inf)
    for (x1, y1), (x2, y2) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if y1 == y2:
            continue
        x = x1 + (x2 - x1) * (y - y1) / (y2 - y1)
        on_edge = (y >= min(y1, y2)) & (y <= max(y1, y2))
        begin = np.where(on_edge, np.minimum(begin, x), begin)
        end = np.where(on_edge, np.maximum(end, x), end)
    return begin, end

"""A vehicle that may stand anywhere: its wheels at any place, and results under it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipelines.accuracy.wheel_influence import WheelField, entering, wheel_field
from pipelines.deck.deck import Deck
from pipelines.deck.traffic import Direction
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import Vehicle
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import (
    LoadPositions,
    Size,
    dispersed,
    is_symmetric,
    lateral_offsets,
    station_range,
    wheel_pattern,
)
from plate.arrays import Floats, Ints

# Places of one scan at most: several times those of the lattice that it interpolates on.
MOST_PLACES = 600_000


@dataclass(frozen=True, eq=False, kw_only=True)
class FreeVehicle:
    """A vehicle in one direction with its wheels and the range of its places.

    patches : dispersed sides of each axle's wheels [m]; pattern : rows of `wheel_pattern`.
    bounds : (3, 2) lowest and highest station, offset and widening of the variable spacing [m];
    offsets : those allowed if only some are.
    """

    vehicle: Vehicle
    direction: Direction
    patches: tuple[Size, ...]
    pattern: Floats
    bounds: Floats
    offsets: Floats | None
    deck: Deck

    @property
    def smallest(self) -> float:
        """Smallest side of its patches [m]."""
        return float(self.pattern[:, 3:5].min())

    @property
    def repeats(self) -> bool:
        """Whether its places load the deck as those forwards do: turned by 180 degrees it is the
        same, and the deck is straight."""
        straight, fixed = self.deck.plan.alignment.straight, self.vehicle.variable is None
        return self.direction == "reverse" and straight and fixed and is_symmetric(self.vehicle)

    def step(self, steps: float) -> float:
        """Step of a scan of all its places that takes so many in the smallest side of its patches
        [m], or fewer where there would be more places than can be looked at."""
        step = self.smallest / steps
        places = float(np.prod(np.ptp(self.bounds[:2], axis=1) / step + 1.0))
        return step * max(1.0, float(np.sqrt(places / MOST_PLACES)))

    @property
    def room(self) -> Floats:
        """The bounds (3, 2) of a continuous search."""
        room = self.bounds.copy()
        if self.offsets is not None:
            room[1] = 0.0
        return room

    @property
    def entering(self) -> Floats:
        """Stations (n,) at which a wheel comes onto the slab or leaves it, by small steps [m]."""
        middle = np.array([[0.0], [self.bounds[1].mean()], [0.0]])
        ends = self.deck.slab_limits[:, 0]
        return np.concatenate(
            [
                end + entering(0.5 * float(along)) - float(at)
                for at, along in zip(self.places(middle)[0][:, 0], self.pattern[:, 3], strict=True)
                for end in ends
            ]
        )

    def places(self, x: Floats) -> tuple[Floats, Floats]:
        """Stations and offsets (n_wheel, n) of the wheels at x (3, n)."""
        ahead = 1.0 if self.direction == "reverse" else -1.0
        at, across, *_, moved = self.pattern.T[..., None]
        s = self.deck.course.along(x[0], x[1], ahead * (at + x[2] * moved))
        return s, x[1] - ahead * across

    def positions(self, x: Floats) -> LoadPositions:
        """The load positions x (3, n)."""
        spreads = x[2] if self.vehicle.variable else None
        return LoadPositions(
            vehicle=self.vehicle,
            direction=self.direction,
            stations=x[0],
            offsets=x[1],
            patches=self.patches,
            course=self.deck.course,
            spreads=spreads,
        )

    def position(self, x: Floats) -> LoadPosition:
        """The load position x (3,)."""
        # To the micrometre: finer digits are noise of the search.
        station, offset, spread = (round(float(v), 6) + 0.0 for v in x)
        return LoadPosition(
            vehicle=self.vehicle.name,
            direction=self.direction,
            station=station,
            offset=offset,
            spread=spread,
        )


def free_vehicles(deck: Deck, vehicles: Sequence[Vehicle]) -> Iterator[FreeVehicle]:
    """Every vehicle in every direction in which the deck's traffic runs."""
    traffic = deck.required_traffic
    directions: tuple[Direction, ...] = ("forward", "reverse")
    for vehicle in vehicles:
        patches = tuple(dispersed(a.patch, traffic, deck.slab.thickness) for a in vehicle.axles)
        pattern = wheel_pattern(vehicle, patches)
        widest = 0.0 if vehicle.variable is None else vehicle.variable[1]
        for direction in directions if traffic.directions == "both" else directions[:1]:
            offsets = np.sort(lateral_offsets(vehicle, traffic, direction))
            low, high = station_range(deck, pattern, direction, offsets, widest)
            bounds = np.array([[low, high], [offsets[0], offsets[-1]], [0.0, widest]])
            only = None if traffic.offsets is None else offsets
            yield FreeVehicle(
                vehicle=vehicle,
                direction=direction,
                patches=patches,
                pattern=pattern,
                bounds=bounds,
                offsets=only,
                deck=deck,
            )


def wheel_fields(
    deck: Deck, found: Surfaces, fleet: Sequence[FreeVehicle]
) -> dict[Size, WheelField]:
    """Results under one wheel of each size of patch that the vehicles have."""
    patches = {patch for free in fleet for patch in free.patches}
    ends = [*deck.required_traffic.carriageway]
    for free in fleet:
        ends += [float(y) for y in free.places(free.bounds)[1].ravel()]
    reach = min(ends), max(ends)
    return {patch: wheel_field(found, patch, deck.course, reach) for patch in sorted(patches)}


def exact_values(
    free: FreeVehicle, found: Surfaces, rows: Ints, signs: Floats, x: Floats
) -> Floats:
    """Signed values (n,) of results at x (3, n), exact on the mesh."""
    if not len(rows):
        return np.zeros(0)
    return signs * found.under(rows, free.positions(x).wheels(slice(None)))


def interpolated_values(
    free: FreeVehicle, fields: Mapping[Size, WheelField], rows: Ints, signs: Floats, x: Floats
) -> Floats:
    """Signed values (n,) of results at x (3, n) from the interpolated surfaces."""
    total = np.zeros(x.shape[1])
    for wheel, s, y in zip(free.pattern, *free.places(x), strict=True):
        total += wheel[2] * fields[wheel[3], wheel[4]].at(rows, s, y)
    return signs * free.vehicle.impact * total


def over_lattice(
    free: FreeVehicle,
    fields: Mapping[Size, WheelField],
    rows: Ints,
    x: Floats,
) -> Floats:
    """Values (n, n_row) of results at x (3, n)."""
    operators: dict[Size, sparse.csr_array] = {}
    for wheel, s, y in zip(free.pattern, *free.places(x), strict=True):
        patch = (float(wheel[3]), float(wheel[4]))
        part = float(wheel[2]) * fields[patch].operator(s, y)
        operators[patch] = operators[patch] + part if patch in operators else part
    total = np.zeros((x.shape[1], len(rows)))
    for patch, operator in operators.items():
        surface = fields[patch].values
        total += operator @ surface.reshape(len(surface), -1)[rows].T
    return free.vehicle.impact * total


def lattice(low: float, high: float, step: float) -> Floats:
    """Equal places (n,) from low to high, at most a step apart."""
    return np.linspace(low, high, int(np.ceil((high - low) / step - 1e-9)) + 1)

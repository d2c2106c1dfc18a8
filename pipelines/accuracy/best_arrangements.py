"""The best arrangements of a load model so far, and what could still be better."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.accuracy.adverse_parts import AdverseParts
from pipelines.accuracy.driven_vehicle import DrivenVehicle
from pipelines.accuracy.free_vehicle import exact_values, free_vehicles
from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.lane_stretches import KnownEnds, Stretches, highest
from pipelines.accuracy.lane_sums import BoundedLane, highest_through
from pipelines.accuracy.pieces import Pieces, offset_pieces
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import LaneKind, LoadModel
from pipelines.traffic.arrangements import Arrangement, LoadedLane, LoadPosition
from pipelines.traffic.lanes import TIE, arrangement_orders, best_sum
from pipelines.traffic.trains import lane_range
from plate.arrays import Floats, Ints

# How far beyond the value found a value may lie, as a share of it, or of this share of the size
# that is given where that is more.
GOAL = 1e-4
SMALL = 1e-3


@dataclass(frozen=True, eq=False)
class LaneOfKind:
    """A kind of lane on the deck: its vehicles, and the pieces of its offsets."""

    kind: LaneKind
    fleet: tuple[DrivenVehicle, ...]
    y: Pieces

    @classmethod
    def of(cls, deck: Deck, grid: GridSurfaces, kind: LaneKind, model: LoadModel) -> "LaneOfKind":
        """A kind of lane of a load model."""
        fleet = [free for free in free_vehicles(deck, kind.vehicles) if not free.repeats]
        bounds = np.array([free.bounds[1] for free in fleet])
        if not model.one_lane and deck.required_traffic.offsets is None:
            bounds[:] = lane_range(deck, kind, model.name)
        y = offset_pieces(grid.y, fleet, bounds)
        spaced = any(one.variable is not None for of in model.kinds for one in of.vehicles)
        driven = [
            DrivenVehicle.of(grid, free, y, own, kind.factor, spaced=spaced)
            for free, own in zip(fleet, bounds, strict=True)
        ]
        return cls(kind, tuple(driven), y)

    def vehicle_at(self, position: LoadPosition) -> tuple[int, float]:
        """The number of the vehicle that stands there, and its station [m]: one that turned is the
        same may be there the other way round."""
        names: list[tuple[str, str]] = [
            (one.free.vehicle.name, one.free.direction) for one in self.fleet
        ]
        if (position.vehicle, position.direction) in names:
            return names.index((position.vehicle, position.direction)), position.station
        number = names.index((position.vehicle, "forward"))
        return number, position.station + float(self.fleet[number].free.pattern[:, 0].max())


class BestArrangements:
    """The best values so far of some results under a load model: of rows[e] times signs[e].

    Values here are those with the upper bounds of the distributed loads' integrals.
    best : (n_entry,); order : (n_entry,) number of the best order of lanes, -1 = the empty deck;
    vehicle, s, spread, y : (n_lane, n_entry) of its lanes, -1 = no vehicle.
    """

    def __init__(
        self,
        deck: Deck,
        grid: GridSurfaces,
        model: LoadModel,
        rows: Ints,
        signs: Floats,
        sizes: Floats,
    ) -> None:
        self.model, self.rows, self.signs, self.sizes = model, rows, signs, sizes.copy()
        self.lanes = [LaneOfKind.of(deck, grid, kind, model) for kind in model.kinds]
        self.orders = [
            (model.sets[of], kinds, [model.kinds[k].room for k in kinds])
            for of, kinds in arrangement_orders(model)
        ]
        low, high = deck.slab_limits[:, 1]
        self.carriageway = deck.required_traffic.carriageway
        self.sides = (
            float(np.clip(self.carriageway[0], low, high)),
            float(np.clip(self.carriageway[1], low, high)),
        )
        self.adverse = AdverseParts.of(grid, rows, signs) if model.has_pressure else None
        n, most = len(rows), max(len(kinds) for _, kinds, _ in self.orders)
        self.least_base, self.base = np.zeros(n), np.zeros(n)
        if self.adverse is not None and model.pressure:
            sides = (np.full(n, side) for side in self.sides)
            between = self.adverse.between(np.arange(n), *sides)
            self.least_base, self.base = (model.pressure * one for one in between)
        self.best, self.order = self.base.copy(), np.full(n, -1)
        self.vehicle = np.full((most, n), -1)
        self.s, self.spread, self.y = (np.zeros((most, n)) for _ in range(3))

    @property
    def tolerance(self) -> Floats:
        """By how much (n_entry,) a bound may lie above the best."""
        return GOAL * np.maximum(self.best, SMALL * self.sizes)

    @property
    def enough(self) -> Floats:
        """The bound (n_entry,) below which nothing needs to be looked at."""
        return self.best + self.tolerance

    @property
    def rounding(self) -> Floats:
        """What rounding may take from a bound (n_entry,)."""
        most = len(self.vehicle) * max(of.factor for of, *_ in self.orders)
        vehicles = np.max(
            [vehicle.rounding for lane in self.lanes for vehicle in lane.fleet], axis=0
        )
        pressures = 0.0 * self.best
        if self.adverse is not None:
            size = np.abs(self.adverse.above).max(axis=(1, 2))
            heaviest = max(abs(lane.kind.pressure) for lane in self.lanes)
            pressures = 1e-12 * size * (abs(self.model.pressure) + most * heaviest)
        return np.asarray(most * vehicles[self.rows] + pressures)

    def pressure(self, kind: int, entries: Ints, low: Floats, high: Floats) -> Floats:
        """Upper bounds (n,) of what the distributed load of a lane of a kind makes anywhere
        between offsets low and high (n,)."""
        return self._pressure(kind, entries, low, high)[1]

    def _pressure(
        self, kind: int, entries: Ints, low: Floats, high: Floats
    ) -> tuple[Floats, Floats]:
        lane = self.lanes[kind].kind
        if self.adverse is None or not lane.pressure:
            return np.zeros(len(entries)), np.zeros(len(entries))
        left, right = self.carriageway
        width = min(lane.width, right - left)
        first, last = (np.clip(y - 0.5 * width, left, right - width) for y in (low, high))
        # What some strip covers, and what all do.
        some, every = (first, last + width), (last, np.maximum(first + width, last))
        most = self.adverse.between(entries, *(np.clip(y, *self.sides) for y in some))[1]
        least = self.adverse.between(entries, *(np.clip(y, *self.sides) for y in every))[0]
        both = lane.pressure * least, lane.pressure * most
        return both if lane.pressure > 0.0 else both[::-1]

    def nodes(
        self, kind: int, entry: Ints, low: Floats, high: Floats, floor: Floats | None = None
    ) -> Stretches:
        """Stretches of lanes of a kind."""
        return Stretches(
            entry=entry,
            kind=np.full(len(entry), kind),
            low=low,
            high=high,
            pressure=self.pressure(kind, entry, low, high),
            floor=np.zeros(len(entry)) if floor is None else floor,
        )

    def required(self, nodes: Stretches, vehicles: Floats) -> Floats:
        """What a vehicle must make (n,) in each stretch to be part of a sum above what is enough.

        vehicles : (n,) upper bounds of what one makes there. The nodes are sorted by entry, kind
        and offset.
        """
        bound = nodes.pressure + vehicles
        needed = np.full(len(bound), np.inf)
        wanted = self.enough - self.base
        for of, kinds, _ in self.orders:
            if len(kinds) == 1:
                mine = nodes.kind == kinds[0]
                lack = wanted[nodes.entry[mine]] / of.factor
                needed[mine] = np.minimum(needed[mine], lack)
        for e, number, parts in self._orders_of(nodes):
            of, _, rooms = self.orders[number]
            lanes = [BoundedLane(nodes.low[p], nodes.high[p], bound[p]) for p in parts]
            for part, total in zip(parts, highest_through(lanes, rooms), strict=True):
                lack = wanted[e] / of.factor - (total - bound[part])
                needed[part] = np.minimum(needed[part], lack)
        return needed - nodes.pressure

    def take(self, nodes: Stretches, ends: KnownEnds) -> None:
        """Take in the best arrangements with lanes at the ends of stretches."""
        at, values = np.stack([nodes.low, nodes.high], axis=1).ravel(), ends.values.flatten()
        entry, kinds_of = np.repeat(nodes.entry, 2), np.repeat(nodes.kind, 2)
        for kind in range(len(self.lanes)):
            mine = np.flatnonzero(kinds_of == kind)
            values[mine] += self.pressure(kind, entry[mine], at[mine], at[mine])
        for number, (of, kinds, _) in enumerate(self.orders):
            if len(kinds) == 1:
                mine = np.flatnonzero(kinds_of == kinds[0])
                owner, best = highest(entry[mine], values[mine], mine)
                value = of.factor * values[mine[best]] + self.base[owner]
                better = value > self.best[owner] * (1.0 + TIE)
                chosen = mine[best[better]][None]
                self._set(owner[better], number, value[better], chosen, at, ends)
        for e, number, parts in self._orders_of(nodes):
            of, _, rooms = self.orders[number]
            both = [slice(2 * p.start, 2 * p.stop) for p in parts]
            total, picked = best_sum(
                [values[p][:, None] for p in both], [at[p] for p in both], rooms
            )
            value = of.factor * total + self.base[e]
            if value[0] > self.best[e] * (1.0 + TIE):
                chosen = np.array([p.start for p in both])[:, None] + picked
                self._set(np.array([e]), number, value, chosen, at, ends)

    def _set(
        self, e: Ints, number: int, values: Floats, chosen: Ints, at: Floats, ends: KnownEnds
    ) -> None:
        """Take values of an order as the best of results e (n,), its lanes at ends (n_lane, n) of
        all, which stand at offsets `at`."""
        self.best[e], self.order[e] = values, number
        lanes = np.arange(len(chosen))[:, None], e
        self.y[lanes] = at[chosen]
        self.vehicle[lanes] = ends.vehicle.ravel()[chosen]
        self.s[lanes] = ends.s.ravel()[chosen]
        self.spread[lanes] = ends.spread.ravel()[chosen]

    def _orders_of(self, nodes: Stretches) -> Iterator[tuple[int, int, list[slice]]]:
        """Every order of several lanes of every entry that has stretches for all of them: entry,
        number of the order, each lane's stretches. The nodes are sorted by entry, kind and
        offset."""
        several = [(n, kinds) for n, (_, kinds, _) in enumerate(self.orders) if len(kinds) > 1]
        if not several:
            return
        m = len(self.lanes)
        key = nodes.entry * m + nodes.kind
        ends = np.searchsorted(key, np.arange(len(self.rows) * m + 1)).tolist()
        for e in np.unique(nodes.entry).tolist():
            own = [slice(ends[e * m + k], ends[e * m + k + 1]) for k in range(m)]
            for number, kinds in several:
                if all(own[k].start < own[k].stop for k in kinds):
                    yield e, number, [own[k] for k in kinds]

    def start(self, found: Surfaces, rows: Ints, starts: Sequence[Arrangement | None]) -> None:
        """Begin with arrangements of the lanes; rows : (n_entry,) of the results among `found`."""
        names = [
            (of.factor, [self.model.kinds[k].name for k in kinds]) for of, kinds, _ in self.orders
        ]
        for e, at in enumerate(starts):
            if at is None:
                continue
            self.order[e] = names.index((at.factor, [lane.kind for lane in at.lanes]))
            kinds = self.orders[self.order[e]][1]
            for place, (k, lane) in enumerate(zip(kinds, at.lanes, strict=True)):
                self.y[place, e] = lane.offset
                if lane.position is not None:
                    number, station = self.lanes[k].vehicle_at(lane.position)
                    self.vehicle[place, e], self.s[place, e] = number, station
                    self.spread[place, e] = lane.position.spread
        self.best = np.maximum(self.values(found, rows)[1], self.base)

    def values(self, found: Surfaces, rows: Ints) -> tuple[Floats, Floats]:
        """Lower and upper bounds (n_entry,) of the values under the arrangements: wheels exactly,
        distributed loads within their bounds."""
        low, high = self.least_base.copy(), self.base.copy()
        for number, (of, kinds, _) in enumerate(self.orders):
            mine = np.flatnonzero(self.order == number)
            for place, k in enumerate(kinds):
                lane, vehicle = self.lanes[k], self.vehicle[place, mine]
                x = self.places[:, place, mine]
                under = np.zeros(len(mine))
                for index, driven in enumerate(lane.fleet):
                    which = np.flatnonzero(vehicle == index)
                    e = mine[which]
                    under[which] = lane.kind.factor * exact_values(
                        driven.free, found, rows[e], self.signs[e], x[:, which]
                    )
                least, most = self._pressure(k, mine, x[1], x[1])
                low[mine] += of.factor * (under + least)
                high[mine] += of.factor * (under + most)
        return low, high

    @property
    def places(self) -> Floats:
        """Stations, offsets and widenings (3, n_lane, n_entry) to the micrometre [m]: finer digits
        are noise."""
        return np.asarray(np.stack([self.s, self.y, self.spread]).round(6) + 0.0)

    def arrangements(self) -> list[Arrangement | None]:
        """The best arrangements, None = the empty deck."""
        places = self.places
        found: list[Arrangement | None] = []
        for e, number in enumerate(self.order.tolist()):
            if number < 0:
                found.append(None)
                continue
            of, kinds, _ = self.orders[number]
            lanes = []
            for place, k in enumerate(kinds):
                lane, index = self.lanes[k], int(self.vehicle[place, e])
                x = places[:, place, e]
                at = lane.fleet[index].free.position(x) if index >= 0 else None
                lanes.append(LoadedLane(lane.kind.name, lane.kind.factor, at, float(x[1])))
            found.append(
                Arrangement(
                    model=self.model.name,
                    whole=self.model.whole,
                    lanes=tuple(lanes),
                    factor=of.factor,
                )
            )
        return found

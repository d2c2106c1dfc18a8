"""The true worst arrangement of a load model for single results.

As `envelopes.traffic` does on its lattice, but for one result at a time and on a fine lattice of
its influence surface; the lanes' load positions are then refined continuously, one after the other,
each within the room that its neighbours leave: on the interpolated surface, and by the last step on
the exact one, whose values are told.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from pipelines.accuracy.free_vehicle import (
    FreeVehicle,
    exact_values,
    free_vehicles,
    interpolated_values,
    lattice,
    over_lattice,
    wheel_fields,
)
from pipelines.accuracy.pattern_search import pattern_search
from pipelines.accuracy.worst_place import WorstArrangement
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import LaneKind, LoadModel
from pipelines.traffic.arrangements import Arrangement, LoadedLane
from pipelines.traffic.lanes import arrangement_orders, best_sum, lane_offsets, strip_shares
from pipelines.traffic.pressure_cells import pressure_cells
from pipelines.traffic.trains import lane_range
from plate.arrays import Floats, Ints

# Steps of the scan in the smallest side of a patch, and as shares of it the first and the last step
# of the search on the interpolated surfaces and on the exact ones.
SCAN = 4.0
STEPS = (1.0 / 8.0, 1.0 / 50.0), (1.0 / 24.0, 1.0 / 50.0)
# Lanes are refined in turn so many times on either.
TURNS = 2, 1
# Largest side of the cells of distributed loads [m].
CELL = 0.25
# What the search may still miss, as a share of the value or, where that is larger, of the result's
# largest value of either sign under one vehicle; measured against finer lattices.
MISSED = 3e-3


@dataclass(frozen=True, eq=False, kw_only=True)
class _Kind:
    """A lane kind: its vehicles, and where each is worst at every offset.

    offsets : (n,); values (n, n_entry) with factor and pressure; free (n, n_entry) and place
    (3, n, n_entry) of its worst vehicle; bounds : of the offset [m].
    """

    kind: LaneKind
    fleet: list[FreeVehicle]
    offsets: Floats
    values: Floats
    free: Ints
    place: Floats
    bounds: tuple[float, float]


def worst_arrangements(
    deck: Deck,
    found: Surfaces,
    wanted: Sequence[tuple[int, int]],
    model: LoadModel,
    starts: Sequence[Arrangement | None] | None = None,
) -> list[WorstArrangement]:
    """Worst arrangements of a load model for results.

    Parameters
    ----------
    found : influence surfaces of results.
    wanted : (row of the surfaces, +1 for its maximum or -1 for its minimum).
    starts : of each an arrangement to refine in any case.
    """
    search = _Search(deck, found, model, wanted)
    worst = search.refined(*search.on_lattice())
    if starts is None:
        return worst
    others = search.refined(*search.started(starts))
    return [
        b if sign * b.value > sign * a.value else a
        for a, b, (_, sign) in zip(worst, others, wanted, strict=True)
    ]


class _Search:
    """One load model and some results: entry e is result rows[e] with signs[e]."""

    def __init__(
        self, deck: Deck, found: Surfaces, model: LoadModel, wanted: Sequence[tuple[int, int]]
    ) -> None:
        self.deck, self.found, self.model = deck, found, model
        self.carriageway = deck.required_traffic.carriageway
        self.rows = np.array([row for row, _ in wanted], dtype=np.int64)
        self.signs = np.array([sign for _, sign in wanted], dtype=float)
        self.edges, self.adverse = self._adverse()
        # Largest value of either sign under one vehicle.
        self.scale = np.zeros(len(self.rows))
        fleets = [list(free_vehicles(deck, kind.vehicles)) for kind in model.kinds]
        self.fields = wheel_fields(deck, found, list(chain.from_iterable(fleets)))
        self.kinds = [self._kind(*one) for one in zip(model.kinds, fleets, strict=True)]

    def _adverse(self) -> tuple[Floats, Floats]:
        """Edges of strips, and results (n_strip, n_entry) under 1 N/m2 on their adverse cells."""
        edges, strips = pressure_cells(self.deck, CELL)
        if not self.model.has_pressure:
            return edges, np.zeros((len(strips), len(self.rows)))
        sums = []
        for strip in strips:
            wheels = strip.wheels(slice(None))
            cells = self.found.means(wheels.corners) * wheels.load
            sums.append(np.maximum(self.signs[:, None] * cells[self.rows], 0.0).sum(axis=1))
        return edges, np.array(sums)

    def _pressure(self, kind: LaneKind, entries: Ints, offsets: Floats) -> Floats:
        """Results (n,) of a lane's own pressure about offsets (n,)."""
        if not kind.pressure:
            return np.zeros(len(entries))
        shares = strip_shares(self.edges, offsets, kind.width, self.carriageway)
        return np.asarray(kind.pressure * np.einsum("nc,cn->n", shares, self.adverse[:, entries]))

    def _kind(self, kind: LaneKind, fleet: list[FreeVehicle]) -> _Kind:
        deck = self.deck
        step = min(free.step(SCAN) for free in fleet)
        if deck.required_traffic.offsets is not None:
            offsets = np.array(sorted(deck.required_traffic.offsets))
            bounds = (0.0, 0.0)
        else:
            bounds = lane_range(deck, kind, self.model.name)
            offsets = lane_offsets(*bounds, step, 2.0 * kind.room)
        n, m = len(offsets), len(self.rows)
        values, vehicle_of = np.zeros((n, m)), np.full((n, m), -1)
        place = np.zeros((3, n, m))
        for number, free in enumerate(fleet):
            s = lattice(float(free.bounds[0, 0]), float(free.bounds[0, 1]), step)
            for spread in lattice(0.0, float(free.bounds[2, 1]), 2.0 * step):
                grid = np.meshgrid(s, offsets, [spread], indexing="ij")
                x = np.array([g.ravel() for g in grid])
                total = kind.factor * over_lattice(free, self.fields, self.rows, x) * self.signs
                self.scale = np.maximum(self.scale, np.abs(total).max(axis=0))
                total = total.reshape(len(s), n, m)
                best, at = total.max(axis=0), total.argmax(axis=0)
                better = best > values
                values[better], vehicle_of[better] = best[better], number
                here = np.array(
                    [s[at], np.broadcast_to(offsets[:, None], at.shape), spread + 0 * s[at]]
                )
                place[:, better] = here[:, better]
        if kind.pressure:
            shares = strip_shares(self.edges, offsets, kind.width, self.carriageway)
            values = values + kind.pressure * (shares @ self.adverse)
        return _Kind(
            kind=kind,
            fleet=fleet,
            offsets=offsets,
            values=values,
            free=vehicle_of,
            place=place,
            bounds=bounds,
        )

    def on_lattice(self) -> tuple[Ints, Ints, Floats]:
        """The best order of each entry (m,), its lanes' fleet (n_lane, m) and places
        (3, n_lane, m); order -1 where nothing is above zero."""
        m = len(self.rows)
        most = max(len(one.kinds) for one in self.model.sets)
        best, order = np.zeros(m), np.full(m, -1)
        fleet, places = np.full((most, m), -1), np.zeros((3, most, m))
        base = self.model.pressure * self.adverse.sum(axis=0)
        for number, (lane_set, lanes) in enumerate(arrangement_orders(self.model)):
            kinds = [self.kinds[k] for k in lanes]
            total, chosen = best_sum(
                [kind.values for kind in kinds],
                [kind.offsets for kind in kinds],
                [kind.kind.room for kind in kinds],
            )
            total = self.model.sets[lane_set].factor * total + base
            for e in np.flatnonzero(total > best):
                best[e], order[e] = total[e], number
                fleet[:, e] = -1
                for lane, kind in enumerate(kinds):
                    j = chosen[lane, e]
                    fleet[lane, e] = kind.free[j, e]
                    places[:, lane, e] = kind.place[:, j, e]
                    places[1, lane, e] = kind.offsets[j]
        return order, fleet, places

    def started(self, starts: Sequence[Arrangement | None]) -> tuple[Ints, Ints, Floats]:
        """The arrangements given, as `on_lattice` gives its own."""
        numbered = arrangement_orders(self.model)
        most = max(len(one.kinds) for one in self.model.sets)
        m = len(starts)
        order, fleet, places = (
            np.full(m, -1),
            np.full((most, m), -1),
            np.zeros((3, most, m)),
        )
        for e, start in enumerate(starts):
            if start is None:
                continue
            names = [lane.kind for lane in start.lanes]
            order[e] = next(
                number
                for number, (lane_set, lanes) in enumerate(numbered)
                if [self.model.kinds[k].name for k in lanes] == names
                and self.model.sets[lane_set].factor == start.factor
            )
            for lane, k in enumerate(numbered[order[e]][1]):
                at = start.lanes[lane].position
                if at is None:
                    order[e] = -1  # an empty lane's strip has no offset to start from
                    break
                which = [(d.vehicle.name, d.direction) for d in self.kinds[k].fleet]
                fleet[lane, e] = which.index((at.vehicle, at.direction))
                places[:, lane, e] = at.station, at.offset, at.spread
        return order, fleet, places

    def refined(self, order: Ints, fleet: Ints, places: Floats) -> list[WorstArrangement]:
        """The arrangements refined, with their exact values."""
        numbered = arrangement_orders(self.model)
        lane_values = np.zeros(fleet.shape)
        for exact in np.repeat([False, True], TURNS).tolist():
            for lane in range(len(fleet)):
                for number, (_, lanes) in enumerate(numbered):
                    if lane >= len(lanes):
                        continue
                    entries = np.flatnonzero(order == number)
                    self._refine_lane(lanes, lane, entries, fleet, places, lane_values, exact)
            for number, (_, lanes) in enumerate(numbered):
                entries = np.flatnonzero(order == number)
                self._shift_lanes(lanes, entries, fleet, places, lane_values, exact)
        base = self.model.pressure * self.adverse.sum(axis=0)
        found = []
        for e, number in enumerate(order.tolist()):
            if number < 0:
                missed = MISSED * float(self.scale[e])
                found.append(WorstArrangement(0.0, None, missed, proven=False))
                continue
            lane_set, lanes = numbered[number]
            factor = self.model.sets[lane_set].factor
            value = float(factor * lane_values[: len(lanes), e].sum() + base[e])
            at = []
            for lane, k in enumerate(lanes):
                one, free = self.kinds[k], int(fleet[lane, e])
                position = None
                if free >= 0:
                    position = one.fleet[free].position(places[:, lane, e])
                offset = round(float(places[1, lane, e]), 6) + 0.0
                at.append(LoadedLane(one.kind.name, one.kind.factor, position, offset))
            position_ = Arrangement(
                model=self.model.name, whole=self.model.whole, lanes=tuple(at), factor=factor
            )
            sign = float(self.signs[e])
            missed = MISSED * max(value, float(self.scale[e]))
            found.append(WorstArrangement(sign * value, position_, missed, proven=False))
        return found

    def _lane_value(self, kind: int, entries: Ints, fleet: Ints, x: Floats, exact: bool) -> Floats:
        """Values (n,) of a lane of that kind with vehicles `fleet` (n,) at x (3, n), on exact or on
        interpolated surfaces."""
        one = self.kinds[kind]
        total = self._pressure(one.kind, entries, x[1])
        for number in np.unique(fleet[fleet >= 0]).tolist():
            mine = np.flatnonzero(fleet == number)
            e, free = entries[mine], one.fleet[number]
            of = self.rows[e], self.signs[e], x[:, mine]
            under = (
                exact_values(free, self.found, *of)
                if exact
                else interpolated_values(free, self.fields, *of)
            )
            total[mine] += one.kind.factor * under
        return total

    def _shift_lanes(
        self,
        lanes: tuple[int, ...],
        entries: Ints,
        fleet: Ints,
        places: Floats,
        lane_values: Floats,
        exact: bool,
    ) -> None:
        """Move all lanes of arrangements of one order across together."""
        bounds = np.array([self.kinds[k].bounds for k in lanes])
        if len(lanes) < 2 or not len(entries) or np.any(bounds[:, 0] >= bounds[:, 1]):
            return
        y = places[1, : len(lanes)][:, entries]
        low = (bounds[:, :1] - y).max(axis=0)
        high = (bounds[:, 1:] - y).min(axis=0)

        def value(which: Ints, shift: Floats) -> Floats:
            e = entries[which]
            total = np.zeros(len(e))
            for lane, k in enumerate(lanes):
                x = places[:, lane, e].copy()
                x[1] += shift[0]
                total += self._lane_value(k, e, fleet[lane, e], x, exact)
            return total

        start = np.zeros((1, len(entries)))
        smallest = min(d.smallest for k in lanes for d in self.kinds[k].fleet)
        first, last = (share * smallest for share in STEPS[exact])
        here = value(np.arange(len(entries)), start)
        room = np.array([[np.minimum(low, 0.0), np.maximum(high, 0.0)]])
        shift, _ = pattern_search(value, start, here, room, first, last)
        for lane, k in enumerate(lanes):
            places[1, lane, entries] += shift[0]
            x = places[:, lane, entries]
            of = entries, fleet[lane, entries], x
            lane_values[lane, entries] = self._lane_value(k, *of, exact)

    def _refine_lane(
        self,
        lanes: tuple[int, ...],
        lane: int,
        entries: Ints,
        fleet: Ints,
        places: Floats,
        lane_values: Floats,
        exact: bool,
    ) -> None:
        """Move one lane of arrangements of one order to its best place between its neighbours."""
        one = self.kinds[lanes[lane]]
        for number in np.unique(fleet[lane, entries]).tolist():
            mine = entries[fleet[lane, entries] == number]
            of = np.full(len(mine), number)
            x = places[:, lane, mine]
            start = self._lane_value(lanes[lane], mine, of, x, exact)
            if number < 0:  # no vehicle in this lane
                lane_values[lane, mine] = start
                continue
            free = one.fleet[number]
            bounds = np.repeat(free.bounds[:, :, None], len(mine), axis=2)
            low, high = np.full((2, len(mine)), np.array(one.bounds)[:, None])
            if one.bounds[0] < one.bounds[1]:
                if lane > 0:
                    room = one.kind.room + self.kinds[lanes[lane - 1]].kind.room
                    low = np.maximum(low, places[1, lane - 1, mine] + room)
                if lane + 1 < len(lanes):
                    room = one.kind.room + self.kinds[lanes[lane + 1]].kind.room
                    high = np.minimum(high, places[1, lane + 1, mine] - room)
            bounds[1] = np.array([low, np.maximum(low, high)])

            def value(
                which: Ints, trial: Floats, mine: Ints = mine, number: int = number
            ) -> Floats:
                of = np.full(len(which), number)
                return self._lane_value(lanes[lane], mine[which], of, trial, exact)

            first, last = (share * free.smallest for share in STEPS[exact])
            x, best = pattern_search(value, x, start, bounds, first, last)
            places[:, lane, mine], lane_values[lane, mine] = x, best

"""The envelope of one case of traffic: a load model, or the vehicles that drive alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.envelopes.extremes import Extremes, FieldEnvelope
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.arrangements import Arrangement, LoadedLane, LoadPosition
from pipelines.traffic.lanes import arrangement_orders, strip_shares
from pipelines.traffic.positions import LoadPositions, WheelPatches, find_position, together
from plate.arrays import Floats, Ints


@dataclass(frozen=True, eq=False, kw_only=True)
class TrafficEnvelope:
    """Envelopes of one case of traffic over all its arrangements.

    model : the case, a vehicle alone being a load model of one lane. runs : the load positions of
    every vehicle, numbered through in this order.
    arrangements : (n, 1 + 2 m) with m the most lanes; a governing number is a row of it: the number
    of the order among `arrangement_orders`, each lane's load position from left to right, then the
    number of each lane's offset among its kind's `offsets`. Of vehicles alone row k is load
    position k.
    fields : of all together, at no point where probes alone were asked for; of_vehicles : of each
    vehicle that drives alone, by its name.
    probes (6 n_probe,), beam_moments and beam_shears (n_sample,), reactions (n_name,).
    joint : (n_point,) and probe_joint (6 n_probe,), factors near joints, in all values but beams',
    reactions and those watched. more : other fields that were watched, by the name of their set and
    the share of the distributed loads in them; watched : (n_value,) the values.
    left_out : share of the fields' values at all load positions of vehicles that were not formed,
    since bounds of theirs lie within extremes that others reach.
    """

    model: LoadModel
    runs: tuple[LoadPositions, ...]
    offsets: tuple[Floats, ...]
    arrangements: Ints
    fields: FieldEnvelope
    of_vehicles: Mapping[str, FieldEnvelope]
    probes: Extremes
    beam_moments: Extremes
    beam_shears: Extremes
    reaction_names: tuple[str, ...]
    reactions: Extremes
    joint: Floats
    probe_joint: Floats
    more: Mapping[tuple[str, float], FieldEnvelope]
    watched: Extremes
    left_out: float

    @property
    def name(self) -> str:
        return self.model.name

    @property
    def whole(self) -> bool:
        """Whether it is all of a standard's load model."""
        return self.model.whole

    @property
    def n_points(self) -> int:
        """Number of field points."""
        return len(self.joint)

    @property
    def n_positions(self) -> int:
        """Number of load positions: those of the lattice and those that joined them."""
        return sum(len(run) for run in self.runs)

    def position(self, number: int) -> Arrangement | None:
        """The arrangement of that number; None for the empty deck."""
        if number < 0:
            return None
        lane_set, lanes = self._lanes(number)
        found = []
        for k, n, offset in lanes:
            kind, at = self.model.kinds[k], self._vehicle_at(n)
            middle = offset if at is None else at.offset
            found.append(LoadedLane(kind.name, kind.factor, at, middle))
        return Arrangement(
            model=self.model.name,
            whole=self.whole,
            lanes=tuple(found),
            factor=self.model.sets[lane_set].factor,
        )

    def with_arrangements(
        self, more: Sequence[Arrangement]
    ) -> tuple["TrafficEnvelope", NDArray[np.int64]]:
        """The same with more arrangements of its lanes behind its own, and their numbers (n,)."""
        vehicles: dict[tuple[str, str], list[LoadPosition]] = {}
        for at in (lane.position for one in more for lane in one.lanes):
            if at is not None:
                vehicles.setdefault((at.vehicle, at.direction), []).append(at)
        runs, count = list(self.runs), self.n_positions
        numbers: dict[LoadPosition, int] = {}
        for positions in vehicles.values():
            different = list(dict.fromkeys(positions))
            numbers |= {at: count + k for k, at in enumerate(different)}
            count += len(different)
            runs.append(self._run_of(different))
        names = [
            (self.model.sets[lane_set].factor, [self.model.kinds[k].name for k in kinds])
            for lane_set, kinds in arrangement_orders(self.model)
        ]
        offsets = [list(one) for one in self.offsets]
        most = (self.arrangements.shape[1] - 1) // 2
        rows = np.zeros((len(more), self.arrangements.shape[1]), dtype=np.int64)
        rows[:, 1 : 1 + most] = -1
        for row, one in zip(rows, more, strict=True):
            row[0] = names.index((one.factor, [lane.kind for lane in one.lanes]))
            _, kinds = arrangement_orders(self.model)[row[0]]
            for lane, (k, loaded) in enumerate(zip(kinds, one.lanes, strict=True)):
                if loaded.position is not None:
                    row[1 + lane] = numbers[loaded.position]
                row[1 + most + lane] = len(offsets[k])
                offsets[k].append(loaded.offset)
        # By load position, so that of vehicles alone row k is load position k.
        order = np.argsort(rows[:, 1], kind="stable")
        found = replace(
            self,
            runs=tuple(runs),
            offsets=tuple(np.array(one) for one in offsets),
            arrangements=np.concatenate([self.arrangements, rows[order]]),
        )
        return found, len(self.arrangements) + np.argsort(order)

    def _run_of(self, positions: Sequence[LoadPosition]) -> LoadPositions:
        """Load positions of one vehicle in one direction."""
        first = positions[0]
        like = next(run for run in self.runs if run.vehicle.name == first.vehicle)
        return replace(
            like,
            direction="reverse" if first.direction == "reverse" else "forward",
            stations=np.array([at.station for at in positions]),
            offsets=np.array([at.offset for at in positions]),
            spreads=None if like.spreads is None else np.array([at.spread for at in positions]),
        )

    def wheels(self, number: int) -> WheelPatches:
        """The wheels of the arrangement of that number, with all factors, as one load; none for the
        empty deck."""
        return self.wheels_of([number])[0]

    def wheels_of(self, numbers: Sequence[int], *, contacts: bool = False) -> list[WheelPatches]:
        """The wheels of the arrangements of those numbers, each with all factors as one load.

        contacts : their contacts in place of what they spread to.
        """
        vehicles = [self.vehicles(number) for number in numbers]
        indices: dict[int, set[int]] = {}
        for run, index, _ in chain.from_iterable(vehicles):
            indices.setdefault(id(run), set()).add(index)
        wheels: dict[tuple[int, int], WheelPatches] = {}
        for run in self.runs:
            chosen = sorted(indices.get(id(run), ()))
            if chosen:
                every = (run.contacts if contacts else run).wheels(np.array(chosen))
                for index, one in zip(chosen, every.each(len(chosen)), strict=True):
                    wheels[id(run), index] = one
        return [
            together([(wheels[id(run), index], factor) for run, index, factor in one])
            for one in vehicles
        ]

    def vehicles(self, number: int) -> list[tuple[LoadPositions, int, float]]:
        """The vehicles of the arrangement of that number from left to right: a run of load
        positions, the vehicle's among them, and the factors on it."""
        if number < 0:
            return []
        lane_set, lanes = self._lanes(number)
        return [
            (
                *find_position(self.runs, n),
                self.model.sets[lane_set].factor * self.model.kinds[k].factor,
            )
            for k, n, _ in lanes
            if n >= 0
        ]

    def pressures(self, deck: Deck, number: int, edges: Floats) -> Floats:
        """Distributed loads (n,) [N/m2] of the arrangement of that number on the strips of the
        carriageway between `edges` (n + 1,), where they are adverse."""
        found = np.zeros(len(edges) - 1)
        if number < 0 or not self.model.has_pressure:
            return found
        lane_set, lanes = self._lanes(number)
        found += self.model.pressure
        for k, _, offset in lanes:
            kind = self.model.kinds[k]
            shares = strip_shares(
                edges, np.array([offset]), kind.width, deck.required_traffic.carriageway
            )
            found += self.model.sets[lane_set].factor * kind.pressure * shares[0]
        return found

    def _lanes(self, number: int) -> tuple[int, list[tuple[int, int, float]]]:
        """Number of the lane set, and of each lane its kind, load position and offset [m]."""
        order, *rest = self.arrangements[number].tolist()
        numbers, places = rest[: len(rest) // 2], rest[len(rest) // 2 :]
        lane_set, kinds = arrangement_orders(self.model)[order]
        return lane_set, [
            (k, n, float(self.offsets[k][j]))
            for k, n, j in zip(kinds, numbers, places, strict=False)
        ]

    def _vehicle_at(self, number: int) -> LoadPosition | None:
        if number < 0:
            return None
        run, k = find_position(self.runs, number)
        return LoadPosition(
            vehicle=run.vehicle.name,
            direction=run.direction,
            station=float(run.stations[k]),
            offset=float(run.offsets[k]),
            spread=0.0 if run.spreads is None else float(run.spreads[k]),
        )

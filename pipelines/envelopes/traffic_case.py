"""One case of traffic on one deck: its loads, what is kept of them, and the envelope of all
arrangements of its lanes that is put together of it."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import (
    HOST,
    SIGNS,
    Extremes,
    Fetch,
    FieldEnvelope,
    Tops,
    with_sums,
)
from pipelines.envelopes.lane_extremes import (
    RESULTS_OF,
    BlockResult,
    Fields,
    Selector,
    StripSums,
    TrainExtremes,
    Watched,
    adverse_others,
    adverse_sums,
    other_values,
)
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.loads import LaneKind, LoadModel, Vehicle
from pipelines.traffic.joints import model_joint_factors
from pipelines.traffic.lanes import SAME, TIE, arrangement_orders, best_sum, strip_shares
from pipelines.traffic.positions import Loads
from pipelines.traffic.pressure_cells import CellsAbreast, pressure_cells
from pipelines.traffic.trains import model_trains
from plate.arrays import Floats, Ints, different_rows
from plate.solver.nested_dissection import Loads as RightHandSides
from plate.solver.solution import WholeSolution

RESULTS_SET = "results"
Observer = Callable[[int, Response], None]
Strip = tuple[float, float]
"""Lowest and highest offset [m]."""


class TrafficCase:
    """One case of traffic on one deck: its loads, what is kept of them, and its envelope.

    fields : whether all that is read is enveloped, or probes alone; results : whether the results
    are, or what is watched alone. apart : whether offsets are told apart where nothing stands
    beside, too. closed : strip of the carriageway that no vehicle's room reaches into [m], None =
    nowhere. like : arrays of its kind are kept, and taken in.
    """

    def __init__(
        self,
        solved: SolvedDeck,
        model: LoadModel,
        watched: Watched | None,
        *,
        fields: bool = True,
        results: bool = True,
        apart: bool = False,
        like: Floats = HOST,
    ) -> None:
        deck = solved.deck
        self.closed: Strip | None = None
        self.deck, self.solved, self.model, self.watched = deck, solved, model, watched
        self.sets: dict[str, Fields] = {RESULTS_SET: RESULTS_OF} if fields and results else {}
        if watched is not None:
            self.sets |= watched.fields
        self.trains = {
            vehicles: train if apart or not model.factors_alone(vehicles) else train.as_one
            for vehicles, train in model_trains(deck, model).items()
        }
        self.edges, strips = pressure_cells(deck)
        cells = [CellsAbreast(strips)] if model.has_pressure else []
        self.runs = [run for train in self.trains.values() for run in train.runs]
        self.loads: list[Loads] = [*self.runs, *cells]
        self.starts = np.cumsum([0, *(len(load) for load in self.loads)]).tolist()
        # Which train each run belongs to.
        self.owner = [vehicles for vehicles, train in self.trains.items() for _ in train.runs]
        lanes = {vehicles: len(train.offsets) for vehicles, train in self.trains.items()}
        self.abreast = [lanes[vehicles] for vehicles in self.owner]
        self.abreast += [len(strips) for _ in cells]
        nothing = np.zeros((solved.model.n_plate_dof, 1))
        empty = solved.respond(nothing) if fields else self.probes_under(nothing)
        self.names = tuple(with_sums(empty.reactions))
        self.n_watched = 0 if watched is None else sum(map(len, watched.values(empty)))
        n_other = sum(map(len, other_values(empty, watched)))
        self.points = solved.recovery.points.plan[: None if fields else 0]
        n_point = len(self.points)
        self.kept: dict[tuple[Vehicle, ...], TrainExtremes] = {}
        rivals: dict[frozenset[float], TrainExtremes] = {}
        for vehicles, n in lanes.items():
            # Of vehicles one of which stands alone the worst is asked for, whichever it is.
            factors = model.factors_alone(vehicles) if model.whole and not apart else frozenset()
            one = TrainExtremes(self.sets, n_point, n_other, n, rivals.get(factors), like)
            self.kept[vehicles] = one
            if len(factors) == 1:
                rivals.setdefault(factors, one)
        self.sums = StripSums(self.sets, n_point, n_other, len(strips), like) if cells else None
        self.table = Arrangements(None if model.whole else self._alone())

    def probes_under(self, F: RightHandSides) -> Response:
        """The probes under right-hand sides (n_plate_dof, n) [N], by their influence."""
        values, none = (
            (F.T @ self.solved.probe_influence[: F.shape[0]]).T,
            np.zeros((0, F.shape[1])),
        )
        return Response(
            solution=WholeSolution(none),
            recovery=self.solved.recovery,
            probes=np.asarray(values),
            membrane=none,
            beam_moments=none,
            beam_shears=none,
            reactions={},
            total=np.zeros(F.shape[1]),
        )

    def reader(
        self, observers: Sequence[Observer]
    ) -> Callable[[int, Response], tuple[BlockResult, Response | None]]:
        """`read`, with the response for observers and its fields, which are kept as they are read:
        formed once, and where it does not hold up the other threads."""

        def read(first: int, response: Response) -> tuple[BlockResult, Response | None]:
            if not observers:
                return self.read(first, response), None
            response = replace(response, keeps=True)
            return self.read(first, response), response

        return read

    def _alone(self) -> Ints:
        """Rows of `TrafficEnvelope.arrangements` of vehicles alone: their load positions."""
        orders = [kinds for _, kinds in arrangement_orders(self.model)]
        of_kind = {self.model.kinds[k].vehicles: orders.index((k,)) for (k,) in orders}
        order = [of_kind[vehicles] for vehicles in self.owner]
        lengths = [len(run) for run in self.runs]
        numbers = np.arange(sum(lengths))
        rows = [np.repeat(order, lengths), numbers, np.zeros(len(numbers), dtype=np.int64)]
        return np.column_stack(rows).astype(np.int64)

    def read(self, first: int, response: Response) -> BlockResult:
        """What loads first, first + 1, ... add; any thread may ask."""
        index = bisect_right(self.starts, first) - 1
        n_loads, others = response.probes.shape[1], other_values(response, self.watched)
        if index < len(self.owner):
            train = self._train(first)
            return BlockResult(
                n_loads=n_loads,
                others=train.others.seen(others, first),
                peaks=train.seen(response, first),
            )
        strips = self.abreast[index]
        return BlockResult(
            n_loads=n_loads,
            other_sums=adverse_others(others, strips),
            sums=adverse_sums(self.sets, response, strips),
        )

    def reached(self, first: int, response: Response) -> list[tuple[str, Tops]]:
        """What some vehicles of the run of load position `first` reach of the fields; any thread
        may ask."""
        return self._train(first).reached(response)

    def know(self, first: int, reached: Sequence[tuple[str, Tops]]) -> None:
        """What some positions of a run reach, before any is taken in."""
        self._train(first).know(reached)

    def _train(self, first: int) -> TrainExtremes:
        return self.kept[self.owner[bisect_right(self.starts, first) - 1]]

    def take(self, first: int, part: BlockResult) -> None:
        """Take in what loads first, first + 1, ... add."""
        index = bisect_right(self.starts, first) - 1
        if index < len(self.owner):
            self.kept[self.owner[index]].take(part)
        elif self.sums is not None:
            self.sums.take(part)

    def fetched(self, fetch: Fetch) -> None:
        """Go on with what `fetch` makes of what was kept."""
        if self.sums is not None:
            self.sums.fetched(fetch)
        for kept in self.kept.values():
            kept.fetched(fetch)

    def envelope(self) -> TrafficEnvelope:
        """The envelope of all arrangements."""
        joint = model_joint_factors(self.deck, self.model, self.points)
        probe_joint = np.repeat(self._joint_of_probes(), 6)
        has_fields = RESULTS_SET in self.sets
        fields = self._fields(RESULTS_SET, 1.0, joint) if has_fields else FieldEnvelope.nowhere()
        names = [name for name in self.sets if name != RESULTS_SET]
        shares = () if self.watched is None else self.watched.shares
        more = {(n, share): self._fields(n, share, joint) for n in names for share in shares}
        others = {sign: self._worst(sign, Selector()) for sign in SIGNS}
        high, low = others[1], others[-1]
        numbers = self.table.numbers(high), self.table.numbers(low)
        every = Extremes(high.value, low.value, *numbers)
        beams = self.solved.beams
        counts = [len(probe_joint), beams.moments.shape[0], beams.shears.shape[0], self.n_watched]
        ends = np.cumsum(counts).tolist()
        probes, moments, shears, watched, reactions = (
            every.part(a, b) for a, b in zip([0, *ends], [*ends, len(high.value)], strict=True)
        )
        of_vehicles = {
            kind.name: self.kept[kind.vehicles].fields[RESULTS_SET].envelope()
            for kind in self.model.kinds
            if has_fields and not self.model.whole
        }
        return TrafficEnvelope(
            model=self.model,
            runs=tuple(self.runs),
            offsets=tuple(self.trains[kind.vehicles].offsets for kind in self.model.kinds),
            arrangements=self.table.rows(),
            fields=fields,
            of_vehicles=of_vehicles,
            probes=replace(
                probes,
                maximum=probes.maximum * probe_joint,
                minimum=probes.minimum * probe_joint,
            ),
            beam_moments=moments,
            beam_shears=shears,
            reaction_names=self.names,
            reactions=reactions,
            joint=joint,
            probe_joint=probe_joint,
            more=more,
            watched=watched,
            left_out=self._left_out(),
        )

    def _left_out(self) -> float:
        trackers = [one for kept in self.kept.values() for one in kept.fields.values()]
        left_out = sum(one.left_out for one in trackers)
        return left_out / max(1, left_out + sum(one.formed for one in trackers))

    def _fields(self, name: str, share: float, joint: Floats) -> FieldEnvelope:
        """Envelope of a set of fields with that share of the distributed loads."""
        one, n_point = self.sets[name], len(joint)
        values = {sign: np.zeros((one.n_field, n_point)) for sign in SIGNS}
        at = {sign: np.full((one.n_field, n_point), -1, dtype=np.int64) for sign in SIGNS}
        shape = (one.n_field, one.n_beside, n_point)
        beside = {sign: np.zeros(shape) for sign in SIGNS}
        for sign in SIGNS:
            for k in range(one.n_field):
                pick = Selector(name, k)
                best = self._worst(sign, pick, share)
                values[sign][k] = best.value * joint
                at[sign][k] = self.table.numbers(best)
                beside[sign][k] = self._coexisting(sign, pick, best, share) * joint
        return FieldEnvelope(Extremes(values[1], values[-1], at[1], at[-1]), beside[1], beside[-1])

    def _joint_of_probes(self) -> Floats:
        places = {
            probe.name: [p for p in (probe.at, probe.start, probe.end) if p is not None]
            for probe in self.deck.probes
        }
        found = []
        for name in self.solved.probes.names:
            plain = name if name in places else name.rsplit("/", 1)[0]
            found.append(
                float(model_joint_factors(self.deck, self.model, np.array(places[plain])).max())
            )
        return np.array(found)

    def _kind_values(self, sign: int, kind: LaneKind, pick: Selector, share: float) -> Floats:
        """sign x values (n_offset, n) of a lane of that kind at each of its offsets."""
        total = np.asarray(sign * kind.factor * pick(self.kept[kind.vehicles], sign).T)
        if kind.pressure:
            total += share * kind.pressure * (self._shares(kind) @ self._strip_sums(sign, pick))
        if self.closed is not None:
            offsets = self.trains[kind.vehicles].offsets
            low, high = self.closed
            near = (offsets + kind.room > low + SAME) & (offsets - kind.room < high - SAME)
            total[near] = -np.inf
        return total

    def _strip_sums(self, sign: int, pick: Selector) -> Floats:
        """sign x sums (n_strip, n)."""
        assert self.sums is not None
        return np.asarray(sign * pick(self.sums, sign).T)

    def _shares(self, kind: LaneKind) -> Floats:
        offsets = self.trains[kind.vehicles].offsets
        return strip_shares(self.edges, offsets, kind.width, self.deck.required_traffic.carriageway)

    def _worst(self, sign: int, pick: Selector, share: float = 1.0) -> "_Best":
        """The worst arrangement for every value that `pick` reads."""
        kinds = self.model.kinds
        of_kind = [self._kind_values(sign, kind, pick, share) for kind in kinds]
        n = of_kind[0].shape[1]
        most = max(len(one.kinds) for one in self.model.sets)
        base = np.zeros(n)
        if self.model.pressure:
            base = share * self.model.pressure * self._strip_sums(sign, pick).sum(axis=0)
        best = np.zeros(n)
        order = np.full(n, -1)
        places = np.zeros((most, n), dtype=np.int64)
        for number, (lane_set, lanes) in enumerate(arrangement_orders(self.model)):
            total, chosen = best_sum(
                [of_kind[k] for k in lanes],
                [self.trains[kinds[k].vehicles].offsets for k in lanes],
                [kinds[k].room for k in lanes],
            )
            total = self.model.sets[lane_set].factor * total + base
            better = total > best + TIE * np.abs(best)
            best[better] = total[better]
            order[better] = number
            places[: len(lanes), better] = chosen[:, better]
        return self._located(sign, pick, best, order, places)

    def _located(
        self, sign: int, pick: Selector, best: Floats, order: Ints, places: Ints
    ) -> "_Best":
        """The load positions of the lanes at the places chosen."""
        numbers = np.full(places.shape, -1, dtype=np.int64)
        for number, (_, lanes) in enumerate(arrangement_orders(self.model)):
            mine = np.flatnonzero(order == number)
            for lane, k in enumerate(lanes):
                at = pick.at(self.kept[self.model.kinds[k].vehicles], sign)
                numbers[lane, mine] = at[mine, places[lane, mine]]
        return _Best(sign * best, order, places, numbers)

    def _coexisting(self, sign: int, pick: Selector, best: "_Best", share: float) -> Floats:
        """What is kept beside a field (n_beside, n_point) in the worst arrangement for it."""
        total = np.zeros((self.sets[pick.name].n_beside, len(best.order)))
        loaded = best.order >= 0
        strips = None if self.sums is None else pick.beside(self.sums, sign)
        if self.model.pressure and strips is not None:
            total += share * self.model.pressure * strips.sum(axis=-1) * loaded
        for number, (lane_set, lanes) in enumerate(arrangement_orders(self.model)):
            mine = np.flatnonzero(best.order == number)
            factor = self.model.sets[lane_set].factor
            for lane, k in enumerate(lanes):
                kind, j = self.model.kinds[k], best.places[lane, mine]
                kept = pick.beside(self.kept[kind.vehicles], sign)
                total[:, mine] += factor * kind.factor * kept[:, mine, j]
                if kind.pressure and strips is not None:
                    covered = share * factor * kind.pressure * self._shares(kind)[j]
                    total[:, mine] += np.einsum("bns,ns->bn", strips[:, mine], covered)
        return total


@dataclass(frozen=True, eq=False)
class _Best:
    """value : (n,) worst values; order : (n,) of the arrangement, -1 = empty deck; places, numbers
    : (n_lane, n) of its lanes among their offsets and among the load positions."""

    value: Floats
    order: Ints
    places: Ints
    numbers: Ints


class Arrangements:
    """Rows of `TrafficEnvelope.arrangements`, each once, numbered as they come.

    alone : all rows of vehicles alone, whose numbers are those of their load positions.
    """

    def __init__(self, alone: Ints | None) -> None:
        self.alone = alone
        self.parts: list[Ints] = []
        self.count = 0

    def numbers(self, best: _Best) -> Ints:
        """Numbers (n,) of the arrangements, -1 for the empty deck."""
        loaded = best.order >= 0
        found = np.full(len(best.order), -1, dtype=np.int64)
        if self.alone is not None:
            found[loaded] = best.numbers[0, loaded]
            return found
        rows = np.column_stack([best.order, best.numbers.T, best.places.T])
        rows = rows[loaded]
        different, which = different_rows(rows)
        found[loaded] = self.count + which
        self.parts.append(rows[different])
        self.count += len(different)
        return found

    def rows(self) -> Ints:
        return np.concatenate(self.parts) if self.alone is None else self.alone

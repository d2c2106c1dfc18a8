"""Envelopes of whole load models: several lanes at once, with their distributed loads.

Lanes act independently of each other: each takes its own worst station, and a distributed load
acts on the cells whose response has the sign sought. So every train is run once along every
offset, every cell is loaded once, and the worst arrangement of lanes is put together for each
result at each place from these (`lanes`). What coexists is the sum of what coexists in each part.
"""

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.deck import Deck, LaneKind, LoadModel
from pipelines.envelopes import (
    Extremes,
    FieldEnvelope,
    FieldTracker,
    Peaks,
    Tracker,
    with_sums,
)
from pipelines.lanecells import PressureCells, pressure_cells
from pipelines.lanes import arrangement_orders, best_sum, strip_shares
from pipelines.loadmodels import joint_factor
from pipelines.modelpositions import ModelEnvelope
from pipelines.modeltrains import has_pressure, model_trains
from pipelines.responses import Response, Solver, stream
from pipelines.traffic import Loads

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SIGNS = (1, -1)


def model_envelopes(
    deck: Deck,
    solver: Solver,
    *,
    workers: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> tuple[ModelEnvelope, ...]:
    """Envelopes of every load model of the deck's traffic.

    progress : called with the number of loads done, over all models.
    """
    if deck.traffic is None:
        return ()
    found = []
    done = 0
    for model in deck.traffic.load_models:
        job = _Job(deck, solver, model)
        for first, response, part in stream(solver, job.loads, job.read, workers):
            job.take(first, response, part)
            if progress is not None:
                progress(done + first + len(response.total))
        done += sum(len(load) for load in job.loads)
        found.append(job.envelope())
    return tuple(found)


# Sign, field points (n,) and sums (6, 6, n) as in `_AdverseSums.coexisting`.
_Sums = tuple[int, Ints, Floats]


class _Values:
    """Running extremes of everything but fields, one after the other."""

    def __init__(self, n_point: int, n_other: int) -> None:
        self.fields = FieldTracker(n_point)
        self.others = Tracker((n_other,))

    def take(self, response: Response, first: int, peaks: list[Peaks]) -> None:
        self.fields.take(peaks)
        self.others.update(_others(response), first)


class _AdverseSums:
    """Sums over cells of the responses of one sign: fields with what coexists, and the others."""

    def __init__(self, n_point: int, n_other: int) -> None:
        self.fields: dict[int, Floats] = {sign: np.zeros((6, n_point)) for sign in SIGNS}
        self.coexisting = {sign: np.zeros((6, 6, n_point)) for sign in SIGNS}
        self.others: dict[int, Floats] = {sign: np.zeros(n_other) for sign in SIGNS}

    def take(self, response: Response, sums: list[_Sums]) -> None:
        others = _others(response)
        for sign in SIGNS:
            self.others[sign] += np.where(sign * others > 0.0, others, 0.0).sum(axis=-1)
        for sign, points, beside in sums:
            self.coexisting[sign][:, :, points] += beside
            self.fields[sign][:, points] += np.einsum("kkp->kp", beside)


def _adverse(response: Response) -> list[_Sums]:
    """Sums over a block of cells of the fields where one of them has a sign."""
    found = []
    for points, values in response.parts:
        for sign in SIGNS:
            adverse = (sign * values > 0.0).astype(float)
            # (component sought, point, cell) x (point, cell, what coexists)
            beside = np.matmul(adverse.swapaxes(0, 1), values.transpose(1, 2, 0))
            found.append((sign, points, beside.transpose(1, 2, 0)))
    return found


def _others(response: Response) -> Floats:
    """Probes, beam moments, beam shears and reactions (n_other, n)."""
    reactions = np.array([*with_sums(response.reactions).values()])
    return np.concatenate(
        [
            response.probes,
            response.beam_moments,
            response.beam_shears,
            reactions.reshape(-1, response.probes.shape[1]),
        ]
    )


@dataclass(frozen=True, eq=False)
class _Part:
    """What a block adds to the fields: the peaks of a train's positions, or the sums of cells."""

    peaks: list[Peaks]
    sums: list[_Sums]


class _Job:
    """One load model on one deck: its loads, what is kept of them, and its envelope."""

    def __init__(self, deck: Deck, solver: Solver, model: LoadModel) -> None:
        assert deck.traffic is not None
        self.deck, self.solver, self.model = deck, solver, model
        self.trains = model_trains(deck, model)
        self.edges, cells = pressure_cells(deck)
        self.cells: list[PressureCells] = cells if has_pressure(model) else []
        self.runs = [run for train in self.trains.values() for mine in train.runs for run in mine]
        self.loads: list[Loads] = [*self.runs, *self.cells]
        self.starts = np.cumsum([0, *(len(load) for load in self.loads)]).tolist()
        # Which offset of which train each run belongs to.
        self.owner = [
            (vehicles, j)
            for vehicles, train in self.trains.items()
            for j, mine in enumerate(train.runs)
            for _ in mine
        ]
        empty = solver.respond(np.zeros((solver.model.n_plate_dof, 1)))
        self.names = tuple(with_sums(empty.reactions))
        n_point, n_other = solver.recovery.points.n_points, len(_others(empty))
        self.kept = {key: _Values(n_point, n_other) for key in dict.fromkeys(self.owner)}
        self.sums = [_AdverseSums(n_point, n_other) for _ in self.cells]

    def read(self, first: int, response: Response) -> "_Part":
        """What loads first, first + 1, ... add to the fields; any thread may ask."""
        index = bisect_right(self.starts, first) - 1
        if index < len(self.owner):
            return _Part(self.kept[self.owner[index]].fields.seen(response, first), [])
        return _Part([], _adverse(response))

    def take(self, first: int, response: Response, part: "_Part") -> None:
        """Take in the response of loads first, first + 1, ..."""
        index = bisect_right(self.starts, first) - 1
        if index < len(self.owner):
            self.kept[self.owner[index]].take(response, first, part.peaks)
        else:
            self.sums[index - len(self.owner)].take(response, part.sums)

    def envelope(self) -> ModelEnvelope:
        """The envelope of all arrangements."""
        solver = self.solver
        n_point = solver.recovery.points.n_points
        joint = self._joint(solver.recovery.points.plan)
        probe_joint = np.repeat(self._joint_of_probes(), 6)
        table = _Arrangements()
        values = {sign: np.zeros((6, n_point)) for sign in SIGNS}
        at = {sign: np.full((6, n_point), -1, dtype=np.int64) for sign in SIGNS}
        beside = {sign: np.zeros((6, 6, n_point)) for sign in SIGNS}
        for sign in SIGNS:
            for k in range(6):
                best = self._worst(sign, _Pick(k))
                values[sign][k] = best.value * joint
                at[sign][k] = table.numbers(best)
                beside[sign][k] = self._coexisting(sign, k, best) * joint
        n_other = len(next(iter(self.kept.values())).others.best[1]) if self.kept else 0
        others = {sign: self._worst(sign, _Pick(None)) for sign in SIGNS}
        high, low = others[1], others[-1]
        every = Extremes(high.value, low.value, table.numbers(high), table.numbers(low))
        parts = np.cumsum(
            [
                len(probe_joint),
                solver.beams.moments.shape[0],
                solver.beams.shears.shape[0],
                n_other,
            ]
        )
        probes, moments, shears, reactions = (
            Extremes(
                every.maximum[a:b], every.minimum[a:b], every.at_maximum[a:b], every.at_minimum[a:b]
            )
            for a, b in zip([0, *parts[:3].tolist()], parts.tolist(), strict=True)
        )
        return ModelEnvelope(
            self.model,
            tuple(self.runs),
            tuple(self.trains[kind.vehicles].offsets for kind in self.model.kinds),
            table.rows(),
            FieldEnvelope(Extremes(values[1], values[-1], at[1], at[-1]), beside[1], beside[-1]),
            replace(
                probes,
                maximum=probes.maximum * probe_joint,
                minimum=probes.minimum * probe_joint,
            ),
            moments,
            shears,
            self.names,
            reactions,
            joint,
            probe_joint,
        )

    def _joint(self, plan: Floats) -> Floats:
        """Factors (n,) near joints at plan points (n, 2)."""
        traffic = self.deck.traffic
        assert traffic is not None
        if not self.model.near_joint or not traffic.joints:
            return np.ones(len(plan))
        distance = np.min([self._distance(edge, plan) for edge in traffic.joints], axis=0)
        return np.array([joint_factor(float(d)) for d in distance])

    def _distance(self, edge: str, plan: Floats) -> Floats:
        """Distances (n,) [m] along the deck from plan points (n, 2) to its start or end."""
        u = self.deck.plan.logical_station(plan)
        low, high = self.deck.plan.u_range
        return np.asarray(u - low if edge == "start" else high - u)

    def _joint_of_probes(self) -> Floats:
        places = {
            probe.name: [p for p in (probe.at, probe.start, probe.end) if p is not None]
            for probe in self.deck.probes
        }
        found = []
        for name in self.solver.probes.names:
            plain = name if name in places else name.rsplit("/", 1)[0]
            found.append(float(self._joint(np.array(places[plain])).max()))
        return np.array(found)

    def _kind_values(self, sign: int, kind: LaneKind, pick: "_Pick") -> Floats:
        """sign x values (n_offset, n) of a lane of that kind at each of its offsets."""
        train = self.trains[kind.vehicles]
        rows = [
            sign * kind.factor * pick(self.kept[kind.vehicles, j], sign)
            for j in range(len(train.offsets))
        ]
        total = np.array(rows)
        if kind.pressure:
            total += kind.pressure * (self._shares(kind) @ self._cell_sums(sign, pick))
        return total

    def _cell_sums(self, sign: int, pick: "_Pick") -> Floats:
        return np.array([sign * pick(sums, sign) for sums in self.sums])

    def _shares(self, kind: LaneKind) -> Floats:
        assert self.deck.traffic is not None
        offsets = self.trains[kind.vehicles].offsets
        return strip_shares(self.edges, offsets, kind.width, self.deck.traffic.carriageway)

    def _worst(self, sign: int, pick: "_Pick") -> "_Best":
        """The worst arrangement for every value that `pick` reads."""
        kinds = self.model.kinds
        of_kind = [self._kind_values(sign, kind, pick) for kind in kinds]
        n = of_kind[0].shape[1]
        most = max(len(one.kinds) for one in self.model.sets)
        base = np.zeros(n)
        if self.model.pressure:
            base = self.model.pressure * self._cell_sums(sign, pick).sum(axis=0)
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
            better = total > best + 1e-12 * np.abs(best)
            best[better] = total[better]
            order[better] = number
            places[: len(lanes), better] = chosen[:, better]
        return self._located(sign, pick, best, order, places)

    def _located(
        self, sign: int, pick: "_Pick", best: Floats, order: Ints, places: Ints
    ) -> "_Best":
        """The load positions of the lanes at the places chosen."""
        numbers = np.full(places.shape, -1, dtype=np.int64)
        for number, (_, lanes) in enumerate(arrangement_orders(self.model)):
            mine = np.flatnonzero(order == number)
            for lane, k in enumerate(lanes):
                kind = self.model.kinds[k]
                for j in np.unique(places[lane, mine]).tolist():
                    here = mine[places[lane, mine] == j]
                    numbers[lane, here] = pick.at(self.kept[kind.vehicles, j], sign)[here]
        return _Best(sign * best, order, places, numbers)

    def _coexisting(self, sign: int, component: int, best: "_Best") -> Floats:
        """All six fields (6, n_point) in the worst arrangement for one of them."""
        total = np.zeros((6, len(best.order)))
        loaded = best.order >= 0
        if self.model.pressure:
            for sums in self.sums:
                total += self.model.pressure * sums.coexisting[sign][component] * loaded
        for number, (lane_set, lanes) in enumerate(arrangement_orders(self.model)):
            mine = np.flatnonzero(best.order == number)
            factor = self.model.sets[lane_set].factor
            for lane, k in enumerate(lanes):
                kind = self.model.kinds[k]
                shares = self._shares(kind) if kind.pressure else None
                for j in np.unique(best.places[lane, mine]).tolist():
                    here = mine[best.places[lane, mine] == j]
                    kept = self.kept[kind.vehicles, j].fields.coexisting[sign][component]
                    total[:, here] += factor * kind.factor * kept[:, here]
                    if shares is None:
                        continue
                    for share, sums in zip(shares[j], self.sums, strict=True):
                        if share > 0.0:
                            part = sums.coexisting[sign][component][:, here]
                            total[:, here] += factor * kind.pressure * share * part
        return total


@dataclass(frozen=True, eq=False)
class _Best:
    """value : (n,) worst values; order : (n,) of the arrangement, -1 = empty deck; places, numbers
    : (n_lane, n) of its lanes among their offsets and among the load positions."""

    value: Floats
    order: Ints
    places: Ints
    numbers: Ints


class _Pick:
    """Reads one kind of values from what is kept of a train or of a strip of cells."""

    def __init__(self, component: int | None) -> None:
        self.component = component

    def __call__(self, kept: _Values | _AdverseSums, sign: int) -> Floats:
        if self.component is None:
            others = kept.others if isinstance(kept, _AdverseSums) else kept.others.best
            return others[sign]
        if isinstance(kept, _AdverseSums):
            return np.asarray(kept.fields[sign][self.component])
        return np.asarray(kept.fields.best[sign][self.component])

    def at(self, kept: _Values, sign: int) -> Ints:
        """Numbers of the governing load positions."""
        fields = kept.fields.at[sign]
        return (
            kept.others.at[sign] if self.component is None else np.asarray(fields[self.component])
        )


class _Arrangements:
    """Rows of `ModelEnvelope.arrangements`, each once, numbered as they come."""

    def __init__(self) -> None:
        self.parts: list[Ints] = []
        self.count = 0

    def numbers(self, best: _Best) -> Ints:
        """Numbers (n,) of the arrangements, -1 for the empty deck."""
        rows = np.column_stack([best.order, best.numbers.T, best.places.T])
        loaded = best.order >= 0
        found = np.full(len(rows), -1, dtype=np.int64)
        different, inverse = np.unique(rows[loaded], axis=0, return_inverse=True)
        found[loaded] = self.count + inverse.ravel()
        self.parts.append(different)
        self.count += len(different)
        return found

    def rows(self) -> Ints:
        return np.concatenate(self.parts)

"""The lanes of a load model on a hand strip.

Lanes are independent: each vehicle takes its own worst station. On a strip along traffic lanes
stand side by side, as near as they may; wheels or axles whose widths meet act on one strip, in runs
of neighbours, and the hardest-worked run governs, as for the wheels of one axle. On a strip
across traffic all lanes stand on it, at the offsets that are worst together. Distributed loads
act on the adverse parts of the strip alone, along traffic those of the heaviest lane of the run.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.traffic import Direction
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.standards.strip_widths.method import StripMethod
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.piecewise import Piecewise, highest
from pipelines.strips.trains import (
    DIRECTIONS,
    Formed,
    Train,
    WidthFunction,
    distinct,
    response,
)
from pipelines.traffic.lanes import arrangement_orders, best_sum, lane_offsets, strip_shares
from pipelines.traffic.trains import lane_range, spreads, widened
from plate.arrays import Floats, Ints

# The trains of a vehicle whose loads share the width of one and this distance [m]; None = alone.
Trains = Callable[[Vehicle, float | None], tuple[Train, ...]]

# Steps of lanes across a strip, and of pressure along it [m].
LATERAL = 0.05
PRESSED = 0.02


@dataclass(frozen=True, kw_only=True)
class LaneWorst:
    """The worst value (a magnitude) at one of the sections, whose number is `section`.

    station, direction : of the lane's vehicle that brings most; width, axles : as in
    `StripMoment`, of that lane along traffic, of all lanes across it. None where nothing acts.
    alike : of a vehicle along traffic that turned round is itself, how far its last load is behind
    the first [m].
    """

    value: float
    section: int = 0
    station: float | None = None
    direction: Direction | None = None
    width: float | None = None
    axles: int = 1
    alike: float | None = None


@dataclass(frozen=True)
class _Run:
    """Neighbours on one strip: distance of the outermost [m], None = one lane alone; load of each
    lane kind as a multiple of its vehicle's; the largest pressure [N/m2]; the set's factor."""

    extent: float | None
    weights: tuple[float, ...]
    pressure: float
    factor: float


@dataclass(frozen=True)
class _Tops:
    """Worst values (n_section,) of one vehicle of a kind, the candidate and the station of each."""

    values: Floats
    which: Ints
    stations: Floats
    candidates: Sequence[tuple[Train, Direction]]


@dataclass
class LaneStrips:
    """One load model on one strip of a deck."""

    deck: Deck
    strip: StripDeck
    model: LoadModel
    runs: dict[tuple[str, bool], list[_Run]] = field(default_factory=dict)

    @property
    def turns(self) -> bool:
        """Whether a place on the strip and its twin seen from the other end are worth the same."""
        return (
            self.strip.bars == "parallel" and self.strip.is_mirrored and len(self.directions) == 2
        )

    @property
    def directions(self) -> tuple[Direction, ...]:
        return DIRECTIONS if self.deck.required_traffic.directions == "both" else DIRECTIONS[:1]

    def worst(
        self, trains: Trains, method: StripMethod, lines: Piecewise, sign: float, edge: bool
    ) -> LaneWorst:
        """The worst of the effects `lines`, one for each section; sign as in `Sought`.

        edge : the strip runs along a free edge, so that the outermost wheel is on it.

        Raises MethodRangeError where the method is out of range.
        """
        lines = lines if sign > 0 else -lines
        if self.strip.bars == "across":
            return self._across(trains, lines)
        return self._along(trains, method, lines, edge)

    # ------------------------------------------------------------------------- along traffic

    def _along(
        self, trains: Trains, method: StripMethod, lines: Piecewise, edge: bool
    ) -> LaneWorst:
        area = self._adverse(lines)
        formed: Formed = {}
        tops: dict[tuple[int, float | None], _Tops] = {}
        best = LaneWorst(value=0.0)
        for run in self._runs(method, edge):
            kinds = [k for k, weight in enumerate(run.weights) if weight]
            for k in kinds:
                if (k, run.extent) not in tops:
                    tops[k, run.extent] = self._tops(trains, k, run.extent, lines, formed)
            parts = {k: run.weights[k] * tops[k, run.extent].values for k in kinds}
            wheels = np.sum(list(parts.values()), axis=0)
            total = wheels + run.pressure * area
            s = int(np.argmax(total))
            if total[s] <= best.value * (1.0 + 1e-12):
                continue
            best = LaneWorst(value=float(total[s]), section=s)
            most = max(kinds, key=lambda k: float(parts[k][s]))
            top = tops[most, run.extent]
            if top.which[s] >= 0:
                train, direction = top.candidates[int(top.which[s])]
                station = float(top.stations[s])
                bare = response(_row(lines, s), _bare(train), direction).at(station)[0, 0]
                width = run.factor * self.model.kinds[most].factor * float(bare / wheels[s])
                best = replace(
                    best, station=station, direction=direction, width=width, alike=_alike(train)
                )
        return best

    def _tops(
        self, trains: Trains, kind: int, extent: float | None, lines: Piecewise, formed: Formed
    ) -> _Tops:
        candidates: list[tuple[Train, Direction]] = []
        found = []
        for vehicle in self.model.kinds[kind].vehicles:
            for by in spreads(vehicle):
                for train in trains(widened(vehicle, by), extent):
                    for direction in distinct(train, self.directions):
                        candidates.append((train, direction))
                        found.append(highest(response(lines, train, direction, formed)))
        values = np.array([v for v, _ in found])
        which = np.argmax(values, axis=0)
        column = np.arange(len(which))
        top = values[which, column]
        stations = np.array([t for _, t in found])[which, column]
        return _Tops(top, np.where(top > 0.0, which, -1), stations, candidates)

    def _runs(self, method: StripMethod, edge: bool) -> list[_Run]:
        """Every run of neighbours of every arrangement, each once."""
        if (method.name, edge) not in self.runs:
            found: dict[_Run, None] = {}
            for lane_set, order in arrangement_orders(self.model):
                for run in self._runs_of(self.model.sets[lane_set].factor, order, method, edge):
                    found.setdefault(run)
            self.runs[method.name, edge] = list(found)
        return self.runs[method.name, edge]

    def _runs_of(
        self, factor: float, order: tuple[int, ...], method: StripMethod, edge: bool
    ) -> list[_Run]:
        kinds = [self.model.kinds[k] for k in order]
        centres = np.zeros(len(order))
        for i in range(1, len(order)):
            centres[i] = centres[i - 1] + kinds[i - 1].room + kinds[i].room
        if method.per == "wheel" and method.union:
            loads = [
                (i, centre + y, 1.0 / len(kind.vehicles[0].axles[0].wheels))
                for i, (centre, kind) in enumerate(zip(centres.tolist(), kinds, strict=True))
                for y in sorted(kind.vehicles[0].axles[0].wheels)
            ]
        elif method.per == "axle":
            loads = [(i, centre, 1.0) for i, centre in enumerate(centres.tolist())]
        else:
            loads = []
        found = [self._run(factor, order, None, [(i, 1.0)]) for i in range(len(order))]
        for first in range(1 if edge else len(loads)):
            for last in range(first, len(loads)):
                extent = round(loads[last][1] - loads[first][1], 9)
                on = [(i, share) for i, _, share in loads[first : last + 1]]
                found.append(self._run(factor, order, extent, on))
        return found

    def _run(
        self,
        factor: float,
        order: tuple[int, ...],
        extent: float | None,
        on: Sequence[tuple[int, float]],
    ) -> _Run:
        weights = [0.0] * len(self.model.kinds)
        for i, share in on:
            weights[order[i]] += factor * share * self.model.kinds[order[i]].factor
        pressure = max(self.model.kinds[order[i]].pressure for i, _ in on)
        rounded = tuple(round(w, 12) for w in weights)
        return _Run(extent, rounded, self.model.pressure + factor * pressure, factor)

    def _adverse(self, lines: Piecewise) -> Floats:
        """Integrals (n_section,) of the positive parts of the lines over the strip [m ...]."""
        beam = self.strip.beam
        x, step = _middles(beam.start, beam.end)
        return np.asarray(step * np.maximum(lines.at(x), 0.0).sum(axis=1))

    # ------------------------------------------------------------------------ across traffic

    def _across(self, trains: Trains, lines: Piecewise) -> LaneWorst:
        traffic, beam = self.deck.traffic, self.strip.beam
        assert traffic is not None
        low, high = (float(np.clip(y, beam.start, beam.end)) for y in traffic.carriageway)
        count = int(np.ceil((high - low) / LATERAL))
        edges = np.linspace(low, high, count + 1)
        middle = 0.5 * (edges[1:] + edges[:-1])
        adverse = np.maximum(lines.at(middle), 0.0).T * np.diff(edges)[:, None]
        offsets, values, which, candidates = [], [], [], []
        for kind in self.model.kinds:
            if traffic.offsets is not None:
                y = np.array(sorted(traffic.offsets))
            else:
                y = lane_offsets(
                    *lane_range(self.deck, kind, self.model.name), LATERAL, 2.0 * kind.room
                )
            mine = [
                (train, direction)
                for vehicle in kind.vehicles
                for train in trains(vehicle, None)
                for direction in distinct(train, self.directions)
            ]
            under = np.array([response(lines, t, d).at(y).T for t, d in mine])
            top = np.maximum(under.max(axis=0), 0.0)  # a lane may stay empty
            total = kind.factor * top
            if kind.pressure:
                shares = strip_shares(edges, y, kind.width, traffic.carriageway)
                total = total + kind.pressure * (shares @ adverse)
            offsets.append(y)
            values.append(total)
            which.append(np.where(top > 0.0, under.argmax(axis=0), -1))
            candidates.append(mine)
        base = self.model.pressure * adverse.sum(axis=0)
        best = LaneWorst(value=0.0)
        for lane_set, order in arrangement_orders(self.model):
            sums, places = best_sum(
                [values[k] for k in order],
                [offsets[k] for k in order],
                [self.model.kinds[k].room for k in order],
            )
            factor = self.model.sets[lane_set].factor
            total = factor * sums + base
            s = int(np.argmax(total))
            if total[s] <= best.value * (1.0 + 1e-12):
                continue
            best = LaneWorst(value=float(total[s]), section=s)
            most = divided = whole = 0.0
            for lane, k in enumerate(order):
                j = int(places[lane, s])
                if which[k][j, s] < 0:
                    continue
                train, direction = candidates[k][int(which[k][j, s])]
                y0, share = float(offsets[k][j]), factor * self.model.kinds[k].factor
                own = share * float(response(_row(lines, s), train, direction).at(y0)[0, 0])
                bare = response(_row(lines, s), _bare(train), direction)
                divided, whole = divided + own, whole + share * float(bare.at(y0)[0, 0])
                if own > most:
                    most = own
                    best = replace(best, station=y0, direction=direction, axles=train.axles)
            if divided:
                best = replace(best, width=whole / divided)
        return best


def _row(lines: Piecewise, s: int) -> Piecewise:
    return Piecewise(lines.knots[[s]], lines.coef[:, [s]])


def _bare(train: Train) -> Train:
    """The train on the beam itself."""
    return replace(train, loads=tuple(replace(load, width=1.0) for load in train.loads))


def _alike(train: Train) -> float | None:
    """How far the last load is behind the first [m] of a train that turned round is itself; None of
    any other. Laws of the width are those of like axles."""
    plain = tuple(
        replace(load, width=1.0) if isinstance(load.width, WidthFunction) else load
        for load in train.loads
    )
    if len(distinct(Train(plain), DIRECTIONS)) > 1:
        return None
    return max(load.at for load in plain)


def _middles(low: float, high: float) -> tuple[Floats, float]:
    """Middles (n,) of equal parts of a range and their length [m]."""
    edges = np.linspace(low, high, int(np.ceil((high - low) / PRESSED)) + 1)
    return 0.5 * (edges[1:] + edges[:-1]), float(edges[1] - edges[0])

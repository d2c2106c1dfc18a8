"""Envelopes: the largest and smallest value of every result over all load positions, with the
position that governs and what coexists with it.

The empty deck is a member: maxima are never below zero, minima never above; where zero governs
the position is -1. Of positions that tie within 1e-9 the first listed governs.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.model.responses import Response, Solver, stream
from pipelines.traffic.positions import LoadPositions, load_positions

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TIE = 1e-9
# Of maxima and of minima.
SIGNS = (1, -1)


@dataclass(frozen=True)
class LoadPosition:
    """One load position: station and offset of the first axle's centre [m].

    spread : how much wider than its axles say the vehicle's variable spacing is [m].
    """

    vehicle: str
    direction: str
    station: float
    offset: float
    spread: float = 0.0


@dataclass(frozen=True)
class Extremes:
    """Maximum and minimum of results with any shape, and the numbers of the governing positions."""

    maximum: Floats
    minimum: Floats
    at_maximum: Ints
    at_minimum: Ints

    def part(self, start: int, end: int | None) -> "Extremes":
        """Those from start to end on the first axis."""
        mine = slice(start, end)
        return Extremes(
            self.maximum[mine], self.minimum[mine], self.at_maximum[mine], self.at_minimum[mine]
        )


@dataclass(frozen=True)
class FieldEnvelope:
    """Envelopes of the fields.

    extremes : (6, n_point) of w, m_x, m_y, m_xy, q_x, q_y.
    with_maximum, with_minimum : (6, 6, n_point), what coexists: [k] holds all six results at the
        position that governs result k.
    """

    extremes: Extremes
    with_maximum: Floats
    with_minimum: Floats


@dataclass(frozen=True)
class Envelopes:
    """All envelopes of the moving loads.

    runs : the load positions, numbered through in this order.
    vehicles : envelopes of each vehicle alone; fields : of all together.
    probes (6 n_probe,), beam_moments and beam_shears (n_sample,), reactions (n_name,).
    """

    runs: tuple[LoadPositions, ...]
    vehicles: dict[str, FieldEnvelope]
    fields: FieldEnvelope
    probes: Extremes
    beam_moments: Extremes
    beam_shears: Extremes
    reaction_names: tuple[str, ...]
    reactions: Extremes

    @property
    def n_positions(self) -> int:
        return sum(len(run) for run in self.runs)

    def position(self, number: int) -> LoadPosition | None:
        """The load position of that number; None for the empty deck."""
        if number < 0:
            return None
        run, index = find_position(self.runs, number)
        return LoadPosition(
            run.vehicle.name,
            run.direction,
            float(run.stations[index]),
            float(run.offsets[index]),
        )


def find_position(runs: Sequence[LoadPositions], number: int) -> tuple[LoadPositions, int]:
    """The run of a position numbered through all runs, and its index there."""
    for run in runs:
        if number < len(run):
            return run, number
        number -= len(run)
    raise IndexError("no such load position")


class Tracker:
    """Running extremes of results of one shape."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.best = {sign: np.zeros(shape) for sign in SIGNS}
        self.at = {sign: np.full(shape, -1, dtype=np.int64) for sign in SIGNS}

    def update(self, values: Floats, first: int) -> None:
        """Take in values (..., n) of positions first, first + 1, ..."""
        for sign in SIGNS:
            best = self.best[sign]
            peak = values.max(axis=-1) if sign > 0 else values.min(axis=-1)
            index = np.nonzero(sign * (peak - best) > TIE * np.abs(best))
            rows, top = values[index], peak[index]
            near = sign * (rows - top[:, None]) >= -TIE * np.abs(top)[:, None]
            column = np.argmax(near, axis=-1)
            best[index] = rows[np.arange(len(rows)), column]
            self.at[sign][index] = first + column

    def extremes(self) -> Extremes:
        return Extremes(self.best[1], self.best[-1], self.at[1], self.at[-1])


@dataclass(frozen=True)
class Peaks:
    """Extremes over a block of positions at points where they may govern.

    side, component, point : (n,), side 0 for maxima and 1 for minima; top : (n,) the extreme;
    value, number : (n,) that of the first position that ties with it; coexisting : (n, n_beside)
    what is kept beside it of that position.
    """

    side: Ints
    component: Ints
    point: Ints
    top: Floats
    value: Floats
    number: Ints
    coexisting: Floats


class FieldTracker:
    """Running extremes of fields with what coexists, by the sign sought: 1 or -1.

    best, at : (n_field, n_point); coexisting : (n_field, n_beside, n_point). By default the six
    results and all of them beside each.
    """

    def __init__(self, n_point: int, n_field: int = 6, n_beside: int = 6) -> None:
        # maxima first, then minima
        self._best = np.zeros((2, n_field, n_point))
        self._at = np.full(self._best.shape, -1, dtype=np.int64)
        self._coexisting = np.zeros((2, n_field, n_beside, n_point))
        self.best, self.at, self.coexisting = (
            dict(zip(SIGNS, both, strict=True)) for both in (self._best, self._at, self._coexisting)
        )

    def seen(self, response: Response, first: int) -> list[Peaks]:
        """What positions first, first + 1, ... may add; any thread may ask.

        The extremes so far may lag behind: they only grow, so what they let pass is enough.
        """
        return [self.seen_at(points, v, v, first) for points, v in response.parts]

    def seen_at(self, points: Ints, values: Floats, others: Floats, first: int) -> Peaks:
        """`seen` of fields (n_field, k, n) at some field points, others (n_beside, k, n) beside."""
        peak = np.stack([values.max(axis=-1), values.min(axis=-1)])
        side, component, place = np.nonzero(_beyond(peak, self._best[:, :, points]))
        rows, top = values[component, place], peak[side, component, place]
        gap = np.abs(rows - top[:, None])
        column = np.argmax(gap <= TIE * np.abs(top)[:, None], axis=-1)
        value = rows[np.arange(len(rows)), column]
        beside = others[:, place, column].T
        return Peaks(side, component, points[place], top, value, first + column, beside)

    def take(self, seen: list[Peaks]) -> None:
        """Take in what a block adds; blocks come in order."""
        for p in seen:
            index = p.side, p.component, p.point
            old = self._best[index]
            better = np.array(SIGNS)[p.side] * (p.top - old) > TIE * np.abs(old)
            side, component, point = (i[better] for i in index)
            self._best[side, component, point] = p.value[better]
            self._at[side, component, point] = p.number[better]
            self._coexisting[side, component, :, point] = p.coexisting[better]

    def merge(self, later: "FieldTracker") -> None:
        """Take in the extremes of positions that come after all of this tracker's."""
        better = _beyond(later._best, self._best)
        side, component, point = np.nonzero(better)
        self._best[better], self._at[better] = later._best[better], later._at[better]
        beside = later._coexisting[side, component, :, point]
        self._coexisting[side, component, :, point] = beside

    def envelope(self) -> FieldEnvelope:
        return FieldEnvelope(Extremes(*self._best, *self._at), *self._coexisting)


def _beyond(peak: Floats, best: Floats) -> NDArray[np.bool_]:
    """Which maxima and minima (2, ...) lie beyond those so far."""
    gain = peak - best
    gain[1] *= -1.0
    return np.asarray(gain > TIE * np.abs(best))


def traffic_envelopes(
    deck: Deck,
    solver: Solver,
    *,
    workers: int | None = None,
    progress: Callable[[int], None] | None = None,
    observers: Sequence[Callable[[int, Response], None]] = (),
) -> Envelopes | None:
    """Envelopes over every load position of the deck's traffic; None without traffic.

    progress : called with the number of load positions done.
    observers : called with each block's first load position and its response, in order.
    """
    runs = load_positions(deck)
    if not sum(len(run) for run in runs):
        return None
    n_point = solver.recovery.points.n_points
    fields = {run.vehicle.name: FieldTracker(n_point) for run in runs}
    probes = Tracker((solver.probes.rows.shape[0],))
    moments = Tracker((solver.beams.moments.shape[0],))
    shears = Tracker((solver.beams.shears.shape[0],))
    names: tuple[str, ...] = ()
    reactions: Tracker | None = None

    def of(first: int) -> FieldTracker:
        return fields[find_position(runs, first)[0].vehicle.name]

    def read(first: int, response: Response) -> list[Peaks]:
        if observers:
            _ = response.fields  # formed here, where it does not hold up the others
        return of(first).seen(response, first)

    for first, response, seen in stream(solver, runs, read, workers):
        of(first).take(seen)
        probes.update(response.probes, first)
        moments.update(response.beam_moments, first)
        shears.update(response.beam_shears, first)
        summed = with_sums(response.reactions)
        names = tuple(summed)
        reactions = reactions or Tracker((len(names),))
        reactions.update(np.array([*summed.values()]), first)
        for observe in observers:
            observe(first, response)
        if progress is not None:
            progress(first + len(response.total))
    assert reactions is not None
    together = FieldTracker(n_point)
    for tracker in fields.values():
        together.merge(tracker)
    return Envelopes(
        runs,
        {name: tracker.envelope() for name, tracker in fields.items()},
        together.envelope(),
        probes.extremes(),
        moments.extremes(),
        shears.extremes(),
        names,
        reactions.extremes(),
    )


def with_sums(reactions: dict[str, Floats]) -> dict[str, Floats]:
    """Reactions with the sum of each beam's holds ("C2") before its holds ("C2@L1")."""
    found: dict[str, Floats] = {}
    for name, values in reactions.items():
        if "@" in name:
            beam = name.split("@")[0]
            found[beam] = found.get(beam, 0.0) + values
        found[name] = values
    return found

"""Traffic that stands on a deck while its slab collapses: a vehicle at its load positions, or the
arrangements of a load model that govern the elastic slab.

Of a load model these are the worst of deflection and bending moments in every square of the slab
as wide as its shortest span, and of the moments of every beam, with distributed loads where they
are adverse to that value, on rectangles along the lanes; those that add next to nothing are left
out.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import Extremes
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.errors import CoverageError, JobError
from pipelines.model.free_mesh import shortest_span
from pipelines.model.influence import Surfaces, field_rows, surfaces
from pipelines.model.readable import Mask
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.arrangements import Arrangement, LoadPosition
from pipelines.traffic.lanes import strip_sides
from pipelines.traffic.positions import LoadPositions, WheelPatches, load_positions, together
from pipelines.traffic.pressure_cells import PressureCells, pressure_cells
from plate.arrays import Floats

# Of RESULTS: deflection, m_x and m_y, and the sides on which each may govern.
SOUGHT = ((0, 1), (1, 1), (1, -1), (2, 1), (2, -1))
# Rectangles that add less than this share of what distributed loads add to the value are left out.
LITTLE = 0.01
NONE = WheelPatches(np.empty((0, 4, 2)), np.empty(0), np.zeros(0, dtype=np.intp))


@dataclass(frozen=True, eq=False, kw_only=True)
class Standing:
    """at : the load position or arrangement. wheels : patches as dispersed; spread : rectangles of
    distributed loads, both with all factors. worst_of : the elastic value whose worst it is, ""
    for a vehicle."""

    at: Arrangement
    wheels: WheelPatches
    spread: WheelPatches = NONE
    worst_of: str = ""

    @property
    def patches(self) -> WheelPatches:
        """Wheels and distributed loads."""
        return together([(self.wheels, 1.0), (self.spread, 1.0)])

    @property
    def vehicles(self) -> tuple[LoadPosition, ...]:
        """Where its vehicles stand."""
        return tuple(lane.position for lane in self.at.lanes if lane.position is not None)


def vehicle_positions(deck: Deck, name: str) -> list[LoadPositions]:
    """The load positions of a vehicle that drives alone, "" = the first.

    Raises JobError without it; CoverageError where its spacing is variable.
    """
    runs = load_positions(deck)
    names = list(dict.fromkeys(run.vehicle.name for run in runs))
    if not names:
        raise JobError(
            f"{deck.path}: a collapse load needs a vehicle, [[vehicle]] in the deck file, or one "
            "of its load models, --load-model"
        )
    name = name or names[0]
    if name not in names:
        raise JobError(f"--vehicle {name}: the deck file has {', '.join(names)}")
    mine = [run for run in runs if run.vehicle.name == name]
    if any(run.spreads is not None for run in mine) or mine[0].vehicle.variable is not None:
        raise CoverageError(f"{name} has a variable spacing: its collapse load is not covered")
    return mine


def standing_vehicles(runs: Iterable[LoadPositions]) -> list[Standing]:
    """A vehicle at every one of its load positions."""
    found = []
    for run in runs:
        for k, (station, offset) in enumerate(zip(run.stations, run.offsets, strict=True)):
            position = LoadPosition(
                vehicle=run.vehicle.name,
                direction=run.direction,
                station=float(station),
                offset=float(offset),
            )
            found.append(Standing(at=Arrangement.of(position), wheels=run.wheels(np.array([k]))))
    return found


def load_model_of(deck: Deck, name: str) -> LoadModel:
    """A load model of the deck file. Raises JobError for one that it does not have, CoverageError
    for what is not covered."""
    models = () if deck.traffic is None else deck.traffic.load_models
    strong = {model.name: model for model in models if not model.fatigue}
    if name not in strong:
        there = ", ".join(strong) or "none"
        raise JobError(f"--load-model {name}: the deck file has {there} under [traffic]")
    traffic = deck.required_traffic
    if strong[name].has_pressure and traffic.axis is not None and not traffic.axis.straight:
        raise CoverageError(
            f"{name} has distributed loads: along a carriageway_axis_m with arcs its lanes are not "
            "covered"
        )
    return strong[name]


def standing_arrangements(deck: Deck, model: LoadModel) -> list[Standing]:
    """The arrangements of a load model that govern the elastic slab in its parts, each once."""
    traffic = replace(deck.required_traffic, load_models=(model,), vehicles=())
    solved = SolvedDeck.of(replace(deck, traffic=traffic, probes=(), cases=()))
    [envelope] = traffic_envelopes(solved)
    found: dict[tuple[float, ...], Standing] = {}
    for one in _worst(solved, envelope):
        patches = one.patches
        key = np.round(np.append(patches.corners, patches.load), 6)
        found.setdefault(tuple(key.tolist()), one)
    return list(found.values())


def _worst(solved: SolvedDeck, envelope: TrafficEnvelope) -> list[Standing]:
    rows: list[sparse.csr_array] = []
    values: list[tuple[int, int, float, str]] = []
    points, components = [], []
    for k, sign in SOUGHT:
        allowed = np.ones(envelope.n_points, dtype=bool)
        if k > 0:
            allowed = solved.hogging_readable if sign < 0 else solved.readable
        for point in _tops(solved, envelope.fields.extremes, k, sign, allowed):
            number = _number(envelope.fields.extremes, (k, point), sign)
            points.append(point)
            components.append(k)
            words = f"{('w', 'm_x', 'm_y')[k]} {'greatest' if sign > 0 else 'least'}"
            values.append((number, sign, float(envelope.joint[point]), words))
    rows.append(field_rows(solved, points, components))
    beams, moments = solved.beams, envelope.beam_moments
    start = 0
    for name, at in zip(beams.names, beams.at, strict=True):
        own = slice(start, start + len(at))
        start += len(at)
        for sign, side in ((1, moments.maximum), (-1, moments.minimum)):
            sample = own.start + int(np.argmax(sign * side[own]))
            number = _number(moments, (sample,), sign)
            rows.append(sparse.csr_array(beams.moments[[sample]]))
            values.append((number, sign, 1.0, f"moment of beam {name}"))
    means = _CellMeans(solved, envelope, sparse.csr_array(sparse.vstack(rows, format="csr")))
    found = []
    for row, (number, sign, joint, words) in enumerate(values):
        stands = envelope.position(number)
        if stands is None:
            continue
        wheels = together([(envelope.wheels(number), joint)])
        spread = means.adverse(row, sign, number, stands)
        found.append(Standing(at=stands, wheels=wheels, spread=spread, worst_of=words))
    return found


def _number(extremes: Extremes, index: tuple[int, ...], sign: int) -> int:
    return int((extremes.at_maximum if sign > 0 else extremes.at_minimum)[index])


def _tops(solved: SolvedDeck, extremes: Extremes, k: int, sign: int, allowed: Mask) -> list[int]:
    """The field point of the worst value in each square of the slab that has one."""
    plan = solved.recovery.points.plan
    size = shortest_span(solved.deck)
    squares = np.floor((plan - plan.min(axis=0)) / size + 1e-9).astype(np.int64)
    _, square = np.unique(squares, axis=0, return_inverse=True)
    worst = sign * (extremes.maximum if sign > 0 else extremes.minimum)[k]
    found = []
    for number in range(int(square.max()) + 1):
        mine = np.flatnonzero((square.ravel() == number) & allowed)
        if len(mine) and worst[mine].max() > 0.0:
            found.append(int(mine[np.argmax(worst[mine])]))
    return found


class _CellMeans:
    """What unit pressures on cells of lanes make of some values, rows on the displacements."""

    def __init__(
        self, solved: SolvedDeck, envelope: TrafficEnvelope, rows: sparse.csr_array
    ) -> None:
        self.deck, self.envelope = solved.deck, envelope
        loaded = envelope.model.has_pressure
        self.surfaces = surfaces(solved.stiffness, rows) if loaded else None
        self.along = pressure_cells(self.deck)[1][0].stations

    def adverse(self, row: int, sign: int, number: int, at: Arrangement) -> WheelPatches:
        """The distributed loads of an arrangement where they are adverse to a value."""
        if self.surfaces is None:
            return NONE
        edges = self._edges(at)
        pressures = self.envelope.pressures(self.deck, number, edges)
        strips = [
            (PressureCells(self.along, (a, b), self.deck.course), float(pressure))
            for (a, b), pressure in zip(pairwise(edges.tolist()), pressures, strict=True)
            if pressure > 0.0
        ]
        one = replace(self.surfaces, ordinates=self.surfaces.ordinates[[row]])
        gains = [sign * self._gains(one, strip, pressure) for strip, pressure in strips]
        least = LITTLE * sum(float(np.maximum(gain, 0.0).sum()) for gain in gains)
        parts = []
        for (strip, pressure), gain in zip(strips, gains, strict=True):
            for first, last in _runs(gain > 0.0):
                if gain[first:last].sum() > least:
                    whole = replace(strip, stations=strip.stations[[first, last]])
                    parts.append((whole.wheels(slice(None)), pressure))
        return together(parts)

    @staticmethod
    def _gains(surface: Surfaces, strip: PressureCells, pressure: float) -> Floats:
        cells = strip.wheels(slice(None))
        return np.asarray(pressure * cells.load * surface.means(cells.corners)[0])

    def _edges(self, at: Arrangement) -> Floats:
        """Offsets where lanes begin and end, and the carriageway's own on the slab."""
        carriageway = self.deck.required_traffic.carriageway
        kinds = {kind.name: kind for kind in self.envelope.model.kinds}
        low, high = self.deck.slab_limits[:, 1]
        edges = [*carriageway]
        for lane in at.lanes:
            kind = kinds[lane.kind]
            if kind.pressure:
                edges += [
                    float(side[0])
                    for side in strip_sides(np.array([lane.offset]), kind.width, carriageway)
                ]
        return np.unique(np.round(np.clip(edges, low, high), 9))


def _runs(flags: Mask) -> list[tuple[int, int]]:
    """First and last + 1 of every run of flags that are set."""
    steps = np.diff(np.concatenate([[0], flags.astype(np.int64), [0]]))
    firsts, ends = (np.flatnonzero(steps == step).tolist() for step in (1, -1))
    return list(zip(firsts, ends, strict=True))


def evenly(standings: Sequence[Standing], most: int) -> list[Standing]:
    """No more than `most` of them, evenly chosen."""
    if len(standings) <= most:
        return list(standings)
    return [standings[k] for k in np.linspace(0, len(standings) - 1, most).astype(int)]

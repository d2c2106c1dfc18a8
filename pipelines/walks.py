"""Searches for the worst load position of one section on a deck that is changed again and again.

A `Walk` holds what stays the same: section, vehicle and its load positions. A `Plate` is the deck
with some changes, factorised, as one walk reads it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.assumptions import Change, changed_deck, changed_model
from pipelines.build import BuiltModel, Near
from pipelines.deck import Deck, Vehicle
from pipelines.envelopes import Envelopes, find_position
from pipelines.findings import Finding
from pipelines.sections import ON, stiffening
from pipelines.strips import FIRST_SET, StripSet
from pipelines.strips_deck import StripDeck
from pipelines.traffic import Direction, LoadPositions
from plate.element import cell_dofs
from plate.loads import patch_loads
from plate.model import PlateModel
from plate.recovery import N_RESULTS, cell_operators, field_points, point_operators
from plate.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Fine cells reach so many spans beyond the section and the wheels.
FINE = 0.6
# A search tries places this share of a span apart, so many to either side, then all between.
STRIDE = 0.1
TRIED = 4
MOST = 15
# Axles with more than this share of the heaviest one's load are put over the peak to begin with.
HEAVY = 0.9


@dataclass(frozen=True)
class Place:
    """Where the vehicle stands [m]."""

    direction: Direction
    station: float
    offset: float


@dataclass(frozen=True)
class Walk:
    """What stays the same on a walk: the finding, its section and the load positions.

    strips : the hand strip's set; patches : of its axles along and across traffic [m].
    place : the vehicle's where the plate's peak governs. s_range : of the bays beside the section;
    s, t : of the peak. loads : range of t that the wheels take there. clear : distances from the
    edges along the strip within which the section is not read. All in m.
    """

    deck: Deck
    strip: StripDeck
    envelopes: Envelopes
    finding: Finding
    strips: StripSet
    run: LoadPositions
    patches: tuple[tuple[float, float], ...]
    place: Place
    s_range: tuple[float, float]
    s: float
    t: float
    loads: tuple[float, float]
    clear: tuple[float, float]
    bay: int
    support: int | None

    @property
    def along(self) -> bool:
        return self.strip.bars == "parallel"

    @property
    def sign(self) -> float:
        return -1.0 if self.finding.kind == "hogging" else 1.0

    @property
    def share(self) -> float:
        """Of the strip's own moment, for the moment across it; else 1."""
        if self.finding.kind != "transverse":
            return 1.0
        return self.strips.share.of(self.strip.span_input(self.vehicle.axles[0], self.bay))

    @property
    def vehicle(self) -> Vehicle:
        return self.run.vehicle

    @property
    def span(self) -> float:
        low, high = self.strip.beam.bay(self.bay)
        return high - low

    @property
    def spreads(self) -> bool:
        """Whether the deck file spreads wheels otherwise than the strip's rule."""
        return not np.allclose(self.patches, self.run.patches, rtol=0.0, atol=1e-9)

    def lean(self, offset: float) -> float:
        """Station that a skew line has gained at an offset [m]."""
        return offset * float(np.tan(self.deck.plan.skew))

    @property
    def fine(self) -> tuple[float, float]:
        """Range of s with cells as fine as in the main analysis [m]."""
        low, high = self.s_range
        beside = FINE * self.span
        if self.support is not None:
            line = self.strip.beam.supports[self.support].at
            low, high = max(low, line - beside), min(high, line + beside)
        return low - beside, high + beside

    def search(self, try_all: Callable[[Sequence[Place]], Place], wide: bool) -> Place:
        """The worst of the main analysis' load positions, by a search from likely ones: along the
        strip, across it, then all neighbours."""
        starts = [self.place, *self._starts()]
        tried = [p for start in starts for p in self._along(start, TRIED, self._stride)]
        best = try_all([self.place, *tried])
        if not wide:
            best = try_all([best, *self._across(best)])
        for _ in range(3):
            rows = [best]
            if not wide:
                rows += self._neighbours(best)
            before = best
            best = try_all([p for row in rows for p in self._along(row, self._stride, 1)])
            if best == before:
                break
        return best

    def _starts(self) -> list[Place]:
        """The strip's own load position, and in every direction the vehicle with each of its
        heaviest axles, or each of their wheels, over the place of the plate's peak."""
        one = self.finding
        found: list[tuple[Direction, float]] = []
        if one.strip_station is not None and one.strip_direction is not None:
            found.append((one.strip_direction, one.strip_station))
        heaviest = max(axle.load for axle in self.vehicle.axles)
        heavy = [axle for axle in self.vehicle.axles if axle.load > HEAVY * heaviest]
        for direction in self._lattices:
            back = 1.0 if direction == "forward" else -1.0
            if self.along:
                found += [(direction, self.s + back * axle.at) for axle in heavy]
            else:
                wheels = {y for axle in heavy for y in axle.wheels}
                found += [(direction, self.s - back * y) for y in sorted(wheels)]
        if self.along:
            lean, offset = self.lean(self.place.offset), self.place.offset
            places = [Place(direction, s + lean, offset) for direction, s in found]
        else:
            places = [Place(direction, self.place.station, s) for direction, s in found]
        return [place for place in places if place.direction in self._lattices]

    @cached_property
    def _lattices(self) -> dict[Direction, tuple[Floats, Floats]]:
        """Stations and offsets of the vehicle's load positions, by direction."""
        return {
            run.direction: (np.unique(run.stations), np.unique(run.offsets))
            for run in self.envelopes.runs
            if run.vehicle.name == self.vehicle.name
        }

    @property
    def _stride(self) -> int:
        """Load positions to the next one tried first."""
        values = self._lattices[self.place.direction][0 if self.along else 1]
        if len(values) < 2:
            return 1
        return max(1, round(STRIDE * self.span / float(np.diff(values).min())))

    def _along(self, place: Place, count: int, stride: int) -> list[Place]:
        """Places along the strip about one, which is drawn onto the lattice."""
        stations, offsets = self._lattices[place.direction]
        if self.along:
            values, centre = stations, place.station
        else:
            values, centre = offsets, place.offset
        middle = int(np.argmin(np.abs(values - centre)))
        index = middle + stride * np.arange(-count, count + 1)
        chosen = values[index[(index >= 0) & (index < len(values))]]
        if self.along:
            return [replace(place, station=float(v)) for v in chosen]
        return [replace(place, offset=float(v)) for v in chosen]

    def _across(self, place: Place) -> list[Place]:
        """Places across the strip: all offsets, or the stations within a span."""
        stations, offsets = self._lattices[place.direction]
        if self.along:
            chosen = _some(offsets, MOST)
            return [replace(place, offset=float(v)) for v in chosen]
        near = stations[np.abs(stations - self.place.station) <= self.span]
        return [replace(place, station=float(v)) for v in _some(near, MOST)]

    def _neighbours(self, place: Place) -> list[Place]:
        stations, offsets = self._lattices[place.direction]
        values, centre = (offsets, place.offset) if self.along else (stations, place.station)
        middle = int(np.argmin(np.abs(values - centre)))
        index = [i for i in (middle - 1, middle + 1) if 0 <= i < len(values)]
        if self.along:
            return [replace(place, offset=float(values[i])) for i in index]
        return [replace(place, station=float(values[i])) for i in index]


def walk_of(
    deck: Deck, built: BuiltModel, strip: StripDeck, envelopes: Envelopes, one: Finding
) -> Walk:
    [strips] = [s for s in FIRST_SET if s.name == one.strip]
    run, index = find_position(envelopes.runs, one.number)
    vehicle = run.vehicle
    supports = strip.beam.supports
    names = [support.name for support in supports]
    first = names.index(one.lines[0])
    bay = min(first, len(supports) - 2)
    if one.kind == "hogging":
        s_range = tuple(
            supports[k].at for k in (max(first - 1, 0), min(first + 1, len(supports) - 1))
        )
    else:
        s_range = strip.beam.bay(bay)
    patches = tuple(strips.patch(strip.span_input(axle, bay)) for axle in vehicle.axles)
    u = float(deck.plan.logical_station(np.array(one.at)))
    y = one.at[1]
    wheels = [w for axle in vehicle.axles for w in axle.wheels]
    place = Place(run.direction, float(run.stations[index]), float(run.offsets[index]))
    if strip.bars == "across":
        patches = tuple((b, a) for a, b in patches)
        s, t = y, u
        lengths = [axle.at for axle in vehicle.axles]
        ahead = 1.0 if run.direction == "reverse" else -1.0
        ends = sorted([place.station, place.station + ahead * max(lengths)])
        loads = (ends[0], ends[1])
    else:
        s, t = u, y
        loads = (place.offset + min(wheels), place.offset + max(wheels))
    edges = ("left", "right") if strip.bars == "parallel" else ("start", "end")
    half = 0.5 * float(np.mean(np.diff([support.at for support in supports])))
    gaps = [stiffening(deck, edge) for edge in edges]
    clear = tuple(gap if gap <= half else half for gap in gaps)
    options = replace(deck.mesh, size=built.size, order=built.model.mesh.order)
    return Walk(
        deck=replace(deck, mesh=options),
        strip=strip,
        envelopes=envelopes,
        finding=one,
        strips=strips,
        run=run,
        patches=patches,
        place=place,
        s_range=(s_range[0], s_range[1]),
        s=s,
        t=t,
        loads=loads,
        clear=(clear[0], clear[1]),
        bay=bay,
        support=first if one.kind == "hogging" else None,
    )


def _some(values: Floats, most: int) -> Floats:
    """At most so many of the values, the ends among them."""
    if len(values) <= most:
        return values
    index = np.unique(np.round(np.linspace(0, len(values) - 1, most)).astype(int))
    return np.asarray(values[index])


@dataclass(frozen=True)
class ChangedModel:
    """The deck with some changes made, factorised."""

    deck: Deck
    wide: bool
    straight: bool
    model: PlateModel
    stiffness: Stiffness


class Shelf:
    """The models of several walks of one strip, each made once, fine where any walk looks."""

    def __init__(self, walks: Sequence[Walk]) -> None:
        self.walks = walks
        self._made: dict[frozenset[Change], ChangedModel] = {}

    def model(self, done: frozenset[Change]) -> ChangedModel:
        if done not in self._made:
            first = self.walks[0]
            low = min(walk.loads[0] for walk in self.walks)
            high = max(walk.loads[1] for walk in self.walks)
            deck = changed_deck(first.deck, first.strip, done, (low, high))
            wide = "width" not in done
            model = changed_model(deck, first.strip, done, self._near(wide))
            self._made[done] = ChangedModel(deck, wide, "plan" not in done, model, Stiffness(model))
        return self._made[done]

    def _near(self, wide: bool) -> Near:
        """Where cells are as fine as in the main analysis."""
        first = self.walks[0]
        beside = FINE * max(walk.span for walk in self.walks)
        s = (min(w.fine[0] for w in self.walks), max(w.fine[1] for w in self.walks))
        if not first.along:
            t = [walk.t for walk in self.walks]
            return Near((min(t) - 2.0 * beside, max(t) + 2.0 * beside), s)
        if wide:
            low = min(walk.loads[0] for walk in self.walks)
            high = max(walk.loads[1] for walk in self.walks)
            return Near(s, (low - beside, high + beside))
        return Near(s, (-np.inf, np.inf))


class Plate:
    """A changed deck as one walk reads it: solves load positions, reads the moment sought."""

    def __init__(self, walk: Walk, of: ChangedModel) -> None:
        self.walk = walk
        self.deck, self.model, self.stiffness = of.deck, of.model, of.stiffness
        self.wide, self.straight = of.wide, of.straight
        mesh = self.model.mesh
        s, _ = self._coordinates(mesh.corners.mean(axis=1))
        cells = np.flatnonzero((s > walk.s_range[0]) & (s < walk.s_range[1]))
        points = field_points(self.model)
        unique, self._label = np.unique(points.cells[cells], return_inverse=True)
        self._label = self._label.ravel()
        operators = cell_operators(self.model, cells, points.reference)
        self._rows = operators[:, :, walk.finding.component].copy()
        self._dofs = cell_dofs(mesh.cells[cells])
        self._count = np.bincount(self._label)
        self._plan = points.plan[unique]
        self._sought = self._region(*self._coordinates(self._plan))
        # Displacements of the held load position, by whether wheels are spread as in the deck file.
        self._moved: dict[bool, dict[Place, Floats]] = {False: {}, True: {}}

    def extremes(self, places: Sequence[Place], spread: bool) -> tuple[Floats, Ints]:
        """The value furthest to the finding's side at each position (n,), and its point."""
        U = self._solve(places, spread)
        if self.walk.place in places:
            self._moved[spread] = {self.walk.place: U[:, places.index(self.walk.place)].copy()}
        local = np.matmul(self._rows, U[self._dofs]).reshape(-1, len(places))
        total = np.zeros((len(self._count), len(places)))
        np.add.at(total, self._label, local)
        values = total / self._count[:, None]
        ranked = np.where(self._sought[:, None], self.walk.sign * values, -np.inf)
        at = np.argmax(ranked, axis=0)
        return values[at, np.arange(len(places))], at

    def held(self, spread: bool) -> float:
        """The value where and when the plate's peak governs, of the worse side of a line."""
        walk = self.walk
        centre, rows = self._held_rows
        if walk.place not in self._moved[spread]:
            self.extremes([walk.place], spread)
        values = np.asarray(rows @ self._moved[spread][walk.place])
        if walk.support is None:
            return float(values.mean())
        sides = [float(values[m].mean()) for m in (centre < walk.s, centre >= walk.s) if m.any()]
        return max(sides, key=lambda v: walk.sign * v)

    @cached_property
    def _held_rows(self) -> tuple[Floats, sparse.csr_array]:
        """s of the cells (n,) round the plate's peak and their rows (n, n_dof) of the result."""
        walk = self.walk
        u, y = (walk.s, walk.t) if walk.along else (walk.t, walk.s)
        point = self.deck.plan.at(np.array(u), np.array(y))
        [(cells, xi)] = self.model.mesh.locate(point[None])
        rows = point_operators(self.model, cells, xi)[walk.finding.component :: N_RESULTS]
        centre, _ = self._coordinates(self.model.mesh.corners[cells].mean(axis=1))
        return centre, rows

    def searched(self, spread: bool) -> tuple[float, Place, tuple[float, float]]:
        """The worst value over the load positions of the main analysis near the section."""
        known: dict[Place, tuple[float, int]] = {}

        def try_all(places: Sequence[Place]) -> Place:
            new = [place for place in dict.fromkeys(places) if place not in known]
            if new:
                for place, value, at in zip(new, *self.extremes(new, spread), strict=True):
                    known[place] = (float(value), int(at))
            return max(places, key=lambda place: self.walk.sign * known[place][0])

        best = self.walk.search(try_all, self.wide)
        value, at = known[best]
        x, y = self._plan[at]
        return value, best, (float(x), float(y))

    def _solve(self, places: Sequence[Place], spread: bool) -> Floats:
        walk = self.walk
        F = np.zeros((self.model.n_dof, len(places)))
        for direction in ("forward", "reverse"):
            mine = [k for k, place in enumerate(places) if place.direction == direction]
            if not mine:
                continue
            offsets = np.array([places[k].offset for k in mine])
            stations = np.array([places[k].station for k in mine])
            if self.straight:
                stations = stations - offsets * np.tan(walk.deck.plan.skew)
            positions = LoadPositions(
                walk.vehicle,
                direction,
                stations,
                offsets,
                walk.run.patches if spread else walk.patches,
                self.deck.plan.chart,
            )
            wheels = positions.wheels(slice(None))
            column = np.array(mine)[wheels.position]
            F += patch_loads(
                self.model.mesh, wheels.corners, wheels.load, column, len(places)
            ).toarray()
        return self.stiffness.solve(F)

    def _coordinates(self, plan: Floats) -> tuple[Floats, Floats]:
        u, y = self.deck.plan.logical_station(plan), plan[..., 1]
        return (u, y) if self.walk.along else (y, u)

    def _region(self, s: Floats, t: Floats) -> NDArray[np.bool_]:
        """Which points belong to the section; on an infinite plate all across the strip."""
        walk = self.walk
        if walk.support is not None:
            found = np.abs(s - walk.strip.beam.supports[walk.support].at) < ON
        else:
            found = (s > walk.s_range[0] + ON) & (s < walk.s_range[1] - ON)
        if self.wide:
            return np.asarray(found)
        if walk.along:
            ends = self.deck.plan.line_offsets(s)[:, [0, -1]]
        else:
            ends = np.broadcast_to(self.deck.plan.u_range, (len(s), 2))
        to_low, to_high = t - ends[:, 0], ends[:, 1] - t
        if walk.finding.kind == "edge":
            low = walk.finding.place.startswith(("left", "start"))
            return np.asarray(found & ((to_low if low else to_high) < ON))
        return np.asarray(found & (to_low >= walk.clear[0] - ON) & (to_high >= walk.clear[1] - ON))

"""Searches for the worst load position of one section on a deck that is changed again and again.

A `Walk` holds what stays the same: section, vehicle and its load positions.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck, Direction
from pipelines.envelopes.single_vehicles import Envelopes, find_position
from pipelines.findings.finding import Finding
from pipelines.model.build import BuiltModel
from pipelines.standards.actions.loads import Vehicle
from pipelines.standards.strip_widths.sets import FIRST_SET, StripSet
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.sections import stiffening
from pipelines.traffic.positions import LoadPositions

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
        return -1.0 if self.finding.kind in ("hogging", "corner") else 1.0

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
    low, high = _edges(deck, strip, s)
    clear = [gap if gap <= half else half for gap in gaps]
    for k, gap in enumerate((t - low, high - t)):
        # Where the peak is the outermost point that is read, other meshes read no further out.
        if clear[k] <= gap < clear[k] + built.size:
            clear[k] = gap
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


def _edges(deck: Deck, strip: StripDeck, s: float) -> tuple[float, float]:
    """Ends of the slab across the strip at s [m]."""
    if strip.bars == "across":
        return deck.plan.u_range
    offsets = deck.plan.line_offsets(np.array(s))
    return float(offsets[0]), float(offsets[-1])


def _some(values: Floats, most: int) -> Floats:
    """At most so many of the values, the ends among them."""
    if len(values) <= most:
        return values
    index = np.unique(np.round(np.linspace(0, len(values) - 1, most)).astype(int))
    return np.asarray(values[index])

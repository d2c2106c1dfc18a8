"""Searches for the worst load position of one section on a deck that is changed again and again.

A `Walk` holds what stays the same: section, vehicles and their load positions. Under a load model
the vehicles of the arrangement that governs keep their distances and factors and are moved along
the deck together; its distributed loads stay where they are.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.traffic import Direction
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.findings.finding import Finding
from pipelines.standards.actions.loads import Vehicle
from pipelines.standards.strip_widths.sets import StripSet
from pipelines.strips.chosen import chosen_strip
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.methods import all_sets
from pipelines.traffic.positions import LoadPositions, WheelPatches, load_positions
from pipelines.traffic.trains import widened
from plate.arrays import Floats

# Fine cells reach so many spans beyond the section and the wheels.
FINE = 0.6
# A search tries places this share of a span apart, so many to either side, then all between.
STRIDE = 0.1
TRIED = 4
MOST = 15
# Kinds of findings on hogging over lines: at the centre line, and where it counts beside it.
OVER_LINES = ("hogging", "face")
# Axles with more than this share of the heaviest one's load are put over the peak to begin with.
HEAVY = 0.9


@dataclass(frozen=True)
class Place:
    """Where the leading vehicle stands [m]."""

    direction: Direction
    station: float
    offset: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Driven:
    """One vehicle of a walk where the plate's peak governs.

    run : its load positions in that direction, with the patches of the deck file; patches : of its
    axles along and across traffic by the strip's rule [m]. factor : all factors on its loads.
    """

    run: LoadPositions
    place: Place
    patches: tuple[tuple[float, float], ...]
    factor: float

    @property
    def wheels(self) -> list[float]:
        """Offsets of its wheels from its centre line [m]."""
        return [w for axle in self.run.vehicle.axles for w in axle.wheels]

    @property
    def weight(self) -> float:
        """Sum of its axles with all factors [N]."""
        return self.factor * sum(axle.load for axle in self.run.vehicle.axles)


@dataclass(frozen=True, eq=False, kw_only=True)
class Walk:
    """What stays the same on a walk: the finding, its section and the load positions.

    strips : the hand strip's set. vehicles : those of the governing arrangement, the leading one
    first; pressed : its distributed loads; lattices : stations and offsets that the leading
    vehicle may take, by direction. s_range : of the bays beside the section; s, t : of the peak;
    off : how far off the line `support` it is sought. loads : range of t that the loads take there.
    clear : distances from the edges along the strip within which the section is not read. All in m.
    """

    deck: Deck
    strip: StripDeck
    finding: Finding
    strips: StripSet
    vehicles: tuple[Driven, ...]
    pressed: WheelPatches
    lattices: Mapping[Direction, tuple[Floats, Floats]]
    s_range: tuple[float, float]
    s: float
    t: float
    loads: tuple[float, float]
    clear: tuple[float, float]
    bay: int
    support: int | None
    off: float

    @property
    def place(self) -> Place:
        """The leading vehicle's where the plate's peak governs."""
        return self.vehicles[0].place

    @property
    def patches(self) -> tuple[tuple[float, float], ...]:
        """The loaded areas of the leading vehicle's axles by the strip's rule [m]."""
        return self.vehicles[0].patches

    @property
    def along(self) -> bool:
        return self.strip.bars == "parallel"

    @property
    def sign(self) -> float:
        return -1.0 if self.finding.section.kind in (*OVER_LINES, "corner") else 1.0

    @property
    def share(self) -> float:
        """The share of the strip's own moment, for the moment across it; else 1."""
        if self.finding.section.kind != "transverse":
            return 1.0
        return self.strips.share.of(self.strip.span_input(self.vehicle.axles[0], self.bay))

    @property
    def vehicle(self) -> Vehicle:
        """The leading vehicle."""
        return self.vehicles[0].run.vehicle

    @property
    def span(self) -> float:
        low, high = self.strip.beam.bay(self.bay)
        return high - low

    @property
    def spreads(self) -> bool:
        """Whether the deck file spreads wheels otherwise than the strip's rule."""
        return not all(
            np.allclose(vehicle.patches, vehicle.run.patches, rtol=0.0, atol=1e-9)
            for vehicle in self.vehicles
        )

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
        finding = self.finding
        found: list[tuple[Direction, float]] = []
        if finding.hand.station is not None and finding.hand.direction is not None:
            found.append((finding.hand.direction, finding.hand.station))
        heaviest = max(axle.load for axle in self.vehicle.axles)
        heavy = [axle for axle in self.vehicle.axles if axle.load > HEAVY * heaviest]
        for direction in self.lattices:
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
        return [place for place in places if place.direction in self.lattices]

    @property
    def _stride(self) -> int:
        """Load positions to the next one tried first."""
        values = self.lattices[self.place.direction][0 if self.along else 1]
        if len(values) < 2:
            return 1
        return max(1, round(STRIDE * self.span / float(np.diff(values).min())))

    def _along(self, place: Place, count: int, stride: int) -> list[Place]:
        """Places along the strip about one, which is drawn onto the lattice."""
        stations, offsets = self.lattices[place.direction]
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
        stations, offsets = self.lattices[place.direction]
        if self.along:
            chosen = thinned(offsets, MOST)
            return [replace(place, offset=float(v)) for v in chosen]
        near = stations[np.abs(stations - self.place.station) <= self.span]
        return [replace(place, station=float(v)) for v in thinned(near, MOST)]

    def _neighbours(self, place: Place) -> list[Place]:
        stations, offsets = self.lattices[place.direction]
        values, centre = (offsets, place.offset) if self.along else (stations, place.station)
        middle = int(np.argmin(np.abs(values - centre)))
        index = [i for i in (middle - 1, middle + 1) if 0 <= i < len(values)]
        if self.along:
            return [replace(place, offset=float(values[i])) for i in index]
        return [replace(place, station=float(values[i])) for i in index]


def _strips_of(deck: Deck, finding: Finding) -> StripSet:
    """The widths of the strip that a finding compares."""
    if finding.hand.chosen:
        return chosen_strip(deck, finding.load).strips
    return next(one for one in all_sets(deck) if one.name == finding.hand.strip)


def start_walk(deck: Deck, strip: StripDeck, envelope: TrafficEnvelope, finding: Finding) -> Walk:
    """The walk of a finding under a case of traffic, over the load positions of the deck, which
    asks for the mesh that the finding is of (`BuiltModel.asked_for`)."""
    assert deck.mesh.size is not None
    strips = _strips_of(deck, finding)
    supports = strip.beam.supports
    names = [support.name for support in supports]
    first = names.index(finding.section.lines[0])
    bay = min(first, len(supports) - 2)
    over_line = finding.section.kind in OVER_LINES
    if over_line:
        s_range = tuple(
            supports[k].at for k in (max(first - 1, 0), min(first + 1, len(supports) - 1))
        )
    else:
        s_range = strip.beam.bay(bay)
    u = float(deck.plan.logical_station(np.array(finding.plate.at)))
    y = finding.plate.at[1]
    s, t = (y, u) if strip.bars == "across" else (u, y)
    vehicles = _driven(strip, strips, envelope, finding, bay)
    n_wheel = len(envelope.wheels(finding.plate.number).load)
    pressed = WheelPatches(
        finding.plate.held.corners[n_wheel:],
        finding.plate.held.load[n_wheel:],
        np.zeros(len(finding.plate.held.load) - n_wheel, dtype=np.intp),
    )
    half = 0.5 * float(np.mean(np.diff([support.at for support in supports])))
    gaps = [strip.on_deck.stiffening(edge) for edge in strip.on_deck.edges]
    low, high = _edges(deck, strip, s)
    clear = [gap if gap <= half else half for gap in gaps]
    for k, gap in enumerate((t - low, high - t)):
        # Where the peak is the outermost point that is read, other meshes read no further out.
        if clear[k] <= gap < clear[k] + deck.mesh.size:
            clear[k] = gap
    return Walk(
        deck=deck,
        strip=strip,
        finding=finding,
        strips=strips,
        vehicles=vehicles,
        pressed=pressed,
        lattices=position_lattices(deck, envelope, vehicles[0]),
        s_range=(s_range[0], s_range[1]),
        s=s,
        t=t,
        loads=_extent(strip, vehicles, pressed),
        clear=(clear[0], clear[1]),
        bay=bay,
        support=first if over_line else None,
        off=supports[first].hogging_at if finding.section.kind == "face" else 0.0,
    )


def _driven(
    strip: StripDeck, strips: StripSet, envelope: TrafficEnvelope, one: Finding, bay: int
) -> tuple[Driven, ...]:
    """The vehicles where the finding's plate value governs: the heaviest first, of equal ones the
    one nearest to the peak."""
    joint = float(envelope.joint[one.plate.point])
    found = []
    for run, index, factor in envelope.vehicles(one.plate.number):
        # A variable spacing stays as it is there.
        spread = 0.0 if run.spreads is None else float(run.spreads[index])
        run = replace(run, vehicle=widened(run.vehicle, spread), spreads=None)
        patches = tuple(strips.patch(strip.span_input(axle, bay)) for axle in run.vehicle.axles)
        if strip.bars == "across":
            patches = tuple((b, a) for a, b in patches)
        place = Place(run.direction, float(run.stations[index]), float(run.offsets[index]))
        found.append(Driven(run=run, place=place, patches=patches, factor=joint * factor))

    def order(driven: Driven) -> tuple[float, float]:
        gap = abs(driven.place.offset - one.plate.at[1])
        return -round(driven.weight, 3), gap

    return tuple(sorted(found, key=order))


def position_lattices(
    deck: Deck, envelope: TrafficEnvelope, leading: Driven
) -> dict[Direction, tuple[Floats, Floats]]:
    """Stations and offsets of the leading vehicle's load positions, by direction; in its lane and
    direction alone where others stand beside it."""
    only = replace(deck.required_traffic, vehicles=(leading.run.vehicle,))
    if envelope.whole:
        only = replace(only, offsets=(leading.place.offset,), lateral_step=None)
    found = {
        run.direction: (np.unique(run.stations), np.unique(run.offsets))
        for run in load_positions(replace(deck, traffic=only))
    }
    if leading.place.direction not in found:
        # Turned round it stands as it did, so that those forward are listed alone.
        stations, offsets = found["forward"]
        length = max(axle.at for axle in leading.run.vehicle.axles)
        found["reverse"] = (stations - length, offsets)
    if envelope.whole:
        return {leading.place.direction: found[leading.place.direction]}
    return found


def _extent(
    strip: StripDeck, vehicles: Sequence[Driven], pressed: WheelPatches
) -> tuple[float, float]:
    """Range across the strip that the loads take [m]."""
    ends: list[float] = []
    for vehicle in vehicles:
        if strip.bars == "across":
            ahead = 1.0 if vehicle.place.direction == "reverse" else -1.0
            length = max(axle.at for axle in vehicle.run.vehicle.axles)
            ends += [vehicle.place.station, vehicle.place.station + ahead * length]
        else:
            ends += [
                vehicle.place.offset + min(vehicle.wheels),
                vehicle.place.offset + max(vehicle.wheels),
            ]
    ends += pressed.corners[..., 0 if strip.bars == "across" else 1].ravel().tolist()
    return min(ends), max(ends)


def _edges(deck: Deck, strip: StripDeck, s: float) -> tuple[float, float]:
    """Ends of the slab across the strip at s [m]."""
    if strip.bars == "across":
        return deck.plan.u_range
    offsets = deck.plan.line_offsets(np.array(s))
    return float(offsets[0]), float(offsets[-1])


def thinned(values: Floats, most: int) -> Floats:
    """At most `most` of the values, evenly chosen, the ends among them."""
    if len(values) <= most:
        return values
    index = np.unique(np.round(np.linspace(0, len(values) - 1, most)).astype(int))
    return np.asarray(values[index])

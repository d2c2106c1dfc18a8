"""Hand strips of a deck under a moving vehicle.

Sagging in every bay, hogging and sagging over every line, strips along free edges. The strip is a
continuous beam over the deck's lines; the vehicle is moved to its worst place exactly and each
axle is shared out over the width that the standard gives (`strips.StripSet`).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from pipelines.deck.traffic import Direction
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Vehicle
from pipelines.standards.strip_widths.method import StripMethod
from pipelines.standards.strip_widths.sets import FIRST_SET, StripSet
from pipelines.strips.axle_widths import SoughtSection, strip_trains
from pipelines.strips.beam import Side, StripBeam, moment_lines
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.trains import (
    DIRECTIONS,
    Extreme,
    Reach,
    Train,
    bay_sagging,
    distinct,
    response,
    support_moment,
    support_sections,
)
from plate.arrays import Floats

SINGLE_VEHICLE = "single vehicle, not the load model"
Limits = Mapping[Direction, tuple[float, float]]


@dataclass(frozen=True)
class Sought:
    """A moment of the strip beam: sagging (sign = 1) or hogging (-1).

    Anywhere in a bay, or over a support, `offset` [m] to either side of its centre.
    """

    sign: float
    bay: int | None = None
    support: int = 0
    offset: float = 0.0

    def sections(self, beam: StripBeam) -> list[tuple[Side, Floats]]:
        """The sections of a moment over a support (1,) and their sides."""
        return support_sections(beam, self.support, self.offset)

    def worst(
        self, beam: StripBeam, train: Train, directions: Sequence[Direction], within: Reach
    ) -> Extreme:
        """Its largest value under a train."""
        if self.bay is not None:
            return bay_sagging(beam, self.bay, train, directions, within)
        return support_moment(beam, self.support, train, self.sign, self.offset, directions, within)


@dataclass(frozen=True, kw_only=True)
class StripMoment:
    """The largest moment of one vehicle by one standard's strip.

    lines : names of the bay's two lines or of the line; at : where the section lies.
    value : [N m per m], sagging positive; None where the method is outside its range, for `reason`.
    section, station : of the section and of the vehicle's first axle [m], along the strip; of a
        strip across traffic `station` is the offset of the vehicle's centre line. station and
        direction are None where the vehicle causes no moment of that sign.
    span : the span that the method reads [m]. width : moment of all loads at work on the beam over
        `value` [m]: along traffic the width that carries an axle, on average over the axles at
        work; across it the width that carries `axles` axles together.
    edge : name of the free edge that the strip runs along, "" within the slab.
    """

    strips: str
    method: StripMethod
    vehicle: str
    lines: tuple[str, ...]
    effect: Literal["sagging", "hogging"]
    at: Literal["bay", "centre line", "face", "over line"]
    span: float
    value: float | None = None
    section: float | None = None
    station: float | None = None
    direction: Direction | None = None
    width: float | None = None
    axles: int = 1
    reason: str = ""
    edge: str = ""
    caution: str = SINGLE_VEHICLE


def strip_moments(
    deck: StripDeck,
    vehicle: Vehicle,
    sets: Sequence[StripSet] = FIRST_SET,
    directions: Sequence[Direction] = DIRECTIONS,
    limits: Limits | None = None,
) -> tuple[StripMoment, ...]:
    """Sagging of every bay, then hogging over every line, at its centre and its faces, and sagging
    over it, by each set.

    limits : offsets between which the vehicle's centre line may run, for a strip across traffic;
        None = anywhere. A pinned last line without overhang has no moment and no entry.
    """
    solve = StripSolve(deck, vehicle, directions, limits)
    found = []
    for strips in sets:
        for bay in deck.bays:
            found += solve.twice(strips, bay, len(deck.bays), solve.sagging)
        for support in range(len(deck.beam.supports)):
            found += solve.twice(strips, support, len(deck.beam.supports), solve.over_line)
    return tuple(found)


def edge_moments(
    deck: StripDeck,
    vehicle: Vehicle,
    edge: str,
    distances: Mapping[str, float],
    bays: Sequence[int],
    sets: Sequence[StripSet] = FIRST_SET,
    directions: Sequence[Direction] = DIRECTIONS,
    limits: Limits | None = None,
) -> tuple[StripMoment, ...]:
    """Sagging of strips along a free edge in some bays.

    edge : its name. distances : "wheel" from it to the nearest wheel's centre, and "rail" to the
        barrier or the first line that carries it [m]; each set reads one (`StripSet.edge_from`).
    """
    solve = StripSolve(deck, vehicle, directions, limits)
    return tuple(
        replace(one, edge=edge)
        for strips in sets
        for bay in bays
        for one in solve.sagging(strips, bay, distances[strips.edge_from])
    )


def edge_hogging(
    deck: StripDeck,
    vehicle: Vehicle,
    edge: str,
    distances: Mapping[str, float],
    support: int,
    sets: Sequence[StripSet] = FIRST_SET,
    directions: Sequence[Direction] = DIRECTIONS,
    limits: Limits | None = None,
) -> tuple[StripMoment, ...]:
    """Hogging over a line of strips along a free edge, at its centre and its faces; otherwise as
    `edge_moments`."""
    solve = StripSolve(deck, vehicle, directions, limits)
    return tuple(
        replace(one, edge=edge)
        for strips in sets
        for one in solve.over_line(strips, support, distances[strips.edge_from])
        if one.at != "over line"
    )


@dataclass
class StripSolve:
    """One vehicle on one strip; keeps what a mirrored bay or line can take over."""

    deck: StripDeck
    vehicle: Vehicle
    directions: Sequence[Direction]
    limits: Limits | None
    mirrored: dict[tuple[str, int, str], list[StripMoment]] = field(default_factory=dict)
    turns: bool = False

    def __post_init__(self) -> None:
        beam = self.deck.beam
        middle = beam.start + beam.end
        self.turns = self.deck.is_mirrored and len(self.directions) == 2
        if self.limits is not None:
            (low, high), (back_low, back_high) = self.limits["forward"], self.limits["reverse"]
            alike = abs(low + back_high - middle) < 1e-9 and abs(high + back_low - middle) < 1e-9
            self.turns = self.turns and alike

    def twice(
        self,
        strips: StripSet,
        place: int,
        count: int,
        solve: Callable[[StripSet, int], list[StripMoment]],
    ) -> list[StripMoment]:
        """What `solve` finds at the place, or its twin's found before, seen in the mirror."""
        twin = count - 1 - place
        if not self.turns or place <= twin:
            found = solve(strips, place)
            self.mirrored[strips.name, place, solve.__name__] = found
            return found
        return [self._turned(one) for one in self.mirrored[strips.name, twin, solve.__name__]]

    def sagging(self, strips: StripSet, bay: int, edge: float | None = None) -> list[StripMoment]:
        deck, beam = self.deck, self.deck.beam
        left, right = beam.supports[bay], beam.supports[bay + 1]
        method = strips.method(deck.bars, hogging=False, edge=edge is not None)
        empty = StripMoment(
            strips=strips.name,
            method=method,
            vehicle=self.vehicle.name,
            lines=(left.name, right.name),
            effect="sagging",
            at="bay",
            span=method.span_of(deck.span_input(self.vehicle.axles[0], bay)),
        )
        return self.filled(strips, SoughtSection((bay,), edge=edge), [(empty, Sought(1.0, bay))])

    def over_line(
        self, strips: StripSet, support: int, edge: float | None = None
    ) -> list[StripMoment]:
        deck, beam = self.deck, self.deck.beam
        line = beam.supports[support]
        bays = tuple(i for i in (support - 1, support) if i in deck.bays)
        overhang = deck.overhang(support)
        if len(bays) == 1 and overhang == 0 and line.k_rot == 0:
            return []
        along = strips.method(deck.bars, hogging=True, edge=edge is not None)
        method = strips.overhang if overhang else along
        narrow = min(bays, key=lambda i: beam.bay(i)[1] - beam.bay(i)[0])
        span_input = deck.span_input(self.vehicle.axles[0], narrow)
        centre = StripMoment(
            strips=strips.name,
            method=method,
            vehicle=self.vehicle.name,
            lines=(line.name,),
            effect="hogging",
            at="centre line",
            span=overhang or method.span_of(span_input),
        )
        wanted = [(centre, Sought(-1.0, support=support))]
        if line.width > 0:
            face = Sought(-1.0, support=support, offset=line.hogging_at)
            wanted.append((replace(centre, at="face"), face))
        if len(bays) == 2:
            sagging = replace(centre, effect="sagging", at="over line")
            wanted.append((sagging, Sought(1.0, support=support)))
        return self.filled(strips, SoughtSection(bays, support, edge), wanted)

    def filled(
        self, strips: StripSet, focus: SoughtSection, wanted: Sequence[tuple[StripMoment, Sought]]
    ) -> list[StripMoment]:
        """The moments sought, each with its value or the reason why there is none."""
        try:
            trains = strip_trains(self.deck, self.vehicle, strips, focus)
        except MethodRangeError as error:
            return [replace(empty, reason=str(error)) for empty, _ in wanted]
        return [self._worst(empty, sought, trains) for empty, sought in wanted]

    def _worst(self, empty: StripMoment, sought: Sought, trains: Sequence[Train]) -> StripMoment:
        best, of = None, trains[0]
        for train in trains:
            for found in self._searched(sought, train):
                if best is None or abs(found.value) > abs(best.value) * (1.0 + 1e-12):
                    best, of = found, train
        assert best is not None
        filled = replace(empty, value=best.value, section=best.section)
        if best.station is None or best.direction is None:
            return filled
        whole = Train(tuple(replace(load, width=1.0) for load in of.loads))
        lines = moment_lines(self.deck.beam, [best.section], best.side)
        moment = response(lines, whole, best.direction).at(best.station)[0, 0]
        return replace(
            filled,
            station=best.station,
            direction=best.direction,
            width=float(moment) / best.value,
            axles=of.axles,
        )

    def _searched(self, sought: Sought, train: Train) -> list[Extreme]:
        beam, limits = self.deck.beam, self.limits
        if limits is None:
            return [sought.worst(beam, train, self.directions, None)]
        return [
            sought.worst(beam, train, (d,), limits[d]) for d in distinct(train, self.directions)
        ]

    def _turned(self, moment: StripMoment) -> StripMoment:
        beam = self.deck.beam
        middle = beam.start + beam.end
        names = [support.name for support in beam.supports]
        lines = tuple(names[-1 - names.index(name)] for name in reversed(moment.lines))
        section = None if moment.section is None else middle - moment.section
        if moment.station is None or moment.direction is None:
            return replace(moment, lines=lines, section=section)
        back: Direction = "reverse" if moment.direction == "forward" else "forward"
        station, alike = middle - moment.station, self.alike(moment)
        if alike is not None:  # the vehicle turned is the vehicle itself, its last axle first
            back, station = moment.direction, station + alike
        return replace(moment, lines=lines, section=section, station=station, direction=back)

    def alike(self, moment: StripMoment) -> float | None:
        """How far the last load is behind the first [m] of a vehicle that turned round is itself;
        None of any other."""
        return self._length if self._symmetric else None

    @property
    def _length(self) -> float:
        if self.deck.bars == "across":
            return 0.0
        return max(axle.at for axle in self.vehicle.axles)

    @property
    def _symmetric(self) -> bool:
        """Whether turning round changes nothing along the strip."""
        if self.deck.bars == "across":
            return all(
                sorted(round(y, 9) for y in a.wheels) == sorted(round(-y, 9) for y in a.wheels)
                for a in self.vehicle.axles
            )
        last = self._length

        def row(at: float, k: int) -> tuple[object, ...]:
            axle = self.vehicle.axles[k]
            return (round(at, 9), axle.load, tuple(sorted(axle.wheels)), axle.patch)

        count = range(len(self.vehicle.axles))
        ahead = sorted(row(self.vehicle.axles[k].at, k) for k in count)
        return ahead == sorted(row(last - self.vehicle.axles[k].at, k) for k in count)

"""One-way shear near every line by hand: the strip beam's shear over the widths of the shear rules.

The section is at the effective depth from the face of the line; the vehicle is moved to its worst
place exactly. Loads nearer to the face than the section pass it by and count only as far as the
beam says.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pipelines.deck.traffic import Direction
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.standards.resistance.shear import LEAST_SHARE_FIB, near_support_factor
from pipelines.standards.strip_widths.method import StripInput, StripMethod
from pipelines.standards.strip_widths.sets import METHODS
from pipelines.strips.axle_widths import all_runs, axle_width, in_pieces
from pipelines.strips.beam import Side, shear_lines
from pipelines.strips.deck_strip import StripDeck
from pipelines.strips.piecewise import resolved
from pipelines.strips.trains import (
    DIRECTIONS,
    Extreme,
    StripLoad,
    Train,
    WidthFunction,
    distinct,
    response,
    worst,
)
from plate.arrays import Floats

Limits = Mapping[Direction, tuple[float, float]]
MODEL_CODE = METHODS["shear-model-code-2010"]
SHEAR_METHODS = (
    METHODS["shear-45-far-side"],
    METHODS["shear-45-centre"],
    MODEL_CODE,
    METHODS["heft240-shear"],
)


@dataclass(frozen=True, kw_only=True)
class StripShear:
    """The largest shear of one vehicle at `section` [m] by one rule.

    value : magnitude [N/m], None where the rule is outside its range, for `reason`.
    line : whose face the section lies beside; bay : the one it lies in.
    station, direction, width, axles : as in `StripMoment`.
    """

    method: StripMethod
    vehicle: str
    line: str
    bay: int
    section: float
    span: float
    value: float | None = None
    station: float | None = None
    direction: Direction | None = None
    width: float | None = None
    axles: int = 1
    reason: str = ""


def strip_shears(
    deck: StripDeck,
    vehicle: Vehicle,
    d: float,
    methods: Sequence[StripMethod] = SHEAR_METHODS,
    directions: Sequence[Direction] = DIRECTIONS,
    limits: Limits | None = None,
) -> tuple[StripShear, ...]:
    """Shear at d [m] from the face of every line, on each of its sides that a bay lies at."""
    found: list[StripShear] = []
    turns = deck.is_mirrored and len(directions) == 2 and limits is None
    last = len(deck.beam.supports) - 1
    for method in methods:
        seen: dict[tuple[int, int], StripShear] = {}
        for support in range(last + 1):
            for bay in (support - 1, support):
                if bay not in deck.bays:
                    continue
                twin = (last - support, last - 1 - bay)
                if turns and twin in seen:
                    seen[support, bay] = turned_shear(deck, seen[twin], support, bay)
                else:
                    seen[support, bay] = _shear(
                        deck, vehicle, d, method, support, bay, directions, limits
                    )
        found += seen.values()
    return tuple(found)


def turned_shear(
    deck: StripDeck, shear: StripShear, support: int, bay: int, alike: float | None = None
) -> StripShear:
    """The shear of a strip seen from its other end, under the vehicle turned round.

    alike : of a vehicle that is itself then, how far its last load is behind the first [m].
    """
    middle = deck.beam.start + deck.beam.end
    turned = replace(
        shear, line=deck.beam.supports[support].name, bay=bay, section=middle - shear.section
    )
    if shear.station is None:
        return turned
    if alike is not None:
        return replace(turned, station=middle - shear.station + alike)
    back: Direction = "reverse" if shear.direction == "forward" else "forward"
    return replace(turned, station=middle - shear.station, direction=back)


def _shear(
    deck: StripDeck,
    vehicle: Vehicle,
    d: float,
    method: StripMethod,
    support: int,
    bay: int,
    directions: Sequence[Direction],
    limits: Limits | None,
) -> StripShear:
    beam = deck.beam
    empty, away = empty_shear(deck, vehicle.name, d, method, support, bay)
    section = empty.section
    if empty.reason:
        return empty
    try:
        trains = shear_trains(deck, vehicle, d, method, support, bay)
    except MethodRangeError as error:
        return replace(empty, reason=str(error))
    side: Side = "right"
    at = np.array([section])
    lines = shear_lines(beam, at, side)
    best, of = Extreme(value=0.0, section=section, side=side), trains[0]
    for train in trains:
        for direction in distinct(train, directions):
            within = None if limits is None else limits[direction]
            found = worst(lines, train, at, side, away, (direction,), within)
            if abs(found.value) > abs(best.value) * (1.0 + 1e-12):
                best, of = found, train
    if best.station is None or best.direction is None:
        return replace(empty, value=0.0)
    whole = Train(tuple(replace(load, width=1.0) for load in of.loads))
    resultant = response(lines, whole, best.direction).at(best.station)[0, 0]
    return replace(
        empty,
        value=abs(best.value),
        station=best.station,
        direction=best.direction,
        width=float(resultant) / best.value,
        axles=of.axles,
    )


def empty_shear(
    deck: StripDeck, name: str, d: float, method: StripMethod, support: int, bay: int
) -> tuple[StripShear, float]:
    """The shear still to be found, with the reason where it cannot be; and its sign."""
    line = deck.beam.supports[support]
    low, high = deck.beam.bay(bay)
    away = 1.0 if bay == support else -1.0
    section = line.at + away * (0.5 * line.width + d)
    inside = low < section < high
    reason = "" if inside else "the section lies beyond the bay"
    return StripShear(
        method=method,
        vehicle=name,
        line=line.name,
        bay=bay,
        section=section,
        span=high - low,
        reason=reason,
    ), away


def shear_trains(
    deck: StripDeck,
    vehicle: Vehicle,
    d: float,
    method: StripMethod,
    support: int,
    bay: int,
    extent: float | None = None,
) -> tuple[Train, ...]:
    """The vehicle on the strip for the shear beside a line; of several trains the hardest governs.

    extent : as in `strips_laws.strip_train`. Raises MethodRangeError outside the rule's range.
    """

    def load(at: float, force: float, axle: Axle, spread: float | None) -> StripLoad:
        span_input = deck.span_input(axle, bay)
        law = _law(deck, replace(span_input, d=d), axle, method, support, bay, spread)
        return StripLoad(at, force, span_input.contact[0], law)

    if deck.bars == "parallel":
        loads = [load(a.at, a.load * vehicle.impact, a, extent) for a in in_pieces(vehicle)]
        return (Train(tuple(loads)),)
    trains = []
    for run in all_runs(vehicle):
        spread = run[-1].at - run[0].at
        loads = [
            load(-y, a.load * vehicle.impact / len(a.wheels), a, spread)
            for a in run
            for y in a.wheels
        ]
        trains.append(Train(tuple(loads), axles=len(run)))
    return tuple(trains)


def _law(
    deck: StripDeck,
    strip_axle: StripInput,
    axle: Axle,
    method: StripMethod,
    support: int,
    bay: int,
    spread: float | None,
) -> WidthFunction:
    """The width as a function of the load's station."""
    line = deck.beam.supports[support]
    question = _Question(method, replace(strip_axle, support_width=line.width), axle.wheels, spread)
    half = 0.5 * question.one.span
    least = question.least
    if least >= half:
        raise MethodRangeError(f"{method.name}: no room for a wheel between face and middle")
    nodes = deck.beam.nodes
    grid = [line.at + s * x for x in (least, *_resolved(question), half) for s in (-1.0, 1.0)]
    inside = [x for x in grid if nodes[0] < x < nodes[-1]]
    return WidthFunction(
        lambda x: question.width(np.abs(x - line.at)), np.unique([*nodes, *inside])
    )


@dataclass(frozen=True)
class _Question:
    """A shear rule asked about an axle's wheels beside one line; hashable, so that equal bays
    share. spread : as in `strips_laws`."""

    method: StripMethod
    one: StripInput
    wheels: tuple[float, ...]
    spread: float | None

    @property
    def least(self) -> float:
        """Distance of a load whose near side is at the section [m]."""
        assert self.one.d is not None
        return 0.5 * (self.one.support_width + self.one.contact[0]) + self.one.d

    def width(self, distance: Floats) -> Floats:
        """Width [m] for loads at a distance (...) [m] from the line.

        Nearer than the section and beyond mid-span it stays what it is there. By the Model Code a
        load nearer than 2 d counts with the share a_v / 2 d.
        """
        one, method = self.one, self.method
        assert method.width is not None
        assert one.d is not None
        x = np.clip(distance, self.least, 0.5 * one.span)
        width = method.width(replace(one, position=x))
        if method == MODEL_CODE:
            a_v = x - 0.5 * (one.support_width + one.contact[0])
            width = width / near_support_factor(a_v, one.d, LEAST_SHARE_FIB)
        if self.spread is not None:
            return np.minimum(width + self.spread, one.slab_width)
        return axle_width(method, width, self.wheels, one.slab_width)


@lru_cache(maxsize=512)
def _resolved(question: _Question) -> tuple[float, ...]:
    return tuple(resolved(question.width, question.least, 0.5 * question.one.span))

"""Hand strips of a deck under a whole load model: moments and shears at the places of
`strips_moments` and `strips_shears`, with all lanes and distributed loads."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.errors import MethodRangeError
from pipelines.standards.actions.loads import Vehicle
from pipelines.standards.strip_widths.method import StripMethod
from pipelines.standards.strip_widths.sets import FIRST_SET, StripSet
from pipelines.strips.axle_widths import SoughtSection, strip_train, strip_trains
from pipelines.strips.beam import Side, moment_lines, shear_lines
from pipelines.strips.lanes import LaneStrips, LaneWorst
from pipelines.strips.moments import Sought, StripMoment, StripSolve
from pipelines.strips.piecewise import Piecewise
from pipelines.strips.shears import (
    SHEAR_METHODS,
    StripShear,
    empty_shear,
    shear_trains,
    turned_shear,
)
from pipelines.strips.trains import Train
from plate.arrays import Floats

# Sections tried in a bay, and about the worst of them.
SECTIONS = 25
CLOSER = 9


def model_moments(
    lanes: LaneStrips, sets: Sequence[StripSet] = FIRST_SET
) -> tuple[StripMoment, ...]:
    """The moments of a load model, as `moments.strip_moments`; `vehicle` is the load model's
    name."""
    solve = _ModelSolve.of(lanes)
    found = []
    for strips in sets:
        for bay in lanes.strip.bays:
            found += solve.twice(strips, bay, len(lanes.strip.bays), solve.sagging)
        for support in range(len(lanes.strip.beam.supports)):
            found += solve.twice(strips, support, len(lanes.strip.beam.supports), solve.over_line)
    return tuple(found)


def model_edge_moments(
    lanes: LaneStrips,
    edge: str,
    distances: Mapping[str, float],
    bay: int,
    sets: Sequence[StripSet] = FIRST_SET,
) -> tuple[StripMoment, ...]:
    """The moments of a load model along a free edge, as `moments.edge_moments`, for one bay."""
    solve = _ModelSolve.of(lanes)
    return tuple(
        replace(one, edge=edge)
        for strips in sets
        for one in solve.sagging(strips, bay, distances[strips.edge_from])
    )


def model_edge_hogging(
    lanes: LaneStrips,
    edge: str,
    distances: Mapping[str, float],
    support: int,
    sets: Sequence[StripSet] = FIRST_SET,
) -> tuple[StripMoment, ...]:
    """The hogging of a load model along a free edge, as `moments.edge_hogging`."""
    solve = _ModelSolve.of(lanes)
    return tuple(
        replace(one, edge=edge)
        for strips in sets
        for one in solve.over_line(strips, support, distances[strips.edge_from])
        if one.at != "over line"
    )


def model_shears(
    lanes: LaneStrips, d: float, methods: Sequence[StripMethod] = SHEAR_METHODS
) -> tuple[StripShear, ...]:
    """The shears of a load model, as `shears.strip_shears`."""
    found: list[StripShear] = []
    last = len(lanes.strip.beam.supports) - 1
    for method in methods:
        seen: dict[tuple[int, int], tuple[StripShear, float | None]] = {}
        for support in range(last + 1):
            for bay in (support - 1, support):
                if bay not in lanes.strip.bays:
                    continue
                twin = (last - support, last - 1 - bay)
                if lanes.turns and twin in seen:
                    shear, alike = seen[twin]
                    shear = turned_shear(lanes.strip, shear, support, bay, alike)
                    seen[support, bay] = shear, alike
                else:
                    seen[support, bay] = _shear(lanes, d, method, support, bay)
        found += [shear for shear, _ in seen.values()]
    return tuple(found)


def _shear(
    lanes: LaneStrips, d: float, method: StripMethod, support: int, bay: int
) -> tuple[StripShear, float | None]:
    """The shear, and `LaneWorst.alike` of it."""
    strip = lanes.strip
    empty, away = empty_shear(strip, lanes.model.name, d, method, support, bay)
    if empty.reason:
        return empty, None

    def trains(vehicle: Vehicle, extent: float | None) -> tuple[Train, ...]:
        return shear_trains(strip, vehicle, d, method, support, bay, extent)

    lines = shear_lines(strip.beam, [empty.section], "right")
    try:
        found = lanes.worst(trains, method, lines, away, edge=False)
    except MethodRangeError as error:
        return replace(empty, reason=str(error)), None
    shear = replace(
        empty,
        value=found.value,
        station=found.station,
        direction=found.direction,
        width=found.width,
        axles=found.axles,
    )
    return shear, found.alike


@dataclass
class _ModelSolve(StripSolve):
    """One load model on one strip."""

    lanes: LaneStrips | None = None
    made: dict[tuple[str, SoughtSection, Vehicle, float | None], tuple[Train, ...]] = field(
        default_factory=dict
    )
    _alike: dict[tuple[str, tuple[str, ...], str], float | None] = field(default_factory=dict)

    @classmethod
    def of(cls, lanes: LaneStrips) -> "_ModelSolve":
        first = lanes.model.kinds[0].vehicles[0]
        return cls(lanes.strip, first, lanes.directions, None, lanes=lanes)

    def __post_init__(self) -> None:
        assert self.lanes is not None
        self.turns = self.lanes.turns

    def alike(self, moment: StripMoment) -> float | None:
        return self._alike.get((moment.strips, moment.lines, moment.at))

    def filled(
        self, strips: StripSet, focus: SoughtSection, wanted: Sequence[tuple[StripMoment, Sought]]
    ) -> list[StripMoment]:
        try:
            return [self._under(strips, focus, empty, sought) for empty, sought in wanted]
        except MethodRangeError as error:
            return [self._named(replace(empty, reason=str(error))) for empty, _ in wanted]

    def _named(self, moment: StripMoment) -> StripMoment:
        assert self.lanes is not None
        return replace(moment, vehicle=self.lanes.model.name, caution="")

    def _under(
        self, strips: StripSet, focus: SoughtSection, empty: StripMoment, sought: Sought
    ) -> StripMoment:
        beam = self.deck.beam

        def worst(side: Side, sections: Floats) -> tuple[LaneWorst, float]:
            lines = moment_lines(beam, sections, side)
            found = self._worst_of(strips, focus, empty, sought.sign, lines)
            return found, float(sections[found.section])

        if sought.bay is None:
            tried = [worst(*pair) for pair in sought.sections(beam)]
        else:
            low, high = beam.bay(sought.bay)
            sections = np.linspace(low, high, SECTIONS)
            tried = [worst("right", sections)]
            step = sections[1] - sections[0]
            near = tried[0][1] + step * np.linspace(-1.0, 1.0, CLOSER)
            tried.append(worst("right", np.clip(near, low, high)))
        found, section = max(tried, key=lambda pair: pair[0].value)
        self._alike[strips.name, empty.lines, empty.at] = found.alike
        return self._named(
            replace(
                empty,
                value=sought.sign * found.value,
                section=section,
                station=found.station,
                direction=found.direction,
                width=found.width,
                axles=found.axles,
            )
        )

    def _worst_of(
        self,
        strips: StripSet,
        focus: SoughtSection,
        empty: StripMoment,
        sign: float,
        lines: Piecewise,
    ) -> LaneWorst:
        assert self.lanes is not None

        def trains(vehicle: Vehicle, extent: float | None) -> tuple[Train, ...]:
            key = (strips.name, focus, vehicle, extent)
            if key not in self.made:
                self.made[key] = (
                    (strip_train(self.deck, vehicle, strips, focus, extent),)
                    if self.deck.bars == "parallel"
                    else tuple(strip_trains(self.deck, vehicle, strips, focus))
                )
            return self.made[key]

        return self.lanes.worst(trains, empty.method, lines, sign, focus.edge is not None)

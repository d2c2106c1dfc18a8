"""Hand strips along a deck on cross lines, under a moving vehicle.

Sagging for every bay and hogging over every line. The strip is a continuous beam over the deck's
cross lines, its bars parallel to traffic. The vehicle is moved to its worst place exactly; each
axle is shared out over the width that the standard gives (`strips.StripSet`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from pipelines.deck import Vehicle
from pipelines.errors import MethodRangeError
from pipelines.stripbeam import moment_lines
from pipelines.strips import FIRST_SET, StripSet
from pipelines.strips_deck import StripDeck
from pipelines.strips_input import StripMethod
from pipelines.strips_laws import Focus, strip_train
from pipelines.strips_train import (
    DIRECTIONS,
    Direction,
    Extreme,
    Train,
    bay_sagging,
    response,
    support_hogging,
)

SINGLE_VEHICLE = "single vehicle, not the load model"


@dataclass(frozen=True)
class StripMoment:
    """The largest moment of one vehicle by one standard's strip.

    lines : names of the bay's two lines or of the line; at : where the section lies.
    value : [N m per m], sagging positive; None where the method is outside its range, for `reason`.
    section, station : of the section and of the vehicle's first axle [m]; station and direction
        are None where the vehicle causes no moment of that sign.
    span : the span that the method reads [m]. width : moment of the whole vehicle on the beam over
        `value` [m], so the width that carries an axle, on average over the axles at work.
    """

    strips: str
    method: StripMethod
    vehicle: str
    lines: tuple[str, ...]
    effect: Literal["sagging", "hogging"]
    at: Literal["bay", "centre line", "face"]
    span: float
    value: float | None = None
    section: float | None = None
    station: float | None = None
    direction: Direction | None = None
    width: float | None = None
    reason: str = ""
    caution: str = SINGLE_VEHICLE


def strip_moments(
    deck: StripDeck,
    vehicle: Vehicle,
    sets: Sequence[StripSet] = FIRST_SET,
    directions: Sequence[Direction] = DIRECTIONS,
) -> tuple[StripMoment, ...]:
    """Sagging of every bay and hogging over every line, at its centre and its faces, by each set.

    A pinned last line without overhang has no hogging and no entry.
    """
    beam = deck.beam
    found = []
    for strips in sets:
        for bay in range(len(beam.supports) - 1):
            found.append(_sagging(deck, vehicle, strips, bay, directions))
        for support in range(len(beam.supports)):
            found.extend(_hogging(deck, vehicle, strips, support, directions))
    return tuple(found)


def _sagging(
    deck: StripDeck,
    vehicle: Vehicle,
    strips: StripSet,
    bay: int,
    directions: Sequence[Direction],
) -> StripMoment:
    left, right = deck.beam.supports[bay], deck.beam.supports[bay + 1]
    empty = StripMoment(
        strips=strips.name,
        method=strips.sagging,
        vehicle=vehicle.name,
        lines=(left.name, right.name),
        effect="sagging",
        at="bay",
        span=strips.sagging.span_of(deck.span_input(vehicle.axles[0], bay)),
    )
    try:
        train = strip_train(deck, vehicle, strips, Focus((bay,)))
    except MethodRangeError as error:
        return replace(empty, reason=str(error))
    return _filled(deck, vehicle, empty, train, bay_sagging(deck.beam, bay, train, directions))


def _hogging(
    deck: StripDeck,
    vehicle: Vehicle,
    strips: StripSet,
    support: int,
    directions: Sequence[Direction],
) -> list[StripMoment]:
    beam = deck.beam
    line = beam.supports[support]
    bays = tuple(i for i in (support - 1, support) if 0 <= i < len(beam.supports) - 1)
    overhang = deck.overhang(support)
    if len(bays) == 1 and overhang == 0 and line.k_rot == 0:
        return []
    method = strips.overhang if overhang else strips.hogging
    narrow = min(bays, key=lambda i: beam.bay(i)[1] - beam.bay(i)[0])
    one = deck.span_input(vehicle.axles[0], narrow)
    empty = StripMoment(
        strips=strips.name,
        method=method,
        vehicle=vehicle.name,
        lines=(line.name,),
        effect="hogging",
        at="centre line",
        span=overhang or method.span_of(one),
    )
    entries = [(empty, 0.0)]
    if line.width > 0:
        entries.append((replace(empty, at="face"), 0.5 * line.width))
    try:
        train = strip_train(deck, vehicle, strips, Focus(bays, support))
    except MethodRangeError as error:
        return [replace(entry, reason=str(error)) for entry, _ in entries]
    return [
        _filled(
            deck, vehicle, entry, train, support_hogging(beam, support, train, offset, directions)
        )
        for entry, offset in entries
    ]


def _filled(
    deck: StripDeck, vehicle: Vehicle, empty: StripMoment, train: Train, found: Extreme
) -> StripMoment:
    filled = replace(empty, value=found.value, section=found.section)
    if found.station is None or found.direction is None:
        return filled
    whole = Train(tuple(replace(load, width=1.0) for load in train.loads))
    lines = moment_lines(deck.beam, [found.section], found.side)
    moment = response(lines, whole, found.direction).at(found.station)[0, 0]
    return replace(
        filled,
        station=found.station,
        direction=found.direction,
        width=float(moment) / found.value,
    )

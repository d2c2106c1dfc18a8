"""Governing values where they are largest under the loads that are worst for them.

At the steps of the load positions one point of the deck governs; under the traffic that is worst
for it, or that traffic moved along the deck by shares of a step, another one may have more. What
is worst there is looked for in turn, and so on while the place moves.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipelines.accuracy.worst_loads import WorstLoad, worst_loads
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import FieldEnvelope
from pipelines.envelopes.governing_loads import governing_arrangement_loads
from pipelines.envelopes.peaks import BENDING, Peak
from pipelines.model.fixed_loads import loads_of
from pipelines.model.influence import field_rows, surfaces
from pipelines.model.readable import Mask, ReadablePoints
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.lanes import TIE
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS

# A place moves no more often than this.
MOST = 4
# How far loads are moved along the deck, in steps.
MOVES = (-0.5, -0.25, 0.25, 0.5)


Known = Mapping[tuple[int, int, int], WorstLoad]
"""Worst loads of results in RESULTS, field points, maxima 1 or minima -1."""


def climbed(
    solved: SolvedDeck, envelope: TrafficEnvelope, governing: Sequence[Peak]
) -> tuple[TrafficEnvelope, Known]:
    """The envelope with the larger values at the points to which its governing values move, and the
    worst loads found there; where the worst traffic is found by pieces in little time, on straight
    decks of rectangular cells."""
    if not finds_worst(solved):
        return envelope, {}
    first = [peak for peak in governing if not peak.knife_edge and peak.number >= 0]
    peaks, found = list(first), worst_at(solved, envelope, first)
    moving = list(range(len(first)))
    for _ in range(MOST):
        moving = [k for k in moving if found[k].position is not None]
        if not moving:
            break
        points = _elsewhere(solved, envelope, [(peaks[k], found[k]) for k in moving])
        there = [replace(peaks[k], point=at) for k, at in zip(moving, points, strict=True)]
        again = worst_at(solved, envelope, there)
        moved = []
        for k, peak, worst in zip(moving, there, again, strict=True):
            joint = envelope.joint[[peaks[k].point, peak.point]]
            before, after = peak.sign * joint * [found[k].value, worst.value]
            if after > before + TIE * abs(before):
                moved.append(k)
                peaks[k], found[k] = peak, worst
        moving = moved
    changed = [k for k in range(len(first)) if peaks[k].point != first[k].point]
    known = {(p.component, p.point, p.sign): one for p, one in zip(peaks, found, strict=True)}
    moved_to = [peaks[k] for k in changed], [found[k] for k in changed]
    return _with(solved, envelope, *moved_to), known


def _elsewhere(
    solved: SolvedDeck, envelope: TrafficEnvelope, known: Sequence[tuple[Peak, WorstLoad]]
) -> list[int]:
    """Of each governing value the other point that has most under its worst traffic, or under that
    moved along the deck."""
    every, numbers = joined(envelope, [worst for _, worst in known])
    held = _held(solved, every, [peak for peak, _ in known], numbers)
    more = [moved_along(solved, load) for load in held]
    loads = [one for load, moved in zip(held, more, strict=True) for one in (load, *moved)]
    owner = np.repeat(np.arange(len(held)), [1 + len(moved) for moved in more])
    best, point = np.full(len(held), -np.inf), [peak.point for peak, _ in known]
    for part, solution in solved.stiffness.in_blocks(loads_of(solved.model, loads)):
        fields = solved.recovery.fields(solution)
        for k, field in zip(owner[part].tolist(), fields.transpose(2, 0, 1), strict=True):
            peak = known[k][0]
            size = peak.sign * field[peak.component] * envelope.joint
            size[~counts(solved.reading, peak)] = -np.inf
            size[peak.point] = -np.inf
            if size.max() > best[k]:
                best[k], point[k] = size.max(), int(size.argmax())
    return point


def _held(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak], numbers: Ints
) -> list[WheelPatches]:
    """The loads of arrangements where they govern."""
    places = [
        (peak.point, peak.component, peak.sign, number)
        for peak, number in zip(peaks, numbers.tolist(), strict=True)
    ]
    return governing_arrangement_loads(solved, envelope, places)


def worst_at(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak]
) -> list[WorstLoad]:
    """The worst traffic of values at their field points, by pieces in little time where
    `finds_worst` says so."""
    components = [peak.component for peak in peaks]
    e = envelope.fields.extremes
    largest = np.maximum(np.abs(e.maximum), np.abs(e.minimum))
    sizes = np.array([largest[peak.component, peak.point] for peak in peaks])
    rows = field_rows(solved, [peak.point for peak in peaks], components)
    return worst_loads(
        solved.deck,
        surfaces(solved.stiffness, rows),
        [(k, peak.sign) for k, peak in enumerate(peaks)],
        envelope.model,
        sizes=sizes,
        starts=[envelope.position(peak.number) for peak in peaks],
    )


def _with(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    peaks: Sequence[Peak],
    found: Sequence[WorstLoad],
) -> TrafficEnvelope:
    """The envelope with the results at the points of governing values under their worst traffic,
    where they are larger."""
    if not peaks:
        return envelope
    envelope, numbers = joined(envelope, found)
    beside = np.empty((len(peaks), len(RESULTS)))
    for part, solution in solved.stiffness.in_blocks(
        loads_of(solved.model, _held(solved, envelope, peaks, numbers))
    ):
        fields = solved.recovery.fields(solution)
        for k, field in zip(range(len(peaks))[part], fields.transpose(2, 0, 1), strict=True):
            beside[k] = field[:, peaks[k].point]
    sign = np.array([peak.sign for peak in peaks])
    component = np.array([peak.component for peak in peaks])
    at = np.array([peak.point for peak in peaks])
    value = beside[np.arange(len(peaks)), component]
    kinds = [one.position.lanes[0].kind if one.position else None for one in found]

    def with_larger(fields: FieldEnvelope, own: Mask) -> FieldEnvelope:
        e = fields.extremes
        before = np.where(sign > 0, e.maximum[component, at], e.minimum[component, at])
        own = own & (sign * (value - before) > 0.0)
        where = component[own], at[own]
        return fields.replaced(sign[own], where, value[own], numbers[own], beside[own])

    of_vehicles = {
        name: with_larger(fields, np.array([kind == name for kind in kinds], dtype=bool))
        for name, fields in envelope.of_vehicles.items()
    }
    every = with_larger(envelope.fields, np.ones(len(peaks), dtype=bool))
    return replace(envelope, fields=every, of_vehicles=of_vehicles)


def counts(reading: ReadablePoints, peak: Peak) -> Mask:
    """Points (n_point,) at which a value of this kind may govern."""
    hogs = peak.component in BENDING and peak.sign < 0
    return reading.hogging if hogs else reading.headline(peak.component)


def finds_worst(solved: SolvedDeck) -> bool:
    """Whether the worst traffic of a value is found by pieces in little time."""
    traffic = solved.deck.traffic
    along_x = solved.deck.plan.alignment.straight and (traffic is None or traffic.axis is None)
    return along_x and bool(solved.model.mesh.upright.all())


def moved_along(solved: SolvedDeck, load: WheelPatches) -> list[WheelPatches]:
    """A load moved along the deck by shares of a step."""
    return [
        WheelPatches(moved_by(solved, load.corners, share), load.load, load.position)
        for share in MOVES
    ]


def moved_by(solved: SolvedDeck, pieces: Floats, share: float) -> Floats:
    """Plan points (..., n, 2) of small pieces moved along the deck by a share of a step [m]."""
    deck = solved.deck
    return deck.course.moved(pieces, share * deck.required_traffic.step)


def joined(envelope: TrafficEnvelope, found: Sequence[WorstLoad]) -> tuple[TrafficEnvelope, Ints]:
    """The envelope with the arrangements of worst loads among its own, each once, and the number
    (n,) of each."""
    positions = [one.position for one in found if one.position is not None]
    different = list(dict.fromkeys(positions))
    more, numbers = envelope.with_arrangements(different)
    return more, numbers[[different.index(one) for one in positions]]

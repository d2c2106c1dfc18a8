"""Governing values off the field points: shears at wheels, moments and deflections between points.

A place is one of the plan, so it is read on any mesh of the deck, on the side on which the field
point beside it lies, shears with what readings lack of those that wheels make by themselves
(`plate.results.kinks`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.accuracy.mesh_parts import DOUBT, SAFETY, TENSORS, mesh_parts
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import Peak
from pipelines.model.fixed_loads import known_patches, values_under
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.arrangements import Arrangement
from pipelines.traffic.positions import WheelPatches
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats, Ints
from plate.conventions import RESULTS
from plate.results.fields import field_points
from plate.results.functionals import component_rows
from plate.results.kinks import shears_missed
from plate.results.places import on_sides, side_of
from plate.solver.stiffness import Stiffness


@dataclass(frozen=True, eq=False, kw_only=True)
class Spot:
    """Places (n, 2) [m] beside a field point, under one load, for a governing value.

    component, sign : of the governing value; position : of the load.
    """

    component: int
    sign: int
    point: int
    position: Arrangement
    held: WheelPatches
    places: Floats


@dataclass(frozen=True, eq=False, kw_only=True)
class OffPoint:
    """A governing value off the field points.

    value : at the first place of the first of the spots, which come near to governing, the largest
    first [SI]; step : how much more the first may be under other loads than its own [SI]; proven :
    whether that is an upper bound of all loads, or only what a search may have missed.
    """

    value: float
    step: float
    proven: bool
    spots: tuple[Spot, ...]


def told_off_points(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    peaks: Sequence[Peak],
    larger: Sequence[OffPoint | None],
) -> tuple[TrafficEnvelope, list[Peak], list[OffPoint | None]]:
    """Governing values with those that are larger off the field points, and the envelope with their
    loads among its own; for each of those what was read, None for all other values."""
    found, read = list(peaks), list(larger)
    off = [(k, one) for k, one in enumerate(larger) if one is not None]
    if not off:
        return envelope, found, read
    spots = [replace(one.spots[0], places=one.spots[0].places[:1]) for _, one in off]
    envelope, numbers = envelope.with_arrangements([spot.position for spot in spots])
    every = [spot for spot in spots for _ in RESULTS]
    kinds = np.tile(np.arange(len(RESULTS)), len(spots))
    read_there = read_spots(solved, solved.stiffness, every, kinds)
    results = np.concatenate(read_there).reshape(len(spots), len(RESULTS))
    for (k, one), spot, number, there in zip(off, spots, numbers.tolist(), results, strict=True):
        value = float(there[spot.component])
        read[k] = replace(one, value=value)
        found[k] = replace(
            peaks[k],
            value=value * float(RESULT_SCALE[spot.component]),
            at=(float(spot.places[0, 0]), float(spot.places[0, 1])),
            position=spot.position,
            coexisting=tuple((there * RESULT_SCALE).tolist()),
            point=spot.point,
            number=number,
            held=spot.held,
        )
    return envelope, found, read


def off_point_mesh_parts(
    solved: SolvedDeck, off: Sequence[OffPoint], richer: Stiffness
) -> list[float]:
    """Mesh part of the error of governing values off the field points [SI]: by how much a richer
    mesh has other values at the first place of their spots, or a larger one around any of them,
    times the factor on differences of two meshes; on a deck on points of support, beside whose
    squares both meshes err alike, no less than what is doubtful of what is lacking."""
    spots = [spot for one in off for spot in one.spots]
    if not spots:
        return []
    n, component = len(spots), np.array([spot.component for spot in spots])
    asked = [(k, other) for k, spot in enumerate(spots) for other in TENSORS[spot.component]]
    owner, result = np.array(asked, dtype=np.int64).T
    first = [replace(spots[k], places=spots[k].places[:1]) for k in owner.tolist()]
    own, missed = _read(solved, solved.stiffness, first, result)
    there = read_spots(solved, richer, [*spots, *first], np.concatenate([component, result]))
    differences = np.zeros((n, len(RESULTS)))
    differences[owner, result] = np.concatenate(there[n:]) - own - missed
    parts = mesh_parts(differences)[np.arange(n), component]
    if solved.model.points:
        alike = result == component[owner]
        np.maximum.at(parts, owner[alike], DOUBT * np.abs(missed[alike]))
    most = [float((spot.sign * one).max()) for spot, one in zip(spots, there[:n], strict=True)]
    found, start = [], 0
    for one in off:
        mine = slice(start, start + len(one.spots))
        above = max(most[mine]) - abs(one.value)
        found.append(max(float(parts[mine].max()), SAFETY * above))
        start = mine.stop
    return found


def read_spots(
    solved: SolvedDeck,
    stiffness: Stiffness,
    spots: Sequence[Spot],
    components: Sequence[int] | Ints,
) -> list[Floats]:
    """Results (n,) [SI], one component of each spot, at its places under its load, shears with what
    is known to be lacking as they are read."""
    values, missed = _read(solved, stiffness, spots, components)
    many = [len(spot.places) for spot in spots]
    return np.split(values + missed, np.cumsum(many)[:-1])


def _read(
    solved: SolvedDeck,
    stiffness: Stiffness,
    spots: Sequence[Spot],
    components: Sequence[int] | Ints,
) -> tuple[Floats, Floats]:
    """Results (n,) of all places of spots, one component of each spot, as they are read, and what
    of them is known to be lacking."""
    model = stiffness.model
    whose = np.repeat(np.arange(len(spots)), [len(spot.places) for spot in spots])
    sides = [side_of(solved.model.mesh, solved.recovery.points, spot.point) for spot in spots]
    plan = np.concatenate([spot.places for spot in spots])
    places = on_sides(model.mesh, field_points(model), plan, np.array(sides)[whose])
    components = np.asarray(components)[whose]
    rows = component_rows(model, places, components)
    held = [spot.held for spot in spots]
    different = {id(one): one for one in held}
    numbers = [list(different).index(id(one)) for one in held]
    each = list(different.values())
    under = np.array(numbers)[whose]
    values = values_under(stiffness, each.__getitem__, rows, under)
    patches = known_patches(stiffness, each)
    return values, shears_missed(model, places, components, patches, under)

"""Governing moments and deflections where they stand: between the field points.

Points miss a peak that stands amid them by up to some per cent. So the run's own mesh is read
between its points around all those that come near to governing (`near_peaks`), under the loads that
govern there and these moved along the deck; where it has more, what is worst at that place is
looked for in turn, and so on while the place moves. Shears, which have their peaks at wheels, are
read there (`beside_wheels`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from pipelines.accuracy.climbed import MOVES, joined, moved_along
from pipelines.accuracy.near_peaks import Surroundings, looked_around
from pipelines.accuracy.spots import OffPoint, Spot
from pipelines.accuracy.worst_loads import worst_loads
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.governing_loads import governing_arrangement_loads, governing_loads
from pipelines.envelopes.peaks import SHEARS, Peak
from pipelines.model.fixed_loads import values_under
from pipelines.model.influence import surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import WheelPatches
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats, Ints
from plate.interpolation import shape
from plate.results.functionals import component_rows
from plate.results.places import on_sides, side_of

# Values between points that are larger by less than this share of them are covered by the stated
# errors and not worth another search; a place moves no more often than so.
LEAST, MOST = 1e-3, 3


def between_points(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak]
) -> list[OffPoint | None]:
    """Of governing values those moments and deflections that are larger between field points, None
    of all others."""
    found: list[OffPoint | None] = [None] * len(peaks)
    asked = [
        k
        for k, one in enumerate(peaks)
        if one.component not in SHEARS and not one.knife_edge and one.number >= 0
    ]
    if not asked:
        return found
    tree, own = KDTree(solved.recovery.points.xy), [peaks[k] for k in asked]
    around = [looked_around(solved, envelope, peak, solved.reading, tree) for peak in own]
    there = Surroundings.of(solved.reading, around)
    held = governing_arrangement_loads(solved, envelope, [at for one in around for at in one.held])
    whose = np.repeat(np.arange(len(own)), [len(one.held) for one in around])
    best = [abs(one.value) / RESULT_SCALE[one.component] for one in own]
    for _ in range(MOST):
        # the first load of each is that of its own value
        first = np.unique(whose, return_index=True)[1].tolist()
        moved = [one for k in first for one in moved_along(solved, held[k])]
        whose = np.concatenate([whose, np.repeat(whose[first], len(MOVES))])
        places = _larger(solved, there, [*held, *moved], whose, best)
        held, moving = [], []
        for place, one in zip(places, _worst_at(solved, envelope, own, places), strict=True):
            if one is not None and abs(one.value) > best[place.owner] * (1.0 + LEAST):
                found[asked[place.owner]] = one
                best[place.owner] = abs(one.value)
                held.append(one.spots[0].held)
                moving.append(place.owner)
        if not moving:
            break
        whose = np.array(moving)
    return found


@dataclass(frozen=True, eq=False)
class _Place:
    """A plan point (2,) [m] where a governing value is larger: which one, and the field point
    beside it."""

    owner: int
    point: int
    plan: Floats


def _larger(
    solved: SolvedDeck,
    there: Surroundings,
    loads: Sequence[WheelPatches],
    whose: Ints,
    best: Sequence[float],
) -> list[_Place]:
    """Where governing values are larger than the best so far under some loads (n,) of theirs."""
    mesh, between = solved.model.mesh, there.between
    size, _ = there.largest(solved.stiffness, loads, whose)
    found = []
    for owner in np.unique(whose).tolist():
        mine = np.flatnonzero(there.owner == owner)
        cell, place = np.unravel_index(int(size[mine].argmax()), size[mine].shape)
        if size[mine][cell, place] > best[owner] * (1.0 + LEAST):
            nodes = mesh.plan[mesh.cells[there.cells[mine[cell]]]]
            point = int(there.lattice[mine[cell], between.shares[place].argmax()])
            plan = (shape(mesh.order, between.at[[place]]) @ nodes)[0]
            found.append(_Place(owner, point, plan))
    return found


def _worst_at(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak], places: Sequence[_Place]
) -> list[OffPoint | None]:
    """Governing values at places under what is worst there; None where that is no load."""
    found: list[OffPoint | None] = [None] * len(places)
    if not places:
        return found
    mesh, fields = solved.model.mesh, solved.recovery.points
    of = [peaks[place.owner] for place in places]
    plan = np.array([place.plan for place in places])
    sides = np.array([side_of(mesh, fields, place.point) for place in places])
    component = [one.component for one in of]
    rows = component_rows(solved.model, on_sides(mesh, fields, plan, sides), component)
    worst = worst_loads(
        solved.deck,
        surfaces(solved.stiffness, rows),
        [(k, one.sign) for k, one in enumerate(of)],
        envelope.model,
        sizes=np.array([abs(one.value) / RESULT_SCALE[one.component] for one in of]),
        starts=[one.position for one in of],
    )
    chosen = [k for k, one in enumerate(worst) if one.position is not None]
    envelope, numbers = joined(envelope, worst)
    joint = envelope.joint[[places[k].point for k in chosen]]
    signs = np.array([of[k].sign for k in chosen])
    held = governing_loads(solved, envelope, rows[chosen], signs, numbers, joint)
    values = values_under(solved.stiffness, held.__getitem__, rows[chosen], np.arange(len(chosen)))
    for k, load, value, factor in zip(chosen, held, values.tolist(), joint.tolist(), strict=True):
        one, peak, position = worst[k], of[k], worst[k].position
        assert position is not None
        # the search cuts distributed loads into finer cells than the envelope
        more = max(peak.sign * (factor * one.value - value), 0.0)
        spot = Spot(
            component=peak.component,
            sign=peak.sign,
            point=places[k].point,
            position=position,
            held=load,
            places=plan[[k]],
        )
        step = factor * one.tolerance + more
        found[k] = OffPoint(value=value, step=step, proven=one.proven, spots=(spot,))
    return found

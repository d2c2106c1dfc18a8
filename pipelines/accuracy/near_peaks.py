"""What a richer mesh makes of the surroundings of governing values.

A governing value is the largest over the deck, but it is found at one point of a mesh, the one that
governs at the steps of the load positions: between points there may be more, and on a richer mesh
or between the steps another point may govern. So the richer mesh is read at its own points around
all those whose value is near the largest, under the loads that govern there, and at those with the
most of them under the same loads moved along the deck by shares of a step, shears there with what
is known to be lacking beside wheels.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from pipelines.accuracy.climbed import MOVES, counts, is_straight, moved_along
from pipelines.accuracy.mesh_parts import missed_under
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.governing_loads import governing_arrangement_loads
from pipelines.envelopes.peaks import SHEARS, Peak
from pipelines.model.build import usual_size
from pipelines.model.fixed_loads import loads_of, rows_under
from pipelines.model.readable import Mask, ReadablePoints
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats, Ints
from plate.results.fields import FieldPoints, field_points
from plate.results.functionals import component_rows
from plate.results.places import at_field_points
from plate.solver.solution import LocalRows
from plate.solver.stiffness import Stiffness

# For each governing value: points of the run's mesh looked around, those with the largest values of
# their own and no less than this share of it; loads held there. Of cells wider than usual, which
# tell the less of where it stands, so many times more, and of a share so many times less. Points of
# the richer mesh at which loads are moved.
POINTS, SHARE, LOADS, MOVED = 12, 0.9, 4, 3


@dataclass(frozen=True, eq=False)
class _Around:
    """The surroundings of a governing value: points of the richer mesh (n,), and the points of the
    run's own, with numbers of arrangements, whose loads are held."""

    peak: Peak
    points: Ints
    held: list[tuple[int, int, int, int]]


def largest_near(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak], richer: Stiffness
) -> Floats:
    """Largest value (n,) [SI] away from zero that the richer mesh has near the places of each of
    the governing values; -inf for knife edges and what no load makes."""
    found = np.full(len(peaks), -np.inf)
    those = [k for k, one in enumerate(peaks) if not one.knife_edge and one.number >= 0]
    if not those:
        return found
    fields = field_points(richer.model)
    finely = ReadablePoints(solved.deck, richer.model, richer.singular_places, fields)
    tree = KDTree(fields.xy)
    around = [_around(solved, envelope, peaks[k], finely, tree) for k in those]
    owner = np.repeat(np.arange(len(around)), [len(one.points) for one in around])
    whose = np.repeat(np.arange(len(around)), [len(one.held) for one in around])
    sign = np.array([one.peak.sign for one in around])
    component = np.array([one.peak.component for one in around])
    points = np.concatenate([one.points for one in around])
    rows = component_rows(richer.model, at_field_points(fields, points), component[owner])
    held = governing_arrangement_loads(solved, envelope, [at for one in around for at in one.held])
    values = np.full((len(points), len(held)), -np.inf)
    local = LocalRows(rows)
    for part, solution in richer.in_blocks(loads_of(richer.model, held)):
        own = owner[:, None] == whose[part]
        values[:, part] = np.where(own, sign[owner, None] * local.of(solution), -np.inf)
    largest = np.full(len(around), -np.inf)
    np.maximum.at(largest, owner, values.max(axis=1))
    if is_straight(solved):
        chosen = [
            _apart(fields, points, values.max(axis=1), owner == k) for k in range(len(around))
        ]
        best = np.concatenate(chosen)
        loads = [
            moved for k in best for moved in moved_along(solved, held[int(values[k].argmax())])
        ]
        row = np.repeat(np.arange(len(best)), len(MOVES))
        again = rows_under(richer, rows[best], row, loads)
        again += _missed(richer, fields, points[best][row], component[owner[best]][row], loads)
        np.maximum.at(largest, owner[best][row], sign[owner[best]][row] * again)
    found[those] = largest
    return found


def _missed(
    richer: Stiffness,
    fields: FieldPoints,
    points: Ints,
    components: Ints,
    loads: Sequence[WheelPatches],
) -> Floats:
    """What results (n,) at points, each under a load of its own, lack as they are read."""
    found = np.zeros(len(points))
    shears = np.flatnonzero(np.isin(components, SHEARS))
    places = at_field_points(fields, points[shears]).each
    found[shears] = missed_under(
        richer.model, places, components[shears].tolist(), [loads[k] for k in shears.tolist()]
    )
    return found


def _around(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    peak: Peak,
    finely: ReadablePoints,
    tree: KDTree,
) -> _Around:
    e, own = envelope.fields.extremes, solved.recovery.points
    allowed = np.flatnonzero(counts(solved.reading, peak))
    values, numbers = (e.maximum, e.at_maximum) if peak.sign > 0 else (e.minimum, e.at_minimum)
    size = peak.sign * values[peak.component, allowed]
    wide = _widening(solved.deck)
    order = np.argsort(-size, kind="stable")[: int(wide * POINTS)]
    near = allowed[order[size[order] >= SHARE / wide * size[order[0]]]]
    number = numbers[peak.component, near]
    first = np.sort(np.unique(number, return_index=True)[1])[: int(wide * LOADS)]
    held = [(int(near[k]), peak.component, peak.sign, int(number[k])) for k in first]
    balls = tree.query_ball_point(own.xy[near], spacing_around(own, near))
    points = np.unique(np.concatenate(balls).astype(np.int64))
    return _Around(peak, points[counts(finely, peak)[points]], [at for at in held if at[3] >= 0])


def _widening(deck: Deck) -> float:
    """How many times wider than usual the cells are that a deck asks for, at least 1."""
    size = deck.mesh.size
    return 1.0 if size is None else max(1.0, size / usual_size(deck))


def spacing_around(points: FieldPoints, near: Ints) -> Floats:
    """How far (n,) [m] the next points of a mesh may lie from those numbered (n,)."""
    which, cells, _ = points.meeting(near)
    spacing = np.linalg.norm(np.ptp(points.xy[points.cells[cells]], axis=1), axis=1) / points.order
    found = np.zeros(len(near))
    np.maximum.at(found, which, spacing)
    return found


def _apart(fields: FieldPoints, points: Ints, size: Floats, mine: Mask) -> Ints:
    """Which of the points (n,) of one governing value have the largest sizes (n,), no two of them
    neighbours on the mesh."""
    left = np.flatnonzero(mine)
    found: list[int] = []
    while len(left) and len(found) < MOVED:
        best = left[size[left].argmax()]
        found.append(int(best))
        gap = np.linalg.norm(fields.xy[points[left]] - fields.xy[points[best]], axis=1)
        left = left[gap > spacing_around(fields, points[[best]])[0]]
    return np.array(found, dtype=np.int64)

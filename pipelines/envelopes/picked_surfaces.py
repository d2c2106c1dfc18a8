"""Influence surfaces at the points that a reader can pick on the plan.

A surface tells the result at one point under 1 kN anywhere, at every field point. The load is
spread over a square one thickness wide, of which the part on the slab counts: under a load at a
point the surfaces of moments and shears would grow without bound at the point itself. The points
are those of the governing values, the probes, and some of a lattice over the slab.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import Peak, readable_results
from pipelines.model.influence import Surfaces, field_rows, surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.arrays import Floats
from plate.results.fields import FieldPoints

# Most points of the lattice and probes, and of a large deck about how many ordinates in all.
MOST, PROBES = 100, 6
ORDINATES = 5_500_000


@dataclass(frozen=True, eq=False)
class WheelOrdinates:
    """The traffic that governs on the surface of its value.

    n_wheel : number of its wheels. load : (n,) of the wheels, then of its distributed load
    together, if it has any [N]; ordinates : (n,) means under their areas, in the units of the
    report per kN.
    """

    row: Peak
    n_wheel: int
    load: Floats
    ordinates: Floats


@dataclass(frozen=True, eq=False)
class PickedSurfaces:
    """Surfaces at points that can be picked.

    goals : field point and index in RESULTS of each surface; those of `governing`, the governing
    values with a load position, come first, in their order.
    ordinates : (n_surface, n_point) in the units of the report per kN, at all field points.
    """

    goals: tuple[tuple[int, int], ...]
    ordinates: Floats
    governing: tuple[WheelOrdinates, ...]


def picked_surfaces(
    solved: SolvedDeck, envelope: TrafficEnvelope | None, governing: Sequence[Peak]
) -> PickedSurfaces:
    """Surfaces of the governing values of a case of traffic, and of all results at the lattice."""
    mesh = solved.model.mesh
    rows = [row for row in governing if row.position is not None]
    goals = [(row.point, row.component) for row in rows]
    goals += _results(solved, _lattice(solved.deck, solved.recovery.points))
    found = _surfaces(solved, goals)
    return PickedSurfaces(
        tuple(goals),
        _under_squares(solved, found),
        tuple(
            _on_patches(envelope, row, Surfaces(mesh, found.ordinates[[i]]))
            for i, row in enumerate(rows)
            if envelope is not None
        ),
    )


def with_probes(found: PickedSurfaces, solved: SolvedDeck) -> PickedSurfaces:
    """The same with surfaces of all results at the probes of a deck."""
    goals = _results(solved, _probed(solved.deck, solved.recovery.points))
    goals = [goal for goal in goals if goal not in found.goals]
    if not goals:
        return found
    more = _under_squares(solved, _surfaces(solved, goals))
    return replace(
        found, goals=(*found.goals, *goals), ordinates=np.vstack([found.ordinates, more])
    )


def _results(solved: SolvedDeck, points: Sequence[int]) -> list[tuple[int, int]]:
    """All results that are read at field points."""
    read = readable_results(solved)
    return [(k, c) for k in points for c in range(len(RESULT_KEYS)) if read[c][k]]


def _surfaces(solved: SolvedDeck, goals: Sequence[tuple[int, int]]) -> Surfaces:
    # Per newton in SI to per kilonewton in the units of the report.
    scale = 1e3 * np.array([RESULT_SCALE[c] for _, c in goals])
    asked = field_rows(solved, [k for k, _ in goals], [c for _, c in goals])
    ordinates = scale[:, None] * surfaces(solved.stiffness, asked).ordinates
    return Surfaces(solved.model.mesh, ordinates)


def _probed(deck: Deck, points: FieldPoints) -> list[int]:
    """Field points nearest to the probes at points."""
    at = [probe.at for probe in deck.probes if probe.at is not None][:PROBES]
    tree = cKDTree(points.plan)
    return list(dict.fromkeys(int(tree.query(one)[1]) for one in at))


def _lattice(deck: Deck, points: FieldPoints) -> list[int]:
    """Field points nearest to a lattice over the slab: its lines and places between them."""
    most = min(MOST, max(1, ORDINATES // (len(RESULT_KEYS) * points.n_points)))
    extent = np.ptp(points.plan, axis=0)
    size = float(np.sqrt(np.prod(extent) / most))
    places = _places(deck, size)
    while len(places) > most and size < extent.max():
        size *= 1.1
        places = _places(deck, size)
    # of many lines not all
    places = places[:: -(-len(places) // most)]
    return [int(k) for k in np.unique(cKDTree(points.plan).query(places)[1])]


def _places(deck: Deck, size: float) -> Floats:
    """Plan points (n, 2) of a lattice of about that size [m]; between lines an even number of
    parts, so that middles are among them."""
    low, high = deck.plan.u_range
    stations = [low, *deck.stations, high] if deck.plan.is_grid else [low, high]
    found = []
    for u in _divided(np.array(stations), size):
        y = _divided(deck.plan.line_offsets(np.array(u)), size)
        found.append(deck.plan.at(u, y))
    places = np.concatenate(found)
    return np.asarray(places[deck.plan.contains(places)])


def _divided(at: Floats, size: float) -> Floats:
    """Coordinates in order with parts of about that size put in between them."""
    found = [at[:1]]
    for a, b in itertools.pairwise(at):
        parts = 2 * int(np.ceil((b - a) / (2.0 * size))) if b - a > 0.5 * size else 1
        found.append(np.linspace(a, b, parts + 1)[1:])
    return np.unique(np.round(np.concatenate(found), 9))


def _under_squares(solved: SolvedDeck, found: Surfaces) -> Floats:
    """Ordinates (n_surface, n_point) at the field points: means under squares one thickness wide,
    over what is on the slab."""
    plan, side = solved.recovery.points.plan, solved.deck.slab.thickness
    corners = plan[:, None] + 0.5 * side * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    ones = np.ones((1, found.mesh.n_nodes))
    means = Surfaces(found.mesh, np.vstack([found.ordinates, ones])).means(corners)
    return np.asarray(means[:-1] / means[-1])


def _on_patches(envelope: TrafficEnvelope, row: Peak, one: Surfaces) -> WheelOrdinates:
    n = len(envelope.wheels(row.number).load)
    load, means = row.held.load, one.means(row.held.corners)[0]
    if len(load) > n:
        spread = load[n:].sum()
        mean = (load[n:] * means[n:]).sum() / spread
        load, means = np.append(load[:n], spread), np.append(means[:n], mean)
    return WheelOrdinates(row, n, load, means)

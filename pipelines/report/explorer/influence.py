"""Influence surfaces in the part of the report that is looked at by hand.

A surface tells the result at one point under 1 kN anywhere, at every result point. The load is
spread over a square one thickness wide, of which the part on the slab counts: under a load at a
point the surfaces of moments and shears would grow without bound at the point itself. The points
are those of the governing values, the probes, and some of a lattice over the slab.
"""

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipelines.deck.deck import Deck
from pipelines.deck.words import place
from pipelines.envelopes.peaks import Governing
from pipelines.envelopes.single_vehicles import find_position
from pipelines.model.influence import Surfaces, field_rows, surfaces
from pipelines.report.explorer.arrays import pack
from pipelines.result import Result
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.results.fields import FieldPoints

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Steps from zero to the ordinate furthest from it.
STEPS = 500
# Most points of the lattice and probes, and of a large deck about how many ordinates in all.
MOST, PROBES = 100, 6
ORDINATES = 5_500_000


def influence_data(result: Result, order: Ints, read: list[NDArray[np.bool_]]) -> dict[str, Any]:
    """Points that can be picked and their surfaces.

    order : (n_point,) field points as the page numbers them; read : whether a result is to be
    read at a field point, (n_point,) each.
    """
    solver = result.solver
    points, mesh = solver.recovery.points, solver.model.mesh
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order))
    governing = [row for row in result.governing if row.position is not None]
    picked = [*_probed(result), *_lattice(result.deck, points)]
    wanted = [(row.point, row.component) for row in governing]
    wanted += [(k, c) for k in picked for c in range(len(RESULT_KEYS)) if read[c][k]]
    rows = field_rows(solver, [k for k, _ in wanted], [c for _, c in wanted])
    # per newton in SI to per kilonewton in the units of the report
    scale = 1e3 * np.array([RESULT_SCALE[c] for _, c in wanted])
    found = Surfaces(mesh, scale[:, None] * surfaces(solver.stiffness, rows).ordinates)
    values = _under_squares(found, points.plan[order], result.deck.slab.thickness)
    top = np.abs(values).max(axis=1, initial=0.0)
    shares = values / np.where(top > 0.0, top, 1.0)[:, None]
    slot = {k: i for i, k in enumerate(dict.fromkeys(k for k, _ in wanted))}
    entries: list[dict[str, Any]] = [
        {"pick": slot[k], "component": c, "top": float(most)}
        for (k, c), most in zip(wanted, top, strict=True)
    ]
    for i, row in enumerate(governing):
        entries[i]["wheels"] = _wheels(result, row, Surfaces(mesh, found.ordinates[[i]]))
    return {
        "steps": STEPS,
        "picks": [_pick(result.deck, points, number, k) for k in slot],
        "surfaces": entries,
        "ordinates": pack(np.rint(STEPS * shares).astype(np.int16)),
    }


def _probed(result: Result) -> list[int]:
    """Field points nearest to the probes at points."""
    at = [probe.at for probe in result.deck.probes if probe.at is not None][:PROBES]
    tree = cKDTree(result.solver.recovery.points.plan)
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


def _under_squares(found: Surfaces, plan: Floats, side: float) -> Floats:
    """Ordinates (n_surface, n) at plan points (n, 2): means under squares of that side [m], over
    what is on the slab."""
    corners = plan[:, None] + 0.5 * side * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    ones = np.ones((1, found.mesh.n_nodes))
    means = Surfaces(found.mesh, np.vstack([found.ordinates, ones])).means(corners)
    return np.asarray(means[:-1] / means[-1])


def _pick(deck: Deck, points: FieldPoints, number: Ints, point: int) -> dict[str, Any]:
    """A point that can be picked, in words: on a line that divides the slab also its side."""
    at = points.plan[point]
    words = place(deck, (float(at[0]), float(at[1])))
    if np.sum(np.linalg.norm(points.plan - at, axis=1) < 1e-6) > 1:
        around = points.cells[np.any(points.cells == point, axis=1)]
        inside = at + 0.05 * (points.plan[around].mean(axis=(0, 1)) - at)
        words += f", side of {place(deck, (float(inside[0]), float(inside[1])))}"
    return {"at": np.round(at, 4).tolist(), "point": int(number[point]), "place": words}


def _wheels(result: Result, row: Governing, one: Surfaces) -> dict[str, Any]:
    """The governing load position on its surface: load [kN] and mean ordinate of each wheel."""
    assert result.envelopes is not None
    run, index = find_position(result.envelopes.runs, row.number)
    wheels = run.wheels(slice(index, index + 1))
    return {
        "extreme": row.extreme,
        "value": row.value,
        "loads": (1e-3 * wheels.load).tolist(),
        "ordinates": one.means(wheels.corners)[0].tolist(),
    }

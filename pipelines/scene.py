"""Scenes in space as plain surfaces: the model of a deck, fields of a finished run, a crossing.

Coordinates are (x, -y, height): seen from above, offsets grow to the right of travel. What is
drawn of beams and supports is schematic; deflections are enlarged by a factor that is told.
"""

import itertools
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import meshio
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.build import build_model
from pipelines.deck import Deck, Line
from pipelines.envelopes import LoadPosition
from pipelines.errors import JobError
from pipelines.fieldfiles import quads
from pipelines.planfigures import closed, line_path, run_of, traced
from pipelines.responses import position_load
from pipelines.sketch import hold_place
from pipelines.traffic import LoadPositions, load_positions
from plate.recovery import FieldRecovery
from plate.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SLAB, BEAM, HOLD, WHEEL = "#d8d4c8", "#2b5f8a", "#8c2d04", "#6a1b5d"
# The largest deflection is drawn as this share of the deck's length.
ENLARGED = 0.04
FRAMES = 24


@dataclass(frozen=True)
class Surface:
    """Triangles between points (n, 3) [m] in one colour, or coloured by `values` (n,)."""

    points: Floats
    triangles: Ints
    colour: str = SLAB
    values: Floats | None = None


@dataclass(frozen=True)
class Scene:
    """Surfaces with a title; label : of the values with their unit; limits : of their colours."""

    title: str
    surfaces: tuple[Surface, ...]
    label: str = ""
    limits: tuple[float, float] = (0.0, 1.0)
    notes: tuple[str, ...] = field(default=())


def model_scene(deck: Deck) -> Scene:
    """The deck before anything is computed."""
    top = _plate(closed(deck, deck.plan.outline)[:-1], 0.0, -deck.slab.thickness)
    surfaces = [top, *_carriers(deck)]
    if deck.traffic is not None:
        runs = load_positions(deck)
        middle = [run for run in runs if len(run)]
        for run in middle[:1]:
            index = int(np.argmin(np.abs(run.stations - np.mean(deck.plan.u_range))))
            surfaces += _wheels(deck, run, index)
    return Scene(deck.title, tuple(surfaces))


def result_scene(folder: Path, name: str, deck: Deck | None) -> Scene:
    """A field of a finished run, on the slab raised by the largest deflection of the traffic.

    With the deck also its beams, supports and the vehicle at the load position that governs.

    Raises
    ------
    JobError
        No results there, or no such field: the message lists them.
    """
    path = folder / "fields.vtu"
    if not path.is_file():
        raise JobError(f"{folder}: has no fields.vtu; give a folder that `deckslab run` wrote")
    mesh = meshio.read(path)
    known = [key for key in mesh.point_data if "_with_" not in key and "_position" not in key]
    full = next((key for key in known if key == name or key.startswith(name + "_k")), None)
    if full is None:
        raise JobError(f"--field {name}: there is no such field; there are {', '.join(known)}")
    values = np.asarray(mesh.point_data[full], dtype=float)
    down = np.asarray(mesh.point_data.get("w_mm_max", np.zeros(len(values))), dtype=float)
    points = np.asarray(mesh.points, dtype=float).copy()
    factor = _enlargement(points, down)
    points[:, 2] = -factor * down
    surfaces = [Surface(points, _triangles(np.asarray(mesh.cells_dict["quad"])), values=values)]
    notes = [f"deflection enlarged {1e3 * factor:.0f} times"] if factor else []
    if deck is not None:
        surfaces += _carriers(deck)
        wheels, words = _governing(folder, deck, full)
        surfaces += wheels
        notes += words
    title = json.loads((folder / "summary.json").read_text(encoding="utf-8"))["title"]
    limits = (float(values.min()), float(values.max()))
    return Scene(title, tuple(surfaces), full, limits, tuple(notes))


def crossing(deck: Deck) -> list[Scene]:
    """The first vehicle crossing along the middle of its lane: deflections, position by position.

    Raises
    ------
    JobError
        The deck has no traffic.
    """
    runs = [run for run in load_positions(deck) if len(run)]
    if not runs:
        raise JobError(f"{deck.path}: has no [traffic] that could cross")
    run = runs[0]
    offsets = np.unique(run.offsets)
    lane = offsets[np.argmin(np.abs(offsets - np.mean(offsets)))]
    there = np.flatnonzero(run.offsets == lane)
    chosen = there[np.unique(np.linspace(0, len(there) - 1, FRAMES).astype(int))]
    model = build_model(deck).model
    recovery = FieldRecovery(model)
    loads = [position_load(model, run, slice(int(i), int(i) + 1)) for i in chosen]
    w = recovery.fields(Stiffness(model).solve(sparse.hstack(loads, format="csc")))[0] * 1e3
    flat = _space(recovery.points.xy, 0.0)
    factor = _enlargement(flat, w)
    limits = (float(min(w.min(), 0.0)), float(w.max()))
    carriers, triangles = _carriers(deck), _triangles(quads(recovery.points))
    scenes = []
    for k, index in enumerate(chosen):
        points = flat.copy()
        points[:, 2] = -factor * w[:, k]
        surface = Surface(points, triangles, values=w[:, k])
        surfaces = (surface, *carriers, *_wheels(deck, run, int(index)))
        words = f"{run.vehicle.name}, first axle at {run.stations[index]:.2f} m"
        notes = (words, f"deflection enlarged {1e3 * factor:.0f} times")
        scenes.append(Scene(deck.title, surfaces, "w_mm", limits, notes))
    return scenes


def _enlargement(points: Floats, w_mm: Floats) -> float:
    """Metres drawn per millimetre of deflection."""
    most = float(np.abs(w_mm).max(initial=0.0))
    return ENLARGED * float(np.ptp(points[:, :2], axis=0).max()) / most if most else 0.0


def _governing(folder: Path, deck: Deck, name: str) -> tuple[list[Surface], list[str]]:
    """Wheels of the load position that governs a field's peak, and the position in words."""
    summary: dict[str, Any] = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    for entry in summary.get("governing", []):
        key = f"{entry['result']}{'_mm' if entry['result'] == 'w' else ''}_{entry['extreme']}"
        if name.startswith(key) and entry["vehicle"] is not None:
            at = LoadPosition(
                entry["vehicle"], entry["direction"], entry["station_m"], entry["offset_m"]
            )
            run, index = run_of(load_positions(deck), at)
            words = f"{at.vehicle}, first axle at {at.station:.2f}, {at.offset:.2f} m"
            return _wheels(deck, run, index), [f"governing: {words}"]
    return [], []


def _triangles(quads: Ints) -> Ints:
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def _space(xy: Floats, height: float) -> Floats:
    return np.column_stack([xy[:, 0], -xy[:, 1], np.full(len(xy), height)])


def _plate(xy: Floats, top: float, bottom: float, colour: str = SLAB) -> Surface:
    """A prism on a polygon that can be seen whole from its first corner or is convex."""
    n = len(xy)
    points = np.concatenate([_space(xy, top), _space(xy, bottom)])
    ring = np.arange(n)
    after = (ring + 1) % n
    half = n // 2
    # Opposite corners of the outline are joined, which suits long curved strips.
    strip = [(i, i + 1, n - 1 - i) for i in range(half - 1)]
    strip += [(i + 1, n - 2 - i, n - 1 - i) for i in range(half - 1)]
    cap = np.array(strip, dtype=np.int64)
    sides = np.concatenate(
        [np.column_stack([ring, after, ring + n]), np.column_stack([after, after + n, ring + n])]
    )
    return Surface(points, np.concatenate([cap, cap + n, sides]), colour)


def _box(low: Floats, high: Floats, colour: str) -> Surface:
    corners = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return _plate(corners * [1.0, -1.0], float(high[2]), float(low[2]), colour)


def _carriers(deck: Deck) -> list[Surface]:
    """Beams and supports, schematic, under the slab."""
    found: list[Surface] = []
    size = 0.02 * float(np.ptp(closed(deck, deck.plan.outline), axis=0).max())
    under = -deck.slab.thickness
    for line in deck.lines:
        path = line_path(deck, line)
        if line.support == "beam":
            found += _beam(deck, line, under, 1.2 * size)
            for held in line.held_at:
                place, _ = hold_place(deck, path, held)
                found.append(_cone(deck.plan.chart.to_cartesian(place), under - 1.2 * size, size))
        elif line.support in ("rigid", "clamped", "spring"):
            for share in np.linspace(0.0, 1.0, 9):
                place = path[0] + share * (path[1] - path[0])
                found.append(_cone(deck.plan.chart.to_cartesian(place), under, size))
    return found + [
        _cone(deck.plan.chart.to_cartesian(np.array(p.at)), under, size) for p in deck.points
    ]


def _beam(deck: Deck, line: Line, top: float, depth: float) -> list[Surface]:
    xy = traced(deck, line_path(deck, line))
    half = 0.5 * (line.width or 0.3)
    found = []
    for a, b in itertools.pairwise(xy):
        along = (b - a) / np.linalg.norm(b - a)
        normal = half * np.array([-along[1], along[0]])
        ring = np.array([a - normal, b - normal, b + normal, a + normal])
        found.append(_plate(ring, top, top - depth, BEAM))
    return found


def _cone(at: Floats, top: float, size: float) -> Surface:
    """A pyramid with its tip up."""
    turn = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 0.5 * size
    base = _space(np.asarray(at) + turn, top - size)
    points = np.vstack([base, _space(np.asarray(at)[None], top)])
    return Surface(points, np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]), HOLD)


def _wheels(deck: Deck, run: LoadPositions, index: int) -> list[Surface]:
    height = 0.02 * float(np.ptp(closed(deck, deck.plan.outline), axis=0).max())
    found = []
    for corners in run.wheels(slice(index, index + 1)).corners:
        ring = deck.plan.chart.to_cartesian(corners)
        found.append(_plate(ring, height, 0.0, WHEEL))
    return found

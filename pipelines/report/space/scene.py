"""Scenes in space as plain surfaces: the model of a deck, fields of a finished run, a crossing.

Coordinates are (x, -y, height): seen from above, offsets grow to the right of travel. What is
drawn of beams and supports is schematic; deflections are enlarged by a factor that is told.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy import sparse
from scipy.spatial import Delaunay, cKDTree
from shapely import LineString, Polygon, contains_xy, segmentize

from pipelines.deck.deck import Deck, Line
from pipelines.errors import JobError
from pipelines.model.build import build_model
from pipelines.model.position_blocks import position_load
from pipelines.numbers import length
from pipelines.report.data.fields_vtu import read_results
from pipelines.report.data.influence import one_position
from pipelines.report.drawings.colours import BEAM, HOLD, LOAD
from pipelines.report.drawings.input_plan import hold_place
from pipelines.report.drawings.plan import closed, line_path, traced
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import LoadPositions, load_positions
from pipelines.units import RESULT_KEYS, RESULT_UNITS
from plate.arrays import Floats, Ints
from plate.geometry.elementary import rectangle_corners
from plate.geometry.outline import points_of
from plate.results.fields import FieldRecovery
from plate.solver.stiffness import Stiffness

SLAB, WHEEL = "#d8d4c8", LOAD
# The largest deflection is drawn as this share of the deck's length.
ENLARGED = 0.04
FRAMES = 24
# Below the surface of results, so that it is seen [thicknesses].
JUST_BELOW = 0.2
# Pieces of a beam, which bend with the slab.
PIECES = 30


@dataclass(frozen=True)
class Surface:
    """Triangles between points (n, 3) [m] in one colour, or coloured by `values` (n,)."""

    points: Floats
    triangles: Ints
    colour: str = SLAB
    values: Floats | None = None


@dataclass(frozen=True, kw_only=True)
class Scene:
    """Surfaces with a title; label : of the values with their unit; limits : of their colours."""

    title: str
    surfaces: tuple[Surface, ...]
    label: str = ""
    limits: tuple[float, float] = (0.0, 1.0)
    notes: tuple[str, ...] = field(default=())


def model_scene(deck: Deck) -> Scene:
    """The deck before anything is computed."""
    surfaces = [_slab(deck), *_carriers(deck, -deck.slab.thickness)]
    if deck.traffic is not None:
        runs = load_positions(deck)
        middle = [run for run in runs if len(run)]
        for run in middle[:1]:
            index = int(np.argmin(np.abs(run.stations - deck.slab_limits[:, 0].mean())))
            surfaces += _wheels(deck, run, index)
    return Scene(title=deck.title, surfaces=tuple(surfaces))


def result_scene(folder: Path, name: str, deck: Deck | None) -> Scene:
    """A field of a finished run, on the slab raised by the largest deflection of the traffic.

    With the deck also its beams, supports and the vehicle at the load position that governs.

    Raises
    ------
    JobError
        No results there, or no such field: the message lists them.
    """
    mesh, summary = read_results(folder)
    known = [key for key in mesh.point_data if "_with_" not in key and "_position" not in key]
    # Without its load it is that of the leading case of traffic, which comes first.
    full = next((key for key in known if key == name), None)
    full = full or next((key for key in known if key.split(" ")[-1].startswith(name + "_k")), None)
    if full is None:
        raise JobError(f"--field {name}: there is no such field; there are {', '.join(known)}")
    values = np.asarray(mesh.point_data[full], dtype=float)
    load = full.rpartition(" ")[0]
    deflections = (f"{load} w_mm_max", f"{load} w_mm") if load else ("w_mm_max",)
    found = next((key for key in deflections if key in known), None)
    down = np.zeros(len(values)) if found is None else np.asarray(mesh.point_data[found], float)
    points = np.asarray(mesh.points, dtype=float).copy()
    factor = _enlargement(points, down)
    points[:, 2] = -factor * down
    surfaces = [Surface(points, _triangles(np.asarray(mesh.cells_dict["quad"])), values=values)]
    notes = [load] if load else []
    notes += [f"deflection enlarged {1e3 * factor:.0f} times"] if factor else []
    governing = _governing(summary, full)
    if deck is not None:
        carried = _carriers(deck, -JUST_BELOW * deck.slab.thickness)
        if governing is not None:
            wheels, words = _wheels_of(deck, governing)
            carried += wheels
            notes.append(words)
        surfaces += _moved(carried, points)
    label, limits = field_label(full.rpartition(" ")[2]), (float(values.min()), float(values.max()))
    if governing is not None:
        # Colours end at the value that governs: peaks at singular places are not to be read.
        limits = (min(0.0, governing["value"]), max(0.0, governing["value"]))
    return Scene(
        title=summary["title"],
        surfaces=tuple(surfaces),
        label=label,
        limits=limits,
        notes=tuple(notes),
    )


def crossing(deck: Deck) -> list[Scene]:
    """The first vehicle crossing along the middle of its lane, one of a load model where none
    drives alone: deflections, position by position.

    Raises
    ------
    JobError
        The deck has no traffic.
    """
    if deck.traffic is not None:
        alone = replace(deck.traffic, vehicles=deck.traffic.all_vehicles[:1], load_models=())
        deck = replace(deck, traffic=alone)
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
    triangles = _triangles(recovery.points.quads)
    carriers = _carriers(deck, -JUST_BELOW * deck.slab.thickness)
    scenes = []
    for k, index in enumerate(chosen):
        points = flat.copy()
        points[:, 2] = -factor * w[:, k]
        surface = Surface(points, triangles, values=w[:, k])
        surfaces = (surface, *_moved([*carriers, *_wheels(deck, run, int(index))], points))
        words = f"{run.vehicle.name}, first axle at {length(float(run.stations[index]))} m"
        notes = (words, f"deflection enlarged {1e3 * factor:.0f} times")
        scenes.append(
            Scene(title=deck.title, surfaces=surfaces, label="w [mm]", limits=limits, notes=notes)
        )
    return scenes


def _enlargement(points: Floats, w_mm: Floats) -> float:
    """Metres drawn per millimetre of deflection."""
    most = float(np.abs(w_mm).max(initial=0.0))
    return ENLARGED * float(np.ptp(points[:, :2], axis=0).max()) / most if most else 0.0


def field_label(name: str) -> str:
    """A field's name with its unit in brackets: m_x_max_kNm_m becomes m_x max [kNm/m]."""
    for key, unit in zip(RESULT_KEYS, RESULT_UNITS, strict=True):
        if name == key or name.startswith(f"{key}_"):
            rest = name.removeprefix(key).removesuffix(unit.replace("/", "_")).strip("_")
            return " ".join([key.removesuffix("_mm"), *rest.split(), f"[{unit}]"])
    return name


def _governing(summary: dict[str, Any], name: str) -> dict[str, Any] | None:
    """The entry of a run's governing values for a field of its envelopes."""
    load, _, result = name.rpartition(" ")
    of = summary.get("load_models", {}).get(load) if load else summary.get("vehicles_alone")
    for entry in (of or {}).get("governing", []):
        key = entry["result"] if entry["result"] != "w" else "w_mm"
        if result.startswith(f"{key}_{entry['extreme']}") and (entry["lanes"] or entry["vehicle"]):
            return dict(entry)
    return None


def _wheels_of(deck: Deck, entry: dict[str, Any]) -> tuple[list[Surface], str]:
    """Wheels of what governs, and where they stand in words."""
    found, words = [], []
    for lane in entry["lanes"] or [entry]:
        lead = f"{lane['lane']} at {length(lane['lane_offset_m'])}: " if "lane" in lane else ""
        if lane["vehicle"] is None:
            words.append(f"{lead}no vehicle")
            continue
        at = LoadPosition(
            vehicle=lane["vehicle"],
            direction=lane["direction"],
            station=lane["station_m"],
            offset=lane["offset_m"],
            spread=lane.get("spread_m") or 0.0,
        )
        found += _wheels(deck, one_position(deck, at), 0)
        words.append(
            f"{lead}{at.vehicle}, first axle at {length(at.station)}, {length(at.offset)} m"
        )
    return found, f"governing: {'; '.join(words)}"


def _moved(surfaces: list[Surface], slab: Floats) -> list[Surface]:
    """Surfaces that go down with the nearest point of the deflected slab (n, 3)."""
    tree = cKDTree(slab[:, :2])
    found = []
    for surface in surfaces:
        down = np.zeros_like(surface.points)
        down[:, 2] = slab[tree.query(surface.points[:, :2])[1], 2]
        found.append(replace(surface, points=surface.points + down))
    return found


def _triangles(quads: Ints) -> Ints:
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def _space(xy: Floats, height: float) -> Floats:
    return np.column_stack([xy[:, 0], -xy[:, 1], np.full(len(xy), height)])


def _slab(deck: Deck) -> Surface:
    """The slab with its openings as a prism; its sides are cut in pieces so that the triangles
    between their ends follow them."""
    rings = [closed(deck, ring) for ring in (deck.plan.outline, *points_of(deck.plan.openings))]
    whole = Polygon(rings[0], rings[1:])
    cut = segmentize(whole, np.sqrt(whole.area) / 40.0)
    loops = [np.array(ring.coords)[:-1] for ring in (cut.exterior, *cut.interiors)]
    xy = np.concatenate(loops)
    cap = Delaunay(xy).simplices.astype(np.int64)
    cap = cap[contains_xy(whole, *xy[cap].mean(axis=1).T)]
    sides, first, n = [], 0, len(xy)
    for loop in loops:
        ring = first + np.arange(len(loop))
        after = np.roll(ring, -1)
        sides.append(np.column_stack([ring, after, ring + n]))
        sides.append(np.column_stack([after, after + n, ring + n]))
        first += len(loop)
    points = np.concatenate([_space(xy, 0.0), _space(xy, -deck.slab.thickness)])
    return Surface(points, np.concatenate([cap, cap + n, *sides]))


def _plate(xy: Floats, top: float, bottom: float, colour: str) -> Surface:
    """A prism on a polygon of a few corners, convex or a strip."""
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


def _carriers(deck: Deck, under: float) -> list[Surface]:
    """Beams and supports, schematic, from the height of the soffit down."""
    found: list[Surface] = []
    size = 0.02 * float(np.ptp(closed(deck, deck.plan.outline), axis=0).max())
    for line in deck.lines:
        path = line_path(deck, line)
        if line.support == "beam":
            found.append(_beam(deck, line, under, 1.2 * size))
            for held in line.held_at:
                place, _ = hold_place(deck, path, held)
                found.append(
                    _cone(deck.plan.alignment.to_cartesian(place), under - 1.2 * size, size)
                )
        elif line.support in ("rigid", "clamped", "spring"):
            for share in np.linspace(0.0, 1.0, 9):
                place = path[0] + share * (path[1] - path[0])
                found.append(_cone(deck.plan.alignment.to_cartesian(place), under, size))
    return found + [
        _cone(deck.plan.alignment.to_cartesian(np.array(p.at)), under, size) for p in deck.points
    ]


def _beam(deck: Deck, line: Line, top: float, depth: float) -> Surface:
    """A beam of rectangular section along its line, in pieces that may bend."""
    path = LineString(traced(deck, line_path(deck, line)))
    xy = np.array(segmentize(path, path.length / PIECES).coords)
    along = np.gradient(xy, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    side = 0.5 * (line.width or 0.3) * np.column_stack([-along[:, 1], along[:, 0]])
    return _plate(np.concatenate([xy - side, (xy + side)[::-1]]), top, top - depth, BEAM)


def _cone(at: Floats, top: float, size: float) -> Surface:
    """A pyramid with its tip up."""
    base = _space(rectangle_corners(at, size), top - size)
    points = np.vstack([base, _space(np.asarray(at)[None], top)])
    return Surface(points, np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]), HOLD)


def _wheels(deck: Deck, run: LoadPositions, index: int) -> list[Surface]:
    height = 0.02 * float(np.ptp(closed(deck, deck.plan.outline), axis=0).max())
    found = []
    for corners in run.wheels(slice(index, index + 1)).corners:
        ring = deck.plan.alignment.to_cartesian(corners)
        found.append(_plate(ring, height, 0.0, WHEEL))
    return found

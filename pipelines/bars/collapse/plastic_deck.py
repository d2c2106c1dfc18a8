"""A deck as a rigid-plastic slab: what its bars resist, what its lines hold, what stands on it.

Springs hold as rigid supports do: at collapse only where there is a support counts. Beams bend with
the plastic moments that the user states, or hold as if they could not fail.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from pipelines.bars.checks.bending_and_service import resistances
from pipelines.bars.drawn_parts import DrawnBars, run_on
from pipelines.deck.cases import LineLoad
from pipelines.deck.deck import Deck, Line
from pipelines.deck.reinforcement import DesignBasis
from pipelines.deck.thicknesses import Thicknesses
from pipelines.errors import CoverageError, JobError
from pipelines.model.free_mesh import mesh_line, shortest_span
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.actions.loads import Action
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.resistance.bars import LAYERS
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats
from plate.geometry.alignment import Alignment
from plate.geometry.outline import plan_area
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import quad_mesh
from plate.meshing.grid import grid_mesh
from plate.plastic.cutting import Cutter
from plate.plastic.slab import (
    Hold,
    PlasticBeam,
    PlasticLoad,
    PlasticSlab,
    PressedPatch,
    Resistances,
    bars_tensor,
)
from plate.plastic.triangles import Triangles, split_in_four

# Cells before triangles are halved: a share of the shortest span, and so many on the whole slab.
SPAN_SHARE, CELLS = 0.5, 40.0
# Longest chord of a distributed load on a curved deck, in plan [m]; pieces of a line by which the
# length of its arc is told.
CHORD, ARC = 1.0, 200
INWARD = 1e-3  # of the way from a corner of a triangle to its middle, off a step of the soffit


@dataclass(frozen=True)
class BeamStrength:
    """Plastic moments of a beam [N m], both positive; infinite = it holds as a rigid line."""

    sagging: float
    hogging: float

    @property
    def rigid(self) -> bool:
        return bool(np.isinf(self.sagging))


def check_covered(deck: Deck, beams: Mapping[str, BeamStrength]) -> None:
    """Raise CoverageError, or JobError for what is missing, where the collapse load of a deck is
    not covered."""
    if deck.reinforcement is None:
        raise JobError(f"{deck.path}: a collapse load needs bars, [[bars]] in the deck file")
    if not deck.plan.alignment.straight:
        _check_curved(deck, beams)
    if deck.reinforcement.imposed:
        raise CoverageError("collapse loads are without imposed membrane forces")
    lifting = [point.name for point in deck.points if point.lifts]
    for line in deck.lines:
        if line.lifts or any(held.lifts for held in line.held_at):
            lifting.append(line.name)
    if lifting:
        raise CoverageError(
            f"{', '.join(lifting)} may lift off: collapse loads hold supports down as well as up"
        )
    known = [line.name for line in deck.lines if line.beam is not None]
    missing = [name for name in known if name not in beams]
    if missing:
        raise JobError(
            f"beams {', '.join(missing)}: state their plastic moments, as --beam "
            f'"{missing[0]}=900,400" [kNm], sagging and hogging, or --beam "{missing[0]}=rigid"'
        )
    stubs = [
        line.name
        for line in deck.lines
        if line.beam is not None
        and not beams[line.name].rigid
        and any(held.stub > 0.0 for held in line.held_at)
    ]
    if stubs:
        raise CoverageError(
            f"beams {', '.join(stubs)} run on beyond the slab (stub_m): their own collapse is not "
            f'covered; --beam "{stubs[0]}=rigid" leaves it out'
        )


def _check_curved(deck: Deck, beams: Mapping[str, BeamStrength]) -> None:
    """The same of what follows [plan] radius_m: triangles have chords where a deck has arcs."""
    if float(np.abs(deck.plan.outline[:, 0]).max()) >= np.pi * abs(deck.plan.alignment.radius):
        raise CoverageError("collapse loads are for decks within half a circle of station 0")
    if deck.slab.zones:
        raise CoverageError("collapse loads of curved decks are for one thickness, [[slab.zone]]")
    if deck.points:
        raise CoverageError("collapse loads of curved decks are without held points, [[point]]")
    if any(not load.on for _, load, _ in _line_loads(deck)):
        raise CoverageError(
            "collapse loads of curved decks are without line loads of [[case]] on a path_m: "
            "give them on a line or an edge"
        )
    for line in deck.lines:
        strength = beams.get(line.name)
        if (
            strength is not None
            and not strength.rigid
            and np.ptp(deck.plan.lines[line.name].path[:, 0]) > 0.0
        ):
            raise CoverageError(
                f"beam {line.name} is curved: its own collapse is not covered; --beam "
                f'"{line.name}=rigid" leaves it out'
            )


def plastic_slab(deck: Deck, basis: DesignBasis, beams: Mapping[str, BeamStrength]) -> PlasticSlab:
    """The slab of a deck, on triangles before any are halved; `check_covered` was asked before."""
    plan = deck.plan
    size = min(SPAN_SHARE * shortest_span(deck), float(np.sqrt(plan_area(plan) / CELLS)))
    if plan.is_mapped:
        mesh = grid_mesh(plan, order=1, size=size)
    else:
        mesh = quad_mesh(plan, order=2, field=uniform(size))
    cutter = Cutter(split_in_four(mesh))
    for name, load, _ in _line_loads(deck):
        if not load.on:
            cutter.path(np.array(load.path), name)
    for k, step in enumerate(Thicknesses.of(deck).straight_steps, start=1):
        cutter.path(step, f"step {k}")
    triangles = cutter.triangles()
    holds: dict[str, Hold] = {}
    plastic: list[PlasticBeam] = []
    points = [point.at for point in deck.points]
    for line in deck.lines:
        name = mesh_line(line)
        if line.beam is None or beams[line.name].rigid:
            holds[name] = "clamped" if line.support == "clamped" else "simple"
            continue
        strength = beams[line.name]
        plastic.append(PlasticBeam(line=name, sagging=strength.sagging, hogging=strength.hogging))
        points += _held(triangles, line)
    return PlasticSlab(
        triangles=triangles,
        resistances=_on_ground(deck.plan.alignment, bar_resistances(deck, basis)),
        holds=holds,
        points=points,
        beams=plastic,
    )


def permanent_load(deck: Deck, combination: Combination, triangles: Triangles) -> PlasticLoad:
    """The cases of the deck that take part in combinations, each with its unfavourable factor.

    A line load on an arc is all of it on the arc's chords."""
    pressure = 0.0
    patches: list[PressedPatch] = []
    for case in deck.cases:
        if case.action == "none":
            continue
        factor = combination.permanent[case.action][0]
        pressure += factor * case.pressure
        if case.self_weight:
            least, more = _weights(deck)
            pressure += factor * least
            patches += [replace(patch, pressure=factor * patch.pressure) for patch in more]
        for patch in case.patches:
            alignment = deck.plan.alignment
            corners = alignment.to_cartesian(alignment.rectangles(patch.at, patch.size))
            a, b = patch.size
            patches.append(PressedPatch(corners, factor * patch.load / (a * b)))
    lines: dict[str, float] = {}
    for name, load, action in _line_loads(deck):
        value = combination.permanent[action][0] * load.load
        if load.on:
            chords = float(triangles.lengths[triangles.edges_of(name)].sum())
            value *= _length(deck, load) / chords
        lines[name] = lines.get(name, 0.0) + value
    return PlasticLoad(patches=patches, pressure=pressure, lines=lines)


def _weights(deck: Deck) -> tuple[float, list[PressedPatch]]:
    """The weight of the thinnest part [N/m2], which all of the slab has, and what the others have
    more, on triangles."""
    (least, _), *others = Thicknesses.of(deck).parts
    density = deck.slab.density
    more = [
        PressedPatch(shapely.get_coordinates(triangle)[:-1], density * (thickness - least))
        for thickness, part in others
        for triangle in shapely.get_parts(shapely.constrained_delaunay_triangles(part))
    ]
    return density * least, more


def live_load(
    deck: Deck, triangles: Triangles, wheels: WheelPatches, spread: WheelPatches
) -> PlasticLoad:
    """Wheels and distributed loads in plan, each evenly loaded; those off the slab are left out."""
    return PlasticLoad(
        patches=_pressed(deck, triangles, wheels), spread=_pressed(deck, triangles, spread)
    )


def _pressed(deck: Deck, triangles: Triangles, patches: WheelPatches) -> list[PressedPatch]:
    """On a curved deck sides of wheels are chords, those of lanes as many as their arcs need."""
    alignment = deck.plan.alignment
    shapes = shapely.polygons(patches.corners)
    if not alignment.straight:
        shapes = shapely.transform(shapely.segmentize(shapes, CHORD), alignment.to_cartesian)
    kept = shapely.area(shapely.intersection(shapes, triangles.region)) > 1e-9
    return [
        PressedPatch(shapely.get_coordinates(shape)[:-1], load / float(shape.area))
        for shape, load in zip(shapes[kept], patches.load[kept].tolist(), strict=True)
    ]


def _line_loads(deck: Deck) -> list[tuple[str, LineLoad, Action]]:
    """Line loads of the cases that take part in combinations, with the name of their mesh line."""
    return [
        (load.on or f"load {case.name} {k + 1}", load, case.action)
        for case in deck.cases
        if case.action != "none"
        for k, load in enumerate(case.lines)
    ]


def _length(deck: Deck, load: LineLoad) -> float:
    """Of the line that a load lies on, along its arcs [m]."""
    line, alignment = deck.plan.lines[load.on], deck.plan.alignment
    if line.curves:
        return sum(curve.length for curve in line.curves)
    path = np.array(load.path)
    pieces = np.linspace(0.0, len(path) - 1.0, ARC * (len(path) - 1) + 1)
    fine = [np.interp(pieces, np.arange(len(path)), column) for column in path.T]
    steps = np.diff(alignment.to_cartesian(np.column_stack(fine)), axis=0)
    return float(np.linalg.norm(steps, axis=1).sum())


def _held(triangles: Triangles, line: Line) -> list[tuple[float, float]]:
    """Where a beam is held: the points that its line shares with the lines that cross it."""
    own = set(triangles.lines[mesh_line(line)].ravel().tolist())
    found = []
    for held in line.held_at:
        names = [name for name in (held.on, f"{held.on}:full") if name in triangles.lines]
        nodes = {int(k) for name in names for k in triangles.lines[name].ravel()} & own
        found += [(float(x), float(y)) for x, y in triangles.points[sorted(nodes)]]
    return found


def bar_resistances(deck: Deck, basis: DesignBasis) -> Resistances:
    """Along and across the deck, of triangles in plan: resistances of the mats and of the added
    bars that count at all corners of a triangle and in its middle, by the least thickness of these
    places, no more than what lies there where their part is convex."""
    reinforcement, mat = deck.required_reinforcement, basis.materials
    angles, uniform = [0.0, reinforcement.angle], Thicknesses.of(deck).uniform
    drawn = DrawnBars(
        deck=deck,
        reinforcement=reinforcement,
        points=np.empty((0, 2)),
        anchored=tuple(
            anchorage(reinforcement.with_added(a), a.layer, mat) for a in reinforcement.added
        ),
        run_on={} if uniform else run_on(reinforcement, mat),
    )

    def tensors(kind: Sequence[float]) -> tuple[Floats, Floats]:
        m_Rd = resistances(drawn.bars_of(tuple(kind)), mat)
        below, above = (
            bars_tensor([m_Rd[layer] for layer in LAYERS if layer[0] == face], angles)
            for face in ("bottom", "top")
        )
        return below, above

    def at(corners: Floats) -> tuple[Floats, Floats]:
        middle = corners.mean(axis=1)
        exact = np.min([drawn.kinds(p) for p in (*corners.swapaxes(0, 1), middle)], axis=0)
        least, n = exact, len(reinforcement.added)
        if not uniform:  # a corner on a step is of the part in which its triangle lies
            inward = corners + INWARD * (middle[:, None] - corners)
            least = np.min([drawn.kinds(p) for p in (*inward.swapaxes(0, 1), middle)], axis=0)
            least[:, :n] = np.minimum(least[:, :n], exact[:, :n])
        kinds, number = np.unique(least, axis=0, return_inverse=True)
        found = [tensors(kind) for kind in kinds.tolist()]
        below, above = (np.array([one[k] for one in found]) for k in range(2))
        return below[number.ravel()], above[number.ravel()]

    return at


def _on_ground(alignment: Alignment, in_plan: Resistances) -> Resistances:
    """The same of Cartesian triangles; bars on a curve lie as in the middle of each triangle."""
    if alignment.straight:
        return in_plan

    def at(corners: Floats) -> tuple[Floats, Floats]:
        plan = alignment.from_cartesian(corners)
        x = alignment.tangent(alignment.from_cartesian(corners.mean(axis=1)))
        turn = np.stack([x, np.stack([-x[:, 1], x[:, 0]], axis=-1)], axis=-1)
        below, above = (turn @ tensors @ turn.swapaxes(1, 2) for tensors in in_plan(plan))
        return below, above

    return at

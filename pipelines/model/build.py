"""Deck to plate model: mesh density, grading, sections, supports and beams.

The mesh follows the smallest dispersed wheel patch, because moments under a wheel vary over the
patch's own size; between patches and lines it follows the spans.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipelines.deck.deck import Beam, Deck, Line
from pipelines.deck.thicknesses import corners
from pipelines.model.clear_rows import clear_rows
from pipelines.model.free_mesh import free_mesh, holds_slopes, mesh_line, shortest_span
from pipelines.traffic.positions import dispersed
from plate.arrays import Floats, Ints
from plate.elements.beam import BeamSection
from plate.elements.section import Section, Zone
from plate.geometry.elementary import distance_from_segments, rectangle_corners
from plate.geometry.outline import plan_area
from plate.geometry.plan import Plan
from plate.meshing.grid import Band, Grading, corner_width, grid_breaks, grid_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.supports import BeamLine, Hold, LineSupport, PointSupport

ORDER = 3
# Largest cell side as a share of the smallest side of a patch, of a bay, of the deck's width.
# On a grid rows of cells end where shears are read; the cells between are wider for that. By thin
# theory there is no layer to stay clear of: no rows, and the cells as elsewhere.
PATCH_SHARE, GRID_SHARE = 0.75, 0.9
# On a grid askew cells are smaller by this factor: few shrink towards corners, and many are left
# for the wheels.
ASKEW_FACTOR = 0.74
SPAN_SHARE = 0.25
# Static patches get a band of fine cells that reaches this many patch sides beyond them.
BAND_REACH = 0.5
# Away from the part of a deck that is looked at, cells may have this share of the shortest span.
COARSE_SHARE = 0.5
# Beside supports whose width is stated hogging is read on mesh lines of a grid. In thicknesses off
# the line: nearer than the first it is read on the line itself; up to the second the row of cells
# between has another like it beyond; up to the third it stands for the row of half a thickness.
ON_LINE, LEAST_ROW, LARGEST_ROW = 0.05, 0.4, 0.6
# A node nearer to the side of a static patch lies on it [m].
ON_SIDE = 1e-9
# The richer model of the stated errors has cells so many times smaller, at least.
REFINEMENT = 1.5
# The size is raised, with a note, where it would give more cells than this.
MOST_CELLS = 6000


@dataclass(frozen=True)
class BuiltModel:
    """The model and what was chosen for it.

    size : largest cell side [m]; notes : sentences for the report.
    """

    model: PlateModel
    size: float
    notes: tuple[str, ...]

    def asked_for(self, deck: Deck) -> Deck:
        """The deck, which asks for cells of this size and order."""
        return replace(deck, mesh=replace(deck.mesh, size=self.size, order=self.model.mesh.order))


@dataclass(frozen=True)
class Near:
    """The part of a deck that is looked at: ranges of logical stations and of offsets [m]."""

    stations: tuple[float, float]
    offsets: tuple[float, float]


def build_model(deck: Deck, near: Near | None = None) -> BuiltModel:
    """Plate model of a deck.

    near : on a grid, cells of the deck's own size only there and wider ones elsewhere; None = all.
    """
    order = deck.mesh.order or ORDER
    size, notes = cell_size(deck)
    if deck.plan.is_mapped:
        mesh = grid_mesh(deck.plan, order=order, **_division(deck, size, near))
    else:
        mesh, more = free_mesh(deck, _section(deck), order, size, PATCH_SHARE)
        notes += more
    return BuiltModel(model_on(deck, mesh), size, notes)


def model_on(deck: Deck, mesh: Mesh) -> PlateModel:
    """The plate model of a deck on a mesh of its plan."""
    supports = tuple(
        LineSupport(
            line=mesh_line(line), kind=line.support, hard=line.hard, k=line.k, k_rot=line.k_rot
        )
        for line in deck.lines
        if line.support in ("rigid", "clamped", "spring")
    )
    beams = tuple(
        BeamLine(
            line=mesh_line(line),
            section=_beam_section(line.beam),
            holds=tuple(Hold(h.on, h.k, h.k_rot, h.stub) for h in line.held_at),
            eccentricity=line.beam.eccentricity,
            connection=line.beam.connection,
        )
        for line in deck.lines
        if line.beam is not None
    )
    points = tuple(PointSupport(p.name, p.at, p.size, p.k) for p in deck.points)
    return PlateModel(
        mesh=mesh,
        section=_section(deck),
        supports=supports,
        beams=beams,
        points=points,
        creases=_creases(deck, mesh),
    )


def _creases(deck: Deck, mesh: Mesh) -> Ints:
    """End nodes (n, 2) of the edges of the mesh along which static loads end or act."""
    ends, _ = mesh.edges
    named = [
        mesh.lines[load.on][:, [0, -1]] for case in deck.cases for load in case.lines if load.on
    ]
    found = [np.zeros((0, 2), dtype=np.int64), *named]
    for case in deck.cases:
        for patch in case.patches:
            corners = rectangle_corners(patch.at, patch.size)
            for side in np.stack([corners, np.roll(corners, -1, axis=0)], axis=1):
                on = distance_from_segments(mesh.plan, side[None]) < ON_SIDE
                found.append(ends[on[ends].all(axis=1)])
    # in one order, so that decks whose cases stand in another have the same model
    return np.unique(np.sort(np.concatenate(found), axis=1), axis=0)


def _section(deck: Deck) -> Section:
    slab = deck.slab
    zones = [Zone(corners(deck.plan, zone), zone.thickness) for zone in slab.zones]
    thin = shortest_span(deck) if slab.theory == "kirchhoff" else None
    return Section(
        thickness=slab.thickness,
        E=slab.E,
        poisson=slab.poisson,
        factors=slab.stiffness,
        rigidity=slab.rigidity,
        zones=tuple(zones),
        thin_span=thin,
    )


def _beam_section(beam: Beam) -> BeamSection:
    shear = None if beam.Av is None else beam.G * beam.Av
    return BeamSection(beam.E * beam.I, beam.G * beam.J, shear, beam.E * beam.A)


def cell_size(deck: Deck) -> tuple[float, tuple[str, ...]]:
    """Largest cell side [m] and notes on it."""
    if deck.mesh.size is not None:
        return deck.mesh.size, ()
    sizes = [SPAN_SHARE * shortest_span(deck)]
    rows = deck.plan.is_mapped and deck.slab.theory == "mindlin"
    share = GRID_SHARE if rows else PATCH_SHARE
    if deck.traffic is not None:
        for vehicle in deck.traffic.all_vehicles:
            for axle in vehicle.axles:
                patch = dispersed(axle.patch, deck.traffic, deck.slab.thickness)
                sizes.append(share * min(patch))
    size = float(min(sizes)) * (ASKEW_FACTOR if deck.plan.is_mapped and _askew(deck.plan) else 1.0)
    least = float(np.sqrt(plan_area(deck.plan) / MOST_CELLS))
    if size < least:
        note = (
            f"cells of {least:.3g} m, wider than the {size:.3g} m that the smallest wheel patch "
            f"asks for, keep the mesh near {MOST_CELLS} cells; set [mesh] size_m to refine"
        )
        return least, (note,)
    return size, ()


def cell_counts(deck: Deck, size: float) -> tuple[int, int]:
    """Cells along the deck and across it on a grid of that largest cell side [m]."""
    along, across = grid_breaks(deck.plan, **_division(deck, size))
    return along.count, across.count


def _division(deck: Deck, size: float, near: Near | None = None) -> dict[str, Any]:
    """How a grid is divided into cells, as `grid_breaks` takes it."""
    plan = deck.plan
    extra_u = [s for z in deck.slab.zones if z.stations for s in z.stations]
    tapers = plan.end_offsets != plan.offsets
    extra_y = [y for z in deck.slab.zones if z.offsets and not tapers for y in z.offsets]
    bands_u, bands_y = [], []
    for case in deck.cases:
        for patch in case.patches:
            u = float(plan.logical_station(np.array(patch.at)))
            lean = 0.5 * patch.size[1] * abs(np.tan(plan.skew))
            share = PATCH_SHARE * min(patch.size)
            if share < size:
                along = patch.size[0] / float(plan.alignment.stretch(np.array(patch.at)))
                bands_u += _bands(u, 0.5 * along + lean, share)
                if not tapers:
                    bands_y += _bands(patch.at[1], 0.5 * patch.size[1], share)
    grading = _grading(deck, size)
    for line, at in _read_beside(deck, near):
        crosses, off = line.name in across_names(deck), line.hogging_at
        (extra_u if crosses else extra_y).extend((at - off, at + off))
        if off < LEAST_ROW * deck.slab.thickness:
            (bands_u if crosses else bands_y).append(Band(at - off, at + off, off))
    for extra, rows in zip((extra_u, extra_y), _edge_rows(deck, grading), strict=True):
        extra.extend(rows)
    every = (-np.inf, np.inf)
    looked_at = (every, every) if near is None else (near.stations, near.offsets)
    for extra, rows in zip((extra_u, extra_y), clear_rows(deck, *looked_at), strict=True):
        extra.extend(rows)
    if near is not None:
        # As `grid_mesh` takes the size itself: along a curve and along skew lines.
        stretch = float(plan.alignment.stretch(plan.outline).max())
        bands_u.append(Band(*near.stations, size / stretch))
        bands_y.append(Band(*near.offsets, size * float(np.cos(plan.skew))))
        size = max(size, COARSE_SHARE * shortest_span(deck))
        grading = _graded_near(plan, grading, near)
    return {
        "size": size,
        "grading": grading,
        "extra_u": extra_u,
        "extra_y": extra_y,
        "bands_u": bands_u,
        "bands_y": bands_y,
    }


def _edge_rows(deck: Deck, grading: Grading) -> tuple[list[float], list[float]]:
    """Logical stations and offsets [m] half a thickness off edges towards whose corners cells
    shrink: the row of their layer goes on beside the cells of the corners."""
    if deck.slab.theory == "kirchhoff":
        return [], []
    plan, width = deck.plan, 0.5 * deck.slab.thickness
    ends = dict(zip(("start", "end"), plan.u_range, strict=True))
    offsets = plan.line_offsets(np.array(plan.u_range[0]))
    sides = {"left": float(offsets[0]), "right": float(offsets[-1])}
    inwards = {"start": width, "end": -width, "left": width, "right": -width}

    def rows(edges: Mapping[str, float], first: Mapping[str, float]) -> list[float]:
        return [at + inwards[k] for k, at in edges.items() if first.get(k, width) < width]

    return rows(ends, grading.across), rows(sides, grading.along)


def _read_beside(deck: Deck, near: Near | None = None) -> list[tuple[Line, float]]:
    """The lines beside which hogging is read on mesh lines, with their logical stations or offsets
    [m]: of those whose width is stated all that run along cells and lie in the part looked at."""
    plan = deck.plan
    low, high = plan.u_range
    u = {f"C{i + 1}": at for i, at in enumerate(plan.stations)} | {"start": low, "end": high}
    tapers = plan.end_offsets != plan.offsets
    lines = [] if tapers else zip(_along_names(plan), plan.line_offsets(np.array(low)), strict=True)
    y = {name: float(at) for name, at in lines}
    every = (-np.inf, np.inf)
    stations, offsets = (every, every) if near is None else (near.stations, near.offsets)
    return [
        (line, places[line.name])
        for places, looked_at in ((u, stations), (y, offsets))
        for line in deck.lines
        if line.hogging_at > ON_LINE * deck.slab.thickness
        and line.name in places
        and _between(places[line.name], looked_at)
    ]


def _along_names(plan: Plan) -> list[str]:
    """Names of the edges and lines along the deck, by rising offset."""
    return ["left", *(f"L{j + 1}" for j in range(len(plan.offsets))), "right"]


def _graded_near(plan: Plan, grading: Grading, near: Near) -> Grading:
    """The grading of lines and edges that lie in the part looked at."""
    low, high = plan.u_range
    u = {f"C{i + 1}": at for i, at in enumerate(plan.stations)} | {"start": low, "end": high}
    offsets = plan.line_offsets(np.array([low, high]))
    y = {name: offsets[:, k] for k, name in enumerate(_along_names(plan))}
    across = {k: v for k, v in grading.across.items() if _between(u[k], near.stations)}
    along = {k: v for k, v in grading.along.items() if _between(y[k], near.offsets)}
    return Grading(across, along)


def _between(places: Floats | float, ends: tuple[float, float]) -> bool:
    return bool(np.min(places) <= ends[1] + 1e-9 and np.max(places) >= ends[0] - 1e-9)


def _bands(centre: float, half: float, size: float) -> list[Band]:
    """Fine cells over a static patch, whose edges become mesh lines, and beyond it."""
    reach = half * (1.0 + 2.0 * BAND_REACH)
    return [Band(centre - w, centre + w, size) for w in (half, reach)]


def _grading(deck: Deck, size: float) -> Grading:
    """First cell widths: half a thickness along free and soft edges, less towards singular
    corners, which rigid lines make where they meet an edge askew or end inside the slab."""
    plan = deck.plan
    across: dict[str, float] = {}
    along: dict[str, float] = {}
    supports = {line.name: line for line in deck.lines}
    twins = {
        "start": ("C1", plan.overhang["start"]),
        "end": (f"C{len(plan.stations)}", plan.overhang["end"]),
        "left": ("L1", plan.overhang["left"]),
        "right": (f"L{len(plan.offsets)}", plan.overhang["right"]),
    }
    if deck.slab.theory == "mindlin":
        for edge, (twin, overhang) in twins.items():
            line = supports.get(edge) or (supports.get(twin) if overhang == 0.0 else None)
            if line is None or not holds_slopes(line):
                side = across if edge in ("start", "end") else along
                side[edge] = 0.5 * deck.slab.thickness
        # A beam's torsion and shear strain make the same layers on both sides of its line.
        # Where hogging is read within that row on a mesh line, this one ends the row.
        rows = {
            line.name
            for line, _ in _read_beside(deck)
            if line.hogging_at <= LARGEST_ROW * deck.slab.thickness
        }
        for line in deck.lines:
            if line.support == "beam" and line.name not in rows:
                side = across if line.name in across_names(deck) else along
                side[line.name] = 0.5 * deck.slab.thickness
    # Moments beside the place where a beam is held within the slab fall from a peak like ln r,
    # whose flank the first cells along the beam have to follow.
    for line in deck.lines:
        for hold in line.held_at:
            side = across if hold.on in across_names(deck) else along
            side.setdefault(hold.on, 0.5 * deck.slab.thickness)
    fine = corner_width(size)
    askew = _askew(plan)
    for line in deck.lines:
        if line.support not in ("rigid", "clamped", "beam"):
            continue
        mine, others = (across, along) if line.name in across_names(deck) else (along, across)
        low, high = ("left", "right") if mine is across else ("start", "end")
        for edge in (low, high):
            twin, overhang = twins[edge]
            if overhang > 0.0 and not line.to_edges and line.support != "beam":
                mine[line.name] = others[twin] = fine
            elif askew:
                mine[line.name] = others[edge] = fine
    return Grading(across, along)


def _askew(plan: Plan) -> bool:
    """Whether lines across and along meet at other angles than right ones."""
    return plan.skew != 0.0 or plan.end_offsets != plan.offsets


def across_names(deck: Deck) -> tuple[str, ...]:
    """Names of the lines and edges that cross the deck."""
    return (*(f"C{i + 1}" for i in range(len(deck.stations))), "start", "end")


def usual_size(deck: Deck) -> float:
    """Largest cell side [m] that a deck has which asks for none."""
    return cell_size(replace(deck, mesh=replace(deck.mesh, size=None)))[0]


def richer_size(deck: Deck, size: float) -> float:
    """Largest cell side [m] of the richer model of a deck with cells of that size: smaller by
    `REFINEMENT`, and no wider than usual, since a mesh that does not see a wheel cannot tell what
    another one misses of it."""
    return min(size / REFINEMENT, usual_size(deck))


def richer_model(deck: Deck, built: BuiltModel) -> BuiltModel:
    """The deck's model with elements one order higher on smaller cells."""
    order = built.model.mesh.order + 1
    options = replace(deck.mesh, order=order, size=richer_size(deck, built.size))
    return build_model(replace(deck, mesh=options))

"""Meshes of decks that no grid of cells fits: other outlines, openings, lines anywhere."""

from collections.abc import Mapping

import numpy as np

from pipelines.deck.deck import Deck, Line
from plate.arrays import Floats
from plate.elements.section import Section
from plate.errors import MeshError
from plate.geometry.curves import Curve, polyline
from plate.geometry.outline import narrowest_panel, plan_area
from plate.geometry.plan import EDGES
from plate.meshing.cell_sizes import SizeField, asked_count, uniform
from plate.meshing.free_mesh import Grading, mesh_quality, quad_mesh
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.model.singular_points import singular_places
from plate.model.supports import LineSupport

# Cells are graded towards places whose moments grow at least like r^-0.05.
GRADED = 1.95
# Parts of the slab between lines narrower than this many thicknesses do not set the cell size:
# the mesher sees to them by itself.
NARROW = 4.0
# Cells in place of each square of the size asked for, of each of a smaller one about a static
# patch, around each opening, and at least.
FREE, ASKED, AROUND, LEAST = 1.2, 1.8, 150.0, 40.0


def shortest_span(deck: Deck) -> float:
    """The smallest bay or spacing of lines [m]; without a grid the narrowest part of the slab
    between edges and supporting lines, by its largest inscribed circle."""
    if deck.plan.is_mapped:
        return float(min(np.diff(deck.stations).min(), np.diff(deck.offsets).min()))
    names = [line.name for line in deck.lines if line.name not in deck.plan.edges]
    return narrowest_panel(deck.plan, names, NARROW * deck.slab.thickness)


def mesh_line(line: Line) -> str:
    """The line's name in the mesh."""
    return f"{line.name}:full" if line.to_edges and line.name not in EDGES else line.name


def free_mesh(
    deck: Deck, section: Section, order: int, size: float, patch_share: float
) -> tuple[Mesh, tuple[str, ...]]:
    """Mesh of any plan, and notes on it.

    size : largest side of a cell [m]; static patches get cells of `patch_share` of their smaller
    side.

    Raises MeshError where no cells fit.
    """
    field = _size_field(deck, size, patch_share)
    zones = {
        f"zone {k + 1}": polyline([*zone.polygon.tolist(), zone.polygon[0].tolist()])
        for k, zone in enumerate(section.zones)
    }
    try:
        return _meshed(deck, section, order, field, zones)
    except MeshError as error:
        raise MeshError(
            f"{deck.path}: no mesh of this plan with cells of {size:.3g} m ({error}): give another "
            "[mesh] size_m, or leave out what is small or narrow of [plan], [[opening]] or [[line]]"
        ) from None


def _meshed(
    deck: Deck,
    section: Section,
    order: int,
    field: SizeField,
    zones: Mapping[str, tuple[Curve, ...]],
) -> tuple[Mesh, tuple[str, ...]]:
    """The mesh graded as far as it can be, and notes on it."""
    corners = _singular_points(deck, section, uniform(field.size), zones)
    rows = _rows(deck)
    for grading in (Grading(rows, corners), Grading({}, corners)):
        try:
            mesh = quad_mesh(deck.plan, order=order, field=field, grading=grading, extra=zones)
        except MeshError:
            continue
        return mesh, _notes(mesh, bool(rows) and not grading.rows)
    mesh = quad_mesh(deck.plan, order=order, field=field, extra=zones)
    return mesh, _notes(mesh, bool(rows))


def _size_field(deck: Deck, size: float, patch_share: float) -> SizeField:
    """Sides of cells: `size`, and `patch_share` of their smaller side about static patches."""
    stretch = float(deck.plan.alignment.stretch(deck.plan.outline).max())
    field = uniform(size / max(stretch, 1.0))
    patches = [patch for case in deck.cases for patch in case.patches]
    if not patches:
        return field
    reach = np.array([patch.size for patch in patches])
    places = np.array([patch.at for patch in patches])
    return field.with_places(places, patch_share * reach.min(axis=1), reach)


def free_cells(deck: Deck, size: float, patch_share: float) -> float:
    """About how many cells `free_mesh` will make [-], before it does: measured on plans of 30 to
    74 000 m2 with cells of 0.2 to 2 m, within a quarter but for very coarse ones; with narrow
    static patches within a half."""
    plan = deck.plan
    chains = {name: line.course() for name, line in plan.lines.items()}
    chains |= {f"opening {k + 1}": ring for k, ring in enumerate(plan.openings)}
    names = {name.removesuffix(":full") for name in _rows(deck)}
    rows = sum(curve.length for name in names for curve in chains[name])
    area = plan_area(plan)
    corners = np.concatenate([curve.at(np.linspace(0.0, 1.0, 9)) for curve in plan.boundary[0]])
    asked = asked_count(
        _size_field(deck, size, patch_share),
        corners.min(axis=0),
        corners.max(axis=0),
        plan.contains,
    )
    cells = FREE * area / size**2 + ASKED * asked + rows / size
    return cells + AROUND * len(plan.openings) + LEAST


def _singular_points(
    deck: Deck, section: Section, field: SizeField, zones: Mapping[str, tuple[Curve, ...]]
) -> Floats:
    """Plan points (n, 2) towards which cells shrink: moments are infinite there."""
    draft = quad_mesh(deck.plan, order=2, field=field, extra=zones)
    supports = tuple(
        LineSupport(line=mesh_line(line), kind=line.support)
        for line in deck.lines
        if line.support in ("rigid", "clamped")
    )
    places = singular_places(PlateModel(mesh=draft, section=section, supports=supports))
    return np.array([p.at for p in places if p.exponent < GRADED]).reshape(-1, 2)


def _rows(deck: Deck) -> dict[str, float]:
    """Widths [m] of the first row of cells, by line: half a thickness along free and soft edges,
    openings and beams, where Mindlin's theory has layers."""
    if deck.slab.theory != "mindlin":
        return {}
    plan, width = deck.plan, 0.5 * deck.slab.thickness
    holds = {line.name for line in deck.lines if holds_slopes(line)}
    names = [edge for edge in plan.edges if not {edge, plan.twins.get(edge)} & holds]
    names += [f"opening {k + 1}" for k in range(len(plan.openings))]
    names += [mesh_line(line) for line in deck.lines if line.support == "beam"]
    return dict.fromkeys(names, width)


def holds_slopes(line: Line) -> bool:
    """Whether the slope along a line is held with the deflection."""
    return line.support == "clamped" or (line.support == "rigid" and line.hard)


def _notes(mesh: Mesh, no_rows: bool) -> tuple[str, ...]:
    quality = mesh_quality(mesh)
    notes = [
        f"the plan is no grid: {mesh.n_cells} quadrilaterals between its curves with angles of "
        f"{np.degrees(quality.smallest):.0f} to {np.degrees(quality.largest):.0f} degrees, sides "
        f"of one cell up to 1 : {quality.aspect:.0f}, Jacobian determinants within a cell up to "
        f"1 : {1.0 / quality.jacobian:.0f}"
    ]
    if no_rows:
        notes.append(
            "corners of the plan are too sharp for rows of thin cells along free edges and beams: "
            "shears and twisting moments within about one thickness of them are less exact"
        )
    return tuple(notes)

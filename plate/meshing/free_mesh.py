"""All-quadrilateral meshes of any plan: curves as cell edges, true arcs, graded where asked for.

The curves are cut where they meet and divided as the size field asks; triangles between them are
paired, every pair is cut in four and every triangle left over in three, and the points between
the curves are moved until cells are as square as they can be. Then thin rows are inserted along
curves and cells shrink towards singular points. Edges on arcs have their nodes on the arc.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats, Ints
from plate.errors import MeshError
from plate.geometry.curves import Curve
from plate.geometry.outline import plan_area
from plate.geometry.plan import Plan
from plate.interpolation import lobatto, shape_gradient
from plate.meshing.cell_sizes import SizeField, divided, near_misses
from plate.meshing.corner_rings import shrunk
from plate.meshing.edge_rows import layered
from plate.meshing.mesh import Mesh
from plate.meshing.planar_graph import Arrangement, arrange
from plate.meshing.quads import Quads, paired, smoothed, subdivided
from plate.meshing.triangles import inner_points, triangulate

# Triangles are this much larger than the cells cut from them.
COARSE = 1.9
# A row is worth its cells where it is thinner than this share of the cells beside it.
THIN = 0.8
# Ratio and number of rings towards a singular point, as in `grid`.
CORNER_RATIO = 0.15
CORNER_RINGS = 3
# Cells around the rings are this many row widths large.
BEFORE_CORNER = 1.5


@dataclass(frozen=True)
class Grading:
    """rows : width [m] of the row of cells on either side of a line, edge or "opening 1", by name.
    corners : points (n, 2) towards which cells shrink [m]; those of the curves' ends and
        crossings nearest to them are meant."""

    rows: Mapping[str, float]
    corners: Floats


def quad_mesh(
    plan: Plan,
    *,
    order: int,
    field: SizeField,
    grading: Grading | None = None,
    extra: Mapping[str, tuple[Curve, ...]] | None = None,
) -> Mesh:
    """Mesh of order p of any plan.

    Lines of the mesh are those of the plan, on a grid plan also NAME:full, and the openings
    "opening 1" and so on.

    Parameters
    ----------
    field : sides of cells [m].
    extra : further chains of curves that cells must not straddle.

    Raises
    ------
    MeshError
        No cells fit between curves that are too close for the size asked for.
    """
    chains: dict[str, tuple[Curve, ...]] = {}
    for name, line in plan.lines.items():
        chains[name] = line.course()
        if plan.is_grid and not line.curves:
            chains[f"{name}:full"] = line.course(full=True)
    chains |= {f"opening {k + 1}": ring for k, ring in enumerate(plan.openings)}
    arrangement = arrange(plan, chains | dict(extra or {}))
    if grading is not None and grading.rows and len(grading.corners):
        # Cells shrink towards a corner from squares, not from the long cells of a row.
        width = BEFORE_CORNER * min(grading.rows.values())
        field = field.with_places(grading.corners, np.full(len(grading.corners), width))
    quads = _straight(plan, arrangement, field)
    if grading is not None:
        quads = _graded(quads, arrangement, field, grading)
    mesh = _with_nodes(plan, quads, arrangement, order, list(chains))
    if abs(mesh.area() - plan_area(plan)) > 1e-2 * plan_area(plan):
        raise MeshError("the cells do not cover the slab; a smaller [mesh] size_m may help")
    return mesh


def _straight(plan: Plan, arrangement: Arrangement, field: SizeField) -> Quads:
    """Straight cells between the pieces."""
    field = near_misses(arrangement, field.scaled(COARSE))
    bounds = [*plan.edges, *(f"opening {k + 1}" for k in range(len(plan.openings)))]
    rim = {k for name in bounds for k, _ in arrangement.courses[name]}
    points = [*arrangement.vertices]
    chains, segments, on_rim = [], [], []
    for k, (a, b) in enumerate(arrangement.ends.tolist()):
        curve = arrangement.pieces[k]
        shares = divided(curve, field)
        inner = curve.at(shares[1:-1])
        nodes = np.array([a, *range(len(points), len(points) + len(inner)), b])
        points += [*inner]
        chains.append((nodes, shares))
        segments.append(np.stack([nodes[:-1], nodes[1:]], axis=1))
        on_rim.append(np.full(len(nodes) - 1, k in rim))
    on_curves, sides = np.array(points), np.concatenate(segments)
    inner = inner_points(on_curves, sides, field, plan.contains)
    everywhere = np.concatenate([on_curves, inner])
    triangles = triangulate(everywhere, sides, np.concatenate(on_rim))
    kept = {(min(a, b), max(a, b)) for a, b in sides.tolist()}
    pairs, left = paired(everywhere, triangles, kept)
    quads = subdivided(everywhere, pairs, left, tuple(chains), arrangement.pieces)
    return smoothed(quads, quads.on_curves())


def _graded(quads: Quads, arrangement: Arrangement, field: SizeField, grading: Grading) -> Quads:
    widths: dict[int, float] = {}
    for name, width in grading.rows.items():
        for k, _ in arrangement.courses[name]:
            if width < THIN * float(field.at(arrangement.pieces[k].at(0.5))):
                widths[k] = min(width, widths.get(k, np.inf))
    if widths:
        quads, stay = layered(quads, arrangement.pieces, widths)
        quads = smoothed(quads, quads.on_curves() | stay)
    if len(grading.corners):
        gap = np.linalg.norm(arrangement.vertices - grading.corners[:, None], axis=2)
        vertices = np.unique(np.argmin(gap, axis=1)).tolist()
        quads = shrunk(quads, arrangement.pieces, vertices, CORNER_RATIO, CORNER_RINGS)
    return quads


def _with_nodes(
    plan: Plan, quads: Quads, arrangement: Arrangement, order: int, names: Sequence[str]
) -> Mesh:
    """The mesh with Gauss-Lobatto nodes, on the arcs where edges are on arcs."""
    cells = _lower_left_first(quads)
    share = 0.5 * (lobatto(order + 1) + 1.0)
    sides = np.sort(np.concatenate([cells[:, pair] for pair in ([0, 1], [3, 2], [0, 3], [1, 2])]))
    ends, inverse = np.unique(sides, axis=0, return_inverse=True)
    number = {(a, b): k for k, (a, b) in enumerate(ends.tolist())}
    # Edges (n, p + 1, 2) from their smaller to their larger end.
    inner = share[None, :, None]
    edges = quads.points[ends[:, 0], None] * (1.0 - inner) + quads.points[ends[:, 1], None] * inner
    for curve, (nodes, shares) in zip(arrangement.pieces, quads.chains, strict=True):
        if curve.sweep != 0.0:
            for i in range(len(nodes) - 1):
                a, b = int(nodes[i]), int(nodes[i + 1])
                on_arc = curve.at(shares[i] + share * (shares[i + 1] - shares[i]))
                edges[number[min(a, b), max(a, b)]] = on_arc if a < b else on_arc[::-1]
    n, p = len(cells), order
    base = len(quads.points)
    edge_nodes = base + np.arange(len(ends) * (p - 1)).reshape(len(ends), p - 1)
    edge_nodes = np.concatenate([ends[:, :1], edge_nodes, ends[:, 1:]], axis=1)
    index = inverse.reshape(4, n)
    # The four sides of each cell along growing xi or eta: bottom, top, left, right.
    side_nodes, side_points = [], []
    for k, pair in enumerate(([0, 1], [3, 2], [0, 3], [1, 2])):
        turned = (cells[:, pair[0]] > cells[:, pair[1]])[:, None]
        nodes, points = edge_nodes[index[k]], edges[index[k]]
        side_nodes.append(np.where(turned, nodes[:, ::-1], nodes))
        side_points.append(np.where(turned[..., None], points[:, ::-1], points))
    local = np.empty((n, p + 1, p + 1), dtype=np.int64)
    first = base + len(ends) * (p - 1)
    local[:, 1:-1, 1:-1] = first + np.arange(n * (p - 1) ** 2).reshape(n, p - 1, p - 1)
    bottom, top, left, right = side_nodes
    local[:, :, 0], local[:, :, -1], local[:, 0], local[:, -1] = bottom, top, left, right
    inside = _blended(side_points, share)[:, 1:-1, 1:-1].reshape(-1, 2)
    points = np.concatenate([quads.points, edges[:, 1:-1].reshape(-1, 2), inside])

    lines = {}
    for name in names:
        found = [np.empty((0, p + 1), dtype=np.int64)]
        for k, forward in arrangement.courses[name]:
            nodes = quads.chains[k][0] if forward else quads.chains[k][0][::-1]
            for a, b in zip(nodes[:-1].tolist(), nodes[1:].tolist(), strict=True):
                edge = edge_nodes[number[min(a, b), max(a, b)]]
                found.append((edge if a < b else edge[::-1])[None])
        lines[name] = np.concatenate(found)
    points, local, lines = _without_loose(points, local, lines)
    return Mesh(
        order=order, alignment=plan.alignment, plan=points, cells=local.reshape(n, -1), lines=lines
    )


def _without_loose(
    points: Floats, cells: Ints, lines: dict[str, Ints]
) -> tuple[Floats, Ints, dict[str, Ints]]:
    """Points that belong to no cell left out: vertices of curves off the slab."""
    used = np.zeros(len(points), dtype=bool)
    used[cells] = True
    number = np.cumsum(used) - 1
    return points[used], number[cells], {name: number[edges] for name, edges in lines.items()}


def _lower_left_first(quads: Quads) -> Ints:
    """Cells turned so that the corner with the smallest x + y is the first: a rectangle along
    the axes then has xi along x."""
    total = np.round(quads.points[quads.cells].sum(axis=2), 9)
    first = np.argmin(total, axis=1)
    turn = (first[:, None] + np.arange(4)) % 4
    return np.take_along_axis(quads.cells, turn, axis=1)


def _blended(sides: Sequence[Floats], share: Floats) -> Floats:
    """Points (n, p+1, p+1, 2) between four sides (Gordon and Hall, Numer. Math. 21 (1973))."""
    bottom, top, left, right = sides
    u, v = share[:, None, None], share[None, :, None]
    across = (1.0 - v) * bottom[:, :, None] + v * top[:, :, None]
    along = (1.0 - u) * left[:, None] + u * right[:, None]
    corners = (1.0 - u) * ((1.0 - v) * left[:, None, :1] + v * left[:, None, -1:]) + u * (
        (1.0 - v) * right[:, None, :1] + v * right[:, None, -1:]
    )
    return np.asarray(across + along - corners)


@dataclass(frozen=True)
class Quality:
    """How far the cells of a mesh are from squares.

    smallest, largest : angles at corners [rad]; aspect : longest over shortest side of a cell, the
    worst; jacobian : least over largest Jacobian determinant within a cell, the worst.
    """

    smallest: float
    largest: float
    aspect: float
    jacobian: float


def mesh_quality(mesh: Mesh) -> Quality:
    """Quality of the cells in plan coordinates."""
    J = shape_gradient(mesh.order, mesh.node_reference) @ mesh.plan[mesh.cells][:, None]
    det = np.linalg.det(J)
    p = mesh.order
    corner = J[:, [0, (p + 1) * p, (p + 1) ** 2 - 1, p]]
    cosine = np.sum(corner[..., 0, :] * corner[..., 1, :], axis=-1)
    between = np.arctan2(det[:, [0, (p + 1) * p, (p + 1) ** 2 - 1, p]], cosine)
    # At the second and fourth corner the sides leave against one of the directions.
    angle = np.where([False, True, False, True], np.pi - between, between)
    sides = np.linalg.norm(np.roll(mesh.corners, -1, axis=1) - mesh.corners, axis=2)
    return Quality(
        float(angle.min()),
        float(angle.max()),
        float((sides.max(axis=1) / sides.min(axis=1)).max()),
        float((det.min(axis=1) / det.max(axis=1)).min()),
    )

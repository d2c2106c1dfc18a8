"""Loads as right-hand sides: pressure, patches, lines. All act down.

Patches are integrated exactly over their overlap with each cell: the polygon is clipped at the
cell's edges and the pieces are integrated by Gauss's rule, whatever edges they cut, over
parallelograms around the patch itself. Cells with curved sides are cut at their true course
(`plate.loads.curved_overlaps`).
"""

import itertools
from collections.abc import Callable

import numpy as np
from scipy import sparse

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.elements.section import Section
from plate.interpolation import (
    gauss,
    integrated,
    lagrange,
    lagrange_derivative,
    lobatto,
    shape,
    square,
)
from plate.loads.clipping import clip_convex, clip_segment
from plate.loads.curved_overlaps import overlap_integrals, segment_ranges
from plate.meshing.mesh import Mesh, are_upright

# Gauss points beyond the order, to each side, over pieces of cells that are no parallelograms.
DISTORTED = 5
# Patches and cells taken together, to stay in cache, and the share of a cell that counts as none
# of it.
PAIRS, LEAST = 4_000, 1e-14
# Shares of a path's segment closer than this are one.
SLIVER = 1e-9


def pressure(mesh: Mesh, value: float) -> Floats:
    """Right-hand side (n_dof,) [N] of a uniform pressure [N/m2] on the whole slab."""
    return _area_load(mesh, lambda plan: np.full(plan.shape[:-1], value))


def self_weight(mesh: Mesh, section: Section, density: float) -> Floats:
    """Right-hand side (n_dof,) [N] of the slab's weight; density in N/m3."""
    return _area_load(mesh, lambda plan: density * section.thickness_at(plan))


def _area_load(mesh: Mesh, intensity: Callable[[Floats], Floats]) -> Floats:
    x, weight = gauss(mesh.order + 1)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    N = shape(mesh.order, points)
    det = np.linalg.det(mesh.jacobian(points))
    values = (intensity(N @ mesh.plan[mesh.cells]) * det * weights) @ N
    load = np.zeros(N_FIELDS * mesh.n_nodes)
    np.add.at(load, N_FIELDS * mesh.cells, values)
    return load


def patch_loads(
    mesh: Mesh, polygons: Floats, load: Floats, column: Ints, n_columns: int
) -> sparse.csc_array:
    """Right-hand sides of uniformly loaded quadrilaterals.

    Parameters
    ----------
    polygons : (n, 4, 2) plan corners turning from x to y, straight-sided in plan [m].
    load : (n,) force on each full patch [N]; only the part on the slab acts.
    column : (n,) right-hand side to which each patch belongs.

    Returns
    -------
    (n_dof, n_columns) sparse [N].
    """
    unique, inverse = np.unique(np.round(polygons, 9), axis=0, return_inverse=True)
    inverse = inverse.ravel()
    nodes, patch, values = patch_shares(mesh, unique)
    rows, columns = (N_FIELDS * nodes).ravel(), np.repeat(patch, nodes.shape[1])
    unit = sparse.coo_array(
        (values.ravel(), (rows, columns)), shape=(N_FIELDS * mesh.n_nodes, len(unique))
    ).tocsc()
    weights = sparse.coo_array((load, (inverse, column)), shape=(len(unique), n_columns)).tocsc()
    return sparse.csc_array(unit @ weights)


def patch_shares(mesh: Mesh, polygons: Floats) -> tuple[Ints, Ints, Floats]:
    """Nodes (k, m), patch (k,) and shares (k, m) of a unit load spread over each of the patches
    (n, 4, 2) that nodes take, of every cell that a patch overlaps; patches as of `patch_loads`, to
    the nanometre, so that neighbouring load positions share theirs."""
    polygons = np.round(polygons, 9)
    area = np.abs(mesh.alignment.polygon_area(polygons))
    nodes, patch, values = _overlap_integrals(mesh, polygons)
    return nodes, patch, values / area[patch][:, None]


def _overlap_integrals(mesh: Mesh, polygons: Floats) -> tuple[Ints, Ints, Floats]:
    """Integrals of the shape functions over patch and cell, for all pairs that overlap.

    Returns nodes (n_pair, (p+1)^2), patch (n_pair,), values (n_pair, (p+1)^2) [m2].
    """
    cell, patch = mesh.meeting(polygons.min(axis=1), polygons.max(axis=1))
    curved = mesh.curved[cell]
    upright = mesh.upright[cell] & are_upright(polygons)[patch] & ~curved
    askew = ~upright & ~curved
    values = np.zeros((len(cell), (mesh.order + 1) ** 2))
    values[upright] = rectangle_integrals(
        mesh, mesh.corners[cell[upright]], polygons[patch[upright]]
    )
    if not upright.all():
        # Only on a parallelogram is the map back to a cell affine.
        plain = askew & mesh.parallelograms[cell] & mesh.alignment.straight
        values[plain] = parallelogram_integrals(
            mesh.order, mesh.corners[cell[plain]], polygons[patch[plain]]
        )
        other = askew & ~plain
        values[other] = _polygon_integrals(mesh, cell[other], polygons[patch[other]])
        values[curved] = overlap_integrals(mesh, cell[curved], polygons[patch[curved]])
    hit = np.any(values != 0.0, axis=1)
    return mesh.cells[cell[hit]], patch[hit], values[hit]


def rectangle_integrals(mesh: Mesh, corners: Floats, patches: Floats) -> Floats:
    """Integrals (n, (p+1)^2) over rectangles (n, 4, 2) in rectangular cells of these corners
    (n, 4, 2): products of line integrals. Any arrays that take numpy's functions."""
    x, weight = (np.asarray(one, like=corners) for one in gauss(mesh.order + 1))
    nodes = lobatto(mesh.order + 1)
    along = []
    for axis, (first, last) in enumerate(((0, 1), (0, 3))):
        start, end = corners[:, first, axis], corners[:, last, axis]
        low = np.maximum(start, patches[:, first, axis])
        high = np.maximum(np.minimum(end, patches[:, last, axis]), low)
        at = low[:, None] + 0.5 * (high - low)[:, None] * (1.0 + x)
        xi = (2.0 * at - (start + end)[:, None]) / (end - start)[:, None]
        scale = 0.5 * (high - low)[:, None] * weight
        if axis == 1:
            scale = scale * (1.0 - at / mesh.alignment.radius)
        along.append(np.einsum("kq,kqn->kn", scale, lagrange(nodes, xi)))
    products: Floats = along[0][:, :, None] * along[1][:, None, :]
    return products.reshape(len(corners), (mesh.order + 1) ** 2)


def parallelogram_integrals(order: int, corners: Floats, patches: Floats) -> Floats:
    """Integrals (n, (p+1)^2) over convex quadrilaterals (n, 4, 2) in cells that are parallelograms
    of these corners (n, 4, 2), on straight decks.

    By Green's theorem around the patch, of what the shape functions integrate to from the cell's
    first side along xi: nothing before that side, the same beyond the other, nothing beyond the
    ends along eta. Between where its edges pass these the patch's edges give polynomials.
    """
    found = np.zeros((len(corners), (order + 1) ** 2))
    for start in range(0, len(corners), PAIRS):
        part = slice(start, start + PAIRS)
        found[part] = _around_patches(order, corners[part], patches[part])
    return found


def _around_patches(order: int, corners: Floats, patches: Floats) -> Floats:
    first, last = 0.5 * (corners[:, 1] - corners[:, 0]), 0.5 * (corners[:, 3] - corners[:, 0])
    det = first[:, 0] * last[:, 1] - first[:, 1] * last[:, 0]
    away = patches - corners.mean(axis=1)[:, None]
    xi = (away[..., 0] * last[:, 1:] - away[..., 1] * last[:, :1]) / det[:, None]
    eta = (away[..., 1] * first[:, :1] - away[..., 0] * first[:, 1:]) / det[:, None]
    along, across = (np.roll(one, -1, axis=1) - one for one in (xi, eta))

    def shares(start: Floats, change: Floats, side: float) -> Floats:
        """Shares of the edges (n, 4) at which they pass a side."""
        passes = change != 0.0
        return np.where(passes, (side - start) / np.where(passes, change, 1.0), 0.0)

    ends = np.stack([shares(eta, across, side) for side in (-1.0, 1.0)])
    low, high = np.clip(ends.min(axis=0), 0.0, 1.0), np.clip(ends.max(axis=0), 0.0, 1.0)
    cuts = np.stack([low, high, *(shares(xi, along, side) for side in (-1.0, 1.0))])
    cuts = np.sort(np.clip(cuts, low, high), axis=0)
    begin, length = cuts[:-1], np.diff(cuts, axis=0)
    beyond = xi + (begin + 0.5 * length) * along > -1.0
    pair, edge, piece = np.nonzero(np.moveaxis((length > 0.0) & (across != 0.0) & beyond, 0, -1))
    begin, length = begin[piece, pair, edge], length[piece, pair, edge]
    x, weight = gauss(order + 1)
    at = begin[:, None] + 0.5 * length[:, None] * (1.0 + x)
    xi, eta = (
        one[pair, edge][:, None] + at * change[pair, edge][:, None]
        for one, change in ((xi, along), (eta, across))
    )
    scale = (0.5 * length * across[pair, edge] * det[pair])[:, None] * weight
    sums = integrated(order, np.minimum(xi, 1.0))
    here = np.swapaxes(scale[..., None] * sums, 1, 2) @ lagrange(lobatto(order + 1), eta)
    found = np.zeros((len(corners), (order + 1) ** 2))
    which, starts = np.unique(pair, return_index=True)
    if len(which):
        found[which] = np.add.reduceat(here.reshape(len(pair), -1), starts, axis=0)
    # Of a patch that misses the cell its edges leave rounding.
    found[np.abs(found).max(axis=1) <= LEAST * np.abs(det)] = 0.0
    return found


def _polygon_integrals(mesh: Mesh, cell: Ints, patches: Floats) -> Floats:
    """Integrals (n, (p+1)^2) over any convex quadrilaterals in any straight-sided cells."""
    values = np.zeros((len(cell), (mesh.order + 1) ** 2))
    corners = mesh.corners[cell]
    pieces, count = clip_convex(patches, corners)
    # A polygon of up to eight corners is a fan of three quadrilaterals about its first corner.
    fan = [[0, 1, 2, 3], [0, 3, 4, 5], [0, 5, 6, 7]]
    x, weight = gauss(mesh.order + DISTORTED)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    bilinear = _bilinear(points)
    for quad in fan:
        shapes = pieces[:, quad]
        area = np.abs(_area(shapes))
        live = np.flatnonzero((count >= 3) & (area > 1e-14 * np.abs(_area(corners))))
        for start in range(0, len(live), 2000):
            part = live[start : start + 2000]
            at = bilinear @ shapes[part]
            det = np.abs(_bilinear_det(points, shapes[part]))
            xi = _inverse_bilinear(corners[part], at)
            scale = det * weights * mesh.alignment.stretch(at)
            values[part] = values[part] + np.einsum("kq,kqn->kn", scale, shape(mesh.order, xi))
    return values


def _area(quads: Floats) -> Floats:
    d1, d2 = quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]
    return np.asarray(0.5 * (d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0]))


def _bilinear(points: Floats) -> Floats:
    """(..., 4) bilinear shape functions of corners turning from xi to eta."""
    xi, eta = points[..., 0], points[..., 1]
    return 0.25 * np.stack(
        [(1 - xi) * (1 - eta), (1 + xi) * (1 - eta), (1 + xi) * (1 + eta), (1 - xi) * (1 + eta)],
        axis=-1,
    )


def _bilinear_gradient(points: Floats) -> Floats:
    """(..., 2, 4) derivatives of `_bilinear`."""
    xi, eta = points[..., 0], points[..., 1]
    one = np.ones_like(xi)
    along = 0.25 * np.stack([-(one - eta), one - eta, one + eta, -(one + eta)], axis=-1)
    across = 0.25 * np.stack([-(one - xi), -(one + xi), one + xi, one - xi], axis=-1)
    return np.stack([along, across], axis=-2)


def _bilinear_det(points: Floats, quads: Floats) -> Floats:
    J = _bilinear_gradient(points) @ quads[:, None]
    return np.asarray(J[..., 0, 0] * J[..., 1, 1] - J[..., 0, 1] * J[..., 1, 0])


def _inverse_bilinear(corners: Floats, at: Floats) -> Floats:
    """Reference coordinates (n, q, 2) of plan points (n, q, 2) in quadrilaterals (n, 4, 2)."""
    xi = _bilinear_root(corners, at)
    for _ in range(12):
        residual = at - np.einsum("kqc,kca->kqa", _bilinear(xi), corners)
        J = _bilinear_gradient(xi) @ corners[:, None]
        det = J[..., 0, 0] * J[..., 1, 1] - J[..., 0, 1] * J[..., 1, 0]
        step = np.stack(
            [
                (J[..., 1, 1] * residual[..., 0] - J[..., 1, 0] * residual[..., 1]) / det,
                (J[..., 0, 0] * residual[..., 1] - J[..., 0, 1] * residual[..., 0]) / det,
            ],
            axis=-1,
        )
        xi = xi + step
        if np.abs(step).max(initial=0.0) < 1e-8:  # the next step is about its square
            break
    return xi


def _bilinear_root(corners: Floats, at: Floats) -> Floats:
    """`_inverse_bilinear` by the root of its quadratic: to rounding where the sides are nearly
    parallel, else a few digits less."""
    turn = 0.25 * np.array([[1, 1, 1, 1], [-1, 1, 1, -1], [-1, -1, 1, 1], [1, -1, 1, -1]])
    middle, b, c, d = np.moveaxis(turn @ corners, 1, 0)[:, :, None]

    def cross(p: Floats, q: Floats) -> Floats:
        return np.asarray(p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0])

    p = at - middle
    # (p - c eta) x (b + d eta) = 0, by the root that stays finite for a parallelogram
    B, C = cross(p, d) + cross(b, c), cross(p, b)
    root = np.sqrt(np.maximum(B * B + 4.0 * cross(c, d) * C, 0.0))
    eta = -2.0 * C / (B + np.copysign(root, B))
    side = b + d * eta[..., None]
    xi = np.sum((p - c * eta[..., None]) * side, axis=-1) / np.sum(side * side, axis=-1)
    return np.stack([xi, eta], axis=-1)


def line_load(mesh: Mesh, path: Floats, intensity: float) -> Floats:
    """Right-hand side (n_dof,) [N] of a load [N/m] along a path (n, 2) straight in plan.

    Only the part on the slab acts. Lengths are Cartesian arc lengths.
    """
    load = np.zeros(N_FIELDS * mesh.n_nodes)
    for cells, xi, weights in segment_points(mesh, path):
        values = intensity * weights[:, None] * shape(mesh.order, xi)
        np.add.at(load, N_FIELDS * mesh.cells[cells], values)
    return load


def edge_load(mesh: Mesh, line: str, intensity: float) -> Floats:
    """Right-hand side (n_dof,) [N] of a load [N/m] along a line of the mesh, arcs included."""
    edges = mesh.lines[line]
    x, weight = gauss(mesh.order + 1)
    nodes = lobatto(mesh.order + 1)
    speed = np.linalg.norm(lagrange_derivative(nodes, x) @ mesh.xy[edges], axis=-1)
    values = intensity * (speed * weight) @ lagrange(nodes, x)
    load = np.zeros(N_FIELDS * mesh.n_nodes)
    np.add.at(load, N_FIELDS * edges, values)
    return load


def segment_points(mesh: Mesh, path: Floats) -> list[tuple[Ints, Floats, Floats]]:
    """Quadrature along a path: for each of its segments cells (n,), reference points (n, 2) and
    weights (n,) [m].

    A piece on the border of two cells is shared equally between them. The weights of a segment
    that stays on the slab sum to its Cartesian length.
    """
    found = []
    x, weight = gauss(2 * mesh.order)
    straight, curved = np.flatnonzero(~mesh.curved), np.flatnonzero(mesh.curved)
    low_box, high_box = mesh.boxes
    for a, b in itertools.pairwise(path):
        owner, spans = straight, clip_segment(a, b, mesh.corners[straight])
        low, high = np.minimum(a, b), np.maximum(a, b)
        near = np.all((low_box[curved] <= high) & (high_box[curved] >= low), axis=1)
        for cell in curved[near].tolist():
            ranges = segment_ranges(mesh, cell, a, b)
            owner = np.concatenate([owner, np.full(len(ranges), cell)])
            spans = np.concatenate([spans, np.array(ranges).reshape(-1, 2)])
        cuts = np.unique(spans[spans[:, 0] < spans[:, 1]])
        # Cells on either side of a path along their border cut it in the same places but for
        # rounding, which must leave no slivers.
        ends, cuts = cuts[-1:], cuts[np.diff(cuts, prepend=-1.0) > SLIVER]
        cuts[-1:] = ends
        cells, places, weights = [], [], []
        for start, end in itertools.pairwise(cuts):
            middle = 0.5 * (start + end)
            inside = owner[(spans[:, 0] < middle) & (middle < spans[:, 1])]
            at = a + (start + 0.5 * (x + 1.0) * (end - start))[:, None] * (b - a)
            direction = (b - a) * 0.5 * (end - start)
            speed = np.hypot(direction[0] * mesh.alignment.stretch(at), direction[1])
            cells.append(inside)
            places.append(np.broadcast_to(at, (len(inside), *at.shape)))
            weights.append(np.tile(weight * speed / max(len(inside), 1), len(inside)))
        if any(map(len, cells)):
            through = np.concatenate(cells)
            points = _reference_points(mesh, through, np.concatenate(places))
            found.append((np.repeat(through, len(x)), points, np.concatenate(weights)))
    return found


def _reference_points(mesh: Mesh, cells: Ints, at: Floats) -> Floats:
    """Reference coordinates (n q, 2) of plan points (n, q, 2) in cells (n,)."""
    found = np.empty(at.shape)
    curved = mesh.curved[cells]
    found[~curved] = _inverse_bilinear(mesh.corners[cells[~curved]], at[~curved])
    for k in np.flatnonzero(curved).tolist():
        found[k] = mesh.invert_plan(np.full(at.shape[1], cells[k]), at[k])
    return found.reshape(-1, 2)

"""How wrong shears are read beside the edges of patches.

A patch alone on a slab without end makes shears that are the gradient of a logarithmic potential,
p/(2 pi) times the integral of ln r along its outline (Gauss's theorem), with a kink at each edge;
what supports and the rest of the slab add is smooth there. Along its own direction a shear in a
cell of order p is nearly the polynomial of degree p - 1 that is nearest to the true one in the mean
square, exactly so in a beam: any deflection of the cell may be the virtual one. So it is known
what a reading of that polynomial makes of the patch's own shears, and what it should be.

In cells of any shape it is the covariant components, shears times the lines of the reference
directions, of which that holds: they are what the element ties (`plate.elements.plate`).
"""

from collections.abc import Sequence

import numpy as np
from numpy.polynomial.legendre import legvander

from plate.arrays import Floats, Ints, different_rows
from plate.geometry.alignment import Alignment
from plate.interpolation import gauss, shape, shape_gradient
from plate.meshing.mesh import Mesh
from plate.model.model import PlateModel
from plate.results.places import Places
from plate.results.readings import SAME, Readings, Way

# Points along a cell: so many stretches with so many points of Gauss each. A kink within a stretch
# adds a ten-thousandth of pressure times length of the cell.
STRETCHES, POINTS = 12, 3
# Further off the cells that are read than this share of their extent, a patch makes shears that a
# cell's polynomial follows.
NEAR = 0.5
# On an arc the sides of patches are taken as straight pieces that leave it by no more than this
# share of a side.
BULGE = 1.0 / 200.0
# Shares of a covariant component smaller than this are those of cells whose sides follow an arc.
NOTHING = 1e-6
# Shears square to a direction, but for rounding.
SQUARE = 1e-12
# Patches and lines looked at together, to stay in cache.
PAIRS = 500
# The numbers of the shears in RESULTS.
SHEARS = (4, 5)


def patch_shears(at: Floats, corners: Floats, load: Floats, axis: Floats) -> Floats:
    """Shears times an axis (..., 2) at points (..., 2) of a slab without end, each under a patch
    (..., m, 2) [m] of its own that carries a load (...) [N]; [N/m] of an axis of length 1."""
    sides = np.roll(corners, -1, axis=-2) - corners
    lengths = np.linalg.norm(sides, axis=-1)
    ends = corners + sides
    area = 0.5 * np.sum(corners[..., 0] * ends[..., 1] - corners[..., 1] * ends[..., 0], axis=-1)
    # the logarithms of the distances from the corners
    count = corners.shape[-2]
    away = [np.moveaxis(at - corners[..., side, :], -1, 0) for side in range(count)]
    squares = [np.maximum(x * x + y * y, np.finfo(float).tiny) for x, y in away]
    logs = [0.5 * np.log(square) for square in squares]
    found = np.zeros(np.broadcast_shapes(at.shape[:-1], load.shape))
    least = SQUARE * np.linalg.norm(axis, axis=-1)
    for side in range(count):
        length = lengths[..., side]
        u, v = np.moveaxis(sides[..., side, :], -1, 0) / length
        outward = v * axis[..., 0] - u * axis[..., 1]
        if (np.abs(outward) <= least).all():
            continue
        # the integral of ln r along the side, by the place t and the gap d of a point off it
        x, y = away[side]
        t, d = x * u + y * v, np.abs(x * v - y * u)
        seen = np.arctan2(length * d, squares[side] - t * length)
        whole = t * logs[side] + (length - t) * logs[(side + 1) % count] - length + d * seen
        found += outward * whole
    return np.asarray(load / (2.0 * np.pi * area) * found)


def knows_kinks(model: PlateModel) -> bool:
    """Whether what shears lack as they are read is known on a model: by Mindlin's theory."""
    return not model.section.thin


def shears_missed(
    model: PlateModel,
    places: Places,
    components: Sequence[int] | Ints,
    loads: Sequence[tuple[Floats, Floats]],
    under: Ints,
) -> Floats:
    """What shears as they are read lack (count,) [N/m] of those that patches make by themselves;
    nothing where that is not known, and nothing of other results.

    components : (count,) numbers in RESULTS; loads : corners (n, 4, 2) [m] in plan and loads (n,)
    [N] of patches; under : (count,) which of these each result is under.
    """
    found = np.zeros(places.count)
    for way, kinds in Readings(model).ways if knows_kinks(model) else ():
        for component in np.intersect1d(SHEARS, kinds).tolist():
            mine = places.of(np.asarray(components) == component)
            if len(mine.cells):
                own = Way(()) if places.integrated else way
                found += _missed(model, mine, own, component - SHEARS[0], loads, under)
    return found


def _missed(
    model: PlateModel,
    places: Places,
    way: Way,
    k: int,
    loads: Sequence[tuple[Floats, Floats]],
    under: Ints,
) -> Floats:
    """The same of shears along the first axis (k = 0) or the second, read in a way."""
    mesh, found = model.mesh, np.zeros(places.count)
    owner, cells, _, _ = Readings(model).of(places.cells, places.reference, way)
    of, corners, load = _near(mesh, places.place[owner], cells, loads, under)
    if not len(of):
        return found
    patches = of, _rings(mesh.alignment, corners), load
    places = places.of(np.isin(np.arange(places.count), of))
    owner, cells, reference, share = Readings(model).of(places.cells, places.reference, way)
    place = places.place[owner]
    here = _on(mesh, mesh.xy, places.cells, places.reference)[:, None]
    axis = _axis(mesh, places.cells, places.reference, k)[:, None]
    lacks = _sums(here, axis, places.place, patches)[:, 0]
    # a shear of a cell is what its covariant components make of it
    jacobian = shape_gradient(mesh.order, reference) @ mesh.xy[mesh.cells[cells]]
    axis = _axis(mesh, cells, reference, k)[..., None]
    made = np.linalg.solve(jacobian.swapaxes(1, 2), axis)[..., 0]
    counts = np.abs(made) * np.linalg.norm(jacobian, axis=-1) > NOTHING
    for i in (0, 1):
        read = np.flatnonzero(counts[:, i])
        there = _nearest(mesh, cells[read], reference[read], place[read], i, patches)
        np.subtract.at(lacks, owner[read], share[read] * made[read, i] * there)
    np.add.at(found, places.place, places.weight * lacks)
    return found


def _nearest(
    mesh: Mesh,
    cells: Ints,
    reference: Floats,
    place: Ints,
    k: int,
    patches: tuple[Ints, Floats, Floats],
) -> Floats:
    """At reference points (n, 2) of cells (n,), read at a place each (n,), the polynomials along
    reference direction k that are nearest to the covariant component of the patches' shears (n,)
    [N]."""
    at, weight = gauss(POINTS)
    starts = np.linspace(-1.0, 1.0, STRETCHES, endpoint=False)
    x = (starts[:, None] + (1.0 + at) / STRETCHES).ravel()
    # points of one line through a cell read the same shears
    keys = np.column_stack([place, cells, np.round(reference[:, 1 - k], SAME) + 0.0])
    first, which = different_rows(keys)
    own = _sums(*_lines(mesh, cells[first], reference[first], k, x), place[first], patches)
    # the nearest polynomial at a point, by Legendre's
    degree = mesh.order - 1
    scale = (np.arange(degree + 1) + 0.5) * np.tile(weight / STRETCHES, STRETCHES)[:, None]
    kernel = legvander(reference[:, k], degree) @ (scale * legvander(x, degree)).T
    return np.asarray(np.einsum("nx,nx->n", kernel, own[which]))


def _lines(mesh: Mesh, cells: Ints, reference: Floats, k: int, x: Floats) -> tuple[Floats, Floats]:
    """The lines through reference points (n, 2) of cells (n,) along reference direction k: points
    (n, m, 2) at x (m,), and what they change there with x."""
    straight = mesh.alignment.straight and not mesh.curved[cells].any()
    nodes, at = mesh.xy[mesh.cells[cells]], np.array([-1.0, 1.0]) if straight else x
    line = np.repeat(reference[:, None], len(at), axis=1)
    line[..., k] = at
    points = shape(mesh.order, line) @ nodes
    if not straight:
        return points, shape_gradient(mesh.order, line)[..., k, :] @ nodes
    # all others lie between the ends
    half = 0.5 * (points[:, 1:] - points[:, :1])
    points = points[:, :1] + (1.0 + x[:, None]) * half
    return points, np.broadcast_to(half, points.shape)


def _near(
    mesh: Mesh, place: Ints, cells: Ints, loads: Sequence[tuple[Floats, Floats]], under: Ints
) -> tuple[Ints, Floats, Floats]:
    """The patches near the cells (n,) that are read at each place (n,), of its load: which place,
    ascending, corners in plan and loads, (m,) each."""
    low, high = (np.full((len(under), 2), sign * np.inf) for sign in (1.0, -1.0))
    np.minimum.at(low, place, mesh.corners[cells].min(axis=1))
    np.maximum.at(high, place, mesh.corners[cells].max(axis=1))
    corners, load = (np.concatenate([one[i] for one in loads]) for i in (0, 1))
    ends = np.cumsum([len(one[1]) for one in loads])
    read = np.unique(place)
    count = np.diff(ends, prepend=0)[under[read]]
    of = np.repeat(read, count)
    patch = np.arange(len(of)) + np.repeat(ends[under[read]] - np.cumsum(count), count)
    reach = NEAR * (high - low)
    near = corners.max(axis=1)[patch] >= (low - reach)[of]
    near &= corners.min(axis=1)[patch] <= (high + reach)[of]
    chosen = np.flatnonzero(near.all(axis=1))
    return of[chosen], corners[patch[chosen]], load[patch[chosen]]


def _sums(
    points: Floats, axes: Floats, place: Ints, patches: tuple[Ints, Floats, Floats]
) -> Floats:
    """Shears times axes (n, x, 2) at points (n, x, 2), read at a place each (n,), under all patches
    near that place."""
    of, rings, load = patches
    begin = np.searchsorted(of, place)
    count = np.searchsorted(of, place, side="right") - begin
    line = np.repeat(np.arange(len(place)), count)
    patch = np.arange(len(line)) + np.repeat(begin - np.cumsum(count) + count, count)
    found = np.zeros(points.shape[:2])
    for start in range(0, len(line), PAIRS):
        mine, own = (one[start : start + PAIRS] for one in (line, patch))
        made = patch_shears(points[mine], rings[own][:, None], load[own][:, None], axes[mine])
        np.add.at(found, mine, made)
    return found


def _rings(alignment: Alignment, corners: Floats) -> Floats:
    """Cartesian outlines (n, m, 2) [m] of patches with plan corners (n, 4, 2), whose sides are
    straight in plan."""
    if alignment.straight:
        return corners
    turn = np.ptp(corners[..., 0], axis=1).max() / abs(alignment.radius)
    n = max(1, int(np.ceil(np.sqrt(turn / (8.0 * BULGE)))))
    side = np.roll(corners, -1, axis=1) - corners
    plan = corners[:, :, None] + np.arange(n)[:, None] / n * side[:, :, None]
    return alignment.to_cartesian(plan.reshape(-1, 2)).reshape(len(corners), -1, 2)


def _on(mesh: Mesh, nodal: Floats, cells: Ints, reference: Floats) -> Floats:
    """Values (n, 2) at reference points (n, 2) of cells (n,) of what is (n_node, 2) at nodes."""
    N = shape(mesh.order, reference)
    return np.asarray(np.einsum("nk,nkd->nd", N, nodal[mesh.cells[cells]]))


def _axis(mesh: Mesh, cells: Ints, reference: Floats, k: int) -> Floats:
    """Unit vectors (n, 2) along which shear k is given there."""
    if mesh.alignment.straight:
        return np.tile(np.eye(2)[k], (len(cells), 1))
    tangent = mesh.alignment.tangent(_on(mesh, mesh.plan, cells, reference))
    return tangent if k == 0 else tangent[:, ::-1] * [-1.0, 1.0]

"""How wrong shears are read beside the edges of patches.

A patch alone on a slab without end makes shears that are the gradient of a logarithmic potential,
p/(2 pi) times the integral of ln r along its outline (Gauss's theorem), with a kink at each edge;
what supports and the rest of the slab add is smooth there. Along its own direction a shear in a
cell of order p is nearly the polynomial of degree p - 1 that is nearest to the true one in the mean
square, exactly so in a beam: any deflection of the cell may be the virtual one. So it is known
what a reading of that polynomial makes of the patch's own shears, and what it should be.
"""

from collections.abc import Sequence

import numpy as np
from numpy.polynomial.legendre import legvander

from plate.arrays import Floats, Ints, different_rows
from plate.interpolation import gauss, shape
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
# Patches and lines looked at together, to stay in cache.
PAIRS = 500
# The numbers of the shears in RESULTS.
SHEARS = (4, 5)


def patch_shears(at: Floats, corners: Floats, load: Floats, k: int) -> Floats:
    """Shears (...) [N/m], along x (k = 0) or y (1), at points (..., 2) of a slab without end, each
    under a patch (..., 4, 2) [m] of its own that carries a load (...) [N]."""
    sides = np.roll(corners, -1, axis=-2) - corners
    ends = corners + sides
    area = 0.5 * np.sum(corners[..., 0] * ends[..., 1] - corners[..., 1] * ends[..., 0], axis=-1)
    found = np.zeros(np.broadcast_shapes(at.shape[:-1], load.shape))
    for side in range(corners.shape[-2]):
        length = np.linalg.norm(sides[..., side, :], axis=-1)
        tangent = np.moveaxis(sides[..., side, :], -1, 0) / length
        outward = np.stack([tangent[1], -tangent[0]])
        if not outward[k].any():
            continue
        x, y = np.moveaxis(at - corners[..., side, :], -1, 0)
        t, d = x * tangent[0] + y * tangent[1], x * outward[0] + y * outward[1]
        found += outward[k] * (_integral(length - t, d) - _integral(-t, d))
    return np.asarray(load / (2.0 * np.pi * area) * found)


def _integral(t: Floats, d: Floats) -> Floats:
    """Integral of ln sqrt(t^2 + d^2) over t from 0."""
    square = np.maximum(t**2 + d**2, np.finfo(float).tiny)
    return np.asarray(0.5 * t * np.log(square) - t + d * np.arctan2(t, np.abs(d)) * np.sign(d))


def knows_kinks(model: PlateModel) -> bool:
    """Whether what shears lack as they are read is known on all cells of a model."""
    mesh = model.mesh
    return not model.section.thin and mesh.alignment.straight and bool(mesh.upright.all())


def shears_missed(
    model: PlateModel,
    places: Places,
    components: Sequence[int] | Ints,
    loads: Sequence[tuple[Floats, Floats]],
    under: Ints,
) -> Floats:
    """What shears as they are read lack (count,) [N/m] of those that patches make by themselves;
    nothing where that is not known, and nothing of other results.

    components : (count,) numbers in RESULTS; loads : corners (n, 4, 2) [m] and loads (n,) [N] of
    patches; under : (count,) which of these each result is under.
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
    """The same of shears along x (k = 0) or y (1), read in a way."""
    mesh = model.mesh
    owner, cells, reference, share = Readings(model).of(places.cells, places.reference, way)
    load = under[places.place]
    patches = _near(mesh, load[owner], cells, loads)
    at, weight = gauss(POINTS)
    starts = np.linspace(-1.0, 1.0, STRETCHES, endpoint=False)
    x = (starts[:, None] + (1.0 + at) / STRETCHES).ravel()
    # points of one line through a cell read the same shears
    keys = np.column_stack([load[owner], cells, np.round(reference[:, 1 - k], SAME) + 0.0])
    first, which = different_rows(keys)
    line = np.repeat(reference[first][:, None], len(x), axis=1)
    line[..., k] = x
    own = _sums(mesh, cells[first], line, patches, load[owner[first]], k)
    # the nearest polynomial at a point, by Legendre's
    degree = mesh.order - 1
    scale = (np.arange(degree + 1) + 0.5) * np.tile(weight / STRETCHES, STRETCHES)[:, None]
    kernel = legvander(reference[:, k], degree) @ (scale * legvander(x, degree)).T
    there = np.einsum("nx,nx->n", kernel, own[which])
    lacks = _sums(mesh, places.cells, places.reference[:, None], patches, load, k)[:, 0]
    np.subtract.at(lacks, owner, share * there)
    found = np.zeros(places.count)
    np.add.at(found, places.place, places.weight * lacks)
    return found


def _near(
    mesh: Mesh, load: Ints, cells: Ints, loads: Sequence[tuple[Floats, Floats]]
) -> tuple[Ints, Floats, Floats]:
    """The patches near the cells (n,) that are read under each load (n,): which load, ascending,
    corners and loads, (m,) each."""
    low, high = (np.full((len(loads), 2), sign * np.inf) for sign in (1.0, -1.0))
    np.minimum.at(low, load, mesh.corners[cells].min(axis=1))
    np.maximum.at(high, load, mesh.corners[cells].max(axis=1))
    read = np.flatnonzero(low[:, 0] <= high[:, 0]).tolist()
    of = np.repeat(read, [len(loads[one][1]) for one in read])
    corners, force = (np.concatenate([loads[one][i] for one in read]) for i in (0, 1))
    reach = NEAR * (high - low)[of]
    near = corners.max(axis=1) >= low[of] - reach
    near &= corners.min(axis=1) <= high[of] + reach
    chosen = np.flatnonzero(near.all(axis=1))
    return of[chosen], corners[chosen], force[chosen]


def _sums(
    mesh: Mesh,
    cells: Ints,
    reference: Floats,
    patches: tuple[Ints, Floats, Floats],
    load: Ints,
    k: int,
) -> Floats:
    """Shears (n, m) at reference points (n, m, 2) of cells (n,) under the patches of a load each
    (n,)."""
    of, corners, force = patches
    begin = np.searchsorted(of, load)
    count = np.searchsorted(of, load, side="right") - begin
    point = np.repeat(np.arange(len(cells)), count)
    patch = np.arange(len(point)) + np.repeat(begin - np.cumsum(count) + count, count)
    found = np.zeros(reference.shape[:2])
    for part in np.split(np.arange(len(point)), range(PAIRS, len(point), PAIRS)):
        first, last = (int(point[part][end]) for end in (0, -1)) if len(part) else (0, -1)
        mine = slice(first, last + 1)
        xy = shape(mesh.order, reference[mine]) @ mesh.xy[mesh.cells[cells[mine]]]
        at, own = xy[point[part] - first], patch[part]
        made = patch_shears(at, corners[own][:, None], force[own][:, None], k)
        np.add.at(found, point[part], made)
    return found

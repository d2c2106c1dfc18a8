"""How wrong shears are read beside the edges of patches.

A patch alone on a slab without end makes shears that are the gradient of a logarithmic potential,
p/(2 pi) times the integral of ln r along its outline (Gauss's theorem), with a kink at each edge;
what supports and the rest of the slab add is smooth there. Along its own direction a shear in a
cell of order p is nearly the polynomial of degree p - 1 that is nearest to the true one in the mean
square, exactly so in a beam: any deflection of the cell may be the virtual one. So it is known
what a reading of that polynomial makes of the patch's own shears, and what it should be.
"""

import numpy as np
from numpy.polynomial.legendre import legvander

from plate.arrays import Floats, different_rows
from plate.interpolation import gauss, shape
from plate.model.model import PlateModel
from plate.results.places import Places
from plate.results.readings import SAME, Readings, Way

# Points along a cell: so many stretches with so many points of Gauss each. A kink within a stretch
# adds a ten-thousandth of pressure times length of the cell.
STRETCHES, POINTS = 12, 3
# Further off the cells that are read than this share of their extent, a patch makes shears that a
# cell's polynomial follows.
NEAR = 0.5


def patch_shears(at: Floats, corners: Floats, load: Floats) -> Floats:
    """Shears (..., 2) [N/m] at points (..., 2) of a slab without end under patches (n, 4, 2) [m]
    that carry loads (n,) [N], all of them together."""
    found = np.zeros(at.shape)
    for ring, force in zip(corners, load, strict=True):
        side = np.roll(ring, -1, axis=0) - ring
        area = 0.5 * np.sum(ring[:, 0] * (ring + side)[:, 1] - ring[:, 1] * (ring + side)[:, 0])
        for start, along in zip(ring, side, strict=True):
            length = np.linalg.norm(along)
            tangent = along / length
            outward = np.array([tangent[1], -tangent[0]])
            t, d = (at - start) @ tangent, (at - start) @ outward
            whole = _integral(length - t, d) - _integral(-t, d)
            found += force / (2.0 * np.pi * area) * whole[..., None] * outward
    return found


def _integral(t: Floats, d: Floats) -> Floats:
    """Integral of ln sqrt(t^2 + d^2) over t from 0."""
    square = np.maximum(t**2 + d**2, np.finfo(float).tiny)
    return np.asarray(0.5 * t * np.log(square) - t + d * np.arctan2(t, np.abs(d)) * np.sign(d))


def knows_kinks(model: PlateModel) -> bool:
    """Whether what shears lack as they are read is known on all cells of a model."""
    mesh = model.mesh
    return not model.section.thin and mesh.alignment.straight and bool(mesh.upright.all())


def shears_missed(
    model: PlateModel, places: Places, component: int, corners: Floats, load: Floats
) -> Floats:
    """What shears as they are read lack (count,) [N/m] of those that patches make by themselves,
    in upright cells by Mindlin's theory.

    component : 4 or 5, the number of the shear in RESULTS; corners (n, 4, 2) [m], load (n,) [N].
    """
    mesh, k = model.mesh, component - 4
    way = next(way for way, which in Readings(model).ways if component in which)
    if places.integrated:
        way = Way(())
    owner, cells, reference, share = Readings(model).of(places.cells, places.reference, way)
    low, high = (side(mesh.corners[cells], (0, 1)) for side in (np.min, np.max))
    reach = NEAR * (high - low)
    near = (corners.max(axis=1) >= low - reach) & (corners.min(axis=1) <= high + reach)
    corners, load = corners[near.all(axis=1)], load[near.all(axis=1)]
    if not len(load):
        return np.zeros(places.count)
    at, weight = gauss(POINTS)
    starts = np.linspace(-1.0, 1.0, STRETCHES, endpoint=False)
    x = (starts[:, None] + (1.0 + at) / STRETCHES).ravel()
    # points of one line through a cell read the same shears
    keys = np.column_stack([cells, np.round(reference[:, 1 - k], SAME) + 0.0])
    first, which = different_rows(keys)
    line = np.repeat(reference[first][:, None], len(x), axis=1)
    line[..., k] = x
    xy = shape(mesh.order, line) @ mesh.xy[mesh.cells[cells[first]]]
    own = patch_shears(xy, corners, load)[..., k]
    # the nearest polynomial at a point, by Legendre's
    degree = mesh.order - 1
    scale = (np.arange(degree + 1) + 0.5) * np.tile(weight / STRETCHES, STRETCHES)[:, None]
    kernel = legvander(reference[:, k], degree) @ (scale * legvander(x, degree)).T
    there = np.einsum("nx,nx->n", kernel, own[which])
    here = np.einsum(
        "nk,nkd->nd", shape(mesh.order, places.reference), mesh.xy[mesh.cells[places.cells]]
    )
    lacks = patch_shears(here, corners, load)[..., k]
    np.subtract.at(lacks, owner, share * there)
    found = np.zeros(places.count)
    np.add.at(found, places.place, places.weight * lacks)
    return found

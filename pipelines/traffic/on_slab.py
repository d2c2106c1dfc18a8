"""Where wheel patches that move along x, or along an axis, lie on a slab of any outline, openings
taken out."""

import itertools
from collections.abc import Callable, Sequence

import numpy as np
import shapely

from plate.arrays import Floats, Ints

# A patch must overlap the slab by more than this to touch it [m].
SAME = 1e-9
# The same for a patch that is turned [m].
INSIDE = 1e-7


def multiples_on_slab(start: Floats, rings: Sequence[Floats], step: float) -> Floats:
    """Integer multiples (n,) of the step by which any patch may move along x and lie on the slab.

    start : (k, 4, 2) patch corners at station 0, order (s-, y-), (s+, y-), (s+, y+), (s-, y+), with
    sides s- and s+ straight; rings : closed polygons (n, 2), the edge of the slab and its openings,
    corners not repeated.

    Between neighbouring levels of corners the slab is a row of trapezoids, within each of which
    the moves that overlap it form one open interval with its ends at the two levels.
    """
    sides = np.concatenate([np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in rings])
    sides = sides[np.abs(sides[:, 1, 1] - sides[:, 0, 1]) > SAME]
    heights = np.unique(sides[..., 1])
    ranges: list[tuple[Ints, Ints]] = []
    for low, high in itertools.pairwise(heights):
        bottom, top = np.maximum(start[:, 0, 1], low), np.minimum(start[:, 3, 1], high)
        beside = top - bottom > SAME
        if beside.any():
            levels = np.stack([bottom, top], axis=1)[beside]
            y = sides[..., 1]
            across = sides[(y.min(axis=1) <= low) & (y.max(axis=1) >= high)]
            ranges += _moves(start[beside], across, levels, step)
    if not ranges:
        return np.empty(0)
    first = np.concatenate([a for a, _ in ranges])
    last = np.concatenate([b for _, b in ranges])
    base = int(first.min())
    change = np.zeros(int(max(last.max(), first.max())) - base + 2, dtype=int)
    np.add.at(change, first - base, 1)
    np.add.at(change, np.maximum(last, first - 1) + 1 - base, -1)
    return np.asarray(step * (base + np.flatnonzero(np.cumsum(change) > 0)), dtype=float)


def multiples_along(
    corners: Callable[[float], Floats],
    slab: shapely.Polygon,
    between: tuple[float, float],
    step: float,
) -> Floats:
    """Integer multiples (n,) of the step within a range [m] at which any patch lies on the slab.

    corners : of the patches (k, 4, 2) at a station.
    """
    inner = slab.buffer(-INSIDE)
    shapely.prepare(inner)
    first, last = np.ceil(between[0] / step), np.floor(between[1] / step)
    stations = step * np.arange(first, last + 1.0)
    on = [bool(shapely.intersects(inner, shapely.polygons(corners(s))).any()) for s in stations]
    return np.asarray(stations[np.array(on, dtype=bool)])


def _moves(patches: Floats, across: Floats, levels: Floats, step: float) -> list[tuple[Ints, Ints]]:
    """First and last multiple for each patch (k, 4, 2) and each stretch of slab between two levels
    of it (k, 2), along which the sides `across` (m, 2, 2) of the slab run from level to level."""
    (x0, y0), (x1, y1) = across[:, 0].T[..., None, None], across[:, 1].T[..., None, None]
    at = x0 + (x1 - x0) * (levels - y0) / (y1 - y0)
    at = at[np.argsort(at.mean(axis=(1, 2)))]
    near, far = patches[:, [0], 1], patches[:, [3], 1]
    share = (levels - near) / (far - near)
    behind = patches[:, [0], 0] + share * (patches[:, [3], 0] - patches[:, [0], 0])
    front = patches[:, [1], 0] + share * (patches[:, [2], 0] - patches[:, [1], 0])
    found = []
    for begin, end in zip(at[0::2], at[1::2], strict=True):
        first = np.floor(((begin - front).min(axis=1) + SAME) / step).astype(np.int64) + 1
        last = np.ceil(((end - behind).max(axis=1) - SAME) / step).astype(np.int64) - 1
        found.append((first, last))
    return found

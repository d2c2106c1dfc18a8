"""Intersections of convex polygons with mesh cells and of segments with cells, vectorised."""

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.geometry.curves import SAME

# A segment no further than this off an edge lies on it [m]: more than what counts as on the slab.
TOUCHING = 2.0 * SAME


def clip_convex(polygons: Floats, clips: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Intersections of pairs of convex polygons (Sutherland and Hodgman 1974).

    Parameters
    ----------
    polygons : (n, v, 2) corners, turning from x to y.
    clips : (n, c, 2) corners, turning from x to y.

    Returns
    -------
    corners : (n, v + c, 2); corners past the count repeat the last one.
    count : (n,) number of corners, 0 where they do not overlap.
    """
    n = len(polygons)
    current = polygons
    count = np.full(n, polygons.shape[1])
    for k in range(clips.shape[1]):
        a, b = clips[:, k], clips[:, (k + 1) % clips.shape[1]]
        edge = b - a
        width = current.shape[1]
        index = np.arange(width)
        following = np.where(index + 1 < count[:, None], index + 1, 0)
        ahead = np.take_along_axis(current, following[..., None], axis=1)
        side = _side(edge, a, current)
        side_ahead = np.take_along_axis(side, following, axis=1)
        real = index < count[:, None]
        crosses = real & ((side >= 0.0) != (side_ahead >= 0.0))
        keeps = real & (side_ahead >= 0.0)
        span = np.where(crosses, side - side_ahead, 1.0)
        cut = current + (side / span)[..., None] * (ahead - current)
        # Each edge emits its crossing, then its far corner if that is inside.
        emitted = np.stack([cut, ahead], axis=2).reshape(n, 2 * width, 2)
        flags = np.stack([crosses, keeps], axis=2).reshape(n, 2 * width)
        count = flags.sum(axis=1)
        order = np.argsort(~flags, axis=1, kind="stable")[:, : width + 1]
        current = np.take_along_axis(emitted, order[..., None], axis=1)
    last = np.clip(count - 1, 0, None)
    index = np.minimum(np.arange(current.shape[1]), last[:, None])
    return np.take_along_axis(current, index[..., None], axis=1), count


def _side(edge: Floats, start: Floats, points: Floats) -> Floats:
    """Positive on the inner side of each clip edge."""
    relative = points - start[:, None]
    return np.asarray(edge[:, None, 0] * relative[..., 1] - edge[:, None, 1] * relative[..., 0])


def clip_segment(start: Floats, end: Floats, clips: Floats) -> Floats:
    """Parameter ranges (n, 2) in [0, 1] of the segment start-end inside convex cells (n, c, 2).

    The range is empty (first >= second) where the segment misses a cell.
    """
    low, high = np.zeros(len(clips)), np.ones(len(clips))
    direction = end - start
    for k in range(clips.shape[1]):
        a, b = clips[:, k], clips[:, (k + 1) % clips.shape[1]]
        edge = b - a
        length = np.linalg.norm(edge, axis=1)
        offset = (edge[:, 0] * (start[1] - a[:, 1]) - edge[:, 1] * (start[0] - a[:, 0])) / length
        slope = (edge[:, 0] * direction[1] - edge[:, 1] * direction[0]) / length
        # A segment on the edge itself counts as inside: rounding must not lose it, nor that of
        # whoever wrote its ends down.
        parallel = np.abs(slope) < TOUCHING
        outside = parallel & (offset < -TOUCHING)
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.where(parallel, 0.0, -offset / np.where(parallel, 1.0, slope))
        low = np.where(~parallel & (slope > 0.0), np.maximum(low, root), low)
        high = np.where(~parallel & (slope < 0.0), np.minimum(high, root), high)
        high = np.where(outside, -1.0, high)
    return np.stack([low, high], axis=1)

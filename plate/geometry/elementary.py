"""Corners of rectangles, and distances of points from straight segments."""

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats

# Turning from x to y, as shares of the half sides.
CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def rectangle_corners(centre: ArrayLike, sides: ArrayLike) -> Floats:
    """Corners (..., 4, 2) of rectangles along the axes, turning from x to y.

    centre, sides : (..., 2) the centres and the sides along x and y [m]; one side for squares.
    """
    half = 0.5 * np.broadcast_to(np.asarray(sides, dtype=float), np.shape(centre))
    return np.asarray(centre, dtype=float)[..., None, :] + CORNERS * half[..., None, :]


def distance_from_segments(points: Floats, segments: Floats) -> Floats:
    """Distances (n,) of points (n, 2) from the nearest of segments (k, 2, 2); infinite without."""
    nearest = np.full(len(points), np.inf)
    for a, b in segments:
        along = b - a
        share = np.clip((points - a) @ along / (along @ along), 0.0, 1.0)
        gap = np.linalg.norm(points - a - share[:, None] * along, axis=1)
        nearest = np.minimum(nearest, gap)
    return nearest

"""Bounds of a result under a vehicle in boxes of stations and offsets.

Along a straight line a function lies above the chord of its ends by no more than h^2/8 times its
most negative second derivative. First along, then across: in a box of h_s x h_y

    V <= highest corner + h_s^2/8 max(-V,ss, 0) + h_y^2/8 max(-V,yy, 0).

V,s is the sum over the wheels of the load per length of patch times what the surface's mean is
higher on the patch's leading edge than on its trailing one; so V,ss comes from the surface's slopes
there: their bounds in each cell (`GridSurfaces.slopes`), times the greatest and least share of the
edge that lies in the cell. No box has a place inside where V has a kink (`Pieces`).
"""

from collections.abc import Callable

import numpy as np
from scipy import sparse

from pipelines.accuracy.grid_surfaces import NEAR
from pipelines.accuracy.pieces import DrivenWheels
from plate.arrays import Floats, Ints

Range = tuple[Floats, Floats]
"""Lower and upper bounds."""


def box_bounds(wheels: DrivenWheels) -> tuple[Floats, Range]:
    """Values (n_row, 2, 2, n_s, n_y) at the low and high ends of every box, along and across, and
    bounds (n_row, n_s, n_y) of all values in it."""
    (s0, s1), (y0, y1) = wheels.s.boxes, wheels.y.boxes
    (s, i), (y, j) = (
        np.unique(np.concatenate(ends), return_inverse=True) for ends in ((s0, s1), (y0, y1))
    )
    at = wheels.values(s, y)[:, i[:, None], j]
    corners = at.reshape(-1, 2, len(s0), 2, len(y0)).swapaxes(2, 3)
    along, across = _curvatures(wheels)
    squares = (s1 - s0)[:, None] ** 2 / 8.0, (y1 - y0) ** 2 / 8.0
    dip, rise = (
        sum(
            square * np.maximum(sign * bound, 0.0)
            for square, bound in zip(squares, (along[k], across[k]), strict=True)
        )
        for k, sign in ((1, 1.0), (0, -1.0))
    )
    return corners, (corners.min(axis=(1, 2)) - dip, corners.max(axis=(1, 2)) + rise)


def _curvatures(wheels: DrivenWheels) -> tuple[Range, Range]:
    """Bounds (n_row, n_s, n_y) of V,ss and of V,yy in every box."""
    grid = wheels.grid
    shape = (len(grid.ordinates), len(wheels.s.first) - 1, len(wheels.y.first) - 1)
    along, across = ((np.zeros(shape), np.zeros(shape)) for _ in range(2))
    for g in wheels.groups:
        edges = _edges(grid.slopes[0], 1, grid.s.lines, wheels.s.boxes, g.along, g.sides[0])
        low, high = _shares(grid.y.lines, wheels.y.boxes, g.across, g.sides[1])
        _add(along, g.load, edges, lambda e, w: e @ w.T, low, high)
        edges = _edges(grid.slopes[1], 2, grid.y.lines, wheels.y.boxes, g.across, g.sides[1])
        low, high = _shares(grid.s.lines, wheels.s.boxes, g.along, g.sides[0])
        _add(across, g.load, edges, _over_s, low, high)
    return along, across


def _over_s(edges: Floats, shares: Floats) -> Floats:
    """Sums (n_row, n_s, n_y) of edges (n_row, n_cell, n_y) by shares (n_s, n_cell), most of which
    are zero."""
    n_row, n_cell, n_y = edges.shape
    flat = edges.transpose(1, 0, 2).reshape(n_cell, -1)
    found = np.asarray(sparse.csr_array(shares) @ flat)
    return found.reshape(-1, n_row, n_y).transpose(1, 0, 2)


def _add(
    total: Range,
    load: float,
    edges: Range,
    product: Callable[[Floats, Floats], Floats],
    low: Floats,
    high: Floats,
) -> None:
    """Add the load times the range of `edges` weighted by shares between low and high."""
    for k, sign in ((0, 1.0), (1, -1.0)):
        least = np.maximum(sign * edges[k], 0.0), np.maximum(-sign * edges[k], 0.0)
        total[k][...] += sign * load * (product(least[0], low) - product(least[1], high))


def _edges(
    slopes: Range, axis: int, lines: Floats, boxes: Range, shifts: Floats, side: float
) -> Range:
    """Bounds of the sum over patches of the slope on the leading edge less that on the trailing
    one, divided by the side: (n_row, n_box, n_cell), the boxes along `axis`.

    slopes : of every cell (n_row, n_cell_s, n_cell_y); shifts : of the patches' middles.
    """
    # Beyond the slab there is nothing.
    padding = [(1, 1) if k == axis else (0, 0) for k in range(3)]
    low, high = (np.pad(one, padding) for one in slopes)
    least: Floats | float = 0.0
    most: Floats | float = 0.0
    for shift in shifts.tolist():
        (a, b), (c, d) = (
            _over_runs(low, high, axis, lines, boxes[0] + edge, boxes[1] + edge)
            for edge in (shift + 0.5 * side, shift - 0.5 * side)
        )
        least, most = least + (a - d) / side, most + (b - c) / side
    return np.asarray(least), np.asarray(most)


def _over_runs(
    low: Floats, high: Floats, axis: int, lines: Floats, start: Floats, end: Floats
) -> Range:
    """Least of `low` and greatest of `high` over the cells from start to end (n_box,)."""
    first = np.searchsorted(lines, start + NEAR, side="right")
    last = np.maximum(np.searchsorted(lines, end - NEAR, side="left"), first)
    least, most = low.take(first, axis), high.take(first, axis)
    for k in range(1, int((last - first).max(initial=0)) + 1):
        cell: Ints = np.minimum(first + k, last)
        np.minimum(least, low.take(cell, axis), out=least)
        np.maximum(most, high.take(cell, axis), out=most)
    return least, most


def _shares(lines: Floats, boxes: Range, shifts: Floats, side: float) -> Range:
    """Least and greatest sum (n_box, n_cell) over patches of the share of a side in each cell."""
    low, high = lines[:-1], lines[1:]

    def share(middle: Floats) -> Floats:
        covered = np.minimum(high, middle + 0.5 * side) - np.maximum(low, middle - 0.5 * side)
        return np.asarray(np.maximum(covered, 0.0) / side)

    least: Floats | float = 0.0
    most: Floats | float = 0.0
    for shift in shifts.tolist():
        start, end = ((one + shift)[:, None] for one in boxes)
        # It grows up to the cell's middle and falls behind it.
        least = least + np.minimum(share(start), share(end))
        most = most + share(np.clip(0.5 * (low + high), start, end))
    return np.asarray(least), np.asarray(most)

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
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipelines.accuracy.grid_surfaces import NEAR
from pipelines.accuracy.pieces import DrivenWheels
from plate.arrays import Floats, Ints

Range = tuple[Floats, Floats]
"""Lower and upper bounds."""


@dataclass(frozen=True, eq=False)
class EndValues:
    """Results at the ends of boxes: s : (n_end,) stations [m]; values (n_row, n_end, n_end_y) at
    these and at the ends of the offsets; y : (2, n_y) which of the latter are the low and the high
    ends of the boxes."""

    s: Floats
    y: Ints
    values: Floats


def box_bounds(wheels: DrivenWheels) -> tuple[EndValues, Range]:
    """Values at the ends of every box, along and across, and bounds (n_row, n_s, n_y) of all values
    in it."""
    (s0, s1), (y0, y1) = wheels.s.boxes, wheels.y.boxes
    (s, i), (y, j) = (
        np.unique(np.concatenate(ends), return_inverse=True) for ends in ((s0, s1), (y0, y1))
    )
    i, j = i.reshape(2, -1), j.reshape(2, -1)
    values = wheels.values(s, y)
    least, most = (
        pick(*(of.take(k, 2) for k in j))
        for pick in (np.minimum, np.maximum)
        for of in [pick(*(values.take(k, 1) for k in i))]
    )
    along, across = _curvatures(wheels)
    along *= (s1 - s0)[:, None] ** 2 / 8.0
    across *= (y1 - y0) ** 2 / 8.0
    dip, rise = np.maximum(along, 0.0) + np.maximum(across, 0.0)
    return EndValues(s, j, values), (least - dip, most + rise)


def _curvatures(wheels: DrivenWheels) -> tuple[Floats, Floats]:
    """Upper bounds (2, n_row, n_s, n_y) of V,ss and of V,yy in every box, and of these with the
    other sign."""
    grid = wheels.grid
    shape = (2, len(grid.ordinates), len(wheels.s.first) - 1, len(wheels.y.first) - 1)
    along, across = np.zeros((2, *shape))
    for g in wheels.groups:
        edges = _edges(grid.slopes[0], 2, grid.s.lines, wheels.s.boxes, g.along, g.sides[0])
        shares = _shares(grid.y.lines, wheels.y.boxes, g.across, g.sides[1])
        _add(along, g.load, edges, lambda e, w: e @ w.T, shares)
        edges = _edges(grid.slopes[1], 3, grid.y.lines, wheels.y.boxes, g.across, g.sides[1])
        shares = _shares(grid.s.lines, wheels.s.boxes, g.along, g.sides[0])
        _add(across, g.load, edges, _over_s, shares)
    return along, across


def _over_s(edges: Floats, shares: Floats) -> Floats:
    """Sums (2, n_row, n_s, n_y) of edges (2, n_row, n_cell, n_y) by shares (n_s, n_cell), most of
    which are zero."""
    two, n_row, n_cell, n_y = edges.shape
    flat = edges.transpose(2, 0, 1, 3).reshape(n_cell, -1)
    found = np.asarray(sparse.csr_array(shares) @ flat)
    return found.reshape(-1, two, n_row, n_y).transpose(1, 2, 0, 3)


def _add(
    total: Floats,
    load: float,
    edges: Floats,
    product: Callable[[Floats, Floats], Floats],
    shares: Range,
) -> None:
    """Add the load times the greatest sums of `edges` weighted by shares."""
    total += product(np.maximum(edges, 0.0), load * shares[1])
    total += product(np.minimum(edges, 0.0), load * shares[0])


def _edges(
    slopes: Floats, axis: int, lines: Floats, boxes: Range, shifts: Floats, side: float
) -> Floats:
    """Upper bounds of the sum over patches of the slope on the leading edge less that on the
    trailing one, divided by the side, and of this with the other sign: (2, n_row, n_box, n_cell),
    the boxes along `axis`.

    slopes : upper bounds (2, n_row, n_cell_s, n_cell_y) in every cell, and with the other sign;
    shifts : of the patches' middles.
    """
    # Beyond the slab there is nothing.
    padded = np.pad(slopes / side, [(1, 1) if k == axis else (0, 0) for k in range(4)])
    total: Floats | float = 0.0
    for shift in shifts.tolist():
        leading, trailing = (
            _over_runs(padded, axis, lines, boxes[0] + edge, boxes[1] + edge)
            for edge in (shift + 0.5 * side, shift - 0.5 * side)
        )
        total = total + leading + trailing[::-1]
    return np.asarray(total)


def _over_runs(high: Floats, axis: int, lines: Floats, start: Floats, end: Floats) -> Floats:
    """Greatest of `high` over the cells from start to end (n_box,)."""
    first = np.searchsorted(lines, start + NEAR, side="right")
    last = np.maximum(np.searchsorted(lines, end - NEAR, side="left"), first)
    most = high.take(first, axis)
    for k in range(1, int((last - first).max(initial=0)) + 1):
        cell: Ints = np.minimum(first + k, last)
        np.maximum(most, high.take(cell, axis), out=most)
    return most


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

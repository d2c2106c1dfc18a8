"""How much the mean of an influence surface under a patch can bend with the patch's place.

With z zero beyond the slab the mean W over a patch of a x b about (x, y) has

    W,x = 1 / (a b) (integral of z along its leading edge - that along its trailing one),

so W,xx is made of integrals of z,x along these edges and, where an edge of the patch passes the
slab's, of z there times the length along y that it passes: bounds of both on tiles
(`slope_raster`) bound it for all places within a tile. Along y the same holds with the sides
exchanged. Over a length h a function lies above the chord of its ends by no more than h^2/8 times
its greatest bend, and by h/4 of what its slope falls in jumps.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.accuracy.slope_raster import SLIVER, SlopeRaster
from pipelines.traffic.positions import Size
from plate.arrays import Floats

# Sizes of windows that are kept, to bound the memory.
MOST_WINDOWS = 3


@dataclass(frozen=True, eq=False)
class PatchBends:
    """Bounds for all places of a patch's middle within each tile of a raster, along x and along y.

    smooth : (2, 2, n_row, n_x, n_y) of -W,xx and W,xx, and of -W,yy and W,yy, none below zero;
    jumps : (2, n_row, n_x, n_y) of what the slope changes in jumps across the tile.
    """

    smooth: Floats
    jumps: Floats

    @classmethod
    def of(cls, raster: SlopeRaster, patch: Size) -> "PatchBends":
        """Those of a patch of these sides along and across [m]."""
        area = patch[0] * patch[1]
        smooth, jumps = [], []
        for d in (0, 1):
            low, high, edges = (
                np.swapaxes(one[d], 1, 2) if d else one[d]
                for one in (raster.low, raster.high, raster.edges)
            )
            a, b = (side / raster.side for side in (patch if d == 0 else patch[::-1]))
            bends = [
                _along_edge(one, 0.5 * a, b) + _along_edge(other, -0.5 * a, b)
                for one, other in ((-low, high), (high, -low))
            ]
            passed = sum(_passed(edges, shift, b) for shift in (0.5 * a, -0.5 * a))
            both = [np.maximum(one, 0.0) * (raster.side / area) for one in bends]
            both.append(np.asarray(passed) / area)
            both = [np.swapaxes(one, 1, 2) if d else one for one in both]
            smooth.append(both[:2])
            jumps.append(both[2])
        return cls(np.array(smooth), np.array(jumps))

    @cached_property
    def _windows(self) -> dict[tuple[int, int], tuple[Floats, Floats]]:
        return {}

    def over(self, n_x: int, n_y: int) -> tuple[Floats, Floats]:
        """The same over n_x x n_y tiles, of which the first in both directions is told."""
        if (n_x, n_y) not in self._windows:
            if len(self._windows) == MOST_WINDOWS:
                self._windows.clear()
            smooth = _most(_most(self.smooth, n_x, -2), n_y, -1)
            jumps = np.stack(
                [
                    _most(_sum(self.jumps[0], n_x, -2), n_y, -1),
                    _most(_sum(self.jumps[1], n_y, -1), n_x, -2),
                ]
            )
            self._windows[n_x, n_y] = smooth, jumps
        return self._windows[n_x, n_y]


def _range(low: float, high: float) -> range:
    """The tiles, from a tile on, between two places within it or beyond [tiles]."""
    return range(int(np.floor(low + SLIVER)), int(np.ceil(high - SLIVER)))


def _moved(values: Floats, by: int, axis: int = 1) -> Floats:
    """Values of the tiles so many further; beyond the last there is what is at the margin."""
    index = np.clip(np.arange(values.shape[axis]) + by, 0, values.shape[axis] - 1)
    return values.take(index, axis)


def _along_edge(bound: Floats, shift: float, b: float) -> Floats:
    """Bounds (n_row, n_x, n_y) of integrals [tiles] along an edge of length b, parallel to y and by
    `shift` off the patch's middle, of what is bounded in each tile, for middles in each tile."""
    most = np.maximum.reduce([_moved(bound, k) for k in _range(shift, shift + 1.0)])
    some, every = (
        _range(-0.5 * b, 1.0 + 0.5 * b),
        range(int(np.ceil(1.0 - 0.5 * b - SLIVER)), int(np.floor(0.5 * b + SLIVER))),
    )
    return _run(np.maximum(most, 0.0), some) + _run(np.minimum(most, 0.0), every)


def _passed(edges: Floats, shift: float, b: float) -> Floats:
    """What of the slab's edges an edge of the patch may pass while its middle crosses a tile."""
    beside = [_moved(edges, k) for k in _range(shift, shift + 1.0)]
    return _run(np.add.reduce(beside), _range(-0.5 * b, 1.0 + 0.5 * b))


def _run(values: Floats, tiles: range) -> Floats:
    """Sums over the tiles across from each on."""
    if not len(tiles):
        return np.zeros_like(values)
    n = values.shape[2]
    before = np.concatenate([np.zeros((*values.shape[:2], 1)), np.cumsum(values, axis=2)], axis=2)
    j = np.arange(n)
    first, last = (np.clip(j + at, 0, n) for at in (tiles.start, tiles.stop))
    return np.asarray(before[:, :, last] - before[:, :, first])


def _most(values: Floats, n: int, axis: int) -> Floats:
    return np.asarray(np.maximum.reduce([_moved(values, k, axis) for k in range(n)]))


def _sum(values: Floats, n: int, axis: int) -> Floats:
    return np.asarray(np.add.reduce([_moved(values, k, axis) for k in range(n)]))

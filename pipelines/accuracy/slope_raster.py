"""Bounds of the slopes of influence surfaces on square tiles, on a mesh of straight-sided cells.

On a cell a surface is a polynomial of the cell's own coordinates. Cells are quartered until they
are as small as a tile; on each quarter the slopes along the cell's coordinates lie between
Bernstein coefficients (Farouki 2012, The Bernstein polynomial basis; from memory), and so do the
derivatives of the place along them. Those of the surface along x and y follow by the arithmetic of
intervals.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy import sparse

from pipelines.accuracy.bernstein import halves, of_values
from pipelines.accuracy.box_bounds import Range
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from plate.arrays import Floats, Ints
from plate.geometry.outline import DRAWN, region
from plate.meshing.mesh import side_nodes

# Shares of a tile that are less than this are none.
SLIVER = 1e-9


@dataclass(frozen=True, eq=False, kw_only=True)
class SlopeRaster:
    """Surfaces on square tiles that cover the slab with a margin.

    origin : (2,) and side : of the tiles [m]. low, high : (2, n_row, n_x, n_y) bounds of the slopes
    along x and along y in each tile, of zero beyond the slab. edges : (2, n_row, n_x, n_y) upper
    bounds of what the surface's size comes to, integrated along the slab's edges in each tile over
    their lengths along y and along x.
    """

    origin: Floats
    side: float
    low: Floats
    high: Floats
    edges: Floats

    @classmethod
    def of(cls, surfaces: Surfaces, deck: Deck, side: float, margin: float) -> "SlopeRaster":
        """That of surfaces on tiles of that side, on a straight deck's mesh of cells none of which
        is curved."""
        mesh = surfaces.mesh
        first, last = mesh.plan.min(axis=0) - margin, mesh.plan.max(axis=0) + margin
        shape = np.ceil((last - first) / side).astype(int)
        times = int(np.ceil(np.log2(max(1.0, np.ptp(mesh.corners, axis=1).max() / side)) - 0.5))
        C = of_values(mesh.order)
        m = mesh.order + 1
        z = C @ surfaces.ordinates[:, mesh.cells].reshape(-1, mesh.n_cells, m, m) @ C.T
        place = np.moveaxis(mesh.plan[mesh.cells].reshape(-1, m, m, 2), 3, 0)
        place = C @ place @ C.T
        for _ in range(times):
            z, place = _quartered(z), _quartered(place)
        slopes = _slopes(z, place)
        tiles = _Tiles(first, side, (int(shape[0]), int(shape[1])))
        low, high = tiles.extremes(slopes, place.reshape(2, place.shape[1], -1))
        inside = tiles.inside(deck)
        low = np.where(inside, low, np.minimum(low, 0.0))
        high = np.where(inside, high, np.maximum(high, 0.0))
        edges = tiles.sums(*_along_edges(surfaces, times))
        return cls(origin=first, side=side, low=low, high=high, edges=edges)


@dataclass(frozen=True)
class _Tiles:
    origin: Floats
    side: float
    shape: tuple[int, int]

    def touched(self, places: Floats) -> sparse.csr_array:
        """Which tiles (n_tile, n) the boxes about places (2, n, k) touch."""
        at = (places - self.origin[:, None, None]) / self.side
        low = np.floor(at.min(axis=2) - SLIVER).astype(np.int64)
        spans = np.floor(at.max(axis=2) + SLIVER).astype(np.int64) - low
        which, tile = [], []
        for i in range(int(spans[0].max(initial=-1)) + 1):
            for j in range(int(spans[1].max(initial=-1)) + 1):
                mine = np.flatnonzero((i <= spans[0]) & (j <= spans[1]))
                which.append(mine)
                tile.append((low[0, mine] + i) * self.shape[1] + low[1, mine] + j)
        entries = np.concatenate(tile), np.concatenate(which)
        size = self.shape[0] * self.shape[1], places.shape[1]
        return sparse.csr_array((np.ones(len(entries[0])), entries), shape=size)

    def extremes(self, slopes: tuple[Range, Range], places: Floats) -> Range:
        """Bounds (2, n_row, n_x, n_y) in each tile of those (n_row, n) on boxes about places."""
        touched = self.touched(places)
        some = np.flatnonzero(np.diff(touched.indptr))
        starts = touched.indptr[some]
        found = []
        for k, reduce in ((0, np.minimum.reduceat), (1, np.maximum.reduceat)):
            both = np.zeros((2, len(slopes[0][0]), self.shape[0] * self.shape[1]))
            for d in (0, 1):
                both[d][:, some] = reduce(slopes[d][k][:, touched.indices], starts, axis=1)
            found.append(both.reshape(2, -1, *self.shape))
        return found[0], found[1]

    def sums(self, amounts: Floats, places: Floats) -> Floats:
        """Sums (2, n_row, n_x, n_y) of amounts (2, n_row, n) over the tiles that boxes about places
        touch."""
        touched = self.touched(places)
        found = np.stack([(touched @ one.T).T for one in amounts])
        return np.asarray(found.reshape(2, -1, *self.shape))

    def inside(self, deck: Deck) -> Floats:
        """Which tiles (n_x, n_y) lie on the slab with all of them."""
        slab = region(deck.plan, DRAWN).buffer(SLIVER)
        shapely.prepare(slab)
        x, y = (self.origin[k] + self.side * np.arange(self.shape[k]) for k in (0, 1))
        x, y = np.meshgrid(x, y, indexing="ij")
        boxes = shapely.box(x, y, x + self.side, y + self.side)
        return np.asarray(shapely.contains(slab, boxes))


def _quartered(coefficients: Floats) -> Floats:
    """Coefficients (k, 4 n, m, m) on the quarters of cells from those (k, n, m, m) on them."""
    both = halves(coefficients.shape[-1] - 1)
    halved = np.concatenate([half @ coefficients for half in both], axis=1)
    return np.concatenate([halved @ half.T for half in both], axis=1)


def _slopes(z: Floats, place: Floats) -> tuple[Range, Range]:
    """Bounds of the slopes along x and y (n_row, n) of surfaces with coefficients (n_row, n, m, m)
    on pieces of straight sides at places with coefficients (2, n, m, m)."""
    order = z.shape[-1] - 1

    def along(C: Floats, axis: int) -> Range:
        change = order * np.diff(C, axis=axis)
        return change.min(axis=(-2, -1)), change.max(axis=(-2, -1))

    z_u, z_v = along(z, -2), along(z, -1)
    (x_u, x_v), (y_u, y_v) = ((along(C, -2), along(C, -1)) for C in place)
    # The map is linear in each direction, so that its determinant has its extremes at corners.
    x, y = place[:, :, [0, -1]][..., [0, -1]]
    det = np.stack(
        [
            (x[:, 1, j] - x[:, 0, j]) * (y[:, i, 1] - y[:, i, 0])
            - (x[:, i, 1] - x[:, i, 0]) * (y[:, 1, j] - y[:, 0, j])
            for i in (0, 1)
            for j in (0, 1)
        ]
    )
    share = 1.0 / det.max(axis=0), 1.0 / det.min(axis=0)
    z_x = _times(_less(_times(z_u, y_v), _times(z_v, y_u)), share)
    z_y = _times(_less(_times(z_v, x_u), _times(z_u, x_v)), share)
    return z_x, z_y


def _times(a: Range, b: Range) -> Range:
    products = [p * q for p in a for q in b]
    return np.minimum.reduce(products), np.maximum.reduce(products)


def _less(a: Range, b: Range) -> Range:
    return a[0] - b[1], a[1] - b[0]


def _along_edges(surfaces: Surfaces, times: int) -> tuple[Floats, Floats]:
    """Sizes of the surfaces times lengths along y and along x (2, n_row, n) of pieces of the slab's
    edges, and the ends of these (2, n, 2)."""
    mesh = surfaces.mesh
    _, owner = mesh.edges
    outer = owner[owner[:, 1, 0] < 0, 0]
    nodes: Ints = mesh.cells[outer[:, 0][:, None], side_nodes(mesh.order)[outer[:, 1]]]
    C = of_values(mesh.order)
    z, place = surfaces.ordinates[:, nodes] @ C.T, np.moveaxis(mesh.plan[nodes], 2, 0) @ C.T
    for _ in range(times):
        z, place = (
            np.concatenate([one @ half.T for half in halves(mesh.order)], axis=1)
            for one in (z, place)
        )
    size = np.abs(z).max(axis=2)
    lengths = np.abs(place[..., -1] - place[..., 0])
    return np.stack([size * lengths[1], size * lengths[0]]), place[..., [0, -1]]

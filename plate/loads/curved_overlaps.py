"""Patches and segments that meet cells with curved sides, cut at the sides' true course.

The overlap of a convex patch and a cell is bounded by pieces of the patch's edges and of the
cell's sides. It is integrated over the cones from one point to those pieces, with signs, which
is exact whatever its shape (Green's theorem); only the map back to the cell is not polynomial.
"""

import itertools
from functools import cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.interpolation import gauss, lobatto
from plate.meshing.mesh import Mesh

# A place closer than this to a side, as share of the cell, lies on it.
ON = 1e-9
# An edge of a patch that stays this close to a straight side runs along it.
ALONG = 1e-7
# Points handled together.
CHUNK = 4000


@cache
def _bases(order: int) -> tuple[Floats, Floats]:
    """Lagrange polynomials on the Gauss-Lobatto points, and their derivatives, as combinations of
    Legendre polynomials: (p + 1, p + 1), a column each."""
    values = np.linalg.inv(legendre.legvander(lobatto(order + 1), order))
    slopes = np.zeros_like(values)
    slopes[:-1] = legendre.legder(values)
    return np.asarray(values), np.asarray(slopes)


class _Side:
    """A side of a cell, or an edge of a patch, as a polynomial over [-1, 1].

    nodes : (p + 1, 2) at Gauss-Lobatto points, in order of turning from x to y.
    """

    def __init__(self, nodes: Floats) -> None:
        self.nodes = nodes
        values, slopes = _bases(len(nodes) - 1)
        self._values, self._slopes = values @ nodes, slopes @ nodes
        self._size = float(np.ptp(nodes, axis=0).max())

    def at(self, t: Floats) -> Floats:
        return self._combined(t, self._values)

    def slope(self, t: Floats) -> Floats:
        return self._combined(t, self._slopes)

    def _combined(self, t: Floats, coefficients: Floats) -> Floats:
        found = legendre.legvander(t, len(self.nodes) - 1) @ coefficients
        return np.asarray(found.reshape(*np.shape(t), 2))

    def crossings(self, a: Floats, b: Floats) -> list[float]:
        """Parameters at which the side crosses the infinite line through a and b."""
        x, y = (a[1] - b[1]), (b[0] - a[0])
        values = ((self.nodes[:, 0] - a[0]) * x + (self.nodes[:, 1] - a[1]) * y) / np.hypot(x, y)
        low, high = float(values.min()), float(values.max())
        if max(abs(low), abs(high)) < ON * self._size:
            return []  # along the line
        if len(values) == 2:
            return [] if low * high > 0.0 else [float((values.sum()) / (values[0] - values[1]))]
        if min(abs(low), abs(high)) > 0.5 * (high - low) and low * high > 0.0:
            return []
        coefficients = _bases(len(values) - 1)[0] @ values
        keep = np.flatnonzero(np.abs(coefficients) > 1e-13 * self._size)
        roots = legendre.legroots(coefficients[: keep[-1] + 1])
        real = np.real(roots[np.abs(np.imag(roots)) < 1e-7])
        return [float(t) for t in real if abs(t) <= 1.0]


Piece = tuple[_Side, float, float]
"""A side and the parameters between which it counts."""


def _sides(mesh: Mesh, cell: int) -> list[_Side]:
    """The four sides of a cell in order of turning from x to y; straight ones by two nodes."""
    n = mesh.order + 1
    nodes = mesh.plan[mesh.cells[cell]].reshape(n, n, 2)
    found = []
    for side in (nodes[:, 0], nodes[-1], nodes[::-1, -1], nodes[0, ::-1]):
        share = 0.5 * (1.0 + lobatto(n))[:, None]
        chord = side[0] * (1.0 - share) + side[-1] * share
        straight = np.abs(side - chord).max() < ON * np.ptp(side, axis=0).max()
        found.append(_Side(side[[0, -1]] if straight else side))
    return found


def _located(mesh: Mesh, cells: Ints, points: Floats) -> tuple[Floats, Floats]:
    """Reference coordinates (n, 2) of plan points in cells (n,), and shape functions there.

    Newton's method, point by point until it has met; what does not lie in the cell may be
    anything beyond [-1, 1]^2.
    """
    p = mesh.order
    values, slopes = _bases(p)
    nodes = mesh.plan[mesh.cells[cells]].reshape(-1, p + 1, p + 1, 2)
    xi = np.zeros((len(points), 2))
    N = np.zeros((len(points), (p + 1) ** 2))
    active = np.arange(len(points))
    for _ in range(20):
        if not len(active):
            break
        legs = [legendre.legvander(xi[active, k], p) for k in range(2)]
        u, v = legs[0] @ values, legs[1] @ values
        N[active] = (u[:, :, None] * v[:, None]).reshape(-1, (p + 1) ** 2)
        along = np.einsum("kija,kj->kia", nodes[active], v)
        image = np.einsum("kia,ki->ka", along, u)
        a = np.einsum("kia,ki->ka", along, legs[0] @ slopes)
        b = np.einsum("kia,ki->ka", np.einsum("kija,kj->kia", nodes[active], legs[1] @ slopes), u)
        gap = points[active] - image
        det = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        det = np.where(np.abs(det) > 0.0, det, 1.0)
        step = np.stack(
            [gap[:, 0] * b[:, 1] - gap[:, 1] * b[:, 0], a[:, 0] * gap[:, 1] - a[:, 1] * gap[:, 0]],
            axis=1,
        )
        step /= det[:, None]
        moved = np.clip(xi[active] + step, -1.6, 1.6)
        change = np.abs(moved - xi[active]).max(axis=1)
        xi[active] = moved
        active = active[change > 1e-13]
    return xi, N


def _inside(mesh: Mesh, cells: Ints, points: Floats, margin: float) -> NDArray[np.bool_]:
    """Which plan points (n, 2) lie in their cells (n,), widened by `margin` in reference
    coordinates."""
    xi, N = _located(mesh, cells, points)
    nodes = mesh.plan[mesh.cells[cells]]
    gap = np.abs(np.einsum("kn,kna->ka", N, nodes) - points).max(axis=1)
    met = gap < 1e-6 * np.ptp(nodes, axis=1).max(axis=1)
    return np.asarray(met & np.all(np.abs(xi) <= 1.0 + margin, axis=1))


def segment_ranges(mesh: Mesh, cell: int, a: Floats, b: Floats) -> list[tuple[float, float]]:
    """Parameter ranges in [0, 1] of the segment a-b that lie in a curved cell."""
    cuts = [0.0, 1.0]
    along = b - a
    for side in _sides(mesh, cell):
        for t in side.crossings(a, b):
            cuts.append(float((side.at(np.array(t)) - a) @ along / (along @ along)))
    cuts = sorted(c for c in cuts if 0.0 <= c <= 1.0)
    cuts = [c for k, c in enumerate(cuts) if k == 0 or c - cuts[k - 1] > 1e-12]
    pairs = list(itertools.pairwise(cuts))
    if not pairs:
        return []
    middles = np.array([a + 0.5 * (low + high) * along for low, high in pairs])
    inside = _inside(mesh, np.full(len(middles), cell), middles, 1e-7)
    return [pair for pair, within in zip(pairs, inside, strict=True) if within]


def overlap_integrals(mesh: Mesh, cells: Ints, patches: Floats) -> Floats:
    """Integrals (n, (p+1)^2) [m2] of the shape functions of curved cells (n,) over convex
    patches (n, 4, 2), which turn from x to y."""
    values = np.zeros((len(cells), (mesh.order + 1) ** 2))
    quadratures = [
        (k, *_quadrature(mesh.order, pieces))
        for k, pieces in enumerate(_boundaries(mesh, cells, patches))
        if pieces
    ]
    if not quadratures:
        return values
    pair = np.concatenate([np.full(len(weights), k) for k, _, weights in quadratures])
    at = np.concatenate([points for _, points, _ in quadratures])
    weights = np.concatenate([weights for _, _, weights in quadratures])
    for start in range(0, len(pair), CHUNK):
        part = slice(start, start + CHUNK)
        _, N = _located(mesh, cells[pair[part]], at[part])
        np.add.at(values, pair[part], weights[part, None] * N)
    return values


def _quadrature(order: int, pieces: list[Piece]) -> tuple[Floats, Floats]:
    """Points (m, 2) and weights (m,) [m2] over what pieces of curves bound."""
    ends = np.array([side.at(np.array([low, high])) for side, low, high in pieces])
    apex = ends.mean(axis=(0, 1))
    s, s_weight = gauss(order + 3)
    r, r_weight = gauss(order + 2)
    share, share_weight = 0.5 * (1.0 + r), 0.5 * r_weight
    points, weights = [], []
    for side, low, high in pieces:
        t = low + 0.5 * (1.0 + s) * (high - low)
        arm, slope = side.at(t) - apex, side.slope(t) * (0.5 * (high - low))
        swept = (arm[:, 0] * slope[:, 1] - arm[:, 1] * slope[:, 0]) * s_weight
        points.append((apex + share[:, None, None] * arm).reshape(-1, 2))
        weights.append(np.outer(share_weight * share, swept).ravel())
    return np.concatenate(points), np.concatenate(weights)


def _boundaries(mesh: Mesh, cells: Ints, patches: Floats) -> list[list[Piece]]:
    """The pieces that bound the overlap of each pair of cell and patch.

    Where an edge of the patch runs along a side of the cell that side counts, not the edge.
    """
    known = {cell: _sides(mesh, cell) for cell in np.unique(cells).tolist()}
    found: list[list[Piece]] = []
    waiting: list[tuple[int, Piece]] = []
    for pair, cell in enumerate(cells.tolist()):
        patch, sides = patches[pair], known[cell]
        edges = [_Side(np.stack([patch[i], patch[(i + 1) % 4]])) for i in range(4)]
        on_sides, on_edges = _cuts(sides, edges)
        size = float(np.ptp(mesh.plan[mesh.cells[cell]], axis=0).max())
        pieces = []
        for side, cuts in zip(sides, on_sides, strict=True):
            for low, high in _intervals(cuts):
                middle = np.array(0.5 * (low + high))
                if _in_patch(patch, side.at(middle), ALONG * size):
                    pieces.append((side, low, high))
        found.append(pieces)
        for edge, cuts in zip(edges, on_edges, strict=True):
            if not any(_runs_along(edge, side, ALONG * size) for side in sides):
                waiting += [(pair, (edge, low, high)) for low, high in _intervals(cuts)]
    middles = np.array([edge.at(np.array(0.5 * (low + high))) for _, (edge, low, high) in waiting])
    owner = np.array([pair for pair, _ in waiting], dtype=np.int64)
    inside = _inside(mesh, cells[owner], middles.reshape(-1, 2), 0.0)
    for (pair, piece), within in zip(waiting, inside, strict=True):
        if within:
            found[pair].append(piece)
    return found


def _cuts(sides: list[_Side], edges: list[_Side]) -> tuple[list[list[float]], list[list[float]]]:
    """Parameters, ends included, at which sides of a cell and edges of a patch are cut."""
    on_sides: list[list[float]] = [[-1.0, 1.0] for _ in sides]
    on_edges: list[list[float]] = [[-1.0, 1.0] for _ in edges]
    for i, side in enumerate(sides):
        for k, edge in enumerate(edges):
            a, b = edge.nodes
            along = b - a
            for t in side.crossings(a, b):
                u = 2.0 * float((side.at(np.array(t)) - a) @ along / (along @ along)) - 1.0
                on_sides[i].append(t)
                if abs(u) <= 1.0:
                    on_edges[k].append(u)
    return on_sides, on_edges


def _intervals(cuts: list[float]) -> list[tuple[float, float]]:
    return [(a, b) for a, b in itertools.pairwise(sorted(cuts)) if b - a > 1e-11]


def _runs_along(edge: _Side, side: _Side, margin: float) -> bool:
    """Whether a patch's edge lies on the line of a straight side."""
    if len(side.nodes) > 2:
        return False
    a, b = side.nodes
    x, y = (b - a) / np.hypot(*(b - a))
    off = (edge.nodes[:, 0] - a[0]) * y - (edge.nodes[:, 1] - a[1]) * x
    return bool(np.abs(off).max() < margin)


def _in_patch(patch: Floats, point: Floats, margin: float) -> bool:
    """Whether a point lies in the patch, widened by a margin [m].

    A side along an edge of a patch on its other hand counts as well: it is the only piece of an
    empty overlap, and the cone over it from its own middle has no area.
    """
    along = np.roll(patch, -1, axis=0) - patch
    relative = point - patch
    left = (along[:, 0] * relative[:, 1] - along[:, 1] * relative[:, 0]) / np.hypot(*along.T)
    return bool(np.all(left >= -margin))

"""Patches and segments that meet cells with curved sides, cut at the sides' true course.

The overlap of a convex patch and a cell is bounded by pieces of the patch's edges and of the
cell's sides. It is integrated over the cones from one point to those pieces, with signs, which
is exact whatever its shape (Green's theorem); only the map back to the cell is not polynomial.
"""

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from plate.mesh import Mesh
from plate.reference import gauss, lagrange, lagrange_derivative, lobatto

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A place closer than this to a side, as share of the cell, lies on it.
ON = 1e-9


@dataclass(frozen=True)
class _Side:
    """A side of a cell, or an edge of a patch, as a polynomial over [-1, 1].

    nodes : (p + 1, 2) at Gauss-Lobatto points, in order of turning from x to y.
    """

    nodes: Floats

    def at(self, t: Floats) -> Floats:
        return lagrange(lobatto(len(self.nodes)), t) @ self.nodes

    def slope(self, t: Floats) -> Floats:
        return lagrange_derivative(lobatto(len(self.nodes)), t) @ self.nodes

    def crossings(self, a: Floats, b: Floats) -> list[float]:
        """Parameters at which the side crosses the infinite line through a and b."""
        normal = np.array([a[1] - b[1], b[0] - a[0]]) / np.hypot(*(b - a))
        values = (self.nodes - a) @ normal
        size = float(np.ptp(self.nodes, axis=0).max())
        if np.abs(values).max() < ON * size or np.abs(values).min() > 0.5 * np.ptp(values) + size:
            return []
        if len(values) == 2:
            t = (values[0] + values[1]) / (values[0] - values[1]) if np.ptp(values) else 2.0
            return [float(t)] if abs(t) <= 1.0 else []
        order = len(values) - 1
        coefficients = np.linalg.solve(legendre.legvander(lobatto(order + 1), order), values)
        keep = np.flatnonzero(np.abs(coefficients) > 1e-13 * size)
        roots = legendre.legroots(coefficients[: keep[-1] + 1]) if len(keep) else np.empty(0)
        real = np.real(roots[np.abs(np.imag(roots)) < 1e-7])
        return [float(t) for t in real if abs(t) <= 1.0]


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


@cache
def _bases(order: int) -> tuple[Floats, Floats]:
    """Lagrange polynomials on the Gauss-Lobatto points, and their derivatives, as combinations of
    Legendre polynomials: (p + 1, p + 1), a column each."""
    values = np.linalg.inv(legendre.legvander(lobatto(order + 1), order))
    slopes = np.zeros_like(values)
    slopes[:-1] = legendre.legder(values)
    return np.asarray(values), np.asarray(slopes)


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
    for _ in range(30):
        if not len(active):
            break
        legs = [legendre.legvander(xi[active, k], p) for k in range(2)]
        u, v = legs[0] @ values, legs[1] @ values
        N[active] = (u[:, :, None] * v[:, None]).reshape(-1, (p + 1) ** 2)
        along = np.einsum("kija,kj->kia", nodes[active], v)
        image = np.einsum("kia,ki->ka", along, u)
        a = np.einsum("kia,ki->ka", along, legs[0] @ slopes)
        b = np.einsum("kija,ki,kj->ka", nodes[active], u, legs[1] @ slopes, optimize=True)
        gap = points[active] - image
        det = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        det = np.where(np.abs(det) > 0.0, det, 1.0)
        step = np.stack(
            [gap[:, 0] * b[:, 1] - gap[:, 1] * b[:, 0], a[:, 0] * gap[:, 1] - a[:, 1] * gap[:, 0]],
            axis=1,
        )
        step /= det[:, None]
        xi[active] = np.clip(xi[active] + step, -1.6, 1.6)
        active = active[np.abs(step).max(axis=1) > 1e-13]
    return xi, N


def _inside(mesh: Mesh, cell: int, points: Floats, margin: float) -> NDArray[np.bool_]:
    """Which plan points (n, 2) lie in the cell, widened by `margin` in reference coordinates."""
    xi, N = _located(mesh, np.full(len(points), cell), points)
    image = N @ mesh.plan[mesh.cells[cell]]
    size = np.ptp(mesh.plan[mesh.cells[cell]], axis=0).max()
    met = np.abs(image - points).max(axis=1) < 1e-6 * size
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
    inside = _inside(mesh, cell, middles, 1e-7)
    return [pair for pair, within in zip(pairs, inside, strict=True) if within]


def overlap_integrals(mesh: Mesh, cells: Ints, patches: Floats) -> Floats:
    """Integrals (n, (p+1)^2) [m2] of the shape functions of curved cells (n,) over convex
    patches (n, 4, 2), which turn from x to y."""
    values = np.zeros((len(cells), (mesh.order + 1) ** 2))
    points, weights, owner = [], [], []
    for k, cell in enumerate(cells.tolist()):
        at, weight = _quadrature(mesh, cell, patches[k])
        points.append(at)
        weights.append(weight)
        owner.append(np.full(len(weight), k))
    if not points:
        return values
    at, pair = np.concatenate(points), np.concatenate(owner)
    _, N = _located(mesh, cells[pair], at)
    np.add.at(values, pair, np.concatenate(weights)[:, None] * N)
    return values


def _quadrature(mesh: Mesh, cell: int, patch: Floats) -> tuple[Floats, Floats]:
    """Points (m, 2) and weights (m,) [m2] over the overlap of a cell and a patch."""
    pieces = _boundary(mesh, cell, patch)
    if not pieces:
        return np.empty((0, 2)), np.empty(0)
    ends = np.array([side.at(np.array([low, high])) for side, low, high in pieces])
    apex = ends.mean(axis=(0, 1))
    s, s_weight = gauss(mesh.order + 3)
    r, r_weight = gauss(mesh.order + 2)
    share, share_weight = 0.5 * (1.0 + r), 0.5 * r_weight
    points, weights = [], []
    for side, low, high in pieces:
        t = low + 0.5 * (1.0 + s) * (high - low)
        arm, slope = side.at(t) - apex, side.slope(t) * (0.5 * (high - low))
        swept = (arm[:, 0] * slope[:, 1] - arm[:, 1] * slope[:, 0]) * s_weight
        points.append((apex + share[:, None, None] * arm).reshape(-1, 2))
        weights.append(np.outer(share_weight * share, swept).ravel())
    return np.concatenate(points), np.concatenate(weights)


def _boundary(mesh: Mesh, cell: int, patch: Floats) -> list[tuple[_Side, float, float]]:
    """The pieces (side, from, to) that bound the overlap.

    Where an edge of the patch runs along a side of the cell that side counts, not the edge, and
    only if both have the overlap on the same hand.
    """
    sides = _sides(mesh, cell)
    size = float(np.ptp(mesh.plan[mesh.cells[cell]], axis=0).max())
    edges = [_Side(np.stack([patch[i], patch[(i + 1) % 4]])) for i in range(4)]
    on_sides: list[list[float]] = [[-1.0, 1.0] for _ in sides]
    on_edges: list[list[float]] = [[-1.0, 1.0] for _ in edges]
    for i, side in enumerate(sides):
        for k, edge in enumerate(edges):
            a, b = edge.nodes
            along = b - a
            for t in side.crossings(a, b):
                on_sides[i].append(t)
                u = 2.0 * float((side.at(np.array(t)) - a) @ along / (along @ along)) - 1.0
                if abs(u) <= 1.0:
                    on_edges[k].append(u)
    pieces = []
    for side, cuts in zip(sides, on_sides, strict=True):
        for low, high in _intervals(cuts):
            middle = np.array(0.5 * (low + high))
            if _in_patch(patch, side.at(middle), side.slope(middle), ON * size):
                pieces.append((side, low, high))
    for edge, cuts in zip(edges, on_edges, strict=True):
        ranges = _intervals(cuts)
        middles = edge.at(np.array([0.5 * (low + high) for low, high in ranges]))
        within = _inside(mesh, cell, middles, -1e-7)
        pieces += [(edge, *pair) for pair, true in zip(ranges, within, strict=True) if true]
    return pieces


def _intervals(cuts: list[float]) -> list[tuple[float, float]]:
    return [(a, b) for a, b in itertools.pairwise(sorted(cuts)) if b - a > 1e-11]


def _in_patch(patch: Floats, point: Floats, slope: Floats, margin: float) -> bool:
    """Whether a point of a cell's side lies in the patch, or on an edge of it that runs the same
    way."""
    along = np.roll(patch, -1, axis=0) - patch
    length = np.hypot(*along.T)
    relative = point - patch
    left = (along[:, 0] * relative[:, 1] - along[:, 1] * relative[:, 0]) / length
    if np.any(left < -margin):
        return False
    return bool(np.all(along[left <= margin] @ slope > 0.0))

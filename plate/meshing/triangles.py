"""Triangles between curves: inner points in rows along the curves, Delaunay with the curves kept.

Rows of points start from the curves and advance into the slab by the size asked for, along
directions that blend those of the nearest curves: neighbouring triangles then pair into squares
(the idea of a frontal point placement for quadrilaterals: Remacle and others, Int. J. Numer.
Meth. Engng 94 (2013) 494-512).
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from plate.arrays import Floats, Ints, connected
from plate.errors import MeshError
from plate.geometry.elementary import rectangle_corners
from plate.meshing.cell_sizes import SizeField

Inside = Callable[[Floats], NDArray[np.bool_]]

# Points keep this share of the local size from each other and from curves.
APART = 0.65
CLEAR = 0.55


def inner_points(points: Floats, segments: Ints, field: SizeField, inside: Inside) -> Floats:
    """Points (n, 2) between curves given by their points (m, 2) and segments (k, 2).

    inside : tells which points lie on the slab.
    """
    a, b = points[segments[:, 0]], points[segments[:, 1]]
    middles, along = 0.5 * (a + b), b - a
    directions = _Directions(middles, along)
    dense = np.concatenate([a + share * along for share in np.linspace(0.0, 0.875, 8)])
    curves = cKDTree(dense)
    hashed = _Hash(field, np.concatenate([points, middles]))
    found: list[Floats] = []
    front = np.concatenate([points, points])
    turn = np.arctan2(along[:, 1], along[:, 0])
    # A point on a curve goes along the normals of the segments on either side of it.
    heading = np.concatenate(
        [_last(segments[:, 0], turn, points), _last(segments[:, 1], turn, points)]
    )
    kept = np.isfinite(heading)
    front, heading = front[kept], heading[kept]
    for point in points:
        hashed.add(point)
    while len(front):
        angle = heading[:, None] + np.arange(4) * 0.5 * np.pi
        unit = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        step = field.at(front)
        step = field.at(front[:, None] + 0.5 * step[:, None, None] * unit)
        asked = (front[:, None] + step[..., None] * unit).reshape(-1, 2)
        size = field.at(asked)
        clear = curves.query(asked)[0] > CLEAR * size
        asked, size = asked[clear], size[clear]
        within = inside(asked)
        asked, size = asked[within], size[within]
        accepted = [k for k in range(len(asked)) if hashed.accept(asked[k], APART * size[k])]
        front = asked[accepted]
        found.append(front)
        heading = directions.at(front)
    return np.concatenate([*found, np.empty((0, 2))])


def _last(nodes: Ints, values: Floats, points: Floats) -> Floats:
    """The value, for each point, of a segment that has it in `nodes`, nan where none has."""
    out = np.full(len(points), np.nan)
    out[nodes] = values
    return out


class _Directions:
    """The direction field: that of the nearest segments, alike for right angles."""

    def __init__(self, middles: Floats, along: Floats) -> None:
        self._tree = cKDTree(middles)
        angle = np.arctan2(along[:, 1], along[:, 0])
        self._value = np.exp(4j * angle) * np.hypot(*along.T)

    def at(self, points: Floats) -> Floats:
        if not len(points):
            return np.empty(0)
        count = min(8, self._tree.n)
        gap, index = self._tree.query(points, k=np.arange(1, count + 1))
        blend = np.sum(self._value[index] / np.maximum(gap, 1e-12) ** 4, axis=1)
        return np.asarray(np.angle(blend) / 4.0)


class _Hash:
    """Points in boxes, to ask whether any is nearer than some distance."""

    def __init__(self, field: SizeField, points: Floats) -> None:
        self._box = max(float(field.at(points).min()), 0.1 * field.size)
        self._table: dict[tuple[int, int], list[tuple[float, float]]] = {}

    def add(self, point: Floats) -> None:
        x, y = float(point[0]), float(point[1])
        key = (int(x // self._box), int(y // self._box))
        self._table.setdefault(key, []).append((x, y))

    def accept(self, point: Floats, apart: float) -> bool:
        """Add the point unless another is nearer than `apart`."""
        x, y = float(point[0]), float(point[1])
        box = self._box
        for i in range(int((x - apart) // box), int((x + apart) // box) + 1):
            for j in range(int((y - apart) // box), int((y + apart) // box) + 1):
                for u, v in self._table.get((i, j), ()):
                    if (u - x) ** 2 + (v - y) ** 2 < apart * apart:
                        return False
        self.add(point)
        return True


def triangulate(points: Floats, segments: Ints, rim: NDArray[np.bool_]) -> Ints:
    """Triangles (n, 3), turning from x to y, of points (m, 2) with all segments (k, 2) among
    their sides; only those within the segments marked as `rim` (k,), which bound the slab.

    Raises MeshError where a segment cannot be recovered.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    centre, reach = 0.5 * (low + high), 4.0 * (high - low).max()
    frame = rectangle_corners(centre, 2.0 * reach)
    flips = _Flips(np.concatenate([points, frame]))
    for a, b in segments.tolist():
        flips.recover(a, b)
    triangles = flips.triangles()
    return triangles[_within(triangles, len(points), segments[rim])]


def _within(triangles: Ints, n_points: int, rim: Ints) -> NDArray[np.bool_]:
    """Which triangles are next to the outermost ones across the rim: parts of the slab that no
    rim divides."""
    n = len(triangles)
    sides = np.sort(np.concatenate([triangles[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    owner = np.tile(np.arange(n), 3)
    order = np.lexsort(sides.T)
    sides, owner = sides[order], owner[order]
    twice = np.flatnonzero(np.all(sides[1:] == sides[:-1], axis=1))
    bound = {(min(a, b), max(a, b)) for a, b in rim.tolist()}
    on_rim = np.array([tuple(side) in bound for side in sides[twice].tolist()], dtype=bool)
    one, other = owner[twice], owner[twice + 1]
    label = connected(n, one[~on_rim], other[~on_rim])
    outer = label[np.flatnonzero(np.any(triangles >= n_points, axis=1))[0]]
    first, second = label[one[on_rim]], label[other[on_rim]]
    slab = np.concatenate([second[first == outer], first[second == outer]])
    return np.asarray(np.isin(label, slab[slab != outer]))


class _Flips:
    """A triangulation whose diagonals can be flipped (Sloan, Comput. Struct. 47 (1993) 441-450)."""

    def __init__(self, points: Floats) -> None:
        self._points = points
        corners = Delaunay(points).simplices.astype(np.int64)
        area = _cross(
            points[corners[:, 1]] - points[corners[:, 0]],
            points[corners[:, 2]] - points[corners[:, 0]],
        )
        corners[area < 0.0] = corners[area < 0.0][:, ::-1]
        # The corner opposite each directed side.
        self._opposite: dict[tuple[int, int], int] = {}
        for a, b, c in corners.tolist():
            self._put(a, b, c)

    def _put(self, a: int, b: int, c: int) -> None:
        self._opposite[a, b], self._opposite[b, c], self._opposite[c, a] = c, a, b

    def triangles(self) -> Ints:
        found = [(a, b, c) for (a, b), c in self._opposite.items() if a < b and a < c]
        return np.array(sorted(found), dtype=np.int64)

    def recover(self, a: int, b: int) -> None:
        """Make a-b a side by flipping the sides that it crosses."""
        if (a, b) in self._opposite or (b, a) in self._opposite:
            return
        crossing = self._crossed(a, b)
        for _ in range(100 * (len(crossing) + 1)):
            if not crossing:
                break
            u, v = crossing.pop(0)
            s, t = self._opposite[u, v], self._opposite[v, u]
            if self._side(s, t, u) * self._side(s, t, v) >= 0.0:
                crossing.append((u, v))  # not convex yet
                continue
            for edge in ((u, v), (v, u), (v, s), (s, u), (u, t), (t, v)):
                del self._opposite[edge]
            self._put(s, u, t)
            self._put(t, v, s)
            if {s, t} != {a, b} and self._crosses(a, b, s, t):
                crossing.append((s, t))
        if (a, b) in self._opposite or (b, a) in self._opposite:
            return
        x, y = 0.5 * (self._points[a] + self._points[b])
        raise MeshError(f"no cells fit between the curves near ({x:.3f}, {y:.3f}) m")

    def _crossed(self, a: int, b: int) -> list[tuple[int, int]]:
        """Sides that the segment crosses, found among all: few segments are ever missing."""
        edges = np.array([edge for edge in self._opposite if edge[0] < edge[1]])
        p, q = self._points[edges[:, 0]], self._points[edges[:, 1]]
        start, end = self._points[a], self._points[b]
        one = _cross(end - start, p - start) * _cross(end - start, q - start) < 0.0
        two = _cross(q - p, start - p) * _cross(q - p, end - p) < 0.0
        apart = ~np.any((edges == a) | (edges == b), axis=1)
        return [(int(u), int(v)) for u, v in edges[one & two & apart]]

    def _crosses(self, a: int, b: int, s: int, t: int) -> bool:
        if {a, b} & {s, t}:
            return False
        across = self._side(a, b, s) * self._side(a, b, t) < 0.0
        return across and self._side(s, t, a) * self._side(s, t, b) < 0.0

    def _side(self, a: int, b: int, c: int) -> float:
        p = self._points
        return float(_cross(p[b] - p[a], p[c] - p[a]))


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])

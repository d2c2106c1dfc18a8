"""Edges of patches cut into triangles, and triangles made smaller by bisection.

One operation serves both: an edge gets a point, and the triangles on it are cut to that point. A
segment is walked from point to point; every edge that it crosses is cut where it does.
"""

import itertools
import math
from collections.abc import Iterable

import numpy as np

from plate.arrays import Floats
from plate.errors import GeometryError
from plate.plastic.triangles import Triangles

Edge = tuple[int, int]
Point = tuple[float, float]

# A free point nearer to a cut than this share of the edge it lies on is moved onto the cut:
# slivers spoil the bounds.
SNAP = 0.15
# A cut that passes a point which stays where it is, nearer than this share of the edge it lies on,
# goes through that point, and a corner so near to such a point or edge is on it: edges of a
# hundredth of a millimetre, between cuts that cross almost in one point, left no upper bound.
NEAR = 2e-3
# No triangle shrinks below this share of its area when a point is moved.
SHRUNK = 0.2
# Points nearer than this share of the slab's extent are the same.
SAME = 1e-9


class Cutter:
    """Triangles that are being cut."""

    def __init__(self, triangles: Triangles) -> None:
        self.points: list[Point] = [(float(x), float(y)) for x, y in triangles.points]
        self.cells: list[tuple[int, int, int] | None] = []
        self.around: list[set[int]] = [set() for _ in self.points]
        self.names: dict[Edge, set[str]] = {}
        for a, b, c in triangles.cells.tolist():
            self._add((a, b, c))
        for name, edges in triangles.lines.items():
            for a, b in edges.tolist():
                self.names.setdefault(_edge(a, b), set()).add(name)
        rim = triangles.edges[triangles.on_rim].ravel().tolist()
        self.fixed = {*rim, *(point for edge in self.names for point in edge)}
        # Rims without a name, and points that were asked for, stay where they are.
        named = [_edge(a, b) in self.names for a, b in triangles.edges.tolist()]
        bare = triangles.edges[triangles.on_rim & ~np.array(named)].ravel().tolist()
        self.pinned = set(bare)
        self.same = SAME * float(np.ptp(triangles.points, axis=0).max())
        self.known = tuple(triangles.lines)

    def triangles(self) -> Triangles:
        """What the cuts have made."""
        lines: dict[str, list[Edge]] = {name: [] for name in self.known}
        for edge, names in self.names.items():
            for name in names:
                lines.setdefault(name, []).append(edge)
        return Triangles(
            np.array(self.points),
            np.array([cell for cell in self.cells if cell is not None]),
            {name: np.array(edges, dtype=np.int64).reshape(-1, 2) for name, edges in lines.items()},
        )

    def polygon(self, corners: Floats, name: str) -> None:
        """Cut the sides of a polygon (n, 2) within the slab into the triangles, as a line."""
        self.path(np.concatenate([corners, corners[:1]]), name)

    def path(self, corners: Floats, name: str) -> None:
        """The same of a polyline (n, 2)."""
        nodes = [self.point((float(x), float(y))) for x, y in corners]
        for a, b in itertools.pairwise(nodes):
            self._segment(a, b, name)

    def point(self, at: Point) -> int:
        """The number of the point there, which stays there. Raises GeometryError off the slab."""
        node = self._point(at)
        self.fixed.add(node)
        self.pinned.add(node)
        return node

    def _point(self, at: Point) -> int:
        cell = self._cell_at(at)
        corners = self.cells[cell]
        assert corners is not None
        near = min(corners, key=lambda k: _distance(self.points[k], at))
        if _distance(self.points[near], at) <= self.same:
            return near
        shortest = min(
            _distance(self.points[corners[k]], self.points[corners[k - 1]]) for k in range(3)
        )
        away = _distance(self.points[near], at)
        if away < SNAP * shortest and (self._moved(near, at) or away < NEAR * shortest):
            return near
        node = self._on_a_side(corners, at)
        return self._within(self._cell_at(at), at) if node is None else node

    def bisect(self, cells: Iterable[int]) -> None:
        """Halve triangles by their longest edges, with the neighbours that this asks for (Rivara,
        Int. J. Numer. Meth. Engng 20 (1984) 745, from memory)."""
        for cell in cells:
            while self.cells[cell] is not None:
                edge = self._longest(cell)
                while True:
                    beyond = [k for k in self._sides(edge) if self._longest(k) != edge]
                    if not beyond:
                        break
                    edge = self._longest(beyond[0])
                (ax, ay), (bx, by) = self.points[edge[0]], self.points[edge[1]]
                self._split(edge, (0.5 * (ax + bx), 0.5 * (ay + by)))

    def _segment(self, start: int, end: int, name: str) -> None:
        here = start
        while here != end:
            onward = self._step(here, end)
            if onward is None:
                raise GeometryError("a side of a patch leaves the slab")
            self.names.setdefault(_edge(here, onward), set()).add(name)
            self.fixed.add(onward)
            here = onward

    def _step(self, here: int, end: int) -> int | None:
        """The next point on the way from a point to another, made where there is none."""
        fans = []
        for cell in self.around[here]:
            corners = self.cells[cell]
            assert corners is not None
            k = corners.index(here)
            fans.append((corners[(k + 1) % 3], corners[(k + 2) % 3]))
        if any(end in fan for fan in fans):
            return end
        (x, y), (to_x, to_y) = self.points[here], self.points[end]
        length = _distance(self.points[here], self.points[end])
        dx, dy = (to_x - x) / length, (to_y - y) / length

        def left_of(k: int) -> float:
            return dx * (self.points[k][1] - y) - dy * (self.points[k][0] - x)

        for fan in fans:
            for k in fan:
                ahead = dx * (self.points[k][0] - x) + dy * (self.points[k][1] - y)
                if abs(left_of(k)) <= self.same and ahead > 0.0:
                    return k
        for u, v in fans:
            right, left = left_of(u), left_of(v)
            if right < 0.0 < left:
                share = right / (right - left)
                (ux, uy), (vx, vy) = self.points[u], self.points[v]
                at = (ux + share * (vx - ux), uy + share * (vy - uy))
                for k, off in ((u, share), (v, 1.0 - share)):
                    if off < SNAP and (self._moved(k, at) or self._slid(k, here, end)):
                        return k
                    if off < NEAR and _distance(self.points[k], self.points[end]) < length:
                        return k
                return self._split(_edge(u, v), at)
        return None

    def _within(self, cell: int, at: Point) -> int:
        corners = self.cells[cell]
        assert corners is not None
        node = self._new(at)
        self._remove(cell)
        for k in range(3):
            self._add((corners[k - 1], corners[k], node))
        return node

    def _on_a_side(self, corners: tuple[int, int, int], at: Point) -> int | None:
        """A point on a side of a triangle near `at`, moved there; None where no side is near."""
        found = []
        for k in range(3):
            a, b = corners[k - 1], corners[k]
            (ax, ay), (bx, by) = self.points[a], self.points[b]
            length = _distance((ax, ay), (bx, by))
            off = abs((bx - ax) * (at[1] - ay) - (by - ay) * (at[0] - ax)) / length
            share = ((bx - ax) * (at[0] - ax) + (by - ay) * (at[1] - ay)) / length**2
            found.append((off, length, share, _edge(a, b), (a, b)))
        off, length, share, edge, (a, b) = min(found)
        if off <= self.same:
            return self._split(edge, at)
        (ax, ay), (bx, by) = self.points[a], self.points[b]
        foot = (ax + share * (bx - ax), ay + share * (by - ay))
        if edge in self.names or len(self._sides(edge)) < 2:
            return self._split(edge, foot) if off <= NEAR * length else None
        if off > SNAP * length:
            return None
        node = self._split(edge, foot)
        return node if self._moved(node, at) else None

    def _slid(self, node: int, start: int, end: int) -> bool:
        """Move a point of a straight line along it onto the way between two others, a little."""
        ends = [
            other
            for other in {k for cell in self.around[node] for k in self.cells[cell] or ()} - {node}
            if _edge(node, other) in self.names
        ]
        if node in self.pinned or len(ends) != 2:
            return False
        first, last = ends
        if self.names[_edge(node, first)] != self.names[_edge(node, last)]:
            return False
        (ax, ay), (bx, by) = self.points[first], self.points[last]
        x, y = self.points[node]
        length = _distance((ax, ay), (bx, by))
        dx, dy = (bx - ax) / length, (by - ay) / length
        if abs(dx * (y - ay) - dy * (x - ax)) > self.same:
            return False  # a corner of the line
        (sx, sy), (ex, ey) = self.points[start], self.points[end]
        turn = (ex - sx) * dy - (ey - sy) * dx
        if abs(turn) < SNAP * _distance((sx, sy), (ex, ey)):
            return False  # almost along the line
        share = ((x - sx) * dy - (y - sy) * dx) / turn
        at = (sx + share * (ex - sx), sy + share * (ey - sy))
        shortest = min(_distance((x, y), (ax, ay)), _distance((x, y), (bx, by)))
        if not 0.0 < share < 1.0 or _distance(at, (x, y)) > SNAP * shortest:
            return False
        return self._shifted(node, at)

    def _moved(self, node: int, at: Point) -> bool:
        """Move a free point where no triangle on it becomes a sliver."""
        return node not in self.fixed and self._shifted(node, at)

    def _shifted(self, node: int, at: Point) -> bool:
        before = self.points[node]
        areas = {k: self._area(k) for k in self.around[node]}
        self.points[node] = at
        if all(self._area(k) > SHRUNK * area for k, area in areas.items()):
            return True
        self.points[node] = before
        return False

    def _split(self, edge: Edge, at: Point) -> int:
        node = self._new(at)
        sides = self._sides(edge)
        for cell in sides:
            corners = self.cells[cell]
            assert corners is not None
            k = next(k for k in range(3) if corners[k] not in edge)
            top, a, b = corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3]
            self._remove(cell)
            self._add((top, a, node))
            self._add((top, node, b))
        names = self.names.pop(edge, None)
        if names is not None:
            self.names[_edge(edge[0], node)] = set(names)
            self.names[_edge(edge[1], node)] = set(names)
        if names is not None or len(sides) < 2:
            self.fixed.add(node)
        return node

    def _sides(self, edge: Edge) -> list[int]:
        return sorted(self.around[edge[0]] & self.around[edge[1]])

    def _longest(self, cell: int) -> Edge:
        corners = self.cells[cell]
        assert corners is not None
        edges = [_edge(corners[k - 1], corners[k]) for k in range(3)]
        return max(edges, key=self._length_and_name)

    def _length_and_name(self, edge: Edge) -> tuple[float, Edge]:
        """Equal lengths told apart by their points, the same way from both sides."""
        return _distance(self.points[edge[0]], self.points[edge[1]]), edge

    def _cell_at(self, at: Point) -> int:
        number = np.array([k for k, cell in enumerate(self.cells) if cell is not None])
        corners = np.array(self.points)[np.array([self.cells[k] for k in number])]
        step = np.roll(corners, -1, axis=1) - corners
        away = np.array(at) - corners
        inside = (step[..., 0] * away[..., 1] - step[..., 1] * away[..., 0]) / np.linalg.norm(
            step, axis=2
        )
        least = inside.min(axis=1)
        best = int(np.argmax(least))
        if least[best] < -self.same:
            raise GeometryError(f"point ({at[0]:g}, {at[1]:g}) lies off the slab")
        return int(number[best])

    def _area(self, cell: int) -> float:
        corners = self.cells[cell]
        assert corners is not None
        (ax, ay), (bx, by), (cx, cy) = (self.points[k] for k in corners)
        return 0.5 * ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))

    def _new(self, at: Point) -> int:
        self.points.append(at)
        self.around.append(set())
        return len(self.points) - 1

    def _add(self, corners: tuple[int, int, int]) -> None:
        for k in corners:
            self.around[k].add(len(self.cells))
        self.cells.append(corners)

    def _remove(self, cell: int) -> None:
        for k in self.cells[cell] or ():
            self.around[k].discard(cell)
        self.cells[cell] = None


def _edge(a: int, b: int) -> Edge:
    return (a, b) if a < b else (b, a)


def _distance(a: Point, b: Point) -> float:
    return math.hypot(a[0] - b[0], a[1] - b[1])

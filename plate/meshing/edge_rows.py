"""Rows of thin cells along curves in a mesh of quads, which stays all-quadrilateral and conforming.

A row comes from drawing the cells back from the curve and filling the gap with one cell per edge
(a sheet of cells around the cells drawn back: Mitchell and Tautges 1995, pillowing).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.geometry.curves import Curve
from plate.meshing.added_points import AddedPoints, Edge, edge_of
from plate.meshing.quads import Quads

# A row takes at most this share of the cells that it is cut from.
SHARE = 0.42
# Corners sharper than this get a corner cell of their own where all around them are [rad].
CORNER = np.radians(150.0)
# A row ends on a curve that it meets within this angle of square [rad].
STEEP = np.radians(50.0)


@dataclass(kw_only=True)
class _Group:
    """Cells around a point that no layered edge divides, and what bounds them.

    first, last : neighbours of the point along the bounding layered edges, in the order of
    turning from x to y; copy : number of the point to which the cells are drawn back.
    """

    cells: list[int]
    angle: float
    first: int | None = None
    last: int | None = None
    slide: int | None = None
    copy: int = -1


def layered(
    quads: Quads, pieces: tuple[Curve, ...], widths: Mapping[int, float]
) -> tuple[Quads, NDArray[np.bool_]]:
    """The mesh with a row of cells no wider than widths[k] [m] on the sides of each piece k, and
    which of its points (n,) make the rows and must stay.

    Curves without a row are given one where rows could not end on them otherwise.
    """
    widths = dict(widths)
    for _ in range(len(pieces) + 1):
        sheet = _Sheet(quads, pieces, widths)
        more = sheet.blocked()
        if not more:
            return sheet.inserted()
        widths |= {k: width for k, width in more.items() if k not in widths}
    return quads, np.zeros(len(quads.points), dtype=bool)


class _Sheet:
    def __init__(
        self, quads: Quads, pieces: tuple[Curve, ...], widths: Mapping[int, float]
    ) -> None:
        self.quads, self.pieces = quads, pieces
        self.chain = quads.chain_edges()
        self.width = {edge: widths[k] for edge, k in self.chain.items() if k in widths}
        self.sides: dict[Edge, list[int]] = {}
        for c, corners in enumerate(quads.cells.tolist()):
            for i in range(4):
                self.sides.setdefault(edge_of(corners[i], corners[(i + 1) % 4]), []).append(c)
        self.around: dict[int, list[int]] = {}
        on_sheet = {v for edge in self.width for v in edge}
        for c, corners in enumerate(quads.cells.tolist()):
            for v in corners:
                if v in on_sheet:
                    self.around.setdefault(v, []).append(c)
        self.spared = self._spare_tips()
        for c in self.spared:
            corners = quads.cells[c].tolist()
            width = min(w for e, w in self.width.items() if set(e) & set(corners))
            for i in range(4):
                edge = edge_of(corners[i], corners[(i + 1) % 4])
                self.width.setdefault(edge, width)
                for v in edge:
                    self.around[v] = np.flatnonzero((quads.cells == v).any(axis=1)).tolist()
        self.groups = {v: self._groups(v) for v in sorted(self.around)}

    def _spare_tips(self) -> set[int]:
        """The cell straight ahead of each end of a layered line inside the slab."""
        count: dict[int, list[int]] = {}
        for a, b in self.width:
            count.setdefault(a, []).append(b)
            count.setdefault(b, []).append(a)
        spared: set[int] = set()
        for v, others in count.items():
            edges = [e for e in ((edge_of(v, x)) for x in self._neighbours(v)) if e in self.chain]
            if len(others) == 1 and len(edges) == 1 and len(self.sides[edges[0]]) == 2:
                ahead = self.quads.points[v] - self.quads.points[others[0]]
                centre = self.quads.points[self.quads.cells[self.around[v]]].mean(axis=1)
                towards = centre - self.quads.points[v]
                cosine = towards @ ahead / np.linalg.norm(towards, axis=1)
                spared.add(self.around[v][int(np.argmax(np.round(cosine, 9)))])
        return spared

    def _neighbours(self, v: int) -> set[int]:
        found: set[int] = set()
        for c in self.around[v]:
            before, after = self._beside(c, v)
            found |= {before, after}
        return found

    def _beside(self, c: int, v: int) -> tuple[int, int]:
        """Corners before and after v around cell c."""
        corners = self.quads.cells[c].tolist()
        i = corners.index(v)
        return corners[i - 1], corners[(i + 1) % 4]

    def _groups(self, v: int) -> list[_Group]:
        cells = [c for c in self.around[v] if c not in self.spared]
        starts = {self._beside(c, v)[1]: c for c in cells}  # by the neighbour they begin at
        follows = {}
        for c in cells:
            last = self._beside(c, v)[0]
            if last in starts and edge_of(v, last) not in self.width:
                follows[c] = starts[last]
        heads = [c for c in cells if c not in follows.values()]
        groups = []
        for head in sorted(heads):
            run = [head]
            while run[-1] in follows:
                run.append(follows[run[-1]])
            first, last = self._beside(run[0], v)[1], self._beside(run[-1], v)[0]
            group = _Group(cells=run, angle=sum(self._angle(c, v) for c in run))
            group.first = first if edge_of(v, first) in self.width else None
            group.last = last if edge_of(v, last) in self.width else None
            groups.append(group)
        return groups

    def _angle(self, c: int, v: int) -> float:
        before, after = self._beside(c, v)
        return self._turn(v, after, before)

    def _crossing(self, v: int, group: _Group) -> list[int]:
        """Neighbours of v along curves without a row that bound or divide the group."""
        found = []
        for c in group.cells:
            for x in self._beside(c, v):
                edge = edge_of(v, x)
                if edge in self.chain and edge not in self.width and x not in found:
                    found.append(x)
        return found

    def blocked(self) -> dict[int, float]:
        """Curves that need a row because another row cannot end on them."""
        more: dict[int, float] = {}
        for v, groups in self.groups.items():
            for group in groups:
                if group.first is None and group.last is None:
                    continue
                crossing = self._crossing(v, group)
                whole = group.first is not None and group.last is not None
                inner = [x for x in crossing if len(self.sides[edge_of(v, x)]) == 2]
                rim = [x for x in crossing if x not in inner]
                slides = len(inner) if whole else len(crossing)
                if slides > 1 or not all(self._steep(v, group, x) for x in crossing[:slides]):
                    width = min(w for e, w in self.width.items() if v in e)
                    more |= {self.chain[edge_of(v, x)]: width for x in inner or rim}
                elif crossing:
                    group.slide = crossing[0]
        return more

    def _steep(self, v: int, group: _Group, x: int) -> bool:
        """Whether a row along the group's bounding edges can end on the curve's edge v-x."""
        angles = []
        if group.first is not None:
            angles.append(self._turn(v, group.first, x))
        if group.last is not None:
            angles.append(self._turn(v, x, group.last))
        return all(abs(angle - 0.5 * np.pi) <= STEEP for angle in angles)

    def _turn(self, v: int, x: int, y: int) -> float:
        """Angle [rad] by which v-x turns from x towards y to become v-y."""
        p = self.quads.points
        a, b = p[x] - p[v], p[y] - p[v]
        return float(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b) % (2.0 * np.pi))

    def _reach(self, v: int, cells: list[int]) -> float:
        """How far [m] cells may be drawn back from v."""
        p = self.quads.points
        beside = {x for c in cells for x in self._beside(c, v)}
        return SHARE * min(float(np.hypot(*(p[x] - p[v]))) for x in beside)

    def inserted(self) -> tuple[Quads, NDArray[np.bool_]]:
        """The mesh with its rows, and which points must stay (see `layered`)."""
        new = AddedPoints(self.quads, self.pieces, self.chain)
        kites = {v for v in self.groups if self._all_corners(v)}
        corner_cells: list[list[int]] = []
        for v, groups in self.groups.items():
            for group in groups:
                if group.first is None and group.last is None:
                    continue
                if group.slide is not None:
                    group.copy = new.on_edge(v, group.slide, self._slide(v, group))
                    continue
                group.copy = new.beside(v, self._drawn_back(v, group))
                if v in kites and group.first is not None and group.last is not None:
                    feet = [new.on_edge(v, x, self._foot(v, x)) for x in (group.first, group.last)]
                    corner_cells.append([v, feet[0], group.copy, feet[1]])
        copies = {
            (c, v): group.copy
            for v, groups in self.groups.items()
            for group in groups
            for c in group.cells
            if group.copy >= 0
        }
        cells = self.quads.cells.copy()
        rows = []
        for c, corners in enumerate(self.quads.cells.tolist()):
            for i in range(4):
                a, b = corners[i], corners[(i + 1) % 4]
                cells[c, i] = copies.get((c, a), a)
                if c not in self.spared and edge_of(a, b) in self.width:
                    near_a, near_b = new.near.get((a, b), a), new.near.get((b, a), b)
                    rows.append([near_a, near_b, copies[c, b], copies[c, a]])
        more = np.array([*rows, *corner_cells], dtype=np.int64).reshape(-1, 4)
        cells = np.concatenate([cells, more])
        points, chains = new.placed(cells)
        stay = np.arange(len(points)) >= len(self.quads.points)
        # Around the end of a line the row only has to close; there cells take their best shape.
        tips = {v for c in self.spared for v in self.quads.cells[c].tolist()}
        for v in tips & set(self.groups):
            stay[[group.copy for group in self.groups[v] if group.copy >= 0]] = False
        return Quads(points, cells, chains), stay

    def _all_corners(self, v: int) -> bool:
        """Whether every part of the slab around v is a corner between two rows."""
        if set(self.around[v]) & self.spared:
            return False
        return all(
            g.first is not None
            and g.last is not None
            and g.first != g.last
            and g.slide is None
            and g.angle < CORNER
            for g in self.groups[v]
        )

    def _foot(self, v: int, x: int) -> float:
        """Length [m] along the edge v-x of the corner cells that share it."""
        angles = [g.angle for g in self.groups[v] if x in (g.first, g.last)]
        width = self.width[edge_of(v, x)]
        length = min(min(width / float(np.tan(0.5 * a)) for a in angles), 2.0 * width)
        p = self.quads.points
        return min(max(length, 0.5 * width), SHARE * float(np.hypot(*(p[x] - p[v]))))

    def _slide(self, v: int, group: _Group) -> float:
        p = self.quads.points
        assert group.slide is not None
        along = p[group.slide] - p[v]
        length = float(np.hypot(*along))
        widths, sines = [], []
        for x in (group.first, group.last):
            if x is not None:
                edge = p[x] - p[v]
                cross = float(abs(along[0] * edge[1] - along[1] * edge[0]))
                sines.append(max(cross / (length * float(np.hypot(*edge))), 0.3))
                widths.append(self.width[edge_of(v, x)])
        return min(min(widths) / min(sines), self._reach(v, group.cells))

    def _drawn_back(self, v: int, group: _Group) -> Floats:
        p = self.quads.points
        width = min(self.width[edge_of(v, x)] for x in (group.first, group.last) if x is not None)
        start = p[self._beside(group.cells[0], v)[1]] - p[v]
        turn = np.arctan2(start[1], start[0]) + 0.5 * group.angle
        # Further out in a corner, so that the row keeps its width.
        length = width / max(np.sin(0.5 * group.angle), 0.5)
        length = min(length, self._reach(v, group.cells) / max(np.sin(0.5 * group.angle), 0.7))
        return np.asarray(p[v] + length * np.array([np.cos(turn), np.sin(turn)]))

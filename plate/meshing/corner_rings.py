"""Cells that shrink towards a point in a mesh of quads, which stays all-quadrilateral and
conforming.

Each cell (v, a, m, b) at the point v is replaced by a smaller copy and two cells around that, again
and again.
"""

from collections.abc import Iterable

import numpy as np

from plate.geometry.curves import Curve
from plate.meshing.added_points import Edge, edge_of, edge_shares, with_added
from plate.meshing.quads import Quads


def shrunk(
    quads: Quads, pieces: tuple[Curve, ...], vertices: Iterable[int], ratio: float, rows: int
) -> Quads:
    """The mesh with `rows` rings of cells towards each of the given points, every ring `ratio`
    times as large as the one around it."""
    waiting = list(dict.fromkeys(vertices))
    while waiting:
        # Points that share a cell go one after the other.
        chosen: set[int] = set()
        near: set[int] = set()
        for v in waiting:
            if v not in near:
                chosen.add(v)
                near |= set(quads.cells[np.any(quads.cells == v, axis=1)].ravel().tolist())
        for _ in range(rows):
            quads = _one_ring(quads, pieces, chosen, ratio)
        waiting = [v for v in waiting if v not in chosen]
    return quads


def _one_ring(quads: Quads, pieces: tuple[Curve, ...], vertices: set[int], ratio: float) -> Quads:
    points = [*quads.points]
    chain = quads.chain_edges()
    near: dict[Edge, int] = {}
    added: dict[Edge, tuple[int, float]] = {}

    def towards(v: int, x: int) -> int:
        if (v, x) not in near:
            near[v, x] = len(points)
            k = chain.get(edge_of(v, x))
            if k is None:
                points.append(points[v] + ratio * (points[x] - points[v]))
            else:
                s_v, s_x = edge_shares(quads.chains[k], v, x)
                share = s_v + ratio * (s_x - s_v)
                points.append(pieces[k].at(share))
                added[v, x] = near[v, x], share
        return near[v, x]

    cells = []
    for corners in quads.cells.tolist():
        found = [i for i in range(4) if corners[i] in vertices]
        if not found:
            cells.append(corners)
            continue
        v, a, m, b = (corners[(found[0] + i) % 4] for i in range(4))
        a1, b1 = towards(v, a), towards(v, b)
        inner = len(points)
        points.append(
            points[a1]
            + points[b1]
            - points[v]
            + ratio * (points[m] - points[a] - points[b] + points[v])
        )
        cells += [[v, a1, inner, b1], [a1, a, m, inner], [inner, m, b, b1]]
    return Quads(np.array(points), np.array(cells), with_added(quads.chains, added))

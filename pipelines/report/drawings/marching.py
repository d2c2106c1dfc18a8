"""Contours of a field that is linear over triangles: the areas above levels, and the lines between.

Libraries that do this need a rectangular grid, or come with a whole system of figures that takes a
second to load.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints


@dataclass(frozen=True, eq=False)
class Triangles:
    """Points (n, 2) and triangles (m, 3) between them; those that share no points do not touch."""

    xy: Floats
    corners: Ints

    @classmethod
    def of_quads(cls, xy: Floats, quads: Ints) -> "Triangles":
        """Two of every quadrilateral (m, 4)."""
        return cls(xy, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))

    def where(self, shown: NDArray[np.bool_]) -> "Triangles":
        """Those of (m,) that are shown."""
        return Triangles(self.xy, self.corners[shown])

    @cached_property
    def _turned(self) -> Ints:
        """Corners in one sense of turning."""
        a, b, c = (self.xy[self.corners[:, k]] for k in range(3))
        (ux, uy), (vx, vy) = (b - a).T, (c - a).T
        back = ux * vy < uy * vx
        return np.asarray(np.where(back[:, None], self.corners[:, ::-1], self.corners))

    @cached_property
    def _sides(self) -> tuple[Ints, Ints, NDArray[np.bool_]]:
        """Ends (k, 2) of every side, its number in each triangle (m, 3), from corner to corner, and
        whether a side of a triangle is met by no other (m, 3)."""
        ends = np.stack([self._turned, np.roll(self._turned, -1, axis=1)], axis=-1)
        low, high = np.sort(ends.reshape(-1, 2), axis=1).T
        _, first, number, count = np.unique(
            low * len(self.xy) + high, return_index=True, return_inverse=True, return_counts=True
        )
        number = number.reshape(self.corners.shape)
        return np.column_stack([low, high])[first], number, count[number] == 1

    def above(self, values: Floats, level: float) -> tuple[list[Floats], list[Floats]]:
        """Rings (k, 2) round where values (n,) are at or above a level, and the contours (k, 2)
        among them, which run where the value is the level.

        Rings are to be filled by the even-odd rule.
        """
        ends, number, alone = self._sides
        inside = values >= level
        a, b = ends.T
        met = np.flatnonzero(inside[a] != inside[b])
        share = (level - values[a[met]]) / (values[b[met]] - values[a[met]])
        n = len(self.xy)
        # A node is a point, or behind them the place where the level crosses a side.
        places = np.zeros((n + len(ends), 2))
        places[:n] = self.xy
        places[n + met] = self.xy[a[met]] + share[:, None] * (self.xy[b[met]] - self.xy[a[met]])

        here = inside[self._turned]
        after = np.roll(here, -1, axis=1)
        cut = np.flatnonzero(here.any(axis=1) & ~here.all(axis=1))
        leaves, enters = (here & ~after)[cut], (~here & after)[cut]
        across = np.column_stack([number[cut][leaves], number[cut][enters]]) + n
        # Along sides that no other triangle meets.
        row, k = np.nonzero(alone & (here | after))
        crossing = n + number[row, k]
        start = np.where(here[row, k], self._turned[row, k], crossing)
        end = np.where(after[row, k], self._turned[row, (k + 1) % 3], crossing)
        pieces = np.concatenate([across, np.column_stack([start, end])])
        return _rings(pieces, places, len(across))


def _rings(pieces: Ints, places: Floats, n_across: int) -> tuple[list[Floats], list[Floats]]:
    """Rings of directed pieces (k, 2) between nodes, of which the first cross triangles, and the
    runs of those."""
    following = np.empty(len(pieces), dtype=np.int64)
    # At every node as many pieces end as start.
    ending = np.argsort(pieces[:, 1], kind="stable")
    following[ending] = np.argsort(pieces[:, 0], kind="stable")
    after = following.tolist()
    seen = [False] * len(after)
    rings, lines = [], []
    for first in range(len(after)):
        if seen[first]:
            continue
        chain = []
        at = first
        while not seen[at]:
            seen[at] = True
            chain.append(at)
            at = after[at]
        ring = np.array(chain)
        rings.append(places[pieces[ring, 0]])
        runs = ring < n_across
        if runs.all():
            lines.append(places[pieces[np.append(ring, ring[0]), 0]])
        elif runs.any():
            ring = np.roll(ring, -int(np.flatnonzero(~runs)[0]))
            runs = ring < n_across
            edges = np.flatnonzero(np.diff(np.concatenate([[False], runs, [False]]).astype(int)))
            for low, high in edges.reshape(-1, 2).tolist():
                nodes = np.append(pieces[ring[low:high], 0], pieces[ring[high - 1], 1])
                lines.append(places[nodes])
    return rings, lines

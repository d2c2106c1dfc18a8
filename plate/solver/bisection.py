"""Cells halved again and again: the tree of parts of a nested dissection."""

from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats, Ints


@dataclass(frozen=True)
class Tree:
    """Binary tree of parts in post-order: leaf range and children of each, cells of each leaf."""

    ranges: list[tuple[int, int]]
    children: list[tuple[int, ...]]
    leaves: list[Ints]

    def smallest(self, low: Ints, high: Ints) -> Ints:
        """The smallest part that contains leaves low..high, for each dof."""
        home = np.full(len(low), len(self.ranges) - 1)
        # A leaf is its own child, on both sides of a cut that nothing straddles.
        sides = np.array([two or (k, k) for k, two in enumerate(self.children)])
        cut = np.array([self.ranges[second][0] for second in sides[:, 1]])
        while True:
            below = np.where(high < cut[home], sides[home, 0], home)
            below = np.where(low >= cut[home], sides[home, 1], below)
            if np.array_equal(below, home):
                return home
            home = below


def bisection(centroids: Floats, most: int) -> Tree:
    """Cells (n, 2) halved across their longer direction until parts have `most` at most."""
    ranges: list[tuple[int, int]] = []
    children: list[tuple[int, ...]] = []
    leaves: list[Ints] = []

    def split(cells: Ints) -> int:
        if len(cells) <= most:
            leaves.append(cells)
            ranges.append((len(leaves) - 1, len(leaves)))
            children.append(())
            return len(ranges) - 1
        points = centroids[cells]
        axis = int(np.argmax(np.ptp(points, axis=0)))
        ordered = cells[np.argsort(points[:, axis], kind="stable")]
        cut = _gap(centroids[ordered, axis])
        first, second = split(ordered[:cut]), split(ordered[cut:])
        ranges.append((ranges[first][0], ranges[second][1]))
        children.append((first, second))
        return len(ranges) - 1

    split(np.arange(len(centroids)))
    return Tree(ranges, children, leaves)


def _gap(values: Floats) -> int:
    """Where to cut sorted values: the widest gap near the middle, so that grids cut straight."""
    n = len(values)
    first, last = max(1, int(0.35 * n)), min(n - 1, int(np.ceil(0.65 * n)))
    gaps = values[first : last + 1] - values[first - 1 : last]
    near = np.flatnonzero(gaps >= 0.5 * gaps.max())
    return int(first + near[np.argmin(np.abs(near + first - n / 2))])

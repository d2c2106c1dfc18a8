"""Points that are added to a mesh of quads beside old ones and on the curves of its chains."""

from collections.abc import Mapping

import numpy as np

from plate.arrays import Floats, Ints
from plate.geometry.curves import Curve
from plate.meshing.quads import Quads, least_sine

Edge = tuple[int, int]

# Cells with a corner whose sine is less than this are nearly folded; the rows beside them are
# made thinner up to this many times.
FOLDED = 0.12
RELENT = 12


def edge_of(a: int, b: int) -> Edge:
    """The edge between two points, the lower number first."""
    return (a, b) if a < b else (b, a)


class AddedPoints:
    """Points beside old ones or on curves near them, brought nearer where cells would fold.

    near : (v, x) -> the new point on the curve's edge v-x.
    """

    def __init__(self, quads: Quads, pieces: tuple[Curve, ...], chain: Mapping[Edge, int]) -> None:
        self._quads, self._pieces, self._chain = quads, pieces, chain
        self._owner: list[int] = []
        self._away: list[Floats] = []
        self._on: list[tuple[int, float, float] | None] = []
        self.near: dict[Edge, int] = {}

    def beside(self, v: int, at: Floats) -> int:
        """A point at a place (2,) near v."""
        self._owner.append(v)
        self._away.append(at - self._quads.points[v])
        self._on.append(None)
        return len(self._quads.points) + len(self._owner) - 1

    def on_edge(self, v: int, x: int, reach: float) -> int:
        """A point on the curve's edge v-x, `reach` [m] from v; the first one asked for stays."""
        if (v, x) not in self.near:
            k = self._chain[edge_of(v, x)]
            s_v, s_x = edge_shares(self._quads.chains[k], v, x)
            step = np.sign(s_x - s_v) * reach / self._pieces[k].length
            self._owner.append(v)
            self._away.append(np.zeros(2))
            self._on.append((k, s_v, float(step)))
            self.near[v, x] = len(self._quads.points) + len(self._owner) - 1
        return self.near[v, x]

    def placed(self, cells: Ints) -> tuple[Floats, tuple[tuple[Ints, Floats], ...]]:
        """All points, and the chains with the new ones, so that no cell is nearly folded."""
        owner = np.array(self._owner)
        nearer = dict.fromkeys(self._owner, 1.0)
        for _ in range(RELENT):
            share = np.array([nearer[v] for v in self._owner])
            new = self._quads.points[owner] + share[:, None] * np.array(self._away)
            for i, on in enumerate(self._on):
                if on is not None:
                    k, start, step = on
                    new[i] = self._pieces[k].at(start + share[i] * step)
            points = np.concatenate([self._quads.points, new])
            bad = cells[least_sine(points[cells]) < FOLDED]
            touched = np.unique(bad[bad >= len(self._quads.points)] - len(self._quads.points))
            if not len(touched):
                break
            for v in np.unique(owner[touched]).tolist():
                nearer[v] *= 0.6
        first = len(self._quads.points)
        added = {}
        for key, number in self.near.items():
            on = self._on[number - first]
            assert on is not None
            added[key] = number, on[1] + share[number - first] * on[2]
        return points, with_added(self._quads.chains, added)


def edge_shares(chain: tuple[Ints, Floats], v: int, x: int) -> tuple[float, float]:
    """Parameters of the neighbours v and x on a chain that may be closed."""
    nodes, shares = chain
    for i in range(len(nodes) - 1):
        if (nodes[i], nodes[i + 1]) == (v, x):
            return float(shares[i]), float(shares[i + 1])
        if (nodes[i + 1], nodes[i]) == (v, x):
            return float(shares[i + 1]), float(shares[i])
    raise LookupError(f"points {v} and {x} are no neighbours on the curve")


def with_added(
    chains: tuple[tuple[Ints, Floats], ...], added: Mapping[Edge, tuple[int, float]]
) -> tuple[tuple[Ints, Floats], ...]:
    """Chains with new points: added[v, x] is a point between the neighbours v and x, near v."""
    out = []
    for nodes, shares in chains:
        new_nodes, new_shares = [int(nodes[0])], [float(shares[0])]
        for i in range(len(nodes) - 1):
            a, b = int(nodes[i]), int(nodes[i + 1])
            for key in ((a, b), (b, a)):
                if key in added:
                    new_nodes.append(added[key][0])
                    new_shares.append(added[key][1])
            new_nodes.append(b)
            new_shares.append(float(shares[i + 1]))
        out.append((np.array(new_nodes), np.array(new_shares)))
    return tuple(out)

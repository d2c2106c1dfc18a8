"""Fields of envelopes as they are drawn: without the teeth of the lattice of load positions.

Between load positions an envelope dips, and its contours show teeth that no bridge has. A dip
narrower than the lattice is filled: each point takes the least of the largest values in the
windows, one step along and one across, that contain it (a morphological closing; a slope, a ridge
and what lies at an edge stay as they are). Then planes through what lies within two cells of each
point, by falling weights, take the corners off what was filled. Nowhere is less shown than the
envelope has, and nothing is taken across a line that divides the slab.
"""

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from pipelines.deck.deck import Deck
from pipelines.report.drawings.cuts import FieldMap
from plate.arrays import Floats, Ints, connected

# Windows about a point, from where to where in steps, along each direction.
WINDOWS = ((-1.0, 0.0), (-0.5, 0.5), (0.0, 1.0))
# How far neighbours count, in sides of cells.
SPACES = 2.0
# Pairs of points at most, some 50 bytes each.
PAIRS = 4e6
SLACK = 1e-3
# What keeps a plane level where all neighbours lie on one line.
LEVEL = 1e-9


RULE = (
    "Contours are drawn without the teeth of the lattice of load positions: dips narrower than a "
    "step are filled and rounded off, nowhere below the envelope; values in words are the "
    "governing ones."
)
"""What stands with such drawings."""


@dataclass(frozen=True, eq=False)
class Lattice:
    """Field points, their places (n, 2) as traffic counts them and the steps of load positions
    along and across it [m]."""

    fields: FieldMap
    track: Floats
    steps: tuple[float, float]

    @classmethod
    def of(cls, deck: Deck, fields: FieldMap) -> "Lattice":
        """That of a deck's traffic; of stated offsets the widest gap is the step across."""
        traffic = deck.required_traffic
        across = traffic.lateral_step
        if across is None:
            gaps = np.diff(np.sort(traffic.offsets or (0.0,)))
            across = float(gaps.max(initial=traffic.step))
        track = fields.plan if traffic.axis is None else traffic.axis.to_track(fields.plan)
        return cls(fields, track, (traffic.step, across))

    @cached_property
    def _sides(self) -> Ints:
        """Ends (k, 2) of the sides of all quadrilaterals."""
        quads = self.fields.quads
        return np.concatenate([quads[:, [k, (k + 1) % 4]] for k in range(4)])

    @cached_property
    def _parts(self) -> Ints:
        """What each point belongs to (n,), of the parts between divisions of the slab."""
        return connected(len(self.track), *self._sides.T)

    @cached_property
    def _side(self) -> float:
        """Median side of a quadrilateral [m]."""
        ends = self.track[self._sides]
        return float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))

    def _near(self, reach: Floats) -> tuple[Ints, Floats]:
        """Points (k, 2) of one part within reach of each other, sorted by the first, and how far
        the second lies off as shares of the reach."""
        at = np.column_stack([self.track / reach, 4.0 * self._parts])
        found = cKDTree(at).query_pairs(1.0 + SLACK, output_type="ndarray", p=np.inf)
        own = np.repeat(np.arange(len(at)), 2).reshape(-1, 2)
        pairs = np.concatenate([found, found[:, ::-1], own])
        pairs = pairs[np.argsort(pairs[:, 0], kind="stable")]
        return pairs, at[pairs[:, 1], :2] - at[pairs[:, 0], :2]

    @cached_property
    def _windows(self) -> list[tuple[Ints, Ints]]:
        """Of every window the points in it, and where those of each point begin."""
        # Of a mesh much finer than the lattice windows are smaller: their pairs are bounded.
        steps = np.array(self.steps)
        count = len(self.track) * float(np.prod(1.0 + 2.0 * steps / self._side))
        pairs, off = self._near(steps * min(1.0, (PAIRS / count) ** 0.5))
        found = []
        for (a, b), (c, d) in itertools.product(WINDOWS, WINDOWS):
            low, high = np.array([a, c]) - SLACK, np.array([b, d]) + SLACK
            own = pairs[np.all((off >= low) & (off <= high), axis=1)]
            found.append((own[:, 1], np.searchsorted(own[:, 0], np.arange(len(self.track)))))
        return found

    @cached_property
    def _planes(self) -> csr_array:
        """Value at each point of the plane through its neighbours (n, n), by weights that fall to
        nothing `SPACES` off."""
        pairs, off = self._near(np.full(2, SPACES * self._side))
        n = len(self.track)
        weight = np.prod(np.clip(1.0 - np.abs(off), 0.0, None), axis=1)
        basis = np.column_stack([np.ones(len(off)), off])
        starts = np.searchsorted(pairs[:, 0], np.arange(n))
        products = weight[:, None] * (basis[:, :, None] * basis[:, None, :]).reshape(-1, 9)
        moments = np.add.reduceat(products, starts).reshape(-1, 3, 3)
        moments += LEVEL * np.diag([0.0, 1.0, 1.0])
        first = np.linalg.inv(moments)[:, 0]
        shares = weight * np.einsum("kj,kj->k", first[pairs[:, 0]], basis)
        return csr_array((shares, (pairs[:, 0], pairs[:, 1])), shape=(n, n))

    def smoothed(self, values: Floats, sign: float) -> Floats:
        """An envelope (n,) to be drawn; sign : 1 of largest values, -1 of smallest."""
        signed = sign * values
        filled = np.min([np.maximum.reduceat(signed[p], at) for p, at in self._windows], axis=0)
        return np.asarray(sign * np.clip(self._planes @ filled, signed, filled))

"""Stretches of control sections over which shear is averaged, at places where vehicles govern."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipelines.bars.demand.shear import ShearTracker
from pipelines.bars.rating.shear_pairs import ShearPairs
from plate.arrays import Floats, Ints


@dataclass(eq=False)
class Stretches:
    """Of some shared sections those that are judged, and the numbers of their results.

    means : (n_sample, n_sample) over the width judged; points : (n_sample, 2) in plan. of_shear,
    of_moment : (n_sample,) number of the first of q_x, q_y at a sample, of m_x, m_y, m_xy at a
    judged one, -1 = none. judged : (n,) samples about which a stretch lies; samples, weights :
    (n_weight, n) of its mean, those of shorter ones with a sample of no weight; normals : (2, n)
    unit vectors across them.
    """

    means: sparse.csr_array
    points: Floats
    of_shear: Ints
    of_moment: Ints

    def __post_init__(self) -> None:
        self._settle(np.zeros(0, dtype=np.int64))

    @classmethod
    def of(cls, tracker: ShearTracker, width: float) -> "Stretches":
        """None yet."""
        points = tracker.sections.points
        none = np.full(len(points), -1, dtype=np.int64)
        means = sparse.csr_array(tracker.means[tracker.widths.index(width)])
        means.sort_indices()
        return cls(means, points, none, none.copy())

    def take(self, judged: Ints, count: int) -> Iterator[tuple[tuple[int, ...], Ints]]:
        """Take in stretches about judged samples; yields which forces, of m_x, m_y, m_xy, q_x, q_y,
        at which samples are results now, from number `count` on."""
        self._settle(np.union1d(self.judged, judged))
        for known, some, asked in (
            (self.of_shear, (3, 4), np.unique(self.samples)),
            (self.of_moment, (0, 1, 2), self.judged),
        ):
            new = asked[known[asked] < 0]
            if len(new):
                known[new] = count + len(some) * np.arange(len(new))
                count += len(some) * len(new)
                yield some, new

    def without(self, tracker: ShearTracker) -> Floats:
        """(n,) utilisations without traffic."""
        if tracker not in self._without:
            self._without[tracker] = ShearPairs.of(
                tracker,
                np.zeros((2, *self.samples.shape)),
                self.samples,
                self.weights,
                np.zeros((5, len(self.judged))),
                self.judged,
            ).used(0.0)
        return self._without[tracker]

    def _settle(self, judged: Ints) -> None:
        self.judged = judged
        self._without: dict[ShearTracker, Floats] = {}
        rows = sparse.csr_array(self.means[judged])
        count = np.diff(rows.indptr)
        k, stretch = np.arange(rows.nnz), np.repeat(np.arange(len(judged)), count)
        k -= np.repeat(rows.indptr[:-1], count)
        shape = int(count.max(initial=0)), len(judged)
        self.weights = np.zeros(shape)
        self.weights[k, stretch] = rows.data
        self.samples = np.broadcast_to(judged, shape).astype(np.int64)
        self.samples[k, stretch] = rows.indices
        first, last = (
            np.array(
                [end(part, initial=own) for part, own in zip(self.samples.T, judged, strict=True)],
                dtype=int,
            )
            for end in (np.min, np.max)
        )
        along = self.points[last] - self.points[first]
        along[first == last] = [0.0, 1.0]
        along /= np.hypot(*along.T)[:, None]
        self.normals = np.stack([along[:, 1], -along[:, 0]])

    def mean(self, numbers: Ints) -> tuple[Floats, Ints]:
        """Means (k, n) of some of the stretches over the samples (n,) that they need."""
        samples, column = np.unique(self.samples[:, numbers], return_inverse=True)
        means = np.zeros((len(numbers), len(samples)))
        row = np.broadcast_to(np.arange(len(numbers)), (len(self.samples), len(numbers)))
        np.add.at(means, (row.ravel(), column.ravel()), self.weights[:, numbers].ravel())
        return means, samples

    def mean_across(self, shears: Floats) -> Floats:
        """(n,) mean shears across the stretches, of q_x, q_y (2, n_sample)."""
        means = (self.weights * shears[:, self.samples]).sum(axis=1)
        return np.asarray((self.normals * means).sum(axis=0))

    def across(self, grid: Floats) -> Floats:
        """(n_offset, n, n_s) the same of a grid (n_offset, n_result, n_s) of results."""
        if not len(self.judged):
            return grid[:, :0]
        result = self.of_shear[self.samples] + np.arange(2)[:, None, None]
        weight = self.weights * self.normals[:, None]
        used, column = np.unique(result, return_inverse=True)
        row = np.broadcast_to(np.arange(len(self.judged)), result.shape)
        index, shape = (row.ravel(), column.ravel()), (len(self.judged), len(used))
        matrix = sparse.csr_array((weight.ravel().astype(np.float32), index), shape=shape)
        return np.stack([matrix @ one[used] for one in grid])

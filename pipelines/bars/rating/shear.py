"""The multiplier of a vehicle at which shear without links reaches its resistance.

The mean of the principal shear is convex in the multiplier, the resistance is that of the direction
and the face in tension there: the largest multiplier is found by evaluating a run's own check at
one multiplier after the other, at those load positions alone that can come to the least resistance.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipelines.bars.demand.shear import ShearTracker
from pipelines.bars.rating.root import MOST, largest
from pipelines.numbers import within
from pipelines.standards.resistance.bending import utilisation
from plate.arrays import Floats, Ints

# Samples and load positions among which the multiplier is looked for first.
FIRST = 16
# Means below this share of the largest do not come near to governing.
NEAR = 0.7


@dataclass(frozen=True)
class ShearMultiplier:
    """value : the largest multiplier; sample : of the sections; number : of the load position."""

    value: float
    sample: int
    number: int


@dataclass(frozen=True, eq=False)
class ShearOfVehicle:
    """Shear at some samples of a tracker under the load positions of a vehicle.

    traffic : (5 or 8, n, n_position) factored forces at the samples `samples` (n,); means : (k, n)
    of the principal shear at the judged ones, `judged` (k,) of all. beside : factored forces like
    those of the traffic that are not multiplied; None = there are none.
    """

    tracker: ShearTracker
    traffic: Floats
    samples: Ints
    judged: Ints
    means: sparse.csr_array
    beside: Floats | None = None

    @classmethod
    def of(cls, tracker: ShearTracker, blocks: Sequence[Floats], width: float) -> "ShearOfVehicle":
        """All samples, averaged over a width of the tracker's; blocks : of the load positions, one
        after the other."""
        every = np.arange(len(tracker.sections.points))
        judged = np.flatnonzero(tracker.sections.judged)
        means = sparse.csr_array(tracker.means[tracker.widths.index(width)][judged])
        return cls(tracker, np.concatenate(blocks, axis=2), every, judged, means)

    def multiplier(self, start: float) -> ShearMultiplier | None:
        """None where no sample is judged. start : a guess."""
        if not len(self.judged):
            return None
        # few samples and load positions govern: more are added until all others pass
        value = min(max(start, 0.05), MOST)
        mean = self._mean(value)
        rows = np.argsort(-mean.max(axis=1), kind="stable")[:FIRST]
        columns = np.argsort(-mean[rows].max(axis=0), kind="stable")[:FIRST]
        while True:
            near = self._part(np.sort(rows), columns)
            value = largest(lambda m, near=near: near._worst(m)[0], value)  # type: ignore[misc]
            used, sample, column = self._worst(max(value, 1e-9))
            row = int(np.flatnonzero(self.judged == sample)[0])
            if within(used) or (row in rows and column in columns):
                break
            rows, columns = np.union1d(rows, row), np.union1d(columns, column)
        if value >= MOST:
            return ShearMultiplier(MOST, int(self.judged[0]), -1)
        _, sample, place = near._worst(max(value, 1e-9))
        return ShearMultiplier(value, sample, int(columns[place]))

    def by_sample(self, multiplier: float) -> Floats:
        """(k,) the largest utilisation of each judged sample that comes near to governing at a
        multiplier, 0 for the others."""
        mean = self._mean(multiplier)
        row, _, used = self._judged_at(multiplier, mean, NEAR * float(mean.max()))
        found = np.zeros(len(self.judged))
        np.maximum.at(found, row, used)
        return found

    def _part(self, rows: Ints, columns: Ints) -> "ShearOfVehicle":
        """Some of the judged samples under some of the load positions."""
        means = sparse.csr_array(self.means[rows])
        used = np.unique(means.indices).astype(np.int64)
        return ShearOfVehicle(
            self.tracker,
            self.traffic[:, used[:, None], columns],
            self.samples[used],
            self.judged[rows],
            sparse.csr_array(means[:, used]),
            None if self.beside is None else self.beside[:, used[:, None], columns],
        )

    def _times(self, multiplier: float) -> Floats:
        traffic = multiplier * self.traffic
        return traffic if self.beside is None else traffic + self.beside

    def _mean(self, multiplier: float) -> Floats:
        v = self.tracker.principal(self._times(multiplier), self.samples)
        return np.asarray(self.means @ v)

    def _worst(self, multiplier: float) -> tuple[float, int, int]:
        """The largest utilisation, its sample and its column."""
        mean = self._mean(multiplier)
        least = min(self.tracker.least, float(mean.max()))
        row, column, used = self._judged_at(multiplier, mean, least)
        k = int(used.argmax())
        return float(used[k]), int(self.judged[row[k]]), int(column[k])

    def _judged_at(
        self, multiplier: float, mean: Floats, least: float
    ) -> tuple[Ints, Ints, Floats]:
        """Judged samples and load positions whose mean is at least so large, and utilisations."""
        row, column = np.nonzero(mean >= least)
        acting, sample = mean[row, column], self.judged[row]
        at = np.searchsorted(self.samples, sample)
        forces = multiplier * self.traffic[:, at, column]
        if self.beside is not None:
            forces += self.beside[:, at, column]
        resists, _ = self.tracker.resistance_at(forces, sample, acting)
        return row, column, np.asarray(utilisation(acting, resists))

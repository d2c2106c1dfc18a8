"""The multiplier of a vehicle at which shear without links reaches its resistance.

The mean of the principal shear is convex in the multiplier, the resistance is that of the direction
and the face in tension there: the largest multiplier is found by evaluating a run's own check at
one multiplier after the other, at those load positions alone that can come to the least resistance.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipelines.bars.demand.control_sections import ShearTracker
from pipelines.bars.rating.root import MOST, STEP, largest
from pipelines.numbers import within
from pipelines.standards.resistance.bending import utilisation
from plate.arrays import Floats, Ints

# Load positions among which the multiplier is looked for first.
FIRST = 64
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
    of the principal shear at the judged ones, `judged` (k,) of all.
    """

    tracker: ShearTracker
    traffic: Floats
    samples: Ints
    judged: Ints
    means: sparse.csr_array

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
        high, every = min(max(start, 0.05), MOST), np.arange(len(self.judged))
        while self._worst(high)[0] <= 1.0:
            if high >= MOST:
                return ShearMultiplier(MOST, int(self.judged[0]), -1)
            high = min(STEP * high, MOST)
        # few load positions govern: more are added until all others pass
        columns = np.argsort(-self._mean(high).max(axis=0), kind="stable")[:FIRST]
        while True:
            near = self._part(every, columns)
            value = largest(lambda m, near=near: near._worst(m)[0], high)  # type: ignore[misc]
            used, sample, column = self._worst(max(value, 1e-9))
            if within(used) or column in columns:
                break
            columns, high = np.append(columns, column), value
        if value <= 0.0 or column not in columns:
            _, sample, place = near._worst(max(value, 1e-9))
            column = int(columns[place])
        return ShearMultiplier(value, sample, column)

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
        )

    def _mean(self, multiplier: float) -> Floats:
        v = self.tracker.principal(multiplier * self.traffic, self.samples)
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
        forces = multiplier * self.traffic[:, np.searchsorted(self.samples, sample), column]
        resists, _ = self.tracker.resistance_at(forces, sample, acting)
        return row, column, np.asarray(utilisation(acting, resists))

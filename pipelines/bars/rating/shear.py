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
from pipelines.standards.resistance.bending import utilisation
from plate.arrays import Floats, Ints


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
        least = self.tracker.least
        high = min(max(start, 0.05), MOST)
        # up to where something fails, whichever position it is under
        while high < MOST and self._worst(self.traffic, high)[0] <= 1.0:
            high = min(STEP * high, MOST)
        # convex: what stays below the least resistance at both ends does so between them
        can = np.zeros(self.traffic.shape[2], dtype=bool)
        for end in (0.0, high):
            can |= (self._mean(self.traffic, end) >= least).any(axis=0)
        columns = np.flatnonzero(can)
        if not len(columns):
            return ShearMultiplier(MOST, int(self.judged[0]), -1)
        some = np.ascontiguousarray(self.traffic[:, :, columns])
        value = largest(lambda m: self._worst(some, m)[0], high)
        _, sample, column = self._worst(some, max(value, 1e-9))
        number = -1 if value >= MOST else int(columns[column])
        return ShearMultiplier(value, sample, number)

    def _mean(self, traffic: Floats, multiplier: float) -> Floats:
        v = self.tracker.principal(multiplier * traffic, self.samples)
        return np.asarray(self.means @ v)

    def _worst(self, traffic: Floats, multiplier: float) -> tuple[float, int, int]:
        """The largest utilisation, its sample and its column."""
        mean = self._mean(traffic, multiplier)
        row, column = np.nonzero(mean >= min(self.tracker.least, float(mean.max())))
        acting, sample = mean[row, column], self.judged[row]
        forces = multiplier * traffic[:, np.searchsorted(self.samples, sample), column]
        resists, _ = self.tracker.resistance_at(forces, sample, acting)
        used = utilisation(acting, resists)
        k = int(used.argmax())
        return float(used[k]), int(sample[k]), int(column[k])

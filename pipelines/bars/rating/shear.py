"""The multiplier of a vehicle at which shear without links reaches its resistance.

The mean of the principal shear is convex in the multiplier, the resistance is that of the direction
and the face in tension there: the largest multiplier is found by evaluating a run's own check at
one multiplier after the other, at those load positions alone that can come to the least resistance.
"""

from dataclasses import dataclass
from functools import cached_property

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
# Means that are formed together, to bound the memory; from which share of them on all are formed;
# what sums differ by as they are rounded.
TOGETHER, DENSE, ROUNDING = 20_000, 0.1, 1e-9


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
    def of(cls, tracker: ShearTracker, traffic: Floats, width: float) -> "ShearOfVehicle":
        """All samples, averaged over a width of the tracker's."""
        every = np.arange(len(tracker.sections.points))
        judged = np.flatnonzero(tracker.sections.judged)
        means = sparse.csr_array(tracker.means[tracker.widths.index(width)][judged])
        return cls(tracker, traffic, every, judged, means)

    def multiplier(self, start: float) -> ShearMultiplier | None:
        """None where no sample is judged. start : a guess."""
        if not len(self.judged):
            return None
        # few samples and load positions govern: more are added until all others pass
        value = min(max(start, 0.05), MOST)
        most = self._most(value)
        rows = np.argsort(-most.max(axis=1), kind="stable")[:FIRST]
        columns = np.argsort(-most[rows].max(axis=0), kind="stable")[:FIRST]
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
        row, _, used = self._judged_at(multiplier, NEAR, np.inf)
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

    @cached_property
    def _alone(self) -> Floats:
        """(k, n_position) means of the traffic's own principal shear."""
        return np.asarray(self.means @ np.hypot(self.traffic[3], self.traffic[4]))

    @cached_property
    def _steady(self) -> Floats:
        """(k, 1 or n_position) no less than the means of what is not multiplied."""
        state = self.tracker.permanent[:, 3:5, self.samples]
        own = np.hypot(state[:, 0], state[:, 1]).max(axis=0)[:, None]
        if self.beside is not None:
            own = own + np.hypot(self.beside[3], self.beside[4])
        return np.asarray(self.means @ own)

    def _most(self, multiplier: float) -> Floats:
        """(k, n_position) no less than the means: sums of what each part makes by itself."""
        return multiplier * self._alone + self._steady

    def _mean(self, multiplier: float, row: Ints, column: Ints) -> Floats:
        """(n,) means of the principal shear at judged samples under load positions (n,)."""
        count, state = np.diff(self.means.indptr), self.tracker.permanent[:, 3:5, self.samples]
        if len(row) > DENSE * self._alone.size:
            every = self.tracker.principal(self._times(multiplier), self.samples)
            return np.asarray((self.means @ every)[row, column])
        found = np.empty(len(row))
        for start in range(0, len(row), TOGETHER):
            mine, under = row[start : start + TOGETHER], column[start : start + TOGETHER]
            # the last sample again, of no weight, where a mean has fewer
            k = np.arange(count.max())[:, None]
            at = self.means.indptr[mine] + np.minimum(k, count[mine] - 1)
            weight = np.where(k < count[mine], self.means.data[at], 0.0)
            here = (slice(3, 5), self.means.indices[at], under)
            q = multiplier * self.traffic[here]
            if self.beside is not None:
                q += self.beside[here]
            sizes = np.zeros(weight.shape)
            for one in state[..., self.means.indices[at]]:
                np.maximum(sizes, np.hypot(*(q + one)), out=sizes)
            found[start : start + TOGETHER] = (weight * sizes).sum(axis=0)
        return found

    def _times(self, multiplier: float) -> Floats:
        traffic = multiplier * self.traffic
        return traffic if self.beside is None else traffic + self.beside

    def _worst(self, multiplier: float) -> tuple[float, int, int]:
        """The largest utilisation, its sample and its column."""
        row, column, used = self._judged_at(multiplier, 1.0, self.tracker.least)
        k = int(used.argmax())
        return float(used[k]), int(self.judged[row[k]]), int(column[k])

    def _judged_at(
        self, multiplier: float, share: float, enough: float
    ) -> tuple[Ints, Ints, Floats]:
        """Judged samples and load positions whose mean is at least `enough`, or that share of the
        largest where it is less, and utilisations."""
        most = self._most(multiplier)
        # a mean that there is, so that the largest is no less
        one, under = np.divmod(np.array([most.argmax()]), most.shape[1])
        there = float(self._mean(multiplier, one, under)[0])
        row, column = np.nonzero(most >= min(share * there, enough) * (1.0 - ROUNDING))
        acting = self._mean(multiplier, row, column)
        least = min(enough, share * float(acting.max()))
        kept = acting >= least
        row, column, acting = row[kept], column[kept], acting[kept]
        sample = self.judged[row]
        at = np.searchsorted(self.samples, sample)
        forces = multiplier * self.traffic[:, at, column]
        if self.beside is not None:
            forces += self.beside[:, at, column]
        resists, _ = self.tracker.resistance_at(forces, sample, acting)
        return row, column, np.asarray(utilisation(acting, resists))

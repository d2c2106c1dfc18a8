"""Many vehicles on one deck, each judged at the places where vehicles govern.

A few vehicles of the fleet are driven over the whole deck first. Where their moments and shears
come near to a limit, and lie above those around, are places; the others are judged there alone, at
all their load positions: by grids of unit axles first, then, where a check may govern, by influence
surfaces and the check itself. The multiplier that governs a vehicle is found again with its wheels
integrated exactly.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import sparse

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.control_sections import ShearTracker
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.wood_armer import Block, functionals, skew_components
from pipelines.bars.rating.axle_grids import AxleGrids
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import (
    MomentMultiplier,
    Moments,
    linear_multipliers,
    moment_multiplier,
    room,
)
from pipelines.bars.rating.place_fields import (
    DrivenOver,
    PlaceFields,
    WheelLattice,
    moment_rows,
    shear_rows,
)
from pipelines.bars.rating.root import MOST
from pipelines.bars.rating.shear import ShearMultiplier, ShearOfVehicle
from pipelines.numbers import SLACK
from pipelines.traffic.positions import LoadPositions, Size, WheelPatches, find_position
from plate.arrays import Floats, Ints
from plate.solver.stiffness import BLOCK

# A place is the largest within this distance [m], and its traffic takes at least this share of what
# permanent actions leave, against the largest anywhere; in shear, which differs more from vehicle
# to vehicle, less is worth a place.
APART, WORTH = 0.4, 0.92
SHEAR_APART, SHEAR_WORTH = 0.25, 0.85
# Points and stretches that are judged by the check itself, the first by the grids, and load
# positions that shear is judged at and what governs is integrated exactly at.
JUDGED, SHEARED, POSITIONS, EXACT = 6, 12, 60, 6
# Parts of a stretch in which the direction of the shear is taken as one.
THIRDS = 3
Runs = Sequence[LoadPositions]
Trackers = dict[tuple[int, int], tuple[ShearTracker, float]]
"""Of every standard's trackers, by its number and the part's, with the width judged."""


@dataclass(frozen=True, eq=False)
class OverDeck:
    """A vehicle driven over the whole deck.

    runs : its load positions; moments : at every result point; shears : of every standard's
    trackers, by their number.
    """

    runs: Runs
    moments: Moments
    shears: dict[tuple[int, int], ShearOfVehicle]


@dataclass(frozen=True)
class AtPlaces:
    """The least multiplier of every check by one standard: of moments with their limits, of shear
    with the number of the tracker."""

    moments: tuple[tuple[MomentLimit, MomentMultiplier], ...]
    shears: tuple[tuple[int, ShearMultiplier], ...]


@dataclass(eq=False)
class Places:
    """Where vehicles govern, and the multipliers of vehicles there.

    limits, trackers : of every standard, those with the widths at which they are judged; lattices :
    of every wheel of the fleet. points : of each row of LAYER_ROWS the result points; stretches :
    numbers of the judged samples of the sections that trackers share.
    """

    watch: DesignWatch
    limits: Sequence[Sequence[MomentLimit]]
    trackers: Trackers
    lattices: dict[Size, WheelLattice]
    step: float
    points: list[Ints] = field(default_factory=lambda: [np.zeros(0, dtype=np.int64)] * 4)
    stretches: dict[int, Ints] = field(default_factory=dict)

    def __post_init__(self) -> None:
        solved = self.watch.solved
        self.fields = PlaceFields(solved, moment_rows(solved, self.watch.layer), 3, self.lattices)
        self.of_samples: dict[int, PlaceFields] = {}
        for tracker, _ in self.trackers.values():
            rows = shear_rows(solved, tracker)
            made = PlaceFields(solved, rows, 5, self.lattices)
            self.of_samples.setdefault(id(tracker.sections), made)
        low, high = solved.deck.course.limits(solved.model.mesh.corners.reshape(-1, 2))[:, 0]
        half = 0.5 * max(patch[0] for patch in self.lattices)
        first = int(np.floor((low - half) / self.step))
        self.grids = AxleGrids(
            read=self._read,
            drive=lambda run: DrivenOver.of(self.lattices, run),
            course=solved.deck.course,
            step=self.step,
            first=first,
            count=int(np.ceil((high + half) / self.step)) - first + 1,
        )

    @classmethod
    def of(
        cls,
        watch: DesignWatch,
        limits: Sequence[Sequence[MomentLimit]],
        trackers: Trackers,
        fleet: Sequence[Runs],
    ) -> "Places":
        """None yet; fleet : the load positions of all vehicles."""
        ends: dict[Size, tuple[float, float]] = {}
        for run in (run for runs in fleet for run in runs):
            for axle, patch in zip(run.vehicle.axles, run.patches, strict=True):
                far = max(map(abs, axle.wheels))
                low, high = float(run.offsets.min()) - far, float(run.offsets.max()) + far
                known = ends.get(patch, (low, high))
                ends[patch] = min(low, known[0]), max(high, known[1])
        lattices = {patch: WheelLattice.of(watch.solved, patch, y) for patch, y in ends.items()}
        return cls(watch, limits, trackers, lattices, watch.deck.required_traffic.step)

    def learn(self, one: OverDeck, in_shear: dict[int, float]) -> None:
        """Take in where a vehicle comes near to governing; in_shear : its multiplier in shear by
        each standard."""
        plan = self.watch.solved.recovery.points.plan
        for limits in self.limits:
            for check in {limit.check for limit in limits}:
                mine = [limit for limit in limits if limit.check is check]
                used = [_used(limit, one.moments.extreme(limit.row)) for limit in mine]
                most = max(float(u.max(initial=0.0)) for u in used)
                for limit, u in zip(mine, used, strict=True):
                    new = limit.at[local_tops(u, plan[limit.at], most)]
                    self.points[limit.row] = np.union1d(self.points[limit.row], new)
        for (k, _), shear in one.shears.items():
            tracker = shear.tracker
            in_use = shear.by_sample(max(in_shear[k], 1e-3))
            at = tracker.sections.points[shear.judged]
            new = local_tops(in_use, at, float(in_use.max()), SHEAR_APART, SHEAR_WORTH)
            shared = id(tracker.sections)
            known = self.stretches.get(shared, np.zeros(0, dtype=np.int64))
            self.stretches[shared] = np.union1d(known, shear.judged[new])
        self.grids.known.clear()

    @property
    def count(self) -> int:
        """Of result points and shear sections together."""
        return sum(map(len, [*self.points, *self.stretches.values()]))

    def _means(self, key: tuple[int, int]) -> tuple[sparse.csr_array, Ints]:
        """Means (k, n) of the stretches of a tracker over the samples (n,) that they need."""
        tracker, width = self.trackers[key]
        stretches = self.stretches[id(tracker.sections)]
        rows = sparse.csr_array(tracker.means[tracker.widths.index(width)][stretches])
        samples = np.unique(rows.indices).astype(np.int64)
        return sparse.csr_array(rows[:, samples]), samples

    def _thirds(self, key: tuple[int, int]) -> tuple[sparse.csr_array, Ints]:
        """The same in THIRDS parts of each stretch, those of a stretch together."""
        means, samples = self._means(key)
        means.sort_indices()
        count = np.diff(means.indptr)
        within = np.arange(means.nnz) - np.repeat(means.indptr[:-1], count)
        part = within * THIRDS // np.repeat(count, count)
        rows = np.repeat(np.arange(means.shape[0]), count) * THIRDS + part
        shape = THIRDS * means.shape[0], means.shape[1]
        return sparse.csr_array((means.data, (rows, means.indices)), shape=shape), samples

    def _read(self, driven: DrivenOver) -> Floats:
        """Of all places, row after row, a + t and a - t of the first bars in the signs of the
        layer; then of all parts of stretches the shares of the mean q_x and q_y."""
        angle = self.watch.reinforcement.angle
        parts = []
        for row, points in enumerate(self.points):
            if len(points):
                made = functionals(skew_components(self.fields.under([driven], points), angle))
                sign = 1.0 if row < 2 else -1.0
                parts += [sign * made[2 * (row % 2)], sign * made[2 * (row % 2) + 1]]
        for shared in self.stretches:
            means, samples = self._thirds(self._first_of(shared))
            forces = self.of_samples[shared].under([driven], samples)
            parts += [means @ forces[3], means @ forces[4]]
        return np.concatenate(parts)

    def _first_of(self, shared: int) -> tuple[int, int]:
        """A tracker of sections, which all have the same width."""
        return next(k for k, (one, _) in self.trackers.items() if id(one.sections) == shared)

    def vehicle(self, runs: Runs, standards: Sequence[int]) -> dict[int, AtPlaces]:
        """The multipliers of a vehicle by some standards."""
        made = [self.grids.under(run) for run in runs]
        top = np.maximum.reduce([values.max(axis=(1, 2)) for values, _ in made])
        extreme, begin = [], 0
        for points in self.points:
            extreme.append(top[begin : begin + 2 * len(points)].reshape(2, -1))
            begin += 2 * len(points)
        driven = [DrivenOver.of(self.lattices, run) for run in runs]
        wanted = {k: [*self._candidates(k, extreme)] for k in standards}
        points = np.unique([p for some in wanted.values() for _, p in some]).astype(np.int64)
        moments = self._moments(runs, driven, points)
        found = {}
        for k in standards:
            least: dict[Check, tuple[MomentLimit, MomentMultiplier]] = {}
            for limit, point in wanted[k]:
                below = least[limit.check][1].value if limit.check in least else MOST
                column = np.searchsorted(points, [point])
                one = moment_multiplier(limit, moments, column, below)
                if limit.check not in least or one.value < below:
                    least[limit.check] = limit, one
            ultimate = [
                one.value
                for limit, one in least.values()
                if limit.tracker.combination.limit_state == "ULS"
            ]
            guess = min(ultimate, default=1.0)
            shears = []
            at = begin
            for shared, stretches in self.stretches.items():
                part = slice(at, at := at + 2 * THIRDS * len(stretches))
                q = [(values[part], first) for values, first in made]
                for key, (tracker, _) in self.trackers.items():
                    if key[0] == k and id(tracker.sections) == shared:
                        sheared = self._shear(key, runs, driven, q, guess)
                        shears += [] if sheared is None else [(key[1], sheared)]
            found[k] = AtPlaces(tuple(least.values()), tuple(shears))
        return found

    def _candidates(self, k: int, extreme: Sequence[Floats]) -> Iterator[tuple[MomentLimit, int]]:
        """Limits by a standard and points at which they may govern their checks."""
        by_check: dict[Check, list[tuple[float, MomentLimit, int]]] = {}
        for limit in self.limits[k]:
            points = self.points[limit.row]
            columns = np.flatnonzero(np.isin(points, limit.at))
            if len(columns):
                allowed = limit.moment * (1.0 + SLACK)
                linear = linear_multipliers(
                    limit.tracker,
                    limit.row,
                    allowed,
                    extreme[limit.row][:, columns],
                    points[columns],
                )
                some = np.argsort(linear, kind="stable")[:JUDGED].tolist()
                by_check.setdefault(limit.check, []).extend(
                    (float(linear[j]), limit, int(points[columns[j]])) for j in some
                )
        for every in by_check.values():
            every.sort(key=lambda one: one[0])
            for _, limit, point in every[:JUDGED]:
                yield limit, point

    def _moments(self, runs: Runs, driven: Sequence[DrivenOver], points: Ints) -> Moments:
        """Moments at some points under all load positions, in the blocks of a run."""
        angle = self.watch.reinforcement.angle
        values = skew_components(self.fields.under(driven, points), angle)
        blocks, first = [], 0
        for run in runs:
            for start in range(0, len(run), BLOCK):
                size = min(BLOCK, len(run) - start)
                block = Block.of_positions(values[:, :, first : first + size], first)
                blocks.append([block] * 4)
                first += size
        return Moments.of(points, blocks)

    def _shear(
        self,
        key: tuple[int, int],
        runs: Runs,
        driven: Sequence[DrivenOver],
        made: Sequence[tuple[Floats, int]],
        guess: float,
    ) -> ShearMultiplier | None:
        """The least multiplier of a tracker; made : q_x, q_y in the parts of its stretches by
        the grids, of every run, and the number of the first station."""
        tracker, _ = self.trackers[key]
        stretches = self.stretches[id(tracker.sections)]
        means, samples = self._means(key)
        thirds, _ = self._thirds(key)
        steady = np.stack([thirds @ tracker.permanent[0][c][samples] for c in (3, 4)])
        factor = np.float32(guess * tracker.combination.traffic)
        sizes = []
        for run, (q, first) in zip(runs, made, strict=True):
            n = q.shape[1]
            count = len(run) // n
            start = round(float(run.stations[0]) / self.step) - first
            part = q.reshape(2, -1, n, q.shape[2])[..., start : start + count]
            part = factor * part + steady[..., None, None].astype(np.float32)
            size = np.hypot(*part).reshape(len(stretches), THIRDS, n, count).sum(axis=1)
            sizes.append(size.transpose(0, 2, 1).reshape(len(stretches), -1))
        size = np.concatenate(sizes, axis=1)
        judged = np.sort(np.argsort(-size.max(axis=1), kind="stable")[:SHEARED])
        at = np.sort(np.argsort(-size[judged].max(axis=0), kind="stable")[:POSITIONS])
        rows = sparse.csr_array(means[judged])
        used = np.unique(rows.indices).astype(np.int64)
        forces = self._at(self.of_samples[id(tracker.sections)], driven, samples[used], at)
        found = self._sheared(
            tracker, stretches[judged], samples[used], rows[:, used], forces, guess
        )
        if found is None or found.number < 0:
            return found
        return replace(found, number=int(at[found.number]))

    @staticmethod
    def _at(
        fields: PlaceFields, driven: Sequence[DrivenOver], places: Ints, numbers: Ints
    ) -> Floats:
        """Results (per_place, k, n) at places under load positions of ascending numbers."""
        parts, first = [], 0
        for one in driven:
            n = one.operators[0][1].shape[0]
            mine = numbers[(numbers >= first) & (numbers < first + n)] - first
            if len(mine):
                parts.append(fields.under([one.at(mine)], places))
            first += n
        return np.concatenate(parts, axis=2)

    @staticmethod
    def _sheared(
        tracker: ShearTracker,
        judged: Ints,
        samples: Ints,
        means: sparse.csr_array,
        forces: Floats,
        guess: float,
    ) -> ShearMultiplier | None:
        traffic = tracker.combination.traffic * forces
        return ShearOfVehicle(tracker, traffic, samples, judged, means).multiplier(guess)

    def exact_moment(
        self, limit: MomentLimit, found: MomentMultiplier, runs: Runs
    ) -> MomentMultiplier:
        """The same with the moments of the load positions that come near to governing integrated
        exactly."""
        at, allowed = np.array([found.at]), limit.moment * (1.0 + SLACK)
        first, sign = limit.row % 2, 1.0 if limit.row < 2 else -1.0

        def signed(values: Floats) -> Floats:
            made = functionals(skew_components(values, self.watch.reinforcement.angle))[:, 0]
            return np.asarray(sign * made[2 * first : 2 * first + 2])

        driven = [DrivenOver.of(self.lattices, run) for run in runs]
        roughly = signed(self.fields.under(driven, at))
        left = room(limit.tracker, limit.row, allowed, at)
        near = np.argsort((-roughly / left).min(axis=0), kind="stable")[:EXACT]
        exactly = signed(self._exactly(self.fields, at, runs, near))

        def linear(values: Floats) -> float:
            extreme = values.max(axis=1, keepdims=True)
            return float(linear_multipliers(limit.tracker, limit.row, allowed, extreme, at)[0])

        rough = linear(roughly)
        return found if not rough else replace(found, value=found.value * linear(exactly) / rough)

    def exact_shear(
        self, key: tuple[int, int], found: ShearMultiplier, runs: Runs
    ) -> ShearMultiplier:
        """The same with the forces under the governing load position integrated exactly."""
        tracker, width = self.trackers[key]
        judged = np.array([found.sample])
        rows = sparse.csr_array(tracker.means[tracker.widths.index(width)][judged])
        samples = np.unique(rows.indices).astype(np.int64)
        fields = self.of_samples[id(tracker.sections)]
        forces = self._exactly(fields, samples, runs, np.array([found.number]))
        one = self._sheared(tracker, judged, samples, rows[:, samples], forces, found.value)
        return found if one is None else replace(found, value=one.value)

    @staticmethod
    def _exactly(fields: PlaceFields, places: Ints, runs: Runs, numbers: Ints) -> Floats:
        wheels = []
        for column, number in enumerate(numbers.tolist()):
            run, k = find_position(runs, number)
            one = run.wheels(slice(k, k + 1))
            wheels.append(replace(one, position=np.full(len(one.load), column)))
        every = [np.concatenate([getattr(w, name) for w in wheels])
                 for name in ("corners", "load", "position")]  # fmt: skip
        return fields.exactly(places, WheelPatches(*every), len(numbers))


def _used(limit: MomentLimit, extreme: Floats) -> Floats:
    """(n,) shares that a vehicle takes of what permanent actions leave at the points of a limit."""
    left = room(limit.tracker, limit.row, limit.moment * (1.0 + SLACK), limit.at)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = limit.tracker.combination.traffic * extreme[:, limit.at] / left
    return np.asarray(np.where(left > 0.0, share, np.inf).max(axis=0).clip(0.0, 1.0 / 1e-6))


def local_tops(
    values: Floats, plan: Floats, most: float, apart: float = APART, worth: float = WORTH
) -> Ints:
    """Numbers (k,) of the values (n,) at plan points (n, 2) that are worth a place; most : the
    largest that a place may have."""
    found: list[int] = []
    order = np.argsort(-values, kind="stable")
    for k in order[values[order] > max(worth * most, 0.0)].tolist():
        if not found or np.hypot(*(plan[found] - plan[k]).T).min() > apart:
            found.append(k)
    return np.array(found, dtype=np.int64)

"""Places where vehicles govern, and what axles make of the results there.

A few vehicles of a fleet are driven over the whole deck first. Where their moments and shears come
near to a limit, and lie above those around, are places.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import sparse

from pipelines.bars.demand.control_sections import ShearTracker
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.wood_armer import skew_components
from pipelines.bars.rating.axle_grids import AxleGrids, stations_over
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import (
    Moments,
    room,
)
from pipelines.bars.rating.place_fields import (
    DrivenOver,
    PlaceFields,
    WheelLattice,
    force_rows_at,
    moment_rows,
)
from pipelines.bars.rating.shear import ShearOfVehicle
from pipelines.numbers import SLACK
from pipelines.traffic.positions import LoadPositions, Size
from plate.arrays import Floats, Ints

# A place is the largest within this distance [m], in shear within the other one, and its traffic
# takes at least this share of what permanent actions leave, against the largest anywhere: of what
# comes to less no vehicle of those tried made its worst place.
APART, SHEAR_APART, WORTH = 0.4, 0.25, 0.85
# Parts of a stretch in which the direction of the shear is taken as one.
PARTS = 3
# Of m_x, m_y, m_xy, q_x, q_y those that are read.
ALL, SHEARS = (0, 1, 2, 3, 4), (3, 4)
# Directions (n, 2) that the shear of a stretch is screened in.
_ANGLES = np.arange(8) * np.pi / 4
DIRECTIONS = np.column_stack([np.cos(_ANGLES), np.sin(_ANGLES)])
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


@dataclass(eq=False)
class Places:
    """Where vehicles govern, and the multipliers of vehicles there.

    limits, trackers : of every standard, those with the widths at which they are judged; lattices :
    of every wheel of the fleet. points : of each row of LAYER_ROWS the result points; at : (n,)
    all of them, rising; stretches : numbers of the judged samples of the sections that trackers
    share.

    The results of the grids are a, b, t at the points, one after the other, then of each shared
    sections the shares of the mean q_x, then q_y, in the parts of the stretches.
    """

    watch: DesignWatch
    limits: Sequence[Sequence[MomentLimit]]
    trackers: Trackers
    lattices: dict[Size, WheelLattice]
    points: list[Ints] = field(default_factory=lambda: [np.zeros(0, dtype=np.int64)] * 4)
    at: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    stretches: dict[int, Ints] = field(default_factory=dict)

    def __post_init__(self) -> None:
        solved = self.watch.solved
        self.fields = PlaceFields(solved, moment_rows(solved, self.watch.layer), 3, self.lattices)
        # of every shared sections all forces at samples, and the shears alone
        self.forces: dict[int, PlaceFields] = {}
        self.shears: dict[int, PlaceFields] = {}
        for tracker, _ in self.trackers.values():
            for known, some in ((self.forces, ALL), (self.shears, SHEARS)):
                made = PlaceFields(
                    solved, force_rows_at(solved, tracker, some), len(some), self.lattices
                )
                known.setdefault(id(tracker.sections), made)
        low, high = solved.deck.course.limits(solved.model.mesh.corners.reshape(-1, 2))[:, 0]
        self.grids = AxleGrids(
            read=self._read,
            screened=self._screened,
            drive=lambda run: DrivenOver.of(self.lattices, run),
            course=solved.deck.course,
            stations=stations_over(float(low), float(high), [*self.lattices]),
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
        return cls(watch, limits, trackers, lattices)

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
            new = local_tops(in_use, at, float(in_use.max()), SHEAR_APART)
            shared = id(tracker.sections)
            known = self.stretches.get(shared, np.zeros(0, dtype=np.int64))
            self.stretches[shared] = np.union1d(known, shear.judged[new])
        self.at = np.unique(np.concatenate(self.points))
        self.grids.known.clear()

    @property
    def count(self) -> int:
        """Of result points and shear sections together."""
        return sum(map(len, [*self.points, *self.stretches.values()]))

    def means(self, shared: int, numbers: Ints) -> tuple[sparse.csr_array, Ints]:
        """Means (k, n) of the stretches of those numbers among `stretches` over the samples (n,)
        that they need."""
        tracker, width = self.trackers[self._first_of(shared)]
        stretches = self.stretches[shared][numbers]
        rows = sparse.csr_array(tracker.means[tracker.widths.index(width)][stretches])
        samples = np.unique(rows.indices).astype(np.int64)
        return sparse.csr_array(rows[:, samples]), samples

    def parts(self, shared: int) -> tuple[sparse.csr_array, Ints]:
        """The same of all of them in PARTS parts of each stretch, those of a stretch together."""
        means, samples = self.means(shared, np.arange(len(self.stretches[shared])))
        means.sort_indices()
        count = np.diff(means.indptr)
        within = np.arange(means.nnz) - np.repeat(means.indptr[:-1], count)
        part = within * PARTS // np.repeat(count, count)
        rows = np.repeat(np.arange(means.shape[0]), count) * PARTS + part
        shape = PARTS * means.shape[0], means.shape[1]
        return sparse.csr_array((means.data, (rows, means.indices)), shape=shape), samples

    def results_at(self, points: Ints) -> Ints:
        """(3, n) numbers of a, b, t at some of the points among the results of the grids."""
        return np.arange(3)[:, None] * len(self.at) + np.searchsorted(self.at, points)

    def results_of(self, shared: int, numbers: Ints) -> Ints:
        """(2, n, PARTS) numbers of q_x, q_y in the parts of some stretches among the results."""
        begin = 3 * len(self.at)
        for one, stretches in self.stretches.items():
            if one == shared:
                break
            begin += 2 * PARTS * len(stretches)
        every = begin + np.arange(2 * PARTS * len(self.stretches[shared]))
        return every.reshape(2, -1, PARTS)[:, numbers]

    def _read(self, driven: DrivenOver) -> Floats:
        angle = self.watch.reinforcement.angle
        values = skew_components(self.fields.under(driven, self.at), angle)
        parts = [values.reshape(3 * len(self.at), -1)]
        for shared in self.stretches:
            means, samples = self.parts(shared)
            parts += [means @ q for q in self.shears[shared].under(driven, samples)]
        return np.concatenate(parts)

    def _screened(self, grid: Floats) -> Iterator[Floats]:
        """Of the points of every row a + t, then a - t of the first bars in the signs of the layer;
        of the stretches of all shared sections the shear in each of `DIRECTIONS`."""
        for row, points in enumerate(self.points):
            first, t = grid[self.results_at(points)[[row % 2, 2]]]
            sign = np.float32(1.0 if row < 2 else -1.0)
            yield from (sign * (first + t), sign * (first - t))
        for shared, stretches in self.stretches.items():
            q = grid[self.results_of(shared, np.arange(len(stretches)))].sum(axis=2)
            for direction in DIRECTIONS.astype(np.float32):
                yield direction[0] * q[0] + direction[1] * q[1]

    def _first_of(self, shared: int) -> tuple[int, int]:
        """A tracker of sections, which all have the same width."""
        return next(k for k, (one, _) in self.trackers.items() if id(one.sections) == shared)


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

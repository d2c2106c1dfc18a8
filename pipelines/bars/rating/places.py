"""Places where vehicles govern, and what axles make of the results there.

A few vehicles of a fleet are driven over the whole deck first. Where their moments and shears come
near to a limit, and lie above those around, are places.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import sparse

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.shear import ShearTracker
from pipelines.bars.demand.wood_armer import skew_components
from pipelines.bars.rating.axle_grids import AxleGrids, grids_of
from pipelines.bars.rating.block_reading import Key
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import LimitsAt, Moments
from pipelines.bars.rating.place_fields import (
    ExactFields,
    UnitFields,
    WheelLattice,
    force_rows_at,
    moment_rows,
)
from pipelines.bars.rating.shear import ShearOfVehicle
from pipelines.bars.rating.stretches import Stretches
from pipelines.traffic.positions import LoadPositions, Size
from plate.arrays import Floats, Ints

# A place is the largest within this distance [m], in shear within the other one, and its traffic
# takes at least this share of what permanent actions leave, against the largest anywhere: of what
# comes to less no vehicle of those tried made its worst place.
APART, SHEAR_APART, WORTH = 0.4, 0.25, 0.85
# m_x, m_y, m_xy, q_x, q_y, all of which are read.
ALL = (0, 1, 2, 3, 4)
Runs = Sequence[LoadPositions]
Trackers = dict[Key, tuple[ShearTracker, float]]
"""Of every standard's parts, with the width judged."""


@dataclass(frozen=True, eq=False)
class OverDeck:
    """A vehicle driven over the whole deck.

    runs : its load positions; moments : at every result point; shears : of every standard's
    trackers, by their number.
    """

    runs: Runs
    moments: Moments
    shears: dict[tuple[int, int], ShearOfVehicle]


@dataclass(frozen=True, eq=False)
class Candidates:
    """Every limit of moments at every place of its row.

    every : the limits; number : (n,) which of them; rows : (n,) of LAYER_ROWS; at : (n,) result
    points; code : (n,) both as one number, of the row first; screened : (2, n) numbers of what
    screens the two linear terms; groups : of every standard's check the candidates; limits : of
    all of them.
    """

    every: tuple[MomentLimit, ...]
    number: Ints
    rows: Ints
    at: Ints
    code: Ints
    screened: Ints
    groups: dict[tuple[int, Check], slice]
    limits: LimitsAt

    @classmethod
    def of(
        cls, limits: Sequence[Sequence[MomentLimit]], points: Sequence[Ints], n_point: int
    ) -> "Candidates":
        """limits : of every standard; points : of every row of LAYER_ROWS, of n_point."""
        begin = np.concatenate([[0], np.cumsum([2 * len(one) for one in points])])
        every: list[MomentLimit] = []
        numbers, at, screened, joined, groups = [], [], [], [], {}
        count = 0
        for k, of_standard in enumerate(limits):
            for check in dict.fromkeys(limit.check for limit in of_standard):
                start = count
                for limit in (one for one in of_standard if one.check is check):
                    mine = points[limit.row]
                    columns = np.flatnonzero(np.isin(mine, limit.at))
                    numbers.append(np.full(len(columns), len(every)))
                    at.append(mine[columns])
                    screened.append(begin[limit.row] + np.array([columns, len(mine) + columns]))
                    joined.append(LimitsAt.of(limit, mine[columns]))
                    every.append(limit)
                    count += len(columns)
                groups[k, check] = slice(start, count)
        number = np.concatenate(numbers)
        rows, points_at = np.array([one.row for one in every])[number], np.concatenate(at)
        return cls(
            tuple(every),
            number,
            rows,
            points_at,
            n_point * rows + points_at,
            np.concatenate(screened, axis=1),
            groups,
            LimitsAt.joined(joined),
        )


@dataclass(eq=False)
class Places:
    """Where vehicles govern, and what unit axles make there.

    limits, trackers : of every standard, those with the widths at which they are judged; lattices :
    of every wheel of the fleet. points : of each row of LAYER_ROWS the result points; of_point :
    (n_point,) number of a point's first result, of a, b, t, -1 = none. stretches : of the sections
    that trackers share, by identity.

    What the grids are screened by: of the points of every row a + t, then a - t of the first bars
    in the signs of the layer; of the stretches of all shared sections the mean shear across them
    and its opposite.
    """

    watch: DesignWatch
    limits: Sequence[Sequence[MomentLimit]]
    trackers: Trackers
    lattices: dict[Size, WheelLattice]
    points: list[Ints] = field(default_factory=lambda: [np.zeros(0, dtype=np.int64)] * 4)
    stretches: dict[int, Stretches] = field(default_factory=dict)

    def __post_init__(self) -> None:
        solved = self.watch.solved
        plan = solved.recovery.points.plan
        self.of_point = np.full(len(plan), -1, dtype=np.int64)
        self.moment_rows = moment_rows(solved, self.watch.layer)
        self.fields = ExactFields(solved, self.moment_rows, 3)
        self.units = UnitFields(solved, self.lattices)
        self.grids = AxleGrids(self.units, self._screened)
        # of every shared sections all forces at samples
        self.forces: dict[int, ExactFields] = {}
        for tracker, width in self.trackers.values():
            shared = id(tracker.sections)
            if shared not in self.forces:
                self.forces[shared] = ExactFields(
                    solved, force_rows_at(solved, tracker, ALL), len(ALL)
                )
                self.stretches[shared] = Stretches.of(tracker, width)

    @classmethod
    def of(
        cls,
        watch: DesignWatch,
        limits: Sequence[Sequence[MomentLimit]],
        trackers: Trackers,
        fleet: Sequence[Runs],
    ) -> "Places":
        """None yet; fleet : the load positions of all vehicles."""
        centres: dict[Size, set[float]] = {}
        for (wheels, patch), offsets in {
            one for runs in fleet for run in runs for one in grids_of(run)
        }:
            centres.setdefault(patch, set()).update(np.add.outer(offsets, wheels).ravel().tolist())
        lattices = {
            patch: WheelLattice.of(watch.solved, patch, np.array(sorted(centres[patch])))
            for patch in sorted(centres)
        }
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
        self._solve_points(np.unique(np.concatenate(self.points)))
        for (k, _), shear in one.shears.items():
            tracker = shear.tracker
            in_use = shear.by_sample(max(in_shear[k], 1e-3))
            at = tracker.sections.points[shear.judged]
            new = local_tops(in_use, at, float(in_use.max()), SHEAR_APART)
            self._solve_stretches(tracker, shear.judged[new])
        self.candidates = Candidates.of(self.limits, self.points, len(self.of_point))
        self.grids.known.clear()

    @property
    def count(self) -> int:
        """Of result points and shear sections together."""
        of_shear = sum(len(one.judged) for one in self.stretches.values())
        return sum(map(len, self.points)) + of_shear

    def results_at(self, points: Ints) -> Ints:
        """(3, n) numbers of a, b, t at some of the points among the results of the grids."""
        return np.arange(3)[:, None] + self.of_point[points]

    def _solve_points(self, points: Ints) -> None:
        new = points[self.of_point[points] < 0]
        if not len(new):
            return
        self.of_point[new] = self.units.count + 3 * np.arange(len(new))
        forms = skew_components(np.eye(3), self.watch.reinforcement.angle)

        def rows(some: Ints) -> sparse.csr_array:
            turned = sparse.kron(sparse.eye_array(len(some)), forms)
            return sparse.csr_array(turned @ self.moment_rows(some))

        self.units.add(rows, new, len(forms))

    def _solve_stretches(self, tracker: ShearTracker, judged: Ints) -> None:
        """Take in stretches about judged samples."""
        mine = self.stretches[id(tracker.sections)]
        for some, asked in mine.take(judged, self.units.count):
            self.units.add(force_rows_at(self.watch.solved, tracker, some), asked, len(some))

    def _screened(self, grid: Floats) -> Floats:
        found = []
        for row, points in enumerate(self.points):
            first, t = (grid[:, mine] for mine in self.results_at(points)[[row % 2, 2]])
            sign = np.float32(1.0 if row < 2 else -1.0)
            found += [(sign * form).max(axis=0) for form in (first + t, first - t)]
        for one in self.stretches.values():
            across = one.across(grid)
            found += [across.max(axis=0), -across.min(axis=0)]
        return np.concatenate(found)


def _used(limit: MomentLimit, extreme: Floats) -> Floats:
    """(n,) shares that a vehicle takes of what permanent actions leave at the points of a limit."""
    left = LimitsAt.of(limit, limit.at).room
    with np.errstate(divide="ignore", invalid="ignore"):
        share = limit.tracker.combination.traffic * extreme[:, limit.at] / left
    return np.asarray(np.where(left > 0.0, share, np.inf).max(axis=0).clip(0.0, 1.0 / 1e-6))


def local_tops(
    values: Floats, plan: Floats, most: float, apart: float = APART, worth: float = WORTH
) -> Ints:
    """Numbers (k,) of the values (n,) at plan points (n, 2) that are worth a place; most : the
    largest that a place may have."""
    found: list[int] = []
    left = np.argsort(-values, kind="stable")
    left = left[values[left] > max(worth * most, 0.0)]
    while len(left):
        found.append(int(left[0]))
        left = left[np.hypot(*(plan[left] - plan[left[0]]).T) > apart]
    return np.array(found, dtype=np.int64)

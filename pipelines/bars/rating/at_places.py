"""A vehicle judged at places alone, at all its load positions.

Greatest values over the offsets tell at which places a check may govern; there grids of unit axles
give the moments of every load position, and the shears where sections' forces are read under
influence surfaces. The multiplier that governs is found again with the wheels integrated exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import sparse

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.wood_armer import functionals, skew_components
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import (
    MomentMultiplier,
    Moments,
    linear_multipliers,
    moment_multiplier,
    room,
)
from pipelines.bars.rating.place_fields import DrivenOver, PlaceFields
from pipelines.bars.rating.places import DIRECTIONS, PARTS, Places, Runs
from pipelines.bars.rating.root import MOST
from pipelines.bars.rating.shear import ShearMultiplier, ShearOfVehicle
from pipelines.numbers import SLACK
from pipelines.traffic.positions import WheelPatches, find_position
from plate.arrays import Floats, Ints

# Points of a check that are looked at together, and those judged by the check itself; stretches
# that come near to governing by what they are screened by, and those that are judged; load
# positions that shear is judged at, and what governs is integrated exactly at.
NEAR_POINTS, JUDGED, NEAR_STRETCHES, SHEARED, POSITIONS, EXACT = 12, 6, 24, 12, 60, 6


@dataclass(frozen=True)
class AtPlaces:
    """The least multiplier of every check by one standard: of moments with their limits, of shear
    with the number of the tracker."""

    moments: tuple[tuple[MomentLimit, MomentMultiplier], ...]
    shears: tuple[tuple[int, ShearMultiplier], ...]


def at_places(places: Places, runs: Runs, standards: Sequence[int]) -> dict[int, AtPlaces]:
    """The multipliers of a vehicle by some standards."""
    top = places.grids.greatest(runs)
    extreme, begin = [], 0
    for points in places.points:
        extreme.append(top[begin : begin + 2 * len(points)].reshape(2, -1))
        begin += 2 * len(points)
    wanted = _wanted(places, runs, standards, extreme)
    every = [p for by_limit in wanted.values() for some in by_limit.values() for p in some]
    points = np.unique(every).astype(np.int64)
    moments = Moments.of_values(points, _values(places, runs, points))
    shared_top = _by_shared(places, top[begin:])
    found = {}
    for k in standards:
        least: dict[Check, tuple[MomentLimit, MomentMultiplier]] = {}
        for limit, some in ((places.limits[k][j], some) for j, some in wanted[k].items()):
            below = least[limit.check][1].value if limit.check in least else MOST
            one = moment_multiplier(limit, moments, np.searchsorted(points, some), below)
            if limit.check not in least or one.value < below:
                least[limit.check] = limit, one
        ultimate = [
            one.value
            for limit, one in least.values()
            if limit.tracker.combination.limit_state == "ULS"
        ]
        guess = min(ultimate, default=1.0)
        shears = []
        for key, (tracker, _) in places.trackers.items():
            shared = id(tracker.sections)
            if key[0] == k and len(places.stretches.get(shared, ())):
                sheared = _shear(places, key, runs, shared_top[shared], guess)
                shears += [] if sheared is None else [(key[1], sheared)]
        found[k] = AtPlaces(tuple(least.values()), tuple(shears))
    return found


def _values(places: Places, runs: Runs, points: Ints) -> list[Floats]:
    """a, b, t (3, n, n_position) at some of the points under each run."""
    results = places.results_at(points).ravel()
    return [places.grids.under(run, results).reshape(3, len(points), -1) for run in runs]


@dataclass(eq=False)
class _Screened:
    """Points at which limits of a check by a standard may govern it.

    limits, points : (n,) numbers of the limits and result points; bounds : (n,) no more than their
    multipliers, rising; found : multipliers of the first of them by the grids.
    """

    limits: Ints
    points: Ints
    bounds: Floats
    found: Floats = field(default_factory=lambda: np.zeros(0))

    @classmethod
    def of(
        cls, places: Places, every: Sequence[tuple[int, MomentLimit]], extreme: Sequence[Floats]
    ) -> "_Screened":
        """Of all limits of a check with their numbers; extreme : (2, n) of each row's points."""
        limits, points, bounds = [], [], []
        for j, limit in every:
            mine = places.points[limit.row]
            columns = np.flatnonzero(np.isin(mine, limit.at))
            found = _linear(limit, extreme[limit.row][:, columns], mine[columns])
            bounds.append(found)
            points.append(mine[columns])
            limits.append(np.full(len(columns), j))
        bound = np.concatenate(bounds)
        order = np.argsort(bound, kind="stable")
        return cls(np.concatenate(limits)[order], np.concatenate(points)[order], bound[order])

    @property
    def open(self) -> slice:
        """Those to be looked at next: none where no other can be less than what is found."""
        done = len(self.found)
        least = self.found.min(initial=MOST)
        count = int((self.bounds[done : done + NEAR_POINTS] < least).sum())
        return slice(done, done + count)

    @property
    def nearest(self) -> Ints:
        """Numbers of those that come nearest to governing."""
        return np.argsort(self.found, kind="stable")[:JUDGED]


def _linear(limit: MomentLimit, extreme: Floats, at: Ints) -> Floats:
    allowed = limit.moment * (1.0 + SLACK)
    return linear_multipliers(limit.tracker, limit.row, allowed, extreme, at)


def _wanted(
    places: Places, runs: Runs, standards: Sequence[int], extreme: Sequence[Floats]
) -> dict[int, dict[int, list[int]]]:
    """Of every standard by the numbers of its limits the points that are judged by the check."""
    screened: list[tuple[int, _Screened]] = []
    for k in standards:
        by_check: dict[Check, list[tuple[int, MomentLimit]]] = {}
        for j, limit in enumerate(places.limits[k]):
            by_check.setdefault(limit.check, []).append((j, limit))
        screened += [(k, _Screened.of(places, some, extreme)) for some in by_check.values()]
    while some := [(k, one, one.open) for k, one in screened if one.open.stop > one.open.start]:
        points = np.unique(np.concatenate([one.points[part] for _, one, part in some]))
        made = [functionals(values) for values in _values(places, runs, points)]
        high = np.maximum.reduce([one.max(axis=2) for one in made])
        low = np.maximum.reduce([-one.min(axis=2) for one in made])
        for k, one, part in some:
            found = np.zeros(part.stop - part.start)
            for j in np.unique(one.limits[part]).tolist():
                limit, mine = places.limits[k][j], one.limits[part] == j
                column = np.searchsorted(points, one.points[part][mine])
                signed = (high if limit.row < 2 else low)[2 * (limit.row % 2) :][:2]
                found[mine] = _linear(limit, signed[:, column], points[column])
            one.found = np.concatenate([one.found, found])
    wanted: dict[int, dict[int, list[int]]] = {k: {} for k in standards}
    for k, one in screened:
        for n in one.nearest.tolist():
            wanted[k].setdefault(int(one.limits[n]), []).append(int(one.points[n]))
    return wanted


def _by_shared(places: Places, top: Floats) -> dict[int, Floats]:
    """What stretches are screened by (n_direction, n), by their sections."""
    found, begin = {}, 0
    for shared, stretches in places.stretches.items():
        end = begin + len(DIRECTIONS) * len(stretches)
        found[shared] = top[begin:end].reshape(len(DIRECTIONS), -1)
        begin = end
    return found


def _shear(
    places: Places, key: tuple[int, int], runs: Runs, top: Floats, guess: float
) -> ShearMultiplier | None:
    """The least multiplier of a tracker; top : of `_by_shared`."""
    tracker, _ = places.trackers[key]
    shared = id(tracker.sections)
    parts, samples = places.parts(shared)
    steady = np.stack([parts @ tracker.permanent[0][c][samples] for c in (3, 4)])
    steady = steady.reshape(2, -1, PARTS)
    factor = guess * tracker.combination.traffic
    rough = (factor * top + DIRECTIONS @ steady.sum(axis=2)).max(axis=0)
    near = np.sort(np.argsort(-rough, kind="stable")[:NEAR_STRETCHES])
    results = places.results_of(shared, near)
    sizes = []
    for run in runs:
        q = places.grids.under(run, results.ravel()).reshape(*results.shape, -1)
        q = factor * q + steady[:, near, :, None]
        sizes.append(np.hypot(*q).sum(axis=1))
    size = np.concatenate(sizes, axis=1)
    judged = np.sort(np.argsort(-size.max(axis=1), kind="stable")[:SHEARED])
    at = np.sort(np.argsort(-size[judged].max(axis=0), kind="stable")[:POSITIONS])
    means, samples = places.means(shared, near[judged])
    driven = DrivenOver.of_runs(places.lattices, _some(runs, at))
    forces = places.forces[shared].under(driven, samples)
    stretches = places.stretches[shared][near[judged]]
    traffic = tracker.combination.traffic * forces
    found = ShearOfVehicle(tracker, traffic, samples, stretches, means).multiplier(guess)
    if found is None or found.number < 0:
        return found
    return replace(found, number=int(at[found.number]))


def _some(runs: Runs, numbers: Ints) -> Runs:
    """The load positions of ascending numbers, those of a run together."""
    parts, first = [], 0
    for run in runs:
        mine = numbers[(numbers >= first) & (numbers < first + len(run))] - first
        if len(mine):
            parts.append(replace(run, stations=run.stations[mine], offsets=run.offsets[mine]))
        first += len(run)
    return parts


def exact_moment(
    places: Places, limit: MomentLimit, found: MomentMultiplier, runs: Runs
) -> MomentMultiplier:
    """The same with the moments of the load positions that come near to governing integrated
    exactly."""
    at, allowed = np.array([found.at]), limit.moment * (1.0 + SLACK)
    first, sign = limit.row % 2, 1.0 if limit.row < 2 else -1.0

    def signed(values: Floats) -> Floats:
        return np.asarray(sign * functionals(values)[2 * first : 2 * first + 2])

    results = places.results_at(at).ravel()
    roughly = signed(np.concatenate([places.grids.under(run, results) for run in runs], axis=1))
    left = room(limit.tracker, limit.row, allowed, at)
    near = np.argsort((-roughly / left).min(axis=0), kind="stable")[:EXACT]
    values = _exactly(places.fields, at, runs, near)
    exactly = signed(skew_components(values, places.watch.reinforcement.angle)[:, 0])

    def linear(values: Floats) -> float:
        extreme = values.max(axis=1, keepdims=True)
        return float(linear_multipliers(limit.tracker, limit.row, allowed, extreme, at)[0])

    rough = linear(roughly)
    return found if not rough else replace(found, value=found.value * linear(exactly) / rough)


def exact_shear(
    places: Places, key: tuple[int, int], found: ShearMultiplier, runs: Runs
) -> ShearMultiplier:
    """The same with the forces under the governing load position integrated exactly."""
    tracker, width = places.trackers[key]
    judged = np.array([found.sample])
    rows = sparse.csr_array(tracker.means[tracker.widths.index(width)][judged])
    samples = np.unique(rows.indices).astype(np.int64)
    fields = places.forces[id(tracker.sections)]
    traffic = tracker.combination.traffic * _exactly(
        fields, samples, runs, np.array([found.number])
    )
    of_vehicle = ShearOfVehicle(
        tracker, traffic, samples, judged, sparse.csr_array(rows[:, samples])
    )
    one = of_vehicle.multiplier(found.value)
    return found if one is None else replace(found, value=one.value)


def _exactly(fields: PlaceFields, places: Ints, runs: Runs, numbers: Ints) -> Floats:
    wheels = []
    for column, number in enumerate(numbers.tolist()):
        run, k = find_position(runs, number)
        one = run.wheels(slice(k, k + 1))
        wheels.append(replace(one, position=np.full(len(one.load), column)))
    every = [np.concatenate([getattr(w, name) for w in wheels])
             for name in ("corners", "load", "position")]  # fmt: skip
    return fields.exactly(places, WheelPatches(*every), len(numbers))

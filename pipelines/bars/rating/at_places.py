"""A vehicle judged at places alone, at all its load positions.

Greatest values over the offsets tell at which places a check may govern; there grids of unit axles
give the moments and shears of every load position. Places are judged in the order of their bounds
until none that is left can have a smaller multiplier; in shear those stretches and load positions
are judged that make the most. The multiplier that governs is found again with the wheels
integrated exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.bars.demand.wood_armer import functionals, skew_components
from pipelines.bars.rating.axle_grids import DrivenAxles
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import Extremes, LimitsAt, MomentMultiplier, Moments
from pipelines.bars.rating.place_fields import ExactFields
from pipelines.bars.rating.places import Places, Runs
from pipelines.bars.rating.root import MOST, from_nothing
from pipelines.bars.rating.shear import ShearMultiplier
from pipelines.bars.rating.shear_pairs import STEP, ShearPairs
from pipelines.numbers import within
from pipelines.traffic.positions import WheelPatches, find_position
from plate.arrays import Floats, Ints

# Places of a check that are looked at together; stretches that are judged in shear, each at so many
# load positions of the stations that come to a share of the most; load positions that what governs
# is integrated exactly at.
AHEAD, STRETCHES, POSITIONS, WORTH, EXACT = 24, 16, 16, 0.7, 6
# How a candidate's multiplier is known.
_BOUND, _LINEAR, _RULE = range(3)


@dataclass(frozen=True)
class AtPlaces:
    """The least multiplier of every check by one standard: of moments with their limits, of shear
    with the number of the tracker."""

    moments: tuple[tuple[MomentLimit, MomentMultiplier], ...]
    shears: tuple[tuple[int, ShearMultiplier], ...]


def at_places(places: Places, runs: Runs, standards: Sequence[int]) -> dict[int, AtPlaces]:
    """The multipliers of a vehicle by some standards."""
    driven = places.grids.driven(runs)
    top = np.maximum.reduce([one.greatest.max(axis=1) for one in driven])
    moments = _moments(places, driven, standards, top)
    found = {}
    for k in standards:
        ultimate = [
            one.value for limit, one in moments[k] if limit.tracker.combination.limit_state == "ULS"
        ]
        guess = min(ultimate, default=1.0)
        shears = []
        begin = 2 * sum(map(len, places.points))
        for shared, stretches in places.stretches.items():
            count = len(stretches.judged)
            for key in places.trackers:
                if count and key[0] == k and id(places.trackers[key][0].sections) == shared:
                    most = top[begin : begin + 2 * count]
                    shears.append((key[1], _shear(places, key, driven, begin, most, guess)))
            begin += 2 * count
        found[k] = AtPlaces(tuple(moments[k]), tuple(shears))
    return found


def _under(places: Places, driven: Sequence[DrivenAxles], points: Ints) -> list[Floats]:
    """a, b, t (3, n, n_position) at some of the points under each run."""
    results, found = places.results_at(points).ravel(), []
    for one in driven:
        values = one.under(results).reshape(3, len(points), -1)
        found += np.split(values, np.cumsum(one.lengths)[:-1], axis=2)
    return found


def _moments(
    places: Places, driven: Sequence[DrivenAxles], standards: Sequence[int], top: Floats
) -> dict[int, list[tuple[MomentLimit, MomentMultiplier]]]:
    """The least multiplier of every check by some standards; top : (n_screened,) greatest values
    of what is screened."""
    every = places.candidates
    values = every.limits.linear(top[every.screened])
    known = np.full(len(values), _BOUND)
    numbers = np.full(len(values), -1)
    groups = {
        key: part
        for key, part in every.groups.items()
        if key[0] in standards and part.stop > part.start
    }
    while True:
        linear, rule = [], []
        upper = np.full(len(values), MOST)
        for part in groups.values():
            bounds = np.where(known[part] == _BOUND, values[part], np.inf)
            others = np.where(known[part] == _BOUND, np.inf, values[part])
            least = int(others.argmin())
            upper[part] = min(MOST, others[least])
            # one first, whose multiplier leaves few others
            ahead = min(AHEAD if others[least] < np.inf else 1, len(bounds))
            some = np.argpartition(bounds, ahead - 1)[:ahead]
            some = some[bounds[some] < upper[part.start]]
            linear += (part.start + some).tolist()
            if not len(some) and others[least] < MOST and known[part.start + least] == _LINEAR:
                rule.append(part.start + least)
        if linear:
            chosen = np.array(linear)
            values[chosen] = _linear(places, driven, chosen, upper[chosen])
            known[chosen[values[chosen] < upper[chosen]]] = _LINEAR
        if rule:
            chosen = np.array(rule)
            values[chosen], numbers[chosen] = _judged(places, driven, chosen)
            known[chosen] = _RULE
        if not linear and not rule:
            break
    found: dict[int, list[tuple[MomentLimit, MomentMultiplier]]] = {k: [] for k in standards}
    for (k, _), part in groups.items():
        judged = np.where(known[part] == _RULE, values[part], MOST)
        least = part.start + int(judged.argmin())
        one = MomentMultiplier(float(judged.min()), int(every.at[least]), int(numbers[least]))
        found[k].append((every.every[every.number[least]], one))
    return found


def _linear(
    places: Places, driven: Sequence[DrivenAxles], candidates: Ints, upper: Floats
) -> Floats:
    """Multipliers (n,) of some candidates by the terms of the rule that add up, or upper ones (n,)
    where they are no less: other stations need not be looked at."""
    every = places.candidates
    limits, rows = every.limits[candidates], every.rows[candidates]
    alike, which = np.unique(
        np.stack([rows, places.of_point[every.at[candidates]]]), axis=1, return_inverse=True
    )
    row, result = alike
    sign = np.where(row < 2, 1.0, -1.0).astype(np.float32)[:, None]
    # as much as each of them may come to
    least = limits.room / (limits.factor * upper)
    found = upper.copy()
    for run in driven:
        bounds = run.greatest[every.screened[:, candidates]]
        stations = np.flatnonzero((bounds > least[..., None]).any(axis=(0, 1)))
        if len(stations):
            first, t = (run.over_stations(result + form, stations) for form in (row % 2, 2))
            most = np.stack([(sign * form).max(axis=(0, 2)) for form in (first + t, first - t)])
            found = np.minimum(found, limits.linear(most[:, which.ravel()]))
    return found


def _judged(places: Places, driven: Sequence[DrivenAxles], candidates: Ints) -> tuple[Floats, Ints]:
    """Multipliers (n,) of some candidates, and the load positions that govern."""
    every = places.candidates
    points, column = np.unique(every.at[candidates], return_inverse=True)
    moments = Moments.of_values(points, _under(places, driven, points))
    rows = every.rows[candidates]
    order = np.argsort(rows, kind="stable")
    extremes = Extremes.joined(
        [moments.of_row(row, column[rows == row]) for row in np.unique(rows).tolist()]
    )
    limits = every.limits[candidates[order]]
    linear = limits.linear(extremes.sums.max(axis=1))
    values, numbers = np.zeros(len(order)), np.zeros(len(order), dtype=np.int64)
    values[order] = limits.multipliers(extremes, linear)
    numbers[order] = limits.moments(extremes, values[order])[1]
    return values, numbers


def _shear(
    places: Places,
    key: tuple[int, int],
    driven: Sequence[DrivenAxles],
    begin: int,
    most: Floats,
    guess: float,
) -> ShearMultiplier:
    """The least multiplier of a tracker; begin : of what its stretches are screened by, most : its
    greatest values."""
    tracker, _ = places.trackers[key]
    stretches = places.stretches[id(tracker.sections)]
    steady = tracker.permanent[0][3:5]
    across, bound = stretches.mean_across(steady), most.reshape(2, -1)
    factor = guess * tracker.combination.traffic
    rough = np.maximum(factor * bound[0] + across, factor * bound[1] - across)
    near = np.sort(np.argsort(-rough, kind="stable")[:STRETCHES])
    means, samples = stretches.mean(near)
    results = stretches.of_shear[samples] + np.arange(2)[:, None]
    count = len(samples)
    q, positions = _near_most(driven, results.ravel(), begin + near, len(stretches.judged))
    q = q.reshape(2, count, -1)
    acting = np.float32(factor) * q + steady[:, samples, None].astype(np.float32)
    size = means.astype(np.float32) @ np.sqrt(acting[0] ** 2 + acting[1] ** 2)
    each = min(POSITIONS, size.shape[1])
    position = np.sort(np.argpartition(-size, each - 1, axis=1)[:, :each], axis=1).ravel()
    stretch = np.repeat(np.arange(len(near)), each)
    of_stretch, weights = stretches.samples[:, near[stretch]], stretches.weights[:, near[stretch]]
    judged = stretches.judged[near[stretch]]
    forces = np.zeros((5, len(position)))
    forces[3:] = q[:, np.searchsorted(samples, judged), position]
    number, first = positions[position], 0
    for run in driven:
        mine = (number >= first) & (number < first + len(run))
        results = stretches.of_moment[judged[mine]] + np.arange(3)[:, None]
        forces[:3, mine] = run.at(results, number[mine] - first)
        first += len(run)
    pairs = ShearPairs.of(
        tracker,
        tracker.combination.traffic
        * q[:, np.searchsorted(samples, of_stretch), position].astype(float),
        of_stretch,
        weights,
        tracker.combination.traffic * forces,
        judged,
    )
    without = stretches.without(tracker)[near[stretch]]
    value, pair = pairs.least(min(max(guess, 0.05), MOST), without)
    none = value >= MOST
    return ShearMultiplier(value, int(judged[pair]), -1 if none else int(number[pair]))


def _near_most(
    driven: Sequence[DrivenAxles], results: Ints, screened: Ints, opposite: int
) -> tuple[Floats, Ints]:
    """Some of the results (n, k) at the stations at which any of some stretches comes to a share of
    its most, and the numbers (k,) of the load positions.

    screened : of the mean shears across the stretches; so much further are their opposites.
    """
    bounds = [
        np.maximum(run.greatest[screened], run.greatest[screened + opposite]) for run in driven
    ]
    least = WORTH * np.max([one.max(axis=1) for one in bounds], axis=0)[:, None]
    values, numbers, first = [], [], 0
    for run, bound in zip(driven, bounds, strict=True):
        stations = np.flatnonzero((bound >= least).any(axis=0))
        found = run.over_stations(results, stations)
        numbers.append(first + (stations[:, None] * len(found) + np.arange(len(found))).ravel())
        values.append(found.transpose(1, 2, 0).reshape(len(results), -1))
        first += len(run)
    return np.concatenate(values, axis=1), np.concatenate(numbers)


def exact_moment(
    places: Places, limit: MomentLimit, found: MomentMultiplier, runs: Runs
) -> MomentMultiplier:
    """The same with the moments of the load positions that come near to governing integrated
    exactly."""
    at, limits = np.array([found.at]), LimitsAt.of(limit, np.array([found.at]))
    first, sign = limit.row % 2, 1.0 if limit.row < 2 else -1.0

    def signed(values: Floats) -> Floats:
        return np.asarray(sign * functionals(values)[2 * first : 2 * first + 2])

    driven = places.grids.driven(runs)
    roughly = signed(np.concatenate(_under(places, driven, at), axis=2)[:, 0])
    near = np.argsort((-roughly / limits.room).min(axis=0), kind="stable")[:EXACT]
    values = _exactly(places.fields, at, runs, near)
    exactly = signed(skew_components(values, places.watch.reinforcement.angle)[:, 0])

    def linear(values: Floats) -> float:
        return float(limits.linear(values.max(axis=1, keepdims=True))[0])

    rough = linear(roughly)
    return found if not rough else replace(found, value=found.value * linear(exactly) / rough)


def exact_shear(
    places: Places, key: tuple[int, int], found: ShearMultiplier, runs: Runs
) -> ShearMultiplier:
    """The same with the forces under the governing load position integrated exactly."""
    tracker, _ = places.trackers[key]
    stretches = places.stretches[id(tracker.sections)]
    judged = np.array([found.sample])
    number = np.searchsorted(stretches.judged, judged)
    own = stretches.weights[:, number[0]] > 0.0
    samples = stretches.samples[own, number[0]]
    fields = places.forces[id(tracker.sections)]
    forces = tracker.combination.traffic * _exactly(fields, samples, runs, np.array([found.number]))
    pairs = ShearPairs.of(
        tracker,
        forces[3:],
        samples[:, None],
        stretches.weights[own][:, number],
        forces[:, samples == found.sample, 0],
        judged,
    )
    without = float(stretches.without(tracker)[number[0]])
    if not within(without):
        return replace(found, value=0.0)
    value = from_nothing(lambda m: float(pairs.used(m)[0]), without, found.value, STEP)
    return replace(found, value=value)


def _exactly(fields: ExactFields, places: Ints, runs: Runs, numbers: Ints) -> Floats:
    wheels = []
    for column, number in enumerate(numbers.tolist()):
        run, k = find_position(runs, number)
        one = run.wheels(slice(k, k + 1))
        wheels.append(replace(one, position=np.full(len(one.load), column)))
    every = [np.concatenate([getattr(w, name) for w in wheels])
             for name in ("corners", "load", "position")]  # fmt: skip
    return fields.under(places, WheelPatches(*every), len(numbers))

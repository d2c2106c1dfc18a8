"""Vehicles judged at places alone, some side by side, each at all its load positions.

Greatest values over the offsets tell at which places a check may govern; there grids of unit axles
give the moments and shears of every load position. Places are judged in the order of their bounds
until none that is left can have a smaller multiplier; in shear those stretches and load positions
are judged that make the most. What is the same for vehicles is done for all of them at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.bars.rating.axle_grids import DrivenAxles
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import Extremes, MomentMultiplier, linear_multipliers
from pipelines.bars.rating.places import Places, Runs
from pipelines.bars.rating.root import MOST
from pipelines.bars.rating.shear import ShearMultiplier
from pipelines.bars.rating.shear_pairs import ShearPairs
from pipelines.bars.rating.stretches import Stretches
from plate.arrays import Floats, Ints

# Places of a check that are looked at together; stretches that are judged in shear, each at so many
# load positions of the stations that come to a share of the most.
AHEAD, STRETCHES, POSITIONS, WORTH = 24, 16, 16, 0.7
Vehicle = Sequence[DrivenAxles]
"""A vehicle at all load positions of its runs, one after the other."""


@dataclass(frozen=True)
class AtPlaces:
    """The least multiplier of every check by one standard: of moments with their limits, of shear
    with the number of the tracker."""

    moments: tuple[tuple[MomentLimit, MomentMultiplier], ...]
    shears: tuple[tuple[int, ShearMultiplier], ...]


def at_places(
    places: Places, fleet: Sequence[Runs], standards: Sequence[int]
) -> list[dict[int, AtPlaces]]:
    """The multipliers of each of some vehicles by some standards."""
    vehicles = [places.grids.driven(runs) for runs in fleet]
    top = np.stack(
        [np.maximum.reduce([one.greatest.max(axis=0) for one in mine]) for mine in vehicles]
    )
    moments = _moments(places, vehicles, standards, top)
    shears: list[dict[int, list[tuple[int, ShearMultiplier]]]]
    shears = [{k: [] for k in standards} for _ in vehicles]
    guess = {k: np.array([_guess(mine[k]) for mine in moments]) for k in standards}
    begin = 2 * sum(map(len, places.points))
    for shared, stretches in places.stretches.items():
        count = len(stretches.judged)
        for key, (tracker, _) in places.trackers.items():
            if count and key[0] in guess and id(tracker.sections) == shared:
                least = _shear(places, key, vehicles, begin, top, guess[key[0]])
                for mine, one in zip(shears, least, strict=True):
                    mine[key[0]].append((key[1], one))
        begin += 2 * count
    return [
        {k: AtPlaces(tuple(of[k]), tuple(sheared[k])) for k in standards}
        for of, sheared in zip(moments, shears, strict=True)
    ]


def _guess(moments: Sequence[tuple[MomentLimit, MomentMultiplier]]) -> float:
    """The least multiplier of moments in ultimate limit states."""
    ultimate = (
        one.value for limit, one in moments if limit.tracker.combination.limit_state == "ULS"
    )
    return min(ultimate, default=1.0)


def under(places: Places, vehicle: Vehicle, rows: Ints, points: Ints) -> list[Floats]:
    """Moments (3, n, n_position) at points (n,) for layers (n,), by numbers of LAYER_ROWS, in the
    order and the signs of `Extremes.own`, under each run."""
    results = places.of_point[points] + np.stack([rows % 2, 1 - rows % 2, np.full(len(rows), 2)])
    sign, found = np.where(rows < 2, 1.0, -1.0).astype(np.float32)[:, None], []
    for one in vehicle:
        values = sign * one.under(results.ravel()).reshape(3, len(points), -1)
        found += np.split(values, np.cumsum(one.lengths)[:-1], axis=2)
    return found


def _moments(
    places: Places, vehicles: Sequence[Vehicle], standards: Sequence[int], top: Floats
) -> list[dict[int, list[tuple[MomentLimit, MomentMultiplier]]]]:
    """The least multiplier of every check by some standards of each vehicle; top : (n_vehicle,
    n_screened) greatest values of what is screened."""
    every = places.candidates
    # no candidate has less than its bound; infinite once its multiplier is known, until then that
    bounds = np.stack([every.limits.linear(one[every.screened]) for one in top])
    known, by_rule = np.full(bounds.shape, np.inf), np.zeros(bounds.shape, dtype=bool)
    numbers = np.full(bounds.shape, -1)
    groups = {
        key: part
        for key, part in every.groups.items()
        if key[0] in standards and part.stop > part.start
    }
    left = np.arange(len(vehicles))
    while len(left):
        linear, rule, uppers = [], [], np.full(bounds.shape, MOST)
        for part in groups.values():
            mine, least = bounds[left, part], known[left, part]
            first, upper = least.argmin(axis=1), least.min(axis=1).clip(max=MOST)
            # one first, whose multiplier leaves few others
            ahead = min(AHEAD if (least < np.inf).any() else 1, part.stop - part.start)
            some = np.argpartition(mine, ahead - 1, axis=1)[:, :ahead]
            less = np.take_along_axis(mine, some, axis=1) < upper[:, None]
            row, place = np.nonzero(less)
            linear.append((left[row], part.start + some[row, place]))
            uppers[left, part] = upper[:, None]
            first += part.start
            row = np.flatnonzero(~less.any(axis=1) & (upper < MOST) & ~by_rule[left, first])
            rule.append((left[row], first[row]))
        vehicle, candidate = _by_vehicle(linear)
        most = uppers[vehicle, candidate]
        values = _linear(places, vehicles, vehicle, candidate, most)
        bounds[vehicle, candidate] = np.where(values < most, np.inf, values)
        known[vehicle, candidate] = np.where(values < most, values, np.inf)
        left, (others, candidate) = np.unique(vehicle), _by_vehicle(rule)
        # once all that may come before it are known
        last = ~np.isin(others, left)
        others, candidate = others[last], candidate[last]
        if len(others):
            judged = _judged(places, vehicles, others, candidate)
            known[others, candidate], numbers[others, candidate] = judged
            by_rule[others, candidate] = True
        left = np.union1d(left, others)
    known = np.where(by_rule, known, MOST)
    found: list[dict[int, list[tuple[MomentLimit, MomentMultiplier]]]] = []
    for mine, number in zip(known, numbers, strict=True):
        found.append({k: [] for k in standards})
        for (k, _), part in groups.items():
            one = part.start + int(mine[part].argmin())
            multiplier = MomentMultiplier(float(mine[one]), int(every.at[one]), int(number[one]))
            found[-1][k].append((every.every[every.number[one]], multiplier))
    return found


def _by_vehicle(parts: Sequence[tuple[Ints, Ints]]) -> tuple[Ints, Ints]:
    """Vehicles and candidates of all parts, in the order of the vehicles."""
    vehicles, candidates = (np.concatenate(one) for one in zip(*parts, strict=True))
    order = np.argsort(vehicles, kind="stable")
    return vehicles[order], candidates[order]


def _linear(
    places: Places, vehicles: Sequence[Vehicle], of: Ints, candidates: Ints, upper: Floats
) -> Floats:
    """Multipliers (n,) of some candidates by the terms of the rule that add up, or upper ones (n,)
    where they are no less: other stations need not be looked at. of : (n,) vehicles, rising."""
    every = places.candidates
    room, factor = every.limits.room[:, candidates], every.limits.factor[candidates]
    # as much as each of them may come to
    least, most = room / (factor * upper), np.full(room.shape, -np.inf)
    for k in np.unique(of).tolist():
        some = slice(*np.searchsorted(of, (k, k + 1)))
        mine = candidates[some]
        alike, which = np.unique(every.code[mine], return_inverse=True)
        row, point = np.divmod(alike, len(places.of_point))
        results = places.of_point[point] + np.stack([row % 2, np.full(len(row), 2)])
        sign = np.where(row < 2, 1.0, -1.0).astype(np.float32)[:, None]
        for run in vehicles[k]:
            bounds = run.greatest[:, every.screened[:, mine]]
            stations = np.flatnonzero((bounds > least[:, some]).any(axis=(1, 2)))
            if len(stations):
                values = run.over_stations(results.ravel(), stations)
                first, t = sign * np.stack(np.split(values, 2, axis=1))
                here = np.stack([(first + t).max(axis=(0, 2)), (first - t).max(axis=(0, 2))])
                most[:, some] = np.maximum(most[:, some], here[:, which])
    return np.minimum(upper, linear_multipliers(room, factor * most))


def _judged(
    places: Places, vehicles: Sequence[Vehicle], of: Ints, candidates: Ints
) -> tuple[Floats, Ints]:
    """Multipliers (n,) of some candidates by the rule itself, and the load positions that govern.
    of : (n,) vehicles, rising."""
    every = places.candidates
    extremes = []
    for k in np.unique(of).tolist():
        mine = candidates[of == k]
        values = under(places, vehicles[k], every.rows[mine], every.at[mine])
        extremes.append(Extremes.of_values(values))
    joined, limits = Extremes.joined(extremes), every.limits[candidates]
    multipliers = limits.multipliers(joined, limits.linear(joined.sums.max(axis=1)))
    return multipliers, limits.moments(joined, multipliers)[1]


def _shear(
    places: Places,
    key: tuple[int, int],
    vehicles: Sequence[Vehicle],
    begin: int,
    top: Floats,
    guess: Floats,
) -> list[ShearMultiplier]:
    """The least multiplier of a tracker for each vehicle; begin : of what its stretches are
    screened by; top : (n_vehicle, n_screened) greatest values; guess : (n_vehicle,)."""
    tracker, _ = places.trackers[key]
    stretches = places.stretches[id(tracker.sections)]
    steady, traffic = tracker.permanent[0][3:5], tracker.combination.traffic
    across, count = stretches.mean_across(steady), len(stretches.judged)
    forwards, back = (guess * traffic)[:, None] * top[:, begin : begin + 2 * count].reshape(
        -1, 2, count
    ).swapaxes(0, 1)
    rough = np.maximum(forwards + across, back - across)
    every = [
        _near(stretches, vehicle, begin, one, factor, steady)
        for vehicle, one, factor in zip(vehicles, rough, guess * traffic, strict=True)
    ]
    of = np.repeat(np.arange(len(vehicles)), [len(one[0]) for one in every])
    stretch, number, shears, forces = (
        np.concatenate(one, axis=-1) for one in zip(*every, strict=True)
    )
    judged = stretches.judged[stretch]
    pairs = ShearPairs.of(
        tracker,
        traffic * shears.astype(float),
        stretches.samples[:, stretch],
        stretches.weights[:, stretch],
        traffic * forces,
        judged,
    )
    without = stretches.without(tracker)[stretch]
    values, pair = pairs.least(of, guess.clip(0.05, MOST), without)
    numbers = np.where(values >= MOST, -1, number[pair])
    return [
        ShearMultiplier(value, sample, one)
        for value, sample, one in zip(
            values.tolist(), judged[pair].tolist(), numbers.tolist(), strict=True
        )
    ]


def _near(
    stretches: Stretches,
    vehicle: Vehicle,
    begin: int,
    rough: Floats,
    factor: float,
    steady: Floats,
) -> tuple[Ints, Ints, Floats, Floats]:
    """Of a vehicle the stretches (n,) under load positions (n,) that come to most, q_x, q_y (2,
    n_weight, n) at the samples of each and forces (5, n) at the judged one, without factors.

    rough : (n_stretch,) no less than the mean shears across the stretches at some multiplier;
    factor : on the traffic there; steady : q_x, q_y (2, n_sample) of permanent actions.
    """
    near = np.sort(np.argsort(-rough, kind="stable")[:STRETCHES])
    means, samples = stretches.mean(near)
    results = stretches.of_shear[samples] + np.arange(2)[:, None]
    q, positions = _near_most(vehicle, results.ravel(), begin + near, len(stretches.judged))
    q = q.reshape(2, len(samples), -1)
    acting = np.float32(factor) * q + steady[:, samples, None].astype(np.float32)
    size = means.astype(np.float32) @ np.sqrt(acting[0] ** 2 + acting[1] ** 2)
    each = min(POSITIONS, size.shape[1])
    position = np.sort(np.argpartition(-size, each - 1, axis=1)[:, :each], axis=1).ravel()
    stretch = np.repeat(near, each)
    judged = stretches.judged[stretch]
    forces = np.zeros((5, len(position)))
    forces[3:] = q[:, np.searchsorted(samples, judged), position]
    number, first = positions[position], 0
    for run in vehicle:
        mine = (number >= first) & (number < first + len(run))
        results = stretches.of_moment[judged[mine]] + np.arange(3)[:, None]
        forces[:3, mine] = run.at(results, number[mine] - first)
        first += len(run)
    of_stretch = np.searchsorted(samples, stretches.samples[:, stretch])
    return stretch, number, q[:, of_stretch, position], forces


def _near_most(
    driven: Sequence[DrivenAxles], results: Ints, screened: Ints, opposite: int
) -> tuple[Floats, Ints]:
    """Some of the results (n, k) at the stations at which any of some stretches comes to a share of
    its most, and the numbers (k,) of the load positions.

    screened : of the mean shears across the stretches; so much further are their opposites.
    """
    bounds = [np.maximum(*(run.greatest[:, screened + k] for k in (0, opposite))) for run in driven]
    least = WORTH * np.max([one.max(axis=0) for one in bounds], axis=0)
    values, numbers, first = [], [], 0
    for run, bound in zip(driven, bounds, strict=True):
        stations = np.flatnonzero((bound >= least).any(axis=1))
        found = run.over_stations(results, stations)
        numbers.append(first + (stations[:, None] * len(found) + np.arange(len(found))).ravel())
        values.append(found.transpose(1, 2, 0).reshape(len(results), -1))
        first += len(run)
    return np.concatenate(values, axis=1), np.concatenate(numbers)

"""What governs vehicles at places found again with their wheels integrated exactly on the mesh."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipelines.bars.demand.wood_armer import skew_components
from pipelines.bars.rating.at_places import AtPlaces, under
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import LimitsAt, MomentMultiplier
from pipelines.bars.rating.place_fields import ExactFields
from pipelines.bars.rating.places import Places, Runs
from pipelines.bars.rating.root import MOST
from pipelines.bars.rating.shear import ShearMultiplier
from pipelines.bars.rating.shear_pairs import ShearPairs
from pipelines.numbers import within
from pipelines.traffic.positions import WheelPatches, find_position
from plate.arrays import Floats, Ints

# Load positions at which a moment that governs is integrated exactly.
EXACT = 6


def least_exactly(
    places: Places, fleet: Sequence[Runs], found: Sequence[Mapping[int, AtPlaces]]
) -> list[dict[int, AtPlaces]]:
    """The multipliers of some vehicles by some standards, those that are the least of a vehicle
    by a standard exact."""
    moments = {(v, k): [*one.moments] for v, mine in enumerate(found) for k, one in mine.items()}
    shears = {(v, k): [*one.shears] for v, mine in enumerate(found) for k, one in mine.items()}
    done: dict[tuple[int, int], set[tuple[bool, int]]] = {key: set() for key in moments}
    while done:
        asked: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for (v, k), exact in [*done.items()]:
            every = [(one.value, (True, j)) for j, (_, one) in enumerate(moments[v, k])]
            every += [(one.value, (False, j)) for j, (_, one) in enumerate(shears[v, k])]
            value, (of_moments, j) = min(every, default=(MOST, (True, -1)))
            if value >= MOST or value <= 0.0 or (of_moments, j) in exact:
                del done[v, k]
            elif of_moments:
                limit, one = moments[v, k][j]
                moments[v, k][j] = limit, exact_moment(places, limit, one, fleet[v])
            else:
                asked.setdefault((k, shears[v, k][j][0]), []).append((v, j))
            exact.add((of_moments, j))
        for (k, part), those in asked.items():
            sheared = [shears[v, k][j][1] for v, j in those]
            exactly = exact_shears(places, (k, part), sheared, [fleet[v] for v, _ in those])
            for (v, j), two in zip(those, exactly, strict=True):
                shears[v, k][j] = part, two
    return [
        {k: AtPlaces(tuple(moments[v, k]), tuple(shears[v, k])) for k in mine}
        for v, mine in enumerate(found)
    ]


def exact_moment(
    places: Places, limit: MomentLimit, found: MomentMultiplier, runs: Runs
) -> MomentMultiplier:
    """The same with the moments of the load positions that come near to governing integrated
    exactly."""
    at, limits = np.array([found.at]), LimitsAt.of(limit, np.array([found.at]))
    values = under(places, places.grids.driven(runs), np.array([limit.row]), at)
    roughly = _terms(np.concatenate(values, axis=2)[[0, 2], 0])
    near = np.argsort((-roughly / limits.room).min(axis=0), kind="stable")[:EXACT]
    exact = _exactly(places.fields, at, [(runs, one) for one in near.tolist()])
    turned = skew_components(exact, places.watch.reinforcement.angle)
    exactly = (1.0 if limit.row < 2 else -1.0) * _terms(turned[[limit.row % 2, 2], 0])

    def linear(terms: Floats) -> float:
        return float(limits.linear(terms.max(axis=1, keepdims=True))[0])

    rough = linear(roughly)
    return found if not rough else replace(found, value=found.value * linear(exactly) / rough)


def _terms(moments: Floats) -> Floats:
    """The first of two moments (2, n) plus and less the other, the twisting moment."""
    first, t = moments
    return np.stack([first + t, first - t])


def exact_shears(
    places: Places,
    key: tuple[int, int],
    found: Sequence[ShearMultiplier],
    fleet: Sequence[Runs],
) -> list[ShearMultiplier]:
    """The same of each of some vehicles with the forces under its governing load position
    integrated exactly."""
    tracker, _ = places.trackers[key]
    stretches = places.stretches[id(tracker.sections)]
    vehicle, judged = np.arange(len(found)), np.array([one.sample for one in found])
    stretch = np.searchsorted(stretches.judged, judged)
    samples, weights = stretches.samples[:, stretch], stretches.weights[:, stretch]
    used, of_stretch = np.unique(samples, return_inverse=True)
    positions = [(runs, one.number) for runs, one in zip(fleet, found, strict=True)]
    forces = tracker.combination.traffic * _exactly(
        places.forces[id(tracker.sections)], used, positions
    )
    pairs = ShearPairs.of(
        tracker,
        forces[3:, of_stretch.reshape(samples.shape), vehicle],
        samples,
        weights,
        forces[:, np.searchsorted(used, judged), vehicle],
        judged,
    )
    without = stretches.without(tracker)[stretch]
    passing = {k: vehicle[[k]] for k, one in enumerate(without.tolist()) if within(one)}
    start = np.array([one.value for one in found])
    exact = pairs.multipliers(passing, start, without) if passing else {}
    return [replace(one, value=exact.get(k, 0.0)) for k, one in enumerate(found)]


def _exactly(fields: ExactFields, places: Ints, positions: Sequence[tuple[Runs, int]]) -> Floats:
    """Results at places under load positions, each of a vehicle's runs and its number there."""
    wheels = []
    for column, (runs, number) in enumerate(positions):
        run, k = find_position(runs, number)
        one = run.wheels(slice(k, k + 1))
        wheels.append(replace(one, position=np.full(len(one.load), column)))
    every = [np.concatenate([getattr(w, name) for w in wheels])
             for name in ("corners", "load", "position")]  # fmt: skip
    return fields.under(places, WheelPatches(*every), len(positions))

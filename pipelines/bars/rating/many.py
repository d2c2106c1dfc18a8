"""Many vehicles on one deck: a few driven over the whole deck, the others judged at the places
where those come near to governing."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.checks.wheel_groups import wheel_groups
from pipelines.bars.checks.wheel_punching import mat_at_punching
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.at_places import AtPlaces, at_places, exact_moment, exact_shear
from pipelines.bars.rating.axle_grids import grids_of
from pipelines.bars.rating.fleet import Permit
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.places import OverDeck, Places, Runs
from pipelines.bars.rating.rater import Rater, standing
from pipelines.bars.rating.root import MOST
from pipelines.deck.deck import Deck
from pipelines.standards.resistance.punching import PUNCHING, punching
from pipelines.system.machine import processors
from pipelines.traffic.positions import load_positions
from plate.arrays import Floats
from plate.threads import one_thread

# From so many vehicles on.
MANY = 12
# Vehicles that are driven over the whole deck to tell the places, and at most so many more whose
# multipliers are as near to 1 as the places may miss.
DRIVEN, NEAR_ONE = 4, 3
# Multipliers at places are told less by so many times what they were too high at most, and by this
# share at least.
SAFE, LEAST = 2.0, 0.005
# Multipliers as near to 1 as this are found over the whole deck in any case.
CLOSE_TO_ONE = 0.01
Progress = Callable[[int, int], None]


def can_be_many(watch: DesignWatch) -> bool:
    """Whether results are sums of wheels' alone, each moved along a straight course."""
    joined = watch.membrane is not None and watch.membrane.rows is not None
    return watch.deck.course.straight and not joined


def rated_at_places(
    rater: Rater, permits: Sequence[Permit], decks: Sequence[Deck], progress: Progress | None
) -> tuple[list[Rated], tuple[str, ...]]:
    """Every vehicle by every standard that it counts under, and what is to be known of it.

    decks : with each vehicle alone.
    """
    fleet = [load_positions(deck) for deck in decks]
    places = Places.of(rater.watch, rater.limits, rater.trackers, fleet)
    found: dict[int, list[Rated]] = {}
    high: dict[Check, float] = {}
    low = 0.0

    def drive(k: int) -> OverDeck:
        over = rater.over_deck(permits[k], fleet[k])
        found[k] = [*rater.rated(permits[k], decks[k], over)]
        _told(progress, found, fleet)
        return over

    for count, k in enumerate(_apart(fleet)):
        before = [*_at_places(rater, places, permits[k], decks[k], fleet[k])] if count else []
        over = drive(k)
        sheared = (one.of(Check.SHEAR) for one in found[k])
        of_standards = zip(rater.counting(permits[k]), sheared, strict=True)
        places.learn(over, {j: 1.0 if one is None else one.value for j, one in of_standards})
        for one, two in zip(before, found[k], strict=False):
            for check, share in _missed(one, two):
                high[check], low = max(share, high.get(check, 0.0)), max(-share, low)
    near: list[tuple[float, int]] = []

    def judge(k: int) -> list[Rated]:
        return [*_at_places(rater, places, permits[k], decks[k], fleet[k])]

    # those of like axles together, which need the same grids
    others = [k for k in range(len(fleet)) if k not in found]
    others.sort(key=lambda k: [key for run in fleet[k] for key in grids_of(run)])
    with one_thread, ThreadPoolExecutor(processors()) as pool:
        for k, raw in zip(others, pool.map(judge, others), strict=True):
            found[k] = [_less(one, high) for one in raw]
            for one, less in zip(raw, found[k], strict=True):
                if less.least.value < 1.0 + CLOSE_TO_ONE and one.least.value > 1.0 - CLOSE_TO_ONE:
                    near.append((abs(less.least.value - 1.0), k))
            _told(progress, found, fleet)
    again = [*dict.fromkeys(k for _, k in sorted(near))]
    for k in again[:NEAR_ONE]:
        drive(k)
    rated = [one for k in range(len(fleet)) for one in found[k]]
    driven = sum(not every[0].at_places for every in found.values() if every)
    words = (
        f"{driven} of {len(fleet)} vehicles are driven over the whole deck, the others judged at "
        f"the {places.count} places where those come near to governing, each check at its least "
        f"alone. {_told_less(high)} Of the vehicles after the first, where both were done, "
        f"multipliers at places were too low by {100.0 * low:.2g} % at most. Nothing proves that "
        "no other place is worse for a vehicle: rate the one that matters by itself."
    )
    if len(again) > NEAR_ONE:
        words += f" {len(again) - NEAR_ONE} more are that near to 1."
    return rated, (words,)


def _told(progress: Progress | None, found: dict[int, list[Rated]], fleet: Sequence[Runs]) -> None:
    if progress is not None:
        progress(len(found), len(fleet))


def _apart(fleet: Sequence[Runs]) -> list[int]:
    """Numbers of vehicles that differ: the longest, the shortest, that with the heaviest axle and
    the heaviest."""

    def of(runs: Runs) -> tuple[float, float, float, float]:
        vehicle = runs[0].vehicle
        loads = [vehicle.impact * axle.load for axle in vehicle.axles]
        length = max(axle.at for axle in vehicle.axles)
        return length, -length, max(loads), sum(loads)

    every = np.array([of(runs) for runs in fleet])
    return [*dict.fromkeys(every.argmax(axis=0).tolist())][:DRIVEN]


def _missed(at_places: Rated, driven: Rated) -> Iterator[tuple[Check, float]]:
    """By how much the least of every check is too high at places, as a share."""
    for check in {one.check: None for one in at_places.multipliers if not one.floor}:
        one, other = at_places.of(check), driven.of(check)
        if one is not None and other is not None and 0.0 < other.value < MOST:
            yield check, one.value / other.value - 1.0


def _less(rated: Rated, high: Mapping[Check, float]) -> Rated:
    """The same, told less by what multipliers of each check may be too high at places."""
    less = [
        one
        if one.floor or one.value >= MOST
        else replace(one, value=one.value / (1.0 + max(SAFE * high.get(one.check, 0.0), LEAST)))
        for one in rated.multipliers
    ]
    return replace(rated, multipliers=tuple(sorted(less, key=lambda one: one.value)))


def _told_less(high: Mapping[Check, float]) -> str:
    shares = _shares(high)
    least = f"They are told less by {100.0 * LEAST:g} % at least"
    if not shares:
        return f"{least}."
    return f"{least}, by {shares}: {SAFE:g} times what they were too high at most."


def _shares(high: Mapping[Check, float]) -> str:
    """In words, check by check, those above the least."""
    told = [
        f"{100.0 * SAFE * share:.2f} % ({check.value})"
        for check, share in sorted(high.items(), key=lambda pair: -pair[1])
        if SAFE * share > LEAST
    ]
    return ", ".join(told)


def _at_places(
    rater: Rater, places: Places, permit: Permit, alone: Deck, runs: Runs
) -> Iterator[Rated]:
    standards = rater.counting(permit)
    found = at_places(places, runs, standards)
    for k in standards:
        multipliers = [*_of_checks(rater, places, k, found[k], runs)]
        least = min((m.value for m in multipliers), default=MOST)
        floor = _punching_floor(rater, k, runs)
        # no wheel place can govern where the worst that there may be does not
        if floor.value > max(least, 1.0):
            multipliers.append(floor)
        else:
            multipliers += rater.punching(k, alone, runs)
        n = sum(map(len, runs))
        yield rater.of_standard(k, permit.vehicle, multipliers, n, at_places=True)


def _of_checks(
    rater: Rater, places: Places, k: int, found: AtPlaces, runs: Runs
) -> Iterator[Multiplier]:
    """The multipliers; those that are the least of the vehicle are found again exactly."""
    moments, shears = dict(enumerate(found.moments)), dict(enumerate(found.shears))
    done: set[tuple[bool, int]] = set()
    while True:
        every = [(one.value, (True, j)) for j, (_, one) in moments.items()]
        every += [(one.value, (False, j)) for j, (_, one) in shears.items()]
        value, (of_moments, j) = min(every, default=(MOST, (True, -1)))
        if value >= MOST or value <= 0.0 or (of_moments, j) in done:
            break
        done.add((of_moments, j))
        if of_moments:
            limit, one = moments[j]
            moments[j] = limit, exact_moment(places, limit, one, runs)
        else:
            part, sheared = shears[j]
            shears[j] = part, exact_shear(places, (k, part), sheared, runs)
    for limit, one in moments.values():
        yield rater.of_moment(limit, one, standing(runs))
    for part, sheared in shears.values():
        yield rater.of_shear(rater.trackers[k, part][0], sheared, standing(runs))


def _punching_floor(rater: Rater, k: int, runs: Runs) -> Multiplier:
    """No more than the multiplier in punching: every wheel and group stands whole beside every kind
    of free edge that there is."""
    mat, factor = rater.bases[k].materials, rater.watch.shears[k].combination.traffic
    edge_x, edge_y = (0.0 if free else np.inf for free in rater.free_edges)
    most = 0.0
    run = rater.as_contacts(runs[0])
    groups = wheel_groups(run.vehicle, run.patches, rater.reaches[k])
    for part in rater.watch.drawn[k].parts:
        bars = mat_at_punching(part.bars)
        single = [
            (a.load / len(a.wheels), *p)
            for a, p in zip(run.vehicle.axles, run.patches, strict=True)
        ]
        for rows, cut in (
            (single, None),
            ([(g.load, *g.sides) for g in groups], np.array([g.cut for g in groups])),
        ):
            if rows:
                load, c_x, c_y = np.array(rows).T
                load = load * factor * run.vehicle.impact
                used: Floats = punching(
                    load, c_x, c_y, mat, bars, edge_x, edge_y, group_cut=cut
                ).utilisation
                most = max(most, float(used.max()))
    return Multiplier(
        value=min(1.0 / most, MOST),
        check=Check.PUNCHING,
        rule="punching under wheels",
        words="at least so much, wheels beside any free edge",
        ultimate=True,
        at=(float("nan"), float("nan")),
        where="not located",
        position=None,
        source=PUNCHING[mat.standard],
        floor=True,
    )

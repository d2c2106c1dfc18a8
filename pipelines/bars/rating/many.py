"""Many vehicles on one deck: a few driven over the whole deck, the others judged at the places
where those come near to governing."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import groupby

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.checks.wheel_groups import wheel_groups
from pipelines.bars.checks.wheel_punching import mat_at_punching
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.at_places import at_places
from pipelines.bars.rating.axle_grids import grids_of
from pipelines.bars.rating.exact_places import least_exactly
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
# Vehicles that are judged side by side.
ABREAST = 16
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

    def judge(some: Sequence[int]) -> list[list[Rated]]:
        """Vehicles that count under the same standards."""
        those = [(permits[k], decks[k], fleet[k]) for k in some]
        return [*_at_places(rater, places, those, rater.counting(permits[some[0]]))]

    for count, k in enumerate(_apart(fleet)):
        before = judge([k])[0] if count else []
        over = drive(k)
        sheared = (one.of(Check.SHEAR) for one in found[k])
        of_standards = zip(rater.counting(permits[k]), sheared, strict=True)
        places.learn(over, {j: 1.0 if one is None else one.value for j, one in of_standards})
        for one, two in zip(before, found[k], strict=False):
            for check, share in _missed(one, two):
                high[check], low = max(share, high.get(check, 0.0)), max(-share, low)
    near: list[tuple[float, int]] = []

    # those of like axles together, which need the same grids
    grids = [[key for run in runs for key in grids_of(run)] for runs in fleet]
    others = [k for k in range(len(fleet)) if k not in found]
    others.sort(key=lambda k: (grids[k], rater.counting(permits[k])))
    parts = [
        mine[start : start + ABREAST]
        for _, alike in groupby(others, lambda k: rater.counting(permits[k]))
        for mine in [[*alike]]
        for start in range(0, len(mine), ABREAST)
    ]
    with one_thread, ThreadPoolExecutor(processors()) as pool:
        for some, rated in zip(parts, pool.map(judge, parts), strict=True):
            for k, raw in zip(some, rated, strict=True):
                found[k] = [_less(one, high) for one in raw]
                for one, less in zip(raw, found[k], strict=True):
                    least = less.least.value
                    if least < 1.0 + CLOSE_TO_ONE and one.least.value > 1.0 - CLOSE_TO_ONE:
                        near.append((abs(least - 1.0), k))
                _told(progress, found, fleet)
    again = [*dict.fromkeys(k for _, k in sorted(near))]
    for k in again[:NEAR_ONE]:
        drive(k)
    every_one = [one for k in range(len(fleet)) for one in found[k]]
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
    return every_one, (words,)


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
    rater: Rater,
    places: Places,
    fleet: Sequence[tuple[Permit, Deck, Runs]],
    standards: Sequence[int],
) -> Iterator[list[Rated]]:
    """Each of some vehicles by all of some standards, under which they count; with it the deck
    with the vehicle alone and its load positions."""
    every = [runs for _, _, runs in fleet]
    found = least_exactly(places, every, at_places(places, every, standards))
    floors = {k: _punching_floors(rater, k, every) for k in standards}
    for number, ((permit, alone, runs), mine) in enumerate(zip(fleet, found, strict=True)):
        rated = []
        for k, one in mine.items():
            multipliers = [rater.of_moment(*of, standing(runs)) for of in one.moments]
            for part, sheared in one.shears:
                tracker, _ = rater.trackers[k, part]
                multipliers.append(rater.of_shear(tracker, sheared, standing(runs)))
            least = min((m.value for m in multipliers), default=MOST)
            floor = floors[k][number]
            # no wheel place can govern where the worst that there may be does not
            if floor.value > max(least, 1.0):
                multipliers.append(floor)
            else:
                multipliers += rater.punching(k, alone, runs)
            n = sum(map(len, runs))
            rated.append(rater.of_standard(k, permit.vehicle, multipliers, n, at_places=True))
        yield rated


def _punching_floors(rater: Rater, k: int, fleet: Sequence[Runs]) -> list[Multiplier]:
    """No more than the multiplier in punching of each of some vehicles: every wheel and group
    stands whole beside every kind of free edge that there is."""
    mat, factor = rater.bases[k].materials, rater.watch.shears[k].combination.traffic
    edge_x, edge_y = (0.0 if free else np.inf for free in rater.free_edges)
    # vehicle, load, sides, cut
    single: list[tuple[float, ...]] = []
    groups: list[tuple[float, ...]] = []
    for number, runs in enumerate(fleet):
        run = rater.as_contacts(runs[0])
        by = factor * run.vehicle.impact
        for axle, patch in zip(run.vehicle.axles, run.patches, strict=True):
            single.append((number, by * axle.load / len(axle.wheels), *patch, 0.0))
        for one in wheel_groups(run.vehicle, run.patches, rater.reaches[k]):
            groups.append((number, by * one.load, *one.sides, one.cut))
    most = np.zeros(len(fleet))
    for part in rater.watch.drawn[k].parts:
        bars = mat_at_punching(part.bars)
        for rows, grouped in ((single, False), (groups, True)):
            if rows:
                vehicle, load, c_x, c_y, cut = np.array(rows).T
                used: Floats = punching(
                    load, c_x, c_y, mat, bars, edge_x, edge_y, group_cut=cut if grouped else None
                ).utilisation
                np.maximum.at(most, vehicle.astype(np.int64), used)
    with np.errstate(divide="ignore"):
        values = np.minimum(1.0 / most, MOST).tolist()
    return [
        Multiplier(
            value=value,
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
        for value in values
    ]

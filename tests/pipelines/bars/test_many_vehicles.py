"""Many vehicles at places: as if each had been driven over the whole deck."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.at_places import _judged, at_places
from pipelines.bars.rating.exact_places import exact_moment, exact_shears, least_exactly
from pipelines.bars.rating.fleet import Fleet, Permit, driven
from pipelines.bars.rating.many import LEAST, MANY, SAFE, _less
from pipelines.bars.rating.moments import moment_multiplier
from pipelines.bars.rating.place_fields import UnitFields, WheelLattice, moment_rows
from pipelines.bars.rating.places import WORTH, OverDeck, Places, local_tops
from pipelines.bars.rating.rate import Rating, rate
from pipelines.bars.rating.rater import Rater
from pipelines.bars.rating.shear import NEAR, ShearOfVehicle
from pipelines.deck.deck import Deck
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.model.case_responses import case_responses
from pipelines.model.position_blocks import in_blocks, position_load
from pipelines.model.responses import SolvedDeck
from pipelines.report.html import html_of
from pipelines.report.sections.rating import rating_page
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.traffic.positions import load_positions
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.rated import JUST, judged, looked_at, passes_and_fails, utilisation
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, WEIGHT, deck_of

TRAFFIC = """
[traffic]
carriageway_m = [-1.9, 1.9]
vehicles = ["EN 1991-2 LM2"]
step_m = 0.4
lateral_step_m = 0.4
surfacing_mm = 80
"""
MESH = """
[mesh]
size_m = 1.5
order = 2
"""


def lorry(number: int, loads: tuple[float, ...], spaces: tuple[float, ...]) -> Permit:
    """Axle loads [kN] and the spaces between axles [m]."""
    at = np.concatenate([[0.0], np.cumsum(spaces)])
    axles = tuple(
        Axle(float(a), 1e3 * load, (-0.95, 0.95), (0.25, 0.4))
        for a, load in zip(at, loads, strict=True)
    )
    return Permit(Vehicle(name=f"lorry {number}", axles=axles, impact=1.1))


def fleet_of(count: int) -> Fleet:
    """Vehicles that differ in number, load and distance of their axles."""
    rng = np.random.default_rng(5)
    permits = []
    for number in range(count):
        n = int(rng.integers(2, 5))
        loads = tuple(rng.uniform(60.0, 160.0, n).round(1).tolist())
        spaces = tuple(rng.uniform(1.2, 4.0, n - 1).round(2).tolist())
        permits.append(lorry(number, loads, spaces))
    return Fleet(tuple(permits))


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    folder: Path = tmp_path_factory.mktemp("many")
    return deck_of(folder, SLAB, PLAN, BEAMS, TRAFFIC, WEIGHT, GRADES, BOTTOM, TOP, MESH)


@pytest.fixture(scope="module")
def rater(deck: Deck) -> Rater:
    solved = SolvedDeck.of(deck)
    return Rater(solved, DesignWatch(solved, case_responses(solved)))


def over(rater: Rater, permit: Permit) -> OverDeck:
    alone = driven(rater.watch.deck, permit, Mistakes(""))
    assert alone is not None
    return rater.over_deck(permit, load_positions(alone))


@pytest.fixture(scope="module")
def overs(rater: Rater) -> list[OverDeck]:
    """Of four vehicles."""
    return [over(rater, permit) for permit in fleet_of(4).permits]


def test_a_vehicle_is_read_as_a_run_reads_it(rater: Rater) -> None:
    """Part by part of the slab, extremes and forces alone, against whole fields."""
    [permit] = fleet_of(1).permits
    alone = driven(rater.watch.deck, permit, Mistakes(""))
    assert alone is not None
    [(first, run, part), *_] = in_blocks(load_positions(alone))
    response = rater.solved.respond(position_load(rater.solved.model, run, part))
    blocks, forces = rater.read(first, response)
    of_a_run = rater.watch.moments.blocks(first, response)
    assert len(blocks) == len(of_a_run)
    for block, other in zip(blocks, of_a_run, strict=True):
        # sums in another order
        near = 1e-10 * np.abs(other.sums).max()
        np.testing.assert_allclose(block.own, other.own, rtol=0, atol=near)
        np.testing.assert_allclose(block.sums, other.sums, rtol=0, atol=near)
    assert forces.keys() == rater.trackers.keys()
    for key, (tracker, _) in rater.trackers.items():
        for found, expected in zip(forces[key], tracker.factored(response), strict=True):
            near = 1e-10 * np.abs(expected).max()
            np.testing.assert_allclose(found, expected, rtol=0, atol=near)


def test_shear_that_was_not_judged_passes(overs: list[OverDeck]) -> None:
    """All samples under all load positions at the multiplier that is found, and at a little more:
    means of the principal shear that are formed in full, against the few that sums of their parts
    leave."""
    for one in overs[0].shears.values():
        found = one.multiplier(1.0)
        assert found is not None
        for multiplier, passes in ((found.value, True), (found.value * 1.001, False)):
            traffic = multiplier * one.traffic
            means = one.means @ one.tracker.principal(traffic, one.samples)
            at = np.searchsorted(one.samples, one.judged)
            resists, _ = one.tracker.resistance_at(traffic[:, at], one.judged, means)
            used = means / resists
            # shares of 1 to what the checks of a run allow for rounding
            assert (used.max() <= 1.0 + 1e-6) == passes
            worst = used.max(axis=1)
            near = means.max(axis=1) >= NEAR * means.max()
            np.testing.assert_allclose(one.by_sample(multiplier)[near], worst[near], rtol=1e-9)


def test_at_its_own_place_a_vehicle_has_the_multiplier_of_the_whole_deck(
    rater: Rater, overs: list[OverDeck]
) -> None:
    """The same wheels on the same mesh, integrated as influence in place of solved as loads."""
    first, second, *_ = overs
    places = Places.of(rater.watch, rater.limits, rater.trackers, [first.runs, second.runs])
    places.learn(first, {0: 2.0})
    [found] = (one[0] for one in at_places(places, [second.runs], [0]))
    assert len(found.moments) >= 3
    for limit, one in found.moments:
        exact = exact_moment(places, limit, one, second.runs)
        column = np.searchsorted(second.moments.points, [one.at])
        there = moment_multiplier(limit, second.moments, column)
        # both found to 1e-7
        assert exact.value == pytest.approx(there.value, rel=3e-7)
        # cubics between places a sixth of a patch apart, across kinks of a coarse mesh
        assert one.value == pytest.approx(there.value, rel=3e-2)
    for part, sheared in found.shears:
        [exactly] = exact_shears(places, (0, part), [sheared], [second.runs])
        whole = second.shears[0, part]
        row = np.flatnonzero(whole.judged == sheared.sample)
        alone = replace(whole, judged=whole.judged[row], means=whole.means[row])
        there_too = ShearOfVehicle.multiplier(alone, 1.0)
        assert there_too is not None
        assert exactly.value >= there_too.value * (1.0 - 3e-7)
        assert exactly.value == pytest.approx(there_too.value, rel=2e-2)


def test_no_candidate_that_was_passed_over_has_a_smaller_multiplier(
    rater: Rater, overs: list[OverDeck]
) -> None:
    """Candidates are looked at in the order of their bounds, at some stations: against the rule
    itself at all of them under every load position."""
    places = Places.of(rater.watch, rater.limits, rater.trackers, [one.runs for one in overs])
    for one in overs[:2]:
        places.learn(one, {0: 2.0})
    every = places.candidates
    for one in overs[2:]:
        driven, candidates = places.grids.driven(one.runs), np.arange(len(every.number))
        values, _ = _judged(places, [driven], np.zeros_like(candidates), candidates)
        [found] = (one[0] for one in at_places(places, [one.runs], [0]))
        assert len(found.moments) == len(every.groups)
        for part, (limit, least) in zip(every.groups.values(), found.moments, strict=True):
            k = part.start + int(values[part].argmin())
            # single precision of sums over an axle grid
            assert least.value == pytest.approx(values[k], rel=1e-5)
            assert least.number >= 0
            assert limit.check is every.every[every.number[k]].check
            alike = np.flatnonzero(values[part] <= values[k] * (1.0 + 1e-5)) + part.start
            assert least.at in every.at[alike]


def test_vehicles_side_by_side_are_judged_as_each_by_itself(
    rater: Rater, overs: list[OverDeck]
) -> None:
    """Of different lengths, so that each has load positions, blocks and stretches of its own."""
    fleet = [one.runs for one in overs]
    assert len({sum(map(len, runs)) for runs in fleet}) > 1
    places = Places.of(rater.watch, rater.limits, rater.trackers, fleet)
    places.learn(overs[0], {0: 2.0})
    together = least_exactly(places, fleet, at_places(places, fleet, [0]))
    for runs, mine in zip(fleet, together, strict=True):
        [alone] = least_exactly(places, [runs], at_places(places, [runs], [0]))
        assert len(mine[0].moments) >= 3
        assert len(mine[0].shears) >= 1
        for (limit, one), (other, two) in zip(mine[0].moments, alone[0].moments, strict=True):
            assert limit is other
            assert (one.at, one.number) == (two.at, two.number)
            # found to 1e-7
            assert one.value == pytest.approx(two.value, rel=3e-7)
        for (part, sheared), (other_part, by_itself) in zip(
            mine[0].shears, alone[0].shears, strict=True
        ):
            assert part == other_part
            assert (sheared.sample, sheared.number) == (by_itself.sample, by_itself.number)
            assert sheared.value == pytest.approx(by_itself.value, rel=3e-7)


def test_wheels_at_few_offsets_are_read_as_between_a_lattice_s(
    rater: Rater, overs: list[OverDeck]
) -> None:
    """Offsets that take the place of the lattice's own, against cubics between those."""
    solved, patch = rater.solved, overs[0].runs[0].patches[0]
    few, many = np.array([-1.5, -1.23, -0.3, 0.41, 1.5]), np.linspace(-1.5, 1.5, 300)
    fields = [
        UnitFields(solved, {patch: WheelLattice.of(solved, patch, one)}) for one in (few, many)
    ]
    found = []
    for field in fields:
        field.add(moment_rows(solved, rater.watch.layer), np.arange(0, len(rater.plan), 40), 3)
        found.append(field.across(patch, np.array([[-1.5, 0.41], [-1.23, 1.5]])))
    kept = [len(field.lattices[patch].lattice.y) for field in fields]
    assert kept[0] == len(few) < kept[1] < len(many)
    # single precision
    one, other = found
    np.testing.assert_allclose(one, other, rtol=0, atol=1e-6 * np.abs(other).max())


def test_what_places_are_screened_by_is_no_less_than_at_any_load_position(
    rater: Rater, overs: list[OverDeck]
) -> None:
    one = overs[0]
    places = Places.of(rater.watch, rater.limits, rater.trackers, [one.runs])
    places.learn(one, {0: 2.0})
    for axles in places.grids.driven(one.runs):
        assert len(axles) == sum(axles.lengths)
        for row, points in enumerate(places.points):
            values = axles.under(places.results_at(points).ravel())
            a, b, t = values.reshape(3, len(points), len(axles))
            sign, first = (1.0 if row < 2 else -1.0), (a, b)[row % 2]
            begin = 2 * sum(map(len, places.points[:row]))
            bound = axles.greatest[:, begin : begin + 2 * len(points)].max(axis=0)
            most = np.concatenate([(sign * (first + s * t)).max(axis=1) for s in (1.0, -1.0)])
            # single precision, and cubics that swing below nothing beside the slab's ends
            assert (bound >= most - 1e-4 * np.abs(most).max(initial=0.0)).all()


def told_less(rating: Rating) -> dict[str, float]:
    """By what share multipliers at places are told less, by the checks of the note."""
    found = re.findall(r"([\d.]+) % \(([a-z ]+)\)[,:]", rating.notes[0])
    return {check.value: LEAST for check in Check} | {
        check: float(share) / 100.0 for share, check in found
    }


@pytest.fixture(scope="module")
def many(deck: Deck) -> Rating:
    return rate(deck, fleet_of(MANY))


def test_the_page_of_a_fleet_begins_with_how_many_fall_short(many: Rating) -> None:
    page = html_of(rating_page(many))
    summary, multipliers = (page.index(f'id="{name}"') for name in ("summary", "multipliers"))
    told = re.sub(r"<[^>]+>", " ", page[summary:multipliers])
    short = [one for one in many.rated if not one.least.adequate]
    assert f"{MANY} vehicles and load models: {len(short)} fall short" in told
    governing = {one.least.check for one in many.rated}
    assert all(check.value.capitalize() in told for check in governing)
    assert many.worst_first[0].vehicle in told


def test_vehicles_at_places_are_told_no_more_than_the_whole_deck_gives(
    deck: Deck, many: Rating
) -> None:
    """Every check of vehicles that are judged at places against the whole deck."""
    fleet = fleet_of(MANY)
    at_places = [one for one in many.rated if one.at_places]
    assert len(at_places) >= MANY - 7
    less = told_less(many)
    # no place is left out at which vehicles came to more than WORTH of their largest
    assert max(less.values(), default=0.0) < SAFE * (1.0 / WORTH - 1.0)
    for one in at_places[:3]:
        permit = next(p for p in fleet.permits if p.vehicle.name == one.vehicle)
        [whole] = rate(deck, Fleet((permit,))).rated
        for check in {found.check for found in one.multipliers}:
            found, other = one.of(check), whole.of(check)
            assert found is not None
            assert other is not None
            # the digits of the note, and exact ones to 1e-7
            assert found.value <= other.value * (1.0 + 1e-3)
            if not found.floor:
                # cubics between places, as above; what does not govern is told by them alone
                assert found.value >= other.value * (1.0 - less.get(check.value, 0.0) - 3e-2)


@pytest.mark.slow
def test_runs_of_vehicles_rated_at_places_pass(deck: Deck) -> None:
    """At just less than its multiplier every check of a run passes; it fails where the whole deck
    says, above by what the note tells and 3 % at most."""
    fleet = fleet_of(40)
    many = rate(deck, fleet)
    at_places, less = [one for one in many.rated if one.at_places], told_less(many)
    assert len(at_places) >= 30
    above = []
    for one in at_places[::12]:
        permit = next(p for p in fleet.permits if p.vehicle.name == one.vehicle)
        [whole] = rate(deck, Fleet((permit,))).rated
        for found in looked_at(one):
            if found.floor:
                continue
            used = utilisation(judged(deck, permit, found.value * (1.0 - JUST))["EN 1992"], found)
            assert used <= 1.0, (one.vehicle, found)
            least = [m.value for m in whole.multipliers
                     if (m.check, m.rule) == (found.check, found.rule)
                     and (m.words == found.words or m.check is not Check.BENDING)]  # fmt: skip
            further = less.get(found.check.value, 0.0)
            above.append((min(least) / found.value - 1.0, further))
        passes_and_fails(deck, permit, "EN 1992", whole.least)
    assert len(above) >= 9
    assert min(share for share, _ in above) >= -JUST
    assert all(share < further + 0.03 for share, further in above), above


def test_multipliers_at_places_are_lowered_by_what_others_missed(rater: Rater) -> None:
    [permit] = fleet_of(1).permits
    alone = driven(rater.watch.deck, permit, Mistakes(""))
    assert alone is not None
    [whole] = rater.rated(permit, alone, over(rater, permit))
    less = _less(whole, {Check.SHEAR: 0.05})
    for check in {one.check for one in whole.multipliers}:
        before, after = whole.of(check), less.of(check)
        assert before is not None
        assert after is not None
        # twice what was found too high, and a least share
        share = 1.1 if check is Check.SHEAR else 1.0 + LEAST
        assert after.value == pytest.approx(before.value / share, rel=1e-12)
    values = [one.value for one in less.multipliers]
    assert values == sorted(values)


def test_tops_lie_apart() -> None:
    plan = np.array([[0.0, 0.0], [0.1, 0.0], [1.0, 0.0], [2.0, 0.0]])
    assert local_tops(np.array([0.99, 1.0, 0.95, 0.2]), plan, 1.0).tolist() == [1, 2]
    assert local_tops(np.array([0.99, 1.0, 0.95, 0.2]), plan, 2.0).tolist() == []

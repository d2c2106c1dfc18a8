"""Many vehicles at places: as if each had been driven over the whole deck."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.fleet import Fleet, Permit, driven
from pipelines.bars.rating.many import MANY
from pipelines.bars.rating.moments import moment_multiplier
from pipelines.bars.rating.places import OverDeck, Places, local_tops
from pipelines.bars.rating.rate import rate
from pipelines.bars.rating.rater import Rater
from pipelines.bars.rating.shear import ShearOfVehicle
from pipelines.deck.deck import Deck
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.loads import Axle, Vehicle
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
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
    return rater.over_deck(permit, alone)


def test_at_its_own_place_a_vehicle_has_the_multiplier_of_the_whole_deck(rater: Rater) -> None:
    """The same wheels on the same mesh, integrated as influence in place of solved as loads."""
    permits = fleet_of(2).permits
    first, second = (over(rater, permit) for permit in permits)
    places = Places.of(rater.watch, rater.limits, rater.trackers, [first.runs, second.runs])
    places.learn(first, {0: 2.0})
    found = places.vehicle(second.runs, [0])[0]
    assert len(found.moments) >= 3
    for limit, one in found.moments:
        exact = places.exact_moment(limit, one, second.runs)
        column = np.searchsorted(second.moments.points, [one.at])
        there = moment_multiplier(limit, second.moments, column)
        # both found to 1e-7
        assert exact.value == pytest.approx(there.value, rel=3e-7)
        # cubics between places a sixth of a patch apart, across kinks of a coarse mesh
        assert one.value == pytest.approx(there.value, rel=3e-2)
    for part, sheared in found.shears:
        exact_shear = places.exact_shear((0, part), sheared, second.runs)
        whole = second.shears[0, part]
        row = np.flatnonzero(whole.judged == sheared.sample)
        alone = replace(whole, judged=whole.judged[row], means=whole.means[row])
        there_too = ShearOfVehicle.multiplier(alone, 1.0)
        assert there_too is not None
        assert exact_shear.value >= there_too.value * (1.0 - 3e-7)
        assert exact_shear.value == pytest.approx(there_too.value, rel=2e-2)


def test_places_miss_no_more_than_is_told(deck: Deck) -> None:
    """Every check of vehicles that are judged at places against the whole deck."""
    fleet = fleet_of(MANY)
    many = rate(deck, fleet)
    at_places = [one for one in many.rated if one.at_places]
    assert len(at_places) >= MANY - 7
    high, low = (
        float(many.notes[0].split(f" % too {way}")[0].rsplit(" ", 1)[1]) / 100.0
        for way in ("high", "low")
    )
    assert max(high, low) < 0.04
    for one in at_places[:3]:
        permit = next(p for p in fleet.permits if p.vehicle.name == one.vehicle)
        [whole] = rate(deck, Fleet((permit,))).rated
        for found in one.multipliers:
            other = whole.of(found.check)
            assert other is not None
            if found.floor:
                assert found.value <= other.value
            else:
                # of other vehicles than it was measured with
                assert found.value >= other.value * (1.0 - 2.0 * low - 1e-2)
                assert found.value <= other.value * (1.0 + 2.0 * high + 1e-2)


def test_tops_lie_apart() -> None:
    plan = np.array([[0.0, 0.0], [0.1, 0.0], [1.0, 0.0], [2.0, 0.0]])
    assert local_tops(np.array([0.99, 1.0, 0.95, 0.2]), plan, 1.0).tolist() == [1, 2]
    assert local_tops(np.array([0.99, 1.0, 0.95, 0.2]), plan, 2.0).tolist() == []

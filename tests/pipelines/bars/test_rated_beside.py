"""A vehicle beside the lanes of a load model: as a run judges both together."""

from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.design import StandardDesign, design
from pipelines.bars.rating.beside import lanes_left, room_of
from pipelines.bars.rating.fleet import Fleet, read_fleet
from pipelines.bars.rating.rate import Rating, rate
from pipelines.deck.deck import Deck
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.errors import DeckError
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.report.sections.rating import rated_line
from pipelines.standards.actions.loads import LaneKind, LaneSet, LoadModel
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.rated import COARSE, JUST, looked_at, utilisation
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, WEIGHT, deck_of

WIDE = PLAN.replace("[-2.0, 2.0]", "[-3.2, 3.2]")
OFFSETS = (-1.7, -1.0, 1.2, 1.8)
TRAFFIC = f"""
[traffic]
carriageway_m = [-3.1, 3.1]
load_models = ["EN 1991-2 LM1", "EN 1991-2 LM2"]
step_m = 0.6
offsets_m = {list(OFFSETS)}
surfacing_mm = 80
"""
CRANE = """
[[vehicle]]
name = "crane"
impact = 1.1
beside = "EN 1991-2 LM1"
axles = [
  { at_m = 0.0, load_kN = 120, gauge_m = 2.0, patch_mm = [250, 400] },
  { at_m = 1.6, load_kN = 160, gauge_m = 2.0, patch_mm = [250, 400] } ]
"""
# Frequent values of load model 1, EN 1990 table A2.1.
AXLES, DISTRIBUTED = 0.75, 0.40


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    stiff = BEAMS.replace("I_cm4 = 60000", "I_cm4 = 400000")
    parts = (SLAB, WIDE, stiff, TRAFFIC, WEIGHT, GRADES, BOTTOM, TOP, COARSE)
    return deck_of(tmp_path_factory.mktemp("beside"), *parts)


def fleet_of(folder: Path, text: str) -> Fleet:
    path = folder / "fleet.toml"
    path.write_text(text, encoding="utf-8")
    return read_fleet(path)


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Fleet:
    return fleet_of(tmp_path_factory.mktemp("beside"), CRANE)


@pytest.fixture(scope="module")
def rating(deck: Deck, fleet: Fleet) -> Rating:
    return rate(deck, fleet)


def together(deck: Deck, fleet: Fleet, factor: float) -> StandardDesign:
    """A run under a load model of a lane with the crane times a factor and one of load model 1's
    lanes at its frequent value."""
    [permit], (model, _) = fleet.permits, deck.required_traffic.load_models
    crane = LaneKind(
        name="crane",
        vehicles=(permit.vehicle,),
        factor=factor,
        room=room_of(permit.vehicle, model),
    )
    lanes = tuple(
        replace(kind, factor=AXLES * kind.factor, pressure=DISTRIBUTED * kind.pressure)
        for kind in model.kinds
    )
    assert len(lanes) == 2
    both = replace(
        model,
        kinds=(crane, *lanes),
        sets=(LaneSet((0, 1)), LaneSet((0, 2))),
        pressure=DISTRIBUTED * model.pressure,
    )
    traffic = replace(deck.required_traffic, load_models=(both,))
    solved = SolvedDeck.of(replace(deck, traffic=traffic))
    watch = DesignWatch(solved, case_responses(solved))
    envelopes = traffic_envelopes(solved, workers=1, watched=watch.of_model)
    [found] = design(solved, envelopes, watch, workers=1).standards
    return found


@pytest.mark.slow
def test_a_run_of_both_just_passes_and_just_fails(deck: Deck, fleet: Fleet, rating: Rating) -> None:
    """In bending by layer, and in stresses, whose combinations take all traffic by one factor; in
    shear, which is searched for in another way, within 1 %."""
    [rated] = rating.rated
    judged = [m for m in looked_at(rated) if m.check in (Check.BENDING, Check.STRESSES)]
    assert len(judged) >= 4
    for found in judged:
        less, more = (
            utilisation(together(deck, fleet, found.value * k), found)
            for k in (1.0 - JUST, 1.0 + JUST)
        )
        assert less <= 1.0 < more, found
    shear = rated.of(Check.SHEAR)
    assert shear is not None
    assert utilisation(together(deck, fleet, shear.value), shear) == pytest.approx(1.0, abs=1e-2)


def test_lanes_beside_leave_less(deck: Deck, fleet: Fleet, rating: Rating, tmp_path: Path) -> None:
    """Than the vehicle alone, and next to nothing beside it leaves what it carries alone."""
    [permit] = fleet.permits
    alone, little = rate(
        deck,
        Fleet((replace(permit, beside=None), replace(permit, factors=(1e-6, 1e-6)))),
    ).rated
    [rated] = rating.rated
    for check in (Check.BENDING, Check.SHEAR, Check.STRESSES, Check.CRACKS):
        one, two, three = (found.of(check) for found in (rated, alone, little))
        assert one is not None
        assert two is not None
        assert three is not None
        assert one.value < 0.995 * two.value
        assert three.value == pytest.approx(two.value, rel=1e-4)


def test_what_is_told_of_lanes_beside(rating: Rating) -> None:
    [rated] = rating.rated
    assert (
        rated.vehicle
        == "crane beside EN 1991-2 LM1 (axles \u00d7 0.75, distributed loads \u00d7 0.4)"
    )
    line = rated_line(rated)
    assert "; crane at " in line or ": crane at " in line or ", crane at " in line
    assert "forward, first axle at" in line
    assert "EN 1991-2 LM1 TS \u00d7" in line
    assert "the vehicle alone, the lanes stay" in " ".join(rating.notes)
    at = rated.least.position
    assert at is not None
    [crane, *others] = sorted(at.lanes, key=lambda lane: lane.kind != "crane")
    # wheels 2 m apart in both, 0.5 m between those of neighbours (EN 1991-2 4.3.2(5))
    assert all(abs(lane.offset - crane.offset) >= 2.5 - 1e-6 for lane in others)


def test_what_cannot_stand_beside_is_told(deck: Deck, tmp_path: Path) -> None:
    for text, words in (
        (CRANE.replace("LM1", "LM3"), "not among .traffic. load_models"),
        (CRANE.replace("LM1", "LM2"), "has one lane on this carriageway"),
    ):
        with pytest.raises(DeckError, match=f"vehicle crane, beside.*{words}"):
            rate(deck, fleet_of(tmp_path, text))
    with pytest.raises(DeckError, match=r"beside_factors.*must be above 0 and up to 1"):
        fleet_of(tmp_path, CRANE + "beside_factors = [0.0, 0.4]\n")


def test_lanes_that_a_vehicle_leaves(deck: Deck) -> None:
    """One at least of every set is the vehicle's; the factor is that of all lanes."""
    kind = LaneKind(name="a", vehicles=(), factor=1.0, room=1.0)
    sets = (LaneSet((0,), 1.2), LaneSet((0, 1), 1.0), LaneSet((0, 1, 1), 0.85))
    model = LoadModel(name="m", kinds=(kind, kind), sets=sets)
    left = {one.kinds: one.factor for one in lanes_left(model).sets}
    assert left == {(0,): 1.0, (1,): 1.0, (0, 1): 0.85, (1, 1): 0.85}

"""Multipliers of load models and loads for fatigue: just less passes in a run, just more fails."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.bars.adequacy import Check
from pipelines.bars.checks import fatigue
from pipelines.bars.checks.fatigue import fatigue_demand, fatigue_rows
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.design import StandardDesign, design
from pipelines.bars.rating.fleet import Fleet, read_fleet
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.rate import Rating, rate
from pipelines.bars.rating.root import MOST
from pipelines.deck.deck import Deck
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.errors import DeckError
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.report.data.rating_csv import write_rating
from pipelines.report.sections.rating import rated_line, rating_page
from pipelines.standards.actions.loads import LoadModel
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.rated import COARSE, JUST, looked_at, utilisation
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, WEIGHT, deck_of

TRAFFIC = """
[traffic]
carriageway_m = [-1.9, 1.9]
load_models = ["EN 1991-2 LM1", "EN 1991-2 LM2"]
joints = ["start"]
step_m = 0.5
lateral_step_m = 0.6
surfacing_mm = 80
[fatigue]
lambda_s = 1.2
"""
LM1, LM2 = "EN 1991-2 LM1", "EN 1991-2 LM2"


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    parts = (SLAB, PLAN, BEAMS, TRAFFIC, WEIGHT, GRADES, BOTTOM, TOP, COARSE)
    return deck_of(tmp_path_factory.mktemp("models"), *parts)


@pytest.fixture(scope="module")
def rating(deck: Deck) -> Rating:
    return rate(deck, Fleet.of_deck(deck))


def times(model: LoadModel, factor: float) -> LoadModel:
    """The model with its axles and distributed loads times a factor."""
    kinds = tuple(
        replace(kind, factor=factor * kind.factor, pressure=factor * kind.pressure)
        for kind in model.kinds
    )
    return replace(model, kinds=kinds, pressure=factor * model.pressure)


def judged(deck: Deck, name: str, factor: float) -> StandardDesign:
    """The bars by EN 1992, as a run judges them under a load model times a factor."""
    traffic = deck.required_traffic
    [model] = [model for model in traffic.load_models if model.name == name]
    alone = replace(traffic, load_models=(times(model, factor),))
    solved = SolvedDeck.of(replace(deck, traffic=alone))
    watch = DesignWatch(solved, case_responses(solved))
    envelopes = traffic_envelopes(solved, workers=1, watched=watch.of_model)
    [found] = design(solved, envelopes, watch, workers=1).standards
    return found


def passes_and_fails(deck: Deck, rated: Rated, found: Multiplier) -> None:
    just_less, just_more = (
        utilisation(judged(deck, rated.vehicle, found.value * k), found)
        for k in (1.0 - JUST, 1.0 + JUST)
    )
    assert just_less <= 1.0 < just_more, (rated.vehicle, found)


def of(rating: Rating, name: str) -> Rated:
    [found] = [one for one in rating.rated if one.vehicle == name]
    return found


def test_the_least_of_a_load_model_just_passes_and_just_fails(deck: Deck, rating: Rating) -> None:
    rated = of(rating, LM1)
    assert rated.whole
    passes_and_fails(deck, rated, rated.least)


@pytest.mark.slow
def test_every_check_of_load_models_just_passes_and_just_fails(deck: Deck, rating: Rating) -> None:
    for rated in (of(rating, LM1), of(rating, LM2)):
        every = looked_at(rated)
        checks = {Check.BENDING, Check.SHEAR, Check.PUNCHING, Check.STRESSES, Check.CRACKS}
        assert {m.check for m in every} == checks
        for found in every:
            passes_and_fails(deck, rated, found)


def test_distributed_loads_count_with_the_axles(deck: Deck, rating: Rating) -> None:
    """Load model 1 without its distributed loads carries more."""
    traffic = deck.required_traffic
    [model, _] = traffic.load_models
    kinds = tuple(replace(kind, pressure=0.0) for kind in model.kinds)
    bare = replace(traffic, load_models=(replace(model, kinds=kinds, pressure=0.0),))
    [found, _] = rate(replace(deck, traffic=bare), Fleet((), models=(LM1,))).rated
    assert found.least.value > 1.02 * of(rating, LM1).least.value


def test_fatigue_is_rated_by_its_own_load(
    deck: Deck, rating: Rating, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against the run's own rows with the axles times the multiplier in place of the factors."""
    rated = of(rating, "EN 1991-2 FLM3, for fatigue")
    [found] = rated.multipliers
    assert found.check is Check.FATIGUE
    assert 0.0 < found.value < MOST
    solved = SolvedDeck.of(deck)
    watch = DesignWatch(solved, case_responses(solved))
    [basis], bars = watch.reinforcement.bases, deck.required_reinforcement.bars

    def used(factor: float) -> float:
        axles = tuple(factor * one for one in (1.40, 1.75))
        monkeypatch.setattr(fatigue, "AXLES", axles)
        demand = fatigue_demand(solved, watch, basis.materials.factors, {})
        return max(row.utilisation for row in fatigue_rows(demand, bars, basis.materials))

    # the search is to 1e-7
    assert used(found.value * (1.0 - 1e-6)) <= 1.0 < used(found.value * (1.0 + 1e-6))


def test_what_is_told_of_load_models(rating: Rating, tmp_path: Path) -> None:
    line = rated_line(of(rating, LM1))
    assert "lane 1 at" in line
    assert "EN 1991-2 LM1 TS" in line
    page = rating_page(rating)
    assert {one.vehicle for one in rating.rated} == {LM1, LM2, "EN 1991-2 FLM3, for fatigue"}
    assert "levels" not in {section.name for section in page.sections}
    write_rating(tmp_path / "rating.csv", rating)
    with (tmp_path / "rating.csv").open(encoding="utf-8", newline="") as file:
        rows = [*csv.DictReader(file)]
    [least] = [row for row in rows if row["vehicle"] == LM1 and row["governs"] == "yes"]
    assert "lane 1 at" in least["lanes"]
    assert least["station_m"] == least["direction"] == ""


def test_load_models_of_a_fleet_are_of_the_deck(deck: Deck, tmp_path: Path) -> None:
    path = tmp_path / "fleet.toml"
    path.write_text('load_models = ["EN 1991-2 LM3"]\n', encoding="utf-8")
    with pytest.raises(DeckError, match=r"fleet, load_models.*not among.*EN 1991-2 LM1"):
        rate(deck, read_fleet(path))

"""Refined arrangements of load models against finer lattices and the positions they name."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from pipelines.accuracy.stated_values import stated_values
from pipelines.accuracy.tolerances import step_part
from pipelines.accuracy.worst_arrangement import worst_arrangements
from pipelines.analysis import analyse
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.responses import SolvedDeck
from pipelines.report.data.summary import summary
from tests.pipelines.load_model_decks import model_deck
from tests.pipelines.small_decks import solver_of

MODELS = ["EN 1991-2 LM1", "EN 1991-2 LM2", "IRC:6 Class AA lanes", "AASHTO HL-93"]


def finer(deck: Deck) -> Deck:
    assert deck.traffic is not None
    return replace(deck, traffic=replace(deck.traffic, step=0.15, lateral_step=0.2))


@pytest.fixture(scope="module", params=MODELS)
def job(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Deck, SolvedDeck, TrafficEnvelope]:
    deck = model_deck(tmp_path_factory.mktemp("worst"), request.param)
    solved = solver_of(deck)
    [found] = traffic_envelopes(solved)
    return deck, solved, found


def test_a_finer_lattice_never_exceeds_value_and_step_error(
    job: tuple[Deck, SolvedDeck, TrafficEnvelope],
) -> None:
    deck, solved, found = job
    stated = stated_values(solved, found, ())
    high, low, *_ = stated.split(step_part(solved, found, stated))
    [fine] = traffic_envelopes(replace(solved, deck=finer(deck)))
    e = found.probes
    scale = 1e-9 * np.abs(e.maximum).max()
    np.testing.assert_array_less(fine.probes.maximum, e.maximum + high + scale)
    np.testing.assert_array_less(-fine.probes.minimum, -e.minimum + low + scale)
    # and the errors are no blanket: most are some per cent of steps of 0.6 and 0.55 m
    share = (high / np.maximum(e.maximum, 1e-12))[e.maximum > 0.0]
    assert 0.005 < np.median(share) < 0.2


def test_refined_values_are_no_lower_than_stepped_ones(
    job: tuple[Deck, SolvedDeck, TrafficEnvelope],
) -> None:
    _, solved, found = job
    n = len(found.probes.maximum)
    wanted = [(k, 1) for k in range(n)] + [(k, -1) for k in range(n)]
    e = found.probes
    starts = [found.position(int(k)) for k in (*e.at_maximum, *e.at_minimum)]
    worst = worst_arrangements(solved, solved.probes.rows, wanted, found.model, starts)
    stepped = [*found.probes.maximum, *found.probes.minimum]
    for (_, sign), place, value in zip(wanted, worst, stepped, strict=True):
        assert sign * place.value + place.tolerance >= sign * value - 1e-9
        if place.position is None:
            continue
        # neighbours keep their distance
        kinds = {kind.name: kind for kind in found.model.kinds}
        stand = [
            (lane.position.offset, kinds[lane.kind].room)
            for lane in place.position.lanes
            if lane.position is not None
        ]
        for (a, room_a), (b, room_b) in pairwise(stand):
            assert b - a >= room_a + room_b - 2e-6


def test_step_errors_stand_in_the_summary(tmp_path: Path) -> None:
    result = analyse(model_deck(tmp_path, "EN 1991-2 LM2"))
    [model] = [one.envelope for one in result.traffic if one.envelope.whole]
    stated = stated_values(result.solved, model, ())
    high, *_ = stated.split(step_part(result.solved, model, stated))
    entry = summary(result)["load_models"]["EN 1991-2 LM2"]["probes"]["bay 1"]["m_x"]["max"]
    assert entry["error_step"] == pytest.approx(1e-3 * high[1], rel=1e-9)
    assert entry["error_step"] > 0.0

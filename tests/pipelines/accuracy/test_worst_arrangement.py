"""Refined arrangements of load models against finer lattices and the positions they name."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from pipelines.accuracy.worst_arrangement import model_step_errors, worst_arrangements
from pipelines.analysis import analyse
from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.load_models import model_envelopes
from pipelines.model.responses import Solver
from pipelines.report.data.summary import summary
from tests.pipelines.envelopes.test_single_vehicles import solver_of
from tests.pipelines.standards.test_loadmodels import model_deck

MODELS = ["EN 1991-2 LM1", "EN 1991-2 LM2", "IRC:6 Class AA lanes", "AASHTO HL-93"]


def finer(deck: Deck) -> Deck:
    assert deck.traffic is not None
    return replace(deck, traffic=replace(deck.traffic, step=0.15, lateral_step=0.2))


@pytest.fixture(scope="module", params=MODELS)
def job(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Deck, Solver, ModelEnvelope]:
    deck = model_deck(tmp_path_factory.mktemp("worst"), request.param)
    solver = solver_of(deck)
    [found] = model_envelopes(deck, solver)
    return deck, solver, found


def test_a_finer_lattice_never_exceeds_value_and_step_error(
    job: tuple[Deck, Solver, ModelEnvelope],
) -> None:
    deck, solver, found = job
    errors = model_step_errors(deck, solver, found)
    high, low = errors.probes_max, errors.probes_min
    [fine] = model_envelopes(finer(deck), solver)
    e = found.probes
    scale = 1e-9 * np.abs(e.maximum).max()
    np.testing.assert_array_less(fine.probes.maximum, e.maximum + high + scale)
    np.testing.assert_array_less(-fine.probes.minimum, -e.minimum + low + scale)
    # and the errors are no blanket: most are some per cent of steps of 0.6 and 0.55 m
    share = (high / np.maximum(e.maximum, 1e-12))[e.maximum > 0.0]
    assert 0.005 < np.median(share) < 0.2


def test_refined_values_are_no_lower_than_stepped_ones(
    job: tuple[Deck, Solver, ModelEnvelope],
) -> None:
    deck, solver, found = job
    n = len(found.probes.maximum)
    wanted = [(k, 1) for k in range(n)] + [(k, -1) for k in range(n)]
    e = found.probes
    starts = [found.position(int(k)) for k in (*e.at_maximum, *e.at_minimum)]
    worst = worst_arrangements(deck, solver, solver.probes.rows, wanted, found.model, starts)
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
    [model] = result.models
    high = model_step_errors(result.deck, result.solver, model).probes_max
    entry = summary(result)["load_models"]["EN 1991-2 LM2"]["probes"]["bay 1"]["m_x"]["max"]
    assert entry["step_error"] == pytest.approx(1e-3 * high[1], rel=1e-9)
    assert entry["step_error"] > 0.0

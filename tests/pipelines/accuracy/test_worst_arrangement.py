"""Refined arrangements of load models against finer lattices and the positions they name."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from pipelines.accuracy.stated_values import own_rows
from pipelines.accuracy.worst_envelope import WorstEnvelope, with_worst_loads
from pipelines.accuracy.worst_loads import worst_loads
from pipelines.analysis.analyse import analyse
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.governing_loads import governing_loads
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.fixed_loads import values_under
from pipelines.model.influence import probe_surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.report.data.summary import summary
from pipelines.units import RESULT_SCALE
from tests.pipelines.load_model_decks import model_deck
from tests.pipelines.small_decks import solver_of

Job = tuple[Deck, SolvedDeck, TrafficEnvelope, WorstEnvelope]
MODELS = ["EN 1991-2 LM1", "EN 1991-2 LM2", "IRC:6 Class AA lanes", "AASHTO HL-93"]


def finer(deck: Deck) -> Deck:
    assert deck.traffic is not None
    return replace(deck, traffic=replace(deck.traffic, step=0.15, lateral_step=0.2))


@pytest.fixture(scope="module", params=MODELS)
def job(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Job:
    deck = model_deck(tmp_path_factory.mktemp("worst"), request.param)
    solved = solver_of(deck)
    [found] = traffic_envelopes(solved)
    return deck, solved, found, with_worst_loads(solved, found)


def test_a_finer_lattice_never_exceeds_value_and_step_error(job: Job) -> None:
    deck, solved, found, worst = job
    high, low, *_ = worst.stated.split(worst.gap)
    [fine] = traffic_envelopes(replace(solved, deck=finer(deck)))
    e = worst.envelope.probes
    scale = 1e-9 * np.abs(e.maximum).max()
    np.testing.assert_array_less(fine.probes.maximum, e.maximum + high + scale)
    np.testing.assert_array_less(-fine.probes.minimum, -e.minimum + low + scale)
    held, (high, low) = worst.envelope.reactions, worst.reaction_gap
    scale = 1e-9 * np.abs(held.maximum).max()
    np.testing.assert_array_less(fine.reactions.maximum, held.maximum + high + scale)
    np.testing.assert_array_less(-fine.reactions.minimum, -held.minimum + low + scale)
    assert np.all(held.maximum >= found.reactions.maximum)
    assert np.any(held.maximum > 1.001 * found.reactions.maximum)
    # and the values are raised where steps of 0.6 and 0.55 m miss some per cent
    share = (e.maximum / np.maximum(found.probes.maximum, 1e-12) - 1.0)[e.maximum > 0.0]
    assert 0.003 < np.median(share) < 0.2


def test_stated_values_are_those_of_their_own_arrangements(job: Job) -> None:
    _, solved, _, worst = job
    stated = worst.stated
    rows = own_rows(solved, stated)[stated.row]
    held = governing_loads(solved, worst.envelope, rows, stated.sign, stated.number, stated.joint)
    own = values_under(solved.stiffness, held.__getitem__, rows, np.arange(len(held)))
    np.testing.assert_allclose(stated.value, own, atol=1e-8 * np.abs(own).max())
    assert np.all(worst.gap >= 0.0)
    # a governing value is the field's, with the arrangement that makes it, or a larger one off its
    # points
    assert np.all(worst.envelope.arrangements[:, 0] >= 0)
    for peak, off in zip(worst.peaks, worst.off, strict=True):
        e = worst.envelope.fields.extremes
        value, at = (e.maximum, e.at_maximum) if peak.sign > 0 else (e.minimum, e.at_minimum)
        scale = RESULT_SCALE[peak.component]
        if off is None:
            assert peak.value == pytest.approx(scale * value[peak.component, peak.point])
            assert peak.number == at[peak.component, peak.point]
        else:
            assert peak.sign * (peak.value - scale * value[peak.component, peak.point]) > 0.0
        assert peak.coexisting[peak.component] == pytest.approx(peak.value, rel=1e-9)
        assert peak.position == worst.envelope.position(peak.number)


def test_refined_values_are_no_lower_than_stepped_ones(job: Job) -> None:
    _, solved, found, _ = job
    n = len(found.probes.maximum)
    wanted = [(k, 1) for k in range(n)] + [(k, -1) for k in range(n)]
    e = found.probes
    starts = [found.position(int(k)) for k in (*e.at_maximum, *e.at_minimum)]
    worst = worst_loads(solved.deck, probe_surfaces(solved), wanted, found.model, starts=starts)
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
    result = analyse(model_deck(tmp_path, "EN 1991-2 LM2"), strips_wanted=False)
    [model] = [one for one in result.traffic if one.envelope.whole]
    entry = summary(result)["load_models"]["EN 1991-2 LM2"]["probes"]["bay 1"]["m_x"]["max"]
    [probe] = [one for one in model.probes if one.names[0] == "bay 1"]
    step = probe.tolerances.probes["max"][1, 1]
    assert entry["error_step"] == pytest.approx(1e-3 * step, rel=1e-9)
    assert entry["error_step"] > 0.0
    assert entry["error_step_is"] == "proven"
    assert entry["value"] == pytest.approx(1e-3 * probe.envelope.probes.maximum[1])

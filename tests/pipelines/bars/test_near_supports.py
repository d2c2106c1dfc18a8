"""Loads near supports: shares of wheels by hand, and the reduced check against every position."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipelines.bars.checks.near_supports import depth_across, reduced_shear, wheel_shares
from pipelines.bars.demand.governing_index import GoverningIndex
from pipelines.bars.demand.observer import DesignWatch
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.resistance.bending import utilisation
from pipelines.traffic.positions import WheelPatches, load_positions
from plate.loads.loads import patch_loads
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, deck_of, grades, mat

BARS = (
    WEIGHT
    + grades(
        {"EN 1992": "C30/37", "AASHTO LRFD": "4 ksi"},
        {"EN 1992": "B500B", "AASHTO LRFD": "Grade 60"},
    )
    + mat("bottom", "10@150", "10@150")
    + mat("top", "10@200", "10@200", cover=45)
    + """
[mesh]
size_m = 1.0
order = 2
"""
)


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    # contacts that do not spread stand nearer to the section before they pass it
    near = TRAFFIC.replace("surfacing_mm = 80", 'dispersal = "none"')
    near = near.replace("step_m = 0.5", "step_m = 0.2")
    return deck_of(tmp_path_factory.mktemp("deck"), SLAB, PLAN, BEAMS, near, BARS)


@pytest.fixture(scope="module")
def solved(deck: Deck) -> SolvedDeck:
    model = build_model(deck).model
    return SolvedDeck.of(deck, model)


@pytest.fixture(scope="module")
def watched(deck: Deck, solved: SolvedDeck) -> tuple[DesignWatch, TrafficEnvelope]:
    watch = DesignWatch(solved, case_responses(solved))
    [envelopes] = traffic_envelopes(solved, workers=1, observers=(watch,))
    assert envelopes is not None
    return watch, envelopes


def numbered(envelope: TrafficEnvelope) -> GoverningIndex:
    found = GoverningIndex()
    found.add(envelope)
    return found


def wheel(x_low: float, x_high: float) -> np.ndarray:
    return np.array([[x_low, -0.2], [x_high, -0.2], [x_high, 0.2], [x_low, 0.2]])


def test_shares_by_hand(deck: Deck) -> None:
    """Cross beam C2 at 3.0 m, width 0.25: faces at 2.875 and 3.125; d = 0.2 m."""
    line = deck.line("C2")
    assert line is not None
    places = [
        (3.325, 3.6),
        (3.125, 3.4),
        (3.425, 3.7),
        (3.6, 3.9),
        (3.0, 3.2),
        (2.9, 3.1),
        (2.4, 2.7),
    ]
    wheels = WheelPatches(
        np.array([wheel(*p) for p in places]), np.ones(7), np.zeros(7, dtype=np.intp)
    )
    after = wheel_shares(deck, line, 1, 0.2, wheels)
    # a_v 0.2, 0, 0.3, 0.475; over the face; on the flange; on the other side
    assert_allclose(after, [0.5, 0.25, 0.75, 1.0, 0.25, 1.0, 1.0], rtol=1e-9)
    before = wheel_shares(deck, line, -1, 0.2, wheels)
    # the last one's edge is 0.175 from the other face
    assert_allclose(before, [1, 1, 1, 1, 1, 1, 0.175 / 0.4], rtol=1e-9)


def test_depth_is_the_least_across_the_line(deck: Deck) -> None:
    line, one = deck.line("C2"), deck.reinforcement
    assert line is not None
    assert one is not None
    assert depth_across(deck, line, one.bars) == pytest.approx(0.250 - 0.045 - 0.005)


def test_no_such_rule_for_the_beta_method(
    deck: Deck, solved: SolvedDeck, watched: tuple[DesignWatch, TrafficEnvelope]
) -> None:
    watch, envelopes = watched
    width = watch.design_width
    assert (
        reduced_shear(solved, envelopes.runs, numbered(envelopes), watch.shears[1], width) is None
    )


def test_reduced_is_the_worst_of_every_position(
    deck: Deck, solved: SolvedDeck, watched: tuple[DesignWatch, TrafficEnvelope]
) -> None:
    """Against positions every tenth of a metre all over the deck, all lines and sides solved with
    their shares, not only those near the governing one."""
    watch, envelopes = watched
    assert deck.traffic is not None
    closer = load_positions(replace(deck, traffic=replace(deck.traffic, step=0.1)))
    tracker, width = watch.shears[0], watch.design_width
    found = reduced_shear(solved, envelopes.runs, numbered(envelopes), tracker, width)
    assert found is not None
    sections, w = tracker.sections, tracker.widths.index(width)
    worst, least = 0.0, 1.0
    for k, name in enumerate(sections.names):
        line = deck.line(name)
        assert line is not None
        d = depth_across(deck, line, tracker.bars)
        for side in (-1, 1):
            group = np.flatnonzero((sections.line == k) & (sections.side == side))
            if not len(group):
                continue
            for run in closer:
                wheels = run.wheels(slice(None))
                shares = wheel_shares(deck, line, side, d, run.contacts.wheels(slice(None)))
                load = wheels.load * shares
                least = min(least, float(shares.min()))
                F = patch_loads(solved.model.mesh, wheels.corners, load, wheels.position, len(run))
                traffic = tracker.factored(solved.respond(F))
                acting = np.asarray(tracker.means[w] @ tracker.principal(traffic))[group]
                resists, _ = tracker.resistance_at(traffic[:, group], group, acting)
                worst = max(worst, float(utilisation(acting, resists).max()))
    whole = tracker.demand().utilisation[w].max()
    # between the steps of the traffic, 0.2 m, it may rise a little
    assert float(whole) * (1 - 1e-12) <= found.whole <= float(whole) * 1.02
    assert found.utilisation == pytest.approx(worst, rel=1e-9)
    assert found.utilisation <= found.whole
    assert least < 0.5  # wheels are reduced, though the one that governs here stands farther off
    assert found.n < sum(len(run) for run in closer)
    assert 0 < found.strut < 1


def test_permanent_actions_alone(tmp_path: Path, solved: SolvedDeck) -> None:
    """Without traffic nothing is reduced: permanent actions alone govern."""
    bare = deck_of(tmp_path, SLAB, PLAN, BEAMS, BARS)
    solved = replace(solved, deck=bare)
    watch = DesignWatch(solved, case_responses(solved))
    found = reduced_shear(solved, (), GoverningIndex(), watch.shears[0], watch.design_width)
    assert found is not None
    assert found.utilisation == found.whole
    assert found.position is None

"""Governing moments and deflections that stand between the field points, beside what a far richer
mesh has all over the deck under the same loads.

Two spans on lines under a lorry: moments over the line and twisting moments beside the outer lines
have their peaks amid points of the field.
"""

from dataclasses import replace

import numpy as np
import pytest

from pipelines.accuracy.spots import read_spots
from pipelines.accuracy.tolerances import Yardsticks, traffic_tolerances
from pipelines.accuracy.worst_envelope import WorstEnvelope, with_worst_loads
from pipelines.envelopes.peaks import SHEARS, Peak, governing_values
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.fixed_loads import loads_of
from pipelines.model.readable import TWIST
from pipelines.model.responses import SolvedDeck
from pipelines.units import RESULT_SCALE
from plate.results.functionals import component_rows
from plate.results.places import at_points
from plate.solver.stiffness import Stiffness
from tests.pipelines.small_decks import LORRY, SLAB, SPANS, deck_of

# Stations and offsets around a place at which a finer mesh is read [m].
STEPS = np.linspace(-0.25, 0.25, 21)
GRID = np.stack(np.meshgrid(STEPS, STEPS), axis=-1).reshape(-1, 2)


@pytest.fixture(scope="module")
def found(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[SolvedDeck, WorstEnvelope, tuple[Peak, ...], tuple[Peak, ...], Stiffness]:
    """The deck solved, its values under worst loads, those by the steps, those with errors, and a
    mesh of order 5 with half as wide cells."""
    deck = deck_of(tmp_path_factory.mktemp("deck"), SLAB, SPANS, LORRY)
    built = build_model(deck)
    solved = SolvedDeck.of(deck, built.model)
    [envelope] = traffic_envelopes(solved)
    worst = with_worst_loads(solved, envelope)
    [tolerances] = traffic_tolerances(solved, [worst], Yardsticks.of(built, solved))
    told = tuple(p.with_tolerance(t) for p, t in zip(worst.peaks, tolerances.peaks, strict=True))
    fine = replace(deck, mesh=replace(deck.mesh, order=5, size=0.5 * built.size))
    richer = Stiffness(build_model(fine).model)
    return solved, worst, governing_values(solved, worst.envelope), told, richer


def test_values_between_points_are_those_of_a_far_richer_mesh(
    found: tuple[SolvedDeck, WorstEnvelope, tuple[Peak, ...], tuple[Peak, ...], Stiffness],
) -> None:
    """At their places, under their loads, within their errors, which are 1 % at most; around them
    the richer mesh has no more than is told. The field's points are short by up to 3 %, and their
    loads make no more there."""
    solved, worst, of_field, told, richer = found
    mesh = richer.model.mesh
    short = {}
    for peak, one, field in zip(told, worst.off, of_field, strict=True):
        if one is None or peak.component in SHEARS:
            continue
        [[true]] = read_spots(solved, richer, one.spots, [peak.component])
        own = abs(peak.value)
        assert peak.error is not None
        assert peak.error < 0.01 * own
        assert abs(float(true) * RESULT_SCALE[peak.component] - peak.value) < peak.error
        # twist governs a thickness off lines, hogging on them
        along = 0.0 if peak.component == TWIST or peak.sign < 0 else 1.0
        around = np.array(peak.at) + GRID * [along, 1.0]
        at = around[solved.deck.plan.contains(around)]
        rows = component_rows(richer.model, at_points(mesh, at), [peak.component] * len(at))
        U = richer.solve(loads_of(richer.model, [peak.held]))
        most = float((peak.sign * (rows @ U)).max()) * RESULT_SCALE[peak.component]
        assert most <= own + peak.error
        short[peak.result, peak.extreme] = 1.0 - abs(field.value) / most
    assert {key for key, share in short.items() if share > 0.03} == {
        ("m_xy", "max"),
        ("m_xy", "min"),
    }
    assert short["w", "max"] > 0.004


def test_their_loads_are_worst_there(
    found: tuple[SolvedDeck, WorstEnvelope, tuple[Peak, ...], tuple[Peak, ...], Stiffness],
) -> None:
    """Proven as those of points are: the load of no station has more at the place, the lorry every
    0.02 m at its offset."""
    solved, worst, _, told, _ = found
    looked_at = 0
    for peak, one in zip(told, worst.off, strict=True):
        if one is None or peak.component in SHEARS:
            continue
        looked_at += 1
        assert peak.tolerance is not None
        assert peak.tolerance.proven
        shifts = np.arange(-0.4, 0.41, 0.02)
        moved = [
            replace(peak.held, corners=peak.held.corners + np.array([shift, 0.0]))
            for shift in shifts
        ]
        [spot] = one.spots
        spots = [replace(spot, held=load) for load in moved]
        read = read_spots(solved, solved.stiffness, spots, [peak.component] * len(spots))
        most = float((peak.sign * np.concatenate(read)).max()) * RESULT_SCALE[peak.component]
        assert most <= abs(peak.value) * (1.0 + 2e-4)
    assert looked_at >= 4

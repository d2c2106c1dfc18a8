"""Governing values whose place is another one on a richer mesh or between the steps."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.accuracy.between_points import LEAST
from pipelines.accuracy.climbed import counts, moved_along
from pipelines.accuracy.mesh_parts import SAFETY
from pipelines.accuracy.near_peaks import largest_near
from pipelines.accuracy.stated_values import read_on, stated_under
from pipelines.accuracy.tolerances import Yardsticks, traffic_tolerances
from pipelines.accuracy.worst_envelope import WorstEnvelope, with_worst_loads
from pipelines.envelopes.peaks import governing_values, headline_points
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.fixed_loads import loads_of
from pipelines.model.responses import SolvedDeck
from pipelines.units import RESULT_SCALE
from plate.results.fields import FieldRecovery, field_points
from plate.results.functionals import component_rows
from plate.results.places import at_points, on_sides
from tests.pipelines.small_decks import LORRY, SLAB, SPANS, deck_of

PANEL = """
[plan]
stations_m = [0.0, 3.5]
offsets_m = [-2.0, 2.0]
[[line]]
on = ["C*", "L*"]
support = "clamped"
[traffic]
carriageway_m = [-1.9, 1.9]
offsets_m = [-0.4, 0.3]
step_m = 0.75
surfacing_mm = 80
[[vehicle]]
name = "lorry"
axles = [{ at_m = 0.0, load_kN = 100, gauge_m = 1.8, patch_mm = [250, 400] }]
"""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[SolvedDeck, WorstEnvelope, Yardsticks]:
    deck = deck_of(tmp_path_factory.mktemp("deck"), SLAB, PANEL)
    built = build_model(deck)
    solved = SolvedDeck.of(deck, built.model)
    [envelope] = traffic_envelopes(solved)
    return solved, with_worst_loads(solved, envelope), Yardsticks.of(built, solved)


def test_errors_reach_what_the_richer_mesh_governs_with(
    found: tuple[SolvedDeck, WorstEnvelope, Yardsticks],
) -> None:
    """The richer mesh under steps of a fifteenth, whose governing points are its own: deflections
    and bending moments, which have no edge layer. Without the surroundings some of the field are
    exceeded."""
    solved, worst, measured = found
    [tolerances] = traffic_tolerances(solved, [worst], measured)
    stated = worst.stated
    there = stated_under(measured.richer, read_on(measured.richer, solved, stated).rows, stated)
    of_peaks = SAFETY * np.abs(there - stated.value)[2 * stated.n_probe :]
    without = {(p.result, p.extreme): e for p, e in zip(worst.peaks, of_peaks, strict=False)}
    deck = solved.deck
    assert deck.traffic is not None
    finely = replace(deck, traffic=replace(deck.traffic, step=0.05))
    richer = SolvedDeck.of(finely, measured.richer.model)
    [envelope] = traffic_envelopes(richer)
    e = envelope.fields.extremes
    read = headline_points(richer)
    exceeded = 0
    of_field = np.abs(stated.value[2 * stated.n_probe :]).tolist()
    for peak, tolerance, field in zip(worst.peaks, tolerances.peaks, of_field, strict=False):
        if peak.knife_edge or peak.component > 2:
            continue
        k = peak.component
        allowed = richer.hogging_readable if k and peak.sign < 0 else read[k]
        values = e.maximum[k] if peak.sign > 0 else e.minimum[k]
        most = float((peak.sign * values)[allowed].max())
        own = peak.sign * peak.value / RESULT_SCALE[k]
        assert most <= own + tolerance.error
        exceeded += most > field + without[peak.result, peak.extreme]
    assert exceeded >= 1


def test_what_lies_between_points_is_near(
    found: tuple[SolvedDeck, WorstEnvelope, Yardsticks],
) -> None:
    """The richer mesh read where sagging governs every 3 cm, under the loads that govern and these
    moved by a quarter of a step: none is beyond what is said to be near of values that are lower,
    but for what lies between two steps from point to point; at its own points some is."""
    solved, worst, measured = found
    richer = measured.richer
    lower = [replace(peak, value=0.95 * peak.value) for peak in worst.peaks]
    near = largest_near(solved, worst.envelope, lower, richer)
    recovery = FieldRecovery(richer.model)
    deck = solved.deck
    assert deck.traffic is not None
    beyond = 0
    for peak, most in zip(worst.peaks, near, strict=True):
        if peak.knife_edge or peak.component not in (0, 1, 2) or peak.sign < 0:
            continue
        moved = moved_along(solved, peak.held)[1:3]
        U = richer.solve(loads_of(richer.model, [peak.held, *moved]))
        raster = np.linspace(-0.15, 0.15, 11)
        at = np.array(peak.at) + np.stack(np.meshgrid(raster, raster), axis=-1).reshape(-1, 2)
        places = at_points(richer.model.mesh, at[deck.plan.contains(at)])
        rows = component_rows(richer.model, places, [peak.component] * places.count)
        read = float((rows @ U).max())
        assert read <= most * (1.0 + 1e-3)
        beyond += read > float(recovery.fields(U)[peak.component].max()) * (1.0 + 1e-3)
    assert beyond > 0


def test_knife_edges_and_no_values_have_no_surroundings(
    found: tuple[SolvedDeck, WorstEnvelope, Yardsticks],
) -> None:
    solved, worst, measured = found
    edges = [replace(peak, knife_edge=True) for peak in worst.peaks]
    none = largest_near(solved, worst.envelope, edges, measured.richer)
    assert np.all(np.isneginf(none))
    assert not len(largest_near(solved, worst.envelope, [], measured.richer))


def test_no_other_point_has_more_under_the_loads_that_govern(
    found: tuple[SolvedDeck, WorstEnvelope, Yardsticks],
) -> None:
    """The fields under the loads of each governing value, but for what is not worth a search of
    those between points; of the point that governs at the steps this is not so."""
    solved, worst, _ = found
    [envelope] = traffic_envelopes(solved)
    places = {(p.result, p.extreme): p.point for p in governing_values(solved, envelope)}
    moved = 0
    for peak, off in zip(worst.peaks, worst.off, strict=True):
        U = solved.stiffness.solve(loads_of(solved.model, [peak.held]))
        size = peak.sign * solved.recovery.fields(U)[peak.component, :, 0]
        there = size[counts(solved.reading, peak)].max()
        value = abs(peak.value) / RESULT_SCALE[peak.component]
        assert there <= value * (1.0 + (LEAST if off else 1e-6))
        moved += peak.point != places[peak.result, peak.extreme]
    assert moved > 0


def test_cells_beside_the_end_of_a_line_do_not_overshoot(tmp_path: Path) -> None:
    """By thin theory, where a line ends at a free edge: hogging near the governing one is no more
    than the richer mesh has every centimetre along the line; the polynomials through the points of
    its last cells have 2 % more."""
    deck = deck_of(tmp_path, SLAB.replace("[slab]", '[slab]\ntheory = "kirchhoff"'), SPANS, LORRY)
    built = build_model(deck)
    solved = SolvedDeck.of(deck, built.model)
    [envelope] = traffic_envelopes(solved)
    worst = with_worst_loads(solved, envelope)
    richer = Yardsticks.of(built, solved).richer
    [peak] = [
        p for p in worst.peaks if (p.result, p.extreme, p.knife_edge) == ("m_x", "min", False)
    ]
    [near] = largest_near(solved, worst.envelope, [peak], richer)
    at = np.column_stack([np.full(101, 3.0), np.linspace(-2.0, -1.0, 101)])
    towards = np.full(at.shape, [2.9, -1.5])
    places = on_sides(richer.model.mesh, field_points(richer.model), at, towards)
    rows = component_rows(richer.model, places, [peak.component] * len(at))
    loads = [peak.held, *moved_along(solved, peak.held)]
    most = float(-(rows @ richer.solve(loads_of(richer.model, loads))).min())
    assert 0.995 * most < near < 1.005 * most

"""The twisting moment of bars beside edges: without what Mindlin's edge layer takes of it."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.demand.edge_layer import EdgeLayer, edge_layer
from pipelines.bars.demand.moments import LAYER_ROWS, MomentEnvelopes
from pipelines.bars.demand.wood_armer import needed
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import combination
from pipelines.standards.factors import FACTORS
from plate.results.functionals import component_rows, result_rows
from plate.results.places import at_points
from tests.oracles.edge_twist import twist_row
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, deck_of

T = 0.25
# Two ends softly held, two sides free; loaded so that it twists along all of them.
PANEL = """
[plan]
stations_m = [0.0, 6.0]
offsets_m = [-2.0, 2.0]
{more}
[[line]]
on = "C*"
support = "rigid"
{hard}
[[case]]
name = "half"
patches = [{ at_m = [1.5, 0.4], size_m = [2.0, 2.0], load_kN = 120 }]
"""
LOW, HIGH = (0.0, -2.0), (6.0, 2.0)
HARD_SIDES = '[[line]]\non = "L*"\nsupport = "rigid"\nhard = true\n'


def solved_of(
    folder: Path, *parts: str, more: str = "", hard: str = ""
) -> tuple[SolvedDeck, Response]:
    deck = deck_of(folder, SLAB, *parts, PANEL, MESH, more=more, hard=hard)
    solved = SolvedDeck.of(deck)
    return solved, case_responses(solved)["half"]


def layer_of(solved: SolvedDeck) -> EdgeLayer:
    layer = edge_layer(solved)
    assert layer is not None
    return layer


def test_only_the_twist_beside_edges_is_another(tmp_path: Path) -> None:
    """A thickness and more off the edges nothing changes, and no bending moment anywhere; nearer
    the twist is that of the place that far off them."""
    solved, response = solved_of(tmp_path)
    found, raw = layer_of(solved).moments(response)[..., 0], response.fields[1:4, :, 0]
    np.testing.assert_allclose(found[:2], raw[:2], rtol=1e-12, atol=1e-9)
    plan = solved.recovery.points.plan
    inner = np.clip(plan, np.array(LOW) + T, np.array(HIGH) - T)
    inside = np.abs(inner - plan).max(axis=1) > 1e-6 * T
    np.testing.assert_array_equal(found[2, ~inside], raw[2, ~inside])
    for point in np.flatnonzero(inside):
        row = twist_row(solved, int(point), LOW, HIGH)
        expected = float((row @ response.displacements)[0, 0])
        assert found[2, point] == pytest.approx(expected, rel=1e-9, abs=1e-6)


def test_at_a_free_edge_it_is_that_of_thin_theory_a_thickness_off(tmp_path: Path) -> None:
    """There the layer is 4 % of the twist at most, with the shear strain's part some 2 %; to the
    edge Kirchhoff's twist grows by 10 to 17 % here. Mindlin's own is nothing at the edge."""
    solved, response = solved_of(tmp_path)
    thin, by_thin = solved_of(tmp_path, 'theory = "kirchhoff"\n')
    assert edge_layer(thin) is None
    found = layer_of(solved).moments(response)[2, :, 0]
    plan = solved.recovery.points.plan
    tried = np.flatnonzero((plan[:, 1] == 2.0) & (plan[:, 0] >= 4.0) & (plan[:, 0] <= 5.5))
    assert len(tried) >= 2
    for point in tried:
        at = np.array([plan[point] - [0.0, T], plan[point]])
        rows = component_rows(thin.model, at_points(thin.model.mesh, at), [3, 3])
        off, edge = (rows @ by_thin.displacements)[:, 0]
        assert abs(response.fields[3, point, 0]) < 0.03 * edge
        assert found[point] == pytest.approx(off, rel=0.03)
        assert 0.83 * edge < found[point] < edge


def test_edges_that_hold_the_slope_have_no_layer(tmp_path: Path) -> None:
    solved, _ = solved_of(tmp_path, HARD_SIDES)
    x = solved.recovery.points.plan[:, 0]
    gap = np.minimum(x, 6.0 - x)
    np.testing.assert_array_equal(layer_of(solved).place >= 0, gap < T * (1.0 - 1e-6))
    hard, _ = solved_of(tmp_path, HARD_SIDES, hard="hard = true")
    assert edge_layer(hard) is None


def test_beams_within_the_slab_have_no_layer(tmp_path: Path) -> None:
    """Of two bays on cross beams only what is near the four edges, all of them free."""
    solved = SolvedDeck.of(deck_of(tmp_path, SLAB, PLAN, BEAMS, MESH))
    x, y = solved.recovery.points.plan.T
    gap = np.min([x + 0.4, 6.4 - x, 2.0 - np.abs(y)], axis=0)
    np.testing.assert_array_equal(layer_of(solved).place >= 0, gap < T * (1.0 - 1e-6))


def test_at_a_skew_edge_it_is_the_twist_about_the_edge(tmp_path: Path) -> None:
    """Beside C1 of a deck with 30 degrees of skew: the bending moments along and across the line
    stay, the twist about it is that of a point further in."""
    solved, response = solved_of(tmp_path, more="skew_deg = 30.0")
    layer = layer_of(solved)
    plan = solved.recovery.points.plan
    raw, found = response.fields[1:4, :, 0], layer.moments(response)[..., 0]
    along = np.array([np.sin(np.radians(30.0)), np.cos(np.radians(30.0))])
    across = np.array([along[1], -along[0]])

    def component(m: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.asarray(a[0] * b[0] * m[0] + a[1] * b[1] * m[1]) + m[2] * (
            a[0] * b[1] + a[1] * b[0]
        )

    away = (plan - [0.0, 0.0]) @ across
    inside = (away < T * (1.0 - 1e-6)) & (np.abs(plan[:, 1]) < 1.0)
    assert inside.sum() > 10
    for a in (along, across):
        expected = component(raw, a, a)
        np.testing.assert_allclose(component(found, a, a)[inside], expected[inside], rtol=1e-9)
    # a thickness off the line along its normal
    inner = plan[inside] + (T - away[inside])[:, None] * across
    rows = result_rows(solved.model, at_points(solved.model.mesh, inner))
    m = (rows @ response.displacements[:, 0]).reshape(-1, 6)[:, 1:4].T
    expected = component(m, along, across)
    twist = component(found, along, across)[inside]
    np.testing.assert_allclose(twist, expected, rtol=1e-6, atol=1e-6 * np.abs(expected).max())


def test_the_edges_of_an_arc_have_their_own_directions(tmp_path: Path) -> None:
    """In a curved deck's own components the twist about its edges is m_xy, but for chords."""
    solved, _ = solved_of(tmp_path, more="radius_m = 12.0")
    assert np.abs(layer_of(solved).twist[2]).min() > 0.99


def test_demand_beside_edges_is_of_the_moments_that_count(tmp_path: Path) -> None:
    """Of two positions, by Wood and Armer's rule at every point, and as before off the edges."""
    solved, response = solved_of(tmp_path)
    layer = layer_of(solved)
    ultimate = combination(FACTORS["EN 1992"], "ULS")
    assert ultimate is not None
    nothing = {"self-weight": np.zeros((3, solved.recovery.points.n_points))}
    with_layer, own = (
        MomentEnvelopes([ultimate], nothing, layer=one)  # type: ignore[arg-type]
        for one in (None, layer)
    )
    for watch in (with_layer, own):
        watch(0, response)
    before, after = (watch.demands()[0].values for watch in (with_layer, own))
    outside = layer.place < 0
    np.testing.assert_array_equal(after[:, outside], before[:, outside])
    m = ultimate.traffic * layer.moments(response)[..., 0]
    for k, (face, direction) in enumerate(LAYER_ROWS):
        sign, first = (1.0 if face == "bottom" else -1.0), "xy".index(direction)
        exact = needed(sign * m[first], sign * m[1 - first], m[2])
        np.testing.assert_allclose(after[k], exact, rtol=1e-9, atol=1e-6)
    assert (after[:, ~outside] - before[:, ~outside]).max() > 0.05 * before.max()

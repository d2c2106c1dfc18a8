"""What of a wheel stands on the slab, and its distance to free edges, by hand."""

from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from pipelines.bars.checks.free_edges import FreeEdges, OnSlab, on_slab
from pipelines.bars.checks.wheel_frames import first_wheel
from pipelines.deck.deck import Deck
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of

OPENING = """
[[opening]]
corners_m = [[1.0, -0.5], [2.0, -0.5], [2.0, 0.5], [1.0, 0.5]]
"""
EDGE_BEAM = """
[[line]]
on = "L1"
support = "beam"
to_edges = true
beam = { E_GPa = 30, G_GPa = 12, I_cm4 = 100000, J_cm4 = 2000, A_cm2 = 500 }
"""
OUTLINE = """
[plan]
outline_m = [[0.0, -2.0], [6.0, -2.0], [8.0, 2.0], [0.0, 2.0]]
[[line]]
on = "E4"
support = "rigid"
[[line]]
on = "E2"
support = "rigid"
"""


def wheel(x: float, y: float) -> np.ndarray:
    turn = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return np.asarray(np.array([x, y]) + turn * [0.2, 0.3])


def single(deck: Deck, corners: np.ndarray) -> OnSlab:
    """Wheels each in a frame of its own."""
    return on_slab(FreeEdges.of(deck), corners, first_wheel(corners, len(corners)))


def test_straight_deck(tmp_path: Path) -> None:
    """From -0.4 to 6.4 m and from -2 to 2 m; wheels of 0.4 by 0.6 m."""
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS)
    found = single(deck, np.array([wheel(3.0, 0.0), wheel(0.0, -1.5), wheel(6.4, 1.85)]))
    assert_allclose(found.share, [1.0, 1.0, 0.5 * 0.75], rtol=1e-9)
    assert_allclose(found.gap_x, [3.2, 0.2, 0.0], atol=1e-9)
    assert_allclose(found.gap_y, [1.7, 0.2, 0.0], atol=1e-9)
    assert_allclose(found.low[2], [6.2, 1.55], atol=1e-9)
    assert_allclose(found.high[2], [6.4, 2.0], atol=1e-9)


def test_an_edge_beam_leaves_no_free_edge_there(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, EDGE_BEAM)
    found = single(deck, np.array([wheel(3.0, -1.5)]))
    assert_allclose(found.gap_y, 3.2, atol=1e-9)


def test_edges_of_an_opening_are_free(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, OPENING)
    found = single(deck, np.array([wheel(2.4, 0.0), wheel(1.5, 1.0), wheel(1.5, 0.0)]))
    assert_allclose(found.gap_x[:1], 0.2, atol=1e-9)
    assert_allclose(found.gap_y[1], 0.2, atol=1e-9)
    assert_allclose(found.share, [1.0, 1.0, 0.0], atol=1e-9)


def test_an_outline_with_supported_edges(tmp_path: Path) -> None:
    """Its edges along x are free; the others, one of them askew, are supported."""
    deck = deck_of(tmp_path, SLAB, OUTLINE)
    found = single(deck, np.array([wheel(0.5, 0.0), wheel(4.0, -1.4)]))
    assert np.isinf(found.gap_x).all()
    assert_allclose(found.gap_y, [1.7, 0.3], atol=1e-9)


def test_turned_wheels_keep_their_sides(tmp_path: Path) -> None:
    """Two wheels of 0.4 by 0.6 m, 1.5 m apart, of a vehicle that runs at 30 or 120 degrees to x:
    the rectangle around them has their own sides; gaps are those of the turned corners, across the
    vehicle's own direction."""
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS)
    for degrees in (30.0, 120.0):
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        turn = np.array([[c, s], [-s, c]])
        corners = np.array([wheel(0.0, -0.75), wheel(0.0, 0.75)]) @ turn + [3.0, 0.0]
        frames = first_wheel(corners, 1)
        found = on_slab(FreeEdges.of(deck), corners, frames)
        assert_allclose(found.high - found.low, [[0.4, 0.6], [0.4, 0.6]], atol=1e-9)
        around = found.high.max(axis=0) - found.low.min(axis=0)
        assert_allclose(around, [0.4, 2.1], atol=1e-9)
        box = frames.boxes(found.low, found.high)[1]
        assert_allclose(np.array(box.exterior.coords)[:-1], corners[1], atol=1e-9)
        to_sides = 2.0 - np.abs(corners[..., 1]).max(axis=1)
        assert_allclose(found.gap_x if degrees > 45.0 else found.gap_y, to_sides, atol=1e-9)

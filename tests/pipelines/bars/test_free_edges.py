"""What of a wheel stands on the slab, and its distance to free edges, by hand."""

from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from pipelines.bars.checks.free_edges import on_slab
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


def test_straight_deck(tmp_path: Path) -> None:
    """From -0.4 to 6.4 m and from -2 to 2 m; wheels of 0.4 by 0.6 m."""
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS)
    found = on_slab(deck, np.array([wheel(3.0, 0.0), wheel(0.0, -1.5), wheel(6.4, 1.85)]))
    assert_allclose(found.share, [1.0, 1.0, 0.5 * 0.75], rtol=1e-9)
    assert_allclose(found.gap_x, [3.2, 0.2, 0.0], atol=1e-9)
    assert_allclose(found.gap_y, [1.7, 0.2, 0.0], atol=1e-9)
    assert_allclose(found.low[2], [6.2, 1.55], atol=1e-9)
    assert_allclose(found.high[2], [6.4, 2.0], atol=1e-9)


def test_an_edge_beam_leaves_no_free_edge_there(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, EDGE_BEAM)
    found = on_slab(deck, np.array([wheel(3.0, -1.5)]))
    assert_allclose(found.gap_y, 3.2, atol=1e-9)


def test_edges_of_an_opening_are_free(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, OPENING)
    found = on_slab(deck, np.array([wheel(2.4, 0.0), wheel(1.5, 1.0), wheel(1.5, 0.0)]))
    assert_allclose(found.gap_x[:1], 0.2, atol=1e-9)
    assert_allclose(found.gap_y[1], 0.2, atol=1e-9)
    assert_allclose(found.share, [1.0, 1.0, 0.0], atol=1e-9)


def test_an_outline_with_supported_edges(tmp_path: Path) -> None:
    """Its edges along x are free; the others, one of them askew, are supported."""
    deck = deck_of(tmp_path, SLAB, OUTLINE)
    found = on_slab(deck, np.array([wheel(0.5, 0.0), wheel(4.0, -1.4)]))
    assert np.isinf(found.gap_x).all()
    assert_allclose(found.gap_y, [1.7, 0.3], atol=1e-9)

"""Where governing values are read: clear of what Mindlin's edge layer holds."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import headline_points
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import Response, SolvedDeck
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, deck_of

T = 0.25  # thickness of the slab
THEORIES = ("mindlin", "kirchhoff")
# Held at its ends, free along its sides, loaded on one half: twisting along the free edges.
PANEL = """
[plan]
stations_m = [0.0, 6.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = "C*"
support = "rigid"
[[case]]
name = "half"
patches = [{ at_m = [1.5, 0.0], size_m = [3.0, 4.0], load_kN = 120 }]
"""


def solver_of(folder: Path, theory: str, *parts: str) -> tuple[Deck, SolvedDeck]:
    deck = deck_of(folder, SLAB, f'theory = "{theory}"\n', *parts, MESH)
    return deck, SolvedDeck.of(deck)


def test_the_layer_takes_the_twist_at_a_free_edge_and_is_gone_a_thickness_away(
    tmp_path: Path,
) -> None:
    """m_xy by Mindlin's theory over that by Kirchhoff's is 1 - exp(-sqrt(10) d/t) at a distance d
    from the edge; the next term is of the order of t over the length along the edge, 2 m here. A
    thickness away it is 0.991 on cells of 0.15 m of order 5; the default mesh is within 1.5 %."""
    probes = "".join(
        f'[[probe]]\nname = "{k}"\nat_m = [4.0, {2.0 - d * T}]\n'
        for k, d in enumerate((0.0, 0.25, 0.5, 1.0))
    )
    found: dict[str, np.ndarray] = {}
    for theory in THEORIES:
        _, solved = solver_of(tmp_path, theory, PANEL, probes)
        response: Response = case_responses(solved)["half"]
        found[theory] = response.probes[:, 0].reshape(-1, 6)[:, 3]
    ratio = found["mindlin"] / found["kirchhoff"]
    layer = 1.0 - np.exp(-np.sqrt(10.0) * np.array([0.0, 0.25, 0.5, 1.0]))
    np.testing.assert_allclose(ratio, layer, rtol=0, atol=0.05)
    assert ratio[3] == pytest.approx(0.991, rel=0.015)


@pytest.mark.parametrize("theory", THEORIES)
def test_what_may_govern_where(tmp_path: Path, theory: str) -> None:
    """Moments also on lines and edges; shears, and twisting moments where the theory has the layer,
    a thickness and more off the edges and beams that stand in the deck file."""
    _, solved = solver_of(tmp_path, theory, PLAN, BEAMS)
    x, y = solved.recovery.points.plan.T
    gaps = [np.abs(x - at) for at in (-0.4, 0.0, 3.0, 6.0, 6.4)] + [2.0 - np.abs(y)]
    clear = np.min(gaps, axis=0) >= T - 1e-9
    assert 0 < clear.sum() < len(clear)
    w, m_x, m_y, m_xy, q_x, q_y = headline_points(solved)
    assert m_x is w is m_y
    assert m_x[~clear].any()
    np.testing.assert_array_equal(q_x, clear & m_x)
    np.testing.assert_array_equal(q_y, q_x)
    np.testing.assert_array_equal(m_xy, q_x if theory == "mindlin" else m_x)

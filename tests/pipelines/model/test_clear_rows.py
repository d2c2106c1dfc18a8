"""Mesh lines a thickness off edges, supports and beams, where shears are read first."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.model.build import build_model
from pipelines.model.clear_rows import clear_rows
from pipelines.model.readable import clear_of_lines
from plate.results.fields import field_points
from tests.pipelines.small_decks import SLAB, deck_of

EVERYWHERE = (-np.inf, np.inf)
ASKEW = """
[plan]
stations_m = [0.0, 3.0, 6.0]
offsets_m = [-2.0, 2.0]
skew_deg = {skew}
overhang_m = { left = 0.4, right = 0.9 }
[[line]]
on = ["C1", "C3", "L1"]
support = "rigid"
[[case]]
name = "own"
self_weight = true
"""


@pytest.mark.parametrize("skew", [0.0, 35.0])
def test_points_stand_a_thickness_off_every_line(tmp_path: Path, skew: float) -> None:
    """Off each held line and each edge some points are just clear, and fewer a millimetre on."""
    deck = deck_of(tmp_path, SLAB, ASKEW, skew=skew)
    model = build_model(deck).model
    points, t = field_points(model), deck.slab.thickness
    first = clear_of_lines(model, points.xy, t) & ~clear_of_lines(model, points.xy, t + 1e-3)
    u = deck.plan.logical_station(points.plan[first])
    y = points.plan[first, 1]
    reach = t / np.cos(np.radians(skew))
    for at in (reach, 6.0 - reach):
        assert np.isclose(u, at, atol=1e-6).any()
    for at in (-2.0 + t, 2.9 - t):
        assert np.isclose(y, at, atol=1e-6).any()
    assert not np.isclose(u, 3.0 - reach, atol=1e-6).any()  # C2 holds nothing


def test_no_row_is_nearer_to_another_line(tmp_path: Path) -> None:
    """Between an edge and a line 0.4 m off it no place is a thickness of 0.25 m off both."""
    deck = deck_of(tmp_path, SLAB, ASKEW, skew=0.0)
    rows_u, rows_y = clear_rows(deck, EVERYWHERE, EVERYWHERE)
    assert sorted(set(np.round(rows_u, 9))) == [0.25, 5.75]
    assert sorted(set(np.round(rows_y, 9))) == [-1.75, 2.65]
    assert clear_rows(deck, (4.0, 6.0), (-1.0, 0.0)) == ([5.75], [])

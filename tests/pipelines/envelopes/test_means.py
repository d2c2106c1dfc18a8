"""Means over a width against the peak they belong to."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.envelopes.means import centred_path
from pipelines.report.data.summary import summary
from plate.geometry.plan import grid_plan
from tests.pipelines.small_decks import BEAMS, FEW, MESH, PLAN, SLAB, deck_of


def test_means_of_a_sagging_peak_fall_with_the_width(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, FEW, MESH)
    result = analyse(deck, strips_wanted=False)
    curves = {f"{c['result']} {c['extreme']}": c for c in summary(result)["mean_curves"]}
    sagging = curves["m_x max"]
    assert sagging["widths"][:3] == pytest.approx((0.0, 0.25, 0.5))
    assert sagging["values"][0] == pytest.approx(
        next(g.value for g in result.governing if (g.result, g.extreme) == ("m_x", "max"))
    )
    assert np.all(np.diff(sagging["values"]) < 0.0)


def test_a_segment_moves_inward_at_an_edge() -> None:
    plan = grid_plan([0.0, 6.0], [-2.0, 2.0])
    path = centred_path(plan, (3.0, 1.9), 1.0, along=False)
    assert path is not None
    np.testing.assert_allclose(path[:, 1], [1.0, 2.0], atol=1e-2)
    assert path[:, 1].max() <= 2.0 + 1e-7
    assert centred_path(plan, (3.0, 0.0), 5.0, along=False) is None

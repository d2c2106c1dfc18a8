"""Top bars beside the ends of cross beams at a free edge: what counts there and what is told."""

from functools import cache
from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.numbers import number
from pipelines.report.data.summary import summary
from pipelines.report.sections.tables import unread_words
from tests.pipelines.report_page import report_page
from tests.pipelines.small_decks import SLAB, WEIGHT, deck_of, grades, mat

T = 0.25
PLAN = """
[plan]
stations_m = [0.0, 3.5, 7.0]
offsets_m = [-3.0, 3.0]
[[line]]
on = "C*"
support = "beam"
label = "cross beam"
{width}
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 400000, J_cm4 = 300, A_cm2 = 250, Av_cm2 = 110 }
held_at = [{ on = "L1", stub_m = {stub} }, { on = "L2", stub_m = {stub} }]
[traffic]
carriageway_m = [-2.75, 2.75]
load_models = ["EN 1991-2 LM1"]
step_m = 0.6
lateral_step_m = 0.6
surfacing_mm = 80
[mesh]
size_m = 0.8
"""
BARS = (
    grades({"EN 1992": "C35/45"}, {"EN 1992": "B500B"})
    + mat("bottom", "16@100", "16@100")
    + mat("top", "16@150", "16@150", cover=45)
)
TOP_X = LAYER_ROWS.index(("top", "x"))


@cache
def result(stub: float, width: int) -> Result:
    stated = f"width_mm = {width}" if width else ""
    with TemporaryDirectory() as folder:
        deck = deck_of(Path(folder), SLAB, PLAN, WEIGHT, BARS, stub=stub, width=stated)
        return analyse(deck, tolerances_wanted=False, strips_wanted=False)


@pytest.mark.parametrize("stub", [0.0, 0.4])
def test_top_bars_bear_what_is_at_the_faces_to_the_edge(stub: float) -> None:
    """The moment at the face grows on to the edge, where the beam ends: read a thickness off the
    end it would be 5 % or more too small."""
    found = result(stub, 300)
    assert found.design is not None
    check = found.design.standards[0].layers[TOP_X]
    plan = found.solved.recovery.points.plan
    ends = np.array([place.at for place in found.solved.singular_places])
    assert len(ends) == 6
    gap = np.linalg.norm(plan[:, None] - ends, axis=2).min(axis=1)
    counted = found.solved.hogging_readable
    assert counted[gap > T].sum() < (gap > T).sum()
    assert gap[counted].min() == pytest.approx(0.15, abs=0.03)
    assert check.m_Ed == check.m_face
    assert min(np.abs(3.5 - check.at[0]), 1.0) == pytest.approx(0.15)
    demand = found.design.standards[0].demands["ULS"]
    away = demand.over_lines[TOP_X][(np.abs(plan[:, 0] - 3.5) > 0.1) & (gap > T)].max()
    assert check.m_Ed > 1.05 * away


def test_without_a_width_the_value_a_thickness_off_counts() -> None:
    found = result(0.0, 0)
    np.testing.assert_array_equal(found.solved.hogging_readable, found.solved.readable)
    assert found.design is not None
    check = found.design.standards[0].layers[TOP_X]
    ends = np.array([place.at for place in found.solved.singular_places])
    assert np.linalg.norm(ends - check.at, axis=1).min() >= T * (1.0 - 1e-6)


def test_larger_moments_beside_the_ends_are_told_as_not_read() -> None:
    found = result(0.4, 300)
    [case] = found.traffic
    [one] = [one for one in case.unread if (one.result, one.extreme) == ("m_x", "min")]
    [peak] = [peak for peak in case.governing if (peak.result, peak.extreme) == ("m_x", "min")]
    ends = np.array([place.at for place in found.solved.singular_places])
    assert one.value < 1.05 * peak.value
    assert np.linalg.norm(ends - one.at_m, axis=1).min() < T
    words = unread_words(found.deck, case)
    assert f"m_x {number(one.value)} kNm/m (cross beam C2" in words
    assert escape(words) in report_page(found)
    assert summary(found)["unread"][0].keys() == {"result", "extreme", "unit", "value", "at_m"}

"""Uplift flagged, and governing values solved again without tension."""

from pathlib import Path
from typing import Any

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.deck.deck import Deck
from pipelines.report.data.summary import summary
from tests.pipelines.small_decks import SLAB, deck_of

# A short end bay: a wheel in the long one would lift the slab off C1.
DECK = """
[plan]
stations_m = [0.0, 1.0, 6.0]
offsets_m = [-1.5, 1.5]
[[line]]
on = "C*"
support = "rigid"
lifts = {lifts}
[[case]]
name = "weight"
self_weight = true
[traffic]
carriageway_m = [-1.5, 1.5]
step_m = 0.5
offsets_m = [0.0]
[[vehicle]]
name = "lorry"
axles = [{ at_m = 0.0, load_kN = 200, gauge_m = 1.4, patch_mm = [400, 400] }]
[mesh]
size_m = 1.0
"""


def uplift(deck: Deck) -> dict[str, Any]:
    return dict(summary(analyse(deck, tolerances_wanted=False, strips_wanted=False))["uplift"])


def test_tied_down_supports_are_flagged(tmp_path: Path) -> None:
    found = uplift(deck_of(tmp_path, SLAB, DECK, lifts="false"))
    assert found["supports"][0]["support"] == "C1"
    row = found["supports"][0]
    assert row["permanent_kN"] + row["traffic_kN"] < 0.0
    assert not row["lifts"]
    assert found["without_tension"] == []


def test_untied_supports_let_go_and_sagging_grows(tmp_path: Path) -> None:
    found = uplift(deck_of(tmp_path, SLAB, DECK, lifts="true"))
    rows = {row["result"]: row for row in found["without_tension"]}
    sagging = rows["m_x max"]
    assert "C1" in sagging["lifted"]
    # Without the hold-down the long bay is a simple span.
    assert sagging["without_tension"] > 1.05 * sagging["tied_down"]


FAINT = """
[[line]]
on = ["L1", "L2"]
support = "beam"
beam = { E_GPa = 30, G_GPa = 12, I_cm4 = 50, J_cm4 = 1, A_cm2 = 10 }
"""
SLOW = """
[stages]
long_term_n = {n}
"""


def test_what_other_stages_leave_is_pulled_out_first(tmp_path: Path) -> None:
    """A stage with the same modulus changes nothing; with half of it neither where the slab, on
    beams too faint to count, is determinate as soon as it lets go."""

    def sagging(*more: str, weight: str = "") -> dict[str, float]:
        text = DECK.replace("self_weight = true", "self_weight = true\n" + weight)
        deck = deck_of(tmp_path, SLAB, text, FAINT, *more, lifts="true")
        [found] = [row for row in uplift(deck)["without_tension"] if row["result"] == "m_x max"]
        assert "C1" in found["lifted"]
        return dict(found)

    at_once = sagging()
    for n in (1.0, 2.0):
        slow = sagging(SLOW.replace("{n}", str(n)), weight='stage = "long-term"\n')
        # lines that let go later hold the slope along themselves until then
        assert slow["without_tension"] == pytest.approx(at_once["without_tension"], rel=0.005)
        assert slow["tied_down"] == pytest.approx(at_once["tied_down"], rel=0.005)


def test_a_hard_line_cannot_lift(tmp_path: Path) -> None:
    with pytest.raises(Exception, match="a line that lifts off is not hard"):
        deck_of(tmp_path, SLAB, DECK.replace('"rigid"', '"rigid"\nhard = true'), lifts="true")

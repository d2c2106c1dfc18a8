"""Table A4-1 of AASHTO LRFD: its values, its limits, and what it is computed from."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.errors import MethodRangeError
from pipelines.standards.strip_widths.aashto_table import deck_sagging, require_girders
from pipelines.standards.strip_widths.method import FOOT, INCH, KIP, Bars, StripInput
from pipelines.strips.beam import StripBeam, StripSupport, moment_lines
from pipelines.strips.deck_strip import strip_deck
from pipelines.strips.hand_strip import HandStrip
from pipelines.strips.under_traffic import hands_under
from tests.pipelines.small_decks import SLAB, deck_of


def asked(feet: float, bars: Bars = "across") -> StripInput:
    return StripInput(
        span=feet * FOOT, position=0.0, contact=(0.51, 0.25), depth=0.2, ends="both ends", bars=bars
    )


@pytest.mark.parametrize(
    ("feet", "moment"), [(4.0, 4.68), (4.5, 4.63), (9.0, 6.29), (15.0, 9.47), (9.125, 6.365)]
)
def test_printed_values(feet: float, moment: float) -> None:
    """kip ft/ft are kip: 6.29 are 28.0 kNm/m."""
    assert float(deck_sagging(asked(feet), 16 * KIP)) == pytest.approx(moment * KIP)
    assert float(deck_sagging(asked(feet), 32 * KIP)) == pytest.approx(2 * moment * KIP)


@pytest.mark.parametrize("feet", [5.0, 6.5, 9.0, 12.0, 15.0])
def test_the_table_is_the_equivalent_strip_on_three_to_six_girders(feet: float) -> None:
    """Wheels of 16 kip 6 ft apart, trucks 4 ft apart or more, one with 1.2, two with 1.0, 1.33 for
    dynamics, on 26 + 6.6 S inches; overhangs of 21 in and of 0.625 S up to 6 ft, a railing of
    21 in, wheels 1 ft from it. The table's own steps of places are not known: 2 %."""
    best = 0.0
    for girders in (3, 4, 5, 6):
        places = feet * np.arange(girders)
        if places[-1] < 14:
            continue
        for overhang in (1.75, min(0.625 * feet, 6.0)):
            low, high = -overhang, places[-1] + overhang
            supports = tuple(
                StripSupport(at=float(at), k=np.inf, k_rot=0.0, width=0.0, name="") for at in places
            )
            beam = StripBeam(supports, low, high, 1.0)
            sections = np.linspace(0.1, 1.9, 19) * feet
            centres = np.arange(low + 2.75 + 3, high - 2.75 - 3 + 1e-9, 0.1)
            lines = moment_lines(beam, sections.tolist(), "right")
            one = lines.at(centres - 3) + lines.at(centres + 3)
            before = np.maximum.accumulate(one, axis=1)
            last = np.searchsorted(centres, centres - 10 + 1e-9, side="right") - 1
            two = (one + before[:, np.maximum(last, 0)])[:, last >= 0]
            best = max(best, 1.2 * float(one.max()), float(two.max(initial=0.0)))
    width = (26 + 6.6 * feet) * INCH / FOOT
    computed = 1.33 * 16 * best / width
    assert float(deck_sagging(asked(feet), 16 * KIP)) / KIP == pytest.approx(computed, rel=0.02)


def test_range() -> None:
    for wrong in (asked(3.9), asked(15.1), asked(9.0, "parallel")):
        with pytest.raises(MethodRangeError, match="A4-1"):
            deck_sagging(wrong, 16 * KIP)
    require_girders(np.array([0.0, 7.0, 14.0]) * FOOT)
    for few in ([0.0, 14.0], [0.0, 6.0, 13.0]):
        with pytest.raises(MethodRangeError, match="three girders"):
            require_girders(np.array(few) * FOOT)


GIRDERS = """
[plan]
stations_m = [0.0, 12.0]
offsets_m = {offsets}
[[line]]
on = "L*"
support = "rigid"
[traffic]
carriageway_m = [-3.3, 3.3]
step_m = 2.0
lateral_step_m = 0.5
load_models = ["{model}"]
"""


def table_rows(folder: Path, model: str, offsets: str) -> list[HandStrip]:
    deck = deck_of(folder, SLAB, GIRDERS, model=model, offsets=offsets)
    assert deck.traffic is not None
    hands = hands_under(deck, strip_deck(deck, "across"), deck.traffic.load_models[0])
    return list(hands._deck_table(("L1", "L2")))


def test_it_stands_beside_the_strips_of_decks_on_girders(tmp_path: Path) -> None:
    """2.7432 m are 9 ft: 6.29 kip with wheels of 72.5 kN for 16 kip, 28.5 kNm/m."""
    wide = "[-4.1148, -1.3716, 1.3716, 4.1148]"
    (row,) = table_rows(tmp_path, "AASHTO HL-93 axles", wide)
    assert row.strip == "AASHTO LRFD table A4-1, +M"
    assert row.value == pytest.approx(6.29 * 72.5e3 / 16)
    assert table_rows(tmp_path, "EN 1991-2 LM1", wide) == []
    (few,) = table_rows(tmp_path, "AASHTO HL-93 axles", "[-2.0, 2.0]")
    assert few.value is None
    assert "three girders" in few.reason

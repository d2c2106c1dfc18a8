"""How near to the kerb the vehicles of each standard stand, by its clauses."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.standards.strip_widths.aashto import LRFD
from pipelines.strips.deck_strip import strip_deck
from pipelines.strips.under_traffic import hands_under
from pipelines.traffic.trains import model_trains
from tests.pipelines.small_decks import SLAB, deck_of

# three girders 2.5 m apart, 1.2 m of slab beyond the outer ones, kerbs 0.4 m from its edges
GIRDERS = """
[plan]
stations_m = [0.0, 12.0]
offsets_m = [-2.5, 0.0, 2.5]
overhang_m = { left = {left}, right = 1.2 }
[[line]]
on = "L*"
support = "rigid"
[traffic]
carriageway_m = [{kerb}, 3.3]
step_m = 1.0
lateral_step_m = 0.3
{loads}
"""


def deck(folder: Path, loads: str, left: float = 1.2, kerb: float = -3.3, more: str = "") -> Deck:
    return deck_of(folder, SLAB, GIRDERS, more, loads=loads, left=left, kerb=kerb)


@pytest.mark.parametrize("vehicle", ["AASHTO HL-93 truck", "AASHTO HL-93 tandem"])
def test_hl_93_stands_nearer_to_a_kerb_on_an_overhang(tmp_path: Path, vehicle: str) -> None:
    """3.6.1.3.1: wheels 0.30 m from the kerb for the overhang, 0.60 m elsewhere; gauge 1.8 m."""
    both = deck(tmp_path, f'vehicles = ["{vehicle}"]').traffic
    assert both is not None
    assert both.on_overhang == (True, True)
    assert both.offset_range(both.vehicles[0]) == pytest.approx((-3.3 + 0.3 + 0.9, 3.3 - 0.3 - 0.9))
    # no overhang on the left, and a kerb inside the outer girder
    for left, kerb in ((0.0, -2.5), (1.2, -2.4)):
        one = deck(tmp_path, f'vehicles = ["{vehicle}"]', left, kerb).traffic
        assert one is not None
        assert one.on_overhang == (False, True)
        assert one.offset_range(one.vehicles[0])[0] == pytest.approx(kerb + 0.6 + 0.9)


def test_the_deck_files_clearance_wins(tmp_path: Path) -> None:
    loads = 'vehicles = ["AASHTO HL-93 truck"]\nedge_clearance_m = 0.5'
    one = deck(tmp_path, loads).traffic
    assert one is not None
    assert one.offset_range(one.vehicles[0]) == pytest.approx((-3.3 + 0.5 + 0.9, 3.3 - 0.5 - 0.9))


def test_an_edge_that_is_carried_is_no_overhang(tmp_path: Path) -> None:
    carried = '[[line]]\non = "left"\nsupport = "rigid"\n'
    one = deck(tmp_path, 'vehicles = ["AASHTO HL-93 truck"]', more=carried).traffic
    assert one is not None
    assert one.on_overhang == (False, True)


def test_strip_of_an_overhang(tmp_path: Path) -> None:
    """A wheel of 72.5 kN with 1.33 and 1.2, 0.5 m from the girder: 115.7 kN x 0.5 m on
    45 + 10 x 1.64 ft = 61.4 in = 1.56 m, 37.1 kNm/m; at 0.60 m it was 115.7 x 0.2 / 1.31 = 17.7."""
    one = deck(tmp_path, 'load_models = ["AASHTO HL-93 axles"]')
    assert one.traffic is not None
    (model,) = one.traffic.load_models
    found = hands_under(one, strip_deck(one, "across"), model).moments["centre line", "L1"]
    (value,) = [m for m in found if m.strips == LRFD]
    width = (45 + 10 * 0.5 / 0.3048) * 0.0254
    assert value.value == pytest.approx(-1.2 * 1.33 * 72.5e3 * 0.5 / width, rel=0.01)


def test_tandems_stand_where_they_are_worst_in_their_lane(tmp_path: Path) -> None:
    """EN 1991-2 4.3.2(5): the tyre, 0.40 m wide, may touch the edge of its lane, and so the kerb;
    centred in a lane of 3.0 m it kept 0.5 m from its wheel's centre."""
    one = deck(tmp_path, 'load_models = ["EN 1991-2 LM1"]')
    assert one.traffic is not None
    (model,) = one.traffic.load_models
    for train in model_trains(one, model).values():
        assert train.offsets.min() == pytest.approx(-3.3 + 0.2 + 1.0)
        assert train.offsets.max() == pytest.approx(3.3 - 0.2 - 1.0)
        # and lanes 2.5 m apart find their places among these
        gaps = train.offsets[:, None] - train.offsets
        assert np.isclose(gaps, 2.5).any()


@pytest.mark.parametrize("degrees", [0.0, 70.0])
def test_overhangs_of_an_outline(tmp_path: Path, degrees: float) -> None:
    """The same girders as named lines of an outline, with their kerbs, along x and turned."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn = np.array([[c, s], [-s, c]])

    def points(rows: list[list[float]]) -> str:
        return str((np.array(rows) @ turn).round(9).tolist())

    def given(left: float, kerb: float, more: str = "") -> tuple[bool, bool]:
        girders = "".join(
            f'[[line]]\nname = "G{k}"\npath_m = {points([[0, y], [12, y]])}\nsupport = "rigid"\n'
            for k, y in ((1, -2.5 + 1e-9), (2, 0.0), (3, 2.5))
        )
        outline = points([[0, -2.5 - left], [12, -2.5 - left], [12, 3.7], [0, 3.7]])
        one = deck_of(
            tmp_path,
            SLAB,
            f"[plan]\noutline_m = {outline}\n",
            girders,
            more,
            f"[traffic]\ncarriageway_m = [{kerb}, 3.3]\nvehicles = ['AASHTO HL-93 truck']\n"
            f"carriageway_axis_m = {points([[0, 0], [12, 0]])}\n",
        )
        return one.required_traffic.on_overhang

    assert given(1.2, -3.3) == (True, True)
    assert given(0.005, -2.5) == (False, True)
    assert given(1.2, -2.4) == (False, True)
    assert given(1.2, -3.3, '[[line]]\non = "E1"\nsupport = "rigid"\n') == (False, True)

"""Areas, effective depths by layer, and the choice with least steel."""

import pytest
from numpy.testing import assert_allclose

from pipelines.standards.resistance.bars import (
    LAYERS,
    Bars,
    Direction,
    Mat,
    SlabBars,
    candidate_mats,
    place_of,
)

MILLI = 1e-3


def slab(outer: Direction = "x", gap: float = 0.0) -> SlabBars:
    top = Mat(cover=0.050, x=Bars(0.016, 0.150), y=Bars(0.012, 0.200), outer="x")
    bottom = Mat(cover=0.040, x=Bars(0.020, 0.125), y=Bars(0.016, 0.150), outer=outer, gap=gap)
    return SlabBars(0.270, top, bottom)


def test_area() -> None:
    assert_allclose(Bars(0.016, 0.125).area, 1608.495e-6, rtol=1e-6)  # pi 16^2/4 / 0.125
    assert str(Bars(0.016, 0.125)) == "16@125"


@pytest.mark.parametrize(
    ("outer", "d_x", "d_y"),
    [
        ("x", 270 - 40 - 10, 270 - 40 - 20 - 8),
        ("y", 270 - 40 - 16 - 10, 270 - 40 - 8),
    ],
)
def test_effective_depth_by_layer_order(outer: Direction, d_x: float, d_y: float) -> None:
    bars = slab(outer)
    assert_allclose(bars.effective_depth(("bottom", "x")), d_x * MILLI, rtol=1e-12)
    assert_allclose(bars.effective_depth(("bottom", "y")), d_y * MILLI, rtol=1e-12)
    # the other face keeps its own cover
    assert_allclose(bars.effective_depth(("top", "x")), (270 - 50 - 8) * MILLI, rtol=1e-12)
    assert_allclose(bars.effective_depth(("top", "y")), (270 - 50 - 16 - 6) * MILLI, rtol=1e-12)


def test_gap_lowers_the_inner_layer_only() -> None:
    close, apart = slab(gap=0.0), slab(gap=0.005)
    change = [apart.effective_depth(at) - close.effective_depth(at) for at in LAYERS]
    assert_allclose(change, [0, 0, 0, -0.005], atol=1e-12)


def test_swapping_twice_is_no_change() -> None:
    mat = slab().bottom
    assert mat.swapped().swapped() == mat
    assert mat.swapped().outer == "y"
    assert mat.swapped().area == mat.area


def test_words_for_print() -> None:
    assert place_of(("bottom", "x")) == "bottom, bars along x"


def test_candidates_come_least_steel_first() -> None:
    mats = list(candidate_mats([0.012, 0.016], [0.1, 0.2], 0.04, "y"))
    areas = [mat.area for mat in mats]
    assert len(mats) == 16
    assert areas == sorted(areas)
    assert {mat.outer for mat in mats} == {"y"}


def test_refusals() -> None:
    with pytest.raises(ValueError, match="less than the spacing"):
        Bars(0.02, 0.02)
    with pytest.raises(ValueError, match="must be positive and gap"):
        Mat(cover=0.0, x=Bars(0.02, 0.1), y=Bars(0.02, 0.1), outer="x")
    mat = Mat(cover=0.05, x=Bars(0.02, 0.1), y=Bars(0.02, 0.1), outer="x")
    with pytest.raises(ValueError, match="covers and bars need 180 mm, more than"):
        SlabBars(0.175, mat, mat)

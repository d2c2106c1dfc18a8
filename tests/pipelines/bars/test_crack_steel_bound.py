"""Bars that are proposed hold the least steel for cracks, by hand."""

from math import pi

import pytest

from pipelines.bars.checks.bending_and_service import Peaks, choose_mat
from pipelines.deck.reinforcement import BarChoice, DesignBasis
from pipelines.standards.materials import materials
from pipelines.standards.resistance.bars import LAYERS, Bars, Mat, SlabBars

CHOICE = BarChoice((0.012, 0.016), (0.100, 0.125, 0.150, 0.200))


@pytest.mark.parametrize(
    ("standard", "grade", "steel", "h", "required"),
    [
        # 0.4 x 0.93 x 3.029 x 200 000 / 280: 805 mm2/m with bars of 12 mm, 939 with 16 mm
        ("IRC:112", "M40", "Fe 500", 0.400, {12: 804.8, 16: 939.0}),
        # 0.4 x 0.965 x 3.210 x 175 000 / 280: 774 and 903
        ("EN 1992", "C35/45", "B500B", 0.350, {12: 774.4, 16: 903.4}),
    ],
)
def test_no_lighter_bars_are_proposed(
    standard: str, grade: str, steel: str, h: float, required: dict[int, float]
) -> None:
    """Small moments ask for less than 12@200, 565 mm2/m, which the rules let through before."""
    mat = materials(grade, steel, standard)  # type: ignore[arg-type]
    bars = Bars(0.016, 0.100)
    slab = SlabBars(h, *2 * [Mat(cover=0.045, x=bars, y=bars, outer="x")])
    basis = DesignBasis(
        materials=mat,
        exposure=(None, None),
        aggregate=0.020,
        crack_width=None,
        crack_combination="frequent",
    )
    small = dict.fromkeys(LAYERS, 20e3)
    chosen = choose_mat(
        slab, "bottom", basis, Peaks(ultimate=small, characteristic=small, crack=small), CHOICE
    )
    assert chosen is not None
    for layer in (chosen.x, chosen.y):
        area = pi * (1e3 * layer.diameter) ** 2 / 4 / layer.spacing
        assert area >= required[round(1e3 * layer.diameter)]
        # 12@125 is 905 mm2/m, and nothing lighter of the set does
        assert str(layer) == "12@125"

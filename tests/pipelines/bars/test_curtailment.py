"""Anchorage lengths by hand, in mm and MPa (inches and ksi for AASHTO)."""

import numpy as np
import pytest

from pipelines.bars.checks.curtailment import anchorage, largest_within
from pipelines.standards.materials import Materials, materials
from pipelines.standards.resistance.bars import Bars, Face, Mat, SlabBars

EN = materials("C35/45", "B500B", "EN 1992")
IRC = materials("M45", "Fe 500D", "IRC:112")
INCH = 0.0254


def slab(thickness: float, diameter: float = 0.016, spacing: float = 0.150) -> SlabBars:
    one = Bars(diameter, spacing)
    return SlabBars(thickness, *2 * [Mat(cover=0.045, x=one, y=one, outer="x")])


@pytest.mark.parametrize(
    ("mat", "bars", "face", "length"),
    [
        # f_ctm 3.210, f_bd = 2.25 x 0.7 x 3.210/1.5 = 3.3705: 16/4 x 434.78/3.3705
        (EN, slab(0.270), "bottom", 516.0),
        (EN, slab(0.270), "top", 516.0),  # 217 mm above the soffit
        (EN, slab(0.400), "top", 516.0 / 0.7),  # 347 mm
        (EN, slab(0.400), "bottom", 516.0),
        (EN, slab(0.700), "top", 516.0 / 0.7),  # within 300 mm of the top
        (EN, slab(0.300, 0.040), "bottom", 40 / 16 * 516.0 / 0.92),  # (132 - 40)/100
        # f_ctm = 0.259 x 45^(2/3) = 3.277: f_bd 3.4408
        (IRC, slab(0.270), "bottom", 505.4),
    ],
)
def test_european_lengths(mat: Materials, bars: SlabBars, face: Face, length: float) -> None:
    assert 1e3 * anchorage(bars, (face, "x"), mat) == pytest.approx(length, abs=0.5)


@pytest.mark.parametrize(
    ("thickness", "diameter", "spacing", "face", "length"),
    [
        # 2.4 x 0.625 x 60 / 2 = 45 in, times 0.625/1.8125 = 0.34, at least 0.4
        (10, 0.625, 6, "bottom", 18.0),
        (10, 0.625, 2, "bottom", 45 * 0.625),  # half the spacing, 1 in
        (16, 0.625, 6, "top", 1.3 * 18.0),  # 14 in of concrete below
        (10, 0.625, 6, "top", 18.0),  # 7.9 in
        (10, 0.375, 6, "bottom", 12.0),  # 10.8 in, at least 12
    ],
)
def test_american_lengths(
    thickness: float, diameter: float, spacing: float, face: Face, length: float
) -> None:
    one = Bars(diameter * INCH, spacing * INCH)
    mat = Mat(cover=1.5 * INCH, x=one, y=one, outer="x")
    grades = materials("4 ksi", "Grade 60", "AASHTO LRFD")
    found = anchorage(SlabBars(thickness * INCH, mat, mat), (face, "x"), grades)
    assert found / INCH == pytest.approx(length, rel=1e-6)


def test_a_peak_spreads_by_its_reach_along_one_direction() -> None:
    values = np.array([[0.0, 0.0, 5.0, 0.0, 0.0], [-2.0, -1.0, -3.0, -4.0, -5.0]])
    along = largest_within(values, 1, axis=1)
    np.testing.assert_array_equal(along, [[0, 5, 5, 5, 0], [-1, -1, -1, -3, -4]])
    np.testing.assert_array_equal(largest_within(values, 1, axis=0), [values[0], values[0]])
    np.testing.assert_array_equal(largest_within(values, 0, axis=1), values)

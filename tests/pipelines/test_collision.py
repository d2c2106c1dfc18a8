"""Barrier collision by hand: EN 1991-2 4.7.3.3 and AASHTO A13 (from memory)."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.bars import Bars, Mat, SlabBars
from pipelines.collision import accidental, collision_rows, edge_forces
from pipelines.grades import materials
from pipelines.reinforcement import Collision
from tests.pipelines.small_decks import PLAN, SLAB, deck_of

EN = materials("C35/45", "B500B", "EN 1992")
B12 = Bars(0.012, 0.125)
BARS = SlabBars(0.250, Mat(0.045, B12, B12, "y"), Mat(0.045, B12, B12, "y"))
CLASS_B = Collision(200e3, 1.0, 0.5, np.radians(45), 0.4, ("left", "right"))


def test_forces_by_hand() -> None:
    """200 kN at 1.0 m over 0.5 m, 45 degrees down the parapet: 2.5 m; 80 kN/m; 80 x 1.125."""
    assert edge_forces(CLASS_B, 0.250) == pytest.approx((90e3, 80e3))
    # TL-4: 54 kip over 3.5 ft at 32 in on a post, no spread
    kip, foot, inch = 4448.22, 0.3048, 0.0254
    post = Collision(54 * kip, 32 * inch, 3.5 * foot, 0.0, 0.0, ("left",))
    m, n = edge_forces(post, 8 * inch)
    assert n == pytest.approx(54 / 3.5 * kip / foot)
    assert m == pytest.approx(54 / 3.5 * 36 / 12 * kip)


def test_accidental_factors() -> None:
    mat = accidental(EN)
    assert mat.f_yd == pytest.approx(500e6)
    assert mat.f_cd == pytest.approx(0.85 * 35e6 / 1.2)
    american = accidental(materials("4 ksi", "Grade 60", "AASHTO LRFD"))
    assert american.factors.phi_bending == american.factors.phi_bending_least == 1.0


def test_rows_by_hand(tmp_path: Path) -> None:
    """T = 904.8 x 500 = 452.4 kN/m, block 452.4/24.79 = 18.25 mm: t = 115.9 mm, d = 199 mm,
    m_Rd = 452.4 x (199 - 9.12) = 85.9 kNm/m. Weight: 6 hogging at one point near the left face,
    20 farther in, where it does not count."""
    plan = deck_of(tmp_path, SLAB, PLAN).plan
    points = np.array([[1.0, -1.6], [1.0, -0.5], [1.0, 1.6]])
    dead = np.zeros((3, 3))
    dead[1] = [-6e3, -20e3, 0.0]
    left, right = collision_rows(CLASS_B, BARS, EN, plan, points, dead)
    m = 90e3 + 80e3 * (0.250 - 452.4e3 / 24.79e6) / 2
    assert left.required == pytest.approx(m + 6e3, rel=1e-4)
    assert right.required == pytest.approx(m, rel=1e-4)
    assert left.provided == pytest.approx(452.4e3 * (0.199 - 0.00912), rel=1e-3)
    assert not left.passes
    assert "left edge" in left.place
    one = replace(CLASS_B, edges=("right",), force=20e3)
    (light,) = collision_rows(one, BARS, EN, plan, points, dead)
    assert light.passes
    assert collision_rows(None, BARS, EN, plan, points, dead) == ()

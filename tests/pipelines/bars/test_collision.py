"""Barrier collision by hand: EN 1991-2 4.7.3.3 and AASHTO A13 (from memory)."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from pipelines.bars.checks.collision import (
    ACCIDENTAL,
    accidental,
    collision_rows,
    edge_forces,
    worst_hogging,
)
from pipelines.bars.demand.wood_armer import layer_moment
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import Collision, Reinforcement
from pipelines.model.build import build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.materials import materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from tests.pipelines.small_decks import PLAN, SLAB, deck_of

EN = materials("C35/45", "B500B", "EN 1992")
B12 = Bars(0.012, 0.125)
BARS = SlabBars(
    0.250, Mat(cover=0.045, x=B12, y=B12, outer="y"), Mat(cover=0.045, x=B12, y=B12, outer="y")
)
CLASS_B = Collision(
    force=200e3,
    height=1.0,
    length=0.5,
    spread=np.radians(45),
    inner_face=0.4,
    edges=("left", "right"),
)


def test_forces_by_hand() -> None:
    """200 kN at 1.0 m over 0.5 m, 45 degrees down the parapet: 2.5 m; 80 kN/m; 80 x 1.125."""
    assert edge_forces(CLASS_B, 0.250) == pytest.approx((90e3, 80e3))
    # TL-4: 54 kip over 3.5 ft at 32 in on a post, no spread
    kip, foot, inch = 4448.22, 0.3048, 0.0254
    post = Collision(
        force=54 * kip,
        height=32 * inch,
        length=3.5 * foot,
        spread=0.0,
        inner_face=0.0,
        edges=("left",),
    )
    m, n = edge_forces(post, 8 * inch)
    assert n == pytest.approx(54 / 3.5 * kip / foot)
    assert m == pytest.approx(54 / 3.5 * 36 / 12 * kip)


def test_accidental_factors() -> None:
    mat = accidental(EN)
    assert mat.f_yd == pytest.approx(500e6)
    assert mat.f_cd == pytest.approx(0.85 * 35e6 / 1.2)
    american = accidental(materials("4 ksi", "Grade 60", "AASHTO LRFD"))
    assert american.factors["phi_bending"] == american.factors["phi_bending_least"] == 1.0


def seen_at(deck: Deck, points: np.ndarray) -> SolvedDeck:
    """A solved deck of which only its points are asked, none of them near a singular place."""
    there = SimpleNamespace(points=SimpleNamespace(plan=points))
    return cast(
        SolvedDeck,
        SimpleNamespace(deck=deck, recovery=there, readable=np.ones(len(points), dtype=bool)),
    )


def with_collision(deck: Deck, collision: Collision) -> Deck:
    return replace(
        deck, reinforcement=Reinforcement(bars=BARS, angle=np.pi / 2, bases=(), collision=collision)
    )


def test_rows_by_hand(tmp_path: Path) -> None:
    """T = 904.8 x 500 = 452.4 kN/m, block 452.4/24.79 = 18.25 mm: t = 115.9 mm, d = 199 mm,
    m_Rd = 452.4 x (199 - 9.12) = 85.9 kNm/m. Weight: 6 hogging at one point near the left face,
    20 farther in, where it does not count."""
    deck = with_collision(deck_of(tmp_path, SLAB, PLAN), CLASS_B)
    points = np.array([[1.0, -1.6], [1.0, -0.5], [1.0, 1.6]])
    solved = seen_at(deck, points)
    dead = np.zeros((3, 3))
    dead[1] = [-6e3, -20e3, 0.0]
    left, right = collision_rows(solved, EN, dead)
    m = 90e3 + 80e3 * (0.250 - 452.4e3 / 24.79e6) / 2
    assert left.required == pytest.approx(m + 6e3, rel=1e-4)
    assert right.required == pytest.approx(m, rel=1e-4)
    assert left.provided == pytest.approx(452.4e3 * (0.199 - 0.00912), rel=1e-3)
    assert not left.passes
    assert "left edge, parapet's inner face" in left.place
    one = with_collision(deck, replace(CLASS_B, edges=("right",), force=20e3))
    (light,) = collision_rows(seen_at(one, points), EN, dead)
    assert light.passes
    none = replace(deck, reinforcement=Reinforcement(bars=BARS, angle=np.pi / 2, bases=()))
    assert collision_rows(seen_at(none, points), EN, dead) == ()


def test_rows_name_the_clause_of_what_is_computed_alone() -> None:
    """F_t spread at an angle is not A13.4.1's barrier resistance over L_c + 2 H."""
    for standard, own, other in (
        ("AASHTO LRFD", "A13.2 force F_t", "not A13.4.1"),
        ("EN 1992", "EN 1991-2 4.7.3.3(1)", "not 4.7.3.3(2)"),
    ):
        words = str(ACCIDENTAL[standard])  # type: ignore[index]
        assert own in words
        assert other in words
        assert "spread" in words
        assert "common practice" in words


CANTILEVER = """
[plan]
stations_m = [0.0, 3.0]
offsets_m = [-1.0, 1.0]
overhang_m = { left = 1.6 }
[[line]]
on = ["L1", "L2"]
support = "rigid"
width_mm = 250
label = "girder"
[mesh]
size_m = 0.5
"""


def test_root_of_a_cantilever_by_hand(tmp_path: Path) -> None:
    """200 kN over 2.5 m at the face, 1.2 m farther in over 2.5 + 2.4 = 4.9 m: 40.82 kN/m, times
    1.125 m 45.92 kNm/m, and the weight there; at the face the weight's 1 kNm/m."""
    deck = with_collision(
        deck_of(tmp_path, SLAB, CANTILEVER), replace(CLASS_B, edges=("left", "right"))
    )
    solved = seen_at(deck, np.array([[1.0, -2.2], [1.0, -1.0], [1.0, 1.0], [1.0, 0.6]]))
    dead = np.zeros((3, 4))
    dead[1] = [-1e3, -9e3, 0.0, 0.0]
    face, root, right = collision_rows(solved, EN, dead)
    arm = (0.250 - 452.4e3 / 24.79e6) / 2
    assert face.required == pytest.approx(90e3 + 80e3 * arm + 1e3, rel=1e-4)
    assert root.required == pytest.approx(200e3 / 4.9 * (1.125 + arm) + 9e3, rel=1e-4)
    assert "left edge, girder" in root.place
    # at the right edge the girder lies below the parapet
    assert "right edge, parapet's inner face" in right.place


def test_vertical_force_against_the_parapet(tmp_path: Path) -> None:
    """The wheel's places one by one as static cases of a deck file, from one edge of the slab to
    the other: its centre 0.4 + 0.2 m from the edge. Its moment about the girder, carried by the
    whole length of the line: 225 kN x 1.0 m over 3.0 m on average."""
    places = np.linspace(0.0, 3.0, 7)
    cases = "".join(
        f"""
[[case]]
name = "{k}"
patches = [{{ at_m = [{x}, -2.0], size_m = [0.4, 0.4], load_kN = {225 if 0 < k < 6 else 112.5} }}]
"""
        for k, x in enumerate(np.clip(places, 0.1, 2.9))
    )
    cases = cases.replace("0.1, -2.0], size_m = [0.4", "0.1, -2.0], size_m = [0.2")
    cases = cases.replace("2.9, -2.0], size_m = [0.4", "2.9, -2.0], size_m = [0.2")
    deck = deck_of(tmp_path, SLAB, CANTILEVER, cases)
    deck = with_collision(deck, replace(CLASS_B, edges=("left",), vertical=225e3))
    model = build_model(deck).model
    solved = SolvedDeck.of(deck, model)
    dead = np.zeros((3, solved.recovery.points.n_points))
    dead[1] = -5e3
    one = deck.reinforcement
    assert one is not None
    assert one.collision is not None
    found = worst_hogging(solved, one.collision, "left", dead)
    alone = [r.fields[1:4, :, 0] for r in case_responses(solved).values()]
    expected = np.max([layer_moment(dead, 3), *(layer_moment(dead + m, 3) for m in alone)], axis=0)
    np.testing.assert_allclose(found, expected, rtol=1e-6, atol=1.0)
    root = np.abs(solved.recovery.points.plan[:, 1] + 1.0) < 1e-9
    assert found[root].max() > 5e3 + 225e3 / 3.0
    without = worst_hogging(solved, replace(one.collision, vertical=0.0), "left", dead)
    np.testing.assert_allclose(without, 5e3)
    _, row = collision_rows(solved, EN, dead)
    _, n = edge_forces(CLASS_B, 0.250, 1.2)
    arm = (0.250 - 452.4e3 / 24.79e6) / 2
    near = np.abs(solved.recovery.points.plan[:, 1] + 1.0) <= 0.25
    assert row.required == pytest.approx(float(n) * (1.125 + arm) + found[near].max(), rel=1e-4)

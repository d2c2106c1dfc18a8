"""Chords that were a curve become smooth; what was meant as straight or as a corner stays."""

import itertools
import math

import numpy as np
import pytest

from plate.geometry.curves import Curve, polyline
from plate.geometry.smoothing import MOST_MOVE, smoothed


def points_on_a_circle(angles: np.ndarray, radius: float = 20.0) -> np.ndarray:
    return radius * np.stack([np.sin(angles), 1.0 - np.cos(angles)], axis=-1)


def kinks(chain: tuple[Curve, ...]) -> list[float]:
    """Turns between neighbouring curves [rad]."""
    found = []
    for one, following in itertools.pairwise(chain):
        assert one.end == following.start
        a, b = one.tangent(1.0), following.tangent(0.0)
        found.append(abs(math.atan2(a[0] * b[1] - a[1] * b[0], a @ b)))
    return found


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_chords_of_a_circle_become_the_circle(sign: float) -> None:
    """Whatever the lengths of the chords: the inscribed angle gives the circle's own tangents."""
    angles = np.cumsum([0.0, 0.05, 0.03, 0.07, 0.02, 0.06])
    drawn = points_on_a_circle(angles) * [1.0, sign]
    found = smoothed(polyline(drawn.tolist()))
    assert found.corners == 4
    assert found.turn == pytest.approx(0.5 * (0.03 + 0.07))  # half of both chords' arcs
    assert max(kinks(found.curves)) < 1e-9
    centre = np.array([0.0, 20.0 * sign])
    for curve in found.curves:
        on = np.linalg.norm(curve.at(np.linspace(0.0, 1.0, 5)) - centre, axis=1)
        np.testing.assert_allclose(on, 20.0, rtol=1e-12)
    assert found.move == pytest.approx(20.0 * (1.0 - math.cos(0.035)), rel=1e-3)  # its sagitta


def test_chords_of_a_clothoid_become_smooth_and_stay_within_the_stated_move() -> None:
    s = np.linspace(0.0, 16.0, 12)
    fine = np.linspace(0.0, 16.0, 4001)
    angle = fine**2 / 400.0
    step = np.stack([np.cos(angle), np.sin(angle)], axis=-1) * (fine[1] - fine[0])
    course = np.concatenate([[[0.0, 0.0]], np.cumsum(step, axis=0)[:-1]])
    drawn = np.stack([np.interp(s, fine, course[:, k]) for k in (0, 1)], axis=-1)
    found = smoothed(polyline(drawn.tolist()))
    assert found.corners == 10
    assert max(kinks(found.curves)) < math.radians(0.1)
    ends = {curve.end for curve in found.curves}
    assert all(tuple(p) in ends for p in drawn[1:].tolist())  # the corners are on the line
    for curve in found.curves:
        middle = curve.at(0.5)
        # The last chord's sagitta is 20 mm; the smooth line misses the clothoid by a tenth at most,
        # most on the first chord, whose end has no tangent of its own.
        assert np.linalg.norm(course - middle, axis=1).min() < 2e-3
    assert 0.005 < found.move < 0.03


def test_a_long_straight_chord_stays_and_the_curve_leaves_it_smoothly() -> None:
    drawn = points_on_a_circle(np.arange(6) * 0.05)
    chain = polyline([[-20.0, 0.0], *drawn.tolist()])
    found = smoothed(chain)
    assert found.curves[0] == chain[0]
    assert found.corners == 5
    assert max(kinks(found.curves)) < math.radians(0.1)


@pytest.mark.parametrize(
    "corners",
    [
        [[0, 0], [5, 0], [10, 0.2]],  # one corner of 2.3 degrees alone
        [[0, 0], [5, 0], [10, 0.2], [15, 0.2]],  # two that turn to and fro
        [[0, 0], [2, 0], [4, 0.5], [6, 1.5]],  # 14 and 13 degrees
        [[0, 0], [20, 0], [40, 1], [60, 3]],  # straight from pier to pier: 0.14 m from a curve
    ],
)
def test_corners_that_are_meant_stay(corners: list[list[float]]) -> None:
    chain = polyline(corners)
    found = smoothed(chain)
    assert found.curves == chain
    assert (found.corners, found.turn, found.move) == (0, 0.0, 0.0)


def test_arcs_that_are_drawn_stay() -> None:
    drawn = points_on_a_circle(np.arange(4) * 0.05)
    arc = Curve((0.0, 0.0), (-2.0, 0.1), 0.1).reversed()
    found = smoothed((arc, *polyline(drawn.tolist())))
    assert found.curves[0] == arc
    assert found.move <= MOST_MOVE

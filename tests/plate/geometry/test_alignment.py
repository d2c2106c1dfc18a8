"""Plan coordinates of curved decks."""

import math

import numpy as np
import pytest

from plate.errors import GeometryError
from plate.geometry.alignment import Alignment
from plate.geometry.elementary import rectangle_corners


@pytest.mark.parametrize("radius", [20.0, -20.0])
def test_a_circle_about_the_centre_at_offset_r(radius: float) -> None:
    plan = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 3.0], [-2.0, -3.0]])
    xy = Alignment(radius).to_cartesian(plan)
    np.testing.assert_allclose(
        np.hypot(*(xy - [0.0, radius]).T), abs(radius) - np.sign(radius) * plan[:, 1]
    )
    np.testing.assert_allclose(xy[0], [0.0, 0.0], rtol=0, atol=1e-14)
    assert np.sign(xy[1, 1]) == np.sign(radius)  # positive curves to the right, where y grows


def test_metric_and_tangent() -> None:
    alignment = Alignment(15.0)
    at, step = np.array([4.0, 2.0]), 1e-6
    dx, dy = step * np.eye(2)
    ahead = alignment.to_cartesian(at + dx) - alignment.to_cartesian(at - dx)
    right = alignment.to_cartesian(at + dy) - alignment.to_cartesian(at - dy)
    tangent = alignment.tangent(at)
    np.testing.assert_allclose(ahead / (2 * step), alignment.stretch(at) * tangent, rtol=1e-8)
    np.testing.assert_allclose(right / (2 * step), [-tangent[1], tangent[0]], rtol=1e-8)
    assert alignment.stretch(at) == pytest.approx(13.0 / 15.0)


def test_area_of_a_sector() -> None:
    alignment, angle = Alignment(10.0), 0.8
    patch = rectangle_corners((4.0, 1.0), (8.0, 4.0))  # from radius 11 to 7
    assert alignment.polygon_area(patch) == pytest.approx(0.5 * angle * (11.0**2 - 7.0**2))
    assert alignment.polygon_area(patch[::-1]) == pytest.approx(-0.5 * angle * (11.0**2 - 7.0**2))
    assert Alignment().polygon_area(patch) == pytest.approx(32.0)


def test_a_very_large_radius_is_straight() -> None:
    plan = np.array([[30.0, 4.0]])
    np.testing.assert_allclose(Alignment(1e9).to_cartesian(plan), plan, rtol=0, atol=1e-6)
    assert Alignment().straight
    assert not Alignment(1e9).straight
    assert math.isinf(Alignment().radius)


def test_beyond_the_centre_of_curvature() -> None:
    with pytest.raises(GeometryError, match="centre of curvature"):
        Alignment(5.0).to_cartesian(np.array([[1.0, 5.0]]))


@pytest.mark.parametrize("radius", [28.5, -28.5, math.inf])
def test_rectangles_have_their_true_size_on_the_ground(radius: float) -> None:
    """Sides along are arcs of that length at their own offset; across, offsets are true."""
    alignment = Alignment(radius)
    at = np.array([[2.0, 3.2], [5.0, -3.2], [1.0, 0.0]])
    sides = np.array([[1.2, 0.4], [0.25, 0.6], [0.5, 0.5]])
    for (_, y), (a, b), corners in zip(at, sides, alignment.rectangles(at, sides), strict=True):
        for first, last, offset in ((0, 1, y - 0.5 * b), (3, 2, y + 0.5 * b)):
            angle = (corners[last, 0] - corners[first, 0]) / radius
            # The arc about the centre of curvature; of a straight deck the side itself.
            arc = (radius - offset) * angle if math.isfinite(radius) else np.ptp(corners[:, 0])
            assert arc == pytest.approx(a, rel=1e-12)
            np.testing.assert_allclose(corners[[first, last], 1], offset, rtol=1e-12)


@pytest.mark.parametrize("radius", [30.0, -30.0, np.inf])
def test_plan_points_of_cartesian_ones(radius: float) -> None:
    """There and back, nearly half a circle either way."""
    plan = np.stack(np.meshgrid([-90.0, -20.0, 0.0, 45.0, 94.0], [-12.0, 0.0, 7.0]), axis=-1)
    alignment = Alignment(radius)
    back = alignment.from_cartesian(alignment.to_cartesian(plan))
    np.testing.assert_allclose(back, plan, rtol=0, atol=1e-11)

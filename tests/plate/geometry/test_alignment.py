"""Plan coordinates of curved decks."""

import math

import numpy as np
import pytest

from plate.errors import GeometryError
from plate.geometry.alignment import Chart
from tests.helpers import rectangle_corners


@pytest.mark.parametrize("radius", [20.0, -20.0])
def test_a_circle_about_the_centre_at_offset_r(radius: float) -> None:
    plan = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 3.0], [-2.0, -3.0]])
    xy = Chart(radius).to_cartesian(plan)
    np.testing.assert_allclose(
        np.hypot(*(xy - [0.0, radius]).T), abs(radius) - np.sign(radius) * plan[:, 1]
    )
    np.testing.assert_allclose(xy[0], [0.0, 0.0], rtol=0, atol=1e-14)
    assert np.sign(xy[1, 1]) == np.sign(radius)  # positive curves to the right, where y grows


def test_metric_and_tangent() -> None:
    chart = Chart(15.0)
    at, step = np.array([4.0, 2.0]), 1e-6
    dx, dy = step * np.eye(2)
    ahead = chart.to_cartesian(at + dx) - chart.to_cartesian(at - dx)
    right = chart.to_cartesian(at + dy) - chart.to_cartesian(at - dy)
    tangent = chart.tangent(at)
    np.testing.assert_allclose(ahead / (2 * step), chart.stretch(at) * tangent, rtol=1e-8)
    np.testing.assert_allclose(right / (2 * step), [-tangent[1], tangent[0]], rtol=1e-8)
    assert chart.stretch(at) == pytest.approx(13.0 / 15.0)


def test_area_of_a_sector() -> None:
    chart, angle = Chart(10.0), 0.8
    patch = rectangle_corners(4.0, 1.0, 8.0, 4.0)  # from radius 11 to 7
    assert chart.polygon_area(patch) == pytest.approx(0.5 * angle * (11.0**2 - 7.0**2))
    assert chart.polygon_area(patch[::-1]) == pytest.approx(-0.5 * angle * (11.0**2 - 7.0**2))
    assert Chart().polygon_area(patch) == pytest.approx(32.0)


def test_a_very_large_radius_is_straight() -> None:
    plan = np.array([[30.0, 4.0]])
    np.testing.assert_allclose(Chart(1e9).to_cartesian(plan), plan, rtol=0, atol=1e-6)
    assert Chart().straight
    assert not Chart(1e9).straight
    assert math.isinf(Chart().radius)


def test_beyond_the_centre_of_curvature() -> None:
    with pytest.raises(GeometryError, match="centre of curvature"):
        Chart(5.0).to_cartesian(np.array([[1.0, 5.0]]))

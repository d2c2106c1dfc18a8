"""Clipping of patches and segments against an independent geometry library."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from plate.arrays import Floats
from plate.geometry.curves import SAME
from plate.geometry.elementary import rectangle_corners
from plate.loads.clipping import clip_convex, clip_segment

SQUARE = rectangle_corners((0.5, 0.5), (1.0, 1.0))
coordinates = st.floats(-1.0, 2.0).map(lambda x: round(x, 3))
points = st.tuples(coordinates, coordinates)


def polygon_area(corners: Floats) -> float:
    x, y = corners.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


@st.composite
def convex_quads(draw: st.DrawFn) -> Floats:
    """A convex quadrilateral that turns from x to y: points on an ellipse, turned."""
    cuts = draw(st.lists(st.floats(0.15, 1.0), min_size=4, max_size=4))
    angle = 2.0 * np.pi * np.cumsum(cuts) / np.sum(cuts)
    a, b = draw(st.floats(0.1, 1.5)), draw(st.floats(0.1, 1.5))
    centre = np.array(draw(points))
    turn = draw(st.floats(0.0, 3.0))
    xy = np.stack([a * np.cos(angle), b * np.sin(angle)], axis=1)
    c, s = np.cos(turn), np.sin(turn)
    return centre + xy @ np.array([[c, s], [-s, c]])


@given(convex_quads(), convex_quads())
def test_area_of_an_overlap(first: Floats, second: Floats) -> None:
    corners, count = clip_convex(first[None], second[None])
    exact = Polygon(first).intersection(Polygon(second)).area
    found = polygon_area(corners[0, : count[0]]) if count[0] >= 3 else 0.0
    assert found == pytest.approx(exact, abs=1e-9)
    # corners past the count repeat the last one, so that they enclose nothing
    assert count[0] < 3 or polygon_area(corners[0]) == pytest.approx(exact, abs=1e-9)


@given(convex_quads(), convex_quads())
def test_overlap_does_not_depend_on_the_order(first: Floats, second: Floats) -> None:
    areas = []
    for a, b in ((first, second), (second, first)):
        corners, count = clip_convex(a[None], b[None])
        areas.append(polygon_area(corners[0, : count[0]]) if count[0] >= 3 else 0.0)
    assert areas[0] == pytest.approx(areas[1], abs=1e-9)


@pytest.mark.parametrize(
    ("patch", "area"),
    [
        (rectangle_corners((0.5, 0.5), (0.4, 0.2)), 0.08),  # inside
        (rectangle_corners((0.5, 0.5), (3.0, 3.0)), 1.0),  # around
        (SQUARE, 1.0),
        (rectangle_corners((1.0, 0.5), (0.4, 0.2)), 0.04),  # half off
        (rectangle_corners((1.0, 1.0), (0.4, 0.2)), 0.02),  # a quarter on
        (rectangle_corners((1.2, 0.5), (0.4, 0.2)), 0.0),  # touching
        (rectangle_corners((3.0, 0.5), (0.4, 0.2)), 0.0),
    ],
)
def test_rectangles(patch: Floats, area: float) -> None:
    corners, count = clip_convex(patch[None], SQUARE[None])
    found = polygon_area(corners[0, : count[0]]) if count[0] >= 3 else 0.0
    assert found == pytest.approx(area, abs=1e-14)


@given(points, points, convex_quads())
def test_length_of_a_segment_inside(start: Floats, end: Floats, quad: Floats) -> None:
    a, b = np.array(start), np.array(end)
    length = float(np.hypot(*(b - a)))
    assume(length > 0.05)
    [(low, high)] = clip_segment(a, b, quad[None])
    exact = LineString([a, b]).intersection(Polygon(quad)).length
    assert length * max(high - low, 0.0) == pytest.approx(exact, abs=1e-8)


def test_a_segment_on_an_edge_counts_for_both_cells() -> None:
    cells = np.stack([SQUARE, rectangle_corners((0.5, 1.5), (1.0, 1.0))])
    spans = clip_segment(np.array([-1.0, 1.0]), np.array([3.0, 1.0]), cells)
    np.testing.assert_allclose(spans, [[0.25, 0.5], [0.25, 0.5]], rtol=0, atol=1e-12)


@pytest.mark.parametrize("length", [0.01, 0.2, 1.0])
@pytest.mark.parametrize("first", [0.0, 1e-9, -1e-9, SAME])
@pytest.mark.parametrize("last", [0.0, 5e-10, -1e-9, SAME])
def test_a_segment_on_an_edge_is_inside_however_its_ends_are_rounded(
    length: float, first: float, last: float
) -> None:
    """Of any length; one that is truly beside the edge is outside."""
    for offset in (0.0, 1.0):
        away = 1.0 if offset else -1.0
        a, b = np.array([0.0, offset + away * first]), np.array([length, offset + away * last])
        assert clip_segment(a, b, SQUARE[None]).tolist() == [[0.0, 1.0]]
        aside = np.array([0.0, 1e-5 * away])
        [(low, high)] = clip_segment(a + aside, b + aside, SQUARE[None])
        assert low >= high

"""Straight lines and arcs: places, lengths, intersections, areas against geometry by hand."""

import math

import numpy as np
import pytest

from plate.errors import GeometryError
from plate.geometry.curves import (
    Curve,
    arc_through,
    circle,
    distance,
    meetings,
    polyline,
    ring_area,
    sampled,
    winding,
)


def on_circle(degrees: float, radius: float = 1.0) -> tuple[float, float]:
    angle = math.radians(degrees)
    return radius * math.cos(angle), radius * math.sin(angle)


@pytest.mark.parametrize(
    ("first", "middle", "last", "sweep"),
    [(0, 90, 180, 180), (0, 30, 60, 60), (60, 30, 0, -60), (10, 150, 300, 290), (0, 1, 2, 2)],
)
def test_arc_through_three_points(first: int, middle: int, last: int, sweep: int) -> None:
    arc = arc_through(on_circle(first), on_circle(middle), on_circle(last))
    assert math.degrees(arc.sweep) == pytest.approx(sweep, abs=1e-8)
    np.testing.assert_allclose(arc.centre, 0.0, atol=1e-10)  # digits lost on a flat arc
    assert arc.radius == pytest.approx(1.0, abs=1e-10)
    assert arc.length == pytest.approx(math.radians(abs(sweep)), rel=1e-10)
    share = np.linspace(0.0, 1.0, 7)
    angle = np.radians(first + share * sweep)
    np.testing.assert_allclose(
        arc.at(share), np.stack([np.cos(angle), np.sin(angle)], 1), atol=1e-9
    )
    turned = angle + np.sign(sweep) * np.pi / 2
    tangent = np.stack([np.cos(turned), np.sin(turned)], 1)
    np.testing.assert_allclose(arc.tangent(share), tangent, atol=1e-9)


def test_three_points_in_line_make_a_straight_line() -> None:
    assert arc_through((0, 0), (1, 1), (3, 3)).sweep == 0.0


@pytest.mark.parametrize(
    "points", [((0, 0), (0, 0), (1, 0)), ((0, 0), (1, 1), (0, 0)), ((0, 0), (2, 0), (1, 0))]
)
def test_no_arc(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(GeometryError, match="arc"):
        arc_through(*points)


def test_ends_of_an_arc_are_exact() -> None:
    arc = Curve((0.1, 0.2), (1.7, -0.4), 2.9)
    assert tuple(arc.at(0.0)) == arc.start
    assert tuple(arc.at(1.0)) == arc.end


def test_a_very_flat_arc_keeps_its_digits() -> None:
    # sagitta = chord^2 / 8 R of a radius of 1e8 m
    arc = Curve((0.0, 0.0), (1.0, 0.0), 1e-8)
    assert arc.at(0.5)[1] == pytest.approx(-1.25e-9, rel=1e-6)


def test_nearest_place_on_an_arc() -> None:
    arc = arc_through(on_circle(0), on_circle(45), on_circle(90))
    share, gap = arc.nearest(np.array([on_circle(30, 3.0), on_circle(-20), on_circle(100, 0.5)]))
    np.testing.assert_allclose(share, [1 / 3, 0.0, 1.0], atol=1e-12)
    expected = [2.0, 2 * math.sin(math.radians(10)), math.dist((0, 1), on_circle(100, 0.5))]
    np.testing.assert_allclose(gap, expected, rtol=1e-12)


def test_pieces_and_turned_curves_keep_the_course() -> None:
    arc = Curve((0.0, 0.0), (2.0, 1.0), -1.3)
    piece = arc.part(0.25, 0.75)
    np.testing.assert_allclose(piece.at(0.5), arc.at(0.5), atol=1e-14)
    assert piece.radius == pytest.approx(arc.radius, rel=1e-12)
    np.testing.assert_allclose(arc.reversed().at(0.2), arc.at(0.8), atol=1e-14)


def test_samples_stay_by_the_arc_and_reach_its_extremes() -> None:
    ring = circle((1.0, 2.0), 4.0)
    points = sampled(ring, 1e-3)
    assert distance(ring, points).max() < 1e-12
    middles = 0.5 * (points[1:] + points[:-1])
    assert distance(ring, middles).max() <= 1e-3
    np.testing.assert_allclose(points.max(axis=0), [3.0, 4.0], atol=1e-14)
    np.testing.assert_allclose(points.min(axis=0), [-1.0, 0.0], atol=1e-14)


def test_area_of_rings() -> None:
    assert ring_area(circle((3.0, -2.0), 2.0)) == pytest.approx(math.pi, rel=1e-14)
    # a square of side 2 with one side replaced by a half circle inwards
    square = [Curve((0, 0), (2, 0)), Curve((2, 0), (2, 2)), Curve((2, 2), (0, 2))]
    dented = [*square, Curve((0, 2), (0, 0), -math.pi)]
    bulged = [*square, Curve((0, 2), (0, 0), math.pi)]
    assert ring_area(dented) == pytest.approx(4.0 - math.pi / 2, rel=1e-13)
    assert ring_area(bulged) == pytest.approx(4.0 + math.pi / 2, rel=1e-13)
    assert ring_area(polyline([(0, 0), (0, 1), (1, 0), (0, 0)])) == pytest.approx(-0.5)


def test_winding_tells_inside_from_outside() -> None:
    rng = np.random.default_rng(3)
    points = rng.uniform(-2.0, 2.0, (400, 2))
    inside = np.hypot(*points.T) < 1.5
    # one arc of more than half a turn, one of less, and the centre on a chord
    for cut in (50.0, 180.0, 300.0):
        ring = [
            arc_through(on_circle(0, 1.5), on_circle(cut / 2, 1.5), on_circle(cut, 1.5)),
            arc_through(on_circle(cut, 1.5), on_circle(180 + cut / 2, 1.5), on_circle(0, 1.5)),
        ]
        np.testing.assert_array_equal(winding(ring, points), inside.astype(float))
        assert winding(ring, np.zeros(2)) == 1.0
        np.testing.assert_array_equal(
            winding([curve.reversed() for curve in reversed(ring)], points), -inside.astype(float)
        )


@pytest.mark.parametrize(
    ("one", "other", "places"),
    [
        (Curve((0, 0), (2, 0)), Curve((1, -1), (1, 1)), [(1, 0)]),
        (Curve((0, 0), (2, 0)), Curve((3, -1), (3, 1)), []),
        (Curve((0, 0), (4, 0)), Curve((1, 0), (3, 0)), [(1, 0), (3, 0)]),  # overlap: its ends
        (Curve((0, 0), (2, 0)), Curve((1, 0), (1, 5)), [(1, 0)]),  # touches with an end
        (Curve((-1, 0), (1, 0), math.pi), Curve((0, -3), (0, 3)), [(0, -1)]),
        (Curve((-1, 0), (1, 0), math.pi), Curve((-2, -1), (2, -1)), [(0, -1)]),  # tangent
        (
            Curve((-1, 0), (1, 0), math.pi),
            Curve((-1, -1), (1, -1), -math.pi),
            [(-math.sqrt(0.75), -0.5), (math.sqrt(0.75), -0.5)],
        ),
        (
            Curve((-1, 0), (1, 0), math.pi),
            Curve(on_circle(225), on_circle(300), math.radians(75)),
            [on_circle(225), on_circle(300)],
        ),
    ],
)
def test_where_curves_meet(one: Curve, other: Curve, places: list[tuple[float, float]]) -> None:
    for first, second in ((one, other), (other, one)):
        found = meetings(first, second)
        at = sorted(tuple(np.round(first.at(s), 6) + 0.0) for s, _ in found)
        expected = np.array(sorted(places)).reshape(-1, 2)
        # a tangent is found to within the root of the tolerance for one point, 1e-7 m
        np.testing.assert_allclose(np.array(at).reshape(-1, 2), expected, atol=2e-6)
        for s, t in found:
            np.testing.assert_allclose(first.at(s), second.at(t), atol=1e-6)

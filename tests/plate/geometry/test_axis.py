"""An axis of lines and arcs: places, lengths and rectangles beside it, from plane geometry."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from plate.errors import GeometryError
from plate.geometry.alignment import Alignment
from plate.geometry.axis import Axis
from plate.geometry.curves import Curve, arc_through

# 10 m straight at 30 degrees, then a quarter circle of 20 m radius to the right, then straight.
TURN = np.radians(30.0)
C, S = np.cos(TURN), np.sin(TURN)
MIDDLE = np.array([10.0 * C - 20.0 * S, 10.0 * S + 20.0 * C])  # of the circle


def on_circle(angle: float) -> tuple[float, float]:
    """A point of the circle whose tangent has turned by so much from the first line."""
    a = TURN - 0.5 * np.pi + angle
    x, y = MIDDLE + 20.0 * np.array([np.cos(a), np.sin(a)])
    return float(x), float(y)


def chain() -> Axis:
    bend = Curve(on_circle(0.0), on_circle(0.5 * np.pi), 0.5 * np.pi)
    away = np.array(bend.end) + 5.0 * np.array([-S, C])
    return Axis((Curve((0.0, 0.0), bend.start), bend, Curve(bend.end, (away[0], away[1]))))


def test_stations_offsets_and_beyond_the_ends() -> None:
    axis = chain()
    assert_allclose(axis.knots, [0.0, 10.0, 10.0 + 10.0 * np.pi, 15.0 + 10.0 * np.pi])
    assert_allclose(axis.curvature, [0.0, 1.0 / 20.0, 0.0])
    # 4 m before its start and 2 m to the right, which is a quarter turn from x to y
    assert_allclose(axis.to_plan(np.array([-4.0, 2.0])), [-4.0 * C - 2.0 * S, -4.0 * S + 2.0 * C])
    # half way round, 3 m nearer to the middle of the circle
    half = np.array(on_circle(0.25 * np.pi))
    expected = MIDDLE + (half - MIDDLE) * 17.0 / 20.0
    assert_allclose(axis.to_plan(np.array([10.0 + 5.0 * np.pi, 3.0])), expected)


@given(st.floats(-20.0, 70.0), st.floats(-8.0, 8.0))
def test_places_lead_back_to_their_stations(station: float, offset: float) -> None:
    track = np.array([station, offset])
    axis = chain()
    assert_allclose(axis.to_track(axis.to_plan(track)), track, atol=1e-7)


@given(st.floats(-20.0, 60.0), st.floats(-15.0, 15.0), st.floats(-30.0, 30.0))
def test_going_along_takes_the_length_on_the_ground(
    station: float, offset: float, distance: float
) -> None:
    """Against the length of a fine polyline beside the axis: chords of a 2000th of 30 m are short
    by less than 1e-7 of it on 5 m radius."""
    axis = chain()
    to = float(axis.along(np.array(station), np.array(offset), np.array(distance)))
    steps = np.linspace(station, to, 2001)
    path = axis.to_plan(np.column_stack([steps, np.full(2001, offset)]))
    length = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
    assert length == pytest.approx(abs(distance), rel=1e-5, abs=1e-9)
    assert (to - station) * distance >= 0.0


def test_an_arc_is_the_alignment_of_a_curved_deck() -> None:
    """Two classes, one geometry: stations, offsets and lengths; and of rectangles the corners, to
    what an arc of 1 m length lies from its tangent, 1/(8 R) on a radius of 26 m."""
    for radius in (30.0, -30.0):
        deck = Alignment(radius)
        ends = deck.to_cartesian(np.array([[0.0, 0.0], [4.0, 0.0], [9.0, 0.0]])).tolist()
        axis = Axis((arc_through(*(tuple(p) for p in ends)),))
        track = np.array([[1.0, -3.0], [5.0, 0.0], [8.5, 4.0]])
        assert_allclose(axis.to_plan(track), deck.to_cartesian(track), atol=1e-9)
        s, y = track.T
        assert_allclose(axis.along(s, y, np.array(0.4)), deck.along(s, y, np.array(0.4)))
        corners = deck.to_cartesian(deck.rectangles(track, [1.0, 0.6]))
        assert_allclose(axis.rectangles(track, [1.0, 0.6]), corners, atol=1.0 / 208.0)
        assert axis.least_stretch(np.array([10.0, -10.0])) == pytest.approx(2.0 / 3.0)


def test_rectangles_are_turned_and_move_with_the_axis() -> None:
    axis = chain()
    track = np.array([[3.0, -2.0], [20.0, 1.0], [44.0, 3.0]])
    corners = axis.rectangles(track, [0.4, 0.6])
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=-1)
    assert_allclose(sides, [[0.4, 0.6, 0.4, 0.6]] * 3)
    _, along = axis.points(track[:, 0])
    assert_allclose(corners[:, 1] - corners[:, 0], 0.4 * along, atol=1e-12)
    moved = axis.rectangles(track + np.array([2.5, 0.0]), [0.4, 0.6])
    assert_allclose(axis.moved(corners, 2.5), moved, atol=1e-9)


def test_a_kink_is_told_with_its_place() -> None:
    with pytest.raises(GeometryError, match="turns by 90 degrees at 3, 0"):
        Axis((Curve((0.0, 0.0), (3.0, 0.0)), Curve((3.0, 0.0), (3.0, 2.0))))
    with pytest.raises(GeometryError, match="do not meet"):
        Axis((Curve((0.0, 0.0), (3.0, 0.0)), Curve((3.1, 0.0), (5.0, 0.0))))

"""The search for the worst arrangement of lanes against trying every one."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.traffic.lanes import best_sum, lane_offsets, orders, strip_shares


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    lanes=st.integers(1, 3),
    seed=st.integers(0, 10**6),
    rooms=st.lists(st.floats(0.5, 1.6), min_size=3, max_size=3),
)
def test_best_sum_is_the_best_of_all(lanes: int, seed: int, rooms: list[float]) -> None:
    rng = np.random.default_rng(seed)
    offsets = [np.sort(rng.uniform(-4.0, 4.0, rng.integers(3, 7))) for _ in range(lanes)]
    values = [rng.normal(size=(len(y), 4)) for y in offsets]
    sums, places = best_sum(values, offsets, rooms[:lanes])
    for n in range(4):
        best = -np.inf
        for pick in product(*(range(len(y)) for y in offsets)):
            y = [offsets[k][j] for k, j in enumerate(pick)]
            if all(y[k + 1] - y[k] >= rooms[k] + rooms[k + 1] - 1e-6 for k in range(lanes - 1)):
                best = max(best, sum(values[k][j, n] for k, j in enumerate(pick)))
        assert sums[n] == pytest.approx(best, rel=1e-12)
        if np.isfinite(best):
            chosen = sum(values[k][places[k, n], n] for k in range(lanes))
            assert chosen == pytest.approx(best, rel=1e-12)


def test_lanes_without_room_have_no_sum() -> None:
    sums, _ = best_sum([np.ones((2, 1))] * 2, [np.array([0.0, 2.0])] * 2, [1.25, 1.25])
    assert sums[0] == -np.inf


def test_orders_of_like_lanes_count_once() -> None:
    assert orders((0, 0, 1)) == ((0, 0, 1), (0, 1, 0), (1, 0, 0))
    assert len(orders((0, 1, 2))) == 6


def test_offsets_lie_about_the_middle_and_reach_the_ends() -> None:
    expected = [-1.0, -0.9, -0.4, 0.1, 0.6, 1.1, 1.2]
    np.testing.assert_allclose(lane_offsets(-1.0, 1.2, 0.5, 2.5), expected)
    np.testing.assert_allclose(lane_offsets(-1.0, 1.0, 0.5, 2.5), [-1.0, -0.5, 0.0, 0.5, 1.0])
    np.testing.assert_allclose(lane_offsets(0.3, 0.3, 0.5, 2.5), [0.3])


@pytest.mark.parametrize("step", [0.3, 0.5, 0.55, 2.0])
def test_neighbours_can_stand_as_near_as_they_may(step: float) -> None:
    y = lane_offsets(-2.1, 2.1, step, 2.5)
    assert np.diff(y).max() <= step + 1e-9
    gaps = y[:, None] - y
    assert np.abs(gaps - 2.5).min() < 1e-9


def test_strips_cover_shares_and_stay_on_the_carriageway() -> None:
    edges = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    shares = strip_shares(edges, np.array([0.25, -1.9]), 2.5, (-2.0, 2.0))
    np.testing.assert_allclose(shares, [[0.0, 1.0, 1.0, 0.5], [1.0, 1.0, 0.5, 0.0]])
    np.testing.assert_allclose(strip_shares(edges, np.array([0.0]), 9.0, (-2.0, 2.0)), 1.0)

"""Bounds of sums over lanes against every combination, and of adverse parts against fine cells."""

import itertools

import numpy as np
import pytest

from pipelines.accuracy.adverse_parts import AdverseParts
from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.lane_sums import BoundedLane, highest_through
from pipelines.traffic.lanes import best_sum
from tests.pipelines.accuracy.random_traffic import random_case


def lane_of(rng: np.random.Generator, n: int) -> BoundedLane:
    ends = np.sort(rng.uniform(0.0, 4.0, 2 * n))
    return BoundedLane(ends[0::2], ends[1::2], rng.uniform(0.0, 3.0, n))


@pytest.mark.parametrize("seed", range(8))
def test_the_highest_sum_through_a_stretch_is_that_of_all_combinations(seed: int) -> None:
    rng = np.random.default_rng(seed)
    lanes = [lane_of(rng, int(rng.integers(1, 6))) for _ in range(3)]
    rooms = [0.3, 0.5, 0.2]
    found = highest_through(lanes, rooms)
    best = [np.full(len(lane.low), -np.inf) for lane in lanes]
    for chosen in itertools.product(*(range(len(lane.low)) for lane in lanes)):
        # Some offsets within the stretches keep the distance if the outermost ones do.
        able = all(
            b.high[j] - a.low[i] >= r + q
            for (a, i, r), (b, j, q) in itertools.pairwise(zip(lanes, chosen, rooms, strict=True))
        )
        if able:
            total = sum(lane.bound[k] for lane, k in zip(lanes, chosen, strict=True))
            for one, k in zip(best, chosen, strict=True):
                one[k] = max(one[k], total)
    for one, expected in zip(found, best, strict=True):
        np.testing.assert_allclose(one, expected)


def test_of_equal_sums_the_first_is_told() -> None:
    values = np.array([[1.0], [2.0 - 1e-13], [2.0], [1.5]])
    offsets = np.array([0.0, 1.0, 2.0, 3.0])
    total, places = best_sum([values], [offsets], [0.0])
    assert total[0] == 2.0
    assert places[0, 0] == 1
    total, places = best_sum([values, values], [offsets, offsets], [0.0, 0.0])
    assert places[:, 0].tolist() == [1, 1]


@pytest.mark.parametrize("seed", range(5))
def test_adverse_parts_lie_between_their_bounds(seed: int) -> None:
    """Of fine cells those on which a surface's integral is positive load no more than is adverse,
    and nearly as much."""
    case = random_case(seed)
    grid = GridSurfaces.of(case.found)
    assert grid is not None
    rows, signs = np.array([0, 0, 2, 2]), np.array([1.0, -1.0, 1.0, -1.0])
    parts = AdverseParts.of(grid, rows, signs)
    low, high = grid.y.lines[0] + 0.123, grid.y.lines[-1] - 0.31
    n = np.full(4, 1.0)
    below, above = parts.between(np.arange(4), low * n, high * n)
    s = np.linspace(grid.s.lines[0], grid.s.lines[-1], 121)
    y = np.linspace(low, high, 81)
    i, j = (index.ravel() for index in np.indices((120, 80)))
    corners = np.stack(
        [
            np.stack([s[i], s[i + 1], s[i + 1], s[i]], axis=-1),
            np.stack([y[j], y[j], y[j + 1], y[j + 1]], axis=-1),
        ],
        axis=-1,
    )
    area = (s[1] - s[0]) * (y[1] - y[0])
    cells = case.found.means(corners)[rows] * signs[:, None] * area
    loaded = np.maximum(cells, 0.0).sum(axis=1)
    size = np.abs(cells).sum(axis=1)
    assert np.all(loaded <= above + 1e-12 * size)
    assert np.all(below <= above)
    # Cells of both signs, here and there, are few; the last surface jumps from sign to sign in one.
    assert np.all(loaded >= below - 5e-3 * size)
    assert np.all(above - below <= 5e-3 * size)

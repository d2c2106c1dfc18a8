"""Which moves bring a patch onto a slab that is not convex, against overlaps cut by shapely."""

import numpy as np
import pytest
import shapely

from pipelines.traffic.on_slab import multiples_on_slab

U_SHAPE = np.array([[0, 0], [10, 0], [10, 6], [7, 6], [7, 2], [3, 2], [3, 6], [0, 6]], dtype=float)
HOLE = np.array([[1, 0.5], [9, 0.5], [9, 1.5], [1, 1.5]], dtype=float)


def box(x: float, y: float, a: float, b: float) -> np.ndarray:
    return np.array([[x, y], [x + a, y], [x + a, y + b], [x, y + b]])


def by_areas(start: np.ndarray, rings: list[np.ndarray], step: float) -> np.ndarray:
    slab = shapely.Polygon(rings[0], rings[1:])
    moves = np.arange(-60, 60)
    touching = [
        any(
            shapely.Polygon(patch + np.array([step * k, 0.0])).intersection(slab).area > 1e-9
            for patch in start
        )
        for k in moves
    ]
    return step * moves[touching]


@pytest.mark.parametrize(
    ("patches", "rings"),
    [
        ([box(0, 4, 0.4, 0.5)], [U_SHAPE]),  # over the gap of the U: two runs of positions
        ([box(0, 4, 0.4, 0.5), box(-5, 4, 0.4, 0.5)], [U_SHAPE]),
        ([box(0, 0.8, 0.4, 0.4)], [U_SHAPE, HOLE]),  # wholly within the hole for a while
        ([box(0, 0.4, 0.4, 0.4)], [U_SHAPE, HOLE]),  # beside the hole all along
        ([box(0, 1.9, 0.3, 0.2)], [U_SHAPE]),
        ([box(0, 6.0, 0.3, 0.2)], [U_SHAPE]),  # touches the edge only: no overlap
        ([box(0, -0.2, 0.3, 0.2)], [U_SHAPE]),
        ([np.array([[0, 1], [0.4, 1], [0.6, 3], [0.1, 3]])], [U_SHAPE]),
    ],
)
def test_positions_on_the_slab(patches: list[np.ndarray], rings: list[np.ndarray]) -> None:
    start = np.array(patches, dtype=float)
    found = multiples_on_slab(start, rings, 0.3)
    np.testing.assert_allclose(found, by_areas(start, rings, 0.3), atol=1e-12)


def test_random_rings() -> None:
    rng = np.random.default_rng(5)
    for _ in range(10):
        angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, 9))
        radius = rng.uniform(1.0, 6.0, 9)
        ring = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
        if not shapely.Polygon(ring).is_valid:
            continue
        start = np.array([box(0, y, 0.5, 0.7) for y in rng.uniform(-5.0, 5.0, 3)])
        found = multiples_on_slab(start, [ring], 0.25)
        np.testing.assert_allclose(found, by_areas(start, [ring], 0.25), atol=1e-12)

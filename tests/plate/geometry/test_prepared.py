"""Prepared areas: asked by several threads at once, they answer as they do by themselves."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import numpy as np
import shapely

from plate.geometry.prepared import prepared

THREADS = 4


def area() -> shapely.Geometry:
    centres = shapely.points([[0.0, 0.0], [7.0, 1.0]])
    return shapely.union_all(shapely.buffer(centres, 3.0, quad_segs=20_000))


def test_threads_that_ask_first_at_the_same_time() -> None:
    """With `shapely.prepare` alone some of these rounds end the process."""
    x, y = np.random.default_rng(7).uniform(-4.0, 11.0, (2, 2000))
    expected = shapely.contains_xy(area(), x, y)
    assert 0 < expected.sum() < len(x)
    together = Barrier(THREADS)

    def ask(of: shapely.Geometry) -> np.ndarray:
        together.wait()
        return np.asarray(shapely.contains_xy(of, x, y))

    with ThreadPoolExecutor(THREADS) as pool:
        for _ in range(8):
            for found in pool.map(ask, [prepared(area())] * THREADS):
                np.testing.assert_array_equal(found, expected)


def test_nothing_can_be_prepared() -> None:
    assert not shapely.intersects(prepared(shapely.Polygon()), shapely.Point(0.0, 0.0))

"""Prepared geometries: asked by several threads at once, they answer as they do by themselves."""

import pickle
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import numpy as np
import pytest
import shapely

from plate.geometry.prepared import Prepared

THREADS = 4
AT = np.random.default_rng(7).uniform(-4.0, 11.0, (400, 2))
BOXES = shapely.box(AT[:, 0], AT[:, 1], AT[:, 0] + 0.4, AT[:, 1] + 0.4)
ASKED: dict[str, tuple[Callable[[Prepared], np.ndarray], Callable[[shapely.Geometry], np.ndarray]]]
ASKED = {
    "intersects": (lambda p: p.intersects(BOXES), lambda g: shapely.intersects(g, BOXES)),
    "covers": (lambda p: p.covers(BOXES), lambda g: shapely.covers(g, BOXES)),
    "contains": (lambda p: p.contains(AT), lambda g: shapely.contains_xy(g, *AT.T)),
    "meets": (lambda p: p.meets(AT), lambda g: shapely.intersects_xy(g, *AT.T)),
}


def area() -> shapely.Geometry:
    centres = shapely.points([[0.0, 0.0], [7.0, 1.0]])
    return shapely.union_all(shapely.buffer(centres, 3.0, quad_segs=2000))


@pytest.mark.parametrize("question", ASKED)
def test_threads_that_ask_at_the_same_time(question: str) -> None:
    """Without its lock some of these rounds end the process."""
    ask, plainly = ASKED[question]
    expected = plainly(area())
    assert 0 < expected.sum() < len(AT)
    together = Barrier(THREADS)

    def asked(of: Prepared) -> np.ndarray:
        together.wait()
        return ask(of)

    with ThreadPoolExecutor(THREADS) as pool:
        for _ in range(10):
            for found in pool.map(asked, [Prepared(area())] * THREADS):
                np.testing.assert_array_equal(found, expected)


def test_it_goes_to_another_process() -> None:
    there = pickle.loads(pickle.dumps(Prepared(area())))
    np.testing.assert_array_equal(there.contains(AT), Prepared(area()).contains(AT))

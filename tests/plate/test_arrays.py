"""What is connected: the same parts, numbered alike, as another program's walk over the graph."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from plate.arrays import connected


@pytest.mark.parametrize(
    ("count", "joined"), [(0, 0), (1, 0), (7, 3), (50, 30), (400, 380), (3000, 2900), (200, 2000)]
)
def test_connected_parts_are_those_of_a_walk(count, joined):
    rng = np.random.default_rng(count + joined)
    first, second = rng.integers(0, max(count, 1), (2, joined))
    graph = sparse.coo_array((np.ones(joined), (first, second)), shape=(count, count))
    _, label = connected_components(graph, directed=False) if count else (0, np.zeros(0, int))
    assert np.array_equal(connected(count, first, second), label)


@pytest.mark.parametrize("step", [1, -1, 7])
def test_a_chain_is_one_part(step):
    chain = np.arange(0, 2000 * step, step) % 2000
    assert not connected(2000, chain[:-1], chain[1:]).any()

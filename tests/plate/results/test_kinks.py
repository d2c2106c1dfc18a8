"""What shears as they are read lack beside the edges of patches: the patch alone."""

import numpy as np
import pytest

from plate.arrays import Floats
from plate.results.kinks import patch_shears

# a wheel askew and another, counter-clockwise and clockwise
PATCHES = np.array(
    [
        [[0.0, 0.0], [0.8, 0.2], [0.6, 1.0], [-0.2, 0.8]],
        [[2.0, 0.0], [2.0, 0.5], [2.4, 0.5], [2.4, 0.0]],
    ]
)
LOADS = np.array([3.0, 2.0])
STEP = 1e-5


def shears(at: Floats) -> Floats:
    """Of both patches together (n, 2) at points (n, 2)."""
    each = [patch_shears(at[:, None], PATCHES, LOADS, axis) for axis in np.eye(2)]
    return np.stack(each, axis=-1).sum(axis=1)


def divergence(at: tuple[float, float]) -> tuple[float, float]:
    """Divergence and rotation of the shears, by differences."""
    moves = STEP * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    q = shears(np.array(at) + moves)
    along, across = (q[0] - q[1]) / (2.0 * STEP), (q[2] - q[3]) / (2.0 * STEP)
    return along[0] + across[1], along[1] - across[0]


def test_shears_of_patches_carry_their_pressure() -> None:
    """div q = -p under a patch and nothing beside, with no rotation; differences to 1e-4."""
    area = 0.8 * 0.8 + 0.2 * 0.2
    for at, pressure in (((0.3, 0.5), 3.0 / area), ((2.1, 0.2), 2.0 / 0.2), ((1.3, 0.4), 0.0)):
        carried, turned = divergence(at)
        assert carried == pytest.approx(-pressure, abs=1e-4)
        assert turned == pytest.approx(0.0, abs=1e-4)


def test_all_of_the_load_leaves_through_a_ring() -> None:
    """By the trapezoidal rule on a circle around both, exact but for 0.3^100."""
    angle = np.linspace(0.0, 2.0 * np.pi, 100, endpoint=False)
    outward = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    q = shears(np.array([1.1, 0.4]) + 4.0 * outward)
    flux = 4.0 * 2.0 * np.pi * np.mean(np.sum(q * outward, axis=1))
    assert flux == pytest.approx(-LOADS.sum(), rel=1e-9)

"""The share of the mean of both cells in shears read on their border."""

import numpy as np
import pytest
from numpy.polynomial.legendre import legvander

from plate.arrays import Floats
from plate.elements.section import Section
from plate.geometry.plan import grid_plan
from plate.interpolation import gauss
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.results.readings import KINKED, Readings, Way

# Places of a kink in the two cells beside a border at 1.
KINKS = np.linspace(0.0, 2.0, 81)


def largest(order: int, mean: float) -> float:
    """How wrong at most the shear of a beam whose slope changes by one, anywhere in the two cells
    of unit length beside a border, is read there.

    In a beam the shear of a cell is the polynomial of degree p - 1 nearest to the true one.
    """
    mesh = grid_mesh(grid_plan([0.0, 2.0], [0.0, 0.5]), order=order, size=1.0)
    readings = Readings(PlateModel(mesh=mesh, section=Section(thickness=0.1, E=1.0, poisson=0.0)))
    low = mesh.corners[:, :, 0].min(axis=1)
    [first] = np.flatnonzero((low == 0.0) & (mesh.corners[:, :, 1].min(axis=1) == 0.0))
    _, cells, at, share = readings.of(np.array([first]), np.array([[1.0, 0.3]]), Way((0,), mean))
    read = [
        part * nearest(order - 1, KINKS - low[cell], place)
        for cell, place, part in zip(cells, at[:, 0], share, strict=True)
    ]
    return float(np.abs(np.sum(read, axis=0) - np.maximum(1.0 - KINKS, 0.0)).max())


def nearest(degree: int, kink: Floats, at: float) -> Floats:
    """The polynomial nearest to max(x - kink, 0) on 0 to 1, for kinks (n,), at a reference
    coordinate."""
    t, weight = gauss(degree + 3)
    start = np.clip(kink, 0.0, 1.0)[:, None]
    x = start + 0.5 * (1.0 - start) * (1.0 + t)
    ramp = 0.5 * (1.0 - start) * weight * (x - kink[:, None])
    kernel = legvander(2.0 * x - 1.0, degree) @ (
        (2.0 * np.arange(degree + 1) + 1.0) * legvander(np.array([at]), degree)[0]
    )
    return np.asarray(np.sum(kernel * ramp, axis=1))


@pytest.mark.parametrize("order", [2, 3, 4])
def test_a_half_makes_the_largest_error_of_a_kink_least(order: int) -> None:
    """The polynomial alone is wrong by more where the kink lies on the border, the mean alone
    where it lies within; of all shares a half is wrong by no more than 1.15 times the least."""
    errors = {mean: largest(order, mean) for mean in (0.0, 0.3, 0.4, KINKED, 0.55, 0.6, 1.0)}
    assert errors[KINKED] < 1.15 * min(errors.values())
    assert errors[0.0] > 1.5 * errors[KINKED]
    assert errors[1.0] > 1.4 * errors[KINKED]

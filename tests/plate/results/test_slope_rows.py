"""Slopes at places, along the local axes."""

import numpy as np
import pytest

from plate.conventions import N_FIELDS
from plate.elements.section import Section
from plate.geometry.plan import grid_plan
from plate.meshing.grid import grid_mesh
from plate.model.model import PlateModel
from plate.results.functionals import slope_rows
from plate.results.places import at_points


@pytest.mark.parametrize("radius", [np.inf, 25.0, -25.0])
def test_slopes_of_a_tilted_plate(radius: float) -> None:
    """theta = (a, b) all over, in Cartesian axes: along the tangent at station s, which has turned
    by s/R, a cos + b sin; towards growing offsets b cos - a sin."""
    plan = grid_plan([0.0, 6.0, 12.0], [-2.0, 2.0], radius=radius)
    model = PlateModel(
        mesh=grid_mesh(plan, order=2, size=2.0), section=Section(thickness=0.3, E=30e9, poisson=0.2)
    )
    U = np.zeros((model.mesh.n_nodes, N_FIELDS))
    a, b = 3e-3, -2e-3
    U[:, 1:] = a, b
    points = np.array([[1.0, 0.5], [6.0, -1.0], [11.7, 2.0]])
    found = slope_rows(model, at_points(model.mesh, points)) @ U.ravel()
    turned = points[:, 0] / radius
    expected = np.column_stack(
        [a * np.cos(turned) + b * np.sin(turned), b * np.cos(turned) - a * np.sin(turned)]
    )
    np.testing.assert_allclose(found.reshape(-1, 2), expected, rtol=1e-9)

"""Errors of plates under a sine load, whose solution is known."""

from dataclasses import replace

import numpy as np

from plate.arrays import Floats
from plate.elements.plate import cell_dofs
from plate.model.model import PlateModel
from plate.results.fields import cell_operators
from tests.helpers import (
    HARD,
    area_load,
    gauss_points,
    perturbed,
    rectangle,
    shear_rigidity,
    solved,
    unit_section,
)


def cell_results(model: PlateModel, u: Floats) -> Floats:
    """The six results at the Gauss points of every cell (n_cell, n_point, 6)."""
    mesh = model.mesh
    points, _, _ = gauss_points(mesh)
    operators = cell_operators(model, np.arange(mesh.n_cells), points)
    return np.asarray(np.einsum("cpkd,cd->cpk", operators, u[cell_dofs(mesh.cells)]))


def sine_errors(t: float, order: int, n: int, share: float, seed: int) -> Floats:
    """Relative errors in the mean square of w, m and q of a hard square plate under a pressure
    sin(pi x) sin(pi y), D = 1, nu = 0.3, with n cells a side moved by `share`."""
    model = rectangle(1.0, 1.0, unit_section(t, 0.3), HARD, order=order, size=1.0 / n)
    mesh = perturbed(model.mesh, share, seed) if share else model.mesh
    return sine_errors_of(replace(model, mesh=mesh))


def sine_errors_of(model: PlateModel) -> Floats:
    """`sine_errors` of any model of that plate."""
    mesh = model.mesh

    def load(xy: Floats) -> Floats:
        return np.asarray(np.sin(np.pi * xy[..., 0]) * np.sin(np.pi * xy[..., 1]))

    _, U, _ = solved(model, area_load(mesh, load))
    _, xy, weights = gauss_points(mesh)
    sx, sy = np.sin(np.pi * xy[..., 0]), np.sin(np.pi * xy[..., 1])
    cx, cy = np.cos(np.pi * xy[..., 0]), np.cos(np.pi * xy[..., 1])
    k = np.pi**2
    W = 1.0 / (4.0 * k * k)
    exact = np.stack(
        [
            (W + 2.0 * k * W / shear_rigidity(model.section)) * sx * sy,
            1.3 * k * W * sx * sy,
            1.3 * k * W * sx * sy,
            -0.7 * k * W * cx * cy,
            2.0 * k * np.pi * W * cx * sy,
            2.0 * k * np.pi * W * sx * cy,
        ],
        axis=-1,
    )
    square = (cell_results(model, U[:, 0]) - exact) ** 2 * weights[..., None]
    size = exact**2 * weights[..., None]
    return np.array(
        [
            np.sqrt(square[..., part].sum() / size[..., part].sum())
            for part in ([0], [1, 2, 3], [4, 5])
        ]
    )

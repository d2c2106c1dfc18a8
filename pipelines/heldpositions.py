"""Results at load positions that are held while something else changes: rows on displacements."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.envelopes import find_position
from pipelines.responses import Solver, position_load
from pipelines.traffic import LoadPositions
from plate.model import PlateModel
from plate.recovery import N_RESULTS, point_operators
from plate.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BLOCK = 64  # load positions solved together


def values_at(
    stiffness: Stiffness,
    runs: Sequence[LoadPositions],
    wanted: Sequence[tuple[int, sparse.csr_array]],
) -> list[Floats]:
    """Rows (k, n_dof) times the displacements of the load position of that number, each (k,)."""
    found: list[Floats] = [np.zeros(0)] * len(wanted)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i][0])
    numbers = sorted({number for number, _ in wanted})
    place = 0
    for start in range(0, len(numbers), BLOCK):
        part = numbers[start : start + BLOCK]
        where = [find_position(runs, number) for number in part]
        loads = [position_load(stiffness.model, run, slice(i, i + 1)) for run, i in where]
        U = stiffness.solve(np.concatenate(loads, axis=1))
        column = {number: k for k, number in enumerate(part)}
        while place < len(order) and wanted[order[place]][0] in column:
            number, rows = wanted[order[place]]
            found[order[place]] = np.asarray(rows @ U[:, column[number]])
            place += 1
    return found


def point_rows(model: PlateModel, points: Floats) -> sparse.csr_array:
    """Rows (6 n, n_dof) of all results at plan points (n, 2), each the mean of its cells."""
    located = model.mesh.locate(points)
    cells = np.concatenate([c for c, _ in located])
    xi = np.concatenate([x for _, x in located])
    owner = np.repeat(np.arange(len(points)), [len(c) for c, _ in located])
    return _means(point_operators(model, cells, xi), owner, len(points))


def field_point_rows(solver: Solver, points: Sequence[int]) -> sparse.csr_array:
    """Rows (6 n, n_dof) of all results at field points, as the fields have them."""
    of_cells = solver.recovery.points.cells
    mesh = solver.model.mesh
    wanted = np.asarray(points)
    unique, pick = np.unique(wanted, return_inverse=True)
    cells, local = np.nonzero(np.isin(of_cells, wanted))
    found = of_cells[cells, local]
    rows = point_operators(solver.model, cells, mesh.node_reference[local])
    means = _means(rows, np.searchsorted(unique, found), len(unique))
    index = (N_RESULTS * pick[:, None] + np.arange(N_RESULTS)).ravel()
    return means[index]


def _means(rows: sparse.csr_array, owner: Ints, count: int) -> sparse.csr_array:
    """Rows (6 count, n_dof): the mean of the rows (6 n, n_dof) that belong to each owner (n,)."""
    weight = 1.0 / np.bincount(owner, minlength=count)[owner]
    component = np.arange(N_RESULTS)
    mean = sparse.coo_array(
        (
            np.repeat(weight, N_RESULTS),
            (
                (N_RESULTS * owner[:, None] + component).ravel(),
                np.arange(N_RESULTS * len(owner)),
            ),
        ),
        shape=(N_RESULTS * count, N_RESULTS * len(owner)),
    )
    return sparse.csr_array(mean.tocsr() @ rows)

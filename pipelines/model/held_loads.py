"""Results at load positions that are held while something else changes: rows on displacements."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.traffic.positions import WheelPatches
from plate.interpolation import gauss, shape
from plate.loads.loads import patch_loads, segment_points
from plate.model.model import PlateModel
from plate.results.fields import N_RESULTS, point_operators
from plate.solver.stiffness import Stiffness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BLOCK = 64  # load positions solved together


def values_at(
    stiffness: Stiffness,
    held: Sequence[WheelPatches],
    wanted: Sequence[tuple[int, sparse.csr_array]],
) -> list[Floats]:
    """Rows (k, n_dof) times the displacements under the load of that number, each (k,).

    held : loads, each the patches of one.
    """
    found: list[Floats] = [np.zeros(0)] * len(wanted)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i][0])
    numbers = sorted({number for number, _ in wanted})
    place = 0
    for start in range(0, len(numbers), BLOCK):
        part = numbers[start : start + BLOCK]
        U = stiffness.solve(loads_of(stiffness.model, [held[number] for number in part]))
        column = {number: k for k, number in enumerate(part)}
        while place < len(order) and wanted[order[place]][0] in column:
            number, rows = wanted[order[place]]
            found[order[place]] = np.asarray(rows @ U[:, column[number]])
            place += 1
    return found


def loads_of(model: PlateModel, held: Sequence[WheelPatches]) -> sparse.csc_array:
    """Right-hand sides (n_dof, n) [N] of loads, each the patches of one."""
    corners = np.concatenate([one.corners for one in held])
    load = np.concatenate([one.load for one in held])
    column = np.repeat(np.arange(len(held)), [len(one.load) for one in held])
    return patch_loads(model.mesh, corners, load, column, len(held))


@dataclass(frozen=True)
class LineRows:
    """All results along a straight line of the plan.

    rows : (6 n, n_dof) at n points, cell after cell; share : (n,) of the line's length.
    cells : (m, 2) where each cell begins and ends, as shares; each holds n/m points.
    """

    rows: sparse.csr_array
    share: Floats
    cells: Floats

    def mean(self, values: Floats, low: float, high: float) -> float:
        """Mean of values (n,) between two shares of the length, exact for the elements' own
        polynomials."""
        m = len(self.cells)
        per = len(self.share) // m
        values = values.reshape(m, per)
        total = 0.0
        for (a, b), own in zip(self.cells, values, strict=True):
            start, end = max(a, low), min(b, high)
            if end > start:
                ends = 2.0 * (np.array([start, end]) - a) / (b - a) - 1.0
                total += 0.5 * (b - a) * float(_partial(per, ends) @ own)
        return total / (high - low)


def _partial(n: int, ends: Floats) -> Floats:
    """Integrals (n,) of the Lagrange polynomials through n Gauss points between two ends."""
    nodes, _ = gauss(n)
    powers = np.arange(n)
    moments = (ends[1] ** (powers + 1) - ends[0] ** (powers + 1)) / (powers + 1)
    return np.asarray(np.linalg.solve(np.vander(nodes, increasing=True).T, moments))


def line_rows(model: PlateModel, ends: Floats) -> LineRows:
    """Rows along the straight line between two plan points (2, 2), within the slab.

    Between two cells that share the line each result is the mean of both.
    """
    [(cells, xi, _)] = segment_points(model.mesh, ends)
    per = 2 * model.mesh.order
    corners = model.mesh.plan[model.mesh.cells[cells]]
    plan = np.einsum("nk,nkd->nd", shape(model.mesh.order, xi), corners)
    along = ends[1] - ends[0]
    share = (plan - ends[0]) @ along / (along @ along)
    nodes, _ = gauss(per)
    first, last = share.reshape(-1, per)[:, 0], share.reshape(-1, per)[:, -1]
    size = (last - first) / (nodes[-1] - nodes[0])
    start = first - (nodes[0] + 1.0) * size
    # Two cells on the same stretch are one place.
    _, owner = np.unique(np.round(start, 10), return_inverse=True)
    unique = np.unique(owner, return_index=True)[1]
    places = (owner[:, None] * per + np.arange(per)).ravel()
    rows = _means(point_operators(model, cells, xi), places, len(unique) * per)
    bounds = np.stack([start, start + 2.0 * size], axis=-1)[unique]
    return LineRows(rows, share.reshape(-1, per)[unique].ravel(), bounds)


def point_rows(model: PlateModel, points: Floats) -> sparse.csr_array:
    """Rows (6 n, n_dof) of all results at plan points (n, 2), each the mean of its cells."""
    located = model.mesh.locate(points)
    cells = np.concatenate([c for c, _ in located])
    xi = np.concatenate([x for _, x in located])
    owner = np.repeat(np.arange(len(points)), [len(c) for c, _ in located])
    return _means(point_operators(model, cells, xi), owner, len(points))


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

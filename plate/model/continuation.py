"""Which cells go on as others beyond their sides: where results vary smoothly from cell to cell."""

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints, connected
from plate.meshing.mesh import N_SIDES, Mesh, side_nodes

# Cells lie in line where the directions of their sides differ by less than this [rad].
IN_LINE = 1e-6


def continued_cells(mesh: Mesh, apart: NDArray[np.bool_]) -> Ints:
    """The cell (n_cell, 4) that goes on as each beyond its sides xi = -1, +1, eta = -1, +1 with the
    same reference directions and straight sides in line; -1 where there is none.

    apart : (n_edge,) which of the mesh's edges part what is beside them. A line of the mesh along
    which anything does, or cells do not lie in line, has no cells that go on anywhere along it, so
    that around each corner of cells either all of a line's sides are continued or none is.
    """
    beside, edge = _beside(mesh), _edge_of_side(mesh)
    inner = mesh.edges[1][edge, 1, 0] >= 0
    smooth = _in_line(mesh, beside) & ~apart[edge]
    # The side of a cell goes on along its line as that of the cell next to it.
    first, second, broken = [edge[:0, 0]], [edge[:0, 0]], [edge[:0, 0]]
    for side in range(N_SIDES):
        for turn in (2, 3) if side < 2 else (0, 1):
            here = np.flatnonzero(inner[:, turn] & (beside[:, side] >= 0))
            on = beside[here, turn]
            straight = (on >= 0) & (beside[on, side] >= 0)
            straight &= beside[on, side] == beside[beside[here, side], turn]
            first.append(edge[here[straight], side])
            second.append(edge[on[straight], side])
            broken.append(edge[here[~straight], side])
    line = connected(len(apart), np.concatenate(first), np.concatenate(second))
    rough = np.zeros(line.max(initial=-1) + 1, dtype=bool)
    rough[line[edge[~smooth]]] = True
    rough[line[np.concatenate(broken)]] = True
    return np.where(rough[line[edge]], -1, beside)


def _beside(mesh: Mesh) -> Ints:
    """The cell (n_cell, 4) beyond each side that has the same reference directions there."""
    sides = mesh.cells[:, side_nodes(mesh.order)[:, [0, -1]]]
    found = np.full((mesh.n_cells, N_SIDES), -1, dtype=np.int64)
    _, owner = mesh.edges
    inner = owner[owner[:, 1, 0] >= 0]
    for k in (0, 1):
        (cell, side), (other, facing) = inner[:, k].T, inner[:, 1 - k].T
        alike = (side ^ 1) == facing
        alike &= np.all(sides[cell, side] == sides[other, facing], axis=1)
        found[cell[alike], side[alike]] = other[alike]
    return found


def _edge_of_side(mesh: Mesh) -> Ints:
    """Numbers (n_cell, 4) of the edges along the sides of every cell."""
    _, owner = mesh.edges
    found = np.empty((mesh.n_cells, N_SIDES), dtype=np.int64)
    for k in (0, 1):
        there = np.flatnonzero(owner[:, k, 0] >= 0)
        found[owner[there, k, 0], owner[there, k, 1]] = there
    return found


def _in_line(mesh: Mesh, beside: Ints) -> NDArray[np.bool_]:
    """Whether the sides (n_cell, 4) of each cell that end at a side go on straight beyond it."""
    a, b, c, d = (mesh.corners[:, k] for k in range(N_SIDES))
    along = np.stack([[b - a, c - d], [d - a, c - b]])
    along = along / np.linalg.norm(along, axis=-1, keepdims=True)
    found = np.zeros(beside.shape, dtype=bool)
    for side in range(N_SIDES):
        here = np.flatnonzero(beside[:, side] >= 0)
        own, other = along[side // 2][:, here], along[side // 2][:, beside[here, side]]
        bend = np.abs(own[..., 0] * other[..., 1] - own[..., 1] * other[..., 0]).max(axis=0)
        found[here, side] = (bend < IN_LINE) & ~mesh.curved[here]
        found[here, side] &= ~mesh.curved[beside[here, side]]
    return found


def lengths(mesh: Mesh, cells: Ints, direction: int, across: Floats) -> Floats:
    """Lengths (n, ...) in plan [m] of the lines of a reference direction through straight-sided
    cells (n,), at the other reference coordinate `across` (n, ...)."""
    a, b, c, d = (mesh.corners[cells, k] for k in range(N_SIDES))
    low, high = ((b - a), (c - d)) if direction == 0 else ((d - a), (c - b))
    share = 0.5 * (1.0 + across)[..., None]
    shape = (len(cells), *[1] * (across.ndim - 1), 2)
    line = low.reshape(shape) * (1.0 - share) + high.reshape(shape) * share
    return np.asarray(np.linalg.norm(line, axis=-1))

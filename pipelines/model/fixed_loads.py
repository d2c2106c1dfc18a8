"""A few loads held as they are: their displacements, and results under them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.model.position_blocks import position_load
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.model.model import PlateModel
from plate.solver.solution import LocalRows
from plate.solver.stiffness import Stiffness


@dataclass(frozen=True, eq=False)
class FixedLoads:
    """Loads one after the other, each some patches at once, as `stream` takes them.

    words : what they are.
    """

    words: str
    patches: Sequence[WheelPatches]

    def __len__(self) -> int:
        return len(self.patches)

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """Patches of the loads `index`."""
        chosen = [self.patches[k] for k in np.arange(len(self.patches))[index].tolist()]
        return WheelPatches(
            np.concatenate([one.corners for one in chosen]),
            np.concatenate([one.load for one in chosen]),
            np.repeat(np.arange(len(chosen)), [len(one.load) for one in chosen]),
        )


def loads_of(model: PlateModel, held: Sequence[WheelPatches]) -> sparse.csc_array:
    """Right-hand sides (n_dof, n) [N] of loads, each the patches of one."""
    return position_load(model, FixedLoads("", held), slice(None))


def known_patches(
    stiffness: Stiffness, loads: Sequence[WheelPatches]
) -> list[tuple[Floats, Floats]]:
    """Plan corners (n, 4, 2) [m] and loads (n,) [N] down of all that presses on squares and other
    patches of the slab under each of some loads: their own, and what points of support hold them
    up with, which is spread over a square."""
    own = [(one.corners, one.load) for one in loads]
    model = stiffness.model
    if not model.points or not loads:
        return own
    squares = np.stack([model.mesh.alignment.rectangles(p.at, p.size) for p in model.points])
    under_unit = np.stack([stiffness.reaction_influence[p.name] for p in model.points])
    up = under_unit @ loads_of(model, loads)[::N_FIELDS][: model.mesh.n_nodes]
    return [
        (np.concatenate([corners, squares]), np.concatenate([load, -held]))
        for (corners, load), held in zip(own, up.T, strict=True)
    ]


def values_under(
    stiffness: Stiffness,
    load: Callable[[int], WheelPatches],
    rows: sparse.csr_array,
    number: Sequence[int] | Ints,
) -> Floats:
    """Results (n,), each under a load of its own.

    Parameters
    ----------
    load : the patches of a load by its number.
    rows : (n, n_dof) the results on the displacements.
    number : (n,) of the load under which each is wanted; a negative one is the empty deck, under
        which all is zero.
    """
    number = np.asarray(number, dtype=np.int64)
    found = np.zeros(len(number))
    numbers = np.unique(number[number >= 0])
    if not len(numbers):
        return found
    local = LocalRows(rows)
    row = np.repeat(np.arange(len(number)), np.diff(local.rows.indptr))
    asked = np.where(number < 0, -1, np.searchsorted(numbers, number))[row]
    F = loads_of(stiffness.model, [load(k) for k in numbers.tolist()])
    for part, solution in stiffness.in_blocks(F):
        there = solution[local.dofs]
        mine = np.flatnonzero((asked >= part.start) & (asked < part.stop))
        moved = there[local.rows.indices[mine], asked[mine] - part.start]
        found += np.bincount(row[mine], local.rows.data[mine] * moved, minlength=len(found))
    return found


def groups_under(
    stiffness: Stiffness,
    loads: Sequence[WheelPatches],
    groups: Sequence[sparse.csr_array],
    pairs: Sequence[tuple[int, int]],
) -> list[Floats]:
    """Results (n,) of groups[i] (n, n_dof) under loads[j] for each of the pairs i, j; one solution
    for each load, where the groups are read alone."""
    own = [_on_own_columns(one) for one in groups]
    asked = np.zeros(stiffness.model.n_dof, dtype=bool)
    for columns, _ in own:
        asked[columns] = True
    dofs = np.flatnonzero(asked)
    places = [np.searchsorted(dofs, columns) for columns, _ in own]
    found = [np.empty(0)] * len(pairs)
    for part, solution in stiffness.in_blocks(loads_of(stiffness.model, loads)):
        under = solution[dofs]
        for k, (i, j) in enumerate(pairs):
            if part.start <= j < part.stop:
                found[k] = own[i][1] @ under[places[i], j - part.start]
    return found


def _on_own_columns(rows: sparse.csr_array) -> tuple[Ints, sparse.csr_array]:
    """The columns (k,) at which rows are not zero alone, ascending, and the rows on these."""
    there = np.zeros(rows.shape[1], dtype=bool)
    there[rows.indices] = True
    columns = np.flatnonzero(there)
    place = np.cumsum(there) - 1
    few = (rows.data, place[rows.indices], rows.indptr)
    return columns, sparse.csr_array(few, shape=(rows.shape[0], len(columns)))


def rows_under(
    stiffness: Stiffness,
    rows: sparse.csr_array,
    row: Ints,
    loads: Sequence[WheelPatches],
    load: Ints,
) -> Floats:
    """Results (n,) of rows[row[k]] under loads[load[k]].

    One solution for each of the rows (n_row, n_dof) on the displacements or, if they are fewer, for
    each of the loads: by reciprocity either tells the results.
    """
    if not len(row):
        return np.zeros(0)
    F = loads_of(stiffness.model, loads)
    if len(loads) < rows.shape[0]:
        values = _products(stiffness, rows, F).T
    else:
        on_plate = sparse.csr_array((F.data, F.indices, F.indptr), (len(loads), rows.shape[1]))
        values = _products(stiffness, on_plate, sparse.csc_array(rows.T))
    return np.asarray(values[load, row])


def _products(stiffness: Stiffness, rows: sparse.csr_array, F: sparse.csc_array) -> Floats:
    """Results (n_row, n_load) of every row (n_row, n_dof) under each of the loads."""
    local = LocalRows(rows)
    return np.concatenate([local.of(one) for _, one in stiffness.in_blocks(F)], axis=1)

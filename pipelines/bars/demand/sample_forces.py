"""Forces of the slab at samples of control sections, by rows on the displacements and by fields
that are formed where samples are alone."""

from collections.abc import Callable, Sequence

import numpy as np
from scipy import sparse

from pipelines.bars.demand.membrane import MembraneForces
from pipelines.bars.demand.shear import FORCES, ShearTracker
from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats, Ints
from plate.model.model import PlateModel
from plate.results.fields import FieldPoints
from plate.results.functionals import result_rows
from plate.results.places import at_field_points
from plate.solver.solution import LocalRows, Solution


def force_rows(
    model: PlateModel,
    fields: FieldPoints,
    rows: sparse.csr_array,
    some: Sequence[int] = tuple(range(FORCES.stop - FORCES.start)),
) -> sparse.csr_array:
    """Rows (k n, n_dof) that give k of `FORCES`, one after the other, by rows (n, n_point) on the
    fields of a few places: the fields of the rest of the deck need not be formed.

    some : which of them, ascending.
    """
    used = np.unique(rows.indices).astype(np.int64)
    kinds = [FORCES.start + k for k in some]
    read = result_rows(model, at_field_points(fields, used), kinds)
    near = sparse.csr_array(rows[:, used])
    return sparse.csr_array(
        sparse.vstack([near @ read[k :: len(kinds)] for k in range(len(kinds))])
    )


def force_reader(
    solved: SolvedDeck, some: Sequence[tuple[ShearTracker, Ints]]
) -> Callable[[Solution], list[Floats]]:
    """`ShearTracker.factored` of several trackers, of each at some of its samples (k,) alone,
    (5 or 8, k, n_position): fields are formed where these are read, once for all of them."""
    every = [one.sections.rows[part] for one, part in some]
    points = np.unique(np.concatenate([rows.indices for rows in every])).astype(np.int64)
    near = [sparse.csr_array(rows[:, points]) for rows in every]
    own = [_own_rows(one.membrane, rows) for (one, _), rows in zip(some, every, strict=True)]

    def read(solution: Solution) -> list[Floats]:
        fields = solved.recovery.at(solution, points)[FORCES]
        found = []
        for (one, _), rows, further in zip(some, near, own, strict=True):
            forces = np.stack([np.asarray(rows @ field) for field in fields])
            if further is not None:
                more = further.of(solution).reshape(3, *forces.shape[1:])
                forces = np.concatenate([forces, more])
            found.append(one.combination.traffic * forces)
        return found

    return read


def _own_rows(membrane: MembraneForces | None, rows: sparse.csr_array) -> LocalRows | None:
    """Rows (3 k, n_dof) to the model's own membrane forces where rows (k, n_point) read fields."""
    if membrane is None or membrane.rows is None:
        return None
    n = rows.shape[1]
    kinds = [rows @ membrane.rows[k * n : (k + 1) * n] for k in range(3)]
    return LocalRows(sparse.csr_array(sparse.vstack(kinds, format="csr")))

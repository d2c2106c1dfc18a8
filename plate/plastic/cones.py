"""Least cost under linear equations, signs and second-order cones."""

from dataclasses import dataclass, field

import numpy as np
from scipy.sparse import coo_array, csc_array

from plate.arrays import Floats, Ints
from plate.errors import CollapseError

MISSING = "collapse loads need the package clarabel; it comes with the extra `collapse`"


@dataclass
class Rows:
    """Rows of a sparse matrix that are being put together."""

    rows: list[Ints] = field(default_factory=list)
    columns: list[Ints] = field(default_factory=list)
    values: list[Floats] = field(default_factory=list)

    def add(self, rows: Ints, columns: Ints, values: Floats) -> None:
        """Entries of arrays that broadcast; those in negative rows are left out."""
        rows, columns, values = np.broadcast_arrays(rows, columns, values)
        kept = rows >= 0
        self.rows.append(rows[kept])
        self.columns.append(columns[kept])
        self.values.append(values[kept])

    def matrix(self, n_rows: int, n_columns: int) -> csc_array:
        """The matrix, entries at the same place added."""
        ijs = (np.concatenate(self.rows), np.concatenate(self.columns))
        return csc_array(coo_array((np.concatenate(self.values), ijs), shape=(n_rows, n_columns)))


@dataclass(frozen=True)
class Block:
    """rhs - matrix x lies in a product of cones: `zero`, `sign` (each row not negative) or `cone`
    (each three rows with the first no less than the length of the others)."""

    kind: str
    matrix: csc_array
    rhs: Floats


def least(cost: Floats, blocks: list[Block]) -> Floats:
    """The x of least cost.

    What the solver says of it is not looked at: whoever asks certifies what it returns.

    Raises
    ------
    CollapseError
        Without the package, or where what comes back is no number.
    """
    try:
        import clarabel
    except ImportError as error:
        raise CollapseError(MISSING) from error
    from scipy.sparse import vstack

    cones = []
    for block in blocks:
        n = block.matrix.shape[0]
        if block.kind == "zero":
            cones.append(clarabel.ZeroConeT(n))
        elif block.kind == "sign":
            cones.append(clarabel.NonnegativeConeT(n))
        else:
            cones += [clarabel.SecondOrderConeT(3)] * (n // 3)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.max_threads = 1
    n = len(cost)
    solution = clarabel.DefaultSolver(
        csc_array((n, n)),
        cost,
        csc_array(vstack([block.matrix for block in blocks])),
        np.concatenate([block.rhs for block in blocks]),
        cones,
        settings,
    ).solve()
    x = np.asarray(solution.x, dtype=float)
    if not np.all(np.isfinite(x)):
        raise CollapseError("the solver of cones found no numbers")
    return x

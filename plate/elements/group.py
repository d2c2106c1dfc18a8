"""Finite elements of one kind, as assembly and factorisation take them."""

from dataclasses import dataclass

from plate.arrays import Floats, Ints


@dataclass(frozen=True)
class ElementGroup:
    """Finite elements of one kind: dofs (n, n_dof) and matrices (n, n_dof, n_dof).

    cell : (n,) the cell with which each element is eliminated.
    """

    dofs: Ints
    matrices: Floats
    cell: Ints

"""Supports that move down by a stated amount: lines, holds of beams, yielding points.

A rigid support takes its nodes with it. Under a yielding one the ground moves: its force is that of
the deck's displacement against the ground's, k (w - s) for a spring. Both are exact; the ground
moves without turning.
"""

from collections.abc import Mapping

import numpy as np

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.errors import SupportError
from plate.model.model import Spring
from plate.solver.stiffness import Stiffness

# Settlements closer than this are one [m].
SAME = 1e-12


class Settlement:
    """Settlements of some supports of a factorised model.

    Parameters
    ----------
    settlements : name of a line, hold ("C2@L1") or point -> its way down [m].

    lift : (n_dof,) displacements of the nodes that rigid supports take with them, zero elsewhere.
    load : (n_dof,) right-hand side whose solution, added to `lift`, is the deck's displacement.

    Raises
    ------
    SupportError
        A name that no support has, a rigid point, or two supports of one place that do not settle
        together.
    """

    def __init__(self, stiffness: Stiffness, settlements: Mapping[str, float]) -> None:
        model = stiffness.model
        holders = model.held[2]
        known = {name for names in holders.values() for name in names}
        known |= {spring.name for spring in model.springs}
        for name in settlements:
            if name not in known:
                raise SupportError(f"{name} is no support that holds the deck's deflection")
        self.lift = np.zeros(model.n_dof)
        for node, names in holders.items():
            amounts = [settlements.get(name, 0.0) for name in names]
            if max(amounts) - min(amounts) > SAME:
                at = ", ".join(f"{x:.3f}" for x in model.mesh.plan[node])
                raise SupportError(
                    f"{' and '.join(names)} hold the deck in one place, ({at}) m: "
                    "they have to settle by the same"
                )
            self.lift[N_FIELDS * node] = amounts[0]
        for point in model.points:
            moves = model.point_mean(point) @ self.lift[: model.n_plate_dof] != 0.0
            if np.isinf(point.k) and (moves or settlements.get(point.name, 0.0) != 0.0):
                raise SupportError(
                    f"point {point.name} is rigid and cannot settle: state its stiffness"
                )
        self.load = -stiffness.force(self.lift[:, None])[:, 0]
        self._stiffness = stiffness
        self._ground = {
            spring.name: _ground(spring, settlements.get(spring.name, 0.0), model.n_plate_dof)
            for spring in model.springs
        }
        for spring in model.springs:
            forces = np.einsum("eij,ej->ei", spring.piece.matrices, self._ground[spring.name])
            np.add.at(self.load, spring.piece.dofs, forces)

    def reactions(self, V: Floats, F: Floats) -> dict[str, Floats]:
        """Upward reactions (1,) [N] per line, hold and point, as `Stiffness.reactions` gives them,
        of the solution V (n_dof, 1) under loads F (n_dof, 1) that contain `load`."""
        found = self._stiffness.reactions(V, F)
        for spring in self._stiffness.model.springs:
            moved = self.lift[spring.piece.dofs] - self._ground[spring.name]
            found[spring.name] = found[spring.name] + np.sum(spring.reaction * moved)
        return found


def _ground(spring: Spring, settlement: float, n_plate_dof: int) -> Floats:
    """Displacements (n_element, n_dof) of a spring's degrees of freedom when all moves with the
    ground: the deflections alone."""
    dofs = spring.piece.dofs
    deflects = (dofs < n_plate_dof) & (dofs % N_FIELDS == 0)
    return np.where(deflects, settlement, 0.0)

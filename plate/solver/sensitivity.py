"""How displacements change with a stiffness of the model, without factorising again."""

import numpy as np

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.group import ElementGroup
from plate.model.model import PlateModel
from plate.solver.stiffness import Stiffness, deformation


def displacement_change(
    stiffness: Stiffness, U: Floats, less: PlateModel, more: PlateModel, step: float
) -> Floats:
    """Derivative (n_dof, n_load) of displacements by a parameter of the model.

    From K u = f with loads that stay: K u' = -K' u, where K' is the difference of the elements'
    matrices a step to either side, exact where they are linear in the parameter.

    Parameters
    ----------
    U : (n_dof, n_load) displacements under the loads.
    less, more : the model with the parameter a step less and a step more, on the same mesh with the
        same degrees of freedom and constraints.
    step : half their difference.
    """
    force = np.zeros_like(U)
    mesh = stiffness.model.mesh
    n_elastic = len(less.elastic)
    pairs = zip(_pieces(less), _pieces(more), strict=True)
    for k, (low, high) in enumerate(pairs):
        change = high.matrices - low.matrices
        if not change.any():
            continue
        local = U[low.dofs]
        if k < n_elastic:
            plate = low.dofs[:, np.all(low.dofs < less.n_plate_dof, axis=0)]
            local = deformation(local, mesh.xy[plate[:, ::N_FIELDS] // N_FIELDS])
        np.add.at(force, low.dofs, change @ local)
    return stiffness.solve(-force / (2.0 * step))


def _pieces(model: PlateModel) -> list[ElementGroup]:
    springs = [spring.piece for spring in model.springs]
    return [*model.elastic, *springs, *model.membrane]

"""Strains that something else than stress imposes on the slab: temperature, shrinkage.

The slab would take them if nothing held it. What holds it makes forces: m = -D (kappa - kappa_0),
n = C (epsilon - epsilon_0). Equal in all directions of the plane, so that no axes are needed.
"""

from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.elements.membrane import membrane_dofs, membrane_rigidity, strain
from plate.elements.plate import cell_dofs, curvature
from plate.elements.section import Section
from plate.interpolation import gauss, shape, square
from plate.meshing.mesh import Mesh

# Of curvatures and strains that are the same in all directions: no twist, no shear.
EQUAL = np.array([1.0, 1.0, 0.0])


@dataclass(frozen=True)
class ImposedStrain:
    """Strain of the slab, linear through the depth, positive = longer.

    difference : of the upper face less that of the lower face [-]; mean : of the mid-plane [-].
    """

    difference: float = 0.0
    mean: float = 0.0

    def curvature(self, section: Section, plan: Floats) -> Floats:
        """kappa_0 (...,) [1/m] at plan points (..., 2), along every direction: difference / t,
        positive where the slab's middle rises, since w counts down."""
        return np.asarray(self.difference / section.thickness_at(plan))

    def moments(self, section: Section, plan: Floats) -> Floats:
        """D kappa_0 (..., 3) [N m/m] along local axes at plan points: m_x, m_y, m_xy of the slab
        held without curvature; of an isotropic one D (1 + nu) difference / t."""
        Dx, Dy, D1, _ = section.rigidities
        scale = (section.thickness_at(plan) / section.thickness) ** 3
        unit = np.array([Dx + D1, D1 + Dy, 0.0])
        return np.asarray((scale * self.curvature(section, plan))[..., None] * unit)

    def forces(self, section: Section, plan: Floats) -> Floats:
        """-C epsilon_0 (..., 3) [N/m] at plan points: n_x, n_y, n_xy of the slab held in its
        plane, tension positive."""
        return np.asarray(-self.mean * (membrane_rigidity(section, plan) @ EQUAL))


def imposed_load(
    mesh: Mesh, section: Section, imposed: ImposedStrain, *, membrane: bool = False
) -> Floats:
    """Right-hand side of an imposed strain: the nodal forces [N, N m] that would give it to a slab
    that nothing holds.

    membrane : whether the model has the slab's membrane. Without it a mean strain makes no force,
        as in a slab that is free to move in its plane.

    Returns (n_plate_dof,), or with the membrane the plate's and the membrane's degrees of freedom
    (n_plate_dof + 2 n_node,).
    """
    x, weight = gauss(mesh.order + 1)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    nodes = mesh.xy[mesh.cells]
    plan = shape(mesh.order, points) @ mesh.plan[mesh.cells]
    load = np.zeros(N_FIELDS * mesh.n_nodes + 2 * mesh.n_nodes * membrane)
    B, det = curvature(mesh.order, nodes, points)
    kappa = imposed.curvature(section, plan)[..., None] * EQUAL
    moments = (section.bending(plan, mesh.alignment) @ kappa[..., None])[..., 0]
    moments *= (det * weights)[..., None]
    np.add.at(load, cell_dofs(mesh.cells), np.einsum("cqkn,cqk->cn", B, moments))
    if membrane:
        B, det = strain(mesh.order, nodes, points)
        forces = -imposed.forces(section, plan) * (det * weights)[..., None]
        dofs = membrane_dofs(mesh.n_nodes, mesh.cells)
        np.add.at(load, dofs, np.einsum("cqkn,cqk->cn", B, forces))
    return load

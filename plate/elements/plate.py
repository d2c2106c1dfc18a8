"""The plate element: order-p quadrilateral, Mindlin, mixed shear interpolation.

Degrees of freedom w, theta_x, theta_y at the Gauss-Lobatto nodes. The covariant shear strains
gamma_xi = w,xi - theta . x,xi are taken at p Gauss points in xi times p + 1 Gauss-Lobatto points
in eta and interpolated from there, gamma_eta the other way round: the p-version of mixed
interpolation of tensorial components (Bathe and Dvorkin 1985 for p = 1; Bathe, Brezzi and
Fortin 1989 for the general idea), which does not lock and has no spurious modes.
"""

from functools import cache

import numpy as np

from plate.arrays import Floats, Ints, different_rows
from plate.conventions import N_FIELDS
from plate.elements.section import Section
from plate.interpolation import gauss, lagrange, lobatto, shape, shape_gradient, square
from plate.meshing.mesh import Mesh


def cell_dofs(cells: Ints) -> Ints:
    """Global degrees of freedom (n, 3 n_node) of cells or edges (n, n_node), node by node."""
    *before, n = cells.shape
    return (N_FIELDS * cells[..., None] + np.arange(N_FIELDS)).reshape(*before, N_FIELDS * n)


def curvature(order: int, nodes: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Curvature operator and Jacobian determinant.

    Parameters
    ----------
    nodes : Cartesian nodes (n_cell, (p+1)^2, 2) [m].
    points : reference points (n_point, 2), the same in all cells, or (n_cell, n_point, 2).

    Returns
    -------
    B : (n_cell, n_point, 3, n_dof), kappa = B u [1/m].
    det : (n_cell, n_point) [m2].
    """
    gradient, det = cartesian_gradient(order, nodes, points)
    B = np.zeros((*det.shape, 3, nodes.shape[1], N_FIELDS))
    B[..., 0, :, 1] = gradient[..., 0, :]
    B[..., 1, :, 2] = gradient[..., 1, :]
    B[..., 2, :, 1] = gradient[..., 1, :]
    B[..., 2, :, 2] = gradient[..., 0, :]
    return B.reshape(*det.shape, 3, B.shape[-2] * B.shape[-1]), det


def cartesian_gradient(order: int, nodes: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Shape gradients (n_cell, n_point, 2, n_node) along x, y [1/m] and determinants [m2]."""
    reference = shape_gradient(order, points)
    jacobian = reference @ nodes[:, None]
    return to_cartesian(jacobian, reference), _determinant(jacobian)


def to_cartesian(jacobian: Floats, covariant: Floats) -> Floats:
    """Components (..., 2, n) along x, y of covariant ones (..., 2, n), by d(x, y)/d(xi, eta)
    (..., 2, 2)."""
    inverse = np.empty(jacobian.shape)
    inverse[..., 0, 0], inverse[..., 1, 1] = jacobian[..., 1, 1], jacobian[..., 0, 0]
    inverse[..., 0, 1], inverse[..., 1, 0] = -jacobian[..., 0, 1], -jacobian[..., 1, 0]
    inverse /= _determinant(jacobian)[..., None, None]
    return np.asarray(inverse @ covariant)


def _determinant(jacobian: Floats) -> Floats:
    J = jacobian
    return np.asarray(J[..., 0, 0] * J[..., 1, 1] - J[..., 0, 1] * J[..., 1, 0])


@cache
def _tying(order: int) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Shape functions (p (p+1), n_node) at the tying points of gamma_xi (Gauss in xi, Lobatto in
    eta) and of gamma_eta (Lobatto in xi, Gauss in eta), and their derivatives along xi and along
    eta; eta fastest in both."""
    inner, outer = gauss(order)[0], lobatto(order + 1)
    xi, eta = square(inner, outer), square(outer, inner)
    along, across = shape_gradient(order, xi)[:, 0], shape_gradient(order, eta)[:, 1]
    return (shape(order, xi), along), (shape(order, eta), across)


def shear_interpolation(order: int, points: Floats) -> tuple[Floats, Floats]:
    """Interpolation (..., p (p+1)) of gamma_xi and of gamma_eta from their tying points."""
    inner, outer = gauss(order)[0], lobatto(order + 1)
    xi, eta = points[..., 0], points[..., 1]
    first = lagrange(inner, xi)[..., :, None] * lagrange(outer, eta)[..., None, :]
    second = lagrange(outer, xi)[..., :, None] * lagrange(inner, eta)[..., None, :]
    size = (*xi.shape, order * (order + 1))
    return first.reshape(size), second.reshape(size)


def shear(order: int, nodes: Floats, points: Floats) -> Floats:
    """Shear strain operator (n_cell, n_point, 2, n_dof): (gamma_x, gamma_y) = B u [-]."""
    jacobian = shape_gradient(order, points) @ nodes[:, None]
    covariant = np.empty((*jacobian.shape[:2], 2, nodes.shape[1], N_FIELDS))
    tied = zip(_tying(order), shear_interpolation(order, points), strict=True)
    for k, ((N, gradient), share) in enumerate(tied):
        # What the slopes add is formed of the tangents (n_cell, 1, 2, n_tied) at the tying points.
        tangents = (gradient @ nodes).swapaxes(1, 2)[:, None]
        covariant[..., k, :, 0] = share @ gradient
        covariant[..., k, :, 1:] = -((share[..., None, :] * tangents) @ N).swapaxes(2, 3)
    return to_cartesian(jacobian, covariant.reshape(*jacobian.shape[:2], 2, -1))


def stiffness_matrices(
    mesh: Mesh, section: Section, chunk: int = 256, softened: Floats | None = None
) -> Floats:
    """Element stiffness matrices (n_cell, n_dof, n_dof) [N/m, N, N m]; those of equal cells are
    formed once.

    softened : (n_cell, 2) factors on D_x and D_y of every cell, as `Section.bending` takes them.
    """
    order = mesh.order
    x, weight = gauss(order + 1)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    n_dof = N_FIELDS * (order + 1) ** 2
    N = shape(order, points)
    different, which = _different(mesh, section, N)
    if softened is not None:
        different = which = np.arange(mesh.n_cells)
    K = np.empty((len(different), n_dof, n_dof))
    for start in range(0, len(different), chunk):
        part = slice(start, start + chunk)
        cells = mesh.cells[different[part]]
        nodes = mesh.xy[cells]
        plan = N @ mesh.plan[cells]
        B, det = curvature(order, nodes, points)
        scale = det * weights
        soft = None if softened is None else softened[different[part], None]
        D = section.bending(plan, mesh.alignment, soft) * scale[..., None, None]
        Bs = shear(order, nodes, points)
        S = section.shear(plan) * scale
        flat = B.reshape(len(cells), -1, n_dof)
        K[part] = flat.swapaxes(1, 2) @ (D @ B).reshape(len(cells), -1, n_dof)
        flat = Bs.reshape(len(cells), -1, n_dof)
        K[part] += flat.swapaxes(1, 2) @ (S[..., None, None] * Bs).reshape(len(cells), -1, n_dof)
    return K if which is different else K[which]


def _different(mesh: Mesh, section: Section, N: Floats) -> tuple[Ints, Ints]:
    """Cells (k,) of different shape or thickness, to the picometre, and which of them each cell
    (n_cell,) is like; N : shape functions (n_point, n_node) at which the thickness counts."""
    every = np.arange(mesh.n_cells)
    if not mesh.alignment.straight:
        return every, every
    nodes = mesh.xy[mesh.cells]
    keys = (nodes - nodes[:, :1]).reshape(mesh.n_cells, -1)
    if section.zones:
        keys = np.hstack([keys, section.thickness_at(N @ mesh.plan[mesh.cells])])
    first, which = different_rows(np.round(keys, 12) + 0.0)
    return (every, every) if len(first) == mesh.n_cells else (first, which)

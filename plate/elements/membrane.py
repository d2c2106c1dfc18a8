"""Membrane action of a slab joined to beams below or above its mid-plane.

In-plane displacements (u, v) at every node follow the plate's degrees of freedom in the numbering:
u of node i is 3 n_node + 2 i. The slab moves by u - z theta at depth z (down), a beam whose
centroid lies `eccentricity` below the mid-plane is stretched by what the slab does there. The
connection acts between the slab's lower face and the beam's upper one: from there to its centroid a
beam with a bending rotation psi of its own turns by psi, not by the slab's normal. With a
connection of finite stiffness the beam has an axial displacement of its own along its nodes, and
what slips is carried by the connection.

The deck floats in its plane: it is pinned isostatically, which carries nothing.
"""

from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.elements.beam import EdgeFrame, bending_operator, edge_frame
from plate.elements.plate import cartesian_gradient
from plate.elements.section import Section, moment_rotation
from plate.interpolation import gauss, shape, square
from plate.meshing.mesh import Mesh


def membrane_dofs(n_nodes: int, nodes: Ints) -> Ints:
    """Degrees of freedom (..., 2 n_node) of u and v at nodes (..., n_node), node by node."""
    first = N_FIELDS * n_nodes
    *before, n = nodes.shape
    return (first + 2 * nodes[..., None] + np.arange(2)).reshape(*before, 2 * n)


def isostatic(mesh: Mesh) -> Ints:
    """The three membrane dofs that pin the slab in its plane."""
    far = int(np.argmax(np.linalg.norm(mesh.xy - mesh.xy[0], axis=1)))
    dx, dy = np.abs(mesh.xy[far] - mesh.xy[0])
    u0, v0 = membrane_dofs(mesh.n_nodes, np.array([0])).tolist()
    u1, v1 = membrane_dofs(mesh.n_nodes, np.array([far])).tolist()
    return np.array([u0, v0, v1 if dx >= dy else u1])


def strain(order: int, nodes: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Strain operator (n_cell, n_point, 3, 2 n_node) for (u,x; v,y; u,y + v,x) and determinants."""
    gradient, det = cartesian_gradient(order, nodes, points)
    B = np.zeros((*det.shape, 3, nodes.shape[1], 2))
    B[..., 0, :, 0] = gradient[..., 0, :]
    B[..., 1, :, 1] = gradient[..., 1, :]
    B[..., 2, :, 0] = gradient[..., 1, :]
    B[..., 2, :, 1] = gradient[..., 0, :]
    return B.reshape(*det.shape, 3, B.shape[-2] * B.shape[-1]), det


def membrane_rigidity(section: Section, plan: Floats) -> Floats:
    """C (..., 3, 3) [N/m] at plan points (..., 2): (n_x, n_y, n_xy) = C strain, tension positive.

    Isotropic with E, nu and the local thickness; the factors on bending stiffness do not apply.
    """
    nu = section.poisson
    unit = np.array([[1.0, nu, 0.0], [nu, 1.0, 0.0], [0.0, 0.0, 0.5 * (1.0 - nu)]])
    scale = section.E * section.thickness_at(plan) / (1.0 - nu**2)
    return np.asarray(scale[..., None, None] * unit)


def membrane_matrices(mesh: Mesh, section: Section) -> Floats:
    """Membrane stiffness matrices (n_cell, 2 n_node, 2 n_node) [N/m]."""
    x, weight = gauss(mesh.order + 1)
    points, weights = square(x, x), np.outer(weight, weight).ravel()
    B, det = strain(mesh.order, mesh.xy[mesh.cells], points)
    plan = shape(mesh.order, points) @ mesh.plan[mesh.cells]
    C = membrane_rigidity(section, plan) * (det * weights)[..., None, None]
    flat = B.reshape(mesh.n_cells, -1, B.shape[-1])
    return np.asarray(flat.swapaxes(1, 2) @ (C @ B).reshape(flat.shape))


def force_operators(mesh: Mesh, section: Section, cells: Ints, points: Floats) -> Floats:
    """Operators (n_cell, n_point, 3, 2 n_node) to n_x, n_y, n_xy [N/m] along the local axes.

    points : reference points (n_point, 2), or (n_cell, n_point, 2).
    """
    nodes = mesh.xy[mesh.cells[cells]]
    B, _ = strain(mesh.order, nodes, points)
    plan = shape(mesh.order, points) @ mesh.plan[mesh.cells[cells]]
    inside = plan + 1e-6 * (mesh.corners[cells].mean(axis=1)[:, None] - plan)
    n = membrane_rigidity(section, inside) @ B
    if mesh.alignment.straight:
        return np.asarray(n)
    return np.asarray(moment_rotation(mesh.alignment.tangent(plan)) @ n)


@dataclass(frozen=True)
class Joint:
    """How a beam is joined to the slab's membrane.

    eccentricity : of its centroid below the slab's mid-plane [m].
    arms : (n_edge,) of its centroid below the face of the slab that it touches [m], of a beam
        with a bending rotation of its own; None otherwise.
    """

    eccentricity: float
    arms: Floats | None = None


def face_arms(eccentricity: float, thickness: Floats) -> Floats:
    """Arms (n,) [m] from the slab's near face to a beam's centroid, for thicknesses (n,) [m]; 0
    for a centroid within the slab, where the beam is cast into it."""
    return np.asarray(np.sign(eccentricity) * np.maximum(abs(eccentricity) - 0.5 * thickness, 0.0))


def axial_operator(frame: EdgeFrame, joint: Joint) -> Floats:
    """Strain of a fully connected beam's centroid (n_edge, n_point, n_dof) [1/m].

    The dofs of an edge are (w, slopes) node by node, then (u, v) node by node, then, for a beam
    with a bending rotation of its own, psi - theta . t: t . du/ds - eccentricity t . dtheta/ds
    - arm d(psi - theta . t)/ds.
    """
    stretch = frame.dN[..., None] * frame.tangent[:, :, None, :]
    parts = [
        -joint.eccentricity * bending_operator(frame),
        stretch.reshape(*frame.dN.shape[:2], -1),
    ]
    if joint.arms is not None:
        parts.append(-joint.arms[:, None, None] * frame.dN)
    return np.concatenate(parts, axis=-1)


def slip_operator(frame: EdgeFrame, joint: Joint) -> Floats:
    """Slip (n_edge, n_point, n_dof) of the slab's face against the beam's, per metre of either:
    the displacement that full connection gives the beam's centroid, less its own.

    The dofs are those of `axial_operator`, then the beam's own axial displacement.
    """
    N = np.broadcast_to(frame.N, frame.dN.shape)
    along = N[..., None] * frame.tangent[:, :, None, :]
    slopes = np.zeros((*N.shape, N_FIELDS))
    slopes[..., 1:] = -joint.eccentricity * along
    parts = [slopes.reshape(*N.shape[:2], -1), along.reshape(*N.shape[:2], -1)]
    if joint.arms is not None:
        parts.append(-joint.arms[:, None, None] * N)
    return np.concatenate([*parts, -N], axis=-1)


def stretch_operator(frame: EdgeFrame, joint: Joint) -> Floats:
    """Strain of the centroid of a beam with an axial displacement of its own (n_edge, n_point,
    n_dof) [1/m], the dofs those of `slip_operator`.

    Across its line the beam moves with the slab. On an arc of curvature k a displacement u_n
    towards its centre shortens it: the strain is u,s - k u_n.
    """
    N = np.broadcast_to(frame.N, frame.dN.shape)
    normal = np.stack([-frame.tangent[..., 1], frame.tangent[..., 0]], axis=-1)
    across = -(frame.curvature[..., None] * N)[..., None] * normal[:, :, None, :]
    slopes = np.zeros((*N.shape, N_FIELDS))
    slopes[..., 1:] = -joint.eccentricity * across
    parts = [slopes.reshape(*N.shape[:2], -1), across.reshape(*N.shape[:2], -1)]
    if joint.arms is not None:
        parts.append(np.zeros(N.shape))
    return np.concatenate([*parts, frame.dN], axis=-1)


def connected_matrices(xy: Floats, EA: float, joint: Joint, connection: float) -> Floats:
    """Matrices of a beam's axial action along edges with Cartesian nodes (n_edge, p+1, 2).

    connection : [N/m2], inf = full connection. The dofs of an edge are those of
    `axial_operator`, or for a finite connection of `slip_operator`.
    """
    points, weights = gauss(xy.shape[1])
    frame = edge_frame(xy, points)
    scale = (weights * frame.speed)[..., None]
    if np.isinf(connection):
        B = axial_operator(frame, joint)
        return np.asarray(B.swapaxes(1, 2) @ (EA * scale * B))
    slip = slip_operator(frame, joint)
    own = stretch_operator(frame, joint)
    return np.asarray(
        slip.swapaxes(1, 2) @ (connection * scale * slip) + own.swapaxes(1, 2) @ (EA * scale * own)
    )

"""Beams along lines of the mesh: bending, torsion, and the slope tied to the slab.

A beam shares w and both slopes with the slab along its line. Its shear strain w,s - theta . t is
taken at p Gauss points of each edge, the same points at which the plate ties its own shear, so
that a beam without shear deformation (Euler-Bernoulli) is tied to the slope of the slab's
normal. Without that tie the beam would hang on the slab's shear layer.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plate.conventions import N_FIELDS
from plate.interpolation import gauss, lagrange, lagrange_derivative, lobatto

Floats = NDArray[np.float64]

# A beam without shear deformation gets the shear rigidity TIE * EI / length^2: the shear
# deflection of a span is then below 1e-6 of the bending deflection.
TIE = 1e7


@dataclass(frozen=True)
class BeamSection:
    """EI bending [N m2], GJ torsion [N m2], GA shear rigidity [N] or None for no shear strain,
    EA axial rigidity [N], which matters only to a beam connected to the slab's membrane."""

    EI: float
    GJ: float
    GA: float | None = None
    EA: float = 0.0

    def shear_rigidity(self, length: float) -> float:
        """GA [N], or the rigidity of the tie for a beam of the given length [m]."""
        return self.GA if self.GA is not None else TIE * self.EI / length**2


@dataclass(frozen=True)
class EdgeFrame:
    """Edges of a line sampled at points of the reference interval.

    tangent : unit vectors (n_edge, n_point, 2) in the line's direction.
    speed : ds/dxi (n_edge, n_point) [m].
    N : shape functions (n_point, p+1); dN : their derivatives along s (n_edge, n_point, p+1).
    """

    tangent: Floats
    speed: Floats
    N: Floats
    dN: Floats


def edge_frame(xy: Floats, points: Floats) -> EdgeFrame:
    """Frame of edges with Cartesian nodes (n_edge, p+1, 2) at reference points (n_point,)."""
    nodes = lobatto(xy.shape[1])
    derivative = lagrange_derivative(nodes, points)
    along = derivative @ xy
    speed = np.linalg.norm(along, axis=-1)
    return EdgeFrame(
        along / speed[..., None], speed, lagrange(nodes, points), derivative / speed[..., None]
    )


def bending_operator(frame: EdgeFrame) -> Floats:
    """d(theta . t)/ds at fixed t (n_edge, n_point, n_dof) [1/m]; moment = -EI times it."""
    return _slope_operator(frame.dN, frame.tangent)


def torsion_operator(frame: EdgeFrame) -> Floats:
    """d(theta . n)/ds at fixed n (n_edge, n_point, n_dof) [1/m]; n is t turned from x to y."""
    normal = np.stack([-frame.tangent[..., 1], frame.tangent[..., 0]], axis=-1)
    return _slope_operator(frame.dN, normal)


def shear_operator(frame: EdgeFrame) -> Floats:
    """w,s - theta . t (n_edge, n_point, n_dof) [-]."""
    B = -_slope_operator(np.broadcast_to(frame.N, frame.dN.shape), frame.tangent)
    B[..., ::N_FIELDS] = frame.dN
    return B


def _slope_operator(N: Floats, direction: Floats) -> Floats:
    B = np.zeros((*N.shape, N_FIELDS))
    B[..., 1:] = N[..., None] * direction[..., None, :]
    return B.reshape(*N.shape[:2], -1)


def beam_matrices(xy: Floats, section: BeamSection, length: float) -> Floats:
    """Stiffness matrices (n_edge, n_dof, n_dof) of a beam along edges (n_edge, p+1, 2).

    length : of the beam [m], for the tie of a beam without shear deformation.
    """
    points, weights = gauss(xy.shape[1])
    frame = edge_frame(xy, points)
    K = _gram(bending_operator(frame), section.EI * weights * frame.speed)
    K += _gram(torsion_operator(frame), section.GJ * weights * frame.speed)
    points, weights = gauss(xy.shape[1] - 1)
    frame = edge_frame(xy, points)
    return K + _gram(shear_operator(frame), section.shear_rigidity(length) * weights * frame.speed)


def _gram(B: Floats, scale: Floats) -> Floats:
    return np.asarray(B.swapaxes(1, 2) @ (scale[..., None] * B))


def stub_matrix(
    section: BeamSection, length: float, k: float, k_rot: float
) -> tuple[Floats, Floats]:
    """A beam that runs on from a node to where it is held.

    Parameters
    ----------
    length : of the stub [m], 0 for a beam held at the node itself.
    k, k_rot : springs there against deflection [N/m] (inf: held) and bending slope [N m/rad].

    Returns
    -------
    K : (2, 2) stiffness at the node for (w, slope away from the node).
    reaction : (2,) upward reaction of the hold per unit (w, slope) [N/m, N].

    Raises
    ------
    ValueError
        length 0 with infinite k: that is a constraint, not a spring.
    """
    if length == 0.0:
        if np.isinf(k):
            raise ValueError("a hold without stub and with infinite stiffness is a constraint")
        return np.diag([k, k_rot]), np.array([k, 0.0])
    if k == k_rot == 0.0:
        return np.zeros((2, 2)), np.zeros(2)
    # Timoshenko beam from the node (w0, s0) to the hold (w1, s1), slopes positive along the stub.
    GA = section.shear_rigidity(length)
    phi = 12.0 * section.EI / (GA * length**2)
    a, L = section.EI / (length**3 * (1.0 + phi)), length
    K = a * np.array(
        [
            [12.0, 6.0 * L, -12.0, 6.0 * L],
            [6.0 * L, (4.0 + phi) * L**2, -6.0 * L, (2.0 - phi) * L**2],
            [-12.0, -6.0 * L, 12.0, -6.0 * L],
            [6.0 * L, (2.0 - phi) * L**2, -6.0 * L, (4.0 + phi) * L**2],
        ]
    )
    held = K.copy()
    held[3, 3] += k_rot
    far = [3] if np.isinf(k) else [2, 3]
    if not np.isinf(k):
        held[2, 2] += k
    near = [0, 1]
    transfer = -np.linalg.solve(held[np.ix_(far, far)], held[np.ix_(far, near)])
    condensed = held[np.ix_(near, near)] + held[np.ix_(near, far)] @ transfer
    # What the support carries at the far end: minus the force the stub needs there as a load.
    reaction = -(K[2, near] + K[np.ix_([2], far)][0] @ transfer)
    return condensed, reaction

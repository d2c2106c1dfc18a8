"""Beams along lines of the mesh: bending, shear, torsion, and the slope tied to the slab.

A beam shares w and both slopes with the slab along its line, and w,s is tied to theta . t, the
slope of the slab's normal, at p Gauss points of each edge, the same points at which the plate ties
its own shear. Without that tie the beam would hang on the slab's shear layer.

A beam without shear deformation (Euler-Bernoulli) bends with the slab's normal, M = -EI
theta,s . t, and its shear is the force of the tie. A beam with a shear area (Timoshenko) has a
bending rotation psi of its own, so that its web's strain is not forced on the slab's normals:
M = -EI psi,s, web shear GA (w,s - psi). Its degrees of freedom are the nodal values of
psi - theta . t, the bending rotation relative to the slab's normal, of the edges' order and
continuous along the line. They are its own also at a node that it shares with another beam: there
w and the slab's slopes join the two, and a moment that one hands to the other passes through the
slab's normal and the web's shear. The ends are free, M = 0, unless they are held. Twist is shared
with the slab: the beam's section turns by theta + (psi - theta . t) t.
"""

from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.interpolation import gauss, lagrange, lagrange_derivative, lobatto

# The tie is a shear rigidity of TIE * EI / length^2: the deflection that it adds to a span is below
# 1e-6 of the bending deflection. Beside a web, on a slab with a shear layer, it need not be stiffer
# than so many times the web: it carries a part of the shear and strains less than a hundredth of
# what the web does, and the solution keeps two digits more.
TIE, TIE_TO_WEB = 1e7, 1e2


@dataclass(frozen=True)
class BeamSection:
    """EI bending [N m2], GJ torsion [N m2], GA shear rigidity [N] or None for no shear strain,
    EA axial rigidity [N], which matters only to a beam connected to the slab's membrane."""

    EI: float
    GJ: float
    GA: float | None = None
    EA: float = 0.0

    @property
    def own_rotation(self) -> bool:
        """Whether the beam has a bending rotation of its own."""
        return self.GA is not None

    def tie(self, length: float, *, thin: bool = False) -> float:
        """Rigidity [N] of the tie of w,s to the slab's normal, for a beam of a length [m].

        thin : whether the slab is, whose own layer is then so stiff that it would take a softer
            tie's force.
        """
        alone = TIE * self.EI / length**2
        return alone if thin or self.GA is None else min(alone, TIE_TO_WEB * self.GA)

    def shear_rigidity(self, length: float) -> float:
        """GA [N], or of a beam without shear deformation the rigidity of its tie."""
        return self.GA if self.GA is not None else self.tie(length)


@dataclass(frozen=True, kw_only=True)
class EdgeFrame:
    """Edges of a line sampled at points of the reference interval.

    tangent : unit vectors (n_edge, n_point, 2) in the line's direction.
    speed : ds/dxi (n_edge, n_point) [m].
    curvature : n . dt/ds (n_edge, n_point) [1/m], n being t turned from x to y.
    N : shape functions (n_point, p+1); dN : their derivatives along s (n_edge, n_point, p+1).
    """

    tangent: Floats
    speed: Floats
    curvature: Floats
    N: Floats
    dN: Floats


def edge_frame(xy: Floats, points: Floats) -> EdgeFrame:
    """Frame of edges with Cartesian nodes (n_edge, p+1, 2) at reference points (n_point,)."""
    nodes = lobatto(xy.shape[1])
    derivative = lagrange_derivative(nodes, points)
    along = derivative @ xy
    # xy is a polynomial of the edge's order, and so is its derivative
    turning = derivative @ (lagrange_derivative(nodes, nodes) @ xy)
    speed = np.linalg.norm(along, axis=-1)
    cross = along[..., 0] * turning[..., 1] - along[..., 1] * turning[..., 0]
    return EdgeFrame(
        tangent=along / speed[..., None],
        speed=speed,
        curvature=cross / speed**3,
        N=lagrange(nodes, points),
        dN=derivative / speed[..., None],
    )


def bending_operator(frame: EdgeFrame, *, own: bool = False) -> Floats:
    """t . d(rotation)/ds (n_edge, n_point, n_dof) [1/m]; moment = -EI times it.

    own : whether the beam has a bending rotation of its own. The dofs of an edge are (w, slopes)
        node by node, then with `own` psi - theta . t node by node; here and below.
    """
    slab = _slope_operator(frame.dN, frame.tangent)
    return np.concatenate([slab, frame.dN], axis=-1) if own else slab


def torsion_operator(frame: EdgeFrame, *, own: bool = False) -> Floats:
    """n . d(rotation)/ds (n_edge, n_point, n_dof) [1/m]; n is t turned from x to y."""
    normal = np.stack([-frame.tangent[..., 1], frame.tangent[..., 0]], axis=-1)
    slab = _slope_operator(frame.dN, normal)
    if not own:
        return slab
    return np.concatenate([slab, frame.curvature[..., None] * frame.N], axis=-1)


def tie_operator(frame: EdgeFrame, *, own: bool = False) -> Floats:
    """w,s - theta . t (n_edge, n_point, n_dof) [-], which the tie keeps at zero."""
    B = -_slope_operator(np.broadcast_to(frame.N, frame.dN.shape), frame.tangent)
    B[..., ::N_FIELDS] = frame.dN
    return np.concatenate([B, np.zeros(frame.dN.shape)], axis=-1) if own else B


def web_operator(frame: EdgeFrame) -> Floats:
    """w,s - psi (n_edge, n_point, n_dof) [-] of a beam with a bending rotation of its own."""
    N = np.broadcast_to(frame.N, frame.dN.shape)
    return np.concatenate([tie_operator(frame), -N], axis=-1)


def _slope_operator(N: Floats, direction: Floats) -> Floats:
    B = np.zeros((*N.shape, N_FIELDS))
    B[..., 1:] = N[..., None] * direction[..., None, :]
    return B.reshape(*N.shape[:2], -1)


def beam_matrices(xy: Floats, section: BeamSection, tie: float) -> Floats:
    """Stiffness matrices (n_edge, n_dof, n_dof) of a beam along edges (n_edge, p+1, 2).

    tie : its rigidity [N], of `BeamSection.tie`.
    """
    own = section.own_rotation
    points, weights = gauss(xy.shape[1])
    frame = edge_frame(xy, points)
    K = _gram(bending_operator(frame, own=own), section.EI * weights * frame.speed)
    K += _gram(torsion_operator(frame, own=own), section.GJ * weights * frame.speed)
    points, weights = gauss(xy.shape[1] - 1)
    frame = edge_frame(xy, points)
    ds = weights * frame.speed
    K += _gram(tie_operator(frame, own=own), tie * ds)
    return K if section.GA is None else K + _gram(web_operator(frame), section.GA * ds)


def _gram(B: Floats, scale: Floats) -> Floats:
    return np.asarray(B.swapaxes(1, 2) @ (scale[..., None] * B))


def stub_matrix(
    section: BeamSection, length: float, k: float, k_rot: float
) -> tuple[Floats, Floats]:
    """A beam that runs on from a node to where it is held.

    Parameters
    ----------
    length : of the stub [m], 0 for a beam held at the node itself.
    k, k_rot : springs there against deflection [N/m] (inf: held) and bending rotation [N m/rad].

    Returns
    -------
    K : (2, 2) stiffness at the node for (w, bending rotation away from the node).
    reaction : (2,) upward reaction of the hold per unit (w, rotation) [N/m, N].

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

"""Whether supports hold a plate, and the motion that they leave it where they do not."""

import numpy as np

from plate.arrays import Floats
from plate.conventions import N_FIELDS
from plate.errors import MechanismError
from plate.model.model import PlateModel


def check_mechanism(model: PlateModel) -> None:
    """Stop where supports leave the slab a motion.

    Raises
    ------
    MechanismError
        The slab can move as a rigid body w = a + b x + c y, with the motion in words.
    """
    xy = model.mesh.xy
    centre = xy.mean(axis=0)
    span = float(np.ptp(xy, axis=0).max())
    modes = np.zeros((model.mesh.n_nodes, N_FIELDS, 3))
    modes[:, 0, 0] = 1.0
    modes[:, 0, 1:] = (xy - centre) / span
    modes[:, 1, 1] = modes[:, 2, 2] = 1.0 / span
    w, slopes, _ = model.held
    rows = [modes[w, 0]]
    for node, directions in slopes.items():
        rows.append(span * np.array(directions) @ modes[node, 1:])
    # the own degrees of freedom of beams are relative to the slab and do not move with it
    flat = np.zeros((model.n_dof, 3))
    flat[: model.n_plate_dof] = modes.reshape(-1, 3)
    for spring in model.springs:
        K = spring.piece.matrices
        size = np.abs(K).max(initial=0.0)
        if size > 0.0:
            moved = flat[spring.piece.dofs]
            energy = np.einsum("eim,eij,ejn->mn", moved, K / size, moved)
            values, vectors = np.linalg.eigh(energy)
            rows.append(np.sqrt(np.clip(values, 0.0, None))[:, None] * vectors.T)
    stacked = np.vstack([*rows, np.zeros((3, 3))])
    _, values, motions = np.linalg.svd(stacked, full_matrices=False)
    free = np.asarray(motions[values <= 1e-7 * values[0]])
    if len(free):
        raise MechanismError(_describe(free, centre, span, model.mesh.alignment.straight))


def _describe(free: Floats, centre: Floats, span: float, straight: bool) -> str:
    frame = "" if straight else " (Cartesian)"
    if len(free) == 3:
        return "nothing holds it; it can move down and rotate about both axes"
    if len(free) == 2:
        # The two motions vanish together in one point, unless one of them moves all points down.
        (a1, b1, c1), (a2, b2, c2) = free
        det = b1 * c2 - c1 * b2
        if abs(det) < 1e-6:
            return "parallel guides alone hold it; it can move down as a whole and rotate"
        meeting = centre + span * np.array([c1 * a2 - a1 * c2, a1 * b2 - b1 * a2]) / det
        where = _coordinates(meeting)
        return f"only the point {where} m{frame} holds it; it can rotate about both axes"
    a, b, c = free[0]
    if np.hypot(b, c) < 1e-6 * abs(a):
        return "it can move down as a whole; no support holds its deflection"
    # w = a + (b dx + c dy)/span vanishes along the axis of rotation.
    norm = np.hypot(b, c)
    foot = centre - a * span * np.array([b, c]) / norm**2
    axis = np.array([-c, b]) / norm
    if abs(axis[0]) < 1e-6:
        return f"it can rotate about the line x = {foot[0].round(3) + 0.0:.3f} m{frame}, along y"
    if abs(axis[1]) < 1e-6:
        return f"it can rotate about the line y = {foot[1].round(3) + 0.0:.3f} m{frame}, along x"
    return (
        f"it can rotate about the line through {_coordinates(foot)} m{frame} "
        f"in direction {_coordinates(axis)}"
    )


def _coordinates(point: Floats) -> str:
    x, y = point.round(3) + 0.0  # no minus before a zero
    return f"({x:.3f}, {y:.3f})"

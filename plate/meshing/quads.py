"""Straight quadrilaterals from triangles: pairs, subdivision, smoothing with the curves kept."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.geometry.curves import Curve
from plate.threads import one_blas_thread

# A pair of triangles makes a quadrilateral if no angle is further than this share from square.
SQUARENESS = 0.25
SMOOTHING = 60  # steps
# Cells whose shape is worse than this barrier [-] are not allowed while smoothing.
FLAT = 0.02


@dataclass(frozen=True)
class Quads:
    """Quadrilaterals between curves.

    points : (n, 2) [m]. cells : (m, 4), turning from x to y.
    chains : for each piece of the curves its points in order, as numbers, and their parameters.
    """

    points: Floats
    cells: Ints
    chains: tuple[tuple[Ints, Floats], ...]

    def chain_edges(self) -> dict[tuple[int, int], int]:
        """The piece to which each edge on a curve belongs; edges as sorted ends."""
        return {
            (min(a, b), max(a, b)): k
            for k, (nodes, _) in enumerate(self.chains)
            for a, b in zip(nodes[:-1].tolist(), nodes[1:].tolist(), strict=True)
        }

    def on_curves(self) -> NDArray[np.bool_]:
        """Which points lie on curves (n,)."""
        on = np.zeros(len(self.points), dtype=bool)
        for nodes, _ in self.chains:
            on[nodes] = True
        return on


def paired(points: Floats, triangles: Ints, kept: set[tuple[int, int]]) -> tuple[Ints, Ints]:
    """Triangles (n, 3) paired to quadrilaterals (q, 4), the squarest first, and those left over.

    kept : sides that no pair may cross, as sorted ends.
    """
    sides: dict[tuple[int, int], list[int]] = {}
    for k, corners in enumerate(triangles.tolist()):
        for i in range(3):
            a, b = corners[i], corners[(i + 1) % 3]
            sides.setdefault((min(a, b), max(a, b)), []).append(k)
    inner = [(edge, two) for edge, two in sides.items() if len(two) == 2 and edge not in kept]
    if not inner:
        return np.empty((0, 4), dtype=np.int64), triangles
    edges = np.array([edge for edge, _ in inner])
    owner = np.array([two for _, two in inner])
    # Quadrilateral: the first triangle's corner off the shared side, then around.
    first, second = triangles[owner[:, 0]], triangles[owner[:, 1]]
    turn = np.argmax(~_among(first, edges), axis=1)
    row = np.arange(len(edges))
    s, u, v = (first[row, (turn + i) % 3] for i in range(3))
    t = second[row, np.argmax(~_among(second, edges), axis=1)]
    quads = np.stack([s, u, t, v], axis=1)
    quality = squareness(points[quads])
    rim = np.zeros(len(points), dtype=bool)
    rim[np.array(list(kept), dtype=np.int64).reshape(-1, 2)] = True
    valence = np.bincount(triangles.ravel(), minlength=len(points))
    free = np.ones(len(triangles), dtype=bool)
    chosen = []
    for k in np.lexsort((np.arange(len(quality)), -np.round(quality, 6))).tolist():
        if quality[k] < SQUARENESS:
            break
        one, other = owner[k]
        # An inner point keeps at least three cells.
        thin = (valence[edges[k]] <= 3) & ~rim[edges[k]]
        if free[one] and free[other] and not thin.any():
            free[[one, other]] = False
            valence[edges[k]] -= 1
            chosen.append(k)
    return quads[chosen], triangles[free]


def _among(corners: Ints, edges: Ints) -> NDArray[np.bool_]:
    return np.asarray(np.any(corners[:, :, None] == edges[:, None, :], axis=2))


def squareness(quads: Floats) -> Floats:
    """1 for rectangles down to 0 and less for quadrilaterals (n, 4, 2) with a flat angle."""
    ahead, behind = np.roll(quads, -1, axis=1) - quads, np.roll(quads, 1, axis=1) - quads
    cross = ahead[..., 0] * behind[..., 1] - ahead[..., 1] * behind[..., 0]
    angle = np.arctan2(cross, np.sum(ahead * behind, axis=-1)) % (2.0 * np.pi)
    return np.asarray(1.0 - np.abs(angle - 0.5 * np.pi).max(axis=1) / (0.5 * np.pi))


def least_sine(quads: Floats) -> Floats:
    """Smallest sine of the angles of quadrilaterals (n, 4, 2), negative where folded."""
    ahead, behind = np.roll(quads, -1, axis=1) - quads, np.roll(quads, 1, axis=1) - quads
    cross = ahead[..., 0] * behind[..., 1] - ahead[..., 1] * behind[..., 0]
    length = np.linalg.norm(ahead, axis=-1) * np.linalg.norm(behind, axis=-1)
    return np.asarray((cross / np.maximum(length, 1e-300)).min(axis=1))


def subdivided(
    points: Floats,
    quads: Ints,
    triangles: Ints,
    chains: tuple[tuple[Ints, Floats], ...],
    pieces: tuple[Curve, ...],
) -> Quads:
    """Every quadrilateral cut in four and every triangle in three, points on curves kept there."""
    edges = np.concatenate(
        [quads[:, [i, (i + 1) % 4]] for i in range(4)]
        + [triangles[:, [i, (i + 1) % 3]] for i in range(3)]
    )
    unique, inverse = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True)
    middle = points[unique].mean(axis=1)
    number = {(a, b): k for k, (a, b) in enumerate(unique.tolist())}
    finer = []
    for (nodes, shares), curve in zip(chains, pieces, strict=True):
        pairs = zip(nodes[:-1].tolist(), nodes[1:].tolist(), strict=True)
        at = np.array([number[min(a, b), max(a, b)] for a, b in pairs])
        half = 0.5 * (shares[1:] + shares[:-1])
        middle[at] = curve.at(half)
        nodes2, shares2 = np.empty(2 * len(nodes) - 1, dtype=np.int64), np.empty(2 * len(nodes) - 1)
        nodes2[::2], nodes2[1::2] = nodes, len(points) + at
        shares2[::2], shares2[1::2] = shares, half
        finer.append((nodes2, shares2))
    base = len(points) + len(unique)
    mid = inverse.ravel() + len(points)
    q, t = len(quads), len(triangles)
    centre_q = base + np.arange(q)
    centre_t = base + q + np.arange(t)
    cells = []
    for i in range(4):
        before = mid[((i + 3) % 4) * q : ((i + 3) % 4 + 1) * q]
        cells.append(np.stack([quads[:, i], mid[i * q : (i + 1) * q], centre_q, before], axis=1))
    side = mid[4 * q :]
    for i in range(3):
        before = side[((i + 2) % 3) * t : ((i + 2) % 3 + 1) * t]
        after = side[i * t : (i + 1) * t]
        cells.append(np.stack([triangles[:, i], after, centre_t, before], axis=1))
    centres = [points[quads].mean(axis=1), points[triangles].mean(axis=1)]
    return Quads(np.concatenate([points, middle, *centres]), np.concatenate(cells), tuple(finer))


@one_blas_thread
def smoothed(quads: Quads, held: NDArray[np.bool_]) -> Quads:
    """The points that are not held moved so that cells become as square as they can.

    Minimises the sum of squared corner distortions (|a|^2 + |b|^2) / (2 a x b), a and b being the
    sides that meet at a corner, which keeps cells from folding (Knupp, SIAM J. Sci. Comput. 23
    (2001) 193-218, for the measure).
    """
    free = np.flatnonzero(~held)
    if not len(free):
        return quads
    cells = quads.cells
    local = np.full(len(quads.points), -1)
    local[free] = np.arange(len(free))
    moving = np.any(local[cells] >= 0, axis=1)
    cells = cells[moving]
    points = quads.points.copy()

    def energy(x: Floats) -> tuple[float, Floats]:
        points[free] = x.reshape(-1, 2)
        corner = points[cells]
        a = np.roll(corner, -1, axis=1) - corner
        b = np.roll(corner, 1, axis=1) - corner
        cross = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
        size = np.sum(a * a + b * b, axis=-1)
        bent = 2.0 * cross / size  # 1 at a square corner
        # Below the barrier the energy goes on as a straight line, so that a fold unfolds.
        safe = np.maximum(bent, FLAT)
        value = np.where(bent > FLAT, safe**-2, FLAT**-2 - 2.0 * (bent - FLAT) * FLAT**-3)
        slope = -2.0 * safe**-3
        d_cross = (slope * 2.0 / size)[..., None]
        d_size = (slope * -2.0 * cross / size**2)[..., None]
        turned = np.stack([b[..., 1], -b[..., 0]], axis=-1)
        da = d_cross * turned + d_size * 2.0 * a
        turned = np.stack([-a[..., 1], a[..., 0]], axis=-1)
        db = d_cross * turned + d_size * 2.0 * b
        gradient = np.zeros_like(points)
        at = -(da + db) + np.roll(da, 1, axis=1) + np.roll(db, -1, axis=1)
        for i in range(4):
            for k in range(2):
                gradient[:, k] += np.bincount(cells[:, i], at[:, i, k], len(points))
        return float(value.sum()), gradient[free].ravel()

    from scipy.optimize import minimize  # here, since only outlines need it

    start = points[free].ravel()
    found = minimize(
        energy, start, jac=True, method="L-BFGS-B", options={"maxiter": SMOOTHING, "maxcor": 12}
    )
    points[free] = found.x.reshape(-1, 2)
    return Quads(points, quads.cells, quads.chains)

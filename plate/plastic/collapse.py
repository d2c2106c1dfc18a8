"""The multiplier of a load at which a slab collapses, between two certified bounds.

Moments and mechanism on the same triangles tell where the gap between their multipliers comes
from: the work of the mechanism less that of the moments on it is nowhere negative, and adds up to
the gap. Triangles with most of it are halved until the gap is as small as is asked.
"""

from dataclasses import dataclass

import numpy as np

from plate.arrays import Floats
from plate.errors import CollapseError
from plate.plastic.cutting import Cutter
from plate.plastic.discrete import Discrete, discrete, with_loads
from plate.plastic.lower_bound import StaticField, lower_bound
from plate.plastic.slab import PlasticLoad, PlasticSlab
from plate.plastic.triangles import Triangles
from plate.plastic.upper_bound import Deflections, Mechanism, upper_bound

# Gap that is asked for, as a share of the lower bound.
GAP = 0.01
# Triangles after which it is given up.
MOST = 4000
# Triangles with this share of the gap are halved.
SHARE = 0.7
# Bounds may cross by rounding, as a share of their size.
CROSSED = 1e-5
# The parts of the gap add up to it to this share of the upper bound.
ADDED = 1e-5
# Halving goes on while the gap is no larger than so many times the smallest so far.
STALLED = 2.0
NO_LOAD = PlasticLoad()

# Integrals of a linear times a quadratic Bernstein polynomial over a triangle, in its areas; the
# quadratic ones in order of `lower_bound.COEFFICIENT`.
_CUBIC = np.array([[6, 2, 2, 4, 2, 4], [2, 6, 2, 4, 4, 2], [2, 2, 6, 2, 4, 4]], dtype=float) / 60.0


@dataclass(frozen=True, kw_only=True)
class Collapse:
    """A multiplier between two bounds.

    lower, upper : of the load as given. triangles. moments : m_x, m_y, m_xy (m, 6, 3) [N m/m] at
    the corners of each triangle and the middles of its sides 01, 12, 20, at the lower bound.
    beams : moments (k, 4) [N m] of each beam's edges as Bernstein coefficients. deflections : of
    the mechanism (n,) at the points, the largest one being 1. hinges : turns (e,) of the edges in
    their middles, sagging positive, per deflection of 1 [1/m]. floor : least resistance counted
    where bars resist less [N m/m], 0 where they do not. share : (m,) of each triangle in the gap.
    """

    lower: float
    upper: float
    triangles: Triangles
    moments: Floats
    beams: tuple[Floats, ...]
    deflections: Floats
    hinges: Floats
    floor: float
    share: Floats

    @property
    def gap(self) -> float:
        """(upper - lower) / lower."""
        return (self.upper - self.lower) / self.lower


def collapse(
    slab: PlasticSlab,
    live: PlasticLoad,
    dead: PlasticLoad = NO_LOAD,
    *,
    gap: float = GAP,
    most: int = MOST,
) -> Collapse:
    """The multiplier of the live load at which the slab collapses in bending, dead load constant.

    Triangles are halved until the gap is at most `gap` of the lower bound, there are `most`, or it
    grows again; what is told is the smallest gap.

    Raises
    ------
    CollapseError
        Bounds that are not certified or cross; a dead load that is not carried; without the package
        clarabel.
    LoadError
        A patch off the slab.
    """
    mesh = with_loads(slab, live, dead)
    best: Collapse | None = None
    while True:
        problem = discrete(slab, mesh, live, dead)
        below = lower_bound(problem)
        above = upper_bound(problem)
        parts = gap_parts(problem, below, above)
        found = _collapse(mesh, problem, below, above, parts)
        # A solver that stalls on small triangles tells of less than on larger ones.
        best = found if best is None or found.gap < best.gap else best
        if best.gap <= gap or len(mesh.cells) >= most or found.gap > STALLED * best.gap:
            return best
        order = np.argsort(-parts)
        enough = int(np.searchsorted(np.cumsum(parts[order]), SHARE * parts.sum())) + 1
        cutter = Cutter(mesh)
        cutter.bisect(order[:enough].tolist())
        mesh = cutter.triangles()


def safe_multiplier(slab: PlasticSlab, live: PlasticLoad, dead: PlasticLoad = NO_LOAD) -> float:
    """The lower bound alone, on the slab's triangles as they are with the patches cut in: one
    solution, for the choice between many positions. Raises as `collapse`."""
    problem = discrete(slab, with_loads(slab, live, dead), live, dead)
    return _carried(lower_bound(problem).multiplier) * problem.factor


def _carried(multiplier: float) -> float:
    if multiplier <= 0.0:
        raise CollapseError("no moments are found that carry the dead load alone")
    return multiplier


def gap_parts(problem: Discrete, below: StaticField, above: Mechanism) -> Floats:
    """What each triangle adds to the difference of the bounds (m,), none of it negative but for
    rounding; what an edge or a beam adds is shared by the triangles on it.

    Raises CollapseError where they do not add up to it.
    """
    mesh, forms = problem.triangles, Deflections(problem)
    w = above.deflections
    kappa = (forms.curvatures @ w).reshape(-1, 3, 3) * [1.0, 1.0, 2.0]
    parts = above.bending - mesh.areas * np.einsum("ck,mki,mci->m", _CUBIC, below.moments, kappa)
    rows, sagging, hogging = forms.hinges
    turned = rows @ w
    work = np.where(turned > 0.0, sagging * turned, -hogging * turned)
    sides = 3 * len(mesh.cells)

    # Work of the normal moments on the turns: two quadratics along each edge.
    product = np.array([[6.0, 3.0, 1.0], [3.0, 4.0, 3.0], [1.0, 3.0, 6.0]]) / 30.0
    inner = np.flatnonzero(~problem.turnless & ~mesh.on_rim)
    turnless = np.flatnonzero(problem.turnless[mesh.cell_edges].ravel())
    normal = np.stack([_normal_moments(problem, below, side) for side in range(3)], axis=1)
    of_sides = normal.reshape(sides, 3)
    of_edges = np.zeros((len(mesh.edges), 3))
    backward = np.where(mesh.forward.ravel()[:, None], of_sides, of_sides[:, ::-1])
    of_edges[mesh.cell_edges.ravel()] = backward
    count = 3 * len(inner)
    turns = turned[:count].reshape(-1, 3)
    length = mesh.lengths[inner]
    edge_parts = np.zeros(len(mesh.edges))
    edge_parts[inner] = work[:count].reshape(-1, 3).sum(axis=1) - length * np.einsum(
        "ei,ij,ej->e", turns, product, of_edges[inner]
    )
    beyond = count + 3 * len(turnless)
    turns = turned[count:beyond].reshape(-1, 3)
    length = mesh.lengths[mesh.cell_edges.ravel()[turnless]]
    np.add.at(
        parts,
        turnless // 3,
        work[count:beyond].reshape(-1, 3).sum(axis=1)
        - length * np.einsum("ei,ij,ej->e", turns, product, of_sides[turnless]),
    )
    for run, moments in zip(problem.beams, below.beams, strict=True):
        k = len(run.edges)
        own, done = slice(beyond, beyond + 2 * k), beyond + 2 * k
        bent = turned[own].reshape(k, 2)
        # Integrals of linear times cubic Bernstein polynomials.
        mixed = np.array([[4.0, 3.0, 2.0, 1.0], [1.0, 2.0, 3.0, 4.0]]) / 20.0
        edge_parts[run.edges] += work[own].reshape(k, 2).sum(axis=1) - mesh.lengths[
            run.edges
        ] * np.einsum("ei,ij,ej->e", bent, mixed, moments)
        at = np.append(moments[:, 0], moments[-1, 3])
        counts = np.ones(k + 1, dtype=bool)
        counts[[0, -1]] = run.built_in
        beyond = done + int(counts.sum())
        points = np.zeros(k + 1)
        points[counts] = work[done:beyond] - at[counts] * turned[done:beyond]
        edge_parts[run.edges] += 0.5 * (points[:-1] + points[1:])
        edge_parts[run.edges[0]] += 0.5 * points[0]
        edge_parts[run.edges[-1]] += 0.5 * points[-1]
    on = np.bincount(mesh.cell_edges.ravel(), minlength=len(mesh.edges))
    parts += (edge_parts / on)[mesh.cell_edges].sum(axis=1)
    difference = above.multiplier - below.multiplier
    size = max(abs(above.multiplier), abs(below.multiplier), 1.0)
    if abs(parts.sum() - difference) > ADDED * size:
        raise CollapseError("moments and mechanism are not of one problem: the gap does not add up")
    return np.asarray(np.clip(parts, 0.0, None))


def _normal_moments(problem: Discrete, below: StaticField, side: int) -> Floats:
    """Coefficients (m, 3) of the normal moment along a side, from its start."""
    n = problem.triangles.outward[:, side]
    along = below.moments[:, [side, 3 + side, (side + 1) % 3]]
    weights = np.stack([n[:, 0] ** 2, n[:, 1] ** 2, 2.0 * n[:, 0] * n[:, 1]], axis=1)
    return np.asarray(np.einsum("mki,mi->mk", along, weights))


def _collapse(
    mesh: Triangles, problem: Discrete, below: StaticField, above: Mechanism, parts: Floats
) -> Collapse:
    lower = _carried(below.multiplier)
    if above.multiplier < lower * (1.0 - CROSSED):
        raise CollapseError(
            f"the bounds cross: {lower * problem.factor:g} below, "
            f"{above.multiplier * problem.factor:g} above"
        )
    forms = Deflections(problem)
    w = above.deflections[: len(mesh.points)]
    largest = float(w[np.argmax(np.abs(w))])
    turns = (forms.turns @ above.deflections).reshape(-1, 3)
    own = (forms.turns_of_sides @ above.deflections).reshape(-1, 3)
    np.add.at(turns, mesh.cell_edges.ravel(), own)
    middle = turns @ np.array([0.25, 0.5, 0.25]) / largest / problem.length
    m = below.moments
    middles = 0.25 * (m[:, [0, 1, 2]] + m[:, [1, 2, 0]]) + 0.5 * m[:, 3:]
    unit = problem.moment
    total = float(parts.sum())
    return Collapse(
        lower=lower * problem.factor,
        upper=max(above.multiplier, lower) * problem.factor,
        triangles=mesh,
        moments=np.concatenate([m[:, :3], middles], axis=1) * unit,
        beams=tuple(values * unit * problem.length for values in below.beams),
        deflections=w / largest,
        hinges=middle,
        floor=problem.floor,
        share=parts / total if total > 0.0 else parts,
    )

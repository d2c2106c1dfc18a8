"""Places where the moments of a thin plate are infinite, found from angles and supports.

Around every corner of the slab, and every point where a rigid line or a beam ends or meets an edge,
the plate is a set of wedges between edges and such lines. A wedge whose leading exponent
(`plate.model.corner_exponents`) is below 2 has infinite moments at its tip: values there depend
on the mesh and are no results. A line that the slab continues across acts on each side between
simply supported and clamped; both are tried and the worse counts. So they are for beams: near
enough to a point the slab, whose stiffness there goes with D r, is soft beside E I and G J. Springs
make no wedge.

Where a beam is held, or leaves the slab on a stub to where it is held, the hold's force enters the
beam at a point. The line of a web that strains in shear has a kink there, which the slab, whose
normal follows that line, smooths: moments grow like ln r. By Mindlin's theory they do without such
a web too, but within a hundredth of the thickness. So they do where beams cross and one of them has
a shear area, and where a beam with one runs across a rigid line, which holds it as a hold does.

Where a beam's line has a kink, its moment cannot go on along it: M times the sine of the turn has
to become torsion, and what does not enters the slab as a couple at a point. Moments grow like 1/r.
"""

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.elements.beam import edge_frame
from plate.meshing.mesh import N_SIDES, Mesh, side_nodes
from plate.model.corner_exponents import EdgeKind, leading_exponent
from plate.model.model import PlateModel

# Of a side, on its reference interval.
ENDS = np.array([-1.0, 1.0])

PointKind = Literal["held", "crossed", "kinked"]
# How a line holds the slab; a beam's line as the worse of simply supported and clamped.
Kind = EdgeKind | Literal["beam"]
Wedge = tuple[float, float, tuple[EdgeKind, EdgeKind]]

# An exponent this close to 2 is a straight edge or rounding, no infinite moment.
FINITE = 2.0 - 1e-3

# A beam's line has a kink where it turns by more [rad]: sides of cells on an arc turn by some 1e-4.
KINK = np.radians(0.2)
# Of each point: moments go like r^(s-2), like ln r where s = 2.
POINT_EXPONENTS: dict[PointKind, float] = {"held": 2.0, "crossed": 2.0, "kinked": 1.0}


@dataclass(frozen=True, kw_only=True)
class SingularPlace:
    """A point with infinite moments in thin-plate theory.

    node : of the mesh; at : plan point [m]; angle : of the worst wedge [rad]; edges : how its two
    edges are held; exponent : s < 2, moments go like r^(s-2). A beam's hold, a crossing of beams
    and a beam's kink have the angle of all the slab around them and the edges "held" or "crossed"
    with s = 2, for ln r, or "kinked" with s = 1.
    """

    node: int
    at: tuple[float, float]
    angle: float
    edges: tuple[EdgeKind, EdgeKind] | tuple[PointKind, PointKind]
    exponent: float


def singular_places(model: PlateModel) -> tuple[SingularPlace, ...]:
    """All singular places of a model, by node number."""
    mesh = model.mesh
    ends, owner = mesh.edges
    boundary = owner[:, 1, 0] < 0
    kinds = _edge_kinds(model, len(ends))
    rigid = np.array([k is not None for k in kinds])
    special = np.unique(ends[rigid])
    corners = _boundary_corners(model, ends[boundary])
    around, sides = _cells_around(model), _Sides.of(mesh)
    found: dict[int, SingularPlace] = {}
    for node in np.union1d(special, corners).tolist():
        spans = sides.spans(node, around[node])
        wedges = _wedges(spans, boundary, kinds, model.section.poisson)
        worst = min(wedges, key=lambda w: w[0], default=None)
        if worst is not None and worst[0] < FINITE:
            exponent, angle, pair = worst
            x, y = mesh.plan[node]
            found[node] = SingularPlace(
                node=node, at=(float(x), float(y)), angle=angle, edges=pair, exponent=exponent
            )
    points: dict[int, PointKind] = dict.fromkeys(_crossings(model), "crossed")
    points |= dict.fromkeys(_holds(model), "held")
    points |= dict.fromkeys(_kinks(model), "kinked")
    for node, point in points.items():
        if node not in found or POINT_EXPONENTS[point] < found[node].exponent:
            x, y = mesh.plan[node]
            angle = sum(span for *_, span in sides.spans(node, around[node]))
            found[node] = SingularPlace(
                node=node,
                at=(float(x), float(y)),
                angle=angle,
                edges=(point, point),
                exponent=POINT_EXPONENTS[point],
            )
    return tuple(found[node] for node in sorted(found))


def stiff_ends(model: PlateModel) -> Ints:
    """Nodes (n,) at which a line that holds both slopes of the slab, clamped, hard or a beam's,
    meets an edge that holds neither.

    By Mindlin's theory bending near a corner is that of plane stress: between a clamped edge and a
    free one at right angles moments go like r^(lambda - 1), kappa sin^2(lambda pi/2) = (kappa +
    1)^2/4 - lambda^2 with kappa = (3 - nu)/(1 + nu), lambda 0.81 for nu 0.2 (Williams, Stress
    singularities resulting from various boundary conditions in angular corners of plates in
    extension, J. Appl. Mech. 19 (1952), 526-528; from memory). A beam is as clamped, since the slab
    is soft beside it near enough to a point. By thin theory moments there are finite: all this is
    within the layer.
    """
    mesh = model.mesh
    ends, owner = mesh.edges
    held = np.array([kind is not None for kind in _edge_kinds(model, len(ends))])
    yielding = np.unique(ends[(owner[:, 1, 0] < 0) & ~held])
    lines = [beam.line for beam in model.beams]
    lines += [s.line for s in model.supports if s.kind == "clamped" or s.hard]
    stiff = [model.line_edges(line).ravel() for line in lines]
    return np.intersect1d(yielding, np.concatenate([*stiff, np.zeros(0, dtype=np.int64)]))


def _holds(model: PlateModel) -> set[int]:
    """Nodes of the slab at which a beam is held, or leaves it to where it is held, and those at
    which one with a shear area runs across a rigid line."""
    holds = {
        int(model.crossing(beam.line, hold.on)[0]) for beam in model.beams for hold in beam.holds
    }
    rigid = {
        node
        for support in model.supports
        if support.kind != "spring"
        for node in model.line_edges(support.line).ravel().tolist()
    }
    for beam in model.beams:
        edges = model.line_edges(beam.line)
        if beam.section.own_rotation:
            nodes, sides = np.unique(edges[:, [0, -1]], return_counts=True)
            # Where it ends its slope is free, and there is no kink.
            holds |= rigid & set(nodes[sides > 1].tolist())
    return holds


def _crossings(model: PlateModel) -> set[int]:
    """Nodes at which beams cross or meet, one of which at least has a shear area."""
    lines = [
        (set(model.line_edges(beam.line).ravel().tolist()), beam.section.own_rotation)
        for beam in model.beams
    ]
    return {
        node
        for k, (nodes, own) in enumerate(lines)
        for others, other_own in lines[:k]
        if own or other_own
        for node in nodes & others
    }


def _kinks(model: PlateModel) -> set[int]:
    """Nodes within the lines of beams at which these turn; none on elements of first order, which
    know a curve by its chords alone."""
    if model.mesh.order == 1:
        return set()
    found = set()
    for beam in model.beams:
        edges = model.line_edges(beam.line)
        tangents = edge_frame(model.mesh.xy[edges], ENDS).tangent
        away = [
            (int(nodes[end]), sign * tangent[end])
            for nodes, tangent in zip(edges, tangents, strict=True)
            for end, sign in ((0, 1.0), (-1, -1.0))
        ]
        at: dict[int, list[Floats]] = {}
        for node, direction in away:
            at.setdefault(node, []).append(direction)
        for node, directions in at.items():
            if len(directions) == 2 and float(directions[0] @ directions[1]) > -np.cos(KINK):
                found.add(node)
    return found


def _edge_kinds(model: PlateModel, n_edges: int) -> list[Kind | None]:
    """How each edge of the mesh is held by a rigid line or a beam, None where it is not."""
    kinds: list[Kind | None] = [None] * n_edges
    for beam in model.beams:
        for k in model.mesh.edge_index(model.line_edges(beam.line)[:, [0, -1]]).tolist():
            kinds[k] = "beam"
    for support in model.supports:
        if support.kind != "spring":
            kind: EdgeKind = "clamped" if support.kind == "clamped" else "simple"
            ends = model.line_edges(support.line)[:, [0, -1]]
            for k in model.mesh.edge_index(ends).tolist():
                kinds[k] = kind
    return kinds


def _boundary_corners(model: PlateModel, ends: Ints) -> Ints:
    """Nodes where two edges of the slab meet at another angle than a straight one."""
    xy = model.mesh.xy
    directions: dict[int, list[Floats]] = {}
    for a, b in ends.tolist():
        step = (xy[b] - xy[a]) / np.linalg.norm(xy[b] - xy[a])
        directions.setdefault(a, []).append(step)
        directions.setdefault(b, []).append(-step)
    # Edges of a curve turn a little from one to the next: that is no corner.
    bent = [n for n, d in directions.items() if len(d) == 2 and float(d[0] @ d[1]) > -0.9]
    return np.array(sorted(bent), dtype=np.int64)


def _cells_around(model: PlateModel) -> dict[int, list[int]]:
    around: dict[int, list[int]] = {}
    p = model.mesh.order
    local = [0, (p + 1) * p, (p + 1) ** 2 - 1, p]
    for cell, nodes in enumerate(model.mesh.cells[:, local].tolist()):
        for node in nodes:
            around.setdefault(node, []).append(cell)
    return around


def _wedges(
    spans: list[tuple[int, int, float]],
    boundary: NDArray[np.bool_],
    kinds: list[Kind | None],
    poisson: float,
) -> list[Wedge]:
    """(exponent, angle, edges) of every wedge at a node between edges and rigid lines."""
    divided = {e for a, b, _ in spans for e in (a, b) if boundary[e] or kinds[e] is not None}
    if not divided:
        return []
    wedges = []
    left = list(spans)
    for start in sorted(divided):
        while True:
            chain = _chain(start, left, divided)
            if chain is None:
                break
            end, angle = chain
            wedges.append(_worst(angle, start, end, boundary, kinds, poisson))
    return wedges


@dataclass(frozen=True)
class _Sides:
    """The sides of the cells: their ends (n_cell, 4, 2), their edges of the mesh (n_cell, 4), and
    unit tangents at both ends (n_cell, 4, 2, 2), from the first to the second."""

    ends: Ints
    edge: Ints
    tangent: Floats

    @classmethod
    def of(cls, mesh: Mesh) -> "_Sides":
        nodes = mesh.cells[:, side_nodes(mesh.order)]
        every = nodes.reshape(-1, nodes.shape[2])
        ends = every[:, [0, -1]]
        # Tangents: a side on an arc bends away from its chord.
        tangent = edge_frame(mesh.xy[every], ENDS).tangent
        return cls(
            ends.reshape(-1, N_SIDES, 2),
            mesh.edge_index(ends).reshape(-1, N_SIDES),
            tangent.reshape(-1, N_SIDES, 2, 2),
        )

    def spans(self, node: int, cells: list[int]) -> list[tuple[int, int, float]]:
        """Each cell's span from one of its two edges at a node to the other, and its angle
        [rad]."""
        spans: list[tuple[int, int, float]] = []
        for cell in cells:
            touching = []
            for side, end in zip(*np.nonzero(self.ends[cell] == node), strict=True):
                tangent = self.tangent[cell, side, end]
                touching.append((int(self.edge[cell, side]), -tangent if end else tangent))
            (first, u), (second, v) = touching
            cosine = float(u @ v)
            spans.append((first, second, float(np.arccos(np.clip(cosine, -1.0, 1.0)))))
        return spans


def _chain(
    start: int, left: list[tuple[int, int, float]], divided: set[int]
) -> tuple[int, float] | None:
    """Walk cells from a dividing edge to the next one, taking them out of `left`."""
    edge, angle, walked = start, 0.0, False
    while True:
        step = next((s for s in left if edge in s[:2]), None)
        if step is None:
            return (edge, angle) if walked else None
        left.remove(step)
        edge = step[1] if step[0] == edge else step[0]
        angle += step[2]
        walked = True
        if edge in divided:
            return edge, angle


def _worst(
    angle: float,
    start: int,
    end: int,
    boundary: NDArray[np.bool_],
    kinds: list[Kind | None],
    poisson: float,
) -> Wedge:
    """The worse of what is antisymmetric and what is symmetric about lines the slab crosses."""
    # Around the end of a line what is antisymmetric about it is smooth.
    assumed: tuple[EdgeKind, ...] = ("clamped",) if start == end else ("simple", "clamped")
    # On an arc neighbouring sides of cells turn a little: that is no corner.
    rounded = np.pi if abs(angle - np.pi) < KINK else round(angle, 9)
    found = []
    for kind in assumed:
        pair = _held(start, kind, boundary, kinds), _held(end, kind, boundary, kinds)
        first, second = sorted(pair)  # from either side the same
        found.append((_exponent(rounded, first, second, poisson), angle, pair))
    return min(found, key=lambda wedge: wedge[0])


def _held(
    edge: int, across: EdgeKind, boundary: NDArray[np.bool_], kinds: list[Kind | None]
) -> EdgeKind:
    """How an edge of a wedge is held; `across` where the slab goes on beyond a line, and by a
    beam."""
    kind = kinds[edge]
    if kind == "beam":
        return across
    if boundary[edge]:
        return kind or "free"
    return "clamped" if kind == "clamped" else across


@cache
def _exponent(angle: float, first: EdgeKind, second: EdgeKind, poisson: float) -> float:
    return leading_exponent(min(angle, 2.0 * np.pi), first, second, poisson)

"""Results along beams as rows on the displacements: moments, shears, torsion, axial force.

The shear of a beam is that of its web and the force of its tie to the slab's normal. The web's
alone goes with the moment, dM/ds = V. The tie's is what the slab hands over as a twisting moment
that ends, near ends and crossings; a beam without shear area has no shear but that of its tie.

Beside the node of a hold the shear told is what enters the beam there by the statics of that node,
since part of it may go into the slab at the node itself: little under Mindlin's theory, the more
the coarser the mesh; under Kirchhoff's all that a thin plate holds as a corner force. A beam that
ends in a hold has one more sample, in the hold, whose shear is the reaction, less what a load puts
straight on the node of a rigid hold.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.elements.beam import (
    bending_operator,
    edge_frame,
    tie_operator,
    torsion_operator,
    web_operator,
)
from plate.elements.group import ElementGroup
from plate.elements.membrane import axial_operator, stretch_operator
from plate.interpolation import gauss, lagrange, lobatto
from plate.model.model import PlateModel, hold_name, plain_name
from plate.model.supports import BeamLine, Hold

Rows = sparse.csr_array
T = TypeVar("T", np.float64, np.int64)

# A shear jumps where beams cross and are held: so far from there [m] is on one side.
SIDE = 1e-6


@dataclass(frozen=True, kw_only=True)
class BeamRows:
    """Rows of bending moments (sagging positive) [N m] and shears [N] along every beam.

    names : of the beams; at : distance of each sample from the line's first end [m], per beam: the
    Gauss-Lobatto points of every edge, then holds at its ends.
    sides : `at` moved by `SIDE` into the sample's own edge, or beyond the end into the hold.
    moments, shears, web, tie : rows (n_sample, n_dof), beam after beam. The shears are those to be
    told; web and tie are their parts, whose sum they are but in holds and beside them.
    """

    names: tuple[str, ...]
    at: tuple[Floats, ...]
    sides: tuple[Floats, ...]
    moments: Rows
    shears: Rows
    web: Rows
    tie: Rows

    def split(self, values: NDArray[T]) -> dict[str, NDArray[T]]:
        """Values (n_sample, ...) as beam name -> (its samples, ...)."""
        starts = np.cumsum([0, *(len(at) for at in self.at)])
        return {n: values[a:b] for n, a, b in zip(self.names, starts, starts[1:], strict=False)}


def no_beam_rows(model: PlateModel) -> BeamRows:
    """Rows of no beam."""
    none = _stacked(model, [])
    return BeamRows(names=(), at=(), sides=(), moments=none, shears=none, web=none, tie=none)


def beam_rows(model: PlateModel) -> BeamRows:
    """Rows at the samples of every beam."""
    at, sides, moments, shears, web, tie = [], [], [], [], [], []
    for beam in model.beams:
        edges, index = model.line_edges(beam.line), _index(model, beam)
        samples = lobatto(model.mesh.order + 1)
        s = _distances(model.mesh.xy[edges], samples)
        inward = SIDE * np.tile(np.eye(len(samples))[0] - np.eye(len(samples))[-1], len(edges))
        M, V_web, V_tie = _edge_rows(model, beam, np.arange(len(edges)), samples)
        n, beside = len(samples), _beside_holds(model, beam)
        place = np.array([edge * n + end % n for edge, end in beside], dtype=np.int64)
        spread = sparse.coo_array(
            (np.ones(len(place)), (place, np.arange(len(place)))), shape=(len(s), len(place))
        )
        lacking = spread.tocsr() @ _stacked(model, list(beside.values()))
        at.append(s[index])
        sides.append(np.concatenate([s + inward, (s - inward)[index[len(s) :]]]))
        moments.append(M[index])
        web.append(V_web[index])
        tie.append(V_tie[index])
        shears += [V_web + V_tie + lacking, *(row for _, row in _end_holds(model, beam))]
    return BeamRows(
        names=tuple(plain_name(beam.line) for beam in model.beams),
        at=tuple(at),
        sides=tuple(sides),
        moments=_stacked(model, moments),
        shears=_stacked(model, shears),
        web=_stacked(model, web),
        tie=_stacked(model, tie),
    )


def beam_torsion_rows(model: PlateModel) -> Rows:
    """Rows (n_sample, n_dof) of the torsional moment [N m] at the samples of `beam_rows`."""
    rows = []
    for beam in model.beams:
        edges = model.line_edges(beam.line)
        frame = edge_frame(model.mesh.xy[edges], lobatto(model.mesh.order + 1))
        twist = beam.section.GJ * torsion_operator(frame, own=beam.section.own_rotation)
        rows.append(_scatter(twist, model.beam_dofs(beam), model.n_dof)[_index(model, beam)])
    return _stacked(model, rows)


def beam_axial_rows(model: PlateModel) -> Rows:
    """Rows (n_sample, n_dof) of the axial force [N], tension positive, at the samples of
    `beam_rows`; empty rows for beams that are not connected to the slab's membrane."""
    rows = []
    for beam in model.beams:
        index, edges = _index(model, beam), model.line_edges(beam.line)
        if beam.connection == 0.0:
            rows.append(sparse.csr_array((len(index), model.n_dof)))
            continue
        frame = edge_frame(model.mesh.xy[edges], lobatto(model.mesh.order + 1))
        dofs = model.axial_dofs(beam)
        full = np.isinf(beam.connection)
        strain = (axial_operator if full else stretch_operator)(frame, model.joint(beam))
        rows.append(_scatter(beam.section.EA * strain, dofs, model.n_dof)[index])
    return _stacked(model, rows)


def samples_in_holds(model: PlateModel) -> list[tuple[int, str, float]]:
    """The samples of `beam_rows` that lie in yielding holds: number, name of the hold, and the sign
    of the beam's shear there against the upward reaction."""
    found, first = [], 0
    for beam in model.beams:
        edges = model.line_edges(beam.line)
        sample = len(edges) * (model.mesh.order + 1)
        ends = (edges[0, 0], edges[-1, -1])
        for hold in beam.holds:
            node, _ = model.crossing(beam.line, hold.on)
            if node in ends:
                if hold.stub > 0.0 or np.isfinite(hold.k):
                    sign = 1.0 if node == ends[0] else -1.0
                    found.append((first + sample, hold_name(beam.line, hold.on), sign))
                sample += 1
        first += sample
    return found


def beam_rows_at(model: PlateModel, name: str, at: Sequence[float]) -> tuple[Rows, Rows]:
    """Rows (n, n_dof) of a beam's moments and shears `at` so far [m] from its line's first end, on
    the sides that `BeamRows.sides` tells."""
    beam = next(b for b in model.beams if plain_name(b.line) == name)
    edges = model.line_edges(beam.line)
    ends = _distances(model.mesh.xy[edges], np.array([-1.0, 1.0])).reshape(-1, 2)
    in_holds, beside = dict(_end_holds(model, beam)), _beside_holds(model, beam)
    moments, shears = [], []
    for place in at:
        edge = int(np.clip(np.searchsorted(ends[:, 1], place - 1e-9), 0, len(edges) - 1))
        low, high = ends[edge]
        sample = np.clip(2.0 * (place - low) / (high - low) - 1.0, -1.0, 1.0)
        moment, web, tie = _edge_rows(model, beam, np.array([edge]), np.array([sample]))
        beyond = 0 if place < low - 0.5 * SIDE else -1 if place > high + 0.5 * SIDE else None
        shear = in_holds.get(beyond) if beyond is not None else None
        if shear is None:
            shear = web + tie
            for end, there in ((0, low), (-1, high)):
                if abs(place - there) < 2.0 * SIDE and (edge, end) in beside:
                    shear = shear + beside[edge, end]
        moments.append(moment)
        shears.append(shear)
    return _stacked(model, moments), _stacked(model, shears)


def beam_strain_row(model: PlateModel, name: str, xy: Floats, lever: float) -> Rows:
    """Row (1, n_dof) of the strain of a beam's fibre [-] at the point of its line nearest to xy
    (2,), tension positive: that of its centroid, if it is joined to the slab's membrane, and of its
    curvature; lever : below the centroid positive [m]."""
    beam = next(b for b in model.beams if plain_name(b.line) == name)
    edges = model.line_edges(beam.line)
    start, end = (model.mesh.xy[edges[:, k]] for k in (0, -1))
    step = end - start
    share = np.clip(np.sum((xy - start) * step, axis=1) / np.sum(step**2, axis=1), 0.0, 1.0)
    edge = int(np.argmin(np.linalg.norm(start + share[:, None] * step - xy, axis=1)))
    which, sample = np.array([edge]), np.array([2.0 * share[edge] - 1.0])
    frame = edge_frame(model.mesh.xy[edges[which]], sample)
    bent = -lever * bending_operator(frame, own=beam.section.own_rotation)
    row = _scatter(bent, model.beam_dofs(beam)[which], model.n_dof)
    if beam.connection == 0.0:
        return row
    strain = axial_operator if np.isinf(beam.connection) else stretch_operator
    joint = model.joint(beam)
    if joint.arms is not None:
        joint = replace(joint, arms=joint.arms[which])
    stretched = strain(frame, joint)
    joined = row + _scatter(stretched, model.axial_dofs(beam)[which], model.n_dof)
    return sparse.csr_array(joined)


def _index(model: PlateModel, beam: BeamLine) -> Ints:
    """Each sample's place among the Gauss-Lobatto points of a beam's edges: all of them, then the
    end next to each hold that the beam ends in."""
    n = len(model.line_edges(beam.line)) * (model.mesh.order + 1)
    return np.array([*range(n), *(end % n for end, _, _ in _held_ends(model, beam))])


def _edge_rows(
    model: PlateModel, beam: BeamLine, which: Ints, samples: Floats
) -> tuple[Rows, Rows, Rows]:
    """Rows of the moment and of the web's and the tie's shear at samples of the reference interval
    of some of a beam's edges, by number."""
    section, own = beam.section, beam.section.own_rotation
    xy = model.mesh.xy[model.line_edges(beam.line)[which]]
    dofs = model.beam_dofs(beam)[which]
    inner, _ = gauss(model.mesh.order)
    frame, across = edge_frame(xy, inner), lagrange(inner, samples)
    M = -section.EI * bending_operator(edge_frame(xy, samples), own=own)
    tie = model.tie(beam) * (across @ tie_operator(frame, own=own))
    web = np.zeros_like(tie)
    if section.GA is not None:
        web = section.GA * (across @ web_operator(frame))
    found = [_scatter(local, dofs, model.n_dof) for local in (M, web, tie)]
    return found[0], found[1], found[2]


def _beside_holds(model: PlateModel, beam: BeamLine) -> dict[tuple[int, int], Rows]:
    """(edge, its end 0 or -1) -> row (1, n_dof) that the shear of web and tie lacks there, at the
    nodes of holds: what enters at the node without showing in their jump; where the beam goes on
    beyond the hold half of it on either side."""
    edges = model.line_edges(beam.line)
    found = {}
    for hold in beam.holds:
        node, _ = model.crossing(beam.line, hold.on)
        sides = [(int(k), end) for end in (-1, 0) for k in np.flatnonzero(edges[:, end] == node)]
        lacking = _entering(model, beam, node)
        for edge, end in sides:
            sample = np.array([1.0 if end == -1 else -1.0])
            _, web, tie = _edge_rows(model, beam, np.array([edge]), sample)
            lacking = lacking + sample[0] * (web + tie)
        for edge, end in sides:
            sign = -1.0 if end == -1 else 1.0
            found[edge, end] = sparse.csr_array(sign / len(sides) * lacking)
    return found


def _held_ends(model: PlateModel, beam: BeamLine) -> list[tuple[int, Hold, int]]:
    """(end 0 or -1 of the line, its hold, the hold's node) where the beam ends in a hold."""
    edges = model.line_edges(beam.line)
    nodes = [(hold, model.crossing(beam.line, hold.on)[0]) for hold in beam.holds]
    ends = edges[0, 0], edges[-1, -1]
    return [(0 if node == ends[0] else -1, hold, node) for hold, node in nodes if node in ends]


def _end_holds(model: PlateModel, beam: BeamLine) -> list[tuple[int, Rows]]:
    """(end 0 or -1 of the line, row (1, n_dof) of the beam's shear in the hold there)."""
    found = []
    for end, hold, node in _held_ends(model, beam):
        upward = _reaction(model, beam, hold, node)
        found.append((end, upward if end == 0 else sparse.csr_array(-upward)))
    return found


def _reaction(model: PlateModel, beam: BeamLine, hold: Hold, node: int) -> Rows:
    """Row (1, n_dof) of the upward reaction of a hold; of a rigid one without what is put on its
    node itself."""
    name = hold_name(beam.line, hold.on)
    if hold.stub == 0.0 and np.isinf(hold.k):
        names = model.held[2][node]
        return sparse.csr_array(_upward(model, node, model.elastic) / len(names))
    spring = next(s for s in model.springs if s.name == name)
    return _scatter(spring.reaction[:, None, :], spring.piece.dofs, model.n_dof)


def _entering(model: PlateModel, beam: BeamLine, node: int) -> Rows:
    """Row (1, n_dof) of the upward force that enters a beam, and the slab with it, at a node."""
    return _upward(model, node, [model.elastic[0], model.elastic[1 + model.beams.index(beam)]])


def _upward(model: PlateModel, node: int, groups: Sequence[ElementGroup]) -> Rows:
    """Row (1, n_dof) of the upward force that a node puts into the elements of some groups."""
    total = np.zeros(model.n_dof)
    for group in groups:
        element, local = np.nonzero(group.dofs == N_FIELDS * node)
        np.add.at(total, group.dofs[element], -group.matrices[element, local])
    return sparse.csr_array(total[None])


def _distances(xy: Floats, samples: Floats) -> Floats:
    """Arc length from the first end at the samples of each edge (n_edge * n_sample,) [m]."""
    x, weights = gauss(xy.shape[1])
    lengths = np.sum(edge_frame(xy, x).speed * weights, axis=1)
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    return np.asarray((starts[:, None] + 0.5 * (samples + 1.0) * lengths[:, None]).ravel())


def _stacked(model: PlateModel, rows: Sequence[Rows]) -> Rows:
    empty = sparse.csr_array((0, model.n_dof))
    return sparse.csr_array(sparse.vstack([*rows, empty], format="csr"))


def _scatter(local: Floats, dofs: Ints, n_dof: int) -> Rows:
    n_edge, n_sample, _n_local = local.shape
    rows = np.arange(n_edge * n_sample).reshape(n_edge, n_sample, 1)
    index = np.broadcast_arrays(rows, dofs[:, None, :])
    values = (local.ravel(), (index[0].ravel(), index[1].ravel()))
    return sparse.coo_array(values, shape=(n_edge * n_sample, n_dof)).tocsr()

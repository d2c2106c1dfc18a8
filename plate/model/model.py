"""A plate with its section, supports and beams, ready to be assembled."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.elements.beam import beam_matrices, edge_frame, stub_matrix
from plate.elements.group import ElementGroup
from plate.elements.membrane import (
    Joint,
    connected_matrices,
    face_arms,
    membrane_dofs,
    membrane_matrices,
)
from plate.elements.plate import cell_dofs, stiffness_matrices
from plate.elements.section import Section
from plate.errors import SupportError
from plate.interpolation import gauss, lobatto
from plate.loads.loads import patch_loads
from plate.meshing.mesh import Mesh
from plate.model.continuation import continued_cells
from plate.model.supports import BeamLine, Hold, LineSupport, PointSupport


@dataclass(frozen=True)
class Spring:
    """A support that yields: it carries `reaction . u` upward when the dofs are u.

    name : of the line or point; piece : its stiffness; reaction : (n_element, n_dof).
    """

    name: str
    piece: ElementGroup
    reaction: Floats


@dataclass(frozen=True, kw_only=True)
class PlateModel:
    """mesh, section, supports, beams and points as given; what follows from them as properties.

    softened : (n_cell, 2) factors on the section's D_x and D_y in every cell, None = 1.
    creases : (n, 2) end nodes of edges along which loads end or act, so that shears have a kink
        or a step there.
    """

    mesh: Mesh
    section: Section
    supports: tuple[LineSupport, ...] = ()
    beams: tuple[BeamLine, ...] = ()
    points: tuple[PointSupport, ...] = ()
    softened: Floats | None = None
    creases: Ints = field(default_factory=lambda: np.zeros((0, 2), dtype=np.int64))

    @cached_property
    def divided(self) -> NDArray[np.bool_]:
        """Which edges (n_edge,) of the mesh supports, beams or steps of thickness divide, so that
        results have a value on each side."""
        mesh = self.mesh
        ends, owner = mesh.edges
        found = np.zeros(len(ends), dtype=bool)
        for line in [s.line for s in self.supports] + [b.line for b in self.beams]:
            found[mesh.edge_index(mesh.lines[line][:, [0, -1]])] = True
        inner = owner[:, 1, 0] >= 0
        t = self.section.thickness_at(mesh.corners.mean(axis=1))
        before, after = t[owner[inner, 0, 0]], t[owner[inner, 1, 0]]
        found[inner] |= ~np.isclose(before, after, rtol=1e-12)
        return found

    @cached_property
    def continued(self) -> Ints:
        """The cell (n_cell, 4) beyond each side of a cell into which results go on smoothly, -1
        where there is none (`continued_cells`)."""
        apart = self.divided.copy()
        apart[self.mesh.edge_index(self.creases)] = True
        return continued_cells(self.mesh, apart)

    @property
    def n_plate_dof(self) -> int:
        """Degrees of freedom w and slopes, the first of all."""
        return N_FIELDS * self.mesh.n_nodes

    @property
    def n_dof(self) -> int:
        """All degrees of freedom: w and slopes, then u and v, then the beams' own."""
        own = sum(len(dofs) for dofs in self._own.values())
        return self.n_plate_dof + 2 * self.mesh.n_nodes * bool(self.connected) + own

    @property
    def connected(self) -> list[BeamLine]:
        """Beams tied to the membrane of the slab."""
        return [beam for beam in self.beams if beam.connection > 0.0]

    @cached_property
    def _own(self) -> dict[tuple[str, str], dict[int, int]]:
        """(line, kind) -> node -> a beam's own degree of freedom there: its "slip", for a yielding
        connection, and its "rotation" relative to the slab's normal, for a shear area."""
        first = self.n_plate_dof + 2 * self.mesh.n_nodes * bool(self.connected)
        found: dict[tuple[str, str], dict[int, int]] = {}
        for beam in self.beams:
            nodes = np.unique(self.line_edges(beam.line)).tolist()
            for kind, present in (
                ("slip", 0.0 < beam.connection < np.inf),
                ("rotation", beam.section.own_rotation),
            ):
                if present:
                    found[beam.line, kind] = {node: first + k for k, node in enumerate(nodes)}
                    first += len(nodes)
        return found

    def _own_dofs(self, beam: BeamLine, kind: str) -> list[Ints]:
        """A beam's own degrees of freedom (n_edge, p+1) of a kind, edge by edge; [] if none."""
        own = self._own.get((beam.line, kind))
        if own is None:
            return []
        edges = self.line_edges(beam.line).tolist()
        return [np.array([[own[node] for node in edge] for edge in edges])]

    def beam_dofs(self, beam: BeamLine) -> Ints:
        """Degrees of freedom (n_edge, n) of a beam's bending, shear and torsion, edge by edge."""
        plate = cell_dofs(self.line_edges(beam.line))
        return np.concatenate([plate, *self._own_dofs(beam, "rotation")], axis=1)

    def axial_dofs(self, beam: BeamLine) -> Ints:
        """Degrees of freedom (n_edge, n) of a connected beam's axial action, edge by edge."""
        edges = self.line_edges(beam.line)
        parts = [cell_dofs(edges), membrane_dofs(self.mesh.n_nodes, edges)]
        own = [dofs for kind in ("rotation", "slip") for dofs in self._own_dofs(beam, kind)]
        return np.concatenate([*parts, *own], axis=1)

    def joint(self, beam: BeamLine) -> Joint:
        """How a connected beam is joined to the membrane."""
        if not beam.section.own_rotation:
            return Joint(beam.eccentricity)
        middles = self.mesh.plan[self.line_edges(beam.line)].mean(axis=1)
        return Joint(
            beam.eccentricity, face_arms(beam.eccentricity, self.section.thickness_at(middles))
        )

    @property
    def held_rotations(self) -> Ints:
        """Relative rotations of beams at nodes of clamped lines, where they are zero: the slab's
        slopes are held there, and the beam's rotation with them."""
        clamped = [self.line_edges(s.line).ravel() for s in self.supports if s.kind == "clamped"]
        nodes = set(np.concatenate([np.zeros(0, dtype=np.int64), *clamped]).tolist())
        return np.array(
            [
                dof
                for (_, kind), own in self._own.items()
                for node, dof in own.items()
                if kind == "rotation" and node in nodes
            ],
            dtype=np.int64,
        )

    @cached_property
    def membrane(self) -> list[ElementGroup]:
        """The slab's membrane and the axial action of connected beams; empty without them."""
        if not self.connected:
            return []
        mesh = self.mesh
        dofs = membrane_dofs(mesh.n_nodes, mesh.cells)
        matrices = membrane_matrices(mesh, self.section)
        groups = [ElementGroup(dofs, matrices, np.arange(mesh.n_cells))]
        for beam in self.connected:
            edges = self.line_edges(beam.line)
            axial = connected_matrices(
                mesh.xy[edges], beam.section.EA, self.joint(beam), beam.connection
            )
            groups.append(ElementGroup(self.axial_dofs(beam), axial, self.edge_cells(edges)))
        return groups

    @cached_property
    def elastic(self) -> list[ElementGroup]:
        """Slab cells first, then beams: what deforms between the supports."""
        mesh = self.mesh
        cells = np.arange(mesh.n_cells)
        matrices = stiffness_matrices(mesh, self.section, softened=self.softened)
        groups = [ElementGroup(cell_dofs(mesh.cells), matrices, cells)]
        for beam in self.beams:
            edges = self.line_edges(beam.line)
            matrices = beam_matrices(mesh.xy[edges], beam.section, self.tie(beam))
            groups.append(ElementGroup(self.beam_dofs(beam), matrices, self.edge_cells(edges)))
        return groups

    @cached_property
    def springs(self) -> list[Spring]:
        """Line springs, yielding or overhanging holds of beams, yielding point supports."""
        found = [self._line_spring(s) for s in self.supports if s.kind == "spring"]
        for beam in self.beams:
            for hold in beam.holds:
                if hold.stub > 0.0 or np.isfinite(hold.k) or hold.k_rot > 0.0:
                    found.append(self._hold_spring(beam, hold))
        for point in self.points:
            found.append(self._point_spring(point))
        return found

    @cached_property
    def held(self) -> tuple[NDArray[np.bool_], dict[int, list[Floats]], dict[int, list[str]]]:
        """Rigid constraints: which nodes have w = 0 (n_node,), directions along which the slope
        of a node is zero, and the names of the supports that hold each node's w."""
        w = np.zeros(self.mesh.n_nodes, dtype=bool)
        slopes: dict[int, list[Floats]] = {}
        names: dict[int, list[str]] = {}
        for support in self.supports:
            if support.kind == "spring":
                continue
            edges = self.line_edges(support.line)
            w[edges] = True
            for node in np.unique(edges).tolist():
                names.setdefault(node, []).append(plain_name(support.line))
            if support.kind == "clamped":
                for node in np.unique(edges).tolist():
                    slopes.setdefault(node, []).extend(np.eye(2))
            elif support.hard or self.section.thin:
                for node, tangent in self._node_tangents(edges):
                    slopes.setdefault(node, []).append(tangent)
        for beam in self.beams:
            for hold in beam.holds:
                if hold.stub == 0.0 and np.isinf(hold.k):
                    node = self.crossing(beam.line, hold.on)[0]
                    w[node] = True
                    names.setdefault(node, []).append(hold_name(beam.line, hold.on))
        return w, slopes, names

    def line_edges(self, line: str) -> Ints:
        """Edges (n, p+1) of a line of the mesh; SupportError for an unknown line."""
        if line not in self.mesh.lines:
            raise SupportError(f"line {line} is not in the mesh")
        return self.mesh.lines[line]

    def line_length(self, line: str) -> float:
        """Cartesian length [m]."""
        x, weights = gauss(self.mesh.order + 1)
        frame = edge_frame(self.mesh.xy[self.line_edges(line)], x)
        return float(np.sum(frame.speed * weights))

    def tie(self, beam: BeamLine) -> float:
        """Rigidity [N] of the tie between a beam's w,s and the slab's normal."""
        return beam.section.tie(self.line_length(beam.line), thin=self.section.thin)

    def edge_cells(self, edges: Ints) -> Ints:
        """One cell (n,) on each edge (n, p+1)."""
        _, owner = self.mesh.edges
        return np.asarray(owner[self.mesh.edge_index(edges[:, [0, -1]]), 0, 0])

    def crossing(self, line: str, other: str) -> tuple[int, Floats]:
        """The node at which a line crosses or meets another, and the line's direction (2,) there,
        pointing off the line if the node is its end.

        Raises SupportError if they do not meet.
        """
        edges = self.line_edges(line)
        full = self.mesh.lines.get(f"{other}:full", self.mesh.lines.get(other))
        if full is None:
            raise SupportError(f"line {other} is not in the mesh")
        common = np.intersect1d(edges, full)
        if len(common) == 0:
            raise SupportError(f"line {line} does not meet line {other}")
        node = int(common[0])
        here = edges[np.any(edges == node, axis=1)]
        tangent = dict(self._node_tangents(here))[node]
        direction = -tangent if node == edges[0, 0] else tangent
        return node, direction

    def _node_tangents(self, edges: Ints) -> list[tuple[int, Floats]]:
        """Unit tangents at the nodes of a line; the mean of the edges that meet at a node."""
        frame = edge_frame(self.mesh.xy[edges], lobatto(self.mesh.order + 1))
        total: dict[int, Floats] = {}
        for nodes, tangents in zip(edges.tolist(), frame.tangent, strict=True):
            for node, tangent in zip(nodes, tangents, strict=True):
                total[node] = total.get(node, np.zeros(2)) + tangent
        return [(node, t / np.linalg.norm(t)) for node, t in total.items()]

    def _line_spring(self, support: LineSupport) -> Spring:
        edges = self.line_edges(support.line)
        x, weights = gauss(self.mesh.order + 1)
        frame = edge_frame(self.mesh.xy[edges], x)
        scale = weights * frame.speed
        N = frame.N
        n = edges.shape[1]
        K = np.zeros((len(edges), n, N_FIELDS, n, N_FIELDS))
        mass = np.einsum("eq,qi,qj->eij", scale, N, N)
        K[:, :, 0, :, 0] = support.k * mass
        normal = np.stack([-frame.tangent[..., 1], frame.tangent[..., 0]], axis=-1)
        K[:, :, 1:, :, 1:] = support.k_rot * np.einsum(
            "eq,qi,eqa,qj,eqb->eiajb", scale, N, normal, N, normal, optimize=True
        )
        reaction = np.zeros((len(edges), n, N_FIELDS))
        reaction[..., 0] = support.k * np.einsum("eq,qi->ei", scale, N)
        size = n * N_FIELDS
        piece = ElementGroup(cell_dofs(edges), K.reshape(-1, size, size), self.edge_cells(edges))
        return Spring(plain_name(support.line), piece, reaction.reshape(-1, size))

    def _hold_spring(self, beam: BeamLine, hold: Hold) -> Spring:
        node, direction = self.crossing(beam.line, hold.on)
        edges = self.line_edges(beam.line)
        if hold.stub > 0.0 and node not in (edges[0, 0], edges[-1, -1]):
            raise SupportError(f"beam {beam.line} has a stub at {hold.on}, which is not its end")
        if hold.stub == 0.0 and np.isinf(hold.k):
            K, reaction = np.diag([0.0, hold.k_rot]), np.zeros(2)
        else:
            K, reaction = stub_matrix(beam.section, hold.stub, hold.k, hold.k_rot)
        T = np.array([[1.0, 0.0, 0.0], [0.0, *direction]])
        dofs = cell_dofs(np.array([[node]]))
        if beam.section.own_rotation:
            away = -1.0 if node == edges[0, 0] else 1.0
            T = np.column_stack([T, [0.0, away]])
            dofs = np.column_stack([dofs, self._own[beam.line, "rotation"][node]])
        cell = self.edge_cells(edges[np.any(edges == node, axis=1)][:1])
        piece = ElementGroup(dofs, (T.T @ K @ T)[None], cell)
        return Spring(hold_name(beam.line, hold.on), piece, (reaction @ T)[None])

    def point_mean(self, point: PointSupport) -> Floats:
        """(n_plate_dof,) functional: the mean deflection over the point support's square."""
        polygon = self.mesh.alignment.rectangles(point.at, point.size)
        load = patch_loads(self.mesh, polygon[None], np.ones(1), np.zeros(1, dtype=np.int64), 1)
        mean = np.asarray(load.toarray()[:, 0])
        if mean.sum() <= 0.0:
            raise SupportError(f"point support {point.name} lies off the slab")
        return np.asarray(mean / mean.sum())

    def _point_spring(self, point: PointSupport) -> Spring:
        """A spring, or for a rigid point the stiffening that its exact constraint starts from."""
        mean = self.point_mean(point)
        dofs = cell_dofs(np.unique(np.flatnonzero(mean) // N_FIELDS)[None])[0]
        span = float(np.ptp(self.mesh.xy, axis=0).min())
        k = point.k if np.isfinite(point.k) else 100.0 * max(self.section.rigidities) / span**2
        cell = int(np.flatnonzero(np.isin(cell_dofs(self.mesh.cells), dofs).any(axis=1))[0])
        matrix = k * np.outer(mean[dofs], mean[dofs])
        piece = ElementGroup(dofs[None], matrix[None], np.array([cell]))
        return Spring(point.name, piece, k * mean[dofs][None])


def hold_name(beam: str, on: str) -> str:
    """Name of a beam's hold, e.g. C2@L1."""
    return f"{plain_name(beam)}@{on}"


def plain_name(line: str) -> str:
    """A line's name without the mark of its full extent."""
    return line.removesuffix(":full")

"""The stiffness of a model, factorised once; solutions and reactions for many loads."""

from collections.abc import Iterator
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.elements.group import ElementGroup
from plate.elements.membrane import isostatic
from plate.meshing.mesh import Mesh
from plate.model.mechanism import check_mechanism
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace, singular_places
from plate.solver.bisection import bisection
from plate.solver.nested_dissection import Factorisation, Loads
from plate.solver.parts import PART_CELLS
from plate.solver.solution import Solution, WholeSolution
from plate.threads import one_blas_thread

# Loads solved together. Fixed, so that results do not depend on the machine.
BLOCK = 192

# Supported lines that meet at a smaller angle than this [rad] are one smooth line: the sides of
# cells that follow an arc leave its tangent by less, and a true corner there would be clamped.
SMOOTH = 0.05


class Stiffness:
    """Factorised stiffness of a plate model.

    Raises
    ------
    MechanismError
        The deck can move as a rigid body.
    SolutionError
        The matrix is not positive definite.
    """

    @one_blas_thread
    def __init__(self, model: PlateModel) -> None:
        check_mechanism(model)
        self.model = model
        springs = [spring.piece for spring in model.springs]
        self.pieces: list[ElementGroup] = [*model.elastic, *springs, *model.membrane]
        w, slopes, _ = model.held
        free = np.ones(model.n_dof, dtype=bool)
        plate = free[: model.n_plate_dof].reshape(-1, N_FIELDS)
        plate[w, 0] = False
        free[model.held_rotations] = False
        self.turned = _constrain_slopes(slopes, plate)
        if model.membrane:
            free[isostatic(model.mesh)] = False
        pieces = [self._turn(piece) for piece in self.pieces]
        self.factor = Factorisation(pieces, centroids(model.mesh), model.n_dof, free)
        # Rigid point supports: the mean deflections are held exactly by multipliers.
        rigid = [p for p in model.points if np.isinf(p.k)]
        self.rigid_points = [p.name for p in rigid]
        self.means = np.zeros((model.n_dof, len(rigid)))
        for k, point in enumerate(rigid):
            self.means[: model.n_plate_dof, k] = model.point_mean(point)
        self.point_response = self._solve_free(self.means)

    @cached_property
    def singular_places(self) -> tuple[SingularPlace, ...]:
        """Places where the model's moments are infinite."""
        return singular_places(self.model)

    @one_blas_thread
    def solve(self, F: Loads, *, refine: bool = False) -> Floats:
        """Displacements (n_dof, n_load) [m, -] under loads (n_plate_dof or n_dof, n_load) [N],
        dense or sparse.

        refine : one step of iterative refinement with element-wise residuals, which recovers the
            digits lost to stiff shear layers and beams.
        """
        F = self._with_membrane(F)
        U, multipliers = self._solve_points(F)
        if refine:
            F = F.toarray() if isinstance(F, sparse.csc_array) else F
            residual = F - self.force(U) - self.means @ multipliers
            U = U + self._solve_points(residual)[0]
        return U

    @one_blas_thread
    def solution(self, F: sparse.csc_array) -> Solution:
        """The same of sparse loads, part by part of the slab as `cell_parts` has them."""
        if self.turned:
            return WholeSolution(self.solve(F))
        F = sparse.csc_array(self._with_membrane(F))
        if self.rigid_points:
            held = sparse.csc_array(self.means) @ sparse.csc_array(self._multipliers(F))
            F = sparse.csc_array(F - held)
        return self.factor.solution(F)

    def in_blocks(self, F: sparse.csc_array) -> Iterator[tuple[slice, Solution]]:
        """Solutions of sparse loads (n_plate_dof or n_dof, n_load), some loads after the other,
        with the loads that they belong to: memory stays bounded."""
        for start in range(0, F.shape[1], BLOCK):
            part = slice(start, min(start + BLOCK, F.shape[1]))
            yield part, self.solution(sparse.csc_array(F[:, part]))

    def force(self, U: Floats) -> Floats:
        """Nodal forces (n_dof, n_load) that hold the plate and its springs at U, element by
        element, with each element's rigid motion taken out before the product."""
        total = np.zeros_like(U)
        elastic = len(self.model.elastic)
        for k, piece in enumerate(self.pieces):
            local = U[piece.dofs]
            if k < elastic:
                local = deformation(local, self.node_xy(piece))
            np.add.at(total, piece.dofs, piece.matrices @ local)
        return total

    def reactions(self, U: Floats | Solution, F: Loads) -> dict[str, Floats]:
        """Upward reactions (n_load,) [N] per line, hold ("C2@L1") and point.

        From the residuals of the elements on the supports, not from the loads put in; a node on
        two supports is shared equally.
        """
        multipliers = np.zeros((0, F.shape[1]))
        if self.rigid_points:
            multipliers = self._multipliers(self._with_membrane(F))
        held = N_FIELDS * np.flatnonzero(self.model.held[0])
        load = F[held].toarray() if isinstance(F, sparse.csc_array) else F[held]
        down = load - self._held_force(U) - self.means[held] @ multipliers
        found = {name: share @ down[self.held_slot[n]] for name, n, share in self.held_nodes}
        for spring in self.model.springs:
            carried = np.einsum("ei,eic->c", spring.reaction, U[spring.piece.dofs])
            found[spring.name] = found.get(spring.name, 0.0) + carried
        return found | dict(zip(self.rigid_points, multipliers, strict=True))

    @cached_property
    def reaction_influence(self) -> dict[str, Floats]:
        """Upward reactions (n_node,) [N/N] of each line, hold and point under a unit load down at
        each node, as `reactions` gives them: what a load makes by way of the displacements, by
        reciprocity, and what of it stands on the support itself."""
        held = np.flatnonzero(self.model.held[0])
        shares = {}
        rows: dict[str, Floats] = {}
        for name, nodes, share in self.held_nodes:
            shares[name] = np.zeros(len(held))
            np.add.at(shares[name], self.held_slot[nodes], share)
            rows[name] = np.zeros(self.model.n_dof)
            for dofs, slot, K, _ in self._held_rows:
                np.add.at(rows[name], dofs, -shares[name][slot][:, None] * K)
        for spring in self.model.springs:
            row = rows.setdefault(spring.name, np.zeros(self.model.n_dof))
            np.add.at(row, spring.piece.dofs, spring.reaction)
        if not rows and not self.rigid_points:
            return {}
        w = slice(0, self.model.n_plate_dof, N_FIELDS)
        response = self.point_response
        of_points: Floats = np.zeros((len(self.rigid_points), self.model.mesh.n_nodes))
        if self.rigid_points:
            of_points[:] = np.linalg.solve(self.means.T @ response, response[w].T)
        found = {}
        if rows:
            U = self.solve(np.array(list(rows.values())).T)
            found = {name: U[w, k].copy() for k, name in enumerate(rows)}
        for name, own in shares.items():
            found[name][held] += own
            found[name] -= own @ self.means[N_FIELDS * held] @ of_points
        return found | dict(zip(self.rigid_points, of_points, strict=True))

    def matrix(self) -> sparse.csr_array:
        """The assembled stiffness (n_dof, n_dof) before constraints, springs included."""
        rows, columns, values = [], [], []
        for piece in self.pieces:
            n = piece.dofs.shape[1]
            rows.append(np.repeat(piece.dofs, n, axis=1).ravel())
            columns.append(np.tile(piece.dofs, (1, n)).ravel())
            values.append(piece.matrices.ravel())
        index = (np.concatenate(rows), np.concatenate(columns))
        shape = (self.model.n_dof, self.model.n_dof)
        return sparse.coo_array((np.concatenate(values), index), shape=shape).tocsr()

    def _with_membrane(self, F: Loads) -> Loads:
        """Loads on w and slopes with zeros on all other degrees of freedom."""
        missing = self.model.n_dof - F.shape[0]
        if isinstance(F, sparse.csc_array):
            shape = (self.model.n_dof, F.shape[1])
            return sparse.csc_array((F.data, F.indices, F.indptr), shape=shape)
        return np.concatenate([F, np.zeros((missing, F.shape[1]))]) if missing else F

    def _solve_free(self, F: Loads) -> Floats:
        if not self.turned:
            return self.factor.solve(F)
        F = F.toarray() if isinstance(F, sparse.csc_array) else F.copy()
        for node, R in self.turned.items():
            slopes = slice(N_FIELDS * node + 1, N_FIELDS * node + 3)
            F[slopes] = R @ F[slopes]
        U = self.factor.solve(F)
        for node, R in self.turned.items():
            slopes = slice(N_FIELDS * node + 1, N_FIELDS * node + 3)
            U[slopes] = R.T @ U[slopes]
        return U

    def _solve_points(self, F: Loads) -> tuple[Floats, Floats]:
        U = self._solve_free(F)
        if not self.rigid_points:
            return U, np.zeros((0, F.shape[1]))
        multipliers = self._multipliers(F)
        return U - self.point_response @ multipliers, multipliers

    def _multipliers(self, F: Loads) -> Floats:
        """Forces (n_point, n_load) of the rigid points, by reciprocity."""
        response = self.point_response
        return np.asarray(np.linalg.solve(self.means.T @ response, (F.T @ response).T))

    def _turn(self, piece: ElementGroup) -> ElementGroup:
        """The piece in the axes of nodes whose slope is held along an oblique direction."""
        if not self.turned:
            return piece
        slopes = {N_FIELDS * node + 1: R for node, R in self.turned.items()}
        touched = np.isin(piece.dofs, list(slopes)).any(axis=1)
        matrices = piece.matrices.copy()
        for e in np.flatnonzero(touched):
            dofs = piece.dofs[e].tolist()
            T = np.eye(len(dofs))
            for k, dof in enumerate(dofs):
                if dof in slopes:
                    other = dofs.index(dof + 1)
                    T[np.ix_([k, other], [k, other])] = slopes[dof]
            matrices[e] = T @ matrices[e] @ T.T
        return ElementGroup(piece.dofs, matrices, piece.cell)

    def node_xy(self, piece: ElementGroup) -> Floats:
        """Cartesian nodes (n, n_node, 2) of elements, whose w and slopes come first."""
        plate = piece.dofs[:, np.all(piece.dofs < self.model.n_plate_dof, axis=0)]
        return self.model.mesh.xy[plate[:, ::N_FIELDS] // N_FIELDS]

    @cached_property
    def held_nodes(self) -> list[tuple[str, Ints, Floats]]:
        """The nodes of each rigid support and its share of their reactions."""
        names = self.model.held[2]
        groups: dict[str, list[tuple[int, float]]] = {}
        for node, owners in names.items():
            for name in owners:
                groups.setdefault(name, []).append((node, 1.0 / len(owners)))
        return [
            (name, np.array([n for n, _ in pairs]), np.array([s for _, s in pairs]))
            for name, pairs in groups.items()
        ]

    @cached_property
    def held_slot(self) -> Ints:
        slot = np.full(self.model.mesh.n_nodes, -1)
        held = np.flatnonzero(self.model.held[0])
        slot[held] = np.arange(len(held))
        return slot

    @cached_property
    def _held_rows(self) -> list[tuple[Ints, Ints, Floats, Floats | None]]:
        """Per piece, for each held w of an element: its dofs, the slot of that w, the matrix row
        and, where the element is elastic, its nodes."""
        rows = []
        for k, piece in enumerate(self.pieces):
            slots = np.full(self.model.n_dof, -1)
            slots[: self.model.n_plate_dof : N_FIELDS] = self.held_slot
            element, local = np.nonzero(slots[piece.dofs] >= 0)
            slot = slots[piece.dofs[element, local]]
            xy = self.node_xy(piece)[element] if k < len(self.model.elastic) else None
            rows.append((piece.dofs[element], slot, piece.matrices[element, local], xy))
        return rows

    def _held_force(self, U: Floats | Solution) -> Floats:
        total = np.zeros((int(self.model.held[0].sum()), U.shape[1]))
        for dofs, slot, K, xy in self._held_rows:
            local = U[dofs] if xy is None else deformation(U[dofs], xy)
            np.add.at(total, slot, np.einsum("ei,eic->ec", K, local))
        return total


def centroids(mesh: Mesh) -> Floats:
    """The middle (n_cell, 2) of the nodes of each cell."""
    return np.asarray(mesh.xy[mesh.cells].mean(axis=1))


def cell_parts(mesh: Mesh) -> list[Ints]:
    """The cells of each part of a solution."""
    return bisection(centroids(mesh), PART_CELLS).leaves


def deformation(local: Floats, xy: Floats) -> Floats:
    """Element displacements (n, n_dof, n_load) without the rigid motion of their first node.

    xy : Cartesian nodes (n, n_node, 2) [m]. What follows their w and slopes is relative to them.
    """
    n, n_node = xy.shape[:2]
    own = local[:, N_FIELDS * n_node :]
    u = local[:, : N_FIELDS * n_node].reshape(n, n_node, N_FIELDS, local.shape[2]).copy()
    first = u[:, :1].copy()
    arm = (xy - xy[:, :1])[..., None]
    u -= first
    u[:, :, 0] -= arm[:, :, 0] * first[:, :, 1] + arm[:, :, 1] * first[:, :, 2]
    return np.concatenate([u.reshape(n, N_FIELDS * n_node, local.shape[2]), own], axis=1)


def _constrain_slopes(
    slopes: dict[int, list[Floats]], free: NDArray[np.bool_]
) -> dict[int, Floats]:
    """Hold slopes in `free` (n_node, 3) and return the rotations of obliquely held nodes."""
    turned: dict[int, Floats] = {}
    for node, directions in slopes.items():
        d = directions[0]
        if any(abs(d[0] * e[1] - d[1] * e[0]) > SMOOTH for e in directions[1:]):
            free[node, 1:] = False
        elif abs(d[1]) < 1e-14:
            free[node, 1] = False
        elif abs(d[0]) < 1e-14:
            free[node, 2] = False
        else:
            turned[node] = np.array([d, [-d[1], d[0]]])
            free[node, 1] = False
    return turned

"""Moments and shears at some places under a wheel anywhere, and so under a vehicle.

The deck answers its wheels in proportion and sums up: what a wheel of each size makes at a place is
solved for once, as the influence surface of the result there, and read under the wheel on a lattice
of places, cubic between. A vehicle anywhere is a sum over its wheels.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy import sparse

from pipelines.accuracy.wheel_influence import (
    Lattice,
    cubic,
    grid_places,
    patches_at,
    wheel_lattice,
)
from pipelines.bars.demand.edge_layer import MOMENTS, EdgeLayer
from pipelines.bars.demand.sample_forces import force_rows
from pipelines.bars.demand.shear import ShearTracker
from pipelines.model.influence import field_rows, surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.system.machine import processors
from pipelines.traffic.positions import Size, WheelPatches
from plate.arrays import Floats, Ints
from plate.conventions import N_FIELDS
from plate.loads.loads import patch_shares
from plate.solver.stiffness import BLOCK
from plate.threads import one_thread

# Lattice spaces in the smaller side of a patch.
SPACES = 6.0
# Patches integrated together, to bound the memory.
PATCHES = 20_000
# Places that cubics go through.
LEAST = 4
# Of what is read on lattices: half the memory.
SINGLE: Any = np.float32
RowsOf = Callable[[Ints], sparse.csr_array]


@dataclass(frozen=True, eq=False)
class WheelLattice:
    """Where a patch is centred on the lattice, and shares (n_place, n_node) of a unit load on it
    that the nodes take."""

    lattice: Lattice
    shares: sparse.csr_array

    @classmethod
    def of(cls, solved: SolvedDeck, patch: Size, offsets: Floats) -> "WheelLattice":
        """offsets : (n,) of the patch's centre, rising [m]. Where they are fewer than the lattice
        has they take the place of its own, read from those."""
        mesh, course = solved.model.mesh, solved.deck.course
        ends = float(offsets[0]), float(offsets[-1])
        lattice = wheel_lattice(mesh, patch, course, ends, SPACES)
        corners = patches_at(patch, course, lattice.s, lattice.y)
        parts = []
        for start in range(0, len(corners), PATCHES):
            part = corners[start : start + PATCHES]
            nodes, owner, shares = patch_shares(mesh, part)
            index = np.repeat(owner, nodes.shape[1]), nodes.ravel()
            shape = len(part), mesh.n_nodes
            parts.append(sparse.coo_array((shares.ravel(), index), shape=shape).tocsr())
        every = sparse.csr_array(sparse.vstack(parts))
        if LEAST <= len(offsets) < len(lattice.y):
            read = lattice.operator(*grid_places(lattice.s, offsets))
            lattice, every = Lattice(lattice.s, offsets), sparse.csr_array(read @ every)
        return cls(lattice, sparse.csr_array(every, dtype=SINGLE))

    def under(self, ordinates: Floats) -> Floats:
        """Results (n_y, n, n_s) of influence surfaces (n_node, n)."""
        unit = np.asarray(self.shares @ ordinates)
        unit = unit.reshape(len(self.lattice.s), len(self.lattice.y), -1)
        return np.ascontiguousarray(unit.transpose(1, 2, 0))


@dataclass(eq=False)
class UnitFields:
    """Results under unit wheels on the lattices, in the order in which they were asked for.

    lattices : of every size of wheel; count : of results; values : of every size and block of
    results (n_y, n, n_s).
    """

    solved: SolvedDeck
    lattices: dict[Size, WheelLattice]
    count: int = 0
    values: dict[Size, list[Floats]] = field(default_factory=dict)

    def add(self, rows_of: RowsOf, places: Ints, per_place: int) -> None:
        """Solve for more of them, those at places (n,); rows_of : places (k,) -> rows (per_place k,
        n_dof) on the displacements, those of a place together."""
        some = BLOCK // per_place
        parts = [places[k : k + some] for k in range(0, len(places), some)]
        with one_thread, ThreadPoolExecutor(processors()) as pool:
            for made in pool.map(lambda part: self._made(rows_of(part)), parts):
                for patch, values in made.items():
                    self.values.setdefault(patch, []).append(values)
        self.count += per_place * len(places)

    def _made(self, rows: sparse.csr_array) -> dict[Size, Floats]:
        # deflections far from all of the results are put together from few
        found = self.solved.stiffness.solution(sparse.csc_array(rows.T))
        deflections = np.arange(0, self.solved.model.n_plate_dof, N_FIELDS)
        ordinates = found[deflections].astype(SINGLE)
        return {patch: one.under(ordinates) for patch, one in self.lattices.items()}

    def across(self, patch: Size, offsets: Floats) -> Floats:
        """(n_set, n_result, n_s) under a wheel of newtons 1/k at each of k offsets, for sets of
        offsets (n_set, k) [m]."""
        lattice = self.lattices[patch].lattice
        place, weight = cubic(offsets.ravel(), lattice.y)
        n_set, k = offsets.shape
        matrix = np.zeros((n_set, len(lattice.y)), dtype=SINGLE)
        np.add.at(matrix, (np.repeat(np.arange(n_set), k)[:, None], place), weight / k)
        found = np.empty((n_set, self.count, len(lattice.s)), dtype=SINGLE)
        start = 0
        for values in self.values[patch]:
            n = values.shape[1]
            mine = matrix @ values.reshape(len(lattice.y), -1)
            found[:, start : start + n] = mine.reshape(n_set, n, -1)
            start += n
        return found


@dataclass(eq=False)
class ExactFields:
    """Results at places under wheels that are integrated on the mesh, by influence surfaces that
    are solved for as places are asked for.

    rows_of : places (k,) -> rows (per_place k, n_dof) on the displacements, those of a place
    together.
    """

    solved: SolvedDeck
    rows_of: RowsOf
    per_place: int
    ordinates: dict[int, Floats] = field(default_factory=dict)

    def under(self, places: Ints, wheels: WheelPatches, count: int) -> Floats:
        """Results (per_place, k, count) at places (k,) under wheels of `count` load positions."""
        new = np.array([p for p in places.tolist() if p not in self.ordinates], dtype=np.int64)
        if len(new):
            found = surfaces(self.solved.stiffness, self.rows_of(new)).ordinates
            parts = found.reshape(len(new), self.per_place, -1)
            self.ordinates.update(zip(new.tolist(), parts, strict=True))
        nodes, patch, shares = patch_shares(self.solved.model.mesh, wheels.corners)
        used, column = np.unique(nodes, return_inverse=True)
        load = np.zeros((len(used), count))
        position = np.broadcast_to(wheels.position[patch][:, None], nodes.shape)
        np.add.at(
            load, (column.ravel(), position.ravel()), (shares * wheels.load[patch][:, None]).ravel()
        )
        near = np.stack([self.ordinates[p][:, used] for p in places.tolist()], axis=1)
        return np.asarray(near @ load)


def moment_rows(solved: SolvedDeck, layer: EdgeLayer | None) -> RowsOf:
    """m_x, m_y, m_xy at field points for the design of bars, as `moments_of` has them."""
    components = list(range(MOMENTS.start, MOMENTS.stop))

    def rows(points: Ints) -> sparse.csr_array:
        n = len(points)
        found = field_rows(solved, np.repeat(points, 3).tolist(), components * n)
        if layer is None:
            return found
        mine = layer.place[points]
        inside = np.flatnonzero(mine >= 0)
        if not len(inside):
            return found
        mine = mine[inside]
        further = layer.rows[layer.row[mine]]
        own = sum(
            (sparse.diags_array(layer.twist[c, mine]) @ found[3 * inside + c] for c in range(3)),
            sparse.csr_array(further.shape),
        )
        gap = sparse.csr_array(further - own)
        turned = layer.turned[:, mine].T.ravel()
        rows = (3 * inside[:, None] + np.arange(3)).ravel()
        spread = sparse.csr_array(
            (turned, (rows, np.repeat(np.arange(len(inside)), 3))), shape=(3 * n, len(inside))
        )
        return sparse.csr_array(found + spread @ gap)

    return rows


def force_rows_at(solved: SolvedDeck, tracker: ShearTracker, some: Sequence[int]) -> RowsOf:
    """Some of m_x, m_y, m_xy, q_x, q_y, by their numbers, at samples of a tracker's sections."""

    def rows(samples: Ints) -> sparse.csr_array:
        near = sparse.csr_array(tracker.sections.rows[samples])
        found = force_rows(solved.model, solved.recovery.points, near, some)
        order = np.arange(found.shape[0]).reshape(len(some), -1).T.ravel()
        return sparse.csr_array(found[order])

    return rows

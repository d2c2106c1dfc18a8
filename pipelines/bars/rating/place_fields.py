"""Moments and shears at some places under a wheel anywhere, and so under a vehicle.

The deck answers its wheels in proportion and sums up: what a wheel of each size makes at a place is
solved for once, as the influence surface of the result there, and read under the wheel on a lattice
of places, cubic between. A vehicle anywhere is a sum over its wheels.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import sparse

from pipelines.accuracy.wheel_influence import Lattice, patches_at, wheel_lattice
from pipelines.bars.demand.control_sections import FORCES, ShearTracker
from pipelines.bars.demand.edge_layer import MOMENTS, EdgeLayer
from pipelines.bars.demand.sample_forces import force_rows
from pipelines.model.influence import field_rows, surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import LoadPositions, Size, WheelPatches, wheel_pattern
from plate.arrays import Floats, Ints
from plate.loads.loads import patch_shares

# Lattice spaces in the smaller side of a patch.
SPACES = 6.0
# Patches integrated together, to bound the memory.
PATCHES = 20_000
RowsOf = Callable[[Ints], sparse.csr_array]


@dataclass(frozen=True, eq=False)
class WheelLattice:
    """Where a patch is centred on the lattice, and shares (n_place, n_node) of a unit load on it
    that the nodes take."""

    lattice: Lattice
    shares: sparse.csr_array

    @classmethod
    def of(cls, solved: SolvedDeck, patch: Size, reach: tuple[float, float]) -> "WheelLattice":
        """reach : lowest and highest offset of the patch's centre [m]."""
        mesh, course = solved.model.mesh, solved.deck.course
        lattice = wheel_lattice(mesh, patch, course, reach, SPACES)
        corners = patches_at(patch, course, lattice.s, lattice.y)
        parts = []
        for start in range(0, len(corners), PATCHES):
            part = corners[start : start + PATCHES]
            nodes, owner, shares = patch_shares(mesh, part)
            index = np.repeat(owner, nodes.shape[1]), nodes.ravel()
            shape = len(part), mesh.n_nodes
            parts.append(sparse.coo_array((shares.ravel(), index), shape=shape).tocsr())
        return cls(lattice, sparse.csr_array(sparse.vstack(parts)))


@dataclass(frozen=True, eq=False)
class DrivenOver:
    """A vehicle at some load positions: of each size of its wheels the operator (n_position,
    n_place) on what a unit wheel makes on the lattice."""

    operators: tuple[tuple[Size, sparse.csr_array], ...]

    @classmethod
    def of(cls, lattices: dict[Size, WheelLattice], run: LoadPositions) -> "DrivenOver":
        """All load positions of a run."""
        pattern = wheel_pattern(run.vehicle, run.patches)
        ahead = 1.0 if run.direction == "reverse" else -1.0
        n = len(run)
        found = []
        for patch in dict.fromkeys(run.patches):
            lattice = lattices[patch].lattice
            mine = pattern[(pattern[:, 3] == patch[0]) & (pattern[:, 4] == patch[1])]
            s = run.course.along(
                run.stations[:, None], run.offsets[:, None], ahead * mine[None, :, 0]
            )
            y = run.offsets[:, None] - ahead * mine[None, :, 1]
            place, weight = lattice.weights(s.ravel(), y.ravel())
            weight = weight.reshape(n, len(mine), -1) * mine[:, 2][:, None] * run.vehicle.impact
            starts = np.arange(0, place.size + 1, place.size // n)
            shape = n, len(lattice.s) * len(lattice.y)
            values = weight.ravel().astype(np.float32)
            found.append((patch, sparse.csr_array((values, place.ravel(), starts), shape=shape)))
        return cls(tuple(found))

    @classmethod
    def of_runs(
        cls, lattices: dict[Size, WheelLattice], runs: Sequence[LoadPositions]
    ) -> "DrivenOver":
        """All load positions of the runs of one vehicle, one after the other."""
        parts = [cls.of(lattices, run).operators for run in runs]
        return cls(
            tuple(
                (
                    rows[0][0],
                    sparse.csr_array(sparse.vstack([one for _, one in rows], format="csr")),
                )
                for rows in zip(*parts, strict=True)
            )
        )


@dataclass(eq=False)
class PlaceFields:
    """Results at places under unit wheels on the lattices, solved for as places are asked for.

    rows_of : places (k,) -> rows (per_place k, n_dof) on the displacements, those of a place
    together; lattices : of every size of wheel.
    """

    solved: SolvedDeck
    rows_of: RowsOf
    per_place: int
    lattices: dict[Size, WheelLattice]
    known: dict[tuple[int, Size], Floats] = field(default_factory=dict)
    ordinates: dict[int, Floats] = field(default_factory=dict)

    def under(self, driven: DrivenOver, places: Ints) -> Floats:
        """Results (per_place, k, n_position) at places (k,) under some load positions."""
        self._learn(places)
        found = [
            sum(operator @ self.known[place, patch] for patch, operator in driven.operators)
            for place in places.tolist()
        ]
        return np.stack(found, dtype=float).transpose(2, 0, 1)

    def _learn(self, places: Ints) -> None:
        first = next(iter(self.lattices))
        new = np.array([p for p in places.tolist() if (p, first) not in self.known], dtype=int)
        if not len(new):
            return
        found = surfaces(self.solved.stiffness, self.rows_of(new))
        for patch, one in self.lattices.items():
            unit = (one.shares @ found.ordinates.T).astype(np.float32)
            for k, place in enumerate(new.tolist()):
                mine = unit[:, k * self.per_place : (k + 1) * self.per_place]
                self.known[place, patch] = np.ascontiguousarray(mine)

    def exactly(self, places: Ints, wheels: WheelPatches, count: int) -> Floats:
        """Results (per_place, k, count) at places (k,) under wheels of `count` load positions,
        integrated on the mesh."""
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
    count = FORCES.stop - FORCES.start

    def rows(samples: Ints) -> sparse.csr_array:
        found = force_rows(
            solved.model,
            solved.recovery.points,
            sparse.csr_array(tracker.sections.rows[samples]),
        )
        n = len(samples)
        order = np.arange(count * n).reshape(count, n)[list(some)].T.ravel()
        return sparse.csr_array(found[order])

    return rows

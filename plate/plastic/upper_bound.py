"""Upper bound of the collapse multiplier: a deflection with hinges along all edges.

The deflection is cubic in each triangle, by its Bernstein coefficients, and continuous. Triangles
bend plastically and turn against each other along their edges. Work done by the bars is convex in
the curvature and in the turn, so that it is no more than the mean of that at the coefficients of
either, which is what is counted.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csc_array, hstack, identity

from plate.arrays import Floats, Ints
from plate.errors import CollapseError
from plate.plastic.cones import Block, Rows, least
from plate.plastic.discrete import Discrete

# Orders of the ten coefficients of a triangle in each corner: corners, two on each side from its
# start to its end, the middle.
ORDERS = (
    (3, 0, 0),
    (0, 3, 0),
    (0, 0, 3),
    (2, 1, 0),
    (1, 2, 0),
    (0, 2, 1),
    (0, 1, 2),
    (1, 0, 2),
    (2, 0, 1),
    (1, 1, 1),
)
INDEX = {orders: k for k, orders in enumerate(ORDERS)}


def _coefficient(*corners: int) -> int:
    """Of three corners, each counted as often as it is named."""
    return INDEX[corners.count(0), corners.count(1), corners.count(2)]


@dataclass(frozen=True)
class Deflections:
    """What deflections of a slab on triangles are and do, as rows on their coefficients.

    Coefficients are those of points, two of each edge from its lower point, one of each triangle.
    """

    problem: Discrete

    @property
    def count(self) -> int:
        mesh = self.problem.triangles
        return len(mesh.points) + 2 * len(mesh.edges) + len(mesh.cells)

    @cached_property
    def of_edges(self) -> Ints:
        """Coefficients (e, 4) along every edge from its lower point."""
        mesh = self.problem.triangles
        inner = len(mesh.points) + 2 * np.arange(len(mesh.edges))
        return np.stack([mesh.edges[:, 0], inner, inner + 1, mesh.edges[:, 1]], axis=1)

    @cached_property
    def of_cells(self) -> Ints:
        """Coefficients (m, 10) of every triangle in the order of `ORDERS`."""
        mesh = self.problem.triangles
        found = np.empty((len(mesh.cells), 10), dtype=np.int64)
        found[:, :3] = mesh.cells
        for side in range(3):
            own = self.of_edges[mesh.cell_edges[:, side]]
            forward = mesh.forward[:, side]
            found[:, 3 + 2 * side] = np.where(forward, own[:, 1], own[:, 2])
            found[:, 4 + 2 * side] = np.where(forward, own[:, 2], own[:, 1])
        found[:, 9] = len(mesh.points) + 2 * len(mesh.edges) + np.arange(len(mesh.cells))
        return found

    @cached_property
    def free(self) -> Ints:
        """Coefficients that supports leave free."""
        held = np.zeros(self.count, dtype=bool)
        held[: len(self.problem.held_points)] = self.problem.held_points
        held[self.of_edges[self.problem.held]] = True
        return np.flatnonzero(~held)

    @cached_property
    def curvatures(self) -> csc_array:
        """Rows 9 m: curvatures k_xx, k_yy, k_xy = -w,xx ... at the corners of each triangle."""
        mesh = self.problem.triangles
        n, g, rows = len(mesh.cells), mesh.gradients, Rows()
        for corner in range(3):
            row = 9 * np.arange(n) + 3 * corner
            for i in range(3):
                for j in range(3):
                    column = self.of_cells[:, _coefficient(corner, i, j)]
                    for k, (a, b) in enumerate(((0, 0), (1, 1), (0, 1))):
                        rows.add(row + k, column, -6.0 * g[:, i, a] * g[:, j, b])
        return rows.matrix(9 * n, self.count)

    @cached_property
    def turns(self) -> csc_array:
        """Rows 3 e: how far both sides of an edge turn against each other, sagging positive, at
        the three coefficients along it; of an edge that cannot turn what its triangles turn
        against it is in `turns_of_sides`."""
        mesh = self.problem.triangles
        rows = Rows()
        for side in range(3):
            edge = mesh.cell_edges[:, side]
            kept = ~self.problem.turnless[edge]
            kept &= ~(mesh.on_rim[edge])
            self._slopes(rows, side, np.where(kept, 3 * edge, -1), mesh.forward[:, side])
        return rows.matrix(3 * len(mesh.edges), self.count)

    @cached_property
    def turns_of_sides(self) -> csc_array:
        """Rows 9 m: the same of each side whose edge cannot turn."""
        mesh = self.problem.triangles
        rows = Rows()
        for side in range(3):
            kept = self.problem.turnless[mesh.cell_edges[:, side]]
            row = np.where(kept, 9 * np.arange(len(mesh.cells)) + 3 * side, -1)
            self._slopes(rows, side, row, np.ones(len(row), dtype=bool))
        return rows.matrix(9 * len(mesh.cells), self.count)

    def _slopes(self, rows: Rows, side: int, row: Ints, forward: Floats | np.ndarray) -> None:
        mesh = self.problem.triangles
        a, b = side, (side + 1) % 3
        for k, (p, q) in enumerate(((a, a), (a, b), (b, b))):
            place = np.where(row >= 0, row + np.where(forward, k, 2 - k), -1)
            for i in range(3):
                slope = 3.0 * np.sum(mesh.outward[:, side] * mesh.gradients[:, i], axis=1)
                rows.add(place, self.of_cells[:, _coefficient(p, q, i)], slope)

    def work(self, pressures: Floats, lines: Floats) -> Floats:
        """Work (count,) of pressures (m,) and of line loads (e,) per coefficient."""
        mesh = self.problem.triangles
        found = np.zeros(self.count)
        np.add.at(found, self.of_cells, (pressures * mesh.areas / 10.0)[:, None])
        np.add.at(found, self.of_edges, (lines * mesh.lengths / 4.0)[:, None])
        return found

    @cached_property
    def hinges(self) -> tuple[csc_array, Floats, Floats]:
        """Every turn that costs work, as rows, with what it costs sagging and hogging: of edges,
        of sides, then of beams."""
        mesh = self.problem.triangles
        sagging, hogging = self.problem.edge_tensors
        inner = np.repeat(~self.problem.turnless & ~mesh.on_rim, 3)
        of_side = np.repeat(self.problem.turnless[mesh.cell_edges], 3, axis=1).ravel()
        parts = [self.turns[inner], self.turns_of_sides[of_side]]
        costs = []
        for values, tensors in (
            (sagging, self.problem.positive),
            (hogging, self.problem.negative),
        ):
            own = np.einsum("mki,mij,mkj->mk", mesh.outward, tensors, mesh.outward)
            own = own * mesh.lengths[mesh.cell_edges] / 3.0
            edges = np.repeat(values * mesh.lengths / 3.0, 3)[inner]
            costs.append([edges, np.repeat(own, 3, axis=1).ravel()[of_side]])
        beams, shares, up, down = self.beam_turns
        parts.append(beams)
        costs[0].append(shares * up)
        costs[1].append(shares * down)
        stacked = csc_array(hstack([part.T for part in parts]).T)
        return stacked, np.concatenate(costs[0]), np.concatenate(costs[1])

    @cached_property
    def beam_turns(self) -> tuple[csc_array, Floats, Floats, Floats]:
        """Rows of what beams turn: for every run two curvatures of each edge, then at each of its
        points. With the length over which each counts, and the plastic moments."""
        mesh, rows = self.problem.triangles, Rows()
        shares: list[Floats] = []
        limits: list[tuple[float, float, int]] = []
        count = 0
        for run in self.problem.beams:
            k = len(run.edges)
            own, length = self.of_edges[run.edges], mesh.lengths[run.edges]
            forward = mesh.edges[run.edges, 0] == run.points[:-1]
            own = np.where(forward[:, None], own, own[:, ::-1])
            for end in range(2):
                row = count + 2 * np.arange(k) + end
                for j, value in enumerate((1.0, -2.0, 1.0)):
                    rows.add(row, own[:, end + j], -6.0 * value / length**2)
            shares.append(np.repeat(0.5 * length, 2))
            count += 2 * k
            # Slope before less slope after each point.
            counts = np.ones(k + 1, dtype=bool)
            counts[[0, -1]] = run.built_in
            row = np.where(counts, count + np.cumsum(counts) - 1, -1)
            for j, value in ((3, 3.0), (2, -3.0)):
                rows.add(row[1:], own[:, j], value / length)
            for j, value in ((0, 3.0), (1, -3.0)):
                rows.add(row[:-1], own[:, j], value / length)
            shares.append(np.ones(int(counts.sum())))
            count += int(counts.sum())
            limits.append((run.sagging, run.hogging, 2 * k + int(counts.sum())))
        if not count:
            none = np.empty(0)
            return csc_array((0, self.count)), none, none, none
        up = np.repeat([one[0] for one in limits], [one[2] for one in limits])
        down = np.repeat([one[1] for one in limits], [one[2] for one in limits])
        return rows.matrix(count, self.count), np.concatenate(shares), up, down


@dataclass(frozen=True)
class Mechanism:
    """multiplier : certified. deflections : coefficients in the order of `Deflections`, of work
    one of the load that is multiplied. bending : work (m,) in triangles, before what edges and
    beams add."""

    multiplier: float
    deflections: Floats
    bending: Floats


def upper_bound(problem: Discrete) -> Mechanism:
    """The least multiplier found with a mechanism, certified by the work that it takes.

    Raises
    ------
    CollapseError
        A mechanism on which the load does no work.
    """
    forms = Deflections(problem)
    free = forms.free
    live = forms.work(problem.live, problem.live_lines)
    dead = forms.work(problem.dead, problem.dead_lines)
    curvatures = csc_array(forms.curvatures[:, free])
    hinges, sagging, hogging = forms.hinges
    hinges = csc_array(hinges[:, free])
    n_free, n_bend, n_turn = len(free), curvatures.shape[0], hinges.shape[0]
    weights = np.repeat(problem.triangles.areas / 3.0, 3)
    plus, minus = (
        (np.repeat(_doubled(tensors), 3, axis=0) * weights[:, None]).ravel()
        for tensors in (problem.positive, problem.negative)
    )
    cost = np.concatenate(
        [-dead[free] + curvatures.T @ plus + hinges.T @ sagging, plus + minus, sagging + hogging]
    )
    cone = _cone(n_bend // 3)
    none_bend, none_turn = csc_array((n_bend, n_turn)), csc_array((n_turn, n_bend))
    blocks = [
        Block(
            "zero",
            csc_array(np.concatenate([live[free], np.zeros(n_bend + n_turn)])[None]),
            np.ones(1),
        ),
        Block(
            "sign",
            csc_array(hstack([csc_array((n_turn, n_free)), none_turn, -identity(n_turn)])),
            np.zeros(n_turn),
        ),
        Block(
            "sign",
            csc_array(hstack([-hinges, none_turn, -identity(n_turn)])),
            np.zeros(n_turn),
        ),
        Block(
            "cone",
            csc_array(hstack([csc_array((n_bend, n_free)), -cone, none_bend])),
            np.zeros(n_bend),
        ),
        Block(
            "cone",
            csc_array(hstack([-cone @ curvatures, -cone, none_bend])),
            np.zeros(n_bend),
        ),
    ]
    w = np.zeros(forms.count)
    w[free] = least(cost, blocks)[:n_free]
    work = float(live @ w)
    if not work > 1e-6:
        raise CollapseError("the upper bound is not certified: its load does no work")
    w /= work
    bent = bending_work(problem, (forms.curvatures @ w).reshape(-1, 3, 3))
    turned = forms.hinges[0] @ w
    turning = np.where(turned > 0.0, sagging * turned, -hogging * turned)
    return Mechanism(float(bent.sum() + turning.sum() - dead @ w), w, bent)


def bending_work(problem: Discrete, curvatures: Floats) -> Floats:
    """Work (m,) of the bars under curvatures (m, 3, 3) at the corners of triangles: k_xx, k_yy,
    k_xy. The largest of m k within the yield condition, in closed form."""
    kappa = np.stack([curvatures[..., [0, 2]], curvatures[..., [2, 1]]], axis=-2)
    values, vectors = np.linalg.eigh(problem.positive + problem.negative)
    root = np.einsum("mik,mk,mjk->mij", vectors, np.sqrt(values), vectors)
    turned = np.einsum("mij,mcjk,mkl->mcil", root, kappa, root)
    positive = np.clip(np.linalg.eigvalsh(turned), 0.0, None).sum(axis=-1)
    work = positive - np.einsum("mij,mcij->mc", problem.negative, kappa)
    return np.asarray(problem.triangles.areas / 3.0 * work.sum(axis=1))


def _doubled(tensors: Floats) -> Floats:
    """Weights (m, 3) of xx, yy, xy in a double product with a symmetric tensor."""
    return np.stack([tensors[:, 0, 0], tensors[:, 1, 1], 2.0 * tensors[:, 0, 1]], axis=1)


def _cone(count: int) -> csc_array:
    """Rows 3 count that bring xx, yy, xy into the cone of tensors without negative eigenvalues."""
    first = 3 * np.arange(count)
    rows = Rows()
    for offset, column, value in ((0, 0, 1.0), (0, 1, 1.0), (1, 0, 1.0), (1, 1, -1.0), (2, 2, 2.0)):
        rows.add(first + offset, first + column, np.array(value))
    return rows.matrix(3 * count, 3 * count)

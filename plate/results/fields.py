"""Fields of results from displacements: w, moments and shears.

Every result is a linear operator on the displacements of one cell, or a mean of such operators.
Fields are given at a lattice of points in every cell. Where a beam or support line or a step of
thickness divides the slab a point has one value for each side; elsewhere the values of the cells
that meet are averaged, moments and shears as `readings` reads them.
"""

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import sparse

from plate.arrays import Floats, Ints, connected
from plate.conventions import N_FIELDS, RESULTS
from plate.elements.plate import cartesian_gradient, cell_dofs, curvature, shear
from plate.elements.section import moment_rotation
from plate.interpolation import cell_nodes, shape
from plate.meshing.mesh import Mesh, side_nodes
from plate.model.model import PlateModel
from plate.results.readings import Readings, lattice_order
from plate.solver.solution import Combined, Solution, WholeSolution
from plate.solver.stiffness import cell_parts

N_RESULTS = len(RESULTS)
EVERY_KIND = np.arange(N_RESULTS)


def cell_operators(
    model: PlateModel, cells: Ints, points: Floats, kinds: Ints = EVERY_KIND
) -> Floats:
    """Operators (n_cell, n_point, 6, n_dof) to w, m_x, m_y, m_xy, q_x, q_y [m, N m/m, N/m].

    Parameters
    ----------
    cells : (n_cell,).
    points : reference points (n_point, 2), or (n_cell, n_point, 2) in each cell.
    kinds : which of `plate.conventions.RESULTS` are formed; the others are left zero.

    Components are along the local tangent and the growing offset. Under Kirchhoff theory the
    shears are the divergence of the moments.
    """
    mesh = model.mesh
    nodes = mesh.xy[mesh.cells[cells]]
    N = np.broadcast_to(shape(mesh.order, points), (len(cells), points.shape[-2], nodes.shape[1]))
    plan = N @ mesh.plan[mesh.cells[cells]]
    out = np.zeros((*plan.shape[:2], N_RESULTS, N_FIELDS * nodes.shape[1]))
    out[:, :, 0, ::N_FIELDS] = N
    tangent = None if mesh.alignment.straight else mesh.alignment.tangent(plan)
    if np.any((kinds >= 1) & (kinds < 4)):
        moments = _moment_operator(model, cells, inside_cells(mesh, cells, plan), points)
        out[:, :, 1:4] = moments if tangent is None else moment_rotation(tangent) @ moments
    if np.any(kinds >= 4):
        shears = _shear_operator(model, cells, inside_cells(mesh, cells, plan), points)
        if tangent is not None:
            c, s = tangent[..., 0], tangent[..., 1]
            turn = np.stack([np.stack([c, s], axis=-1), np.stack([-s, c], axis=-1)], axis=-2)
            shears = turn @ shears
        out[:, :, 4:] = shears
    return out


def _moment_operator(model: PlateModel, cells: Ints, inside: Floats, points: Floats) -> Floats:
    """(n_cell, n_point, 3, n_dof) Cartesian moments [N m/m]."""
    B, _ = curvature(model.mesh.order, model.mesh.xy[model.mesh.cells[cells]], points)
    softened = None if model.softened is None else model.softened[cells, None]
    return np.asarray(-model.section.bending(inside, model.mesh.alignment, softened) @ B)


def _shear_operator(model: PlateModel, cells: Ints, inside: Floats, points: Floats) -> Floats:
    """(n_cell, n_point, 2, n_dof) Cartesian shears [N/m]."""
    mesh = model.mesh
    nodes = mesh.xy[mesh.cells[cells]]
    if not model.section.thin:
        rigidity = model.section.shear(inside)
        return np.asarray(rigidity[..., None, None] * shear(mesh.order, nodes, points))
    # Moments at the cell's nodes, interpolated and differentiated.
    at_nodes = inside_cells(mesh, cells, mesh.plan[mesh.cells[cells]])
    moments = _moment_operator(model, cells, at_nodes, mesh.node_reference)
    gradient, _ = cartesian_gradient(mesh.order, nodes, points)
    mx, my, mxy = (moments[:, :, k] for k in range(3))
    dx, dy = gradient[..., 0, :], gradient[..., 1, :]
    return np.stack([dx @ mx + dy @ mxy, dx @ mxy + dy @ my], axis=-2)


def inside_cells(mesh: Mesh, cells: Ints, plan: Floats) -> Floats:
    """Plan points drawn slightly into their cells, where the thickness is that cell's own."""
    centre = mesh.corners[cells].mean(axis=1)[:, None]
    return np.asarray(plan + 1e-6 * (centre - plan))


@dataclass(frozen=True)
class FieldPoints:
    """Where fields are given: a lattice of (k+1)^2 points in each cell.

    order : k. The moments of a cell of order p are polynomials of degree p - 1, which a lattice of
        that order holds, with corners, middles of sides and centre at least.
    plan, xy : (n_point, 2) plan and Cartesian coordinates [m].
    cells : (n_cell, (k+1)^2) points of each cell, the second reference direction fastest.
    """

    order: int
    plan: Floats
    xy: Floats
    cells: Ints

    @property
    def n_points(self) -> int:
        return len(self.plan)

    @cached_property
    def reference(self) -> Floats:
        """Reference coordinates ((k+1)^2, 2) of a cell's points."""
        return cell_nodes(self.order)

    @cached_property
    def _by_point(self) -> tuple[Ints, Ints]:
        """Places in `cells` point after point, and where those of each point start, the end of
        all last (n_point + 1,)."""
        flat = self.cells.ravel()
        order = np.argsort(flat, kind="stable")
        return order, np.searchsorted(flat[order], np.arange(self.n_points + 1))

    def meeting(self, points: Ints) -> tuple[Ints, Ints, Ints]:
        """The cells that share each of the points (n,): which of the points, cell, and the point's
        place among the cell's own, (k,) each."""
        order, starts = self._by_point
        count = starts[points + 1] - starts[points]
        which = np.repeat(np.arange(len(points)), count)
        within = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
        cell, local = np.divmod(order[starts[points][which] + within], self.cells.shape[1])
        return which, cell, local

    @cached_property
    def quads(self) -> Ints:
        """The quadrilaterals between the points of every cell (n, 4) as numbers of field points."""
        n = self.order + 1
        local = np.arange(n * n).reshape(n, n)
        corners = [local[:-1, :-1], local[1:, :-1], local[1:, 1:], local[:-1, 1:]]
        return self.cells[:, np.stack([c.ravel() for c in corners], axis=1)].reshape(-1, 4)


def field_points(model: PlateModel) -> FieldPoints:
    """Points of the cells, doubled where supports, beams or steps of thickness divide the slab."""
    mesh = model.mesh
    order = lattice_order(mesh.order)
    n = (order + 1) ** 2
    owner = mesh.edges[1]
    joined = owner[(owner[:, 1, 0] >= 0) & ~model.divided]
    # Points of the two cells along each edge, the second cell's turned to run the same way.
    start = side_nodes(mesh.order)[:, 0]
    sides = side_nodes(order)
    starts = mesh.cells[joined[..., 0], start[joined[..., 1]]]
    along = sides[joined[..., 1]]
    against = starts[:, 0] != starts[:, 1]
    along[against, 1] = along[against, 1, ::-1]
    first, second = (n * joined[:, k, :1] + along[:, k] for k in (0, 1))
    size = n * mesh.n_cells
    cells = connected(size, first.ravel(), second.ravel()).reshape(mesh.n_cells, n)
    plan, xy = (at_points(mesh, order, cells, nodal) for nodal in (mesh.plan, mesh.xy))
    return FieldPoints(order, plan, xy, cells)


def at_points(mesh: Mesh, order: int, cells: Ints, nodal: Floats) -> Floats:
    """Values (n_point, ...) at a lattice of that order in cells (n_cell, (order+1)^2), of a field
    that is one at nodes (n_node, ...)."""
    N = shape(mesh.order, cell_nodes(order))
    found = np.empty((cells.max() + 1, *nodal.shape[1:]))
    found[cells] = np.einsum("qn,cn...->cq...", N, nodal[mesh.cells])
    return found


@dataclass(frozen=True, kw_only=True)
class _Part:
    """The cells of one part of a solution, whose results are formed together, in cache.

    operators : (n_cell, 6 n_value, n_local) to what each cell gives the results at its points; dofs
    : (n,) of these cells, index : (n_cell, n_local) which of them are each cell's.
    points : the field points of these cells; the first `fresh` belong to no other part, the next
        ones to parts before as well, those from `last` on to one that comes later.
    shares : of the points from `fresh` to `last`, each part before, which of those that it left and
        which of these they are.
    sums : (6 n_point, 6 n_cell n_value) of what the cells give, at points.
    """

    operators: Floats
    dofs: Ints
    index: Ints
    sums: sparse.csr_array
    points: Ints
    fresh: int
    last: int
    shares: tuple[tuple[int, Ints, Ints], ...]

    def of_kinds(self, kinds: slice, of: int) -> "_Part":
        """The same for some kinds of results, of so many."""
        n_cell, rows, _ = self.operators.shape
        n_value, n_point = rows // of, len(self.points)
        values = np.arange(n_cell * rows).reshape(n_cell, of, n_value)[:, kinds].ravel()
        points = np.arange(of * n_point).reshape(of, n_point)[kinds].ravel()
        return replace(
            self,
            operators=self.operators.reshape(n_cell, of, n_value, -1)[:, kinds].reshape(
                n_cell, len(values) // n_cell, -1
            ),
            sums=sparse.csr_array(self.sums[points][:, values]),
        )


class PointMeans:
    """Results at field points as shares of results in the cells that meet there."""

    def __init__(self, model: PlateModel, points: FieldPoints) -> None:
        self.model, self.points = model, points
        self._readings = Readings(model)
        self._total = np.empty((N_RESULTS, points.n_points))
        every = np.arange(model.mesh.n_cells)
        self._ways = [(*self._readings.shares(every, way), of) for way, of in self._readings.ways]
        for lattice, _, share, kinds in self._ways:
            at = np.take_along_axis(points.cells, lattice, axis=1).ravel()
            total = np.bincount(at, weights=share.ravel(), minlength=points.n_points)
            self._total[kinds] = total

    def operators(self, cells: Ints) -> Floats:
        """(n_cell, 6 n_value, n_dof) results of cells where they are read, those of one kind
        together."""
        found = np.empty(0)
        for way, kinds in self._readings.ways:
            points = self._readings.points(cells, way)
            read = cell_operators(self.model, cells, points, kinds)
            found = found if found.size else np.empty_like(read.swapaxes(1, 2))
            found[:, kinds] = read.swapaxes(1, 2)[:, kinds]
        return found.reshape(len(cells), -1, found.shape[-1])

    def given(self, cells: Ints) -> Floats:
        """(n_cell, 6 n_value, n_dof) what cells give the results at their points, those of one
        kind together: what is at a point is the sum over the cells that meet there."""
        mine = self.points.cells[cells]
        n_value = mine.shape[1]
        found = self.operators(cells).reshape(len(cells), N_RESULTS, n_value, -1)
        for lattice, read, share, kinds in self._shares(cells):
            of_way = np.zeros((len(cells), n_value, n_value))
            np.add.at(of_way, (np.arange(len(cells))[:, None], lattice, read), share)
            for kind in kinds.tolist():
                found[:, kind] = (of_way / self._total[kind, mine][..., None]) @ found[:, kind]
        return found.reshape(len(cells), N_RESULTS * n_value, -1)

    def _shares(self, cells: Ints) -> Iterator[tuple[Ints, Ints, Floats, Ints]]:
        """`Readings.shares` of cells, way after way, and the results that are read so."""
        for lattice, read, share, kinds in self._ways:
            yield lattice[cells], read[cells], share[cells], kinds


def _sums(places: Ints) -> sparse.csr_array:
    """(6 n_point, 6 n_cell n_value) sums at points of values in cells, whose places among the
    points are given (n_cell, n_value); those of one kind together, in both."""
    n_point = int(places.max()) + 1
    kinds = np.arange(N_RESULTS)[:, None]
    rows = (places[:, None] + n_point * kinds).ravel()
    size = (N_RESULTS * n_point, len(rows))
    index = (rows, np.arange(len(rows)))
    return sparse.coo_array((np.ones(len(rows)), index), shape=size).tocsr()


class FieldRecovery:
    """Fields of results from displacements, in blocks of loads.

    Parameters
    ----------
    model : the plate.
    points : where; default `field_points(model)`.
    """

    def __init__(self, model: PlateModel, points: FieldPoints | None = None) -> None:
        self.points = points or field_points(model)
        mesh = model.mesh
        groups = cell_parts(mesh)
        n_points = self.points.n_points
        means = PointMeans(model, self.points)
        first, last = np.full(n_points, len(groups)), np.full(n_points, -1)
        for k, cells in enumerate(groups):
            mine = self.points.cells[cells]
            first[mine] = np.minimum(first[mine], k)
            last[mine] = k
        dofs = cell_dofs(mesh.cells)
        self._kinds, self._parts = N_RESULTS, list[_Part]()
        for k, cells in enumerate(groups):
            mine = np.unique(self.points.cells[cells])
            # Own points, those that end here, those left to a later part.
            kind = np.where(last[mine] > k, 2, first[mine] < k)
            mine = mine[np.argsort(kind, kind="stable")]
            fresh, end = np.searchsorted(np.sort(kind), [1, 2]).tolist()
            place = np.full(n_points, -1)
            place[mine] = np.arange(len(mine))
            sums = _sums(place[self.points.cells[cells]])
            place[mine[:fresh]] = place[mine[end:]] = -1
            shares = []
            for j, part in enumerate(self._parts):
                at = place[part.points[part.last :]]
                if (mine_too := at >= 0).any():
                    shares.append((j, np.flatnonzero(mine_too), at[mine_too] - fresh))
            own, index = np.unique(dofs[cells], return_inverse=True)
            self._parts.append(
                _Part(
                    operators=means.given(cells),
                    dofs=own,
                    index=index.reshape(dofs[cells].shape),
                    sums=sums,
                    points=mine,
                    fresh=fresh,
                    last=end,
                    shares=tuple(shares),
                )
            )

    def of_kinds(self, kinds: slice) -> "FieldRecovery":
        """The same for some of w, m_x, m_y, m_xy, q_x, q_y alone, which takes less time."""
        own = copy(self)
        own._kinds = len(RESULTS[kinds])
        own._parts = [part.of_kinds(kinds, self._kinds) for part in self._parts]
        return own

    def parts(self, solution: Solution) -> Iterator[tuple[Ints, Combined]]:
        """Field points (n,) and the results (6, n, ...) w, m_x, m_y, m_xy, q_x, q_y there, for some
        points after the other, each point once.

        Few cells at a time, so that what is made of their results finds them in cache.
        """
        left: list[Combined] = []
        for k, part in enumerate(self._parts):
            values, found = self._formed(solution, k)
            if part.fresh:
                yield part.points[: part.fresh], found.of(values[:, : part.fresh])
            left.append(found.of(values[:, part.last :].copy()))
            own = found.of(values[:, part.fresh : part.last])
            shares = [(left[j], there, here) for j, there, here in part.shares]
            for here, shared in _together(own, shares):
                yield part.points[part.fresh : part.last][here], shared

    def at(self, solution: Solution, points: Ints) -> Floats:
        """The same at some field points (k,) alone, each once (6, k, n_load): of parts of the
        solution that have none of them nothing is solved for."""
        place = np.full(self.points.n_points, -1)
        place[points] = np.arange(len(points))
        found = np.zeros((self._kinds, len(points), solution.shape[1]))
        for k, part in enumerate(self._parts):
            wanted = place[part.points] >= 0
            if wanted.any():
                values, of_part = self._formed(solution, k)
                found[:, place[part.points[wanted]]] += of_part.of(values[:, wanted]).of_loads
        return found

    def _formed(self, solution: Solution, k: int) -> tuple[Floats, Combined]:
        """What the cells of part k add to the results at its points (6, n, ...), and of what loads
        that is."""
        part, found = self._parts[k], solution.part(k)
        own = found.values.take(solution.local(k, part.dofs)[part.index], axis=0)
        given = part.operators @ own
        every = part.sums @ given.reshape(-1, given.shape[-1])
        return every.reshape(self._kinds, len(part.points), -1), found

    def fields(self, solution: Solution | Floats) -> Floats:
        """(6, n_point, n_load) w, m_x, m_y, m_xy, q_x, q_y of a solution, or of displacements
        (n_dof, n_load)."""
        if isinstance(solution, np.ndarray):
            solution = WholeSolution(solution)
        found = np.empty((self._kinds, self.points.n_points, solution.shape[1]))
        for points, values in self.parts(solution):
            found[:, points] = values.of_loads
        return found


def _together(
    own: Combined, shares: Sequence[tuple[Combined, Ints, Ints]]
) -> Iterator[tuple[Ints, Combined]]:
    """Sums at points of several parts: which of the points of a part, and their values (6, n, ...).

    own : what the part gives; shares : of each other part what it gives its points, which of them
    these are, and which of the part's own. Points to which every part gives what is put together
    from few are so, too, from the few of all.
    """
    formed = np.full(own.values.shape[1], own.weights is None)
    for one, _, here in shares:
        if one.weights is None:
            formed[here] = True
    points = np.flatnonzero(formed)
    if len(points):
        total = own.of(own.values[:, points]).of_loads
        for one, there, here in shares:
            mine = formed[here]
            at = np.searchsorted(points, here[mine])
            total[:, at] += one.of(one.values[:, there[mine]]).of_loads
        yield points, Combined(total, None)
    points = np.flatnonzero(~formed)
    if len(points):
        values, weights = [own.values[:, points]], [own.weights]
        for one, there, here in shares:
            mine = ~formed[here]
            if mine.any():
                given = np.zeros((len(one.values), len(points), one.values.shape[-1]))
                given[:, np.searchsorted(points, here[mine])] = one.values[:, there[mine]]
                values.append(given)
                weights.append(one.weights)
        together = np.vstack([of_one for of_one in weights if of_one is not None])
        yield points, Combined(np.concatenate(values, axis=-1), together)

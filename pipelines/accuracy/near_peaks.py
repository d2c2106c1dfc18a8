"""What a richer mesh makes of the surroundings of governing values.

A governing value is the largest over the deck, but it is found at one point of a mesh, the one that
governs at the steps of the load positions: between points there may be more, and on a richer mesh
or between the steps another point may govern. So the richer mesh is read in its cells around all
those whose value is near the largest, at its own points and between them, under the loads that
govern there, and once more under those that make most moved along the deck by shares of a step: the
place moves with the load. Shears that are more than what governs are taken with what they are known
to lack beside wheels (`plate.results.kinks`): as they are read they are too large as often as they
are too small.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import KDTree

from pipelines.accuracy.climbed import MOVES, counts, moved_along
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.governing_loads import governing_arrangement_loads
from pipelines.envelopes.peaks import SHEARS, Peak
from pipelines.model.build import usual_size
from pipelines.model.fixed_loads import known_patches, loads_of, values_under
from pipelines.model.readable import Mask, ReadablePoints
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import WheelPatches
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats, Ints, different_rows
from plate.interpolation import lobatto, shape, square
from plate.model.model import PlateModel
from plate.results.fields import FieldPoints, field_points
from plate.results.functionals import component_rows
from plate.results.kinks import knows_kinks, shears_missed
from plate.results.places import at_field_points, on_sides
from plate.solver.solution import LocalRows
from plate.solver.stiffness import Stiffness

# For each governing value: points of the run's mesh looked around, those with the largest values of
# their own and no less than this share of it; loads held there. Of cells wider than usual, which
# tell the less of where it stands, so many times more, and of a share so many times less. Places on
# the richer mesh whose loads are moved.
POINTS, SHARE, LOADS, MOVED = 12, 0.9, 4, 3
# Between two points of a cell values are those of its polynomial at so many steps.
BETWEEN = 4
# A place with a share of one of a cell's points nearer to all of it than this is that point.
AT = 1e-9
# Rows formed together: what they are summed from takes many times their own memory.
ROWS = 512


@dataclass(frozen=True, eq=False)
class Around:
    """The surroundings of a governing value: cells of a mesh (n,), and the points of the run's own,
    with numbers of arrangements, whose loads are held."""

    peak: Peak
    cells: Ints
    held: list[tuple[int, int, int, int]]


@dataclass(frozen=True, eq=False)
class _Between:
    """Places (n,) all over a cell, at the points of its lattice and between them.

    at : (n, 2) in the cell; shares : (n, n_lattice) of the lattice points' values in those of a
    polynomial there; beside : (n, n_lattice) whether a lattice point is next to each; coarse : (n,)
    every other one each way.
    """

    at: Floats
    shares: Floats
    beside: NDArray[np.bool_]
    coarse: NDArray[np.bool_]

    @classmethod
    def of(cls, order: int) -> "_Between":
        """Those of a lattice of (k+1)^2 points."""
        at = np.linspace(0.0, order, BETWEEN * order + 1)
        along = np.interp(at, np.arange(order + 1), lobatto(order + 1))
        hats = np.abs(at[:, None] - np.arange(order + 1)) < 1.0
        there = square(along, along)
        other = np.arange(len(along)) % 2 == 0
        return cls(there, shape(order, there), np.kron(hats, hats), np.kron(other, other))

    def allowed(self, points: Mask) -> Mask:
        """Which places (..., n) are amid lattice points (..., n_lattice) that all are allowed."""
        return np.asarray(~np.any(self.beside & ~points[..., None, :], axis=-1))


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Places in cells of a mesh, around each of some governing values.

    cells : (n_cell,) of the mesh; lattice : (n_cell, n_lattice) their field points; owner :
    (n_cell,) of which governing value; row : (n_cell, n_lattice) which of the rows (n_row, n_dof)
    is its result at each field point; allowed : (n_cell, n_place) where it may govern; peaks : (n,)
    the governing values.
    """

    fields: FieldPoints

    between: _Between
    cells: Ints
    lattice: Ints
    owner: Ints
    row: Ints
    rows: LocalRows
    allowed: Mask
    peaks: tuple[Peak, ...]

    @classmethod
    def of(cls, finely: ReadablePoints, around: Sequence[Around]) -> "Surroundings":
        """Those of governing values."""
        fields = finely.points
        between = _Between.of(fields.order)
        owner = np.repeat(np.arange(len(around)), [len(one.cells) for one in around])
        component = np.array([one.peak.component for one in around])[owner]
        cells = np.concatenate([one.cells for one in around])
        lattice = fields.cells[cells]
        keys = np.column_stack([np.repeat(component, lattice.shape[1]), lattice.ravel()])
        first, row = different_rows(keys)
        rows = [
            component_rows(finely.model, at_field_points(fields, some[:, 1]), some[:, 0])
            for some in np.split(keys[first], range(ROWS, len(first), ROWS))
        ]
        allowed = [
            between.allowed(counts(finely, one.peak)[fields.cells[one.cells]]) for one in around
        ]
        return cls(
            fields=fields,
            between=between,
            cells=cells,
            lattice=lattice,
            owner=owner,
            row=row.reshape(lattice.shape),
            rows=LocalRows(sparse.csr_array(sparse.vstack(rows))),
            allowed=np.concatenate(allowed),
            peaks=tuple(one.peak for one in around),
        )

    def largest(
        self, richer: Stiffness, loads: Sequence[WheelPatches], whose: Ints
    ) -> tuple[Floats, Ints]:
        """Largest values (n_cell, n_place) under the loads of the governing values `whose` they
        are, -inf where they may not govern, and the loads that make them."""
        size = np.full(self.allowed.shape, -np.inf)
        load = np.zeros(self.allowed.shape, dtype=np.int64)
        patches = known_patches(richer, loads)
        for part, solution in richer.in_blocks(loads_of(richer.model, loads)):
            values = self.rows.of(solution)
            for k, column in zip(range(len(loads))[part], values.T, strict=True):
                mine, peak = np.flatnonzero(self.owner == whose[k]), self.peaks[whose[k]]
                there = peak.sign * column[self.row[mine]] @ self.between.shares.T
                least = abs(peak.value) / RESULT_SCALE[peak.component]
                over = np.any(self.allowed[mine] & (there > least), axis=1)
                there[over] += self._missed(richer.model, mine[over], peak, patches[k])
                more = self.allowed[mine] & (there > size[mine])
                size[mine] = np.where(more, there, size[mine])
                load[mine] = np.where(more, k, load[mine])
        return size, load

    def of_cells(
        self, richer: Stiffness, loads: Sequence[WheelPatches], size: Floats, load: Ints
    ) -> Floats:
        """Largest value of each cell (n_cell,), by sizes (n_cell, n_place) and the loads that make
        them: that of its points, or what is read where its polynomial has more than these and than
        what governs.

        The polynomial through the points of a cell that lacks much at its border, as beside the end
        of a line, has what it takes there as an overshoot between its other points.
        """
        mesh, between = richer.model.mesh, self.between
        found: Floats = np.where(between.shares.max(axis=1) > 1.0 - AT, size, -np.inf).max(axis=1)
        value = [abs(one.value) / RESULT_SCALE[one.component] for one in self.peaks]
        over = np.flatnonzero(size.max(axis=1) > np.maximum(found, np.array(value)[self.owner]))
        if not len(over):
            return found
        which, place = np.nonzero(np.isfinite(size[over]) & between.coarse)
        own = over[which]
        nodes = mesh.plan[mesh.cells[self.cells[own]]]
        plan = np.einsum("nk,nkd->nd", shape(mesh.order, between.at[place]), nodes)
        places = on_sides(mesh, self.fields, plan, mesh.corners[self.cells[own]].mean(axis=1))
        components = np.array([one.component for one in self.peaks])[self.owner[own]]
        signs = np.array([one.sign for one in self.peaks])[self.owner[own]]
        best = size[over].argmax(axis=1)
        under = load[over, best][which]
        rows = component_rows(richer.model, places, components)
        read = values_under(richer, loads.__getitem__, rows, under)
        patches = known_patches(richer, loads)
        read += shears_missed(richer.model, places, components, patches, under)
        np.maximum.at(found, own, signs * read)
        return found

    def _missed(
        self, model: PlateModel, cells: Ints, peak: Peak, patches: tuple[Floats, Floats]
    ) -> Floats | float:
        """What shears of some of the cells (n,) lack (n, n_place) beside wheels, with the sign of
        the governing value."""
        if peak.component not in SHEARS or not knows_kinks(model) or not len(cells):
            return 0.0
        points, which = np.unique(self.lattice[cells], return_inverse=True)
        places = at_field_points(self.fields, points)
        count = places.count
        components, under = [peak.component] * count, np.zeros(count, dtype=np.int64)
        found = shears_missed(model, places, components, [patches], under)
        lattice = found[which].reshape(len(cells), -1)
        return np.asarray(peak.sign * lattice @ self.between.shares.T)


def largest_near(
    solved: SolvedDeck, envelope: TrafficEnvelope, peaks: Sequence[Peak], richer: Stiffness
) -> Floats:
    """Largest value (n,) [SI] away from zero that the richer mesh has near the places of each of
    the governing values; -inf for knife edges and what no load makes."""
    found = np.full(len(peaks), -np.inf)
    those = [k for k, one in enumerate(peaks) if not one.knife_edge and one.number >= 0]
    if not those:
        return found
    fields = field_points(richer.model)
    finely = ReadablePoints(solved.deck, richer.model, richer.singular_places, fields)
    tree = KDTree(fields.xy)
    around = [looked_around(solved, envelope, peaks[k], finely, tree) for k in those]
    there = Surroundings.of(finely, around)
    held = governing_arrangement_loads(solved, envelope, [at for one in around for at in one.held])
    whose = np.repeat(np.arange(len(around)), [len(one.held) for one in around])
    size, load = there.largest(richer, held, whose)
    largest = np.full(len(around), -np.inf)
    np.maximum.at(largest, there.owner, there.of_cells(richer, held, size, load))
    best = [cell for k in range(len(around)) for cell in _apart(fields, there, size, k).tolist()]
    moving = [int(load[cell, size[cell].argmax()]) for cell in best]
    moved = [one for k in dict.fromkeys(moving) for one in moved_along(solved, held[k])]
    owner = np.repeat(whose[list(dict.fromkeys(moving))], len(MOVES))
    size, load = there.largest(richer, moved, owner)
    np.maximum.at(largest, there.owner, there.of_cells(richer, moved, size, load))
    found[those] = largest
    return found


def looked_around(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    peak: Peak,
    finely: ReadablePoints,
    tree: KDTree,
) -> Around:
    """The surroundings of a governing value on a mesh, whose field points are in the tree."""
    e, own = envelope.fields.extremes, solved.recovery.points
    allowed = np.flatnonzero(counts(solved.reading, peak))
    values, numbers = (e.maximum, e.at_maximum) if peak.sign > 0 else (e.minimum, e.at_minimum)
    size = peak.sign * values[peak.component, allowed]
    wide = _widening(solved.deck)
    order = np.argsort(-size, kind="stable")[: int(wide * POINTS)]
    near = allowed[order[size[order] >= SHARE / wide * size[order[0]]]]
    number = numbers[peak.component, near]
    first = np.sort(np.unique(number, return_index=True)[1])[: int(wide * LOADS)]
    held = [(int(near[k]), peak.component, peak.sign, int(number[k])) for k in first]
    balls = tree.query_ball_point(own.xy[near], spacing_around(own, near))
    points = np.unique(np.concatenate(balls).astype(np.int64))
    _, cells, _ = finely.points.meeting(points[counts(finely, peak)[points]])
    return Around(peak, np.unique(cells), [at for at in held if at[3] >= 0])


def _widening(deck: Deck) -> float:
    """How many times wider than usual the cells are that a deck asks for, at least 1."""
    size = deck.mesh.size
    return 1.0 if size is None else max(1.0, size / usual_size(deck))


def spacing_around(points: FieldPoints, near: Ints) -> Floats:
    """How far (n,) [m] the next points of a mesh may lie from those numbered (n,)."""
    which, cells, _ = points.meeting(near)
    spacing = np.linalg.norm(np.ptp(points.xy[points.cells[cells]], axis=1), axis=1) / points.order
    found = np.zeros(len(near))
    np.maximum.at(found, which, spacing)
    return found


def _apart(fields: FieldPoints, there: Surroundings, size: Floats, k: int) -> Ints:
    """Which cells around governing value k have the largest sizes (n_cell, n_place), at places no
    two of which are neighbours on the mesh."""
    top, best = size.max(axis=1), there.between.shares[size.argmax(axis=1)]
    corners = fields.xy[there.lattice]
    xy = np.einsum("cl,cld->cd", best, corners)
    reach = np.linalg.norm(np.ptp(corners, axis=1), axis=1) / fields.order
    left = np.flatnonzero((there.owner == k) & np.isfinite(top))
    found: list[int] = []
    while len(left) and len(found) < MOVED:
        cell = int(left[top[left].argmax()])
        found.append(cell)
        left = left[np.linalg.norm(xy[left] - xy[cell], axis=1) > reach[cell]]
    return np.array(found, dtype=np.int64)

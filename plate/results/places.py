"""Places where results are read: plan points, paths, field points, each as points of cells.

Where cells meet, a result may have a value in each of them. A place names the cells that count and
the share of each, so that every reader takes its results by the same rule.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats, Ints, connected
from plate.errors import GeometryError
from plate.interpolation import gauss, shape
from plate.loads.loads import segment_points
from plate.meshing.mesh import Mesh
from plate.results.fields import FieldPoints

# By this share of its distance a point is drawn to the side from which it is read.
BESIDE = 1e-5
# Beyond a cell's box [m] a point may lie in it all the same.
REACH = 1e-6
# Of a cell's half side: points on the edge of the slab.
OUTSIDE = 1e-4


@dataclass(frozen=True, kw_only=True)
class Places:
    """Weighted means of results at points of cells.

    count : number of places. cells, reference, place, weight : (n,) cells, (n, 2) reference points
    in them, (n,) the place to which each belongs and (n,) its share of that place's mean.
    integrated : whether the points are those of integrals along lines.
    """

    count: int
    cells: Ints
    reference: Floats
    place: Ints
    weight: Floats
    integrated: bool = False

    def apart(self) -> "Places":
        """The same points of cells, each a place of its own."""
        n = len(self.cells)
        return replace(self, count=n, place=np.arange(n), weight=np.ones(n))

    @property
    def each(self) -> list["Places"]:
        """Every place by itself."""
        found = [self.of(np.arange(self.count) == k) for k in range(self.count)]
        return [replace(one, count=1, place=np.zeros_like(one.place)) for one in found]

    def of(self, chosen: NDArray[np.bool_]) -> "Places":
        """The points of some of the places (count,), whose numbers stay."""
        mine = chosen[self.place]
        return replace(
            self,
            cells=self.cells[mine],
            reference=self.reference[mine],
            place=self.place[mine],
            weight=self.weight[mine],
        )


def joined(parts: Sequence[Places]) -> Places:
    """All places of several, of which all or none are integrated, one after the other."""
    starts = np.cumsum([0, *(part.count for part in parts)])
    return Places(
        count=int(starts[-1]),
        cells=np.concatenate([part.cells for part in parts]),
        reference=np.concatenate([part.reference for part in parts]),
        place=np.concatenate([k + part.place for k, part in zip(starts, parts, strict=False)]),
        weight=np.concatenate([part.weight for part in parts]),
        integrated=parts[0].integrated,
    )


def _equal_shares(count: int, cells: Ints, reference: Floats, place: Ints) -> Places:
    """Places whose points count alike."""
    weight = 1.0 / np.bincount(place, minlength=count)[place]
    return Places(count=count, cells=cells, reference=reference, place=place, weight=weight)


def at_points(mesh: Mesh, plan: Floats) -> Places:
    """Plan points (n, 2) [m], each the mean of the cells that meet there.

    Raises GeometryError for a point off the slab.
    """
    place, cells, reference = mesh.locate(plan)
    return _equal_shares(len(plan), cells, reference, place)


def on_sides(mesh: Mesh, fields: FieldPoints, plan: Floats, towards: Floats) -> Places:
    """Plan points (n, 2) [m], each the mean of its cells on the side of a plan point `towards`
    (n, 2) [m]: of all those that no support, beam or step of thickness divides from the cells
    there, however wide they are.

    Raises GeometryError for a point off the slab.
    """
    both = at_points(mesh, np.concatenate([plan, plan + BESIDE * (towards - plan)]))
    here = both.of(np.arange(both.count) < len(plan))
    beside = both.of(np.arange(both.count) >= len(plan))
    there = mesh.n_cells * (beside.place - len(plan)) + beside.cells
    side = _undivided(fields, here.place, here.cells)
    counts = np.isin(side, side[np.isin(mesh.n_cells * here.place + here.cells, there)])
    return _equal_shares(len(plan), here.cells[counts], here.reference[counts], here.place[counts])


def deepest(mesh: Mesh, plan: Floats) -> Places:
    """Plan points (n, 2) [m], each in the one cell in which it lies deepest.

    All points are inverted at once, far quicker than one by one. Raises GeometryError for a point
    off the slab.
    """
    cells, owner = mesh.meeting(plan - REACH, plan + REACH)
    xi = mesh.invert_plan(cells, plan[owner])
    outside = np.abs(xi).max(axis=1, initial=0.0)
    order = np.lexsort((cells, outside, owner))
    _, first = np.unique(owner[order], return_index=True)
    best = order[first]
    if len(best) < len(plan) or outside[best].max(initial=0.0) > 1.0 + OUTSIDE:
        raise GeometryError("a section or raster point lies off the slab")
    return _equal_shares(len(plan), cells[best], np.clip(xi[best], -1.0, 1.0), owner[best])


def at_field_points(fields: FieldPoints, numbers: Sequence[int] | Ints) -> Places:
    """Field points by their numbers (n,), each the mean of the cells that share it."""
    place, cells, local = fields.meeting(np.asarray(numbers, dtype=np.int64))
    return _equal_shares(len(numbers), cells, fields.reference[local], place)


def side_of(mesh: Mesh, fields: FieldPoints, number: int) -> Floats:
    """A plan point (2,) [m] amid the cells that share a field point."""
    _, cells, _ = fields.meeting(np.array([number]))
    return np.asarray(mesh.corners[cells].mean(axis=(0, 1)))


def on_both_sides(mesh: Mesh, fields: FieldPoints, at: Sequence[float]) -> Places:
    """A plan point [m] as one place, the mean of the cells that meet there; or, where a support, a
    beam or a step of thickness divides the slab, as three: the mean of both sides, the side before
    (smaller station, or offset for a line along the deck), the side after.

    Raises GeometryError for a point off the slab.
    """
    here = at_points(mesh, np.array([at]))
    side = _undivided(fields, here.place, here.cells)
    groups = [np.flatnonzero(side == one) for one in dict.fromkeys(side.tolist())]
    if len(groups) == 1:
        return here
    towards = np.array([_direction(mesh, here.cells[group], at) for group in groups])
    spread = np.ptp(towards, axis=0)
    along = 0 if spread[0] >= spread[1] - 1e-9 else 1
    first = towards[:, along] < towards[:, along].mean()
    share = np.zeros((3, len(here.cells)))
    for group, is_first in zip(groups, first, strict=True):
        n_groups = first.sum() if is_first else (~first).sum()
        share[1 if is_first else 2, group] = 1.0 / (len(group) * n_groups)
    share[0] = 0.5 * (share[1] + share[2])
    place, point = np.nonzero(share)
    return Places(
        count=3,
        cells=here.cells[point],
        reference=here.reference[point],
        place=place,
        weight=share[place, point],
    )


def _undivided(fields: FieldPoints, place: Ints, cells: Ints) -> Ints:
    """Sides (n,) of the cells (n,) of places (n,), ascending: one and the same number for those of
    a place that no support, beam or step of thickness divides."""
    pairs = [np.zeros((0, 2), dtype=np.int64)]
    for apart in range(1, int(np.bincount(place).max(initial=0))):
        first = np.flatnonzero(place[apart:] == place[:-apart])
        pairs.append(np.column_stack([first, first + apart]))
    i, k = np.concatenate(pairs).T
    points = fields.cells[cells]
    shared = np.sum(points[i][:, :, None] == points[k][:, None, :], axis=(1, 2))
    whole = shared > fields.order  # a whole side
    return connected(len(cells), i[whole], k[whole])


def _direction(mesh: Mesh, cells: Ints, at: Sequence[float]) -> Floats:
    """Mean direction (2,) from a point to the cells around it, in cell sizes."""
    corners = mesh.corners[cells]
    step = (corners.mean(axis=1) - np.array(at)) / np.ptp(corners, axis=1)
    return np.asarray(step.mean(axis=0))


def along_path(mesh: Mesh, path: Floats) -> Places:
    """A path (n, 2) in plan [m] as one place: the arc-length mean along what of it is on the
    slab."""
    return along_paths(mesh, [path])


def along_paths(mesh: Mesh, paths: Sequence[Floats]) -> Places:
    """The same of several paths, each a place."""
    parts = [(k, *part) for k, path in enumerate(paths) for part in segment_points(mesh, path)]
    place = np.repeat([k for k, *_ in parts], [len(cells) for _, cells, *_ in parts])
    cells, reference, weight = (
        np.concatenate(values) for values in zip(*(part for _, *part in parts), strict=True)
    )
    return Places(
        count=len(paths),
        cells=cells,
        reference=reference,
        place=place,
        weight=weight / np.bincount(place, weights=weight)[place],
        integrated=True,
    )


@dataclass(frozen=True)
class StraightLine:
    """A straight line of the plan within the slab.

    places : n Gauss points along it, cell after cell; between two cells that share a stretch each
    result is the mean of both. share : (n,) of the line's length, at each point.
    stretches : (m, 2) where each cell begins and ends, as shares; each holds n/m points.
    """

    places: Places
    share: Floats
    stretches: Floats

    @classmethod
    def between(cls, mesh: Mesh, ends: Floats) -> "StraightLine":
        """The line between two plan points (2, 2) [m]."""
        [(cells, xi, _)] = segment_points(mesh, ends)
        per = 2 * mesh.order
        plan = np.einsum("nk,nkd->nd", shape(mesh.order, xi), mesh.plan[mesh.cells[cells]])
        along = ends[1] - ends[0]
        share = ((plan - ends[0]) @ along / (along @ along)).reshape(-1, per)
        nodes, _ = gauss(per)
        size = (share[:, -1] - share[:, 0]) / (nodes[-1] - nodes[0])
        start = share[:, 0] - (nodes[0] + 1.0) * size
        # Two cells on the same stretch are one place.
        _, unique, owner = np.unique(np.round(start, 10), return_index=True, return_inverse=True)
        place = (owner[:, None] * per + np.arange(per)).ravel()
        places = replace(_equal_shares(len(unique) * per, cells, xi, place), integrated=True)
        stretches = np.stack([start, start + 2.0 * size], axis=-1)[unique]
        return cls(places, share[unique].ravel(), stretches)

    def mean(self, values: Floats, low: float, high: float) -> float:
        """Mean of the values (n,) at its places between two shares of its length, exact for the
        elements' own polynomials."""
        per = len(self.share) // len(self.stretches)
        a, b = self.stretches.T
        ends = np.clip([low, high], a[:, None], b[:, None])
        local = 2.0 * (ends - a[:, None]) / (b - a)[:, None] - 1.0
        integrals = np.einsum("mn,mn->m", _partial(per, local), values.reshape(-1, per))
        return float(0.5 * (b - a) @ integrals) / (high - low)


def _partial(n: int, ends: Floats) -> Floats:
    """Integrals (m, n) of the Lagrange polynomials through n Gauss points between ends (m, 2)."""
    power = np.arange(1, n + 1)
    moments = (ends[:, 1:] ** power - ends[:, :1] ** power) / power
    return np.asarray(moments @ _from_powers(n))


@cache
def _from_powers(n: int) -> Floats:
    """(n, n) by which integrals of 1, x, x^2, .. become those of the Lagrange polynomials."""
    nodes, _ = gauss(n)
    return np.asarray(np.linalg.inv(np.vander(nodes, increasing=True)))

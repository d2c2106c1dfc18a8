"""Where a vehicle may stand, cut into pieces in which a result under it is a polynomial.

A result V(s, y) under a vehicle on a grid of rectangles is a sum over its wheels of means under
their patches. It is a polynomial between the stations, and between the offsets, at which an edge of
a patch lies on a line of the mesh. Where that line is the slab's edge its slope jumps, elsewhere
only its curvature does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby, pairwise

import numpy as np
from scipy import sparse

from pipelines.accuracy.bernstein import of_values
from pipelines.accuracy.free_vehicle import FreeVehicle
from pipelines.accuracy.grid_surfaces import NEAR, GridAxis, GridSurfaces
from plate.arrays import Floats, Ints
from plate.interpolation import lobatto

# Length of the boxes looked at first, as a share of the smallest side of a patch: it decides how
# long the proof takes and nothing else.
BOX = 0.4


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of the places along one direction, and runs of them as boxes.

    low, high : (n,) ends of the pieces [m], equal where a place stands alone; first : (m + 1,)
    numbers of the pieces with which the boxes begin, and n.
    """

    low: Floats
    high: Floats
    first: Ints

    @classmethod
    def between(
        cls, low: float, high: float, breaks: Floats, kinks: Floats, box: float
    ) -> "Pieces":
        """Pieces from low to high that end at the breaks, in boxes no longer than `box` unless a
        piece is, none of which has a kink inside."""
        ends = np.sort(np.concatenate([[low, high], np.clip(breaks, low, high)]))
        ends = ends[np.diff(ends, prepend=-np.inf) > NEAR]
        if len(ends) == 1:
            return cls.alone(ends)
        kinked = np.abs(ends[:, None] - kinks).min(axis=1, initial=np.inf) <= NEAR
        first = [0]
        for k in range(1, len(ends) - 1):
            if kinked[k] or ends[k + 1] - ends[first[-1]] > box:
                first.append(k)
        return cls(ends[:-1], ends[1:], np.array([*first, len(ends) - 1]))

    @classmethod
    def alone(cls, places: Floats) -> "Pieces":
        """Places that stand alone."""
        return cls(places, places, np.arange(len(places) + 1))

    @property
    def boxes(self) -> tuple[Floats, Floats]:
        """Ends (m,) of the boxes [m]."""
        return self.low[self.first[:-1]], self.high[self.first[1:] - 1]

    def points(self, degree: int) -> Floats:
        """The Gauss-Lobatto points (n (degree + 1),) of every piece."""
        share = 0.5 * (1.0 + lobatto(degree + 1))
        return (self.low[:, None] + (self.high - self.low)[:, None] * share).ravel()


@dataclass(frozen=True, kw_only=True)
class WheelGroup:
    """Wheels of a vehicle that form a grid: axles of equal wheels.

    load : of one wheel with impact [N]; sides : of its patch along and across [m]; along, across :
    of the axles and of the wheels, from the vehicle's station and offset [m].
    """

    load: float
    sides: tuple[float, float]
    along: Floats
    across: Floats


def wheel_groups(free: FreeVehicle, *, moved: bool = False) -> tuple[WheelGroup, ...]:
    """The wheels of a vehicle with its spacings as narrow as they are: those that its variable
    spacing moves, or the others."""
    ahead = 1.0 if free.direction == "reverse" else -1.0
    axles: dict[tuple[float, ...], list[float]] = {}
    # An axle's wheels stand together in the pattern; two axles may have one place.
    for (at, *_), wheels in groupby(
        free.pattern[free.pattern[:, 5] == moved].tolist(), key=lambda w: (w[0], *w[2:5])
    ):
        rows = list(wheels)
        load, a, b = rows[0][2:5]
        key = (load, a, b, *(-ahead * w[1] for w in rows))
        axles.setdefault(key, []).append(ahead * at)
    return tuple(
        WheelGroup(
            load=load * free.vehicle.impact,
            sides=(a, b),
            along=np.array(along),
            across=np.array(across),
        )
        for (load, a, b, *across), along in axles.items()
    )


def station_pieces(
    axis: GridAxis, groups: Sequence[WheelGroup], bounds: tuple[float, float], box: float
) -> Pieces:
    """Pieces of the stations of wheels between bounds [m]."""
    breaks, kinks = _passings(axis.lines, [(g.along, g.sides[0]) for g in groups])
    return Pieces.between(*bounds, breaks, kinks, box)


def offset_pieces(axis: GridAxis, fleet: Sequence[FreeVehicle], bounds: Floats) -> Pieces:
    """Pieces of the offsets at which vehicles of a deck may stand, each between its own bounds
    (n, 2) [m], at which a piece ends."""
    if fleet[0].offsets is not None:
        return Pieces.alone(fleet[0].offsets)
    groups = [
        (g.across, g.sides[1])
        for free in fleet
        for moved in (False, True)
        for g in wheel_groups(free, moved=moved)
    ]
    breaks, kinks = _passings(axis.lines, groups)
    breaks, kinks = (np.concatenate([places, bounds.ravel()]) for places in (breaks, kinks))
    box = BOX * min(free.smallest for free in fleet)
    return Pieces.between(bounds.min(), bounds.max(), breaks, kinks, box)


@dataclass(frozen=True, eq=False)
class DrivenWheels:
    """Wheels driven over a grid of rectangles.

    grid : the surfaces; groups : the wheels; s, y : the pieces of their stations and offsets.
    """

    grid: GridSurfaces
    groups: tuple[WheelGroup, ...]
    s: Pieces
    y: Pieces

    @property
    def degree(self) -> int:
        """Of the polynomials in each direction."""
        return self.grid.s.order + 1

    @property
    def load(self) -> float:
        """Of all wheels [N]."""
        return sum(g.load * len(g.along) * len(g.across) for g in self.groups)

    def along(self, s: Floats) -> list[sparse.csr_array]:
        """Of each group the sum (n, n_node) of its axles' means at stations (n,) times its load."""
        axis = self.grid.s
        return [axis.means(s[:, None] + g.along, g.sides[0]) * g.load for g in self.groups]

    def across(self, y: Floats) -> list[sparse.csr_array]:
        """Of each group the sum (n, n_node) of its wheels' means at offsets (n,)."""
        return [self.grid.y.means(y[:, None] + g.across, g.sides[1]) for g in self.groups]

    def values(self, s: Floats, y: Floats) -> Floats:
        """Results (n_row, n_s, n_y) of every row at all stations and offsets."""
        n_row, n_s, n_y = self.grid.ordinates.shape
        W = self.grid.ordinates.reshape(-1, n_y)
        total = np.zeros((len(s), n_row * len(y)))
        for S, Y in zip(self.along(s), self.across(y), strict=True):
            half = (W @ Y.toarray().T).reshape(n_row, n_s, -1)
            total += S @ half.swapaxes(0, 1).reshape(n_s, -1)
        return total.reshape(len(s), n_row, len(y)).swapaxes(0, 1)

    @cached_property
    def _along(self) -> list[sparse.csr_array]:
        """Of each group the Bernstein coefficients (n_s (degree + 1), n_node) of its sums along in
        every piece."""
        every = sparse.kron(sparse.eye_array(len(self.s.low)), of_values(self.degree), format="csr")
        return [sparse.csr_array(every @ S) for S in self.along(self.s.points(self.degree))]

    @cached_property
    def _across(self) -> list[Floats]:
        """The same across (degree + 1, n_y, n_node)."""
        C, shape = of_values(self.degree), (len(self.y.low), self.degree + 1, -1)
        return [
            np.tensordot(C, Y.toarray().reshape(shape), axes=(1, 1))
            for Y in self.across(self.y.points(self.degree))
        ]

    @cached_property
    def _reached(self) -> tuple[Ints, Ints]:
        """Between which nodes across (n_y,) the wheels in each piece of the offsets have any."""
        some = np.any([Y.any(axis=0) for Y in self._across], axis=0)
        return some.argmax(axis=1), some.shape[1] - some[:, ::-1].argmax(axis=1)

    def in_pieces(self, row: int, factor: float, s: Ints, y: Ints) -> Floats:
        """Bernstein coefficients (n_s, degree + 1, degree + 1, n_y) of a result times a factor in
        all pieces s (n_s,) along by all y (n_y,) across."""
        n, (low, high) = self.degree + 1, self._reached
        nodes = slice(int(low[y].min()), int(high[y].max()))
        W = factor * self.grid.ordinates[row, :, nodes]
        lines = (n * s[:, None] + np.arange(n)).ravel()
        total = np.zeros((len(lines), n * len(y)))
        for S, Y in zip(self._along, self._across, strict=True):
            along, columns = _dense(S, lines)
            total += (along @ W[columns]) @ Y[:, y, nodes].reshape(n * len(y), -1).T
        return total.reshape(len(s), n, n, len(y))

    def coefficients(self, rows: Ints, factors: Floats, s: slice, y: Ints) -> Floats:
        """The same of results (n,) times factors (n,) in the pieces s along, each in its own piece
        y (n,) across: (n, n_s, degree + 1, degree + 1)."""
        n, every = self.degree + 1, np.arange(s.start, s.stop)
        found = np.empty((len(rows), len(every), n, n))
        different = np.any(np.diff([rows, factors], axis=1) != 0.0, axis=0)
        for start, end in pairwise([0, *(np.flatnonzero(different) + 1).tolist(), len(rows)]):
            C = self.in_pieces(int(rows[start]), float(factors[start]), every, y[start:end])
            found[start:end] = np.moveaxis(C, 3, 0)
        return found

    @cached_property
    def rounding(self) -> Floats:
        """What rounding may take from a bound (n_row,): that of sums as long as the nodes are many,
        and that of places to `NEAR`."""
        C = float(np.abs(of_values(self.degree)).sum(axis=1).max())
        W = self.grid.ordinates
        size = self.load * np.abs(W).max(axis=(1, 2), initial=0.0)
        steepest = max(1.0 / min(g.sides) for g in self.groups)
        terms = W.shape[1] + W.shape[2]
        return np.asarray(size * (np.finfo(float).eps * terms * C**2 + 2.0 * NEAR * steepest))


def _dense(matrix: sparse.csr_array, rows: Ints) -> tuple[Floats, Ints]:
    """Some rows (n,) of a sparse matrix, and the columns in which they are not zero."""
    starts, count = matrix.indptr[rows], np.diff(matrix.indptr)[rows]
    row = np.repeat(np.arange(len(rows)), count)
    which = np.arange(len(row)) + np.repeat(starts - (np.cumsum(count) - count), count)
    columns = matrix.indices[which]
    used = np.zeros(matrix.shape[1], dtype=bool)
    used[columns] = True
    found = np.zeros((len(rows), np.count_nonzero(used)))
    found[row, (np.cumsum(used) - 1)[columns]] = matrix.data[which]
    return found, np.flatnonzero(used)


def _passings(lines: Floats, patches: Sequence[tuple[Floats, float]]) -> tuple[Floats, Floats]:
    """Places at which an edge of a patch lies on one of the lines, and on the first or the last.

    patches : distances of their middles from the place, and their side.
    """
    edges = np.concatenate(
        [shifts + half for shifts, side in patches for half in (-0.5 * side, 0.5 * side)]
    )
    return (lines[:, None] - edges).ravel(), (lines[[0, -1], None] - edges).ravel()

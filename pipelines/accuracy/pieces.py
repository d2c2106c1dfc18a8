"""Where a vehicle may stand, cut into pieces in which a result under it is a polynomial.

A result V(s, y) under a vehicle on a grid of rectangles is a sum over its wheels of means under
their patches. It is a polynomial between the stations, and between the offsets, at which an edge of
a patch lies on a line of the mesh. Where that line is the slab's edge its slope jumps, elsewhere
only its curvature does.
"""

from collections.abc import Iterator, Sequence
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
        W = self.grid.ordinates
        n_row, n_s, n_y = W.shape
        total = np.zeros((len(s), len(y) * n_row))
        for S, Y in zip(self.along(s), self.across(y), strict=True):
            half = (Y @ W.reshape(-1, n_y).T).reshape(-1, n_s)
            total += S @ half.T
        return total.reshape(len(s), len(y), n_row).transpose(2, 0, 1)

    @cached_property
    def _along(self) -> list[sparse.csr_array]:
        """Of each group the Bernstein coefficients (n_s (degree + 1), n_node) of its sums along in
        every piece."""
        every = sparse.kron(sparse.eye_array(len(self.s.low)), of_values(self.degree), format="csr")
        return [sparse.csr_array(every @ S) for S in self.along(self.s.points(self.degree))]

    @cached_property
    def _across(self) -> tuple[Floats, Ints, Ints]:
        """The same across (degree + 1, n_y, n_group, n_node), and between which nodes (n_y,) each
        piece has any."""
        n = self.degree + 1
        Y = [one.toarray() for one in self.across(self.y.points(self.degree))]
        sums = np.stack(Y, axis=1).reshape(len(self.y.low), n, -1)
        found = np.einsum("ij,yjk->iyk", of_values(self.degree), sums, optimize=True)
        found = found.reshape(n, len(sums), len(Y), -1)
        some = found.any(axis=(0, 2))
        return found, some.argmax(axis=1), some.shape[1] - some[:, ::-1].argmax(axis=1)

    def each(
        self, rows: Ints, factors: Floats, s: slice, y: Ints
    ) -> Iterator[tuple[slice, Floats]]:
        """Bernstein coefficients of results (n,) times factors (n,) in the pieces s along, each in
        its own piece y (n,) across: of equal ones that follow each other, which they are, and the
        coefficients (n_s, degree + 1, degree + 1, n)."""
        n, run = self.degree + 1, np.stack([rows, factors])
        starts = np.flatnonzero(np.any(run[:, 1:] != run[:, :-1], axis=0)) + 1
        own = [_dense(S, slice(s.start * n, s.stop * n)) for S in self._along]
        across, low, high = self._across
        for start, end in pairwise([0, *starts.tolist(), len(rows)]):
            strips = y[start:end]
            nodes = slice(int(low[strips].min()), int(high[strips].max()))
            W = factors[start] * self.grid.ordinates[rows[start], :, nodes]
            along = np.concatenate([part @ W[columns] for part, columns in own], axis=1)
            C = along @ across[:, strips, :, nodes].reshape(n * (end - start), -1).T
            yield slice(start, end), C.reshape(-1, n, n, end - start)

    def coefficients(self, rows: Ints, factors: Floats, s: slice, y: Ints) -> Floats:
        """The same (n, n_s, degree + 1, degree + 1)."""
        n = self.degree + 1
        found = np.empty((len(rows), s.stop - s.start, n, n))
        for which, C in self.each(rows, factors, s, y):
            found[which] = np.moveaxis(C, 3, 0)
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


def _dense(matrix: sparse.csr_array, rows: slice) -> tuple[Floats, Ints]:
    """Some rows of a sparse matrix, and the columns in which they are not zero."""
    ends = matrix.indptr[rows.start : rows.stop + 1]
    which = slice(int(ends[0]), int(ends[-1]))
    used = np.zeros(matrix.shape[1], dtype=bool)
    used[matrix.indices[which]] = True
    found = np.zeros((len(ends) - 1, np.count_nonzero(used)))
    place = (np.cumsum(used) - 1)[matrix.indices[which]]
    found[np.repeat(np.arange(len(found)), np.diff(ends)), place] = matrix.data[which]
    return found, np.flatnonzero(used)


def _passings(lines: Floats, patches: Sequence[tuple[Floats, float]]) -> tuple[Floats, Floats]:
    """Places at which an edge of a patch lies on one of the lines, and on the first or the last.

    patches : distances of their middles from the place, and their side.
    """
    edges = np.concatenate(
        [shifts + half for shifts, side in patches for half in (-0.5 * side, 0.5 * side)]
    )
    return (lines[:, None] - edges).ravel(), (lines[[0, -1], None] - edges).ravel()

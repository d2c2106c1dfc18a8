"""Where in the cells moments and shears are read.

In a cell of order p a derivative along one of its directions is most accurate at the p Gauss points
of that direction, where what the next order would add is nothing (Barlow 1976, from memory):
between these, and at the cell's border most, it is left out. Where cells lie in line and nothing
parts them, moments on their border are those of the polynomial through the points nearest to it of
both, and in between the cell's own plus a polynomial that is what its border lacks and nothing at
its points. A bending moment and the shear with it are read so along their own direction, across
which they go on from cell to cell, twisting moments along both; in cells askew what is across the
deck is made of both directions, too.

Shears have a kink at the edge of a wheel. Where that lies on the border the polynomial cuts it off,
by 5 to 8 % of the peak under a wheel as wide as a cell; the mean of both cells, which has it, errs
as much the other way under edges within the cells. Wheels drive over every place of a cell, so what
counts is the largest error: in a beam, where a cell's shear is the polynomial nearest to the true
one, it is least with a share of 0.4 to 0.56 of the mean in orders 2 to 7, within 1.15 times that
with a half, which is what is taken. No reading that is linear in the displacements does better:
those of both cells that have cubics right at order 3 differ by that share alone. What is still
lacking is known where the wheels are (`kinks`).

Results stay linear in the displacements, of one cell and those around it.
"""

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plate.arrays import Floats, Ints, different_rows
from plate.interpolation import gauss, lobatto
from plate.model.continuation import lengths
from plate.model.model import PlateModel

# Readings are the same to this many decimals of a reference coordinate.
SAME = 12
# A share smaller than this is rounding.
NOTHING = 1e-13

# Share of the mean of both cells in shears on their border.
KINKED = 0.5


@dataclass(frozen=True)
class Way:
    """How a result is read: along which reference directions at points of its own, and what share
    the mean of both cells has on their border."""

    along: tuple[int, ...]
    mean: float = 0.0


def lattice_order(order: int) -> int:
    """k of the lattice of (k+1)^2 points at which the results of a cell of order p are given."""
    return max(2, order - 1)


@dataclass(frozen=True, eq=False)
class Readings:
    """The points of the cells of a model at which results are read."""

    model: PlateModel

    @cached_property
    def ways(self) -> tuple[tuple[Way, Ints], ...]:
        """The different ways of reading and which of `plate.conventions.RESULTS` each is for."""
        across = (1,) if self.model.mesh.upright.all() else (0, 1)
        results = (
            Way(()),
            Way((0,)),
            Way(across),
            Way((0, 1)),
            Way((0,), KINKED),
            Way(across, KINKED),
        )
        every = {way: [k for k, own in enumerate(results) if own == way] for way in results}
        return tuple((way, np.array(which)) for way, which in every.items())

    @cached_property
    def positions(self) -> Floats:
        """(n_cell, 2, n) reference coordinates along xi and eta: those of the lattice, but for the
        outermost, which is that of Gauss beside a border with a cell that goes on."""
        mesh, on = self.model.mesh, self.model.continued
        outer = gauss(max(2, mesh.order))[0][-1]
        found = np.tile(self._lattice, (mesh.n_cells, 2, 1))
        for k in (0, 1):
            found[:, k, 0] = np.where(on[:, 2 * k] >= 0, -outer, -1.0)
            found[:, k, -1] = np.where(on[:, 2 * k + 1] >= 0, outer, 1.0)
        return found

    @cached_property
    def _lattice(self) -> Floats:
        return lobatto(lattice_order(self.model.mesh.order) + 1)

    def points(self, cells: Ints, way: Way) -> Floats:
        """Reference points (n, k, 2) at which the cells (n,) are read, eta fastest."""
        lattice = np.broadcast_to(self._lattice, (len(cells), len(self._lattice)))
        xi, eta = (self.positions[cells, k] if k in way.along else lattice for k in (0, 1))
        grid = np.broadcast_arrays(xi[:, :, None], eta[:, None, :])
        return np.asarray(np.stack(grid, axis=-1).reshape(len(cells), -1, 2))

    def shares(self, cells: Ints, way: Way) -> tuple[Ints, Ints, Floats]:
        """What the points of each of the cells (n,) add to its lattice points: lattice point,
        point read and share, (n, m) each; over all cells of a lattice point they add up to as many
        as it has values to be the mean of."""
        n = len(self._lattice)
        (by_xi, of_xi), (by_eta, of_eta) = (self._border_shares(cells, k, way) for k in (0, 1))
        # lattice point (i, j) of points by_xi[i], by_eta[j], whose shares differ along the border
        read = by_xi[:, None, :, None] * n + by_eta[None, :, None, :]
        share = of_xi[:, :, :, :, None] * of_eta.swapaxes(1, 2)[:, :, :, None, :]
        point = np.broadcast_to(np.arange(n * n).reshape(n, n, 1, 1), read.shape)
        size = (len(cells), read.size)
        point, read = (np.broadcast_to(one.ravel(), size) for one in (point, read))
        return point, read, share.reshape(size)

    def _border_shares(self, cells: Ints, k: int, way: Way) -> tuple[Ints, Floats]:
        """Which points (n, m) along direction k make each lattice coordinate, and their shares
        (n_cell, n, n, m), by lattice coordinate along and across."""
        n = len(self._lattice)
        m = n if k in way.along else 1
        which = np.tile(np.arange(n)[:, None], (1, m))
        share = np.zeros((len(cells), n, n, m))
        share[..., 0] = 1.0
        if k in way.along:
            which[0], which[-1] = np.arange(n), np.arange(n)[::-1]
            across = np.tile(self._lattice, (len(cells), 1))
            for end, side in ((0, 2 * k), (n - 1, 2 * k + 1)):
                there = np.flatnonzero(self.model.continued[cells, side] >= 0)
                own, _ = self._weights(cells[there], side, across[there], way)
                share[there, end] = own
        return which, share

    def _weights(self, cells: Ints, side: int, across: Floats, way: Way) -> tuple[Floats, Floats]:
        """Shares (n, ..., n_point) in the value on a side of the cells (n,) of their own points,
        nearest to it first, and of those of the cells beyond it.

        across : (n, ...) the other reference coordinate.
        """
        mesh, other, k = self.model.mesh, self.model.continued[cells, side], side // 2
        gaps = self._gaps(cells, side), self._gaps(other, side ^ 1)
        m = max(2, (mesh.order + 2) // 2)
        # distances from the border against and along the cell's outward direction
        ahead = [
            lengths(mesh, one, k, across)[..., None]
            * np.expand_dims(gap, tuple(range(1, across.ndim)))
            for one, gap in zip((cells, other), gaps, strict=True)
        ]
        a, b = -ahead[0], ahead[1]
        through = _at_nothing(np.concatenate([a[..., :m], b[..., :m]], axis=-1))
        own, beyond = (0.5 * way.mean * _at_nothing(at) for at in (a, b))
        own[..., :m] += (1.0 - way.mean) * through[..., :m]
        beyond[..., :m] += (1.0 - way.mean) * through[..., m:]
        return own, beyond

    def _gaps(self, cells: Ints, side: int) -> Floats:
        """Distances (n, n_point) of the points of cells (n,) from a side, the nearest first, as
        shares of the cell."""
        at = self.positions[cells, side // 2]
        return np.asarray(0.5 * (1.0 - at[:, ::-1] if side % 2 else 1.0 + at))

    def of(self, cells: Ints, reference: Floats, way: Way) -> tuple[Ints, Ints, Floats, Floats]:
        """What results at reference points (n, 2) of cells (n,) are read from: which of the points
        (m,), cell (m,), reference point (m, 2) and share (m,)."""
        found = np.arange(len(cells)), cells, reference, np.ones(len(cells))
        for k in way.along:
            owner, own, at, share = found
            part, own, at, more = self._along(k, own, at, way)
            found = _summed(owner[part], own, at, share[part] * more)
        return found

    def _along(
        self, k: int, cells: Ints, at: Floats, way: Way
    ) -> tuple[Ints, Ints, Floats, Floats]:
        """The same along one reference direction."""
        found = [(np.arange(len(cells)), cells, at, np.ones(len(cells)))]
        for side, sign in ((2 * k, -1.0), (2 * k + 1, 1.0)):
            there = np.flatnonzero(self.model.continued[cells, side] >= 0)
            mine, beyond = cells[there], self.model.continued[cells[there], side]
            lacking = self._rising(k, mine, at[there, k], sign)
            border = np.full((len(there), 1), sign)
            shares = self._weights(mine, side, at[there, 1 - k], way)
            read = [
                (mine, border, np.full((len(there), 1), -1.0)),
                (mine, sign * (1.0 - 2.0 * self._gaps(mine, side)), shares[0]),
                (beyond, -sign * (1.0 - 2.0 * self._gaps(beyond, side ^ 1)), shares[1]),
            ]
            for own, places, share in read:
                for place, part in zip(places.T, share.T, strict=True):
                    moved = at[there].copy()
                    moved[:, k] = place
                    found.append((there, own, moved, lacking * part))
        part, own, moved, share = (np.concatenate(one) for one in zip(*found, strict=True))
        return part, own, moved, share

    def _rising(self, k: int, cells: Ints, x: Floats, sign: float) -> Floats:
        """(n,) at x the polynomial that is 1 at the border of that sign, and nothing at the other
        and at the points that are read."""
        zeros = self.positions[cells, k]
        found = np.prod((x[:, None] - zeros) / (sign - zeros), axis=1)
        held = np.any(zeros == -sign, axis=1)
        return np.asarray(np.where(held, found, found * 0.5 * (1.0 + sign * x)))


def _at_nothing(places: Floats) -> Floats:
    """Values (..., n) at 0 of the Lagrange polynomials on places (..., n)."""
    found = np.ones_like(places)
    for i, j in itertools.permutations(range(places.shape[-1]), 2):
        found[..., i] *= places[..., j] / (places[..., j] - places[..., i])
    return found


def _summed(
    owner: Ints, cells: Ints, at: Floats, share: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """The same readings each once, and those left out whose shares come to nothing."""
    keys = np.column_stack([owner, cells, np.round(at, SAME) + 0.0])
    first, which = different_rows(keys)
    total = np.bincount(which, weights=share, minlength=len(first))
    kept = np.abs(total) > NOTHING
    first = first[kept]
    return owner[first], cells[first], at[first], np.asarray(total[kept], dtype=float)

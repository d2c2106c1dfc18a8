"""Integrals of the positive part of influence surfaces: results under distributed loads that lie on
adverse parts only.

On a cell of a grid of rectangles a surface z is a polynomial. Where its Bernstein coefficients have
one sign, z+ = max(z, 0) is z or nothing. Elsewhere z+ lies between z, or nothing, and the
polynomial of the coefficients' positive parts, since Bernstein polynomials are not negative; cells
of both signs are quartered until what is between the two is small. The integral of a Bernstein
polynomial is the mean of its coefficients times the length (Farouki 2012, The Bernstein polynomial
basis; from memory).
"""

from dataclasses import dataclass
from math import comb

import numpy as np

from pipelines.accuracy.bernstein import halves, of_values
from pipelines.accuracy.grid_surfaces import GridSurfaces
from plate.arrays import Floats, Ints

# Cells of both signs are quartered while more than this share of a result's integral lies between
# its bounds, at most so many times. Both decide the time, and the gap that is stated.
BETWEEN = 1e-4
QUARTERED = 4


@dataclass(frozen=True, eq=False)
class AdverseParts:
    """Bounds of the positive parts of signed surfaces, integrated along the deck.

    lines : (m + 1,) across [m]; below, above : (n, m, k + 1) Bernstein coefficients, in each strip
    between lines, of the integral of each surface from the first line on.
    """

    lines: Floats
    below: Floats
    above: Floats

    @classmethod
    def of(cls, grid: GridSurfaces, rows: Ints, signs: Floats) -> "AdverseParts":
        """Those of rows (n,) times signs (n,)."""
        C = of_values(grid.s.order)
        values = grid.ordinates[rows][:, grid.s.nodes][..., grid.y.nodes].swapaxes(2, 3)
        coefficients = C @ values @ C.T * signs[:, None, None, None, None]
        n, n_s, n_y, k, _ = coefficients.shape
        entry, along, strip = (index.ravel() for index in np.indices((n, n_s, n_y), dtype=np.int64))
        length = np.diff(grid.s.lines)[along]
        cells = coefficients.reshape(-1, k, k)
        width = np.diff(grid.y.lines)[strip]
        sums = [np.zeros((n, n_y, k)), np.zeros((n, n_y, k))]
        known = np.zeros(n)
        for level in range(QUARTERED + 1):
            above = np.maximum(cells, 0.0)
            below = np.where((cells.mean(axis=(1, 2)) > 0.0)[:, None, None], cells, 0.0)
            least, most = (z.mean(axis=(1, 2)) * length * width for z in (below, above))
            doubt = np.bincount(entry, most - least, n)
            open_ = doubt > BETWEEN * (known + np.bincount(entry, least, n))
            split = (most > least) & open_[entry] & (level < QUARTERED)
            done = ~split
            known += np.bincount(entry[done], least[done], n)
            for total, z in zip(sums, (below, above), strict=True):
                along_deck = z[done].mean(axis=1) * length[done, None]
                np.add.at(total, (entry[done], strip[done]), along_deck)
            if not split.any():
                break
            sums = [_in_halves(total) for total in sums]
            entry, strip = np.tile(entry[split], 4), 2 * strip[split]
            strip = np.concatenate([strip, strip, strip + 1, strip + 1])
            length, width = (np.tile(0.5 * side[split], 4) for side in (length, width))
            along_halves = np.concatenate([half @ cells[split] for half in halves(k - 1)])
            cells = np.concatenate([along_halves @ half.T for half in halves(k - 1)])
        per_cell = sums[0].shape[1] // n_y
        share = np.arange(per_cell) / per_cell
        lines = grid.y.lines[:-1, None] + np.diff(grid.y.lines)[:, None] * share
        lines = np.append(lines.ravel(), grid.y.lines[-1])
        return cls(lines, *(_integrated(total, np.diff(lines)) for total in sums))

    def between(self, entries: Ints, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Bounds (n,) of the integrals of surfaces (n,) over the strips from low to high (n,)."""
        found = []
        for table in (self.below, self.above):
            found.append(self._to(table, entries, high) - self._to(table, entries, low))
        return found[0], np.maximum(found[1], 0.0)

    def _to(self, table: Floats, entries: Ints, y: Floats) -> Floats:
        y = np.clip(y, self.lines[0], self.lines[-1])
        strip = np.searchsorted(self.lines, y, side="right") - 1
        strip = np.clip(strip, 0, len(self.lines) - 2)
        t = (y - self.lines[strip]) / (self.lines[strip + 1] - self.lines[strip])
        n = table.shape[2] - 1
        k = np.arange(n + 1)
        binomials = np.array([comb(n, i) for i in range(n + 1)], dtype=float)
        basis = binomials * t[:, None] ** k * (1.0 - t[:, None]) ** (n - k)
        return np.asarray(np.einsum("nk,nk->n", table[entries, strip], basis))


def _in_halves(coefficients: Floats) -> Floats:
    """Coefficients (n, 2 m, k) in both halves of every strip from those (n, m, k) in all of it."""
    n, m, k = coefficients.shape
    both = [coefficients @ half.T for half in halves(k - 1)]
    return np.stack(both, axis=2).reshape(n, 2 * m, k)


def _integrated(coefficients: Floats, widths: Floats) -> Floats:
    """Coefficients (n, m, k + 1) of the integral from the first strip's start."""
    n, m, k = coefficients.shape
    steps = coefficients * (widths[:, None] / k)
    within = np.concatenate([np.zeros((n, m, 1)), np.cumsum(steps, axis=2)], axis=2)
    before = np.cumsum(within[:, :, -1], axis=1) - within[:, :, -1]
    return np.asarray(within + before[:, :, None])

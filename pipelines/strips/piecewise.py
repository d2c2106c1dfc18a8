"""Piecewise polynomials of a station: the exact form of influence lines under moving loads.

A `Piecewise` holds S functions at once, one a row, each on knots of its own. Sums of shifted
copies are formed without sampling, so the worst place of a train is found among breakpoints and
roots of derivatives and not on a grid.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats

# Pieces shorter than this share of the functions' whole length are knots that fell together in
# rounding; a limit taken inside one would mix the two sides of different knots.
SHORT = 1e-11

# Quartic through five Chebyshev points of the unit interval, and the points that try it.
CHEBYSHEV = 0.5 * (1.0 - np.cos((np.arange(5) + 0.5) * np.pi / 5))
TO_POWERS = np.linalg.inv(np.vander(CHEBYSHEV, increasing=True))
CHECKS = np.array([0.0, 0.1, 0.35, 0.65, 0.9, 1.0])
FIT = 3e-6


@dataclass(frozen=True)
class Piecewise:
    """S piecewise polynomials.

    knots : (S, N) stations in rising order, equal ones allowed [m].
    coef : (n, S, N + 1) ascending powers of the distance from the piece's left knot; piece 0, left
        of every knot, counts from knots[:, 0].
    """

    knots: Floats
    coef: Floats

    def at(self, x: Floats | float) -> Floats:
        """Values at stations x, (Q,) or (S, Q), as (S, Q); at a jump the limit from the right."""
        rows = self.knots.shape[0]
        x = np.broadcast_to(np.asarray(x, dtype=float), (rows, np.shape(np.atleast_1d(x))[-1]))
        piece = (self.knots[:, :, None] <= x[:, None, :]).sum(axis=1)
        row = np.arange(rows)[:, None]
        return _value(self.coef[:, row, piece], x - _origins(self.knots)[row, piece])

    def __neg__(self) -> "Piecewise":
        return Piecewise(self.knots, -self.coef)

    def antiderivative(self) -> "Piecewise":
        """The integral from minus infinity of functions that vanish left of their first knot."""
        power = np.arange(1, self.coef.shape[0] + 1)[:, None, None]
        inner = np.concatenate([np.zeros((1, *self.coef.shape[1:])), self.coef / power])
        growth = _value(inner[:, :, 1:-1], np.diff(self.knots, axis=1))
        inner[0, :, 2:] = np.cumsum(growth, axis=1)
        return Piecewise(self.knots, inner)


def combine(
    functions: Sequence[Piecewise],
    which: Sequence[int],
    weights: Sequence[float],
    shifts: Sequence[float],
) -> Piecewise:
    """Sum over k of weights[k] * functions[which[k]](t - shifts[k]), exactly, row by row."""
    blocks = [functions[i].knots + shift for i, shift in zip(which, shifts, strict=True)]
    loose = np.concatenate(blocks, axis=1)
    owner = np.repeat(np.arange(len(blocks)), [b.shape[1] for b in blocks])
    order = np.argsort(loose, axis=1, kind="stable")
    knots = np.take_along_axis(loose, order, axis=1)
    owner = owner[order]
    origin = _origins(knots)
    row = np.arange(knots.shape[0])[:, None]
    total = np.zeros((max(f.coef.shape[0] for f in functions), *origin.shape))
    for k, (i, weight, shift) in enumerate(zip(which, weights, shifts, strict=True)):
        f = functions[i]
        piece = np.zeros(origin.shape, dtype=int)
        np.cumsum(owner == k, axis=1, out=piece[:, 1:])
        delta = origin - shift - _origins(f.knots)[row, piece]
        total[: f.coef.shape[0]] += weight * _recentred(f.coef[:, row, piece], delta)
    return Piecewise(knots, total)


@dataclass(frozen=True)
class Reciprocal:
    """One over a positive function of the station, constant beyond its grid.

    grid : rising stations (Q,) [m]; coef : (5, Q + 1) quartics in the distance from the grid point
    on the left, the first and the last of them constant.
    """

    grid: Floats
    coef: Floats

    def at(self, x: Floats, piece: NDArray[np.intp]) -> Floats:
        """Values at stations x (...), whose pieces (...) are known: `pieces`."""
        origin = np.concatenate([self.grid[:1], self.grid])
        return _value(self.coef[:, piece], x - origin[piece])

    def pieces(self, x: Floats) -> NDArray[np.intp]:
        """The piece in which each station lies, as integers."""
        return np.searchsorted(self.grid, x, side="right")


def reciprocal(divisor: Callable[[Floats], Floats], grid: Floats) -> Reciprocal:
    """1 / divisor by quartics between the points of a grid that resolves it, see `resolved`."""
    h = np.diff(grid)
    value = 1.0 / divisor(grid[:-1] + CHEBYSHEV[:, None] * h)
    inner = TO_POWERS @ value / _powers(h, 5)
    coef = np.zeros((5, grid.size + 1))
    coef[:, 1:-1] = inner
    coef[0, [0, -1]] = inner[0, 0], _value(inner[:, -1], h[-1])
    return Reciprocal(grid, coef)


def over(f: Piecewise, divisor: Reciprocal) -> Piecewise:
    """f / divisor with each piece between knots and grid points fitted by a quartic."""
    rows, grid = f.knots.shape[0], divisor.grid
    zero = Piecewise(np.broadcast_to(grid, (rows, grid.size)), np.zeros((1, rows, grid.size + 1)))
    fine = combine([f, zero], [0, 1], [1.0, 1.0], [0.0, 0.0])
    left, h = fine.knots[:, :-1], np.diff(fine.knots, axis=1)
    s = CHEBYSHEV[:, None, None] * h
    piece = divisor.pieces(left + 0.5 * h)
    quotient = _value(fine.coef[:, None, :, 1:-1], s) * divisor.at(left + s, piece)
    coef = np.zeros((5, *fine.coef.shape[1:]))
    coef[:, :, 1:-1] = np.tensordot(TO_POWERS, quotient, axes=1) / _powers(
        np.where(h > 0, h, 1.0), 5
    )
    return Piecewise(fine.knots, coef)


def resolved(divisor: Callable[[Floats], Floats], low: float, high: float) -> list[float]:
    """Points inside (low, high) between which quartics follow straight lines over the divisor.

    Halves down to a sixteenth serve its curvature; what then still fails has a kink, which is
    located and made a point. Errors are below FIT of the largest reciprocal.
    """
    peak = float(np.max(1.0 / divisor(np.linspace(low, high, 65))))
    u = np.concatenate([CHEBYSHEV, CHECKS])[:, None]

    def fits(a: Floats, b: Floats) -> NDArray[np.bool_]:
        reciprocal = 1.0 / divisor(a + (b - a) * u)
        worst = np.zeros(a.size)
        for values in (reciprocal, reciprocal * (2.0 * u - 1.0)):
            fitted = _value((TO_POWERS @ values[:5])[:, None], CHECKS[:, None])
            worst = np.maximum(worst, np.max(np.abs(fitted - values[5:]), axis=0))
        return worst <= FIT * peak

    points: list[float] = []
    a, b = np.array([low]), np.array([high])
    for _ in range(4):
        fail = ~fits(a, b)
        a, b = a[fail], b[fail]
        middle = 0.5 * (a + b)
        points += middle.tolist()
        a, b = np.concatenate([a, middle]), np.concatenate([middle, b])
    while a.size:
        fail = ~fits(a, b)
        a, b = a[fail], b[fail]
        left, right = a, b
        while np.any(right - left > 1e-9 * (high - low)):
            middle = 0.5 * (left + right)
            good = fits(a, middle)
            left, right = np.where(good, middle, left), np.where(good, right, middle)
        found = left > a
        points += left[found].tolist()
        a, b = left[found], b[found]
    return sorted(points)


def highest(f: Piecewise, within: tuple[float, float] | None = None) -> tuple[Floats, Floats]:
    """Largest value (S,) of functions that vanish far away, and the station (S,) where it stands.

    Where no value is positive: 0 and nan. At a jump the higher limit counts.
    within : only stations of that range count, its ends among them [m].
    """
    t, value = critical(f, prune=True) if within is None else critical_within(f, *within)
    best = np.argmax(value, axis=1)
    row = np.arange(best.size)
    top, at = value[row, best], t[row, best]
    return np.where(top > 0, top, 0.0), np.where(top > 0, at, np.nan)


def critical_within(f: Piecewise, low: float, high: float) -> tuple[Floats, Floats]:
    """`critical` of f in [low, high], its ends among the stations."""
    t, value = critical(f)
    value = np.where((t >= low) & (t <= high), value, -np.inf)
    ends = np.broadcast_to([low, high], (f.knots.shape[0], 2))
    return np.concatenate([t, ends], axis=1), np.concatenate([value, f.at(ends)], axis=1)


def critical(f: Piecewise, prune: bool = False) -> tuple[Floats, Floats]:
    """Stations (S, C) and values (S, C) among which every local maximum of f is found.

    Unused places hold the value -inf. With prune, stationary points are sought only on pieces
    whose Bernstein bound exceeds the row's best value at a knot.
    """
    left, h = f.knots[:, :-1], np.diff(f.knots, axis=1)
    c = f.coef[:, :, 1:-1]
    real = h > SHORT * (f.knots[:, -1:] - f.knots[:, :1])
    ends = np.concatenate([left, left + h], axis=1)
    values = np.concatenate([c[0], _value(c, h)], axis=1)
    values = np.where(np.concatenate([real, real], axis=1), values, -np.inf)
    if prune:
        real = real & (_bernstein_bound(c, h) > values.max(axis=1, keepdims=True))
    row, piece = np.nonzero(real)
    inside = c[:, row, piece]
    roots = _roots(_derivative(inside), h[row, piece])
    inner = np.full((roots.shape[0], *h.shape), -np.inf)
    place = np.zeros_like(inner)
    found = _value(inside[:, None, :], np.nan_to_num(roots))
    inner[:, row, piece] = np.where(np.isnan(roots), -np.inf, found)
    place[:, row, piece] = left[row, piece] + np.nan_to_num(roots)
    return (
        np.concatenate([ends, *place], axis=1),
        np.concatenate([values, *inner], axis=1),
    )


def _origins(knots: Floats) -> Floats:
    return np.concatenate([knots[:, :1], knots], axis=1)


def _value(c: Floats, s: Floats) -> Floats:
    """Polynomials c (n, ...) at distances s (...)."""
    value = np.asarray(c[-1] + 0.0 * s)
    for lower in c[-2::-1]:
        value = value * s + lower
    return value


def _derivative(c: Floats) -> Floats:
    return np.asarray(c[1:] * np.arange(1, c.shape[0])[:, None])


def _powers(h: Floats, n: int) -> Floats:
    """1, h, h^2, .. as (n, ...)."""
    return np.stack([h**k for k in range(n)])


def _recentred(c: Floats, delta: Floats) -> Floats:
    """Coefficients about a point delta further right, by repeated synthetic division, in place."""
    n = c.shape[0]
    for i in range(n - 1):
        for j in range(n - 2, i - 1, -1):
            c[j] += delta * c[j + 1]
    return c


def _bernstein_bound(c: Floats, h: Floats) -> Floats:
    """An upper bound of polynomials c (n, ...) on [0, h]: their largest Bernstein coefficient."""
    n = c.shape[0]
    matrix = np.array([[comb(i, j) / comb(n - 1, j) for j in range(n)] for i in range(n)])
    return np.asarray(np.tensordot(matrix, c * _powers(h, n), axes=1).max(axis=0))


def _roots(d: Floats, h: Floats) -> Floats:
    """Roots in (0, h) of polynomials d (n, M), n <= 4, as (n - 1 or 2, M), nan where none is."""
    if d.shape[0] <= 3:
        return _quadratic_roots(d, h)
    turn = _quadratic_roots(_derivative(d), h)
    cuts = np.sort(np.concatenate([turn, [np.zeros_like(h), h]]), axis=0)
    cuts = np.where(np.isnan(cuts), h, cuts)
    low, high = cuts[:-1].copy(), cuts[1:].copy()
    c = d[:, None, :]
    start = _value(c, low)
    crosses = start * _value(c, high) < 0
    for _ in range(8):
        middle = 0.5 * (low + high)
        same = _value(c, middle) * start > 0
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    root, slope = 0.5 * (low + high), _derivative(d)[:, None, :]
    for _ in range(6):  # Newton's steps, kept within the bracket, double the digits each time
        value, rate = _value(c, root), _value(slope, root)
        same = value * start > 0
        low, high = np.where(same, root, low), np.where(same, high, root)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = root - value / rate
        inside = (step >= low) & (step <= high)
        root = np.where(inside, step, 0.5 * (low + high))
    return np.where(crosses, root, np.nan)


def _quadratic_roots(d: Floats, h: Floats) -> Floats:
    """Roots in (0, h) of c + b s + a s^2 given as d (n <= 3, M), as (2, M) with nan for none."""
    c, b, a = np.concatenate([d, np.zeros((3 - d.shape[0], h.size))])
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -0.5 * (b + np.copysign(np.sqrt(b * b - 4.0 * a * c), b))
        roots = np.stack([q / a, c / q])
        inside = (roots > 0) & (roots < h)
    return np.where(inside, roots, np.nan)

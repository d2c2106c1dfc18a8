"""Polynomials by their Bernstein coefficients.

A polynomial of degree n on [0, 1] is a mean of its coefficients with weights of one sign that sum
to one, so it lies between the least and the greatest of them; the first and the last are its values
at the ends (Farouki 2012, The Bernstein polynomial basis; from memory). Halving its interval
(de Casteljau) brings the coefficients four times nearer to it.
"""

from functools import cache
from math import comb

import numpy as np

from plate.arrays import Floats
from plate.interpolation import lobatto

# Polynomials of all cells that are looked at together, so that they stay in cache.
TOGETHER = 8


@cache
def of_values(degree: int) -> Floats:
    """(n + 1, n + 1) coefficients of a polynomial from its values at the Gauss-Lobatto points."""
    t = 0.5 * (1.0 + lobatto(degree + 1))[:, None]
    k = np.arange(degree + 1)
    binomials = np.array([comb(degree, i) for i in range(degree + 1)], dtype=float)
    return np.asarray(np.linalg.inv(binomials * t**k * (1.0 - t) ** (degree - k)))


@cache
def halves(degree: int) -> tuple[Floats, Floats]:
    """(n + 1, n + 1) coefficients on the first and on the second half from those on the whole."""
    first = np.array([[comb(i, k) / 2.0**i for k in range(degree + 1)] for i in range(degree + 1)])
    return first, first[::-1, ::-1].copy()


def steepest(values: Floats, widths: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """Upper bounds (2, k, n, m) of the slopes along the first and along the second direction, and
    of these with the other sign, of polynomials of degree p in a grid of cells, from their values
    (k, n p + 1, m p + 1) at the cells' Gauss-Lobatto points.

    widths : of the cells in each direction, (n,) and (m,).
    """
    n, m = map(len, widths)
    order = (values.shape[1] - 1) // n
    C = of_values(order)
    starts = range(order + 1)
    along, across = np.empty((2, 2, len(values), n, m))
    for start in range(0, len(values), TOGETHER):
        part = slice(start, start + TOGETHER)
        ends = [values[part, :, i : i + order * (m - 1) + 1 : order] for i in starts]
        second = np.tensordot(C, np.stack(ends), 1)
        ends = [second[:, :, i : i + order * (n - 1) + 1 : order] for i in starts]
        both = np.tensordot(C, np.stack(ends), 1)
        for axis, found in enumerate((along, across)):
            change = np.diff(both, axis=axis).reshape(-1, *both.shape[2:])
            found[:, part] = change.max(axis=0), -change.min(axis=0)
    return order * along / widths[0][:, None], order * across / widths[1]

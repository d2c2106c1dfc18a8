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


def extremes_of_slopes(values: Floats, widths: Floats, axis: int) -> tuple[Floats, Floats]:
    """Lower and upper bounds (..., n, m) of the slope along the first (axis = 0) or the second
    direction of polynomials in cells, from their values (..., n, p + 1, m, p + 1) at the cells'
    Gauss-Lobatto points.

    widths : of the cells along that direction, (n,) or (m,).
    """
    order = values.shape[-1] - 1
    C = of_values(order)
    coefficients = np.einsum("ij,...ajbk->...aibk", C, values @ C.T, optimize=True)
    along = -3 if axis == 0 else -1
    slopes = order * np.diff(coefficients, axis=along)
    scale = widths[:, None] if axis == 0 else widths
    return slopes.min(axis=(-3, -1)) / scale, slopes.max(axis=(-3, -1)) / scale

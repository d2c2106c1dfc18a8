"""Bernstein coefficients against the polynomials themselves, sampled."""

import numpy as np
import pytest

from pipelines.accuracy.bernstein import halves, of_values, steepest
from plate.interpolation import lagrange, lagrange_derivative, lobatto


@pytest.mark.parametrize("degree", range(1, 10))
def test_coefficients_bound_the_polynomial_and_its_ends_are_theirs(degree: int) -> None:
    rng = np.random.default_rng(degree)
    values = rng.standard_normal((200, degree + 1))
    found = values @ of_values(degree).T
    x = np.linspace(-1.0, 1.0, 401)
    sampled = values @ lagrange(lobatto(degree + 1), x).T
    # rounding: the inverse of Bernstein's matrix of degree 9 has a norm of some 1e4
    slack = 1e-11
    assert np.all(sampled.max(axis=1) <= found.max(axis=1) + slack)
    assert np.all(sampled.min(axis=1) >= found.min(axis=1) - slack)
    np.testing.assert_allclose(found[:, [0, -1]], values[:, [0, -1]], atol=slack)


@pytest.mark.parametrize("degree", [1, 2, 4, 9])
def test_halves_are_the_same_polynomial_and_nearer_to_it(degree: int) -> None:
    rng = np.random.default_rng(degree)
    values = rng.standard_normal((50, degree + 1))
    nodes = lobatto(degree + 1)
    whole = values @ of_values(degree).T
    excess = np.empty((2, 50))
    for k, matrix in enumerate(halves(degree)):
        x = 0.5 * (nodes - 1.0) + k
        here = values @ lagrange(nodes, x).T
        half = whole @ matrix.T
        np.testing.assert_allclose(half, here @ of_values(degree).T, atol=1e-9)
        excess[k] = half.max(axis=1)
    assert np.all(excess.max(axis=0) <= whole.max(axis=1) + 1e-12)


@pytest.mark.parametrize("order", [1, 2, 3, 5])
def test_slopes_of_cells_lie_within_their_bounds(order: int) -> None:
    rng = np.random.default_rng(order)
    values = rng.standard_normal((19, 3 * order + 1, 2 * order + 1))
    widths = np.array([0.2, 1.5, 0.7]), np.array([2.0, 0.3])
    nodes, x = lobatto(order + 1), np.linspace(-1.0, 1.0, 41)
    N, D = lagrange(nodes, x), lagrange_derivative(nodes, x)
    of_cells = [order * np.arange(n)[:, None] + np.arange(order + 1) for n in (3, 2)]
    cells = values[:, of_cells[0]][..., of_cells[1]]
    found = steepest(values, widths)
    for axis, (a, b) in enumerate(((D, N), (N, D))):
        width = widths[axis][:, None] if axis == 0 else widths[axis]
        slopes = np.einsum("qi,raibj,tj->rabqt", a, cells, b) * 2.0 / width[..., None, None]
        for sign, high in zip((1.0, -1.0), found[axis], strict=True):
            most = (sign * slopes).max(axis=(3, 4))
            assert np.all(most <= high + 1e-9)
            # and the bounds are the coefficients', not some blanket: of order 1 they are exact
            if order == 1:
                np.testing.assert_allclose(most, high, rtol=1e-9)

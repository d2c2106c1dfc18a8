"""Quadrature and interpolation on the reference interval."""

import numpy as np
import pytest

from plate.interpolation import (
    cell_nodes,
    gauss,
    lagrange,
    lagrange_derivative,
    lobatto,
    shape,
    shape_gradient,
    square,
)

X = np.linspace(-1.0, 1.0, 7)


@pytest.mark.parametrize("n", range(1, 9))
def test_gauss_is_exact_to_degree_2n_minus_1(n: int) -> None:
    points, weights = gauss(n)
    for degree in range(2 * n):
        exact = 0.0 if degree % 2 else 2.0 / (degree + 1)
        assert weights @ points**degree == pytest.approx(exact, abs=1e-14)
    assert abs(weights @ points ** (2 * n) - 2.0 / (2 * n + 1)) > 1e-8


@pytest.mark.parametrize(
    ("n", "inner"),
    [
        (2, []),
        (3, [0.0]),
        (4, [-(0.2**0.5), 0.2**0.5]),
        (5, [-((3 / 7) ** 0.5), 0, (3 / 7) ** 0.5]),
    ],
)
def test_lobatto_points(n: int, inner: list[float]) -> None:
    """Abramowitz and Stegun, table 25.6."""
    np.testing.assert_allclose(lobatto(n), [-1.0, *inner, 1.0], rtol=0, atol=1e-15)


@pytest.mark.parametrize("order", range(1, 7))
def test_lagrange_reproduces_polynomials_and_their_derivatives(order: int) -> None:
    nodes = lobatto(order + 1)
    np.testing.assert_allclose(lagrange(nodes, nodes), np.eye(order + 1), rtol=0, atol=1e-14)
    for degree in range(order + 1):
        np.testing.assert_allclose(
            lagrange(nodes, X) @ nodes**degree, X**degree, rtol=0, atol=1e-13
        )
        slope = degree * X ** max(degree - 1, 0)
        np.testing.assert_allclose(
            lagrange_derivative(nodes, X) @ nodes**degree, slope, rtol=0, atol=1e-12
        )
    wrong = lagrange(nodes, X) @ nodes ** (order + 1) - X ** (order + 1)
    assert np.abs(wrong).max() > 1e-3


@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_shape_functions_of_the_square(order: int) -> None:
    nodes = cell_nodes(order)
    points = square(X, 0.9 * X)
    np.testing.assert_allclose(shape(order, nodes), np.eye(len(nodes)), rtol=0, atol=1e-13)
    f = nodes[:, 0] ** order * nodes[:, 1] - 2.0 * nodes[:, 1] ** order
    xi, eta = points.T
    exact = xi**order * eta - 2.0 * eta**order
    np.testing.assert_allclose(shape(order, points) @ f, exact, rtol=0, atol=1e-13)
    along = order * xi ** (order - 1) * eta
    across = xi**order - 2.0 * order * eta ** (order - 1)
    np.testing.assert_allclose(shape_gradient(order, points)[:, 0] @ f, along, rtol=0, atol=1e-12)
    np.testing.assert_allclose(shape_gradient(order, points)[:, 1] @ f, across, rtol=0, atol=1e-12)


def test_no_points_are_points_too() -> None:
    assert shape(2, np.zeros((0, 2))).shape == (0, 9)
    assert shape_gradient(2, np.zeros((0, 2))).shape == (0, 2, 9)


def test_nodes_of_a_cell_run_along_eta_first() -> None:
    np.testing.assert_array_equal(cell_nodes(1), [[-1, -1], [-1, 1], [1, -1], [1, 1]])

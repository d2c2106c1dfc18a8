"""The reference interval [-1, 1]: Gauss and Gauss-Lobatto points and Lagrange interpolation."""

import math
from functools import cache

import numpy as np
from numpy.polynomial import legendre

from plate.arrays import Floats


@cache
def gauss(n: int) -> tuple[Floats, Floats]:
    """Points and weights (n,) of the n-point Gauss-Legendre rule, exact to degree 2n - 1."""
    points, weights = legendre.leggauss(n)
    return points, weights


@cache
def lobatto(n: int) -> Floats:
    """The n >= 2 Gauss-Lobatto points (n,): both ends and the extrema of P_(n-1)."""
    inner = legendre.Legendre.basis(n - 1).deriv().roots() if n > 2 else np.empty(0)
    points = np.concatenate([[-1.0], np.sort(inner.real), [1.0]])
    return np.asarray(0.5 * (points - points[::-1]))


def lagrange(nodes: Floats, x: Floats) -> Floats:
    """Values (..., n) at x (...) of the Lagrange polynomials on nodes (n,); any arrays that take
    numpy's functions."""
    factors = _other_factors(np.expand_dims(x, -1) - np.asarray(nodes, like=x))
    found: Floats = factors / np.asarray(_apart(tuple(nodes.tolist())), like=x)
    return found


@cache
def _apart(nodes: tuple[float, ...]) -> Floats:
    """(n,) products of each node's distances from all others."""
    places = np.array(nodes)
    return np.asarray(np.diagonal(_other_factors(places[:, None] - places)))


def _other_factors(factors: Floats) -> Floats:
    """(..., n) products of all factors (..., n) but one, for each of them."""
    products = np.ones_like(factors)
    before, after = factors[..., 0], factors[..., -1]
    for k in range(1, factors.shape[-1]):
        products[..., k] *= before
        products[..., -1 - k] *= after
        before, after = before * factors[..., k], after * factors[..., -1 - k]
    return products


def integrated(order: int, x: Floats) -> Floats:
    """Integrals (..., p+1) from -1 to x (...) of Lagrange's polynomials on Gauss-Lobatto points."""
    return np.asarray(lagrange(lobatto(order + 2), x) @ _integrals(order))


@cache
def _integrals(order: int) -> Floats:
    """(p+2, p+1) the same at the Gauss-Lobatto points of one order more."""
    at, weight = gauss(order + 1)
    ends = lobatto(order + 2)
    half = 0.5 * (ends[:, None] + 1.0)
    values = lagrange(lobatto(order + 1), half * (1.0 + at) - 1.0)
    return np.asarray(np.einsum("eq,eqn->en", half * weight, values))


def lagrange_derivative(nodes: Floats, x: Floats) -> Floats:
    """Derivatives (..., n) at x (...) of the Lagrange polynomials on nodes (n,)."""
    return np.asarray(lagrange(nodes, x) @ _node_derivatives(tuple(nodes.tolist())))


@cache
def _node_derivatives(nodes: tuple[float, ...]) -> Floats:
    """(n, n) derivatives of the polynomials (columns) at the nodes (rows)."""
    found = np.zeros((len(nodes), len(nodes)))
    for i, node in enumerate(nodes):
        scale = math.prod(node - other for other in nodes if other != node)
        for m, at in enumerate(nodes):
            for k in range(len(nodes)):
                if k != i:
                    rest = (at - n for j, n in enumerate(nodes) if j not in (i, k))
                    found[m, i] += math.prod(rest) / scale
    return found


def shape(order: int, points: Floats) -> Floats:
    """Shape functions (..., (p+1)^2) of the square at points (..., 2).

    Node i (p+1) + j of a cell lies at (xi_i, eta_j), both Gauss-Lobatto points.
    """
    nodes = lobatto(order + 1)
    a, b = lagrange(nodes, points[..., 0]), lagrange(nodes, points[..., 1])
    return (a[..., :, None] * b[..., None, :]).reshape(*points.shape[:-1], len(nodes) ** 2)


def shape_gradient(order: int, points: Floats) -> Floats:
    """Derivatives (..., 2, (p+1)^2) of `shape` along xi and eta."""
    nodes = lobatto(order + 1)
    a, b = lagrange(nodes, points[..., 0]), lagrange(nodes, points[..., 1])
    derivatives = _node_derivatives(tuple(nodes.tolist()))
    da, db = a @ derivatives, b @ derivatives
    # The size is given, so that no points at all are points, too.
    size = (*points.shape[:-1], len(nodes) ** 2)
    along = (da[..., :, None] * b[..., None, :]).reshape(size)
    across = (a[..., :, None] * db[..., None, :]).reshape(size)
    return np.stack([along, across], axis=-2)


def square(xi: Floats, eta: Floats) -> Floats:
    """Tensor grid of points (n_xi n_eta, 2), eta fastest."""
    grid = np.meshgrid(xi, eta, indexing="ij")
    return np.stack([g.ravel() for g in grid], axis=-1)


@cache
def cell_nodes(order: int) -> Floats:
    """Reference coordinates ((p+1)^2, 2) of a cell's nodes."""
    points = lobatto(order + 1)
    return square(points, points)

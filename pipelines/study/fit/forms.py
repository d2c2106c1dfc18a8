"""Forms of a fitted formula, and how they are fitted.

With x the inputs and y the response, all positive,

    ln y = sum over terms of c * product of (ln x_j)^e_j,

a power law where the exponents e of every term sum to at most 1, a polynomial in logs otherwise.
The mean is the least-squares line of ln y; the safe-side line is a quantile of ln y by linear
programming (Koenker and Bassett 1978). Limits are linear equations in the coefficients and hold
exactly; with no input left free they leave nothing to fit.
"""

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from scipy.linalg import null_space
from scipy.optimize import linprog

from pipelines.study.fit.file import FitError
from plate.arrays import Floats, Ints

# Coefficients are printed, and everything stated of the formula is computed, with so many figures.
FIGURES = 4
# Inputs whose standardised terms have singular values below this share are not told apart.
INDEPENDENT = 1e-8


def exponents(n_input: int, degree: int) -> Ints:
    """(n_term, n_input) of all terms up to a degree, the constant first."""
    rows = [
        np.bincount(np.array(chosen, dtype=int), minlength=n_input)
        for total in range(degree + 1)
        for chosen in combinations_with_replacement(range(n_input), total)
    ]
    return np.array(rows, dtype=np.int64).reshape(len(rows), n_input)


def terms(powers: Ints, x: Floats) -> Floats:
    """(n, n_term) of inputs (n, n_input), which are positive."""
    logs = np.log(x)[:, None, :]
    return np.asarray(np.prod(logs**powers, axis=2))


@dataclass(frozen=True)
class Curve:
    """A fitted formula: powers (n_term, n_input) and coefficients (n_term,)."""

    powers: Ints
    coefficients: Floats

    def at(self, x: Floats) -> Floats:
        """The response (n,) at inputs (n, n_input)."""
        return np.asarray(np.exp(terms(self.powers, x) @ self.coefficients))

    def rounded(self) -> "Curve":
        """The same form with the coefficients that are printed."""
        return Curve(self.powers, np.array([float(f"{c:.{FIGURES}g}") for c in self.coefficients]))


@dataclass(frozen=True)
class Limits:
    """Equations A c = d that the coefficients meet; A (n, n_term), d (n,)."""

    A: Floats
    d: Floats


def limits_of(powers: Ints, at: Floats, values: Floats) -> Limits:
    """The formula equals `values` (n,) at inputs `at` (n, n_input)."""
    return Limits(terms(powers, at.reshape(-1, powers.shape[1])), np.log(values))


def mean_curve(powers: Ints, x: Floats, y: Floats, limits: Limits) -> Curve:
    """Least squares of ln y.

    Raises FitError where the rows do not tell the terms apart or the limits contradict each other.
    """
    X = terms(powers, x)
    start, free = _free_directions(X, limits)
    if free.shape[1] == 0:
        return Curve(powers, start)
    found, *_ = np.linalg.lstsq(X @ free, np.log(y) - X @ start, rcond=None)
    return Curve(powers, start + free @ found)


def quantile_curve(powers: Ints, x: Floats, y: Floats, share: float, limits: Limits) -> Curve:
    """The line below which a share of the rows lies, as near to all of them as can be.

    Raises FitError like `mean_curve`.
    """
    X = terms(powers, x)
    start, free = _free_directions(X, limits)
    if free.shape[1] == 0:
        return Curve(powers, start)
    n, k = len(X), free.shape[1]
    cost = np.concatenate([np.zeros(k), np.full(n, share), np.full(n, 1.0 - share)])
    equations = np.hstack([X @ free, np.eye(n), -np.eye(n)])
    right = np.log(y) - X @ start
    bounds = [(None, None)] * k + [(0.0, None)] * (2 * n)
    found = linprog(cost, A_eq=equations, b_eq=right, bounds=bounds, method="highs")
    if found.x is None:
        raise FitError(f"the quantile has no solution: {found.message}")
    return Curve(powers, start + free @ found.x[:k])


def _free_directions(X: Floats, limits: Limits) -> tuple[Floats, Floats]:
    """Coefficients (n_term,) that meet the limits, and directions (n_term, k) that keep them."""
    n_term = X.shape[1]
    if len(X) < n_term:
        raise FitError(f"{len(X)} rows for {n_term} terms: more rows, fewer inputs or terms")
    start: Floats = np.zeros(n_term)
    free: Floats = np.eye(n_term)
    if len(limits.d):
        start = np.asarray(np.linalg.lstsq(limits.A, limits.d, rcond=None)[0])
        if np.abs(limits.A @ start - limits.d).max() > 1e-9:
            raise FitError("the limits contradict each other")
        free = null_space(limits.A)
    scale = np.linalg.norm(X, axis=0)
    values = np.linalg.svd(X / np.where(scale > 0.0, scale, 1.0), compute_uv=False)
    if values[-1] < INDEPENDENT * values[0]:
        raise FitError(
            "the rows do not tell the terms apart: an input is constant, has too few levels for "
            "the degree, or follows from the others"
        )
    return start, free

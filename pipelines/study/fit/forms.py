"""Forms of a fitted formula, and how they are fitted.

With x the inputs and y the response, all positive,

    ln y = sum over terms of c * product of (ln x_j)^e_j     power law, polynomial in logs
       y = sum over terms of c * product of x_j^e_j          polynomial

a power law where the exponents e of every term sum to at most 1. The mean is the least-squares line
of ln y, of a polynomial that of the relative errors; the safe-side line is a quantile by linear
programming (Koenker and Bassett 1978). Limits are linear equations in the coefficients and hold
exactly; with no input left free they leave nothing to fit.
"""

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from scipy.linalg import null_space
from scipy.optimize import linprog

from pipelines.study.fit.file import FitError, Form, Limit
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


def _told_apart(powers: Ints, x: Floats) -> Ints:
    """The terms less those of an input's power that its few levels make of its lower ones."""
    levels = np.array([max(len(np.unique(column)), 2) for column in x.T])
    return powers[(powers < levels).all(axis=1)]


def terms(form: Form, powers: Ints, x: Floats) -> Floats:
    """(n, n_term) of inputs (n, n_input), which are positive."""
    base = np.log(x) if form.logs else x
    return np.asarray(np.prod(base[:, None, :] ** powers, axis=2))


@dataclass(frozen=True)
class Curve:
    """A fitted formula: powers (n_term, n_input) and coefficients (n_term,)."""

    form: Form
    powers: Ints
    coefficients: Floats

    def at(self, x: Floats) -> Floats:
        """The response (n,) at inputs (n, n_input)."""
        total = terms(self.form, self.powers, x) @ self.coefficients
        return np.asarray(np.exp(total) if self.form.logs else total)

    def rounded(self) -> "Curve":
        """The same form with the coefficients that are printed."""
        printed = np.array([float(f"{c:.{FIGURES}g}") for c in self.coefficients])
        return Curve(self.form, self.powers, printed)


@dataclass(frozen=True, eq=False)
class Problem:
    """Rows as X c = right, of which errors count alike, and the coefficients that meet the limits:
    start (n_term,) plus any sum of the directions free (n_term, k)."""

    form: Form
    powers: Ints
    X: Floats
    right: Floats
    start: Floats
    free: Floats

    def curve(self, along: Floats) -> Curve:
        """The formula at shares (k,) of the free directions."""
        return Curve(self.form, self.powers, self.start + self.free @ along)


def problem(form: Form, x: Floats, y: Floats, limits: tuple[Limit, ...] = ()) -> Problem:
    """What a form has to meet: rows x (n, n_input), y (n,), and its limits exactly.

    Raises FitError where the rows do not tell the terms apart or the limits contradict each other.
    """
    powers = _told_apart(exponents(x.shape[1], form.degree), x)
    X = terms(form, powers, x)
    at = np.array([limit.at for limit in limits]).reshape(-1, x.shape[1])
    values = np.array([limit.value for limit in limits])
    start, free = _free_directions(X, terms(form, powers, at), form.logs, values)
    if form.logs:
        return Problem(form, powers, X, np.log(y), start, free)
    return Problem(form, powers, X / y[:, None], np.ones(len(y)), start, free)


def mean_curve(given: Problem) -> Curve:
    """Least squares of ln y, or of relative errors."""
    left = given.right - given.X @ given.start
    found, *_ = np.linalg.lstsq(given.X @ given.free, left, rcond=None)
    return given.curve(np.asarray(found, dtype=float))


def quantile_curve(given: Problem, share: float) -> Curve:
    """The line below which a share of the rows lies, as near to all of them as can be.

    Raises FitError where there is none.
    """
    n, k = len(given.X), given.free.shape[1]
    if k == 0:
        return given.curve(np.zeros(0))
    # The dual: as many equations as coefficients, which are its multipliers. It takes a sixth of
    # the time of the programme in residuals, of which there is an equation for every row.
    left = given.right - given.X @ given.start
    bounds = [(share - 1.0, share)] * n
    equations = (given.X @ given.free).T
    found = linprog(-left, A_eq=equations, b_eq=np.zeros(k), bounds=bounds, method="highs")
    if found.x is None:
        raise FitError(f"the quantile has no solution: {found.message}")
    return given.curve(-found.eqlin.marginals)


def _free_directions(X: Floats, A: Floats, logs: bool, values: Floats) -> tuple[Floats, Floats]:
    """Coefficients (n_term,) that meet the limits A c = values, or their logarithms, and directions
    (n_term, k) that keep them."""
    n_term = X.shape[1]
    if len(X) < n_term:
        raise FitError(f"{len(X)} rows for {n_term} terms: more rows, fewer inputs or terms")
    start: Floats = np.zeros(n_term)
    free: Floats = np.eye(n_term)
    if len(values):
        right = np.log(values) if logs else values
        start = np.asarray(np.linalg.lstsq(A, right, rcond=None)[0])
        if np.abs(A @ start - right).max() > 1e-9 * max(1.0, float(np.abs(right).max())):
            raise FitError("the limits contradict each other")
        free = null_space(A)
    scale = np.linalg.norm(X, axis=0)
    singular = np.linalg.svd(X / np.where(scale > 0.0, scale, 1.0), compute_uv=False)
    if singular[-1] < INDEPENDENT * singular[0]:
        raise FitError(
            "the rows do not tell the terms apart: an input is constant, has too few levels for "
            "the degree, or follows from the others"
        )
    return start, free

"""Least squares and their intervals on models with known answers."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import binom

from pipelines.loadtest.fit import Fit, fit
from plate.arrays import Floats


@dataclass(frozen=True)
class Formula:
    """Readings by a formula of factors exp(x), differentiated by steps in the complex plane, which
    lose no digits."""

    of: Callable[[Floats], Floats]

    def values(self, x: Floats) -> Floats:
        return np.asarray(self.of(np.exp(x)))

    def jacobian(self, x: Floats) -> Floats:
        columns = [np.imag(self.of(np.exp(x + 1e-30j * e))) / 1e-30 for e in np.eye(len(x))]
        return np.column_stack(columns)


POSITIONS = np.linspace(0.05, 0.95, 15)


def beam_on_springs(factors: Floats) -> Floats:
    """Deflections under a unit load that moves over a beam of unit span on two springs: at the
    load and in the middle."""
    EI, left, right = factors
    a = POSITIONS
    b = 1.0 - a
    springs = b**2 / (10.0 * left) + a**2 / (10.0 * right)
    own = a**2 * b**2 / (3.0 * EI)
    c = np.minimum(a, b)
    middle = c * (3.0 - 4.0 * c**2) / (48.0 * EI) + 0.5 * (b / (10.0 * left) + a / (10.0 * right))
    return np.concatenate([own + springs, middle])


MODEL = Formula(beam_on_springs)
TRUE = np.log([0.7, 1.6, 1.2])
BOUNDS = np.full(3, np.log(0.05)), np.full(3, np.log(20.0))
NOISE = 0.002


def found(measured: Floats, accuracy: Floats | None, model: Formula = MODEL) -> Fit:
    n = len(BOUNDS[0])
    return fit(model, measured, accuracy, np.zeros(n), BOUNDS)


@pytest.mark.parametrize("stated", [True, False])
def test_intervals_hold_the_truth_in_95_of_100(stated: bool) -> None:
    """Of 400 trials the count that holds it is binomial; beyond the limits taken lies one chance in
    a thousand, and the sixfold look (three unknowns, two ways) makes it six."""
    rng = np.random.default_rng(20)
    trials, exact = 400, MODEL.values(TRUE)
    accuracy = np.full(len(exact), NOISE) if stated else None
    held = np.zeros(3)
    for _ in range(trials):
        one = found(exact + NOISE * rng.standard_normal(len(exact)), accuracy)
        held += (one.low <= TRUE) & (one.high >= TRUE)
    low, high = (binom.ppf(share, trials, 0.95) for share in (5e-4, 1.0 - 5e-4))
    assert ((low <= held) & (held <= high)).all(), held


def test_without_noise_the_truth_is_found() -> None:
    one = found(MODEL.values(TRUE), None)
    np.testing.assert_allclose(np.exp(one.x), np.exp(TRUE), rtol=1e-6)
    assert one.together == ()


def test_intervals_of_a_line_are_those_of_theory() -> None:
    """y = a + b t is linear: covariance (X^T X)^-1 s^2, Student's quantile at n - 2 (Draper and
    Smith, from memory), computed here by its own formulas; in logarithms a small interval divides
    by the value."""
    t = np.arange(8.0)
    y = 2.0 + 0.5 * t + 1e-4 * np.array([1.0, -1.0, 0.5, -0.5, 1.0, -1.0, -0.5, 0.5])
    line = Formula(lambda f: f[0] + f[1] * t)
    one = fit(line, y, None, np.zeros(2), (BOUNDS[0][:2], BOUNDS[1][:2]))
    b = ((t - t.mean()) @ y) / ((t - t.mean()) @ (t - t.mean()))
    a = y.mean() - b * t.mean()
    s = np.sqrt(np.sum((y - a - b * t) ** 2) / 6.0)
    of_b = s / np.sqrt(np.sum((t - t.mean()) ** 2))
    of_a = s * np.sqrt(1.0 / 8.0 + t.mean() ** 2 / np.sum((t - t.mean()) ** 2))
    np.testing.assert_allclose(np.exp(one.x), [a, b], rtol=1e-9)
    np.testing.assert_allclose(one.deviation, [of_a / a, of_b / b], rtol=1e-5)
    # Student's t at 6 degrees of freedom, 97.5 %: 2.447 (tables of the distribution, from memory).
    assert one.quantile == pytest.approx(2.447, abs=5e-4)
    assert one.spread == pytest.approx(s, rel=1e-6)


def test_what_only_counts_together_is_not_told() -> None:
    """Only EI t^3 is seen of the first two; the third is found all the same."""
    t = np.linspace(0.1, 1.0, 9)
    model = Formula(lambda f: t / (f[0] * f[1] ** 3) + 0.3 * t**2 / f[2])
    one = found(model.values(np.log([0.8, 1.1, 1.4])), None, model)
    assert one.together == (((0, 1), -1.0),)
    assert np.isinf(one.deviation[:2]).all()
    assert np.exp(one.x[2]) == pytest.approx(1.4, rel=1e-6)
    assert one.deviation[2] < 1e-6
    assert one.x[0] + 3.0 * one.x[1] == pytest.approx(np.log(0.8 * 1.1**3), abs=1e-6)


def test_what_is_nearly_alike_is_said_with_its_correlation() -> None:
    """Two columns that differ by a hundredth: by how much the sum is known, the difference is not.
    With columns c and c + 0.01 d, d of the same size across c, the correlation is
    -1/sqrt(1 + 1e-4)."""
    t = np.linspace(-1.0, 1.0, 11)
    c, d = np.ones(11), t / np.sqrt(np.mean(t**2))
    model = Formula(lambda f: c * np.log(f[0]) + (c + 0.01 * d) * np.log(f[1]) + t**2 * f[2])
    one = found(model.values(np.zeros(3)) + 1e-3 * np.cos(9.0 * t), np.full(11, 1e-3), model)
    [(who, rho)] = one.together
    assert who == (0, 1)
    assert rho < -0.999
    assert np.isfinite(one.deviation).all()


def test_no_reading_depends_on_it() -> None:
    t = np.linspace(0.1, 1.0, 9)
    model = Formula(lambda f: t * f[0] + t**2 * f[2] + 0.0 * f[1])
    one = found(model.values(np.log([0.8, 1.0, 1.4])), None, model)
    assert np.isinf(one.deviation).tolist() == [False, True, False]
    assert one.together == ()


def test_a_bound_holds_what_wants_to_leave() -> None:
    one = found(MODEL.values(np.log([0.02, 1.6, 1.2])), np.full(30, NOISE))
    assert one.at_bound.tolist() == [-1, 0, 0]
    assert np.isnan(one.deviation[0])
    assert one.too_large  # what the bound keeps from being answered is left over


@pytest.mark.parametrize(("times", "too_large"), [(1.0, False), (3.0, True)])
def test_differences_larger_than_the_accuracy_stated_are_said(
    times: float, too_large: bool
) -> None:
    rng = np.random.default_rng(3)
    exact = MODEL.values(TRUE)
    measured = exact + times * NOISE * rng.standard_normal(len(exact))
    one = found(measured, np.full(len(exact), NOISE))
    assert one.too_large is too_large
    assert one.spread == pytest.approx(times, rel=0.3)  # 27 degrees of freedom: ± 14 % a deviation
    # The normal distribution's 1.960, or Student's at 27 degrees of freedom, 2.052 (from memory).
    assert one.quantile == pytest.approx(2.052 if too_large else 1.960, abs=5e-4)

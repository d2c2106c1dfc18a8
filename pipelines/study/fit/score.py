"""How good a formula is: predicted over computed, on rows fitted and on rows it never saw."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipelines.study.fit.file import Fit, FitError
from pipelines.study.fit.forms import Curve, exponents, limits_of, mean_curve, quantile_curve
from plate.arrays import Floats

Flags = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Rows:
    """Rows that a fit uses.

    number : of each in the study's design; x (n, n_input); y (n,) the response; held : held out;
    families : column -> level of each row; compare : name -> widths (n,), nan where there is none.
    """

    number: NDArray[np.int64]
    x: Floats
    y: Floats
    held: Flags
    families: dict[str, tuple[object, ...]]
    compare: dict[str, Floats]


@dataclass(frozen=True)
class Curves:
    """The two lines of a fit, with the coefficients that are printed."""

    mean: Curve
    safe: Curve


@dataclass(frozen=True, kw_only=True)
class Score:
    """Predicted over computed: number of rows, mean (bias), coefficient of variation, extremes,
    and the share of rows on the unsafe side. missing : rows without a prediction."""

    n: int
    missing: int
    bias: float
    variation: float
    low: float
    high: float
    unsafe: float

    @property
    def worst(self) -> float:
        """The largest relative error of any row."""
        return max(abs(self.low - 1.0), abs(self.high - 1.0))


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A level of a family, predicted by formulas fitted without it; why not, if that cannot be."""

    family: str
    level: object
    mean: Score | None
    safe: Score | None
    reason: str = ""


def fit_curves(fit: Fit, x: Floats, y: Floats) -> Curves:
    """The mean and the safe-side line of rows; FitError where they do not support the form."""
    powers = exponents(x.shape[1], fit.degree)
    at = np.array([limit.at for limit in fit.limits])
    limits = limits_of(powers, at, np.array([limit.value for limit in fit.limits]))
    share = fit.quantile if fit.unsafe_above else 1.0 - fit.quantile
    return Curves(
        mean_curve(powers, x, y, limits).rounded(),
        quantile_curve(powers, x, y, share, limits).rounded(),
    )


def score(predicted: Floats, computed: Floats, unsafe_above: bool) -> Score | None:
    """None where no row has a prediction, which is a number above zero."""
    there = np.isfinite(predicted) & (predicted > 0.0)
    ratio = predicted[there] / computed[there]
    if not len(ratio):
        return None
    unsafe = ratio > 1.0 if unsafe_above else ratio < 1.0
    mean = float(ratio.mean())
    return Score(
        n=len(ratio),
        missing=int(np.sum(~there)),
        bias=mean,
        variation=float(ratio.std(ddof=1)) / mean if len(ratio) > 1 else 0.0,
        low=float(ratio.min()),
        high=float(ratio.max()),
        unsafe=float(unsafe.mean()),
    )


def within(x: Floats, ranges: Floats) -> Flags:
    """Which rows (n, n_input) lie within the ranges (n_input, 2) that a formula is stated for."""
    slack = 1e-9 * (ranges[:, 1] - ranges[:, 0])
    return np.asarray(np.all((x >= ranges[:, 0] - slack) & (x <= ranges[:, 1] + slack), axis=1))


def enforced(curve: Curve, x: Floats, ranges: Floats) -> Floats:
    """Predictions, nan outside the stated limits."""
    found = np.full(len(x), np.nan)
    inside = within(x, ranges)
    found[inside] = curve.at(x[inside])
    return found


def leave_out(fit: Fit, rows: Rows) -> tuple[LeftOut, ...]:
    """Every level of every family left out in turn and predicted, beyond the limits if need be."""
    found = []
    for family, levels in rows.families.items():
        for level in dict.fromkeys(sorted(levels, key=_order)):
            out = np.array([one == level for one in levels])
            found.append(_without(fit, rows, family, level, out))
    return tuple(found)


def _without(fit: Fit, rows: Rows, family: str, level: object, out: Flags) -> LeftOut:
    try:
        curves = fit_curves(fit, rows.x[~out], rows.y[~out])
    except FitError as error:
        return LeftOut(family=family, level=level, mean=None, safe=None, reason=str(error))

    def judged(curve: Curve) -> Score | None:
        return score(curve.at(rows.x[out]), rows.y[out], fit.unsafe_above)

    return LeftOut(family=family, level=level, mean=judged(curves.mean), safe=judged(curves.safe))


def _order(level: object) -> tuple[str, float, str]:
    if isinstance(level, int | float):
        return "", float(level), ""
    return "text", 0.0, str(level)

"""How good a formula is: predicted over computed, on rows fitted and on rows it never saw."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import beta

from pipelines.study.fit.file import Fit, FitError, Form
from pipelines.study.fit.forms import Curve, mean_curve, problem, quantile_curve
from pipelines.study.fit.rows import Flags, Rows
from pipelines.study.fit.validity import Validity, validity_of
from pipelines.study.sensitivity import formula_indices
from plate.arrays import Floats

# Forms that are set beside that of the fit file.
FORMS = (
    Form("power law", 1),
    Form("polynomial in logs", 2),
    Form("polynomial in logs", 3),
    Form("polynomial", 1),
    Form("polynomial", 2),
    Form("polynomial", 3),
)
# The error that all but one in twenty rows keep within.
MOST_OF = 95.0


@dataclass(frozen=True)
class Curves:
    """The two lines of a fit, with the coefficients that are printed."""

    mean: Curve
    safe: Curve


@dataclass(frozen=True, kw_only=True)
class Score:
    """Predicted over computed: number of rows, mean (bias), coefficient of variation, extremes,
    the relative error that 95 % of the rows keep within, and the share of rows on the unsafe side.
    missing : rows without a prediction."""

    n: int
    missing: int
    bias: float
    variation: float
    low: float
    high: float
    within: float
    unsafe: float

    @property
    def worst(self) -> float:
        """The largest relative error of any row."""
        return max(abs(self.low - 1.0), abs(self.high - 1.0))


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """How many rows that were held out lie on the safe side of the safe-side formula.

    safe : their share of n rows with a prediction, of so many geometries; low, high : the 95 %
    interval (Clopper and Pearson 1934; from memory), each geometry counted as one row, since rows
    of a geometry are alike.
    """

    n: int
    geometries: int
    safe: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A level of a family, predicted by formulas fitted without it; why not, if that cannot be."""

    family: str
    level: object
    mean: Score | None
    safe: Score | None
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Compared:
    """A form with its number of coefficients, fitted to the same rows and judged on the same rows;
    why not, if that cannot be."""

    form: Form
    coefficients: int
    score: Score | None
    reason: str = ""


def fit_mean(fit: Fit, x: Floats, y: Floats) -> Curve:
    """The mean line of rows; FitError where they do not support the form."""
    return mean_curve(problem(fit.form, x, y, fit.limits)).rounded()


def fit_curves(fit: Fit, x: Floats, y: Floats) -> Curves:
    """The mean and the safe-side line of rows; FitError where they do not support the form."""
    given = problem(fit.form, x, y, fit.limits)
    share = fit.quantile if fit.unsafe_above else 1.0 - fit.quantile
    return Curves(mean_curve(given).rounded(), quantile_curve(given, share).rounded())


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
        within=float(np.percentile(np.abs(ratio - 1.0), MOST_OF)),
        unsafe=float(unsafe.mean()),
    )


def where_it_holds(mean: Curve, x: Floats) -> tuple[tuple[Floats, Floats], Validity]:
    """Indices of first and total order of a mean fitted to rows x, and the limits of these."""
    effects = formula_indices(mean.at, np.stack([x.min(axis=0), x.max(axis=0)], axis=1))
    return effects, validity_of(x, effects[1])


def enforced(curve: Curve, x: Floats, validity: Validity) -> Floats:
    """Predictions, nan outside the stated limits."""
    found = np.full(len(x), np.nan)
    inside = validity.inside(x)
    found[inside] = curve.at(x[inside])
    return found


def coverage(rows: Rows, safe: Floats, unsafe_above: bool) -> Coverage | None:
    """Of predictions (n,) by the safe-side formula, nan where there is none; None where no row that
    was held out has one."""
    use = rows.held & np.isfinite(safe)
    if not use.any():
        return None
    good = safe[use] <= rows.y[use] if unsafe_above else safe[use] >= rows.y[use]
    share, count = float(good.mean()), len(np.unique(rows.geometry[use]))
    hits = share * count
    low = 0.0 if hits <= 0.0 else float(beta.ppf(0.025, hits, count - hits + 1.0))
    high = 1.0 if hits >= count else float(beta.ppf(0.975, hits + 1.0, count - hits))
    return Coverage(n=len(good), geometries=count, safe=share, low=low, high=high)


def compare_forms(fit: Fit, rows: Rows, validity: Validity) -> tuple[Compared, ...]:
    """The mean lines of several forms, that of the fit first, on the rows held out within the
    limits; where none are, on the rows fitted."""
    judged = (rows.held if rows.held.any() else ~rows.held) & validity.inside(rows.x)
    seen = ~rows.held
    found = []
    for form in (fit.form, *(one for one in FORMS if one != fit.form)):
        try:
            curve = fit_mean(replace(fit, form=form), rows.x[seen], rows.y[seen])
        except FitError as error:
            found.append(Compared(form=form, coefficients=0, score=None, reason=str(error)))
            continue
        judgement = score(curve.at(rows.x[judged]), rows.y[judged], fit.unsafe_above)
        count = len(curve.coefficients)
        found.append(Compared(form=form, coefficients=count, score=judgement))
    return tuple(found)


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

"""load_tests.csv of a run, loadtest.csv and loadtest.json: readings beside what is computed, and
the stiffnesses found."""

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.load_test import UNITS
from pipelines.loadtest.outcome import Outcome
from pipelines.loadtest.words import cautions, fit_words, lead
from pipelines.system.files import plain_cell

COLUMNS = (
    "test",
    "position",
    "place",
    "x_m",
    "y_m",
    "quantity",
    "face",
    "direction",
    "beam",
    "unit",
    "measured",
    "accuracy",
    "computed",
    "numerical_tolerance",
    "difference",
    "computed_fitted",
    "difference_fitted",
    "lever_mm",
    "measured_moment_kNm_m",
    "computed_moment_kNm_m",
    "caution",
)


def write_load_tests(path: Path, outcomes: Sequence[Outcome]) -> None:
    """Write a row a reading, test by test in the order of its file; what is not there stays
    empty."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for row in (row for outcome in outcomes for row in load_test_table(outcome)):
            rows.writerow([plain_cell(cell) if isinstance(cell, str) else cell for cell in row])


def load_test_table(outcome: Outcome) -> Iterator[tuple[Any, ...]]:
    """Rows by COLUMNS."""
    moments = strip_moments(outcome)
    for i, one in enumerate(outcome.test.readings):
        unit = UNITS[one.quantity]
        measured, computed, tolerance = (
            float(values[i]) / unit.scale
            for values in (outcome.measured, outcome.computed, outcome.tolerance)
        )
        fitted = None if outcome.fitted is None else float(outcome.fitted[i]) / unit.scale
        moment = moments.get(i)
        yield (
            outcome.test.name,
            one.position,
            one.place,
            one.at[0],
            one.at[1],
            one.quantity,
            one.face or "",
            one.direction or "",
            one.beam,
            unit.name,
            _six(measured),
            "" if one.accuracy is None else _six(one.accuracy / unit.scale),
            _six(computed),
            _six(tolerance),
            _six(computed - measured),
            "" if fitted is None else _six(fitted),
            "" if fitted is None else _six(fitted - measured),
            *(("", "", "") if moment is None else map(_six, moment)),
            TO_VERIFY,
        )


def _six(value: float) -> float:
    """A value to six figures."""
    return float(f"{value:.6g}")


def strip_moments(outcome: Outcome) -> dict[int, tuple[float, float, float]]:
    """Of each strain, by its number: the lever [mm], and what strain and lever come to as a moment
    [kNm/m], E t^3/12 times the curvature, measured and computed: of a strip that bends one way."""
    slab = outcome.deck.slab
    found = {}
    for i, one in enumerate(outcome.test.readings):
        if one.quantity != "strain" or one.beam:
            continue
        lever = one.lever or 0.5 * outcome.thickness[i]
        by = slab.E * float(outcome.thickness[i]) ** 3 / 12.0 / lever
        by *= 1.0 if one.face == "bottom" else -1.0
        found[i] = (1e3 * float(lever), 1e-3 * by * one.value, 1e-3 * by * outcome.computed[i])
    return found


def load_test_entry(outcome: Outcome) -> dict[str, Any]:
    """What loadtest.json holds."""
    fit = outcome.fit
    return {
        "test": outcome.test.name,
        "caution": CAUTION,
        "words": [lead(outcome), *fit_words(outcome), *cautions(outcome)],
        "agreement": [vars(one) for one in outcome.agreement(outcome.computed)],
        "agreement_fitted": []
        if outcome.fitted is None
        else [vars(one) for one in outcome.agreement(outcome.fitted)],
        "degrees_of_freedom": None if fit is None else fit.freedom,
        "residual_too_large": None if fit is None else fit.too_large,
        "found": [
            {
                "name": one.unknown.name,
                "of": one.unknown.stiffness.kind,
                "on": list(one.unknown.stiffness.on),
                "factor": one.factor,
                "low": one.low,
                "high": one.high,
                "state": one.state,
            }
            for one in outcome.found
        ],
        "not_told_apart": []
        if fit is None
        else [
            {
                "names": [outcome.test.unknowns[k].name for k in who],
                "correlation": None if np.isnan(rho) else rho,
            }
            for who, rho in fit.together
        ],
    }

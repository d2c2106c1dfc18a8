"""A finished fit: its formulas, where they hold, how good they are; in words, as plain values."""

from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any

from pipelines.study.fit.file import Fit
from pipelines.study.fit.rows import Rows
from pipelines.study.fit.score import Compared, Coverage, Curves, LeftOut, Score
from pipelines.study.fit.text import (
    CAUTION,
    effects_text,
    family_rows,
    forms_text,
    formula_text,
    limits_text,
    safe_text,
    table_text,
)
from pipelines.study.fit.validity import Validity
from plate.arrays import Floats


@dataclass(frozen=True, repr=False, kw_only=True)
class FitResult:
    """A finished fit.

    units : of the response and of the inputs. curves : fitted to the rows not held out; validity :
    of those rows, within which the formulas are stated. scores : name -> score, hand methods
    included; coverage : of the safe side on rows not seen; forms : compared; effects : indices of
    first and total order of the mean; left : families. predicted : "mean" and "safe" -> (n,) of all
    rows, nan outside the limits. dropped : rows not used.
    """

    fit: Fit
    units: tuple[str, ...]
    rows: Rows
    curves: Curves
    validity: Validity
    predicted: dict[str, Floats]
    scores: dict[str, Score | None]
    coverage: Coverage | None
    forms: tuple[Compared, ...]
    effects: tuple[Floats, Floats]
    left: tuple[LeftOut, ...]
    dropped: int

    @property
    def labels(self) -> tuple[str, ...]:
        """The response and the inputs in print, with their units."""
        labels = (self.fit.label, *(one.label for one in self.fit.inputs))
        pairs = zip(labels, self.units, strict=True)
        return tuple(f"{label} [{unit}]" if unit else label for label, unit in pairs)

    def __repr__(self) -> str:
        held, fit = self.scores["mean, held out"], self.fit
        off = "none held out" if held is None else f"at most {100.0 * held.worst:.1f} % off unseen"
        return f"<Fit {fit.title}: {self.labels[0]} by {fit.form.name}, {off}>"

    def text(self) -> str:
        """Everything in words."""
        fit, n = self.fit, len(self.rows.y)
        side = "above" if fit.unsafe_above else "below"
        held = int(self.rows.held.sum())
        lines = [fit.title, "", "Mean", "  " + formula_text(fit, self.curves.mean)]
        lines += ["Safe side", "  " + formula_text(fit, self.curves.safe)]
        lines += ["  " + safe_text(fit, self.coverage), "", "Limits"]
        lines += ["  " + line for line in limits_text(fit, self.validity)]
        lines += ["", f"{n - held} rows fitted, {held} held out, {self.dropped} not used."]
        if any(self.units):
            lines.append(f"Units: {', '.join(self.labels)}.")
        lines += [f"Predicted over computed; {side} 1 is unsafe.", ""]
        lines += table_text("", list(self.scores.items()))
        worst = self.scores["mean, held out"]
        if worst is not None:
            lines += ["", f"Worst error on held-out geometries: {100.0 * worst.worst:.1f} %."]
        lines += ["", *forms_text(self.forms, held > 0), *effects_text(fit, self.effects)]
        if self.left:
            lines += ["", "Mean formula fitted without one family, on that family", ""]
            lines += table_text("", family_rows(self.left))
            reasons = dict.fromkeys(one.reason for one in self.left if one.reason)
            lines += [f"  –: {reason}" for reason in reasons]
        return "\n".join([*lines, "", CAUTION]) + "\n"

    def entry(self) -> dict[str, Any]:
        """Everything as plain values."""
        fit, validity = self.fit, self.validity
        return {
            "title": fit.title,
            "response": fit.response,
            "unit": self.units[0],
            "form": fit.form.name,
            "inputs": [
                {
                    "name": source.name,
                    "label": source.label,
                    "formula": source.formula.text,
                    "unit": unit,
                    "range": pair,
                }
                for source, unit, pair in zip(
                    fit.inputs, self.units[1:], validity.ranges.tolist(), strict=True
                )
            ],
            "polygon": None
            if validity.leading is None
            else {
                "of": [fit.inputs[k].name for k in validity.leading],
                "corners": validity.polygon.tolist(),
            },
            "powers": self.curves.mean.powers.tolist(),
            "mean": self.curves.mean.coefficients.tolist(),
            "safe": self.curves.safe.coefficients.tolist(),
            "safe_quantile": fit.quantile,
            "safe_coverage": None if self.coverage is None else asdict(self.coverage),
            "unsafe": "above" if fit.unsafe_above else "below",
            "holds_for": fit.holds_for,
            "limits": [asdict(limit) for limit in fit.limits],
            "scores": {k: None if v is None else asdict(v) for k, v in self.scores.items()},
            "forms": [asdict(one) for one in self.forms],
            "effects": {
                source.name: {"first": _finite(first), "total": _finite(total)}
                for source, first, total in zip(fit.inputs, *self.effects, strict=True)
            },
            "left_out": [asdict(one) for one in self.left],
            "caution": CAUTION,
        }


def _finite(value: float) -> float | None:
    return float(value) if isfinite(value) else None

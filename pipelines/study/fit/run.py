"""A fit, start to end: fit file and table in; formula, scores and figures out."""

import json
from dataclasses import asdict, dataclass, replace
from hashlib import sha256
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.files import write_text
from pipelines.outputs import SMALL, check_folder, check_unchanged, replacing
from pipelines.report.drawings.canvas import sheet
from pipelines.standards.own.code import MARK
from pipelines.study.fit.figures import figures
from pipelines.study.fit.file import Fit, FitError, read_fit
from pipelines.study.fit.score import (
    Curves,
    LeftOut,
    Rows,
    Score,
    enforced,
    fit_curves,
    leave_out,
    score,
)
from pipelines.study.fit.text import CAUTION, family_rows, formula_text, limits_text, table_text
from pipelines.study.formula import FormulaError
from pipelines.study.own import OWN_MEANING
from pipelines.study.table import Column, csv_text, read_table
from plate.arrays import Floats, Ints

FILES = ("fit.txt", "fit.json", "fit.csv", "predicted.svg", "residuals.svg", "partial.svg")


@dataclass(frozen=True, kw_only=True)
class FitResult:
    """A finished fit.

    curves : fitted to the rows not held out; ranges (n_input, 2) : of those rows, the limits within
    which the formula is stated. scores : name -> score, hand methods included; left : families.
    predicted : "mean" and "safe" -> (n,) of all rows, nan outside the limits.
    """

    fit: Fit
    rows: Rows
    curves: Curves
    ranges: Floats
    predicted: dict[str, Floats]
    scores: dict[str, Score | None]
    left: tuple[LeftOut, ...]
    dropped: int

    def text(self) -> str:
        """Everything in words."""
        fit, n = self.fit, len(self.rows.y)
        side = "above" if fit.unsafe_above else "below"
        held = int(self.rows.held.sum())
        lines = [fit.title, "", "Mean", "  " + formula_text(fit, self.curves.mean)]
        lines += [f"Safe side ({100.0 * fit.quantile:g} % of the rows fitted lie beyond it)"]
        lines += ["  " + formula_text(fit, self.curves.safe), "", "Limits"]
        lines += ["  " + line for line in limits_text(fit, self.ranges)]
        lines += ["", f"{n - held} rows fitted, {held} held out, {self.dropped} not used."]
        lines += [f"Predicted over computed; {side} 1 is unsafe.", ""]
        lines += table_text("", list(self.scores.items()))
        worst = self.scores["mean, held out"]
        if worst is not None:
            lines += ["", f"Worst error on held-out geometries: {100.0 * worst.worst:.1f} %."]
        if self.left:
            lines += ["", "Mean formula fitted without one family, on that family", ""]
            lines += table_text("", family_rows(self.left))
            reasons = dict.fromkeys(one.reason for one in self.left if one.reason)
            lines += [f"  –: {reason}" for reason in reasons]
        return "\n".join([*lines, "", CAUTION]) + "\n"

    def entry(self) -> dict[str, Any]:
        """Everything as plain values."""
        fit = self.fit
        return {
            "title": fit.title,
            "response": fit.response,
            "form": fit.form,
            "inputs": [
                {
                    "name": source.name,
                    "label": source.label,
                    "formula": source.formula.text,
                    "range": pair,
                }
                for source, pair in zip(fit.inputs, self.ranges.tolist(), strict=True)
            ],
            "powers": self.curves.mean.powers.tolist(),
            "mean": self.curves.mean.coefficients.tolist(),
            "safe": self.curves.safe.coefficients.tolist(),
            "safe_quantile": fit.quantile,
            "unsafe": "above" if fit.unsafe_above else "below",
            "holds_for": fit.holds_for,
            "limits": [asdict(limit) for limit in fit.limits],
            "scores": {k: None if v is None else asdict(v) for k, v in self.scores.items()},
            "left_out": [asdict(one) for one in self.left],
            "caution": CAUTION,
        }


def run_fit(path: Path, out: Path, table: Path | None = None) -> FitResult:
    """Fit and write fit.txt, fit.json, fit.csv and the figures to `out`.

    table : instead of the fit file's own.

    Raises DeckError or FitError for mistakes, and for a table that does not support the fit.
    """
    fit = read_fit(path)
    source = table or fit.table
    if source is None:
        raise FitError(f"{path}: names no table; give one with --table")
    check_folder(out, "fit", FILES, SMALL)
    check_unchanged(source, "study")
    try:
        columns, about = read_table(source)
    except (OSError, ValueError) as error:
        raise FitError(f"{source}: not a table of a study: {error}") from None
    result = fit_table(fit, columns)
    about = {"table": source.name, "table_sha256": sha256(source.read_bytes()).hexdigest()} | about
    drawings = figures(result.fit, result.rows, result.curves, result.predicted)
    texts = {f"{name}.svg": sheet(drawing) for name, drawing in drawings.items()}
    texts["fit.csv"] = csv_text(_data(result))
    texts["fit.json"] = json.dumps(result.entry() | {"from": about}, indent=1) + "\n"
    texts["fit.txt"] = result.text()
    with replacing(out, "fit") as folder:
        for name, text in texts.items():
            write_text(folder / name, text)
    return result


def fit_table(fit: Fit, columns: tuple[Column, ...]) -> FitResult:
    """Fit to the columns of a study's table; FitError where they do not support it."""
    fit = _with_marks(fit, columns)
    rows, dropped = _rows(fit, columns)
    seen = ~rows.held
    if not seen.any():
        raise FitError("every row is held out")
    curves = fit_curves(fit, rows.x[seen], rows.y[seen])
    ranges = np.stack([rows.x[seen].min(axis=0), rows.x[seen].max(axis=0)], axis=1)
    predicted = {
        "mean": enforced(curves.mean, rows.x, ranges),
        "safe": enforced(curves.safe, rows.x, ranges),
    }
    scores: dict[str, Score | None] = {}
    for line, values in (predicted | rows.compare).items():
        for part, chosen in (("fitted", seen), ("held out", rows.held)):
            if line in predicted or part == "fitted":
                use = chosen if line in predicted else np.ones(len(rows.y), dtype=bool)
                name = f"{line}, {part}" if line in predicted else f"{line}, all rows"
                scores[name] = score(values[use], rows.y[use], fit.unsafe_above)
    return FitResult(
        fit=fit,
        rows=rows,
        curves=curves,
        ranges=ranges,
        predicted=predicted,
        scores=scores,
        left=leave_out(fit, rows),
        dropped=dropped,
    )


def _with_marks(fit: Fit, columns: tuple[Column, ...]) -> Fit:
    """The fit with its mark beside the name of what code of the user's own has given."""
    own = {column.name for column in columns if OWN_MEANING in column.meaning}

    def marked(name: str, column: str) -> str:
        return f"{name} ({MARK})" if column in own else name

    compare = tuple((marked(name, column), column) for name, column in fit.compare)
    return replace(fit, label=marked(fit.label, fit.response), compare=compare)


def _rows(fit: Fit, columns: tuple[Column, ...]) -> tuple[Rows, int]:
    """The rows that count, and how many do not."""
    table = {column.name: column.values for column in columns}
    needed = [fit.response, *fit.families, *fit.hold_out, *(name for _, name in fit.compare)]
    for name in needed:
        if name not in table:
            raise FitError(f"the table has no column {name}; it has {', '.join(table)}")
    n = len(columns[0].values)
    numbers = {name: _numbers(values) for name, values in table.items() if _numeric(values)}
    for name in (*fit.families, *fit.hold_out):
        if not all(v is None or isinstance(v, str | int | float) for v in table[name]):
            raise FitError(f"column {name} holds neither numbers nor texts")
    if fit.response not in numbers:
        raise FitError(f"column {fit.response} holds texts")
    try:
        x = np.stack([np.broadcast_to(i.formula(numbers), n) for i in fit.inputs], axis=1)
        where = np.ones(n) if fit.where is None else np.broadcast_to(fit.where(numbers), n)
    except FormulaError as error:
        raise FitError(str(error)) from None
    y = numbers[fit.response]
    use = (where != 0.0) & np.isfinite(y) & np.all(np.isfinite(x), axis=1)
    if not use.any():
        raise FitError("no row counts")
    for one, values in [(fit.label, y), *zip([i.label for i in fit.inputs], x.T, strict=True)]:
        if np.any(values[use] <= 0.0):
            raise FitError(f"{one} is not positive in every row; logarithms need that")
    pick = np.flatnonzero(use)
    return (
        Rows(
            number=_row_numbers(numbers.get("row"), pick),
            x=np.asarray(x[pick], dtype=float),
            y=y[pick],
            held=_held_out(fit, table, pick),
            families={f: tuple(table[f][k] for k in pick) for f in fit.families},
            compare={name: numbers[c][pick] for name, c in fit.compare if c in numbers},
        ),
        int(n - len(pick)),
    )


def _row_numbers(given: Floats | None, pick: Ints) -> Ints:
    """The numbers of the rows as the table gives them; where it does not, counted from 1."""
    if given is None or not np.all(np.abs(given[pick]) < 2.0**53):
        return pick + 1
    return np.asarray(given[pick], dtype=np.int64)


def _numeric(values: tuple[Any, ...]) -> bool:
    return all(v is None or isinstance(v, int | float) for v in values)


def _numbers(values: tuple[Any, ...]) -> Floats:
    return np.array([np.nan if v is None else float(v) for v in values])


def _held_out(fit: Fit, table: dict[str, tuple[Any, ...]], pick: Any) -> Any:
    """Which rows are of a geometry that is held out: a share of all, drawn by the seed."""
    if not fit.hold_out:
        return np.zeros(len(pick), dtype=bool)
    geometry = [tuple(table[name][k] for name in fit.hold_out) for k in pick]
    distinct = sorted(set(geometry), key=repr)
    count = ceil(fit.share * len(distinct))
    drawn = np.random.default_rng(fit.seed).permutation(len(distinct))[:count]
    held = {distinct[k] for k in drawn}
    return np.array([one in held for one in geometry])


def _data(result: FitResult) -> list[Column]:
    """The numbers behind the figures."""
    rows = result.rows
    found = [Column("row", "", "", tuple(rows.number.tolist()))]
    found.append(Column("held_out", "", "", tuple(bool(h) for h in rows.held)))
    for source, values in zip(result.fit.inputs, rows.x.T, strict=True):
        found.append(Column(source.name, "", "", tuple(values.tolist())))
    found.append(Column("computed", "", "", tuple(rows.y.tolist())))
    for name, line in (result.predicted | rows.compare).items():
        found.append(Column(name, "", "", tuple(line.tolist())))
    return found

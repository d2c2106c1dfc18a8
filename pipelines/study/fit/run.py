"""A fit, start to end: fit file and table in; formula, scores and figures out."""

import json
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.report.drawings.canvas import sheet
from pipelines.standards.own.code import MARK
from pipelines.study.fit.figures import figures
from pipelines.study.fit.file import Fit, FitError, read_fit
from pipelines.study.fit.publish import coefficient_columns, python_text
from pipelines.study.fit.result import FitResult
from pipelines.study.fit.rows import rows_of, units_of
from pipelines.study.fit.score import (
    Score,
    compare_forms,
    coverage,
    enforced,
    fit_curves,
    leave_out,
    score,
    where_it_holds,
)
from pipelines.study.own import OWN_MEANING
from pipelines.study.pages import has_pdf, pages_of
from pipelines.study.table import Column, csv_text, read_table
from pipelines.system.files import write_bytes, write_text
from pipelines.system.outputs import SMALL, check_folder, check_unchanged, replacing

FIGURES = ("predicted.svg", "residuals.svg", "partial.svg", "limits.svg", "methods.svg")
FILES = (
    *("fit.txt", "fit.json", "fit.csv", "formula.py", "formula.csv"),
    *(*FIGURES, "figures.pdf"),
)


def run_fit(path: str | Path, out: str | Path, table: str | Path | None = None) -> FitResult:
    """Fit and write the files of FILES to `out`, figures.pdf where the extra "pdf" is installed.

    table : instead of the fit file's own.

    Raises DeckError or FitError for mistakes, and for a table that does not support the fit.

    >>> result = run_fit("fit.toml", "fitted", "studied/table.parquet")
    >>> print(result.text())
    """
    path, out = Path(path), Path(out)
    fit = read_fit(path)
    source = Path(table) if table else fit.table
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
    drawings = figures(result)
    texts = {f"{name}.svg": sheet(drawing) for name, drawing in drawings.items()}
    verify = Column("caution", "", "", (TO_VERIFY,) * len(result.curves.mean.coefficients))
    texts["fit.csv"] = csv_text(_data(result))
    texts["formula.csv"] = csv_text([*coefficient_columns(result), verify])
    texts["formula.py"] = python_text(result, f"{_source(about)} {CAUTION}")
    texts["fit.json"] = json.dumps(result.entry() | {"from": about}, indent=1) + "\n"
    texts["fit.txt"] = f"{result.text()}{_source(about)}\n"
    with replacing(out, "fit") as folder:
        for name, text in texts.items():
            write_text(folder / name, text)
        if has_pdf():
            write_bytes(folder / "figures.pdf", pages_of(drawings.values()))
    return result


def fit_table(fit: Fit, columns: tuple[Column, ...]) -> FitResult:
    """Fit to the columns of a study's table; FitError where they do not support it."""
    fit = _with_marks(fit, columns)
    rows, dropped = rows_of(fit, columns)
    seen = ~rows.held
    if not seen.any():
        raise FitError("every row is held out")
    curves = fit_curves(fit, rows.x[seen], rows.y[seen])
    effects, validity = where_it_holds(curves.mean, rows.x[seen])
    predicted = {
        "mean": enforced(curves.mean, rows.x, validity),
        "safe": enforced(curves.safe, rows.x, validity),
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
        units=units_of(fit, columns),
        rows=rows,
        curves=curves,
        validity=validity,
        predicted=predicted,
        scores=scores,
        coverage=coverage(rows, predicted["safe"], fit.unsafe_above),
        forms=compare_forms(fit, rows, validity),
        effects=effects,
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


def _source(about: dict[str, Any]) -> str:
    """What a fit was made from, in words."""
    words = f"Fitted to {about['table']} (SHA-256 {str(about['table_sha256'])[:16]})"
    if "program" in about:
        words += f" of {about.get('study', 'a study')}, computed by deckslab {about['program']}"
    return f"{words}. Licence of the data: {about.get('licence') or 'none stated'}."


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

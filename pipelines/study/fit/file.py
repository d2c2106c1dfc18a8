"""Reads a fit file (TOML): which response of a table is fitted to what, how and with what held out.

title, response     the column fitted, positive; label for print
form, degree        "power law", "polynomial in logs" or "polynomial" of that degree
safe, quantile      the side on which the response is safe, and the share of rows beyond it
where               which rows count, as a condition on the table's columns
holds_for           what the study does not vary, in words; printed with the limits
[[input]]           name, a column or with formula one made of columns; positive; label
[[limit]]           at = inputs, value of the response there, why: the formula meets it exactly
[hold_out]          by = columns that make a geometry, share of the geometries held out, seed
families            columns whose levels are left out one after the other
[compare]           name = column, for example the width of a code
table               the study's table.parquet, beside the fit file; or --table
"""

from dataclasses import dataclass
from pathlib import Path

from pipelines.deck.reading.mistakes import Mistakes, validated
from pipelines.deck.reading.toml import read_toml
from pipelines.errors import JobError
from pipelines.study.fit.schema import FitTable, FormName
from pipelines.study.formula import Formula, FormulaError, read_formula


class FitError(JobError):
    """A fit that its table does not support."""


@dataclass(frozen=True)
class Form:
    """A kind of formula and its degree, which of a power law is 1."""

    name: FormName
    degree: int

    @property
    def logs(self) -> bool:
        """Whether the terms are of logarithms, and give the logarithm of the response."""
        return self.name != "polynomial"

    @property
    def words(self) -> str:
        """The form in print."""
        return self.name if self.name == "power law" else f"{self.name}, degree {self.degree}"


@dataclass(frozen=True)
class Input:
    """A dimensionless group: name, label for print, and the formula of columns that makes it."""

    name: str
    label: str
    formula: Formula


@dataclass(frozen=True)
class Limit:
    """The response's value where the inputs have given values, in the inputs' order."""

    at: tuple[float, ...]
    value: float
    why: str


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A fit file. unsafe_above : whether a prediction above the computed value is unsafe."""

    path: Path
    title: str
    response: str
    label: str
    form: Form
    unsafe_above: bool
    quantile: float
    where: Formula | None
    holds_for: tuple[str, ...]
    inputs: tuple[Input, ...]
    limits: tuple[Limit, ...]
    families: tuple[str, ...]
    hold_out: tuple[str, ...]
    share: float
    seed: int
    compare: tuple[tuple[str, str], ...]
    table: Path | None


def read_fit(path: Path) -> Fit:
    """Raises DeckError with every mistake of the fit file."""
    data = read_toml(str(path))
    mistakes = Mistakes(str(path))
    table = validated(FitTable, data, "fit", mistakes)
    mistakes.raise_if_any()
    assert table is not None, "a fit file is wrong without a mistake"
    inputs = []
    for k, one in enumerate(table.input, start=1):
        formula = _formula(f"[[input]] {k}, formula", one.formula or one.name, mistakes)
        if formula is not None:
            inputs.append(Input(one.name, one.label or one.name, formula))
        if [other.name for other in table.input].count(one.name) > 1:
            mistakes.add(f"[[input]] {k}, name", one.name, "is given twice")
    names = [one.name for one in table.input]
    limits = []
    for k, limit in enumerate(table.limit or [], start=1):
        if set(limit.at) != set(names) or any(v <= 0.0 for v in limit.at.values()):
            asked = f"needs a positive value for each of {', '.join(names)} and nothing else"
            mistakes.add(f"[[limit]] {k}, at", None, asked)
        else:
            limits.append(Limit(tuple(limit.at[n] for n in names), limit.value, limit.why))
    where = None if table.where is None else _formula("where", table.where, mistakes)
    mistakes.raise_if_any()
    held = table.hold_out
    return Fit(
        path=path,
        title=table.title,
        response=table.response,
        label=table.label or table.response,
        form=Form(table.form, 1 if table.form == "power law" else table.degree),
        unsafe_above=table.safe == "below",
        quantile=table.quantile,
        where=where,
        holds_for=tuple(table.holds_for or ()),
        inputs=tuple(inputs),
        limits=tuple(limits),
        families=tuple(table.families or ()),
        hold_out=() if held is None else tuple(held.by),
        share=0.0 if held is None else held.share,
        seed=0 if held is None else held.seed,
        compare=tuple((table.compare or {}).items()),
        table=None if table.table is None else path.parent / table.table,
    )


def _formula(where: str, text: str, mistakes: Mistakes) -> Formula | None:
    try:
        return read_formula(text)
    except FormulaError as error:
        mistakes.add(where, None, str(error))
        return None

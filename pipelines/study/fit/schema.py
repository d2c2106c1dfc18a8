"""What a fit file may say: its tables, keys and bounds."""

from typing import Annotated, Literal

from pipelines.deck.reading.rules import Choice, Count, Range, Text, WholeRange
from pipelines.deck.reading.schema import Table, entry
from pipelines.study.schema import FileName, FormulaText, Ident

FormName = Literal["power law", "polynomial in logs", "polynomial"]
FORMS = ("power law", "polynomial in logs", "polynomial")
SIDES = ("below", "above")
Label = Annotated[str, Text(60)]


class InputTable(Table):
    """An input of the formula, positive: a column of the table, or a formula of columns."""

    name: Ident = entry("Name of the input; a column, unless a formula makes it.", "patch")
    formula: FormulaText | None = entry(
        "Formula of the table's columns that makes the input.",
        "b_over_L",
        default=None,
        left_out="the column of that name",
    )
    label: Label | None = entry("The input in print.", "patch/L", default=None, left_out="its name")


class HoldOutTable(Table):
    """Geometries that the fit does not see, on which it is then judged."""

    by: Annotated[list[Ident], Count(1, 20)] = entry(
        "Columns whose values make a geometry.", ["span", "skew_deg"]
    )
    share: Annotated[float, Range(0.01, 0.9)] = entry(
        "Share of the geometries that is held out.", 0.25, default=0.2
    )
    seed: Annotated[int, WholeRange(0, 2**31)] = entry(
        "Seed by which they are drawn.", 7, default=1
    )


class LimitTable(Table):
    """A value that the formula meets exactly."""

    at: dict[str, Annotated[float, Range(-1e12, 1e12)]] = entry(
        "Value of each input, positive.", {"beams": 1.0, "patch": 0.1}
    )
    value: Annotated[float, Range(1e-12, 1e12)] = entry("Value of the response there.", 0.62)
    why: Annotated[str, Text(200)] = entry(
        "Reason in words, printed with the formula.", "a long plate on rigid lines, by theory"
    )


class FitTable(Table):
    """A formula fitted to a column of a study's table, with what is held out to judge it."""

    title: Annotated[str, Text(200)] = entry("Title of the fit.", "Sagging width of a wheel")
    response: Ident = entry("Column that is fitted, positive.", "b_wheel_L")
    form: Annotated[FormName, Choice(FORMS)] = entry(
        "Form of the formula; whichever it is, others are set beside it in a table.",
        "polynomial in logs",
        default="power law",
    )
    degree: Annotated[int, WholeRange(1, 4)] = entry(
        "Degree of a polynomial, in logs or not.", 3, default=2
    )
    safe: Annotated[Literal["below", "above"], Choice(SIDES)] = entry(
        "Side of the computed value on which a prediction is safe: below for a width, above for a "
        "moment.",
        "below",
    )
    quantile: Annotated[float, Range(0.001, 0.5)] = entry(
        "Share of the fitted rows on the unsafe side of the safe-side formula.", 0.02, default=0.05
    )
    where: FormulaText | None = entry(
        "Condition on columns for the rows that count.",
        "side_wheel >= 0.5",
        default=None,
        left_out="all rows",
    )
    holds_for: Annotated[list[Annotated[str, Text(200)]], Count(1, 20)] | None = entry(
        "What the study does not vary, in words; printed with the limits.",
        ["five equal bays, Poisson's ratio 0.2"],
        default=None,
        left_out="nothing told",
    )
    families: Annotated[list[Ident], Count(1, 20)] | None = entry(
        "Columns whose levels are left out one after the other, to see how the formula does on "
        "them.",
        ["span", "skew_deg"],
        default=None,
        left_out="none",
    )
    hold_out: HoldOutTable | None = entry(
        "Geometries held out.",
        {"by": ["span", "skew_deg"], "share": 0.2, "seed": 7},
        default=None,
        left_out="none: the formula is judged on the rows that it was fitted to",
    )
    compare: dict[str, Ident] | None = entry(
        "Other predictions of the response, by name, as columns: a standard's width.",
        {"IRC:112 annex B-3": "irc_wheel_L"},
        default=None,
        left_out="none",
    )
    label: Label | None = entry("The response in print.", "b/L", default=None, left_out="its name")
    table: FileName | None = entry(
        "The study's table.parquet, beside the fit file.",
        "widths/table.parquet",
        default=None,
        left_out="--table of the command names it",
    )
    input: Annotated[list[InputTable], Count(1, 12)] = entry(
        "Inputs of the formula, each a table [[input]].",
        [{"name": "patch", "formula": "b_over_L", "label": "patch/L"}],
    )
    limit: Annotated[list[LimitTable], Count(1, 50)] | None = entry(
        "Values that the formula meets exactly, each a table [[limit]].",
        [{"at": {"patch": 0.1}, "value": 0.62, "why": "a long plate, by theory"}],
        default=None,
        left_out="none",
    )

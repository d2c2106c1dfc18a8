"""What a fit file may say: its tables, keys and bounds."""

from typing import Annotated, Literal

from pipelines.deck.reading.rules import Choice, Count, Range, Text, WholeRange
from pipelines.deck.reading.schema import Table
from pipelines.study.schema import FileName, FormulaText, Ident

FORMS = ("power law", "polynomial in logs")
SIDES = ("below", "above")
Label = Annotated[str, Text(60)]


class InputTable(Table):
    name: Ident
    formula: FormulaText | None = None
    label: Label | None = None


class HoldOutTable(Table):
    by: Annotated[list[Ident], Count(1, 20)]
    share: Annotated[float, Range(0.01, 0.9)] = 0.2
    seed: Annotated[int, WholeRange(0, 2**31)] = 1


class LimitTable(Table):
    at: dict[str, Annotated[float, Range(-1e12, 1e12)]]
    value: Annotated[float, Range(1e-12, 1e12)]
    why: Annotated[str, Text(200)]


class FitTable(Table):
    title: Annotated[str, Text(200)]
    response: Ident
    form: Annotated[Literal["power law", "polynomial in logs"], Choice(FORMS)] = "power law"
    degree: Annotated[int, WholeRange(1, 4)] = 2
    safe: Annotated[Literal["below", "above"], Choice(SIDES)]
    quantile: Annotated[float, Range(0.001, 0.5)] = 0.05
    where: FormulaText | None = None
    holds_for: Annotated[list[Annotated[str, Text(200)]], Count(1, 20)] | None = None
    families: Annotated[list[Ident], Count(1, 20)] | None = None
    hold_out: HoldOutTable | None = None
    compare: dict[str, Ident] | None = None
    label: Label | None = None
    table: FileName | None = None
    input: Annotated[list[InputTable], Count(1, 12)]
    limit: Annotated[list[LimitTable], Count(1, 50)] | None = None

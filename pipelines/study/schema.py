"""What a study file may say: its tables, keys and bounds."""

import re
from dataclasses import dataclass
from typing import Annotated, Literal

from pipelines.deck.reading.rules import (
    LARGEST,
    Choice,
    Count,
    Range,
    Rule,
    Text,
    WholeRange,
    refused,
)
from pipelines.deck.reading.schema import Name, Pair, Table
from pipelines.standards.strip_widths.sets import FIRST_SET
from pipelines.study.groups import GROUPS

KINDS = ("grid", "latin hypercube", "sobol", "rows")
SCALES = ("linear", "log")


@dataclass(frozen=True)
class Identifier(Rule):
    """A name that formulas may use."""

    @property
    def allowed(self) -> str:
        return "a letter, then letters, digits and _, at most 40"

    def check(self, value: object) -> str:
        if isinstance(value, str) and re.fullmatch(r"[A-Za-z][A-Za-z0-9_]{0,39}", value):
            return value
        raise refused(f"must be {self.allowed}")


@dataclass(frozen=True)
class Scalars(Rule):
    """A list of numbers, texts or truths, no two alike."""

    @property
    def allowed(self) -> str:
        return "a list of 1 to 1000 different numbers up to 1e308 or inf, texts or true and false"

    def check(self, value: object) -> list[float | int | str | bool]:
        if isinstance(value, list) and 1 <= len(value) <= 1000:
            plain = all(isinstance(v, str) or _is_number(v) for v in value)
            if plain and len({(isinstance(v, bool), v) for v in value}) == len(value):
                return value
        raise refused(f"must be {self.allowed}")


def _is_number(value: object) -> bool:
    """Whether it is a number that a float can hold, inf among them, or true or false."""
    if isinstance(value, float):
        return value == value
    return isinstance(value, int) and abs(value) <= LARGEST


@dataclass(frozen=True)
class Texts(Rule):
    """A text or a list of texts."""

    @property
    def allowed(self) -> str:
        return "a text, or a list of 1 to 50 texts"

    def check(self, value: object) -> list[str]:
        listed = value if isinstance(value, list) else [value]
        texts = [v for v in listed if isinstance(v, str) and 1 <= len(v) <= 1000]
        if 1 <= len(listed) <= 50 and len(texts) == len(listed):
            return texts
        raise refused(f"must be {self.allowed}")


@dataclass(frozen=True)
class Way(Rule):
    """A way into summary.json: one dotted word, or a list of names, numbers and matches."""

    @property
    def allowed(self) -> str:
        return (
            'a dotted word as "probes.P1.cases.wheel.m_x", or a list of names, numbers from 1 and '
            'tables that an entry must match, as ["findings", { place = "bay C1–C2" }, "width_m"]'
        )

    def check(self, value: object) -> object:
        if isinstance(value, str) and value:
            return value
        parts = value if isinstance(value, list) else [None]
        if parts and all(type(v) in (str, int, dict) for v in parts):
            return value
        raise refused(f"must be {self.allowed}")


Ident = Annotated[str, Identifier()]
FormulaText = Annotated[str, Text(1000)]
Unit = Annotated[str, Text(20)]
FileName = Annotated[str, Text(500)]


class DesignTable(Table):
    kind: Annotated[Literal["grid", "latin hypercube", "sobol", "rows"], Choice(KINDS)]
    rows: Annotated[int, WholeRange(1, 100_000)] | None = None
    seed: Annotated[int, WholeRange(0, 2**31)] | None = None
    file: FileName | None = None


class ReferenceTable(Table):
    bay: Annotated[int, WholeRange(1, 499)]
    cases: Annotated[list[Name], Count(1, 100)]
    beams: Name | None = None
    edge: Annotated[Literal["left", "right"], Choice(("left", "right"))] = "left"
    surfacing_mm: Annotated[float, Range(0.0, 1000.0, "mm")] = 0.0


class ParameterTable(Table):
    name: Ident
    key: Annotated[list[str], Texts()] | None = None
    group: Annotated[str, Choice(GROUPS)] | None = None
    values: Annotated[list[float | int | str | bool], Scalars()] | None = None
    range: Pair | None = None
    steps: Annotated[int, WholeRange(2, 10_000)] | None = None
    scale: Annotated[Literal["linear", "log"], Choice(SCALES)] = "linear"
    unit: Unit | None = None


class StripTable(Table):
    case: Name
    place_in_bay: Annotated[float, Range(0.0, 1.0)] | None = None


class HandTable(StripTable):
    strips: Annotated[str, Choice(tuple(method.name for method in FIRST_SET))]


class ResponseTable(Table):
    name: Ident
    unit: Unit | None = None
    path: Annotated[str | list[str | int | dict[str, str | float]], Way()] | None = None
    strip: StripTable | None = None
    hand: HandTable | None = None
    formula: FormulaText | None = None


class RunTable(Table):
    tolerance_every: Annotated[int, WholeRange(0, 100_000)] = 1
    error_target_percent: Annotated[float, Range(0.001, 100.0, "percent")] | None = None

"""What a study file may say: its tables, keys and bounds."""

import re
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic.json_schema import JsonSchemaValue

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
from pipelines.deck.reading.schema import Name, Table, entry
from pipelines.deck.reading.strip_schema import MethodName
from pipelines.standards.strip_widths.sets import FIRST_SET
from pipelines.study.groups import GROUPS

Kind = Literal["grid", "latin hypercube", "sobol", "saltelli", "rows"]
KINDS = ("grid", "latin hypercube", "sobol", "saltelli", "rows")
SCALES = ("linear", "log")
IDENTIFIER = "[A-Za-z][A-Za-z0-9_]{0,39}"


@dataclass(frozen=True)
class Identifier(Rule):
    """A name that formulas may use."""

    @property
    def allowed(self) -> str:
        return "a letter, then letters, digits and _, at most 40"

    def check(self, value: object) -> str:
        if isinstance(value, str) and re.fullmatch(IDENTIFIER, value):
            return value
        raise refused(f"must be {self.allowed}")

    @property
    def schema(self) -> JsonSchemaValue:
        return {"type": "string", "pattern": f"^{IDENTIFIER}$", "description": self.allowed}


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

    @property
    def schema(self) -> JsonSchemaValue:
        items = {"type": ["number", "string", "boolean"]}
        counts = {"minItems": 1, "maxItems": 1000, "uniqueItems": True}
        return {"type": "array", "items": items, "description": self.allowed} | counts


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

    @property
    def schema(self) -> JsonSchemaValue:
        text = {"type": "string", "minLength": 1, "maxLength": 1000}
        texts = {"type": "array", "items": text, "minItems": 1, "maxItems": 50}
        return {"anyOf": [text, texts], "description": self.allowed}


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

    @property
    def schema(self) -> JsonSchemaValue:
        parts = {"type": "array", "minItems": 1, "items": {"type": ["string", "integer", "object"]}}
        ways = [{"type": "string", "minLength": 1}, parts]
        return {"anyOf": ways, "description": self.allowed}


Ident = Annotated[str, Identifier()]
FormulaText = Annotated[str, Text(1000)]
Unit = Annotated[str, Text(20)]
FileName = Annotated[str, Text(500)]


class DesignTable(Table):
    """Which decks of the family are computed."""

    kind: Annotated[Kind, Choice(KINDS)] = entry(
        "Every combination of values, a sampled design, one for the sensitivity to each parameter "
        "(saltelli), or the rows of a CSV file.",
        "grid",
    )
    rows: Annotated[int, WholeRange(1, 100_000)] | None = entry(
        "Number of rows of a sampled design; a power of two for sobol and saltelli. Each is a "
        "deck, or as many as crossed parameters have values; of saltelli as many as there are "
        "parameters and two more.",
        256,
        default=None,
        left_out="needed by sampled designs alone",
    )
    seed: Annotated[int, WholeRange(0, 2**31)] | None = entry(
        "Seed of a sampled design: with it the same design comes again.",
        7,
        default=None,
        left_out="needed by sampled designs alone",
    )
    file: FileName | None = entry(
        "CSV file beside the study file with a column for each parameter.",
        "decks.csv",
        default=None,
        left_out="needed by rows alone",
    )


class ReferenceTable(Table):
    """What the dimensionless groups mean on this deck: one loaded bay, some cases' patches, beams
    and an edge."""

    bay: Annotated[int, WholeRange(1, 499)] = entry(
        "Number of the loaded bay, from 1, where no parameter of the group bay says it.", 3
    )
    cases: Annotated[list[Name], Count(1, 100)] = entry(
        "Static cases whose patches are meant.", ["wheel", "axle"]
    )
    beams: Name | None = entry(
        "The `on` of the [[line]] table of the beams that are meant.",
        "C*",
        default=None,
        left_out="no groups of beams",
    )
    edge: Annotated[Literal["left", "right"], Choice(("left", "right"))] = entry(
        "Edge that edge distances are counted from.", "right", default="left"
    )
    surfacing_mm: Annotated[float, Range(0.0, 1000.0, "mm")] = entry(
        "Surfacing through which, and half the slab, the tyres of hand widths spread at 45 degrees "
        "to the patches.",
        80,
        default=0.0,
    )


class ParameterTable(Table):
    """What changes from deck to deck: keys of the base deck, a group, or a number for formulas."""

    name: Ident = entry("Name of the parameter: its column, and its name in formulas.", "thickness")
    key: Annotated[list[str], Texts()] | None = entry(
        "Keys of the base deck that take the value, dotted; tables in double brackets by their "
        "name, entries of lists by number.",
        ["slab.thickness_mm"],
        default=None,
        left_out="a group, or a number for formulas alone",
    )
    group: Annotated[str, Choice(GROUPS)] | None = entry(
        "Dimensionless group of the reference that takes the value.",
        "S/L",
        default=None,
        left_out="key, or a number for formulas alone",
    )
    values: Annotated[list[float | int | str | bool], Scalars()] | None = entry(
        "The values, one after the other.", [220, 250, 280], default=None, left_out="range"
    )
    range: Annotated[list[Annotated[float, Range(-1e12, 1e12)]], Count(2, 2)] | None = entry(
        "Least and largest value, in place of values.",
        [200.0, 320.0],
        default=None,
        left_out="values",
    )
    steps: Annotated[int, WholeRange(2, 10_000)] | None = entry(
        "Number of values from the least to the largest.",
        5,
        default=None,
        left_out="needed by a range on a grid alone",
    )
    scale: Annotated[Literal["linear", "log"], Choice(SCALES)] = entry(
        "Whether a range is divided evenly in the value or in its logarithm.",
        "log",
        default="linear",
    )
    crossed: Annotated[bool, Choice((False, True))] = entry(
        "Whether every one of its values is computed with each sampled row of the others.",
        True,
        default=False,
    )
    unit: Unit | None = entry(
        "Unit of the value, for the table's heads.", "mm", default=None, left_out="none told"
    )


class StripTable(Table):
    """The moment of a case's load on a strip as wide as the deck, continuous over rigid lines."""

    case: Name = entry("Static case whose patches load the strip.", "wheel")
    place_in_bay: Annotated[float, Range(0.0, 1.0)] | None = entry(
        "Place of the load in its bay as a share of the bay.",
        0.5,
        default=None,
        left_out="that of the case's patch nearest to the edge",
    )


class HandTable(StripTable):
    """The width by which that strip moment must be divided to give what a hand method gives."""

    strips: Annotated[str, MethodName()] = entry("The hand method.", FIRST_SET[0].name)


class ResponseTable(Table):
    """What is kept of each deck; one of path, strip, hand and formula."""

    name: Ident = entry("Name of the response: its column, and its name in formulas.", "m_mid")
    unit: Unit | None = entry(
        "Unit of the response, for the table's heads.", "kNm/m", default=None, left_out="none told"
    )
    path: Annotated[str | list[str | int | dict[str, str | float]], Way()] | None = entry(
        "Way to a value of summary.json, with its error where the summary states one.",
        "probes.P1.cases.wheel.m_x",
        default=None,
        left_out="strip, hand or formula",
    )
    strip: StripTable | None = entry(
        "Moment of a strip.", {"case": "wheel"}, default=None, left_out="path, hand or formula"
    )
    hand: HandTable | None = entry(
        "Width of a hand method.",
        {"strips": FIRST_SET[0].name, "case": "axle", "place_in_bay": 0.5},
        default=None,
        left_out="path, strip or formula",
    )
    formula: FormulaText | None = entry(
        "Formula of parameters, of lengths of the reference and of responses before it.",
        "M_wheel / m_mid",
        default=None,
        left_out="path, strip or hand",
    )


class RunTable(Table):
    """Which numerical errors are computed, and what is done about them."""

    tolerance_every: Annotated[int, WholeRange(0, 100_000)] = entry(
        "Errors are computed for about one structure in so many, 0 for none.", 4, default=1
    )
    error_target_percent: Annotated[float, Range(0.001, 100.0, "percent")] | None = entry(
        "Error of every response above which a deck with computed errors is computed again with "
        "elements of a higher order.",
        4,
        default=None,
        left_out="errors are stated, whatever they are",
    )


class StopTable(Table):
    """Where a study stops before all its decks are computed: when a fit to them is good enough."""

    fit: FileName = entry(
        "Fit file beside the study file, with its [hold_out]: the rows held out judge it.",
        "fit.toml",
    )
    error_percent: Annotated[float, Range(0.01, 100.0, "percent")] = entry(
        "Error of the mean formula within which 95 % of the rows held out are to be, at two looks "
        "one after the other.",
        4,
    )
    every: Annotated[int, WholeRange(1, 100_000)] = entry(
        "Rows from one look to the next.", 64, default=64
    )


class StudyTable(Table):
    """A study: a family of decks made from one deck file, and what is wanted of each."""

    title: FileName = entry("Title of the study.", "Thickness of the slab")
    base: FileName = entry(
        "Deck file that the family is made from, beside the study file.", "deck.toml"
    )
    licence: FileName | None = entry(
        "Licence of the data, with whom to name; it goes with the table and what is fitted to it.",
        "CC BY 4.0, A. Engineer",
        default=None,
        left_out="none stated",
    )
    design: DesignTable = entry("Which decks are computed.", {"kind": "grid"})
    reference: ReferenceTable | None = entry(
        "What dimensionless groups mean on this deck.",
        {"bay": 3, "cases": ["wheel"], "beams": "C*"},
        default=None,
        left_out="no groups, no strips",
    )
    parameter: Annotated[list[ParameterTable], Count(1, 100_000)] = entry(
        "What changes from deck to deck, each a table [[parameter]].",
        [{"name": "thickness", "key": "slab.thickness_mm", "values": [220, 250, 280]}],
    )
    set: dict[str, FormulaText | float | list[FormulaText | float]] = entry(
        "Further keys of the base deck, dotted and in quotes, as formulas of parameters and of the "
        "reference's lengths.",
        {"case.wheel.patches.1.at_m": ["x", "y"]},
        default={},
        left_out="none",
    )
    response: Annotated[list[ResponseTable], Count(1, 100_000)] = entry(
        "What is kept of each deck, each a table [[response]].",
        [{"name": "m_mid", "unit": "kNm/m", "path": "probes.P1.cases.wheel.m_x"}],
    )
    run: RunTable = entry(
        "Which numerical errors are computed.",
        {"tolerance_every": 4},
        default=RunTable(),
        left_out="errors for every structure",
    )
    stop: StopTable | None = entry(
        "When no more decks are computed.",
        {"fit": "fit.toml", "error_percent": 4},
        default=None,
        left_out="all decks are computed",
    )

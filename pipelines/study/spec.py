"""A study as data: the family of decks, and what is wanted of each."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipelines.errors import JobError
from pipelines.study.fit.file import Fit
from pipelines.study.formula import Formula
from pipelines.study.groups import Reference
from pipelines.study.schema import Kind

Value = float | int | str | bool
# Columns of the result table that are not the study's own.
OWN_COLUMNS = ("row", "key", "status", "reason", "order", "cells", "degrees_of_freedom", "caution")
ERROR = "_error"
"""What is added to a response's name for the column with its numerical tolerance."""


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """keys : set to its value; group : of `groups`; values, or low..high with steps.

    crossed : all values with each sampled row of the others.

    Neither keys nor group: the value serves formulas only.
    """

    name: str
    keys: tuple[str, ...]
    group: str | None
    values: tuple[Value, ...] | None
    low: float
    high: float
    steps: int | None
    log: bool
    crossed: bool
    unit: str


@dataclass(frozen=True, kw_only=True)
class Response:
    """Exactly one of way (into summary.json), strip (case, place in the bay), hand (strip set,
    case, place), formula; place None = that of the case's patch nearest to the edge."""

    name: str
    unit: str
    way: tuple[str | int | tuple[tuple[str, Value], ...], ...] = ()
    strip: tuple[str, float | None] | None = None
    hand: tuple[str, str, float | None] | None = None
    formula: Formula | None = None


@dataclass(frozen=True)
class Design:
    kind: Kind
    rows: int | None
    seed: int
    file: Path | None


@dataclass(frozen=True)
class Stop:
    """When a study has computed enough: once 95 % of the rows that a fit holds out are predicted
    within a relative error, looked at after every so many rows."""

    fit: Fit
    error: float
    every: int


@dataclass(frozen=True, kw_only=True)
class Study:
    """A study file.

    licence : of the data, "" where none is stated. base : tables of the base deck; follows : keys
    with the formulas that set them.
    tolerance_every : numerical tolerances for one structure in so many, 0 = none.
    error_target : relative, None = whatever the mesh gives. stop : None = all rows are computed.
    """

    path: Path
    title: str
    licence: str
    base_path: Path
    base: dict[str, Any]
    design: Design
    reference: Reference | None
    parameters: tuple[Parameter, ...]
    follows: tuple[tuple[str, tuple[Formula, ...]], ...]
    responses: tuple[Response, ...]
    tolerance_every: int
    error_target: float | None
    stop: Stop | None


class StudyError(JobError):
    """What stops a study as a whole; what a single deck cannot do is a row with its reason."""


class NowhereError(StudyError):
    """A response's way that leads nowhere in the summary of a deck."""

"""The rows of a study's table that a fit uses."""

from dataclasses import dataclass
from math import ceil
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.study.fit.file import Fit, FitError
from pipelines.study.formula import FormulaError
from pipelines.study.table import Column
from plate.arrays import Floats, Ints

Flags = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Rows:
    """Rows that a fit uses.

    number : of each in the study's design; x (n, n_input); y (n,) the response; held : held out;
    geometry (n,) : number of the geometry of each, which are held out as a whole; families : column
    -> level of each row; compare : name -> widths (n,), nan where there is none.
    """

    number: Ints
    x: Floats
    y: Floats
    held: Flags
    geometry: Ints
    families: dict[str, tuple[object, ...]]
    compare: dict[str, Floats]


def units_of(fit: Fit, columns: tuple[Column, ...]) -> tuple[str, ...]:
    """Units of the response and of every input that is a column, "" for groups of columns."""
    units = {column.name: column.unit for column in columns}
    return tuple(
        units.get(name, "") for name in (fit.response, *(i.formula.text for i in fit.inputs))
    )


def rows_of(fit: Fit, columns: tuple[Column, ...]) -> tuple[Rows, int]:
    """The rows that count, and how many do not; FitError where the table does not support them."""
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
    geometry, held = _held_out(fit, table, pick)
    return (
        Rows(
            number=_row_numbers(numbers.get("row"), pick),
            x=np.asarray(x[pick], dtype=float),
            y=y[pick],
            held=held,
            geometry=geometry,
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


def _held_out(fit: Fit, table: dict[str, tuple[Any, ...]], pick: Ints) -> tuple[Ints, Flags]:
    """The geometry of every row, and whether it is held out: a share of all, drawn by the seed."""
    if not fit.hold_out:
        return np.arange(len(pick)), np.zeros(len(pick), dtype=bool)
    geometry = [tuple(table[name][k] for name in fit.hold_out) for k in pick]
    number = {one: k for k, one in enumerate(sorted(set(geometry), key=repr))}
    count = ceil(fit.share * len(number))
    held = np.random.default_rng(fit.seed).permutation(len(number))[:count]
    found = np.array([number[one] for one in geometry])
    return found, np.isin(found, held)

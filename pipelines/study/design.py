"""Designs of experiments: the value of every parameter in every row.

grid            every combination of values, the last parameter changing fastest
latin hypercube one row in each of so many equal slices of every parameter (McKay 1979)
sobol           a scrambled Sobol sequence, even in all parameters together
saltelli        points of a Sobol sequence in pairs, mixed, for the sensitivity to each parameter
rows            the rows of a CSV file with a column for each parameter

A crossed parameter has every one of its values in each sampled row of the others: decks that share
their structure and differ in the load are factorised once.

Sampled values are rounded to six figures, so that the printed design is the design.
"""

from itertools import product
from pathlib import Path

import numpy as np
from scipy.stats import qmc

from pipelines.deck.reading.rules import LARGEST
from pipelines.study.sensitivity import two_samples
from pipelines.study.spec import Parameter, Study, StudyError, Value
from pipelines.system.files import UnreadableError, csv_rows, read_plain

MOST_ROWS = 100_000
LARGEST_FILE = 20_000_000  # bytes


def design_rows(study: Study) -> tuple[dict[str, Value], ...]:
    """Parameter values by name, row after row.

    Raises StudyError for a CSV file that does not fit the parameters.
    """
    parameters, design = study.parameters, study.design
    names = [p.name for p in parameters]
    if design.kind == "rows":
        assert design.file is not None
        return _read_rows(design.file, parameters)
    if design.kind == "grid":
        levels = [_levels(p) for p in parameters]
        return tuple(dict(zip(names, row, strict=True)) for row in product(*levels))
    assert design.rows is not None
    if design.kind == "saltelli":
        shares = two_samples(len(parameters), design.rows, design.seed).reshape(-1, len(parameters))
        return tuple(
            {p.name: _at(p, float(share)) for p, share in zip(parameters, row, strict=True)}
            for row in shares
        )
    sampled = [p for p in parameters if not p.crossed]
    crossed = [[(p.name, value) for value in _levels(p)] for p in parameters if p.crossed]
    unit = _samples(len(sampled), design.rows, design.seed, sobol=design.kind == "sobol")
    found = []
    for row in unit:
        values = {p.name: _at(p, float(share)) for p, share in zip(sampled, row, strict=True)}
        for pairs in product(*crossed):
            one = values | dict(pairs)
            found.append({name: one[name] for name in names})
    return tuple(found)


def _samples(dimensions: int, rows: int, seed: int, *, sobol: bool) -> np.ndarray:
    rng = np.random.default_rng(seed)
    if sobol:
        return np.asarray(qmc.Sobol(dimensions, rng=rng).random(rows))
    return np.asarray(qmc.LatinHypercube(dimensions, rng=rng).random(rows))


def _levels(parameter: Parameter) -> tuple[Value, ...]:
    if parameter.values is not None:
        return parameter.values
    assert parameter.steps is not None
    return tuple(_between(parameter, float(s)) for s in np.linspace(0.0, 1.0, parameter.steps))


def _at(parameter: Parameter, share: float) -> Value:
    """The value that a share 0..1 of the parameter's range or list stands for."""
    if parameter.values is not None:
        return parameter.values[min(int(share * len(parameter.values)), len(parameter.values) - 1)]
    return _between(parameter, share)


def _between(parameter: Parameter, share: float) -> float:
    low, high = parameter.low, parameter.high
    value = low * (high / low) ** share if parameter.log else low + (high - low) * share
    return float(f"{value:.6g}")


def _read_rows(path: Path, parameters: tuple[Parameter, ...]) -> tuple[dict[str, Value], ...]:
    try:
        first, rows = csv_rows(read_plain(path, LARGEST_FILE).decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise StudyError(f"{path}: cannot be read as UTF-8 text: {error.reason}") from None
    except UnreadableError as error:
        raise StudyError(f"{path}: {error}") from None
    names = [p.name for p in parameters]
    columns = [column.strip() for column in first]
    if sorted(columns) != sorted(names):
        raise StudyError(
            f"{path}: columns {', '.join(columns) or '(none)'}; needed are {', '.join(names)}"
        )
    found = []
    for line, cells in rows:
        if len(cells) != len(columns):
            raise StudyError(f"{path}, line {line}: not {len(names)} cells")
        row = dict(zip(columns, cells, strict=True))
        found.append({name: _cell(row[name]) for name in names})
        if len(found) > MOST_ROWS:
            raise StudyError(f"{path}: more than {MOST_ROWS} rows")
    if not found:
        raise StudyError(f"{path}: no rows")
    return tuple(found)


def _cell(text: str) -> Value:
    """A number where it reads as a finite one, else true, false or the text itself. A whole number
    beyond the largest float is a text: it stands for no quantity."""
    text = text.strip()
    if text in ("true", "false"):
        return text == "true"
    for kind in (int, float):
        try:
            value = kind(text)
        except ValueError:
            continue
        if abs(value) <= LARGEST:
            return value
    return text

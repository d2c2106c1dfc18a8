"""The factors that a deck file states, in `[factors]` or in a file that it names."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pipelines.deck.reading.factors_schema import TABLE_OF, FactorsTable
from pipelines.deck.reading.mistakes import BESIDE, Mistakes, validated
from pipelines.deck.reading.toml import read_toml
from pipelines.errors import DeckError
from pipelines.standards.factors import FACTORS, Factors
from pipelines.standards.own.code import MARK
from pipelines.standards.own.own import Own
from pipelines.standards.sources import Standard
from pipelines.system.files import is_beside

WHERE = "[factors]"


def stated_factors(
    value: object, path: str, folder: Path, given: Own, mistakes: Mistakes
) -> dict[Standard, Factors]:
    """Factors of every standard, recommended where nothing else is stated.

    value : of the deck file's key `factors`, None where it has none: a table, or the name of a
    file. path : of the deck file, for print; folder : in which the file is looked for. given : by
    code of the user's own, which what is stated here goes before.
    """
    found = _of_code(given, mistakes)
    if isinstance(value, str):
        value = {"file": value}
    if value is None:
        return found
    if not isinstance(value, dict):
        mistakes.add("factors", value, f"must be a table, written {WHERE}, or the name of a file")
        return found
    own = validated(FactorsTable, value, WHERE, mistakes)
    if own is None:
        return found
    if own.file is not None:
        shared = _shared(own.file, folder, mistakes)
        if shared is not None:
            found = _with(found, shared, shared.source or own.file)
    return _with(found, own, own.source or Path(path).name)


def _of_code(given: Own, mistakes: Mistakes) -> dict[Standard, Factors]:
    """Recommended factors with those that code of the user's own gives."""
    code = given.code("factors")
    if code is None:
        return dict(FACTORS)
    (value,) = given.factors
    where = f"[own] {code.name}, factors"
    if "file" in value:
        mistakes.add(f"{where}, file", value["file"], "code gives factors, it names no file")
        return dict(FACTORS)
    table = validated(FactorsTable, value, where, mistakes)
    if table is None:
        return dict(FACTORS)
    return _with(FACTORS, table, f"{table.source or code.name} ({MARK})")


def _shared(name: str, folder: Path, mistakes: Mistakes) -> FactorsTable | None:
    """What a file of factors holds; its mistakes are told with its name."""
    where = f"{WHERE} {name}"
    if not is_beside(name):
        mistakes.add(f"{WHERE} file", name, BESIDE)
        return None
    try:
        tables: dict[str, Any] = read_toml(str(folder / name))
    except DeckError as error:
        for line in error.mistakes:
            mistakes.add(where, None, line)
        return None
    if "file" in tables:
        mistakes.add(f"{where}, file", tables["file"], "a file of factors names no further one")
        return None
    return validated(FactorsTable, tables, where, mistakes)


def _with(
    factors: Mapping[Standard, Factors], table: FactorsTable, by: str
) -> dict[Standard, Factors]:
    """The factors with those that a table states."""
    found = dict(factors)
    for standard, name in TABLE_OF.items():
        stated = getattr(table, name)
        values = {} if stated is None else stated.model_dump(exclude_none=True)
        if values:
            found[standard] = found[standard].stated_by(by, **values)
    return found

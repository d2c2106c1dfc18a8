"""Every key of a file in words, from the models that read it: what `deckslab keys` tells."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from math import isinf
from typing import Any, get_args, get_origin

from pydantic.fields import FieldInfo

from pipelines.deck.reading.load_test_schema import LoadTestColumns
from pipelines.deck.reading.rules import Range, Rule
from pipelines.deck.reading.schema import Table, rules_and_tables
from pipelines.deck.reading.survey_schema import SurveyColumns
from pipelines.deck.reading.tables import MOST_TABLES, TABLES, TopKeys


@dataclass(frozen=True, kw_only=True)
class Key:
    """A key in words.

    unit : "" for none; allowed : what it may hold; left_out : what holds without it; example : a
    value as a TOML file writes it.
    """

    name: str
    meaning: str
    unit: str
    allowed: str
    left_out: str
    example: str


@dataclass(frozen=True)
class KeyTable:
    """A table of a file: its dotted name, its heading as files write it, meaning and keys."""

    name: str
    heading: str
    meaning: str
    keys: tuple[Key, ...]


@dataclass(frozen=True)
class KeyFile:
    """A kind of file and its tables. is_csv : whether its keys are columns."""

    name: str
    title: str
    tables: tuple[KeyTable, ...]
    is_csv: bool = False


def deck_file_keys() -> KeyFile:
    """Keys of the deck file."""
    tables = [*_tables("deck", "Above all tables", TopKeys)]
    for name, table in TABLES.items():
        heading = f"[[{name}]]" if name in MOST_TABLES else f"[{name}]"
        tables += _tables(name, heading, table)
    return KeyFile("deck", "Deck file (TOML)", tuple(tables))


def survey_file_keys() -> KeyFile:
    """Columns of the file of readings on site."""
    tables = tuple(_tables("survey", "columns", SurveyColumns))
    return KeyFile("survey", "Readings on site (CSV)", tables, is_csv=True)


def load_test_file_keys() -> KeyFile:
    """Columns of the file of readings under load."""
    tables = tuple(_tables("loadtest", "columns", LoadTestColumns))
    return KeyFile("loadtest", "Readings under load (CSV)", tables, is_csv=True)


def file_keys(name: str, title: str, table: type[Table]) -> KeyFile:
    """Keys of a file whose whole is one model."""
    return KeyFile(name, title, tuple(_tables(name, "Above all tables", table, is_file=True)))


def selected(files: tuple[KeyFile, ...], name: str) -> tuple[KeyFile, ...]:
    """The files with only the tables of that name and those within them; all of a file's own name.

    Empty where nothing has the name.
    """
    found = []
    for file in files:
        tables = tuple(
            table
            for table in file.tables
            if file.name == name or table.name == name or table.name.startswith(f"{name}.")
        )
        if tables:
            found.append(KeyFile(file.name, file.title, tables, file.is_csv))
    return tuple(found)


def names_of(files: tuple[KeyFile, ...]) -> tuple[str, ...]:
    """What `selected` may be asked for."""
    names = [name for file in files for name in (file.name, *(t.name for t in file.tables))]
    return tuple(dict.fromkeys(names))


def _tables(
    name: str, heading: str, table: type[Table], *, is_file: bool = False
) -> Iterator[KeyTable]:
    """A table and those within it. is_file : whether its own tables have brackets of their own."""
    keys = tuple(_key(key, field) for key, field in table.model_fields.items())
    yield KeyTable(name, heading, " ".join((table.__doc__ or "").split()), keys)
    for key, field in table.model_fields.items():
        for part in rules_and_tables((field.annotation,)):
            if not isinstance(part, Rule):
                below = f"[[{key}]]" if _is_listed(field.annotation) else f"[{key}]"
                if is_file:
                    yield from _tables(key, below, part)
                else:
                    yield from _tables(f"{name}.{key}", f"{heading} {key}", part)


def _is_listed(annotation: Any) -> bool:
    return get_origin(annotation) is list or any(map(_is_listed, get_args(annotation)))


def _key(name: str, field: FieldInfo) -> Key:
    parts = (*field.metadata, field.annotation)
    said = list(rules_and_tables(parts))
    words = [part.allowed if isinstance(part, Rule) else "a table" for part in said]
    if get_origin(field.annotation) is dict:
        words.insert(0, "a table of values by name")
    units = [part.unit for part in said if isinstance(part, Range) and part.unit]
    return Key(
        name=name,
        meaning=field.description or "",
        unit=units[0] if units else "",
        allowed=", each ".join(dict.fromkeys(words)),
        left_out=_left_out(field),
        example=toml_value((field.examples or [None])[0]),
    )


def _left_out(field: FieldInfo) -> str:
    if field.is_required():
        return "needed"
    extra = field.json_schema_extra
    words = str(extra.get("left_out", "")) if isinstance(extra, dict) else ""
    if isinstance(field.default, bool | int | float | str):
        value = toml_value(field.default)
        return f"{value}: {words}" if words else value
    return words


def toml_value(value: object) -> str:
    """A value on one line of a TOML file."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return json.dumps(value, ensure_ascii=False)
        case float() if isinf(value):
            return "inf" if value > 0.0 else "-inf"
        case list():
            return f"[{', '.join(map(toml_value, value))}]"
        case dict():
            pairs = ", ".join(f"{_toml_key(k)} = {toml_value(v)}" for k, v in value.items())
            return f"{{ {pairs} }}"
        case _:
            return repr(value)


def _toml_key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key, ensure_ascii=False)

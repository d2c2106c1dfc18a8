"""What the tables of a file are made of: the model of a table, kinds of values that several share.

The models of deck, study and fit files mirror their file key by key in the file's own units, which
each key carries as its suffix; bounds, default, meaning and example of a key stand on its model,
from which messages, the JSON schema and `deckslab keys` take them. What the values mean together is
checked by the readers. Bounds catch slips of unit, they do not say what is good engineering.
"""

from collections.abc import Iterator
from typing import Annotated, Any, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from pipelines.deck.reading.rules import Choice, Count, Range, Rule, Text


class Table(BaseModel):
    """A table of the file: no key but its own."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


def entry(meaning: str, example: object, *, default: object = ..., left_out: str = "") -> Any:
    """A key of a table: what it means, a value that it may have, and its default.

    left_out : what holds without the key, in words, where the default alone does not say it.
    """
    extra = {"left_out": left_out} if left_out else None
    return Field(default, description=meaning, examples=[example], json_schema_extra=extra)  # type: ignore[arg-type]


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _as_corner_tables(value: object) -> object:
    if isinstance(value, list):
        return [{"corner_m": entry} if isinstance(entry, list) else entry for entry in value]
    return value


Name = Annotated[str, Text(100)]
Names = Annotated[list[Name], Count(1, 700)]
Lines = Annotated[Names, BeforeValidator(_as_list, json_schema_input_type=Name | Names)]
Flag = Annotated[bool, Choice((True, False))]
Coordinate = Annotated[float, Range(-1e4, 1e4, "m")]
Pair = Annotated[list[Coordinate], Count(2, 2)]
Modulus = Annotated[float, Range(0.1, 1000.0, "GPa")]


class CornerTable(Table):
    """A corner of an outline or path: plainly [x, y], or the end of an arc from the corner before
    it."""

    corner_m: Pair | None = entry(
        "The corner [x, y].", [0.0, -4.0], default=None, left_out="an arc: arc_to_m and through_m"
    )
    arc_to_m: Pair | None = entry(
        "End [x, y] of an arc of a circle that starts at the corner before.",
        [12.0, -6.0],
        default=None,
        left_out="no arc: corner_m",
    )
    through_m: Pair | None = entry(
        "A point [x, y] of that arc between its ends.",
        [6.0, -4.6],
        default=None,
        left_out="no arc: corner_m",
    )


Corners = Annotated[
    list[CornerTable],
    Count(2, 1000),
    BeforeValidator(
        _as_corner_tables,
        json_schema_input_type=Annotated[list[Pair | CornerTable], Count(2, 1000)],
    ),
]


def described_keys(table: type[Table]) -> dict[tuple[str, ...], str]:
    """What each key of a table may hold, in words, nested keys included: path to words.

    The bounds in messages and in the documentation come from here.
    """
    found: dict[tuple[str, ...], str] = {}
    for key, field in table.model_fields.items():
        words: list[str] = []
        for part in rules_and_tables((*field.metadata, field.annotation)):
            if isinstance(part, Rule):
                words.append(part.allowed)
            else:
                words.append("a table")
                found |= {(key, *below): text for below, text in described_keys(part).items()}
        found[(key,)] = ", each ".join(words)
    return found


def rules_and_tables(parts: tuple[Any, ...]) -> Iterator[Rule | type[Table]]:
    """What the parts of an annotation say about a value, outermost first; not what is in tables."""
    yield from (part for part in parts if isinstance(part, Rule))
    for part in parts:
        if isinstance(part, type) and issubclass(part, Table):
            yield part
        elif not isinstance(part, Rule):
            yield from rules_and_tables(get_args(part))

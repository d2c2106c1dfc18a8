"""Files as JSON schemas, made from the models that read them: for editors, which then know every
key with its meaning, bounds, unit, default and an example.

A file that the schema allows may still be refused: what values mean together is checked by the
reader alone.
"""

from typing import Any

from pydantic.json_schema import models_json_schema

from pipelines.deck.reading.schema import Table
from pipelines.deck.reading.tables import MOST_TABLES, TABLES, TopKeys

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def deck_schema() -> dict[str, Any]:
    """The schema (JSON Schema 2020-12) of a whole deck file.

    `unit` beside a number's bounds is the unit that its key carries as a suffix.
    """
    found, below = models_json_schema([(table, "validation") for table in TABLES.values()])
    properties: dict[str, Any] = _as_in_a_file(TopKeys.model_json_schema()["properties"])
    for name, table in TABLES.items():
        one = found[(table, "validation")]
        most = MOST_TABLES.get(name)
        listed = {"type": "array", "items": one, "minItems": 1, "maxItems": most}
        properties[name] = one if most is None else listed
    # Or the name of a file of factors.
    properties["factors"] = {"anyOf": [{"type": "string"}, properties["factors"]]}
    return {
        "$schema": DIALECT,
        "title": "deck file of deckslab",
        "type": "object",
        "properties": properties,
        "required": ["slab", "plan"],
        "additionalProperties": False,
        "$defs": _as_in_a_file(below["$defs"]),
    }


def file_schema(table: type[Table], title: str) -> dict[str, Any]:
    """The schema (JSON Schema 2020-12) of a file whose whole is one model."""
    return {"$schema": DIALECT, **_as_in_a_file(table.model_json_schema()), "title": title}


def _as_in_a_file(node: Any) -> Any:
    """A part of the schema without null and infinity, which no file can say or JSON cannot hold,
    and without titles made of the keys' own letters."""
    if isinstance(node, list):
        return [_as_in_a_file(one) for one in node]
    if not isinstance(node, dict):
        return node
    kept = {
        key: _as_in_a_file(value)
        for key, value in node.items()
        if value is not None
        and (key != "default" or value != float("inf"))
        and (key != "title" or not isinstance(value, str))
    }
    if isinstance(kept.get("description"), str):
        kept["description"] = " ".join(kept["description"].split())
    options = kept.get("anyOf")
    if isinstance(options, list):
        options = [option for option in options if option != {"type": "null"}]
        del kept["anyOf"]
        kept = options[0] | kept if len(options) == 1 else kept | {"anyOf": options}
    return kept

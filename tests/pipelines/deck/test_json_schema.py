"""The JSON schema of the deck file allows what the reader reads, and tells what it refuses."""

import copy
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from pipelines.deck.examples import FOLDER
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.reading.json_schema import deck_schema
from pipelines.deck.reading.schema import described_keys
from pipelines.deck.reading.tables import TABLES
from pipelines.deck.starters import KINDS, starter
from pipelines.errors import DeckError
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, PROBES, SLAB, TRAFFIC

SCHEMA = deck_schema()
VALIDATOR = Draft202012Validator(SCHEMA)
EXAMPLES = [*sorted(FOLDER.glob("*.toml")), FOLDER / "studies" / "width-deck.toml"]
SMALL = SLAB + PLAN + BEAMS + TRAFFIC + PROBES + MESH


def mistakes(text: str) -> list[str]:
    return [error.message for error in VALIDATOR.iter_errors(tomllib.loads(text))]


def test_the_schema_is_one_and_can_be_written() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert json.loads(json.dumps(SCHEMA, allow_nan=False)) == SCHEMA


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_packaged_examples_are_allowed(path: Path) -> None:
    assert mistakes(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("kind", [*KINDS])
def test_files_to_start_from_are_allowed(kind: str) -> None:
    assert mistakes(starter(kind)) == []


MUTANTS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "unknown table": lambda deck: deck.update(slabs={}),
    "no slab": lambda deck: deck.pop("slab"),
    "single brackets": lambda deck: deck.update(line=deck["line"][0]),
    "no lines": lambda deck: deck.update(line=[]),
    "unknown key": lambda deck: deck["slab"].update(thicknes_mm=250),
    "missing key": lambda deck: deck["slab"].pop("thickness_mm"),
    "slip of unit": lambda deck: deck["slab"].update(thickness_mm=0.25),
    "text for a number": lambda deck: deck["slab"].update(thickness_mm="250"),
    "flag for a number": lambda deck: deck["slab"].update(poisson=True),
    "no such choice": lambda deck: deck["slab"].update(theory="thin"),
    "half a cell order": lambda deck: deck["mesh"].update(order=2.5),
    "one station": lambda deck: deck["plan"].update(stations_m=[0.0]),
    "radius of nothing": lambda deck: deck["plan"].update(radius_m=0.5),
    "blank name": lambda deck: deck["probe"][0].update(name=" "),
    "number for a line": lambda deck: deck["line"][0].update(on=3),
    "three coordinates": lambda deck: deck["probe"][0].update(at_m=[0, 0, 0]),
}


@pytest.mark.parametrize("name", MUTANTS)
def test_what_the_reader_refuses_is_not_allowed(tmp_path: Path, name: str) -> None:
    import tomli_w

    deck = tomllib.loads(SMALL)
    assert not list(VALIDATOR.iter_errors(deck))
    mutant = copy.deepcopy(deck)
    MUTANTS[name](mutant)
    assert list(VALIDATOR.iter_errors(mutant))
    path = tmp_path / "deck.toml"
    path.write_text(tomli_w.dumps(mutant), encoding="utf-8")
    with pytest.raises(DeckError):
        read_deck(path)


@pytest.mark.parametrize(
    "words",
    [
        'on = "C1"',
        'on = ["C1", "C2"]',
        'held_at = ["L1", { on = "L2", stub_m = 0.3 }]',
        'beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 1, J_cm4 = 1, A_cm2 = 1, connection = "full" }',
        "path_m = [[0, 0], { arc_to_m = [2, 0], through_m = [1, 1] }]",
    ],
)
def test_short_ways_to_write_a_value_are_allowed(words: str) -> None:
    assert mistakes(f'{SLAB}{PLAN}[[line]]\nsupport = "beam"\n{words}\n') == []


@pytest.mark.parametrize(("radius", "allowed"), [("inf", True), ("-20", True), ("-inf", False)])
def test_a_radius_may_be_infinite(radius: str, allowed: bool) -> None:
    plan = PLAN.replace("overhang_m", f"radius_m = {radius}\noverhang_m", 1)
    assert (mistakes(SLAB + plan) == []) == allowed


def test_every_key_is_there_with_its_unit_bounds_and_default() -> None:
    for name, table in TABLES.items():
        for path in described_keys(table):
            node: Any = SCHEMA["properties"][name]
            for key in path:
                node = properties(node)[key]
    slab = SCHEMA["$defs"]["SlabTable"]["properties"]
    assert slab["thickness_mm"] == {
        "type": "number",
        "minimum": 20.0,
        "maximum": 5000.0,
        "unit": "mm",
        "description": "Thickness of the slab, away from zones.",
        "examples": [270],
    }
    assert slab["theory"]["enum"] == ["mindlin", "kirchhoff"]
    assert slab["theory"]["default"] == "mindlin"


def properties(node: dict[str, Any]) -> dict[str, Any]:
    """Of a table, a list of tables, or one of several ways to write a table."""
    if "$ref" in node:
        return properties(SCHEMA["$defs"][node["$ref"].rsplit("/", 1)[1]])
    for below in (node.get("items"), *node.get("anyOf", ())):
        if below is not None and (found := properties(below)):
            return found
    return dict(node.get("properties", {}))

"""`deckslab keys` tells every key of every file that a reader knows, and none besides."""

import csv
import re
import tomllib
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from pydantic import TypeAdapter

from pipelines.bars.rating.fleet_schema import FleetTable, FleetVehicleTable, LevelTable
from pipelines.cli.main import main
from pipelines.cli.words import CAUTION
from pipelines.deck.examples import FOLDER
from pipelines.deck.panels import Panels
from pipelines.deck.reading.json_schema import deck_schema, file_schema
from pipelines.deck.reading.key_reference import (
    Key,
    KeyFile,
    deck_file_keys,
    file_keys,
    load_test_file_keys,
    selected,
    survey_file_keys,
    toml_value,
)
from pipelines.deck.reading.load_test_schema import LoadTestColumns
from pipelines.deck.reading.schema import Table, rules_and_tables
from pipelines.deck.reading.survey_file import parse_survey
from pipelines.deck.reading.survey_schema import COLUMNS, SurveyColumns
from pipelines.deck.reading.tables import TABLES, TopKeys
from pipelines.deck.survey import MEASURES
from pipelines.deck.survey import Key as DeckKey
from pipelines.model.build import ORDER
from pipelines.study.file import read_study
from pipelines.study.fit.file import read_fit
from pipelines.study.fit.schema import FitTable
from pipelines.study.schema import ParameterTable, StudyTable
from plate.geometry.plan import grid_plan
from tests.pipelines.report_page import Reader

STUDIES = FOLDER / "studies"
DECK, SURVEY = deck_file_keys(), survey_file_keys()
STUDY, FIT = file_keys("study", "", StudyTable), file_keys("fit", "", FitTable)
LOADTEST = load_test_file_keys()
FLEET = file_keys("fleet", "", FleetTable)
FILES = (DECK, SURVEY, LOADTEST, FLEET, STUDY, FIT)
SCHEMAS = {
    "deck": deck_schema(),
    "survey": file_schema(SurveyColumns, "survey"),
    "loadtest": file_schema(LoadTestColumns, "loadtest"),
    "study": file_schema(StudyTable, "study"),
    "fit": file_schema(FitTable, "fit"),
    "fleet": file_schema(FleetTable, "fleet"),
}
MODELS: dict[str, dict[str, type[Table]]] = {
    "deck": TABLES | {"deck": TopKeys},
    "survey": {"survey": SurveyColumns},
    "loadtest": {"loadtest": LoadTestColumns},
    "study": {"study": StudyTable},
    "fit": {"fit": FitTable},
    "fleet": {"fleet": FleetTable, "vehicle": FleetVehicleTable, "level": LevelTable},
}


def nodes(schema: dict[str, Any], node: dict[str, Any], way: str = "") -> dict[str, dict[str, Any]]:
    """Every key below a node of a JSON schema by its dotted way, with its own node."""
    if "$ref" in node:
        return nodes(schema, schema["$defs"][node["$ref"].rsplit("/", 1)[1]], way)
    found: dict[str, dict[str, Any]] = {}
    for below in (node.get("items"), *node.get("anyOf", ())):
        if below is not None:
            found |= nodes(schema, below, way)
    for key, below in node.get("properties", {}).items():
        found[f"{way}{key}"] = below
        found |= nodes(schema, below, f"{way}{key}.")
    return found


def told(file: KeyFile) -> dict[str, Key]:
    """Every key of the reference by the dotted way that it has in the file."""
    found = {}
    for part in file.tables:
        way = "" if part.name == file.name and part.heading[0] != "[" else f"{part.name}."
        found |= {f"{way}{key.name}": key for key in part.keys}
    return found


EVERY = [(file.name, way) for file in FILES for way in told(file)]


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_the_keys_told_are_those_of_the_schema(file: KeyFile) -> None:
    schema = SCHEMAS[file.name]
    there = {way for way in nodes(schema, schema) if file is not DECK or way not in TABLES}
    assert set(told(file)) == there


def test_there_are_as_many_as_the_files_have() -> None:
    assert len(EVERY) > 200
    assert [key.name for key in SURVEY.tables[0].keys] == list(COLUMNS)


@pytest.mark.parametrize(("name", "way"), EVERY)
def test_every_key_has_meaning_default_and_an_example_that_the_reader_takes(
    name: str, way: str
) -> None:
    file = next(file for file in FILES if file.name == name)
    key, schema = told(file)[way], SCHEMAS[name]
    assert key.meaning.endswith(".")
    assert len(key.meaning) > 10
    assert key.allowed
    assert key.left_out
    example = tomllib.loads(f"{way.rpartition('.')[2]} = {key.example}").popitem()[1]
    node = nodes(schema, schema)[way]
    assert node["description"] == key.meaning
    mistakes = Draft202012Validator({**node, "$defs": schema.get("$defs", {})}).iter_errors(example)
    assert not [mistake.message for mistake in mistakes]
    field = model_of(name, way).model_fields[way.rpartition(".")[2]]
    TypeAdapter(field.rebuild_annotation()).validate_python(example)
    if "unit" in node:
        assert key.unit == node["unit"]
        assert key.unit in key.allowed


def model_of(name: str, way: str) -> type[Table]:
    """The model that holds the key at the end of a way."""
    *tables, _ = way.split(".")
    model = MODELS[name].get(name)
    if tables and tables[0] in MODELS[name]:
        model = MODELS[name][tables.pop(0)]
    assert model is not None
    for table in tables:
        parts = rules_and_tables((model.model_fields[table].annotation,))
        model = next(part for part in parts if isinstance(part, type))
    return model


def test_every_table_has_a_meaning() -> None:
    for file in FILES:
        for part in file.tables:
            assert part.meaning.endswith("."), part.name


def test_examples_of_the_readings_are_a_survey() -> None:
    """All columns in three rows: one with columns of their own, one of added bars, one of an
    inspection sheet."""
    cells = {key.name: key.example.strip('"') for key in SURVEY.tables[0].keys}
    told = {"mark", *COLUMNS[COLUMNS.index("quantity") :]}
    text = StringIO()
    rows = csv.DictWriter(text, COLUMNS)
    rows.writeheader()
    rows.writerow({name: cell for name, cell in cells.items() if name not in told})
    where = {"panel", "date", "x_m", "y_m", "face", "direction"}
    rows.writerow({name: cells[name] for name in ("panel", "mark", "diameter_mm")})
    sheet = (told | where) - {"mark"}
    rows.writerow({name: cell for name, cell in cells.items() if name in sheet})
    panels = Panels(grid_plan([0.0, 3.0, 6.0, 9.0], [-2.0, 2.0]))
    read = parse_survey(text.getvalue(), panels, added={cells["mark"]: ("top", "x")})
    assert set(read) == {cells["panel"]}
    assert DeckKey("diameter", "top", "x", cells["mark"]) in read[cells["panel"]].readings
    assert len(read[cells["panel"]].readings[DeckKey("cover", "bottom", "x")]) == 2


def test_columns_of_readings_have_the_bounds_of_their_measures() -> None:
    keys = {key.name: key for key in SURVEY.tables[0].keys}
    for measure in MEASURES.values():
        key = keys[measure.column]
        assert key.allowed.startswith(f"{measure.low:g} to {measure.high:g} {key.unit}")
        for needed in measure.where:
            assert needed in key.meaning


def test_packaged_studies_are_of_their_schemas() -> None:
    for path in sorted(STUDIES.glob("*.toml")):
        name = path.stem.rpartition("-")[2]
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        assert not list(Draft202012Validator(SCHEMAS[name]).iter_errors(data)), path
        if name != "deck":
            {"study": read_study, "fit": read_fit}[name](path)


def test_the_order_told_is_the_model_s() -> None:
    assert told(DECK)["mesh.order"].left_out == str(ORDER)


def test_the_range_of_a_parameter_is_of_any_quantity() -> None:
    asked = {"name": "I_b", "key": "line.C*.beam.I_cm4", "range": [1e5, 1e6]}
    assert ParameterTable.model_validate(asked).range == [1e5, 1e6]
    assert told(STUDY)["parameter.range"].unit == ""


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (True, "true"),
        (0.25, "0.25"),
        (float("inf"), "inf"),
        ('a "b" –', '"a \\"b\\" –"'),
        ([1, {"on": "L2"}], '[1, { on = "L2" }]'),
        ({"EN 1991-2 LM1": 1}, '{ "EN 1991-2 LM1" = 1 }'),
    ],
)
def test_values_are_written_as_toml(value: object, written: str) -> None:
    assert toml_value(value) == written
    assert tomllib.loads(f"key = {written}") == {"key": value}


def test_the_command_tells_one_table_with_its_parts(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["keys", "line.beam"]) == 0
    out = capsys.readouterr().out
    assert "I_cm4 = 429200" in out
    assert "[[line]] beam connection" in out
    assert "to_edges" not in out
    assert " ".join(CAUTION.split()) in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


def test_the_command_alone_tells_the_tables(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["keys"]) == 0
    out = capsys.readouterr().out
    for file in FILES:
        for part in file.tables:
            assert (f"\n{part.name} " in out) == ("." not in part.name)
    assert max(map(len, out.splitlines())) <= 80


def test_a_wrong_name_is_told_with_those_that_there_are(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["keys", "slba"]) == 2
    told_ = capsys.readouterr().err
    assert told_.startswith('deckslab: no table slba, the nearest known one is "slab"')
    for name in (*TABLES, "design", "hold_out"):
        assert name in told_


def test_one_name_may_be_of_two_files() -> None:
    assert [file.name for file in selected(FILES, "survey")] == ["deck", "survey"]
    assert [len(file.tables) for file in selected(FILES, "deck")] == [len(DECK.tables)]


def test_the_page_holds_every_key(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "new" / "keys.html"
    assert main(["keys", "mesh", "--out", str(path)]) == 0
    assert capsys.readouterr().out.rstrip().endswith("keys.html")
    text = path.read_text(encoding="utf-8")
    assert "http" not in text
    page = Reader(text)
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    names = re.findall(r'<strong><span class="t"><code>(.*?)</code>', text)
    assert names == [key.name for file in FILES for part in file.tables for key in part.keys]
    assert page.words("footer") == [CAUTION]
    assert CAUTION in page.words("p")

"""Names of any kind go through everything that is written, as they are."""

import csv
import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from pipelines.cli.main import main
from pipelines.report.data.fields_vtu import read_results
from pipelines.report.document import page_data
from pipelines.report.drawings.canvas import draw
from pipelines.study.table import Column, csv_text
from pipelines.system.files import plain_cell
from tests.pipelines.mutants import FORMULAS, NAMES
from tests.pipelines.small_decks import BEAMS, COARSE, PLAN, SLAB


def quoted(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)


def deck_text(title: str, vehicles: tuple[str, ...], cases: tuple[str, ...]) -> str:
    """Two bays under vehicles of one axle, with a static case for each name and a probe."""
    text = SLAB.replace('"small"', quoted(title)) + PLAN + BEAMS + COARSE
    text += "[traffic]\ncarriageway_m = [-1.9, 1.9]\nstep_m = 2.0\noffsets_m = [0.2]\n"
    axle = "{ at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] }"
    for name in vehicles:
        text += f"[[vehicle]]\nname = {quoted(name)}\naxles = [{axle}]\n"
    for k, name in enumerate(cases):
        text += f"[[case]]\nname = {quoted(name)}\npressure_kN_m2 = {1.0 + k}\n"
        text += f"[[probe]]\nname = {quoted(name)}\nat_m = [1.5, {0.1 * k:.1f}]\n"
    return text


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Results of a run with every name in the title, in a vehicle's, a case's and a probe's."""
    folder = tmp_path_factory.mktemp("names")
    vehicles = ("=HYPERLINK(" + " ".join(NAMES[:6]), " ".join(NAMES[6:]))
    text = deck_text(" ".join(NAMES), vehicles, NAMES)
    (folder / "deck.toml").write_text(text, encoding="utf-8")
    out = folder / "[v2] o[bold]"
    assert main(["run", str(folder / "deck.toml"), "--out", str(out)]) == 0
    return out


def test_fields_hold_the_names(results: Path) -> None:
    mesh, summary = read_results(results)
    assert summary["title"] == " ".join(NAMES)
    for name in NAMES:
        assert any(name in column for column in mesh.point_data), name


def test_no_name_ends_or_begins_a_script_of_the_report(results: Path) -> None:
    page = (results / "report.html").read_text(encoding="utf-8")
    data = re.search(r'(?s)<script type="application/json" id="explorer-data">(.*?)</script>', page)
    assert data is not None
    assert "<" not in data[1]
    names = {load["name"] for load in json.loads(data[1])["loads"]}
    assert any("<!--<script>" in name for name in names)
    # Elsewhere a name is escaped: these stand nowhere as they are.
    assert "<!--<script>" not in page
    assert "[bold red]x[/x]" in page


def test_no_cell_of_a_table_is_a_formula(results: Path) -> None:
    rows = list(csv.reader((results / "findings.csv").read_text(encoding="utf-8").splitlines()))
    loads = {row[rows[0].index("load")] for row in rows[1:]}
    assert any(load.startswith("'=HYPERLINK(") for load in loads)
    values = list(csv.reader((results / "values.csv").read_text(encoding="utf-8").splitlines()))
    for row in (*rows, *values):
        assert not [cell for cell in row if re.match(r"[=@]|[+-](?![\d.])", cell)]


def test_the_terminal_prints_names_as_they_are(
    results: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from pipelines.cli.words import terminal

    terminal().print(*NAMES)
    printed = capsys.readouterr().out
    assert all(name in printed for name in NAMES)


def test_a_scene_of_any_title(results: Path, tmp_path: Path) -> None:
    out = tmp_path / "scene.html"
    assert main(["view", str(results), "--out", str(out)]) == 0
    page = out.read_text(encoding="utf-8")
    data = re.search(r'(?s)<script type="application/json" id="data">(.*?)</script>', page)
    assert data is not None
    json.loads(data[1])
    assert page.count("%DATA%") == 3  # of the title, wherever it stands


@pytest.mark.parametrize("name", NAMES)
def test_drawings_set_names_as_they_are(tmp_path: Path, name: str) -> None:
    text = deck_text(name, (name,), (name,))
    (tmp_path / "deck.toml").write_text(text, encoding="utf-8")
    assert main(["draw", str(tmp_path / "deck.toml"), "--out", str(tmp_path / "out")]) == 0
    drawn = (tmp_path / "out" / "vehicle-1.svg").read_text(encoding="utf-8")
    assert name in "".join(ElementTree.fromstring(drawn).itertext())


def test_a_drawing_has_no_formulas() -> None:
    drawing = draw("d", "d", (144.0, 72.0), lambda paper: paper.text([9, 9], "$a^2$ < b"))
    assert ">$a^2$ &lt; b<" in drawing.svg


@pytest.mark.parametrize("name", FORMULAS)
def test_cells_of_tables_are_no_formulas(name: str) -> None:
    assert plain_cell(name) == f"'{name}"
    columns = [Column("a", "", "", (name, "plain", -1.5, None))]
    assert csv_text(columns).splitlines() == ["a", f"'{name}", "plain", "-1.5", '""']


@pytest.mark.parametrize("name", NAMES)
def test_data_of_a_page_comes_back(name: str) -> None:
    text = page_data({"name": name})
    assert "<" not in text
    assert json.loads(text) == {"name": name}

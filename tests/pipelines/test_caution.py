"""The caution stands on everything that a person may see alone."""

import csv
import re
from html import unescape
from pathlib import Path
from textwrap import wrap
from xml.etree import ElementTree

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.cli.main import main
from pipelines.findings.beam_stiffness import Curve, Sweep
from pipelines.report.data.findings_csv import write_findings
from pipelines.report.data.summary import summary
from pipelines.report.document import Document, Drawing
from pipelines.report.drawings.before_run import write_drawings
from pipelines.report.drawings.canvas import NOTE, sheet
from pipelines.report.html import html_of
from pipelines.report.pdf import typst_of
from pipelines.report.space import views
from pipelines.report.space.scene import Scene, Surface
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.fake_findings import fake
from tests.pipelines.small_decks import MESH, SLAB, TRAFFIC, WEIGHT, deck_of, small_deck

TEXT = "{http://www.w3.org/2000/svg}text"


# A slab on two rigid lines.
SMALL = """
[plan]
stations_m = [0.0, 3.0]
offsets_m = [-1.0, 1.0]
[[line]]
on = "C*"
support = "rigid"
"""


def caution_of(svg: str) -> list[ElementTree.Element]:
    """The lines of the caution, at the end of a drawing, all of them on the sheet."""
    root = ElementTree.fromstring(svg)
    low, top, width, height = map(float, root.attrib["viewBox"].split())
    texts = list(root.iter(TEXT))
    start = next(k for k, one in enumerate(texts) if (one.text or "").startswith("Results are"))
    assert " ".join(one.text or "" for one in texts[start:]) == CAUTION
    assert all(low < float(one.attrib["x"]) < low + width for one in texts[start:])
    assert all(top < float(one.attrib["y"]) < top + height for one in texts[start:])
    return texts[start:]


def test_every_drawing_of_a_file_has_it_at_the_size_of_notes(tmp_path: Path) -> None:
    deck = small_deck(tmp_path)
    files = write_drawings(deck, tmp_path / "drawings")
    assert len(files) == 4
    for path in [*files, *write_drawings(deck, tmp_path / "one.svg")]:
        for line in caution_of(path.read_text(encoding="utf-8")):
            assert line.attrib["style"].startswith(f"font: {NOTE:g}px ")


def test_a_narrow_drawing_has_it_in_lines_that_fit() -> None:
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100"></svg>'
    lines = caution_of(sheet(Drawing(svg, "d", 200.0, 100.0)))
    assert len(lines) > 3
    # Letters are 0.6 of their size wide on average at most.
    assert max(len(one.text or "") for one in lines) * 0.6 * NOTE < 200.0
    assert min(float(one.attrib["y"]) for one in lines) > 100.0


def test_data_have_it_as_a_field(tmp_path: Path) -> None:
    result = analyse(deck_of(tmp_path, SLAB, SMALL, MESH))
    assert summary(result)["caution"] == CAUTION
    write_findings(tmp_path / "findings.csv", [fake(0.8), fake(0.8, whole_model=True)])
    with (tmp_path / "findings.csv").open(encoding="utf-8", newline="") as file:
        told = [row["caution"] for row in csv.DictReader(file)]
    assert told == [f"single vehicle, not the load model; {TO_VERIFY}", TO_VERIFY]
    curve = Curve(1.0, np.array([2.0, 1.0]), 1.0, 1.0)
    one = Sweep(
        finding=fake(0.8),
        ratios=np.array([1.0, 2.0]),
        own=1.0,
        curves=(curve,),
        strips=(),
        marks={},
    )
    assert one.entry()["caution"] == CAUTION


def test_a_collapse_load_has_it_in_table_page_and_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("clarabel")
    parts = (SLAB, SMALL, TRAFFIC, WEIGHT, GRADES, BOTTOM, TOP)
    words = ["collapse", deck_of(tmp_path, *parts).path, "--at", "1.5", "0", "--gap", "50"]
    assert main([*words, "--bending", "--out", str(tmp_path / "out")]) == 0
    assert CAUTION in capsys.readouterr().out.splitlines()
    with (tmp_path / "out/collapse.csv").open(encoding="utf-8", newline="") as file:
        assert [row["caution"] for row in csv.DictReader(file)] == [TO_VERIFY]
    page = (tmp_path / "out/collapse.html").read_text(encoding="utf-8")
    [foot] = re.findall(r"<footer>(.*?)</footer>", page, re.DOTALL)
    assert CAUTION in unescape(foot)


def scene() -> Scene:
    points = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    surface = Surface(points=points, triangles=np.array([[0, 1, 2]]), colour="#888888")
    return Scene(title="t", surfaces=(surface,), label="m_x max [kNm/m]", limits=(0.0, 1.0))


def test_scenes_and_pictures_have_it() -> None:
    assert CAUTION.replace("'", "&#x27;") in views.page(scene())
    frame = np.full((views.SIZE[1] - views.ABOVE - views.BELOW, views.SIZE[0], 3), 255, np.uint8)
    picture = np.asarray(views._captioned(frame, scene()).convert("L"))
    low = picture[-views.NOTE - 10 :]
    dark = np.flatnonzero((low < 128).any(axis=0))
    # A sentence of that length, and all of it in the picture.
    assert 4 * len(CAUTION) < dark.max() - dark.min() < views.SIZE[0] - 24
    assert not (low[-2:] < 128).any()


def test_every_printed_page_has_it_at_its_foot() -> None:
    document = Document(title="t", lead="", front=(), sections=(), end="")
    [foot] = re.findall(r'@page \{ @bottom-left \{ content: "([^"]*)"', html_of(document))
    assert foot == CAUTION
    source, _ = typst_of(document)
    assert f'"{CAUTION}")' in source
    [footer] = re.findall(r"footer: context \{(.*?)\n    \}", source, re.DOTALL)
    assert re.search(r"^ +end$", footer, re.MULTILINE)


@pytest.mark.parametrize("words", [CAUTION, TO_VERIFY])
def test_it_is_made_of_plain_letters(words: str) -> None:
    """Drawing programs and terminals have no others; it stands inside quotation marks in CSS."""
    assert words.isascii()
    assert not set(words) & set('"\\<>&')
    assert wrap(words, 100)

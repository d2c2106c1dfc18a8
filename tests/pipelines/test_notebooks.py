"""Notebooks to start from: whole files of their format, and every cell runs."""

import json
from pathlib import Path
from typing import Any

import pytest

from pipelines.cli.main import main
from pipelines.deck.starters.notebooks import FOLDER, NOTEBOOKS


def written(folder: Path, kind: str) -> Path:
    path = folder / "page.ipynb"
    assert main(["new", kind, "--out", str(path)]) == 0
    return path


def outputs(path: Path) -> str:
    """Everything that the cells print and show, as text."""
    client: Any = pytest.importorskip("nbclient")
    nbformat: Any = pytest.importorskip("nbformat")
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    client.NotebookClient(book, timeout=600, kernel_name="python3").execute()
    told = [one for cell in book.cells if cell.cell_type == "code" for one in cell.outputs]
    shown = [one.get("data", {}) for one in told]
    return "\n".join(
        [one.get("text", "") for one in told]
        + ["".join(data.get("text/plain", "")) + data.get("image/svg+xml", "") for data in shown]
    )


@pytest.mark.parametrize("kind", [*NOTEBOOKS])
def test_a_notebook_has_words_and_code_with_the_caution(tmp_path: Path, kind: str) -> None:
    book = json.loads(written(tmp_path, kind).read_text(encoding="utf-8"))
    kinds = [cell["cell_type"] for cell in book["cells"]]
    assert (book["nbformat"], kinds[:2]) == (4, ["markdown", "code"])
    assert kinds.count("code") >= 4
    for cell in book["cells"]:
        assert "```" not in cell["source"]
        if cell["cell_type"] == "code":
            compile(cell["source"], "cell", "exec")
    assert "for a qualified engineer to verify" in " ".join(book["cells"][0]["source"].split())
    assert {f"notebook-{path.stem}" for path in FOLDER.glob("*.md")} == set(NOTEBOOKS)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("notebook-hour", ("strip_over_plate", "beams ten times as stiff", "<svg")),
        ("notebook-vehicle", ("crane", "load_kN", "<svg")),
        ("notebook-widths", ("(24, 0, ", "Safe side", "of the span", "the formulas hold from")),
        ("notebook-loadtest", ("slab E", "True")),
    ],
)
def test_every_cell_runs(tmp_path: Path, kind: str, words: tuple[str, ...]) -> None:
    text = outputs(written(tmp_path, kind))
    for one in words:
        assert one in text

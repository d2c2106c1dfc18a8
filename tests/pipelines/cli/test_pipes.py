"""Readers that stop reading, as `head` does: a command goes on to its end, quietly."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.deck.starters import starter
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB

COARSE = '[mesh]\nsize_m = 1.5\norder = 2\n[[case]]\nname = "weight"\nself_weight = true\n'


def unread(*words: str | Path, errors_too: bool = False) -> subprocess.CompletedProcess[str]:
    """A command whose output goes to a pipe that nobody reads any more."""
    read, write = os.pipe()
    os.close(read)
    code = "import sys; from pipelines.cli.main import main; sys.exit(main())"
    command = [sys.executable, "-c", code, *map(str, words)]
    try:
        return subprocess.run(
            command, stdout=write, stderr=write if errors_too else subprocess.PIPE, text=True
        )
    finally:
        os.close(write)


@pytest.mark.parametrize("words", [["vehicles"], ["run", "-h"]], ids=" ".join)
def test_what_prints_ends_as_if_it_were_read(words: list[str]) -> None:
    done = unread(*words)
    assert (done.returncode, done.stderr) == (0, "")


def test_files_are_written_all_the_same(tmp_path: Path) -> None:
    (tmp_path / "deck.toml").write_text(starter("truss"), encoding="utf-8")
    out = tmp_path / "drawings"
    done = unread("draw", tmp_path / "deck.toml", "--out", out)
    assert (done.returncode, done.stderr) == (0, "")
    assert (out / "plan.svg").read_text(encoding="utf-8").rstrip().endswith("</svg>")


def test_a_mistake_stays_a_mistake(tmp_path: Path) -> None:
    words = ("run", tmp_path / "no.toml", "--out", tmp_path / "out")
    assert unread(*words, errors_too=True).returncode == 2
    done = unread(*words)
    assert done.returncode == 2
    assert done.stderr.startswith("deckslab: ")


def test_no_output_at_all_is_no_fault() -> None:
    code = "import sys; sys.stdout = None; from pipelines.cli.main import main; sys.exit(main())"
    done = subprocess.run([sys.executable, "-c", code, "vehicles"], capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.slow
def test_a_run_that_nobody_reads_is_whole(tmp_path: Path) -> None:
    (tmp_path / "deck.toml").write_text(SLAB + PLAN + BEAMS + COARSE, encoding="utf-8")
    done = unread("run", tmp_path / "deck.toml", "--out", tmp_path / "out", errors_too=True)
    assert done.returncode == 0
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names >= {"report.html", "summary.json", "findings.csv", "values.csv", "fields.vtu"}

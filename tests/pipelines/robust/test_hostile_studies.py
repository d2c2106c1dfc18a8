"""Hostile study and fit files: told as a mistake or computed, never a traceback."""

import re
from collections import Counter
from pathlib import Path

import pytest

from pipelines.cli.main import main
from pipelines.deck.examples import FOLDER
from pipelines.errors import JobError
from pipelines.study.design import design_rows
from pipelines.study.file import read_study
from pipelines.study.table import write_table
from tests.pipelines.mutants import mutant
from tests.pipelines.studies import DECK, HEAD, PARAMETERS, RESPONSES, SerialPool
from tests.pipelines.study.test_fit import FIT, columns

FEW = PARAMETERS.replace("[1, 100]", "[10]").replace("[0.2, 0.6]", "[0.2]")
SAMPLED = HEAD.replace('kind = "grid"', 'kind = "sobol"\nrows = 2\nseed = 1')
RANGES = re.sub(r"values = \[([^,]+), ([^]]+)\]", r"range = [\1, \2]", PARAMETERS)
LISTED = HEAD.replace('kind = "grid"', 'kind = "rows"\nfile = "rows.csv"')
NAMES = re.sub(r"values = .*\n", "", PARAMETERS)
STUDIES = [
    HEAD + FEW + RESPONSES,
    SAMPLED + RANGES + RESPONSES,
    LISTED + NAMES + RESPONSES,
    HEAD.replace("every = 0", "every = 1\nerror_target_percent = 50") + FEW + RESPONSES,
]
PACKAGED = (FOLDER / "studies" / "width-study.toml").read_text(encoding="utf-8")
# A mutant may ask for a hundred thousand decks: valid, and too many to wait for.
MOST_DECKS = 12
# A row that failed because of the program, not of its deck, gives the exception's name.
FAULT = re.compile(r"(?:^|,)\"?[A-Za-z]+(?:Error|Exception|Warning):")


def decks(path: Path) -> int:
    """Rows of a study's design; 0 where the file or its design has a mistake."""
    try:
        return len(design_rows(read_study(path)))
    except JobError:
        return 0


def judge(folder: Path, sources: list[str], seeds: range) -> Counter[int]:
    """Exit status of the study's command for each mutant; -1 for what is too large to compute."""
    found: Counter[int] = Counter()
    (folder / "deck.toml").write_text(DECK, encoding="utf-8")
    (folder / "rows.csv").write_text("k,load,edge_L\n1,50,0.2\n100,100,0.6\n", encoding="utf-8")
    base = FOLDER / "studies" / "width-deck.toml"
    (folder / base.name).write_text(base.read_text(encoding="utf-8"), encoding="utf-8")
    path = folder / "study.toml"
    for seed in seeds:
        path.write_bytes(mutant(sources, seed))
        try:
            if decks(path) > MOST_DECKS:
                found[-1] += 1
                continue
            status = main(["study", str(path), "--out", str(folder / "out")])
        except Exception as error:
            raise AssertionError(f"mutant {seed}: {error!r}") from error
        assert status in (0, 2), f"mutant {seed}: exit status {status}"
        if status == 0:
            text = (folder / "out" / "table.csv").read_text(encoding="utf-8")
            assert not FAULT.search(text), f"mutant {seed}: {text}"
        found[status] += 1
    return found


@pytest.fixture(autouse=True)
def _serial(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)


def test_mutants_of_studies(tmp_path: Path) -> None:
    found = judge(tmp_path, STUDIES, range(50))
    # Both happen often enough for the test to mean something.
    assert found[2] > 10
    assert found[0] > 3


@pytest.mark.soak
@pytest.mark.parametrize("part", range(10))
def test_a_thousand_mutants_of_studies(tmp_path: Path, part: int) -> None:
    first = 1000 + 100 * part
    found = judge(tmp_path, [*STUDIES, PACKAGED], range(first, first + 100))
    assert found.total() == 100


def test_mutants_of_fits(tmp_path: Path) -> None:
    table = tmp_path / "table.parquet"
    write_table(table, tmp_path / "table.csv", columns(noise=0.02), {})
    path, found = tmp_path / "fit.toml", Counter[int]()
    polynomial = FIT.replace('"power law"', '"polynomial in logs"\ndegree = 2')
    for seed in range(40):
        path.write_bytes(mutant([FIT, polynomial], seed))
        words = ["fit", str(path), "--table", str(table), "--out", str(tmp_path / "out")]
        try:
            found[main(words)] += 1
        except Exception as error:
            raise AssertionError(f"mutant {seed}: {error!r}") from error
    assert set(found) == {0, 2}

"""Studies that stop when a fit is good enough, and the page that shows where they are going."""

import csv
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student

from pipelines.caution import CAUTION
from pipelines.errors import DeckError
from pipelines.study.convergence import PAGE, _panels, running_mean
from pipelines.study.file import read_study
from pipelines.study.fit.file import read_fit
from pipelines.study.fit.held import Look, enough
from pipelines.study.fit.run import fit_table
from pipelines.study.plan import Task
from pipelines.study.run import run_study
from pipelines.study.spec import Value
from pipelines.study.table import read_table
from pipelines.study.task import Finished, Wanted
from tests.pipelines.studies import HEAD, SerialPool, write_study

STOP = '[stop]\nfit = "fit.toml"\nerror_percent = 2\nevery = 12\n'
K = "values = [1, 1.5, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48]"
PARAMETERS = f"""
[[parameter]]
name = "k"
group = "EI_b/(D L)"
{K}
[[parameter]]
name = "span"
group = "L"
values = [2, 3, 4, 5, 6, 7]
[[response]]
name = "v"
path = "probes.mid.cases.wheel.m_x"
[[response]]
name = "w"
unit = "mm"
path = "probes.mid.cases.wheel.w_mm"
"""
FIT = """
title = "A law"
response = "v"
safe = "below"
[hold_out]
by = ["k", "span"]
share = 0.8
[[input]]
name = "k"
"""


def written(folder: Path, stop: str = STOP, parameters: str = PARAMETERS) -> Path:
    (folder / "fit.toml").write_text(FIT, encoding="utf-8")
    return write_study(folder, HEAD.replace("[run]", f"{stop}[run]"), parameters)


def law(told: Callable[[], None] = lambda: None) -> Callable[[Task, Wanted], list[Finished]]:
    """In place of an analysis: v = 3 k^0.2, and no deck with the span of 6 m and the softest
    beams."""

    def run(task: Task, wanted: Wanted) -> list[Finished]:
        told()
        return [one(row.key, row.values, wanted) for row in task.rows]

    def one(key: str, values: dict[str, Value], wanted: Wanted) -> Finished:
        k, span = float(values["k"]), float(values["span"])
        lost = (k, span) == (1.0, 6.0)
        return Finished(
            key=key,
            status="failed" if lost else "done",
            reason="too soft" if lost else "",
            values={} if lost else {"v": 3.0 * k**0.2, "w": span},
            errors={},
            model={},
            asked=wanted.asked,
        )

    return run


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)
    monkeypatch.setattr("pipelines.study.execute.run_task", law())


@pytest.mark.usefixtures("quick")
def test_a_study_stops_once_its_fit_is_good_enough(tmp_path: Path) -> None:
    """Eight of ten rows are held out: of 36 rows some 28, of 48 some 38; the law is exact."""
    study, out = written(tmp_path), tmp_path / "out"
    outcome = run_study(study, out)
    assert outcome.rows == 72
    assert outcome.saved == 72 - outcome.computed > 0
    assert f"{outcome.saved} decks saved" in outcome.stopped
    rows = list(csv.DictReader((out / "table.csv").read_text(encoding="utf-8").splitlines()))
    left = [row for row in rows if row["status"] == "not computed"]
    assert len(left) == outcome.saved
    assert {row["v"] for row in left} == {""}
    assert {row["reason"] for row in left} == {outcome.stopped}
    columns, about = read_table(out / "table.parquet")
    assert about["stopped"] == outcome.stopped
    record = json.loads((out / "study.json").read_text(encoding="utf-8"))
    assert record["last_run"]["saved"] == outcome.saved
    assert outcome.stopped in (out / PAGE).read_text(encoding="utf-8")
    # The fit of the table tells the same error of the same rows.
    score = fit_table(read_fit(tmp_path / "fit.toml"), columns).scores["mean, held out"]
    assert score is not None
    assert f"of {score.n} rows held out 95 % are within {100 * score.within:.2f} %" in (
        outcome.stopped
    )
    # The same command again computes nothing more and says the same.
    again = run_study(study, out)
    assert (again.computed, again.saved, again.stopped) == (0, outcome.saved, outcome.stopped)
    # Which rows are computed does not depend on which of them were there.
    for path in sorted((out / "rows").glob("*.json"))[::2]:
        path.unlink()
    assert run_study(study, out).saved == outcome.saved


@pytest.mark.usefixtures("quick")
def test_without_an_end_in_sight_all_rows_are_computed(tmp_path: Path) -> None:
    study = written(tmp_path, STOP.replace("every = 12", "every = 60"))
    outcome = run_study(study, tmp_path / "out")  # two looks, after 60 and all: nothing is left
    assert (outcome.computed, outcome.saved, outcome.stopped, outcome.failed) == (72, 0, "", 1)


@pytest.mark.parametrize(
    ("looks", "end"),
    [
        ([(20, 0.01)], False),
        ([(20, 0.01), (30, 0.01)], True),
        ([(20, 0.01), (30, 0.03)], False),
        ([(20, 0.03), (30, 0.01)], False),
        ([(19, 0.01), (30, 0.01)], False),
        ([(20, 0.01), (30, 0.03), (40, 0.02), (50, 0.02)], True),
        ([(20, None), (30, 0.01)], False),
    ],
)
def test_two_looks_on_rows_enough(looks: list[tuple[int, float | None]], end: bool) -> None:
    found = [Look(rows=100, held=held, within=within) for held, within in looks]
    assert enough(found, 0.02) is end


@pytest.mark.parametrize(
    ("stop", "words"),
    [
        (STOP.replace("fit.toml", "none.toml"), "none.toml"),
        (STOP.replace("fit.toml", "../fit.toml"), "a file in the deck file.s folder"),
        (STOP.replace("= 2", "= 0"), "error_percent"),
        (STOP.replace("fit.toml", "bare.toml"), r"has no \[hold_out\]"),
    ],
)
def test_mistakes_of_a_stop(tmp_path: Path, stop: str, words: str) -> None:
    bare = FIT.replace('[hold_out]\nby = ["k", "span"]\nshare = 0.8\n', "")
    (tmp_path / "bare.toml").write_text(bare, encoding="utf-8")
    with pytest.raises(DeckError, match=words):
        read_study(written(tmp_path, stop))


# ---- Sensitivity -------------------------------------------------------------------------------


@pytest.mark.usefixtures("quick")
def test_a_study_of_sensitivity(tmp_path: Path) -> None:
    """v is of k alone, w of the span alone: all of the variance, and nothing, is theirs."""
    design = 'kind = "saltelli"\nrows = 16\nseed = 1'
    head = HEAD.replace('kind = "grid"', design)
    ranges = PARAMETERS.replace("values = [2, 3, 4, 5, 6, 7]", "range = [2.0, 5.9]")
    ranges = ranges.replace(K, 'range = [1.5, 48]\nscale = "log"')
    out = tmp_path / "out"
    outcome = run_study(write_study(tmp_path, head, ranges), out)
    assert (outcome.rows, outcome.failed) == (64, 0)
    text = (out / "sensitivity.csv").read_text(encoding="utf-8")
    rows = {(r["response"], r["parameter"]): r for r in csv.DictReader(text.splitlines())}
    for response, own, other in (("v", "k", "span"), ("w", "span", "k")):
        # Estimates of 16 points: half of an index, at most; what does not change has none.
        assert float(rows[response, own]["total"]) == pytest.approx(1.0, abs=0.5)
        assert float(rows[response, other]["total"]) == 0.0
        assert float(rows[response, other]["first_order"]) == 0.0
        low, high = (float(rows[response, own][f"first_order_{end}"]) for end in ("low", "high"))
        assert low < float(rows[response, own]["first_order"]) < high
        assert rows[response, own]["points"] == "16"
    svg = (out / "sensitivity.svg").read_text(encoding="utf-8")
    assert "share of the variance of v" in svg
    assert "Jansen" in svg
    assert (out / "sensitivity.pdf").read_bytes().startswith(b"%PDF")


# ---- The page ----------------------------------------------------------------------------------


def test_the_page_is_there_while_rows_come_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, pages = tmp_path / "out", []

    def read() -> None:
        if (out / PAGE).exists():
            pages.append((out / PAGE).read_text(encoding="utf-8"))

    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)
    monkeypatch.setattr("pipelines.study.convergence.PAUSE", 0.0)
    monkeypatch.setattr("pipelines.study.execute.run_task", law(read))
    few = PARAMETERS.replace("[2, 3, 4, 5, 6, 7]", "[2]")
    outcome = run_study(written(tmp_path, STOP.replace("= 12", "= 6"), few), out)
    assert len(pages) > outcome.computed / 2
    for page in pages:  # each whole, whenever it is read
        assert page.endswith("</html>\n")
        assert CAUTION.split(".")[0] in page
        assert "location.reload" in page
    assert "rows, " in pages[-1]
    assert "w [mm]" in pages[-1]
    assert "held out" in pages[-1]
    last = (out / PAGE).read_text(encoding="utf-8")
    assert "location.reload" not in last
    assert not list(out.glob(".progress*"))


def test_a_mean_has_its_interval() -> None:
    values = np.random.default_rng(1).normal(5.0, 2.0, 200)
    found = running_mean(values)
    assert found.n[0] == 2.0
    assert found.n[-1] == 200.0
    for k in (0, len(found.n) // 2, len(found.n) - 1):
        part = values[: int(found.n[k])]
        spread = part.std(ddof=1) / np.sqrt(len(part))
        low, high = student.interval(0.95, len(part) - 1, part.mean(), spread)
        assert found.mean[k] == pytest.approx(part.mean())
        assert found.half[k] == pytest.approx((high - low) / 2.0)
    assert len(running_mean(values[:2]).n) == 1


def test_a_response_that_is_rounding_about_nothing_is_drawn() -> None:
    """A twisting moment on a line of symmetry, say."""
    values = np.random.default_rng(1).normal(0.0, 1e-15, 40)
    assert "rows; twist" in _panels("means", "means", [("twist", running_mean(values))]).svg

"""Studies start to end: the table, resuming, failing decks, full disks, killed processes."""

import csv
import errno
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

import pipelines.study.task
from pipelines.analysis.analyse import analyse
from pipelines.cli.main import main
from pipelines.cli.study import progress_line
from pipelines.deck.reading.deck_file import read_deck
from pipelines.report.data.summary import summary
from pipelines.study.file import read_study
from pipelines.study.plan import plan_study
from pipelines.study.run import FILES, run_study
from pipelines.study.spec import StudyError
from pipelines.study.table import read_table
from tests.pipelines.studies import DECK, HEAD, PARAMETERS, RESPONSES, SerialPool, write_study
from tests.pipelines.study.processes import row_files, start, tables, undisturbed, until


@pytest.fixture
def serial(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows are computed in this process."""
    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the tiny study, run; nothing may be written to it."""
    folder = tmp_path_factory.mktemp("finished")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipelines.study.run.Workers", SerialPool)
        assert run_study(write_study(folder), folder / "out").computed == 8
    return folder


def copied(finished: Path, folder: Path) -> tuple[Path, Path]:
    """The study file and the results of a copy of a folder."""
    shutil.copytree(finished, folder, dirs_exist_ok=True)
    return folder / "study.toml", folder / "out"


def rows_of(out: Path) -> list[dict[str, str]]:
    return list(csv.DictReader((out / "table.csv").read_text(encoding="utf-8").splitlines()))


# ---- The table --------------------------------------------------------------------------------


def test_table_design_and_provenance(finished: Path) -> None:
    out = finished / "out"
    columns, about = read_table(out / "table.parquet")
    by_name = {column.name: column for column in columns}
    assert by_name["m"].unit == "kNm/m"
    assert by_name["load"].unit == "kN"
    assert by_name["L"].unit == "m"
    assert about["program"].startswith("0.")
    assert set(about["packages"]) >= {"numpy", "scipy"}
    assert len(about["base_sha256"]) == 64
    rows = rows_of(out)
    assert [row["row"] for row in rows] == [str(n) for n in range(1, 9)]
    assert {row["status"] for row in rows} == {"done"}
    for column in columns:  # CSV holds the same numbers with all their digits
        for row, value in zip(rows, column.values, strict=True):
            cell = row[column.name]
            assert cell == (value or "") if isinstance(value, str | None) else float(cell) == value
    design = list(csv.DictReader((out / "design.csv").read_text(encoding="utf-8").splitlines()))
    assert [d["k"] for d in design] == [row["k"] for row in rows]
    record = json.loads((out / "study.json").read_text(encoding="utf-8"))
    assert record["study_file"] == (finished / "study.toml").read_text(encoding="utf-8")
    assert record["base_file"] == DECK
    assert record["last_run"]["computed"] == 8
    # widths do not depend on how large the load is
    assert float(rows[0]["width"]) == pytest.approx(float(rows[2]["width"]), rel=1e-12)
    per_load = [float(row["M"]) / float(row["load"]) for row in rows]
    assert per_load == pytest.approx([per_load[0]] * 8, rel=1e-12)


@pytest.mark.usefixtures("serial")
def test_columns_and_the_making_of_rows_are_told_beside_the_table(tmp_path: Path) -> None:
    out = tmp_path / "out"
    head = HEAD.replace('base = "deck', 'licence = "CC BY 4.0, A. Engineer"\nbase = "deck')
    head = head.replace("tolerance_every = 0", "tolerance_every = 1")
    some = PARAMETERS.replace("[50, 100]", "[50]").replace("[0.2, 0.6]", "[0.2, 30]")
    study = write_study(tmp_path, head, some, RESPONSES)
    assert run_study(study, out).failed == 2  # a patch off the slab
    columns, about = read_table(out / "table.parquet")
    schema = json.loads((out / "table.schema.json").read_text(encoding="utf-8"))
    validator = Draft202012Validator(schema)
    for values in zip(*(column.values for column in columns), strict=True):
        row = dict(zip((column.name for column in columns), values, strict=True))
        validator.validate(row)
        assert not validator.is_valid(row | {"m": "much"})
        assert not validator.is_valid(row | {"status": "so so"})
    assert schema["properties"]["m"]["unit"] == "kNm/m"
    errors = schema["properties"]["m"]["error"]
    assert [row[errors] != "" for row in rows_of(out)] == [True, False, True, False]
    made = list(csv.DictReader((out / "made.csv").read_text(encoding="utf-8").splitlines()))
    for one in made:
        if one["deck"]:
            entry = json.loads((out / one["deck"]).read_text(encoding="utf-8"))
            assert sha256(entry["deck"].encode()).hexdigest() == one["deck_sha256"]
        assert one["program"] == f"deckslab {about['program']}"
        assert one["licence"] == about["licence"] == "CC BY 4.0, A. Engineer"
    assert [bool(one["deck"]) for one in made] == [True, False, True, False]


def test_a_row_is_what_its_own_deck_file_gives(finished: Path, tmp_path: Path) -> None:
    for file in row_files(finished / "out")[::5]:
        entry = json.loads(file.read_text(encoding="utf-8"))
        path = tmp_path / "row.toml"
        path.write_text(entry["deck"], encoding="utf-8")
        alone = summary(analyse(read_deck(path)))
        assert entry["values"]["m"] == alone["probes"]["mid"]["cases"]["wheel"]["m_x"]


@pytest.mark.usefixtures("serial")
def test_nothing_of_the_place_or_time_is_in_the_results(finished: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run_study(write_study(tmp_path), out)
    for file in out.rglob("*"):
        assert file.is_dir() or str(tmp_path).encode() not in file.read_bytes()
    assert tables(out) == tables(finished / "out")


# ---- Files to start from -----------------------------------------------------------------------


def test_a_new_study_has_its_deck_beside_it_and_overwrites_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "sub" / "mine.toml"
    assert main(["new", "study", "--out", str(path)]) == 0
    study = read_study(path)
    assert study.base_path == path.with_name("mine-deck.toml")
    assert all(not row.reason for row in plan_study(study).rows)
    path.unlink()
    assert main(["new", "study", "--out", str(path)]) == 2
    assert "mine-deck.toml exists already" in capsys.readouterr().err
    assert not path.exists()


@pytest.mark.slow
@pytest.mark.usefixtures("serial")
def test_a_new_study_and_its_fit_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    study, fit, out = tmp_path / "study.toml", tmp_path / "fit.toml", tmp_path / "studied"
    for kind, path in (("study", study), ("fit", fit)):
        assert main(["new", kind, "--out", str(path)]) == 0
    assert run_study(study, out).failed == 0
    table = ["--table", str(out / "table.parquet"), "--out", str(tmp_path / "fitted")]
    capsys.readouterr()
    assert main(["fit", str(fit), *table]) == 0
    worst = re.search(r"held-out geometries: ([\d.]+) %", capsys.readouterr().out)
    # Beams alone, of two places and one span: a power law meets them within some per cent.
    assert worst is not None
    assert float(worst[1]) < 6.0


# ---- Resuming ---------------------------------------------------------------------------------


@pytest.mark.usefixtures("serial")
def test_what_is_missing_or_damaged_is_computed_again(finished: Path, tmp_path: Path) -> None:
    study, out = copied(finished, tmp_path)
    before = tables(out)
    assert run_study(study, out).computed == 0
    first, second, third, fourth, *_ = row_files(out)
    first.unlink()
    second.write_text(second.read_text(encoding="utf-8")[:200], encoding="utf-8")
    third.write_bytes(fourth.read_bytes())  # another row's numbers under this name
    (out / "table.parquet").unlink()
    assert run_study(study, out).computed == 3
    assert tables(out) == before


@pytest.mark.usefixtures("serial")
def test_a_changed_base_runs_only_what_changed(finished: Path, tmp_path: Path) -> None:
    _, out = copied(finished, tmp_path)
    more = PARAMETERS.replace("[1, 100]", "[1, 50, 100]")
    assert run_study(write_study(tmp_path, HEAD, more, RESPONSES), out).computed == 4
    thicker = DECK.replace("thickness_mm = 250", "thickness_mm = 260")
    assert run_study(write_study(tmp_path, deck=thicker), out).computed == 8
    assert run_study(write_study(tmp_path), out).computed == 0  # the old rows are still there


MORE = """
[[response]]
name = "w"
unit = "mm"
path = "probes.mid.cases.wheel.w_mm"
"""


@pytest.mark.usefixtures("serial")
def test_a_further_response_is_read_from_what_was_kept(finished: Path, tmp_path: Path) -> None:
    _, out = copied(finished, tmp_path)
    before = rows_of(out)
    more = write_study(tmp_path, HEAD, PARAMETERS, RESPONSES, MORE)
    assert run_study(more, out).computed == 0
    kept = tables(out)
    assert [float(row["w"]) > 0.0 for row in rows_of(out)] == [True] * 8
    assert [row["m"] for row in rows_of(out)] == [row["m"] for row in before]
    assert run_study(more, tmp_path / "fresh").computed == 8
    assert tables(tmp_path / "fresh") == kept  # to the last digit


@pytest.mark.usefixtures("serial")
def test_a_response_that_leads_nowhere_stops_at_the_first_deck(
    finished: Path, tmp_path: Path
) -> None:
    wrong = MORE.replace("mid.cases", "midd.cases")
    out = tmp_path / "out"
    study = write_study(tmp_path, HEAD, PARAMETERS, RESPONSES, wrong)
    told = r'first deck, row \d: response w: "midd" is not in the summary; there are mid;'
    with pytest.raises(StudyError, match=told):
        run_study(study, out)
    assert row_files(out) == []
    assert not (out / "table.csv").exists()
    # Nor is it read from what was kept.
    copied(finished, tmp_path)
    with pytest.raises(StudyError, match='row 1: response w: "midd" is not'):
        run_study(write_study(tmp_path, HEAD, PARAMETERS, RESPONSES, wrong), out)


# ---- Decks that fail --------------------------------------------------------------------------


@pytest.mark.usefixtures("serial")
def test_decks_that_fail_are_rows_with_their_reasons(tmp_path: Path) -> None:
    parameters = (
        PARAMETERS
        + """
[[parameter]]
name = "support"
key = "line.L*.support"
values = ["free", "rigid"]
[[parameter]]
name = "across"
key = "line.C*.support"
values = ["beam", "free"]
"""
    )
    deck = DECK.replace("[[case]]", '[[line]]\non = "L*"\nsupport = "free"\n[[case]]')
    out = tmp_path / "out"
    outcome = run_study(write_study(tmp_path, HEAD, parameters, RESPONSES, deck=deck), out)
    reasons = {(r["support"], r["across"]): (r["status"], r["reason"]) for r in rows_of(out)}
    assert reasons["free", "beam"] == ("done", "")
    assert reasons["free", "free"][0] == "failed"
    assert reasons["free", "free"][1]
    assert outcome.failed == sum(r["status"] == "failed" for r in rows_of(out))
    assert run_study(tmp_path / "study.toml", out).computed == 0


def failing(error: BaseException, times: int) -> Callable[..., Any]:
    """The analysis, but its first calls raise."""
    left = iter([error] * times)

    def run(*args: Any, **kwargs: Any) -> Any:
        for one in left:
            raise one
        return analyse(*args, **kwargs)

    return run


@pytest.mark.usefixtures("serial")
@pytest.mark.parametrize(
    ("error", "reason", "again"),
    [
        (ZeroDivisionError("of a kind"), "ZeroDivisionError: of a kind", 0),
        (MemoryError(), "not enough memory", 2),
    ],
)
def test_faults_and_want_of_memory_cost_only_their_rows(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    error: BaseException,
    reason: str,
    again: int,
) -> None:
    study, out = write_study(tmp_path), tmp_path / "out"
    monkeypatch.setattr(pipelines.study.task, "analyse", failing(error, 2))
    assert run_study(study, out).failed == 2
    assert [r["reason"] for r in rows_of(out) if r["status"] == "failed"] == [reason] * 2
    # Want of memory is of the moment: such rows are tried again.
    assert run_study(study, out).computed == again


@pytest.mark.usefixtures("serial")
def test_an_error_target_raises_the_order_and_says_what_it_does_not_reach(tmp_path: Path) -> None:
    head = HEAD.replace("tolerance_every = 0", "tolerance_every = 1\nerror_target_percent = 1")
    out = tmp_path / "out"
    some = (
        PARAMETERS.replace("[1, 100]", "[10]")
        .replace("[50, 100]", "[50]")
        .replace("[0.2, 0.6]", "[0.2]")
    )
    run_study(write_study(tmp_path, head, some, RESPONSES), out)
    for row in rows_of(out):
        share = float(row["m_error"]) / abs(float(row["m"]))
        assert row["order"] != "2"  # the base's order gives 2 to 3 %
        assert (row["status"] == "done") == (share <= 0.01)
        assert ("only" in row["reason"]) == (row["status"] == "above target")
    head = head.replace("_percent = 1", "_percent = 0.001")
    outcome = run_study(write_study(tmp_path, head, some, RESPONSES), out)
    assert outcome.above_target == 1
    assert {row["order"] for row in rows_of(out)} == {"4"}


@pytest.mark.usefixtures("serial")
def test_without_parquet_there_is_a_table_all_the_same(
    finished: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    study, out = copied(finished, tmp_path)
    table = (out / "table.csv").read_bytes()
    (tmp_path / "copy.parquet").write_bytes((out / "table.parquet").read_bytes())
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert main(["study", str(study), "--out", str(out)]) == 0
    assert (
        "table.parquet is left out: it needs the packages of the extra" in capsys.readouterr().out
    )
    # The Parquet file of the run before is gone: the files of a folder are of one run.
    assert {path.name for path in out.iterdir()} == {
        *FILES,
        "progress.html",
        "rows",
        "study.files.json",
    } - {"table.parquet"}
    assert (out / "table.csv").read_bytes() == table
    fit = ["fit", "width-wheel-fit", "--table", str(tmp_path / "copy.parquet")]
    assert main([*fit, "--out", str(tmp_path / "fit")]) == 2
    assert "pip install '.[study]'" in capsys.readouterr().err


# ---- Disk full --------------------------------------------------------------------------------


@pytest.mark.usefixtures("serial")
@pytest.mark.parametrize("after", [0, 5, 8])  # at the first row file; another; the table
def test_a_full_disk_loses_nothing_that_is_finished(
    finished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    study, out = write_study(tmp_path), tmp_path / "out"
    real, count = os.fsync, 0

    def full(handle: int) -> None:
        nonlocal count
        count += 1
        if count > after:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    with monkeypatch.context() as patch:
        patch.setattr("pipelines.system.files.os.fsync", full)
        with pytest.raises(OSError, match="No space left") as error:
            run_study(study, out)
        assert str(out) in str(error.value.filename)
    assert [f.name for f in out.rglob("*") if f.name.startswith(".")] == []
    done = len(row_files(out))
    assert done == after
    assert run_study(study, out).computed == 8 - done
    assert tables(out) == tables(finished / "out")


# ---- Processes --------------------------------------------------------------------------------


def workers_of(driver: int) -> list[int]:
    """Worker processes of a driver."""
    try:
        children = (
            Path(f"/proc/{driver}/task/{driver}/children").read_text(encoding="utf-8").split()
        )
        commands = {int(c): Path(f"/proc/{c}/cmdline").read_bytes() for c in children}
    except OSError:
        return []
    return [child for child, command in commands.items() if b"spawn_main" in command]


def alive(process: int) -> bool:
    try:
        return (
            Path(f"/proc/{process}/stat").read_text(encoding="utf-8").split(")")[1].split()[0]
            != "Z"
        )
    except OSError:
        return False


def _moved(out: Path, rows: int, driver: "subprocess.Popen[str]") -> bool:
    return until(lambda: len(row_files(out)) >= rows or driver.poll() is not None)


def _all_gone(processes: list[int]) -> bool:
    return until(lambda: not any(alive(p) for p in processes), 30.0)


def disturbed(study: Path, out: Path, kills: list[str], seed: int) -> int:
    """Run a study with kills, each after some more rows; returns how many there were."""
    draw = random.Random(seed)
    driver = start(study, out)
    made = 0
    for target in kills:
        before = len(row_files(out))
        more = draw.randint(1, 3)
        assert _moved(out, before + more, driver), "the study does not move"
        time.sleep(draw.uniform(0.0, 0.3))
        workers = workers_of(driver.pid)
        if driver.poll() is not None:
            break
        if target == "worker":
            if not workers:
                continue
            os.kill(draw.choice(workers), signal.SIGKILL)
            made += 1
        else:
            driver.kill()
            driver.communicate()
            made += 1
            assert _all_gone(workers), "workers outlive their driver"
            driver = start(study, out)
    _, errors = driver.communicate(timeout=600)
    assert driver.returncode == 0, errors
    # What a run gave up for its dead workers is done by the next.
    again = start(study, out)
    _, errors = again.communicate(timeout=600)
    assert again.returncode == 0, errors
    return made


linux = pytest.mark.skipif(not Path("/proc/self").exists(), reason="finds processes in /proc")


@pytest.mark.slow
@linux
def test_workers_and_kills_do_not_change_a_byte(tmp_path: Path) -> None:
    parameters = PARAMETERS.replace("[1, 100]", "[1, 3, 10, 30, 100, 300, 1000]")
    study = write_study(tmp_path, HEAD, parameters, RESPONSES)
    out = tmp_path / "killed"
    assert disturbed(study, out, ["driver", "worker", "driver"], seed=5) == 3
    clean = tmp_path / "clean"
    undisturbed(study, clean)
    assert tables(out) == tables(clean)


@pytest.mark.soak
@linux
def test_thirty_random_kills(tmp_path: Path) -> None:
    levels = ", ".join(str(k) for k in range(1, 61))
    parameters = PARAMETERS.replace("[1, 100]", f"[{levels}]")
    study = write_study(tmp_path, HEAD, parameters, RESPONSES)
    draw = random.Random(7)
    kills = [draw.choice(["driver", "worker"]) for _ in range(34)]
    out = tmp_path / "killed"
    made = disturbed(study, out, kills, seed=11)
    assert made >= 30
    clean = tmp_path / "clean"
    assert undisturbed(study, clean).computed == 240
    assert tables(out) == tables(clean)


# ---- The command line -------------------------------------------------------------------------


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Callable[[], str]:
    return lambda: "".join(capsys.readouterr())


@pytest.mark.usefixtures("serial")
def test_command_line(tmp_path: Path, told: Callable[[], str]) -> None:
    from pipelines.cli.main import main

    study = write_study(tmp_path)
    assert main(["study", str(study), "--out", str(tmp_path / "out"), "--workers", "1"]) == 0
    text = told()
    assert "8 rows, 0 failed" in text
    assert "decks per hour" in text
    assert "rows 8/8" in text
    write_study(tmp_path, HEAD.replace("bay = 1", "bay = 9"), PARAMETERS, RESPONSES)
    assert main(["study", str(study), "--out", str(tmp_path / "out")]) == 2
    assert "bay 9: the deck has 2 bays" in told()
    assert main(["study", "nowhere.toml", "--out", str(tmp_path / "out")]) == 2
    assert "nowhere.toml" in told()


def test_progress_tells_rate_and_time_left() -> None:
    assert progress_line("rows", 0, 100, 5.0) == "rows 0/100"
    assert progress_line("rows", 10, 100, 20.0) == "rows 10/100, 30 per minute, 3 min left"
    assert progress_line("rows", 10, 100, 2.0) == "rows 10/100, 300 per minute, 18 s left"
    assert progress_line("rows", 1, 1000, 36.0).endswith("10.0 h left")
    assert progress_line("rows", 10, 100, 2.0, 3).startswith("rows 10/100, 3 failed, 300 per")
    assert progress_line("rows", 100, 100, 50.0) == "rows 100/100, 120 per minute"

"""Code of a user's own in studies and fits: permitted, known by its digest, marked in the table and
in the formula's words."""

import os
import re
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import pytest

from pipelines.cli.main import main
from pipelines.standards.own.code import OwnCode
from pipelines.study.file import read_study
from pipelines.study.fit.run import run_fit
from pipelines.study.own import own_meanings, require_same
from pipelines.study.plan import deck_of, plan_study
from pipelines.study.run import run_study
from pipelines.study.spec import StudyError
from pipelines.study.table import read_table
from tests.pipelines.own.office import WIDTH, installed
from tests.pipelines.studies import DECK, HEAD, RESPONSES, SerialPool, write_study

PARAMETER = """
[[parameter]]
name = "span"
key = "plan.stations_m.3"
values = [6.0, 6.5, 7.0]
"""
OWN = """
[[response]]
name = "office"
unit = "m"
hand = { strips = "office rule", case = "axle" }
[[response]]
name = "office_L"
formula = "office / L"
[[response]]
name = "of_a_wheel"
unit = "m"
hand = { strips = "office rule", case = "wheel" }
"""
AXLE = """
[[case]]
name = "axle"
patches = [
  { at_m = [1.5, -0.9], size_m = [0.6, 0.6], load_kN = 50.0 },
  { at_m = [1.5, 0.9], size_m = [0.6, 0.6], load_kN = 50.0 } ]
"""
FIT = """
title = "A width"
response = "office_L"
safe = "below"
[compare]
"the office" = "office_L"
"IRC" = "irc"
[[input]]
name = "span"
"""


@pytest.fixture
def serial(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)


def study(folder: Path, code: str = WIDTH, own: str = "office.py") -> tuple[Path, Path]:
    file = folder / "office.py"
    file.write_text(code, encoding="utf-8")
    deck = f'{DECK}{AXLE}[own]\nstrips = "{own}"\n'
    return write_study(folder, HEAD, PARAMETER, RESPONSES, OWN, deck=deck), file


@pytest.mark.usefixtures("serial")
def test_a_user_s_rule_in_a_study_and_a_fit(tmp_path: Path) -> None:
    path, file = study(tmp_path)
    outcome = run_study(path, tmp_path / "out", own=[file])
    assert (outcome.rows, outcome.failed) == (3, 0)
    assert outcome.empty == ("of_a_wheel",)  # the rule says what carries an axle
    columns, about = read_table(tmp_path / "out" / "table.parquet")
    by_name = {column.name: column for column in columns}
    assert by_name["office"].meaning == "response (user's: office rule)"
    assert by_name["office_L"].meaning == "response (user's: office rule)"
    assert by_name["irc"].meaning == "response"
    assert [one["name"] for one in about["own"]] == ["office.py"]
    # 0.4 of the bay, the tyre (the patch less its spread through half the slab) and its spread.
    assert by_name["office"].values[0] == pytest.approx(0.4 * 3.0 + (0.6 - 0.25) + 0.25)
    fit = tmp_path / "fit.toml"
    fit.write_text(FIT, encoding="utf-8")
    told = run_fit(fit, tmp_path / "fitted", tmp_path / "out" / "table.parquet").text()
    assert "office_L (user's) = " in told
    assert "the office (user's), all rows" in told
    assert "IRC, all rows" in told


def test_a_study_runs_no_file_unasked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, file = study(tmp_path)
    assert main(["study", str(path), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert f"would run the Python file {file}" in told
    assert told.count("\n") == 1


def test_decks_of_rows_name_the_digest_and_other_code_is_another_row(tmp_path: Path) -> None:
    path, file = study(tmp_path)
    one = plan_study(read_study(path), own=[file]).rows[0]
    ((_, code),) = one.own
    assert f'strips = "{code.digest[:16]}.py"' in one.deck
    assert deck_of(one).own.strips.names == ("office rule",)
    file.write_text(WIDTH.replace("0.4", "0.5"), encoding="utf-8")
    assert plan_study(read_study(path), own=[file]).rows[0].key != one.key
    with pytest.raises(StudyError, match=r"the worker on .* is not what it was"):
        require_same([code])


def test_a_package_on_a_cluster_is_named_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    installed(tmp_path, monkeypatch, WIDTH, "office_of_a_cluster")
    path, _ = study(tmp_path, own="office_of_a_cluster")
    with pytest.raises(StudyError, match="give --own office_of_a_cluster"):
        run_study(path, tmp_path / "out", cluster="tcp://127.0.0.1:1")
    with pytest.raises(StudyError, match="no scheduler answers"):
        run_study(path, tmp_path / "out", cluster="tcp://127.0.0.1:1", own=["office_of_a_cluster"])
    other = replace(OwnCode.of_package("office_of_a_cluster"), digest="0" * 64)
    with pytest.raises(StudyError, match="is not what it was"):
        require_same([other])


@pytest.mark.usefixtures("serial")
def test_a_name_that_no_method_has_stops_the_study(tmp_path: Path) -> None:
    path, file = study(tmp_path, WIDTH.replace("office rule", "office rulebook"))
    with pytest.raises(StudyError, match='response office: no strip method "office rule"; there'):
        run_study(path, tmp_path / "out", own=[file])


WHO = """
import os
import re
from pathlib import Path

Path(__file__).with_name(f"run-by-{os.getpid()}").touch()
"""


@pytest.mark.slow
@pytest.mark.parametrize("where", ["workers", "cluster"])
def test_every_worker_runs_the_file_itself(tmp_path: Path, where: str) -> None:
    """As local processes and on a cluster on this machine's loopback the same numbers come out."""
    path, file = study(tmp_path, WHO + WIDTH)
    here = run_study(path, tmp_path / "here", workers=1, own=[file])
    for one in tmp_path.glob("run-by-*"):
        one.unlink()
    if where == "workers":
        there = run_study(path, tmp_path / "there", workers=2, own=[file])
    else:
        distributed = pytest.importorskip("distributed")
        asked = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
        patient = dict.fromkeys(("connect", "tcp"), "120s")  # on a machine that does much else
        with (
            import_module("dask.config").set({"distributed.comm.timeouts": patient}),
            distributed.LocalCluster(host="127.0.0.1", **asked) as cluster,
        ):
            address = cluster.scheduler_address
            there = run_study(path, tmp_path / "there", cluster=address, own=[file])
    assert (here.failed, there.failed) == (0, 0)
    ran = [int(one.name.rpartition("-")[2]) for one in tmp_path.glob("run-by-*")]
    assert [pid for pid in ran if pid != os.getpid()]
    tables = [read_table(tmp_path / folder / "table.parquet")[0] for folder in ("here", "there")]
    offices = [next(c.values for c in table if c.name == "office") for table in tables]
    assert offices[0] == pytest.approx(offices[1], rel=1e-9)


def test_a_parameter_that_names_what_is_the_user_s_is_marked(tmp_path: Path) -> None:
    path, _ = study(tmp_path)
    text = path.read_text(encoding="utf-8") + VEHICLE
    path.write_text(text, encoding="utf-8")
    told = own_meanings(read_study(path), ["office rule", "office crane"])
    assert told["lorry"] == " (user's: office crane)"
    assert "span" not in told
    assert told["office_L"] == " (user's: office rule)"
    assert told["under_it"] == " (user's: office crane)"
    assert told["twice"] == " (user's: office crane)"
    assert "at_rest" not in told


VEHICLE = """
[[response]]
name = "under_it"
path = "probes.mid.envelope.m_x.max.value"
[[response]]
name = "at_rest"
path = "probes.mid.cases.axle.m_x"
[[response]]
name = "twice"
formula = "2 * under_it"
[[parameter]]
name = "lorry"
key = "traffic.vehicles.1"
values = ["office crane", "EN 1991-2 LM2"]
"""


@pytest.mark.usefixtures("serial")
def test_what_a_rule_may_not_give_stops_the_study_at_the_first_deck(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, file = study(tmp_path, WIDTH.replace("return", 'return float("nan")\n    return'))
    out = tmp_path / "out"
    assert main(["study", str(path), "--out", str(out), "--own", str(file)]) == 2
    told = capsys.readouterr().err
    said = r"the first deck, row \d: office\.py: width, sagging of strips 1, gave nan"
    assert re.search(said, told), told
    assert "Traceback" not in told
    assert not (out / "table.csv").exists()

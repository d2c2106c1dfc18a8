"""What the README says runs; what it and the developers' guide name is there."""

import csv
import re
from pathlib import Path
from typing import Any

import pytest

from pipelines import Analysis
from pipelines.cli.main import main
from pipelines.study.table import read_table
from tests.pipelines.small_decks import small_deck
from tests.pipelines.studies import SerialPool

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROGRAMS = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
TABLES = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)


ONE_BAY = """
[slab]
thickness_mm = 250
E_GPa = 30
[plan]
stations_m = [0.0, 3.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = "C*"
support = "rigid"
[[case]]
name = "axle"
patches = [
  { at_m = [1.5, -1.0], size_m = [0.66, 0.81], load_kN = 60.0 },
  { at_m = [1.5, 1.0], size_m = [0.66, 0.81], load_kN = 60.0 } ]
[[probe]]
name = "under a wheel"
at_m = [1.5, 1.0]
[traffic]
carriageway_m = [-1.9, 1.9]
vehicles = ["office crane"]
step_m = 0.5
offsets_m = [0.0]
surfacing_mm = 80
[mesh]
order = 2
size_m = 1.0
[strip]
method = "office rule"
bars = "parallel"
"""
STUDY = """
title = "one bay"
base = "deck.toml"
[design]
kind = "grid"
[reference]
bay = 1
cases = ["axle"]
surfacing_mm = 80
[[parameter]]
name = "span"
key = "plan.stations_m.2"
values = [2.8, 3.0, 3.4]
[set]
"case.axle.patches.1.at_m.1" = "0.5 * span"
"case.axle.patches.2.at_m.1" = "0.5 * span"
"probe.under a wheel.at_m.1" = "0.5 * span"
[[response]]
name = "share"
path = ["findings", { strip = "office rule", effect = "sagging, bars along, soffit" },
  "strip_over_plate"]
[[response]]
name = "M"
unit = "kNm"
strip = { case = "axle" }
[[response]]
name = "m"
unit = "kNm/m"
path = "probes.under a wheel.cases.axle.m_x"
[[response]]
name = "width"
unit = "m"
formula = "M / m"
[[response]]
name = "office"
unit = "m"
hand = { strips = "office rule", case = "axle" }
[run]
tolerance_every = 0
"""
FIT = """
title = "Width that carries an axle"
response = "width"
safe = "below"
[compare]
"office rule" = "office"
[[input]]
name = "span"
"""


def test_the_python_of_the_readme_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    program = PROGRAMS[0]
    small_deck(tmp_path)
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {}
    exec(program, names)
    analysis = names["analysis"]
    assert isinstance(analysis, Analysis)
    assert capsys.readouterr().out == ""
    governing = analysis.result.governing
    assert len(names["governing"]) == len(governing) == 12
    peak = next(p for p in governing if (p.result, p.extreme) == ("m_x", "max"))
    assert float(names["m_x"].max()) == pytest.approx(peak.value)
    assert names["where"].startswith("lorry at ")
    assert (tmp_path / "m_x.svg").stat().st_size > 1000
    assert (tmp_path / "out" / "report.html").exists()
    shown = analysis._repr_html_()
    assert f"{peak.value:.3g}" in shown
    assert shown.count("<tr>") == 13


def test_twenty_lines_of_a_user_s_are_seen_in_report_study_and_fit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, program = PROGRAMS
    assert len(program.splitlines()) <= 20
    (tmp_path / "office.py").write_text(program, encoding="utf-8")
    [own] = [text for text in TABLES if text.startswith("[own]")]
    deck = tmp_path / "deck.toml"
    deck.write_text(ONE_BAY + own, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["run", "deck.toml", "--out", "out", "--own", "office.py", "--quiet"]) == 0
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8").replace("&#x27;", "'")
    assert "office rule (user's)" in page
    assert "office crane (user's)" in page
    assert "office.py gives strips and vehicles: office rule, office crane" in page
    with (tmp_path / "out" / "findings.csv").open(encoding="utf-8") as file:
        mine = [row for row in csv.DictReader(file) if row["strip"] == "office rule"]
    assert {row["mark"] for row in mine} == {"user's"}
    assert {row["load_source"] for row in mine} == {"office.py (user's)"}
    # The width of an axle whose tyre of 0.4 m stands on 80 mm of surfacing and a slab of 250 mm.
    width = 0.4 * 3.0 + 0.4 + 0.16 + 0.25
    [bay] = [row for row in mine if row["effect"] == "sagging, bars along, soffit"]
    assert float(bay["width_m"]) == pytest.approx(width, rel=1e-5)  # in print
    values = (tmp_path / "out" / "values.csv").read_text(encoding="utf-8")
    assert "office crane: user's" in values

    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    (tmp_path / "fit.toml").write_text(FIT, encoding="utf-8")
    assert main(["study", "study.toml", "--out", "studied", "--own", "office.py"]) == 0
    table = ["--table", "studied/table.parquet"]
    columns, _ = read_table(Path(table[1]))
    meanings = {column.name: column.meaning for column in columns}
    assert meanings["share"] == "response (user's: office rule, office crane)"
    assert meanings["office"] == "response (user's: office rule)"
    assert main(["fit", "fit.toml", "--out", "fitted", *table]) == 0
    told = (tmp_path / "fitted" / "fit.txt").read_text(encoding="utf-8")
    assert "width = exp(" in told
    assert "office rule (user's), all rows" in told


def test_the_commands_of_the_readme_are_known(capsys: pytest.CaptureFixture[str]) -> None:
    commands = set(re.findall(r"^(?:`?deckslab |\| `)(\w+)\b(?!\.)", README, re.MULTILINE))
    assert commands >= {"new", "draw", "run", "view", "study", "fit"}
    for command in commands:
        with pytest.raises(SystemExit) as stopped:
            main([command, "--help"])
        assert stopped.value.code == 0
    # pip's own beside those of the commands
    known = {"--quiet", *re.findall(r"--[a-z][a-z-]*", capsys.readouterr().out)}
    assert set(re.findall(r"--[a-z][a-z-]*", README)) <= known


def in_backquotes(text: str) -> list[str]:
    """The words in backquotes, but those of blocks of code."""
    prose = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
    return [word for named in re.findall(r"`([^`]+)`", prose) for word in named.split()]


def test_files_and_names_of_both_guides_are_there() -> None:
    rooms = [ROOT / room for room in ("pipelines", "plate", "tests", "benchmarks", ".ci")]
    files = [path for room in rooms for path in room.rglob("*") if "__pycache__" not in path.parts]
    paths = "".join(f"/{path.relative_to(ROOT).as_posix()}\n" for path in [*rooms, *files])
    sources = [path for path in files if path.suffix == ".py"]
    code = "".join(path.read_text(encoding="utf-8") for path in sources)
    extras = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    names = set(re.findall(r"\w+", code + extras + paths))

    def is_there(word: str) -> bool:
        """Whether a folder, a file or a module ends so, or the module before a name in it."""
        pattern = re.escape(word.rstrip("/")).replace(r"\*", "[^/]*").replace("NAME", "[^/]*")
        module, _, name = word.rpartition(".")
        return re.search(rf"/{pattern}(\.py)?$", paths, re.MULTILINE) is not None or (
            f"/{module}.py\n" in paths and name in names
        )

    users = re.compile(r"(out|\.venv|tested)/|\w+://|.*\(|.*parquet")  # files and programs
    for text in (README, GUIDE):
        told = [w for w in in_backquotes(text) if "/" in w or w.endswith(".py")]
        told = [w for w in told if not users.match(w)]
        assert told
        assert [w for w in told if not is_there(w)] == []
    told = [w for w in in_backquotes(GUIDE) if re.fullmatch(r"[A-Za-z_][\w.]*", w)]
    assert told
    assert [w for w in told if not names.issuperset(w.split("."))] == []

"""What the README says runs."""

import re
from pathlib import Path
from typing import Any

import pytest

from pipelines import Analysis
from pipelines.cli.main import main
from tests.pipelines.small_decks import small_deck

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def test_the_python_of_the_readme_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    [program] = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
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


def test_the_commands_of_the_readme_are_known(capsys: pytest.CaptureFixture[str]) -> None:
    commands = set(re.findall(r"^`?deckslab (\w+)", README, re.MULTILINE))
    assert commands >= {"new", "draw", "run", "view", "study", "fit"}
    for command in commands:
        with pytest.raises(SystemExit) as stopped:
            main([command, "--help"])
        assert stopped.value.code == 0
    # pip's own beside those of the commands
    known = {"--quiet", *re.findall(r"--[a-z]+", capsys.readouterr().out)}
    assert set(re.findall(r"--[a-z]+", README)) <= known

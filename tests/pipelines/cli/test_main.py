"""How a command ends that runs out of memory: told, with what makes its own job smaller."""

from pathlib import Path

import pytest

from pipelines.cli import run, study
from pipelines.cli.main import main


def exhausted(*arguments: object, **keywords: object) -> None:
    raise MemoryError


def test_a_deck_s_keys_are_named_for_a_deck_s_job(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr(run, "_run", exhausted)
    assert main(["run", "girders", "--out", str(tmp_path / "out")]) == 2
    assert "does not suffice: make [mesh] size_m larger" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["study", "fit"])
def test_they_are_not_for_other_jobs(
    command: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    monkeypatch.setattr(study, f"_{command}", exhausted)
    assert main([command, "file.toml", "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert "the memory that may be taken does not suffice" in told
    assert "size_m" not in told

"""Studies as processes, started, watched and killed."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.study.run import Outcome, run_study
from tests.pipelines.studies import SerialPool

ROOT = Path(__file__).parents[3]


COMMAND = "import sys; from pipelines.__main__ import main; sys.exit(main())"


def tables(out: Path) -> tuple[bytes, bytes]:
    return (out / "table.parquet").read_bytes(), (out / "table.csv").read_bytes()


def row_files(out: Path) -> list[Path]:
    return sorted((out / "rows").glob("*.json"))


def start(study: Path, out: Path, *more: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, "study", str(study), "--out", str(out), *more],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def until(condition: Callable[[], bool], seconds: float = 600.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.01)
    return False


def undisturbed(study: Path, out: Path) -> Outcome:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipelines.study.run.Workers", SerialPool)
        return run_study(study, out)

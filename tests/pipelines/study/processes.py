"""Studies as processes, started, watched and killed."""

import json
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


class LocalCluster:
    """A scheduler and its workers, each a process of its own."""

    def __init__(
        self, folder: Path, memory: str = "4GB", roots: tuple[Path, Path] = (ROOT, ROOT)
    ) -> None:
        """roots : where each worker finds the program."""
        folder.mkdir()
        self.folder = folder
        file = folder / "scheduler.json"
        self.scheduler = self._start(
            "scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(file)
        )
        assert until(lambda: file.exists() and file.stat().st_size > 0), "no scheduler"
        self.address = str(json.loads(file.read_text(encoding="utf-8"))["address"])
        common = ("--nthreads", "1", "--no-nanny", "--memory-limit", memory)
        where = ("--local-directory", str(folder), "--host", "127.0.0.1")
        self.workers = [
            self._start("worker", self.address, *common, *where, root=root) for root in roots
        ]
        assert until(lambda: self._registered() == 2), "no workers"

    def _start(self, *arguments: str, root: Path = ROOT) -> "subprocess.Popen[bytes]":
        with (self.folder / "log.txt").open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-m", "dask", *arguments, "--no-dashboard"],
                env=os.environ | {"PYTHONPATH": str(root)},
                cwd=self.folder,  # where the program is not
                stdout=log,
                stderr=log,
            )

    def _registered(self) -> int:
        return (self.folder / "log.txt").read_text(encoding="utf-8").count("Registered to:")

    def stop(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()

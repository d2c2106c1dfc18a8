"""Processors, memory and locks, where the system tells them and where it does not."""

import os
import pickle
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest

from pipelines.cli.main import main
from pipelines.errors import MissingError
from pipelines.system import machine
from pipelines.system.machine import (
    LOCK,
    accelerator,
    accelerators,
    free_memory,
    locked,
    processors,
)
from tests.card import package


def process(**told: object) -> object:
    """In place of the process, on a system that tells no more than this of it."""
    return lambda: SimpleNamespace(**told)


def test_processors_are_those_of_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    if hasattr(os, "sched_getaffinity"):
        assert processors() == len(os.sched_getaffinity(0))
    monkeypatch.setattr(psutil, "Process", process(cpu_affinity=lambda: [0, 3, 5]))
    assert processors() == 3
    monkeypatch.setattr(psutil, "Process", process())  # as on macOS
    monkeypatch.setattr(psutil, "cpu_count", lambda: 8)
    assert processors() == 8
    monkeypatch.setattr(psutil, "cpu_count", lambda: None)
    assert processors() == 1


def test_free_memory_is_a_plausible_number() -> None:
    assert 1e7 < free_memory() < 1e14


def test_limits_of_the_process_and_of_its_container_are_heeded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(psutil, "virtual_memory", lambda: SimpleNamespace(available=90 << 30))
    monkeypatch.setattr(machine, "_number", lambda path: None)
    monkeypatch.setattr(psutil, "Process", process())  # as on macOS and Windows
    assert free_memory() == 90 << 30
    group = {"max": float(60 << 30), "current": float(5 << 30)}
    monkeypatch.setattr(machine, "_number", lambda path: group[path.rsplit(".", 1)[1]])
    assert free_memory() == 55 << 30
    used = SimpleNamespace(vms=1 << 30)
    limited = process(rlimit=lambda kind: (50 << 30, -1), memory_info=lambda: used)
    monkeypatch.setattr(psutil, "Process", limited)
    monkeypatch.setattr(psutil, "RLIMIT_AS", 9, raising=False)
    monkeypatch.setattr(psutil, "RLIM_INFINITY", -1, raising=False)
    assert free_memory() == 49 << 30


def test_a_lock_leaves_nothing_behind(tmp_path: Path) -> None:
    with locked(tmp_path):
        pass
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(os.name != "posix", reason="links need a right of their own elsewhere")
def test_a_lock_empties_no_file_through_a_link(tmp_path: Path) -> None:
    """A folder may come from somebody else."""
    mine = tmp_path / "mine"
    mine.write_text("kept", encoding="utf-8")
    (tmp_path / "theirs").mkdir()
    (tmp_path / "theirs" / LOCK).symlink_to(mine)
    with locked(tmp_path / "theirs"):
        pass
    assert mine.read_text(encoding="utf-8") == "kept"


def test_a_disk_that_knows_no_locks_holds_nobody_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class NoLock:
        def __init__(self, path: Path) -> None:
            assert path == tmp_path / LOCK

        def acquire(self, timeout: float) -> None:
            raise OSError(95, "Operation not supported")

    monkeypatch.setattr(machine, "FileLock", NoLock)
    with locked(tmp_path):
        (tmp_path / "file").write_text("", encoding="utf-8")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("job", [("run", "estuary"), ("study", "width-study")])
@pytest.mark.parametrize(
    ("cupy", "words"),
    [
        (None, '--device gpu needs the packages of the extra "gpu": pip install'),
        (package(0), "--device gpu: this machine has no accelerator ready: cudaErrorNoDevice: no "),
    ],
)
def test_without_an_accelerator_one_sentence_is_told(
    cupy: object,
    words: str,
    job: tuple[str, str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    monkeypatch.setitem(sys.modules, "cupy", cupy)
    out = tmp_path / "out"
    assert main([*job, "--out", str(out), "--device", "gpu"]) == 2
    told = capsys.readouterr()
    assert told.err.startswith(f"deckslab: {words}")
    assert told.err.count("\n") == 1
    assert not told.out
    assert not out.exists()


TAKE = """
import sys
import time
from pipelines.system import machine
from tests.card import package
sys.modules["cupy"] = package(2)
machine.accelerator()
print(*sys.modules["cupy"].used, flush=True)
sys.stdin.read()
"""


def test_every_process_takes_an_accelerator_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("TMPDIR", "TEMP", "TMP"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[3]))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    mine = package(2)
    monkeypatch.setitem(sys.modules, "cupy", mine)
    assert accelerators() == 2
    assert not mine.used
    with subprocess.Popen(
        [sys.executable, "-c", TAKE], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "0\n"
        accelerator()
        # It keeps the one that it has, in every thread.
        with ThreadPoolExecutor(1) as pool:
            pool.submit(accelerator).result()
        assert mine.used == [1, 1]
        # Of two that both have one each is shared.
        third = package(2)
        monkeypatch.setitem(sys.modules, "cupy", third)
        accelerator()
        assert third.used == [0]
    # What a process had is free once it is gone.
    fourth = package(2)
    monkeypatch.setitem(sys.modules, "cupy", fourth)
    accelerator()
    assert fourth.used == [0]


def test_an_error_of_a_worker_says_the_same_here() -> None:
    error = MissingError("--device gpu", "gpu")
    assert str(pickle.loads(pickle.dumps(error))) == str(error)

"""A study on a Dask cluster: a real scheduler and real workers on this machine's loopback."""

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from pipelines.errors import MissingError
from pipelines.study.memory import Need
from pipelines.study.workers import Cluster
from tests.pipelines.studies import HEAD, PARAMETERS, RESPONSES, write_study
from tests.pipelines.study.processes import (
    ROOT,
    LocalCluster,
    row_files,
    start,
    tables,
    undisturbed,
    until,
)

MORE = PARAMETERS.replace("[1, 100]", "[1, 3, 10, 30, 100, 300, 1000]")
# Nothing listens on port 1.
NOWHERE = "tcp://127.0.0.1:1"


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[LocalCluster]:
    pytest.importorskip("distributed")
    with ExitStack() as stack:
        found = LocalCluster(tmp_path / "cluster")
        stack.callback(found.stop)
        yield found


@pytest.mark.slow
def test_the_same_study_on_a_cluster_with_a_worker_killed(
    tmp_path: Path, cluster: LocalCluster
) -> None:
    study = write_study(tmp_path, HEAD, MORE, RESPONSES)
    out = tmp_path / "out"
    driver = start(study, out, "--cluster", cluster.address)
    assert until(lambda: len(row_files(out)) >= 4 or driver.poll() is not None)
    os.kill(cluster.workers[0].pid, signal.SIGKILL)
    text, errors = driver.communicate(timeout=600)
    assert driver.returncode == 0, errors
    assert "28 rows, 0 failed" in text
    clean = tmp_path / "clean"
    undisturbed(study, clean)
    assert tables(out) == tables(clean)


@pytest.mark.slow
def test_a_killed_scheduler_ends_the_run_and_the_next_goes_on(
    tmp_path: Path, cluster: LocalCluster
) -> None:
    study = write_study(tmp_path, HEAD, MORE, RESPONSES)
    out = tmp_path / "out"
    driver = start(study, out, "--cluster", cluster.address)
    assert until(lambda: len(row_files(out)) >= 4 or driver.poll() is not None)
    cluster.scheduler.kill()
    _, errors = driver.communicate(timeout=600)
    assert driver.returncode == 2
    assert f"the scheduler at {cluster.address} is gone" in errors
    kept = len(row_files(out))
    assert 4 <= kept < 28
    assert undisturbed(study, out).computed == 28 - kept
    clean = tmp_path / "clean"
    undisturbed(study, clean)
    assert tables(out) == tables(clean)


@pytest.mark.slow
def test_a_cluster_that_cannot_serve_is_told(tmp_path: Path, cluster: LocalCluster) -> None:
    study = write_study(tmp_path)
    code = (
        "import sys\n"
        "from pipelines.study.memory import Need\n"
        "from pipelines.study.spec import StudyError\n"
        "from pipelines.study.workers import Cluster\n"
        "try:\n    Cluster(sys.argv[1], Need(bytes=8e9, row=5, looked_at=1, structures=1))\n"
        "except StudyError as error:\n    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, cluster.address],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "row 5 needs about 8.0 GB; worker " in done.stdout
    assert "fewer threads or more memory" in done.stdout
    driver = start(study, tmp_path / "out", "--cluster", NOWHERE)
    _, errors = driver.communicate(timeout=600)
    assert driver.returncode == 2
    assert f"no scheduler answers at {NOWHERE}" in errors
    # Found by the workers, which start there, in the package's place.
    (tmp_path / "cluster" / "cupy.py").write_text("raise ImportError", encoding="utf-8")
    driver = start(study, tmp_path / "out", "--cluster", cluster.address, "--device", "gpu")
    _, errors = driver.communicate(timeout=600)
    assert driver.returncode == 2
    assert re.search(
        r'worker tcp://[^ ]+: --device gpu needs the packages of the extra "gpu"', errors
    )
    assert not row_files(tmp_path / "out")


ASK = """
import sys
from pipelines.study.memory import Need
from pipelines.study.spec import StudyError
from pipelines.study.workers import Cluster
for address in sys.argv[1:]:
    try:
        Cluster(address, Need(bytes=1e6, row=1, looked_at=1, structures=1))
    except StudyError as error:
        print(error)
"""


def another_program(folder: Path) -> Path:
    for package in ("plate", "pipelines"):
        shutil.copytree(ROOT / package, folder / package)
    with (folder / "plate" / "errors.py").open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    return folder


def no_program(folder: Path) -> Path:
    for package in ("plate", "pipelines"):
        (folder / package).mkdir(parents=True)
        (folder / package / "__init__.py").write_text("", encoding="utf-8")
    return folder


@pytest.mark.slow
@pytest.mark.parametrize(
    ("install", "words"),
    [(another_program, "this is .*: install the same"), (no_program, "install deckslab there")],
)
def test_a_worker_with_another_install_is_refused(
    tmp_path: Path, install: Callable[[Path], Path], words: str
) -> None:
    pytest.importorskip("distributed")
    found = LocalCluster(tmp_path / "cluster", roots=(ROOT, install(tmp_path / "other")))
    try:
        done = subprocess.run(
            [sys.executable, "-c", ASK, found.address],
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=True,
        )
    finally:
        found.stop()
    assert re.fullmatch(f"worker tcp://.* {words}.*\n", done.stdout), done.stdout


def test_what_is_no_address_is_told_at_once() -> None:
    """In a process of its own: what its end prints is printed."""
    addresses = ["nonsense", "tcp://host", "tcp://host:port"]
    done = subprocess.run(
        [sys.executable, "-c", ASK, *addresses],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    told = done.stdout.splitlines()
    assert len(told) == len(addresses)
    for address, line in zip(addresses, told, strict=True):
        assert f"{address!r} is no address like tcp://host:8786" in line
    assert done.stderr == ""


def test_the_extra_is_named_where_it_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    words = r"pip install '\.\[study\]' in a clone .* or pip install 'deckslab\[study\]'"
    with pytest.raises(MissingError, match=words):
        Cluster(NOWHERE, Need(bytes=1e6, row=1, looked_at=1, structures=1))

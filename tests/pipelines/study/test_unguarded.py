"""A script that starts a study without a main guard, and a cluster where nobody answers."""

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipelines.study.memory import Need
from pipelines.study.spec import StudyError
from pipelines.study.workers import ANSWER, Cluster
from tests.pipelines.studies import write_study
from tests.pipelines.study.processes import ROOT

SCRIPT = """
import sys
from pathlib import Path
from pipelines.study.run import run_study
with open(sys.argv[3], "a", encoding="utf-8") as seen:
    seen.write("here\\n")
run_study(Path(sys.argv[1]), Path(sys.argv[2]), workers=2)
"""


def test_a_script_without_a_guard_is_told_so(tmp_path: Path) -> None:
    """By one sentence of the script's own process; the one worker that comes up ends unheard."""
    study, seen = write_study(tmp_path), tmp_path / "seen"
    script = tmp_path / "script.py"
    script.write_text(SCRIPT, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script), str(study), str(tmp_path / "out"), str(seen)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stderr.count("Traceback") == 1
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith("pipelines.study.spec.StudyError: no worker starts.")
    assert 'below `if __name__ == "__main__":`' in last
    # the script itself, and once more as its one worker came up
    assert len(seen.read_text(encoding="utf-8").splitlines()) == 2


def test_a_cluster_where_nobody_answers_is_told_in_time() -> None:
    """At a port where nothing listens."""
    pytest.importorskip("distributed")
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        port = server.getsockname()[1]
        start = time.perf_counter()
        with pytest.raises(StudyError, match=f"no scheduler answers at tcp://127.0.0.1:{port}: "):
            Cluster(f"tcp://127.0.0.1:{port}", Need(bytes=1e6, row=1, looked_at=1, structures=1))
        # the client would try for ten seconds
        assert time.perf_counter() - start < 5.0
    assert ANSWER <= 3.0

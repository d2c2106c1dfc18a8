"""Studies whose load positions are solved on cards."""

import csv
import json
import sys
import tempfile
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest

from pipelines.errors import JobError
from pipelines.study.run import run_study
from pipelines.study.table import read_table
from tests.card import package
from tests.pipelines.studies import DECK, HEAD, SerialPool, write_study
from tests.pipelines.study.processes import LocalCluster, row_files

# Of each response's largest, as of the envelopes themselves.
SAME = 1e-10
TRAFFIC = """
[traffic]
carriageway_m = [-1.9, 1.9]
step_m = 0.75
lateral_step_m = 0.8
[[vehicle]]
name = "lorry"
axles = [{ at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] }]
"""
PARAMETERS = """
[[parameter]]
name = "t"
key = "slab.thickness_mm"
values = {thicknesses}
"""
RESPONSES = """
[[response]]
name = "m_x"
path = ["governing", { result = "m_x", extreme = "max" }, "value"]
[[response]]
name = "m_y"
path = ["governing", { result = "m_y", extreme = "max" }, "value"]
[[response]]
name = "w"
path = ["governing", { result = "w", extreme = "max" }, "value"]
"""


@pytest.fixture(autouse=True)
def _locks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cards are taken where no other test does."""
    for name in ("TMPDIR", "TEMP", "TMP"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))


def study(folder: Path, thicknesses: int = 2) -> Path:
    """Decks under a lorry's axle."""
    head = HEAD.replace('[reference]\nbay = 1\ncases = ["wheel"]\nbeams = "C*"\n', "")
    some = PARAMETERS.format(thicknesses=np.linspace(220, 320, thicknesses).tolist())
    return write_study(folder, head, some, RESPONSES, deck=DECK + TRAFFIC)


def made(out: Path) -> list[str]:
    """Where the load positions of the rows were solved."""
    rows = csv.DictReader((out / "made.csv").read_text(encoding="utf-8").splitlines())
    return [row["device"] for row in rows]


def responses(out: Path) -> np.ndarray:
    columns, _ = read_table(out / "table.parquet")
    found = [c.values for c in columns if c.name in ("m_x", "m_y", "w")]
    return np.array(found, dtype=float)


def test_a_study_on_a_card_is_that_on_the_processors(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)
    monkeypatch.setitem(sys.modules, "cupy", cupy := package(3))
    path, out = study(tmp_path), tmp_path / "out"
    assert not run_study(path, out).failed
    assert not cupy.used
    here = responses(out)
    # What is finished is not done again, and says where it was done.
    assert run_study(path, out, device="gpu").computed == 0
    assert made(out) == ["cpu", "cpu"]
    row_files(out)[0].unlink()
    outcome = run_study(path, out, device="gpu")
    assert (outcome.failed, outcome.computed, outcome.workers) == (0, 1, 3)
    assert cupy.used
    assert sorted(made(out)) == ["cpu", "gpu"]
    assert here.shape == (3, 2)
    near = SAME * np.abs(here).max(axis=1, keepdims=True)
    assert (np.abs(responses(out) - here) <= near).all()
    record = json.loads((out / "study.json").read_text(encoding="utf-8"))
    assert record["last_run"]["device"] == "gpu"


def test_a_card_that_is_not_ready_stops_the_study(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The worker tells what the first look did not, in one sentence."""
    monkeypatch.setattr("pipelines.study.run.Workers", SerialPool)
    cupy = package(1)
    monkeypatch.setitem(sys.modules, "cupy", cupy)

    def busy() -> None:
        raise cupy.cuda.runtime.CUDARuntimeError("all devices are busy")

    device = cupy.cuda.Device(0)
    monkeypatch.setattr(cupy.cuda, "Device", lambda _: device)
    monkeypatch.setattr(device, "use", busy)
    with pytest.raises(JobError, match="no accelerator ready: all devices are busy"):
        run_study(study(tmp_path), tmp_path / "out", device="gpu")
    assert not row_files(tmp_path / "out")


# The package of the workers: the card that one makes use of is a file's name.
PACKAGE = """
import os
import sys
from pathlib import Path
from tests.card import package
def take(number):
    Path(__file__).with_name(f"{os.getpid()} {number}.used").touch()
sys.modules[__name__] = package(2, take)
"""


def check_used(folder: Path) -> None:
    """That two workers have had two cards."""
    pairs = [one.stem.split() for one in folder.glob("*.used")]
    assert len(pairs) == 2
    assert {number for _, number in pairs} == {"0", "1"}


@pytest.mark.slow
def test_every_worker_works_on_a_card_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "cupy", package(2))
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "cupy.py").write_text(PACKAGE, encoding="utf-8")
    path = study(tmp_path, thicknesses=6)
    outcome = run_study(path, tmp_path / "out", device="gpu")
    assert (outcome.failed, outcome.computed, outcome.workers) == (0, 6, 2)
    check_used(tmp_path)


@pytest.mark.slow
def test_every_worker_of_a_cluster_works_on_a_card_of_its_own(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    path = study(tmp_path, thicknesses=6)
    with ExitStack() as stack:
        stack.callback((cluster := LocalCluster(tmp_path / "cluster")).stop)
        # The workers start there and find the package; the process that asks them needs none.
        (cluster.folder / "cupy.py").write_text(PACKAGE, encoding="utf-8")
        outcome = run_study(path, tmp_path / "out", cluster=cluster.address, device="gpu")
    assert (outcome.failed, outcome.computed, outcome.workers) == (0, 6, 2)
    check_used(cluster.folder)

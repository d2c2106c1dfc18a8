"""Memory is estimated before anything is computed, and a study that does not fit is refused."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.study.file import read_study
from pipelines.study.memory import Need, local_workers, row_size, study_need
from pipelines.study.plan import plan_study
from pipelines.study.spec import StudyError
from tests.pipelines.studies import DECK, HEAD, PARAMETERS, RESPONSES, write_study

ROOT = Path(__file__).parents[3]
NEED = Need(bytes=1e9, row=3, looked_at=1, structures=1)

# The peak of the process since it began: ru_maxrss would take over that of the test's own process.
MEASURE = """
import sys
from pathlib import Path
from pipelines.study.run import run_study  # a worker imports no more than this
from pipelines.study.file import read_study
from pipelines.study.plan import Task, plan_study
from pipelines.study.task import Wanted, run_task
study = read_study(Path(sys.argv[1]))
plan = plan_study(study)
run_task(Task(plan.rows[:1]), Wanted(study.responses, study.reference, None, plan.program, ""))
status = Path("/proc/self/status").read_text()
print(1024 * int(status.split("VmHWM:")[1].split()[0]))
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peaks are read from /proc")
@pytest.mark.parametrize("every", [0, 1])
def test_estimates_are_above_the_peak_and_not_far_above(tmp_path: Path, every: int) -> None:
    head = HEAD.replace("tolerance_every = 0", f"tolerance_every = {every}")
    deck = DECK.replace("order = 2\nsize_m = 1.5", "order = 3\nsize_m = 0.2")
    path = write_study(tmp_path, head, PARAMETERS, RESPONSES, deck=deck)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(path)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    peak = float(done.stdout)
    need = row_size(plan_study(read_study(path)).rows[0]).memory
    assert peak < need < 2.5 * peak


def test_the_need_of_a_study_is_that_of_its_largest_deck(tmp_path: Path) -> None:
    parameters = PARAMETERS + '[[parameter]]\nname = "size"\nkey = "mesh.size_m"\nvalues = [2, 0.5]'
    plan = plan_study(read_study(write_study(tmp_path, HEAD, parameters, RESPONSES)))
    need = study_need(plan)
    assert (need.looked_at, need.structures) == (4, 4)
    assert plan.rows[need.row - 1].values["size"] == 0.5
    assert need.bytes == max(row_size(row).memory for row in plan.rows)


def test_a_study_of_decks_that_are_all_too_large_is_refused(tmp_path: Path) -> None:
    traffic = "[traffic]\ncarriageway_m = [-2.0, 2.0]\nstep_m = 0.005\nlateral_step_m = 0.005\n"
    axle = "{ at_m = 0.0, load_kN = 60, gauge_m = 1.8, patch_mm = [250, 350] }"
    many = "".join(f'[[vehicle]]\nname = "lorry {k}"\naxles = [{axle}]\n' for k in range(90))
    path = write_study(tmp_path, HEAD, PARAMETERS, RESPONSES, deck=DECK + traffic + many)
    with pytest.raises(StudyError, match=r"row 1: deck: too large a job, .* \[traffic\] step_m"):
        study_need(plan_study(read_study(path)))


def test_workers_fit_into_the_free_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.study.memory.free_memory", lambda: 4e9)
    assert local_workers(None, NEED, 8) == 3  # 80 % of what is free
    assert local_workers(2, NEED, 8) == 2
    with pytest.raises(StudyError, match=r"row 3 needs about 1\.0 GB in each of 4 workers"):
        local_workers(4, NEED, 8)
    with pytest.raises(StudyError, match="enough for 0"):
        local_workers(None, Need(bytes=4e9, row=3, looked_at=1, structures=1), 8)

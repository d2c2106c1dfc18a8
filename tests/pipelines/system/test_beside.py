"""A process beside a run: it does what a run asks of it, to the same numbers, and ends with it."""

import os
import pickle
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, ThreadPoolExecutor
from pathlib import Path
from threading import Lock
from typing import Any

import psutil
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.deck.examples import FOLDER as EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import starter
from pipelines.report.data.summary import finite, summary
from pipelines.run import report_of, write_results
from pipelines.strips.under_traffic import hands_of
from pipelines.system.beside import Beside, _packed, here
from pipelines.system.machine import processors
from tests.helpers import alike
from tests.pipelines.small_decks import BEAMS, COARSE, FEW, PLAN, SLAB, deck_of

ROOT = Path(__file__).parents[3]
NUMBER = r"-?[0-9]*[.]?[0-9]+"
BEGUN = """
import os, sys
from pipelines.system.beside import Beside
print(Beside([])(os.getpid), flush=True)
os._exit(0)
"""


@pytest.fixture
def beside() -> Iterator[Beside]:
    with Beside([]) as one:
        yield one


def test_work_is_done_there(beside: Beside) -> None:
    there = beside(os.getpid)
    assert there not in (os.getpid(), os.getppid())
    assert beside(os.getpid) == there
    assert beside(int, "1001", base=2) == 9


def test_what_is_printed_there_is_no_answer(beside: Beside) -> None:
    there = beside(os.getpid)
    assert beside(print, "aside", flush=True) is None
    assert beside(os.getpid) == there


def test_what_fails_there_is_done_here(beside: Beside) -> None:
    with pytest.raises(ValueError, match="invalid literal"):
        beside(int, "not a number")
    here = 7
    # neither goes through a pipe, one there, one back
    assert beside(lambda: here) == 7
    with beside(open, os.devnull, encoding="utf-8") as file:
        assert file.read() == ""


def test_what_was_killed_is_done_here(beside: Beside) -> None:
    psutil.Process(beside(os.getpid)).kill()
    assert beside(os.getpid) == os.getpid()


def test_closing_cancels_what_is_under_way(beside: Beside) -> None:
    with ThreadPoolExecutor(1) as thread:
        beside(os.getpid)
        asked = thread.submit(beside, time.sleep, 60.0)
        time.sleep(0.2)
        beside.close()
        with pytest.raises(CancelledError):
            asked.result(timeout=20.0)


def gone(number: int, patience: float = 20.0) -> bool:
    """Whether a process ends within so many seconds."""
    end = time.monotonic() + patience
    while time.monotonic() < end:
        if not psutil.pid_exists(number):
            return True
        if psutil.Process(number).status() == psutil.STATUS_ZOMBIE:
            return True
        time.sleep(0.05)
    return False


def test_it_ends_with_who_began_it() -> None:
    done = subprocess.run(
        [sys.executable, "-c", BEGUN],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
        timeout=60.0,  # what outlives its starter holds the pipes
    )
    assert gone(int(done.stdout))
    assert done.stderr == ""


def test_what_a_run_asks_of_it_has_the_same_numbers(tmp_path: Path, beside: Beside) -> None:
    """There and here; and it does go there and come back."""
    asked: list[str] = []

    def both(work: Callable[..., Any], *arguments: Any) -> Any:
        there = beside._asked(_packed((work, arguments, {})))
        assert there
        found = pickle.loads(there)
        assert alike(numbers(found), numbers(work(*arguments)))
        asked.append(work.__name__)
        return found

    def numbers(found: Any) -> list[Any]:
        if isinstance(found, dict):
            return [
                (*key, moment.value, moment.section, moment.station, moment.width)
                for key, hands in found.items()
                for moments in hands.moments.values()
                for moment in moments
            ]
        return [finite(walk.entry()) for walk in found]

    # with one thread nothing is taken up here that waits for it
    result = analyse(deck_of(tmp_path, SLAB, PLAN, BEAMS, FEW, COARSE), apart=both, threads=1)
    assert sorted(asked) == ["back_widths", "hands_of", "reconcile"]
    # the findings of the walks are those of the run, not their copies
    assert result.reconciliations
    for walk in result.reconciliations:
        assert any(walk.finding is one for one in result.findings)


def test_what_files_ask_of_it_is_the_same(tmp_path: Path, beside: Beside) -> None:
    asked, lock = list[str](), Lock()

    def there(work: Callable[..., Any], *arguments: Any, **named: Any) -> Any:
        with lock:
            answer = beside._asked(_packed((work, arguments, named)))
            asked.append(work.__name__)
        assert answer
        return pickle.loads(answer)

    result = analyse(deck_of(tmp_path, SLAB, PLAN, BEAMS, FEW, COARSE))
    entries = summary(result)
    drawn, own = (report_of(result, entries, apart=doer).figures for doer in (there, here))
    assert asked == ["all_of"]
    assert [one.name for one in drawn] == [one.name for one in own]
    for one, other in zip(drawn, own, strict=True):
        # places on the sheet are rounded to a tenth of a point
        assert re.split(NUMBER, one.drawing.svg)[::2] == re.split(NUMBER, other.drawing.svg)[::2]
    for doer, folder in ((there, "there"), (here, "here")):
        write_results(result, tmp_path / folder, apart=doer)
    assert sorted(asked[1:]) == ["all_of", "write_fields"]
    fields, others = ((tmp_path / one / "fields.vtu").read_bytes() for one in ("there", "here"))
    assert fields == others


@pytest.mark.parametrize("name", ["estuary", "estuary-bars", "girders", "skew"])
def test_decks_of_every_kind_go_through(name: str) -> None:
    assert _packed((hands_of, (read_deck(EXAMPLES / f"{name}.toml"),)))


@pytest.mark.skipif(sys.platform == "win32", reason="signals of a console")
@pytest.mark.skipif(processors() < 2, reason="one processor has no process beside")
def test_ctrl_c_ends_both(tmp_path: Path) -> None:
    path = tmp_path / "deck.toml"
    path.write_text(starter("truss"), encoding="utf-8")
    run = subprocess.Popen(
        [sys.executable, "-m", "pipelines", "run", str(path), "--out", str(tmp_path / "out")],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    mine = psutil.Process(run.pid)
    while not (beside := mine.children()):
        assert run.poll() is None
        time.sleep(0.02)
    time.sleep(1.0)
    run.send_signal(signal.SIGINT)
    _, words = run.communicate(timeout=60.0)
    assert run.returncode == 130
    assert words.endswith("deckslab: stopped\n")
    assert "Traceback" not in words
    assert all(gone(one.pid) for one in beside)

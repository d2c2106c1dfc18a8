"""Runs the tasks of a study on any executor, and loses nothing that is finished.

Few tasks are handed out at a time. A task whose worker dies is handed out again, its rows one by
one; a row that is under way at DEATHS deaths, the last of them alone, is given up for this run, and
tried again by the next.
"""

from collections import deque
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from dataclasses import dataclass

from pipelines.study.plan import Row, Task
from pipelines.study.task import Finished, Wanted, failed, run_task
from pipelines.study.workers import Pool

DEATHS = 5
# Tasks handed out per worker: one at work, one that waits for it.
AHEAD = 2
# How often a silent executor is asked whether it is still there [s].
PATIENCE = 2.0


@dataclass(frozen=True)
class _Try:
    task: Task
    deaths: int = 0

    @property
    def alone(self) -> bool:
        """Whether it must run by itself, so that a death is certainly its own."""
        return self.deaths >= DEATHS - 1


def execute(
    tasks: tuple[Task, ...], wanted: Wanted, pool: Pool, keep: Callable[[Row, Finished], None]
) -> None:
    """Run all tasks; `keep` gets every finished row as soon as its task is done.

    Raises StudyError where the executor is lost for good; what was kept stays.
    """
    waiting = deque(_Try(task) for task in tasks)
    running: dict[Future[list[Finished]], _Try] = {}
    while waiting or running:
        while waiting and _may_start(waiting[0], running, pool.count):
            one = waiting.popleft()
            try:
                running[pool.executor.submit(run_task, one.task, wanted)] = one
            except BaseException as error:
                waiting.appendleft(one)
                if not pool.killed(error):
                    raise
                break
        done, _ = wait(running, timeout=PATIENCE, return_when=FIRST_COMPLETED)
        if not done:
            pool.check()
        again: list[_Try] = []
        for future in sorted(done, key=_went_wrong):  # what is finished is kept first
            one = running.pop(future)
            try:
                finished = future.result()
            except CancelledError:
                pool.check()
                again.append(one)
            except Exception as error:
                if not pool.killed(error):
                    raise
                again += _after_death(one, keep)
            else:
                for row, result in zip(one.task.rows, finished, strict=True):
                    keep(row, result)
        waiting.extendleft(reversed(again))


def _went_wrong(future: Future[list[Finished]]) -> bool:
    return future.cancelled() or future.exception() is not None


def _may_start(one: _Try, running: dict[Future[list[Finished]], _Try], count: int) -> bool:
    if one.alone or any(other.alone for other in running.values()):
        return not running
    return len(running) < AHEAD * count


def _after_death(one: _Try, keep: Callable[[Row, Finished], None]) -> list[_Try]:
    """What to try again of a task whose worker died."""
    deaths = one.deaths + 1
    if deaths >= DEATHS:
        for row in one.task.rows:
            reason = f"its worker died {deaths} times: killed, or out of memory"
            keep(row, failed(row, reason, lasting=False))
        return []
    if deaths == 1:
        return [_Try(one.task, deaths)]
    return [_Try(Task((row,)), deaths) for row in one.task.rows]

"""Execution on any executor: deaths of workers, lost schedulers, faults of tasks."""

from collections.abc import Callable
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from typing import Any, cast

import pytest

from pipelines.study.execute import AHEAD, DEATHS, execute
from pipelines.study.plan import Row, Task
from pipelines.study.spec import StudyError
from pipelines.study.task import Finished, Wanted
from pipelines.study.workers import Pool

WANTED = Wanted((), None, None, "", "")


def tasks(*sizes: int) -> tuple[Task, ...]:
    numbers = iter(range(1, sum(sizes) + 1))
    return tuple(
        Task(
            tuple(
                Row(number=n, values={}, variables={}, key=f"k{n}")
                for _, n in zip(range(size), numbers, strict=False)
            )
        )
        for size in sizes
    )


def fake_run(task: Task, wanted: Wanted) -> list[Finished]:
    return [
        Finished(key=row.key, status="done", reason="", values={}, errors={}, model={})
        for row in task.rows
    ]


@pytest.fixture(autouse=True)
def _fast(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.study.execute.run_task", fake_run)
    monkeypatch.setattr("pipelines.study.execute.PATIENCE", 0.01)


class Fake(Executor):
    """A pool whose futures are finished all at once, when the driver has handed out what it will:
    `fate` gets the tasks at work together and says how each ends."""

    def __init__(self, fate: Callable[[list[Task]], list[Any]], count: int = 2) -> None:
        self.count = count
        self.fate = fate
        self.open: list[tuple[Future[Any], Task]] = []
        self.most = 0
        self.gone = False

    @property
    def executor(self) -> Executor:
        return self

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.open.append((future, args[0]))
        self.most = max(self.most, len(self.open))
        return future

    def killed(self, error: BaseException) -> bool:
        return isinstance(error, BrokenExecutor)

    def check(self) -> None:
        """Asked when nothing is finished: the moment to finish everything."""
        if self.gone:
            raise StudyError("the scheduler is gone")
        open_, self.open = self.open, []
        for (future, _), end in zip(open_, self.fate([t for _, t in open_]), strict=True):
            if isinstance(end, BaseException):
                future.set_exception(end)
            else:
                future.set_result(end)


def run(pool: Fake, *sizes: int, kept: dict[int, Finished] | None = None) -> dict[int, Finished]:
    found: dict[int, Finished] = {} if kept is None else kept

    def keep(row: Row, one: Finished) -> None:
        found[row.number] = one

    execute(tasks(*sizes), WANTED, cast(Pool, pool), keep)
    return found


def good(at_work: list[Task]) -> list[Any]:
    return [fake_run(task, WANTED) for task in at_work]


def test_every_row_is_kept_and_few_tasks_are_out_at_once() -> None:
    pool = Fake(good, count=3)
    assert sorted(run(pool, *[2] * 20)) == list(range(1, 41))
    assert pool.most == 3 * AHEAD


def test_one_death_costs_nothing() -> None:
    deaths = iter([True])

    def fate(at_work: list[Task]) -> list[Any]:
        if next(deaths, False):
            return [BrokenExecutor("died")] * len(at_work)
        return good(at_work)

    kept = run(Fake(fate), 3, 3, 3, 3)
    assert sorted(kept) == list(range(1, 13))
    assert {one.status for one in kept.values()} == {"done"}


def test_a_row_that_kills_its_worker_is_found_and_given_up_for_this_run() -> None:
    def fate(at_work: list[Task]) -> list[Any]:
        if any(row.number == 5 for task in at_work for row in task.rows):
            return [BrokenExecutor("died")] * len(at_work)  # all that shared the pool
        return good(at_work)

    kept = run(Fake(fate), 3, 3, 3, 3, 3)
    assert sorted(kept) == list(range(1, 16))
    assert [n for n, one in kept.items() if one.status != "done"] == [5]
    assert kept[5].reason == f"its worker died {DEATHS} times: killed, or out of memory"
    assert not kept[5].lasting


def test_a_lost_scheduler_ends_the_run_and_keeps_what_is_done() -> None:
    kept: dict[int, Finished] = {}

    def fate(at_work: list[Task]) -> list[Any]:
        pool.gone = True
        first, *rest = at_work
        return [fake_run(first, WANTED)] + [CancelledError() for _ in rest]

    pool = Fake(fate)
    with pytest.raises(StudyError, match="the scheduler is gone"):
        run(pool, 2, 2, 2, kept=kept)
    assert set(kept) == {1, 2}


def test_a_fault_that_is_no_death_is_not_swallowed() -> None:
    with pytest.raises(StudyError, match="install the same version"):
        run(Fake(lambda at_work: [StudyError("install the same version") for _ in at_work]), 2, 2)


def test_a_pool_that_breaks_when_a_task_is_handed_out() -> None:
    class Breaking(Fake):
        broken = True

        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            if self.broken:
                self.broken = False
                raise BrokenExecutor("died while nothing was out")
            return super().submit(fn, *args, **kwargs)

    assert sorted(run(Breaking(good), 2, 2)) == [1, 2, 3, 4]

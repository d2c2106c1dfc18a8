"""Works that a process beside may take up: each is done once, there or by who asks for it first."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Event
from typing import ParamSpec, TypeVar

from pipelines.analysis.offered import Offered
from pipelines.system.beside import Doer, here

P = ParamSpec("P")
T = TypeVar("T")


def test_what_waits_is_done_by_who_asks_and_what_is_begun_is_waited_for() -> None:
    done: list[tuple[str, bool]] = []
    held, begun = Event(), Event()

    def apart(work: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T:
        return work(*arguments, **named)

    def first(doer: Doer) -> str:
        begun.set()
        assert held.wait(20.0)
        done.append(("first", doer is here))
        return "first"

    def second(doer: Doer) -> str:
        done.append(("second", doer is here))
        return "second"

    with ThreadPoolExecutor(1) as line:
        one, other = (Offered.to(line, apart, work) for work in (first, second))
        assert begun.wait(20.0)
        assert other.result() == "second"
        held.set()
        assert one.result() == "first"
    assert done == [("second", True), ("first", False)]

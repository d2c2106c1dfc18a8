"""Work that a process beside the run may do, or the run itself once it has nothing else to do."""

from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import dataclass
from typing import Generic, TypeVar

from pipelines.system.beside import Doer, here

T = TypeVar("T")


@dataclass(frozen=True)
class Offered(Generic[T]):
    """A work that waits until a process beside takes it up. Who asks for what it makes does it here
    where it waits yet.

    work : of whoever does it; begun : what becomes of it there.
    """

    work: Callable[[Doer], T]
    begun: Future[T]

    @classmethod
    def to(cls, line: Executor, apart: Doer, work: Callable[[Doer], T]) -> "Offered[T]":
        """line : a thread that hands works on, one after the other."""
        return cls(work, line.submit(work, apart))

    def result(self) -> T:
        return self.work(here) if self.begun.cancel() else self.begun.result()

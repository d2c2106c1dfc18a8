"""The stages of an analysis on the clock."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[str, int, int], None]


class Stages:
    """Times the stages of an analysis, by what they make the run wait, and tells of their
    progress."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress = progress
        self.seconds: dict[str, float] = {}

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        start = time.perf_counter()
        self.tell(stage, 0, 1)
        yield
        self.seconds[stage] = time.perf_counter() - start

    def tell(self, stage: str, part: int, whole: int) -> None:
        if self.progress is not None:
            self.progress(stage, part, whole)

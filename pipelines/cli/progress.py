"""How far a command has come, on the terminal."""

import signal
import sys
from threading import current_thread, main_thread
from types import FrameType


class Progress:
    """A progress bar on the terminal's error stream, nothing where that is not a terminal.

    Ctrl-C raises KeyboardInterrupt as ever; where that comes while Python calls back, as when an
    object goes, it is lost, and so raised again with the next stage.
    """

    def __init__(self, *, quiet: bool = False) -> None:
        self.quiet = quiet
        self.stopped = False

    def __enter__(self) -> "Progress":
        from rich import progress
        from rich.console import Console

        self.bar = progress.Progress(
            progress.TextColumn("{task.description:<20}"),
            progress.BarColumn(),
            progress.TextColumn("{task.completed:>7.0f}/{task.total:<7.0f}"),
            progress.TimeElapsedColumn(),
            progress.TimeRemainingColumn(),
            console=Console(stderr=True),
            disable=self.quiet or not sys.stderr.isatty(),
        )
        self.tasks: dict[str, int] = {}
        self.bar.__enter__()
        # Only the main thread may ask for signals; one that is ignored stays so.
        self.ours = (
            current_thread() is main_thread()
            and signal.getsignal(signal.SIGINT) is signal.default_int_handler
        )
        if self.ours:
            signal.signal(signal.SIGINT, self._stop)
        return self

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self.stopped = True
        signal.default_int_handler(number, frame)

    def __call__(self, stage: str, part: int, whole: int) -> None:
        if self.stopped:
            raise KeyboardInterrupt
        if stage not in self.tasks:
            for task in self.tasks.values():
                total = self.bar.tasks[task].total
                self.bar.update(task, completed=total or 0)  # type: ignore[arg-type]
            self.tasks[stage] = self.bar.add_task(stage, total=whole)
        self.bar.update(self.tasks[stage], completed=part)  # type: ignore[arg-type]

    def __exit__(self, *error: object) -> None:
        if self.ours:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        if error[0] is None:
            for task in self.tasks.values():
                self.bar.update(task, completed=self.bar.tasks[task].total or 0)  # type: ignore
        self.bar.__exit__(*error)  # type: ignore[arg-type]

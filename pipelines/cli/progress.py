"""How far a command has come, on the terminal."""

import sys


class Progress:
    """A progress bar on the terminal's error stream, nothing where that is not a terminal."""

    def __init__(self, *, quiet: bool = False) -> None:
        self.quiet = quiet

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
        return self

    def __call__(self, stage: str, part: int, whole: int) -> None:
        if stage not in self.tasks:
            for task in self.tasks.values():
                total = self.bar.tasks[task].total
                self.bar.update(task, completed=total or 0)  # type: ignore[arg-type]
            self.tasks[stage] = self.bar.add_task(stage, total=whole)
        self.bar.update(self.tasks[stage], completed=part)  # type: ignore[arg-type]

    def __exit__(self, *error: object) -> None:
        if error[0] is None:
            for task in self.tasks.values():
                self.bar.update(task, completed=self.bar.tasks[task].total or 0)  # type: ignore
        self.bar.__exit__(*error)  # type: ignore[arg-type]

"""`run --watch`: a run whenever the deck file is saved, of the stages that the change touches."""

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.cli.words import mistake_words
from pipelines.deck.reading.named_files import files_of
from pipelines.errors import JobError
from plate.errors import PlateError

if TYPE_CHECKING:
    from pipelines.analysis.kept import Kept

# How often files are looked at, and how long one must have stayed as it is: it may be half written,
# or gone for the moment in which an editor puts another in its place [s].
LOOK, SETTLED = 0.3, 0.05

Stamps = dict[Path, tuple[int, int]]


def watch(path: Path, run: Callable[["Kept"], None]) -> int:
    """Run, and again whenever the deck file or a file that it names has changed, until Ctrl-C.

    run : what is done each time; a mistake that it raises is told, and waited for to be put right.
    """
    from pipelines.analysis.kept import Kept

    kept = Kept()
    try:
        while True:
            seen = stamps(path)
            try:
                run(kept)
            except (JobError, PlateError, OSError, MemoryError) as error:
                print(f"deckslab: {mistake_words(error)}", file=sys.stderr, flush=True)
            print(f"Watching {path}: saved, it is run again; Ctrl-C ends.", flush=True)
            wait_for_change(path, seen)
    except KeyboardInterrupt:
        return 0


def stamps(path: Path) -> Stamps:
    """When the deck file and the files that it names were changed last, and their sizes; without
    those that are not there."""
    found: Stamps = {}
    for one in files_of(path):
        try:
            info = one.stat()
        except OSError:
            continue
        found[one] = (info.st_mtime_ns, info.st_size)
    return found


def wait_for_change(path: Path, seen: Stamps) -> None:
    """Return when the files are others than they were seen, and the deck file is there."""
    while True:
        time.sleep(LOOK)
        now = stamps(path)
        if now != seen and path in now:
            time.sleep(SETTLED)
            if stamps(path) == now:
                return


def again_words(kept: "Kept", seconds: float) -> str:
    """What of an analysis was done again, in one line."""
    again = list(dict.fromkeys(kept.again))
    if not again:
        what = "nothing to compute again"
    elif not kept.unchanged:
        what = "everything computed"
    else:
        what = f"computed again: {', '.join(again)}"
    return f"{time.strftime('%H:%M:%S')} {what}; {seconds:.2f} s"

"""What the machine gives a job: processors, an accelerator, memory, a lock on a folder; the same on
any system."""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from importlib import import_module
from itertools import product
from pathlib import Path
from tempfile import gettempdir
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import psutil
from filelock import FileLock, Timeout

from pipelines.errors import JobError, MissingError

if TYPE_CHECKING:
    from plate.device.card import Card

T = TypeVar("T")
Device = Literal["cpu", "gpu"]
"""Where load positions are solved."""

LOCK = ".deckslab.lock"
# Processes that share an accelerator and know it; of more some may share while others need not.
SHARING = 64

# For `subprocess.Popen`, process_group and creationflags of a process that Ctrl-C at the terminal
# does not reach.
if sys.platform == "win32":
    OWN_GROUP, FLAGS = None, subprocess.CREATE_NEW_PROCESS_GROUP
else:
    OWN_GROUP, FLAGS = 0, 0


def processors() -> int:
    """Processors that this process may use, 1 at least."""
    process = psutil.Process()
    # macOS ties no process to processors.
    mine = len(process.cpu_affinity()) if hasattr(process, "cpu_affinity") else 0
    return mine or psutil.cpu_count() or 1


def _of_cards(ask: Callable[[Any], T]) -> T:
    """What the package of the accelerators answers.

    Raises MissingError without that package, JobError where an accelerator is not ready.
    """
    # Its reductions by the library CUB are compiled for every length that they meet, for 20 s.
    os.environ.setdefault("CUPY_ACCELERATORS", "")
    try:
        cupy = import_module("cupy")
    except ImportError:
        raise MissingError("--device gpu", "gpu") from None
    try:
        return ask(cupy)
    except cupy.cuda.runtime.CUDARuntimeError as error:
        words = " ".join(str(error).split())
        raise JobError(f"--device gpu: this machine has no accelerator ready: {words}") from None


def accelerators() -> int:
    """How many accelerators the system shows to this process, none of which it takes.

    Raises MissingError without the package that they need, JobError without an accelerator.
    """
    return _of_cards(lambda cupy: int(cupy.cuda.runtime.getDeviceCount()))


def accelerator() -> "Card":
    """The accelerator of this process, for the thread that asks: one that no other process of this
    program works on, or the fewest do.

    Raises as `accelerators`.
    """
    return _of_cards(_own_card)


def _own_card(cupy: Any) -> "Card":
    number, _ = _taken(cupy)
    device = cupy.cuda.Device(number)
    device.use()
    # Tells now whether it is ready.
    device.mem_info  # noqa: B018
    from plate.device.card import Card

    def free() -> float:
        """Of the card, and of what the package holds of it."""
        return float(cupy.cuda.Device().mem_info[0] + cupy.get_default_memory_pool().free_bytes())

    return Card(put=cupy.asarray, fetch=cupy.asnumpy, add_at=cupy.add.at, free=free)


@cache
def _taken(cupy: Any) -> tuple[int, FileLock | None]:
    """The number of an accelerator that this process has until it ends, and the lock that tells the
    others so, by the place on the machine's bus: numbers differ where a process is shown some."""
    count = cupy.cuda.runtime.getDeviceCount()
    places = [cupy.cuda.Device(k).pci_bus_id.replace(":", "-") for k in range(count)]
    for turn, (number, place) in product(range(SHARING), enumerate(places)):
        lock = FileLock(Path(gettempdir()) / f"deckslab-accelerator-{place}-{turn}.lock")
        with suppress(Timeout, OSError, NotImplementedError):
            lock.acquire(timeout=0.0)
            return number, lock
    return os.getpid() % count, None


def free_memory() -> float:
    """Memory that the system can give [byte], within the limits of the process and, in a
    container, of its group, where the system tells them."""
    free = float(psutil.virtual_memory().available)
    limit, used = (_number(f"/sys/fs/cgroup/memory.{name}") for name in ("max", "current"))
    if limit is not None and used is not None:
        free = min(free, limit - used)
    process = psutil.Process()
    if hasattr(process, "rlimit"):
        most, _ = process.rlimit(psutil.RLIMIT_AS)
        if most != psutil.RLIM_INFINITY:
            free = min(free, most - process.memory_info().vms)
    return free


def _number(path: str) -> float | None:
    """The number in a file that only some systems have; None where there is none."""
    try:
        return float(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


@contextmanager
def locked(folder: Path, patience: float = -1.0) -> Iterator[None]:
    """Wait until no other process has the folder locked, and lock it meanwhile.

    patience : for so long [s]; below zero for as long as it takes.

    The lock's file is removed at the end, where the system lets an open file go; what is left of
    it is empty and holds up nobody. On a disk that knows no locks there is none, rather than no
    result.

    Raises JobError where another process still has it then.
    """
    lock = FileLock(folder / LOCK)
    try:
        lock.acquire(timeout=patience)
    except Timeout:
        raise JobError(
            f"{folder}: another command is at work there; wait for its end or give another folder"
        ) from None
    except (OSError, NotImplementedError):
        yield
        return
    try:
        yield
    finally:
        try:
            # While it is held: who waits for a file that is gone makes a new one.
            with suppress(OSError):
                (folder / LOCK).unlink()
        finally:
            lock.release()

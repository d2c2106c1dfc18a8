"""Where the tasks of a study run: local processes, or an existing Dask cluster.

Both are used through `concurrent.futures.Executor`. A local worker computes with one thread, so
that N workers use N processors, and ends when the process that started it is gone.
"""

import os
import signal
import threading
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor
from contextlib import suppress
from importlib import import_module
from multiprocessing import current_process, get_context, parent_process
from multiprocessing.connection import wait
from socket import create_connection
from typing import Any

from pipelines.errors import MissingError
from pipelines.study.memory import Need
from pipelines.study.plan import program_version
from pipelines.study.spec import StudyError
from pipelines.system.machine import Device, accelerators

# How long a scheduler may take to take a connection [s], and protocols over such connections.
ANSWER = 3.0
PLAIN = ("tcp", "tls", "ws", "wss")


class Workers:
    """Local worker processes.

    count : of workers; ask `executor` for the one that is alive.
    """

    def __init__(self, count: int) -> None:
        self.count = count
        self._executor: ProcessPoolExecutor | None = None
        self._answered = False

    @property
    def executor(self) -> Executor:
        """The running pool, started when first asked for and after a loss."""
        if self._executor is None:
            self._executor = ProcessPoolExecutor(
                self.count, mp_context=get_context("spawn"), initializer=_start_worker
            )
            if not self._answered:
                self._answer(self._executor)
        return self._executor

    def _answer(self, executor: Executor) -> None:
        """Wait for the first of all workers; raises StudyError where it does not come up."""
        try:
            executor.submit(os.getpid).result()
        except BrokenExecutor:
            raise StudyError(
                "no worker starts. Every worker first runs the calling script again: a script "
                'calls run_study below `if __name__ == "__main__":`, or it would start workers of '
                "workers; else memory does not suffice for a worker"
            ) from None
        self._answered = True

    def killed(self, error: BaseException) -> bool:
        """Whether the error says that a worker died under its task; the pool is given up then."""
        if not isinstance(error, BrokenExecutor):
            return False
        if self._executor is not None:
            self._executor.shutdown(wait=False, cancel_futures=True)
            self._executor = None
        return True

    def check(self) -> None:
        """Raise StudyError where the workers can no longer be reached: local ones always can."""

    def close(self) -> None:
        """End the workers, whatever they are doing."""
        if self._executor is not None:
            for process in list((self._executor._processes or {}).values()):
                process.kill()
            self._executor.shutdown(wait=True, cancel_futures=True)
            self._executor = None


def end_unguarded() -> None:
    """End a worker that, on its way up, has run its parent's script to where it starts a study."""
    if getattr(current_process(), "_inheriting", False):
        raise SystemExit(1)


def _start_worker() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the driver ends its workers itself
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """A killed driver must not leave workers behind that wait for tasks for ever."""
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


class Cluster:
    """The workers of a Dask cluster, by the address of its scheduler.

    Raises MissingError where the optional packages are missing, StudyError where nothing answers at
    the address, no worker is there, a worker runs another program or none, or has less memory than
    the study needs, or no accelerator where `device` asks for them. Files that decks name travel
    with their rows.
    """

    def __init__(
        self, address: str, need: Need, device: Device = "cpu", timeout: float = 10.0
    ) -> None:
        self.address = address
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            raise MissingError("a cluster", "study") from None
        self._died: tuple[type[BaseException], ...] = (distributed.KilledWorker,)
        # A client that fails to be made over its address tells so once more when it is dropped.
        addressing: Any = import_module("distributed.comm.addressing")
        try:
            protocol, place = addressing.parse_address(address)
            host, port = addressing.parse_host_port(place)
        except ValueError as error:
            raise StudyError(f"{address!r} is no address like tcp://host:8786: {error}") from None
        try:
            # Asked before the client, which tries for its whole time and tells of it at length.
            if protocol in PLAIN:
                create_connection((host, port), ANSWER).close()
            self._client: Any = distributed.Client(address, timeout=timeout, set_as_default=False)
        except (OSError, TimeoutError) as error:
            raise StudyError(f"no scheduler answers at {address}: {error}") from None
        try:
            self.count = self._threads(need)
            if device == "gpu":
                self._check_cards()
            self.executor: Executor = self._client.get_executor(pure=False)
        except BaseException:
            self.close()
            raise

    def _threads(self, need: Need) -> int:
        workers: dict[str, Any] = self._client.scheduler_info(n_workers=-1)["workers"]
        if not workers:
            raise StudyError(f"the scheduler at {self.address} has no workers")
        for name, worker in workers.items():
            limit, threads = worker.get("memory_limit") or 0, worker["nthreads"]
            if limit and threads * need.bytes > limit:
                raise StudyError(
                    f"row {need.row} needs about {need.bytes / 1e9:.1f} GB; worker {name} has "
                    f"{limit / 1e9:.1f} GB for {threads} at a time: fewer threads or more memory"
                )
        own = program_version()
        for name, program in self._client.run(program_version, on_error="return").items():
            if isinstance(program, BaseException):  # by its message: the class may be unknown here
                raise StudyError(
                    f"worker {name} cannot run this program ({program}): install deckslab there, "
                    f"of the version {own}"
                )
            if program != own:
                raise StudyError(f"worker {name} runs {program}, this is {own}: install the same")
        return sum(int(worker["nthreads"]) for worker in workers.values())

    def _check_cards(self) -> None:
        for name, found in self._client.run(accelerators, on_error="return").items():
            if isinstance(found, BaseException):
                raise StudyError(f"worker {name}: {found}")

    def killed(self, error: BaseException) -> bool:
        """Whether the error says that workers died under the task, more often than Dask allows."""
        return isinstance(error, self._died)

    def check(self) -> None:
        """Raise StudyError once the scheduler is gone."""
        if self._client.status != "running":
            raise StudyError(f"the scheduler at {self.address} is gone")

    def close(self) -> None:
        """Take back what is not finished and leave the cluster running."""
        with suppress(Exception):  # the scheduler may be gone already
            self._client.close(timeout=5)


Pool = Workers | Cluster

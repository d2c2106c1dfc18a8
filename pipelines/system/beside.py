"""A process beside this one, for work that needs little of what goes on here.

Threads share one interpreter, and most of a run is work of the interpreter between products of
matrices. A process has one of its own. It starts early, so that its imports run while the deck is
meshed, does one thing after the other, and has one thread in each product as there is here: the
numbers are the same. What it is given and gives back is pickled, so that only work pays that takes
far longer than its arrays take to be copied.

What fails there is done here once more, where it is told as it would be without that process.
"""

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError
from contextlib import suppress
from copyreg import dispatch_table
from importlib import import_module
from io import BytesIO
from queue import Queue
from threading import Lock, Thread
from types import MappingProxyType
from typing import IO, Any, ParamSpec, Protocol, TypeVar

from pipelines.system.machine import FLAGS, OWN_GROUP
from plate.threads import one_thread

P = ParamSpec("P")
T = TypeVar("T")

_SERVE = """
import sys
sys.path[:] = sys.argv[2:]
from pipelines.__main__ import collect_seldom
collect_seldom()
from pipelines.system.beside import serve
serve(sys.argv[1].split())
"""
# Bytes of the length that goes before what is sent.
_LENGTH = 8
# The process is gone, or what it is to be given cannot be pickled.
_NOT_SENT = (OSError, EOFError, pickle.PicklingError, AttributeError, TypeError)


class Doer(Protocol):
    """Does a work, here or elsewhere."""

    def __call__(self, work: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T: ...


def here(work: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T:
    """Does the work in this thread."""
    return work(*arguments, **named)


class Beside:
    """Does a work in a process of its own: one at a time, whichever thread asks. `close` ends it,
    whatever it is at; it ends by itself with the process that began it.

    modules : what it imports before there is work. Works are functions of modules.
    """

    def __init__(self, modules: Sequence[str]) -> None:
        self._lock = Lock()
        self._closed = False
        self._process: Any = subprocess.Popen(
            [sys.executable, "-c", _SERVE, " ".join(modules), *sys.path],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            process_group=OWN_GROUP,
            creationflags=FLAGS,
        )

    def __call__(self, work: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T:
        found = b""
        with self._lock, suppress(*_NOT_SENT):
            if not self._closed:
                found = self._asked(_packed((work, arguments, named)))
        if found:
            value: T = pickle.loads(found)
            return value
        if self._closed:
            raise CancelledError
        return work(*arguments, **named)

    def _asked(self, work: bytes) -> bytes:
        """What the process gives back; nothing where the work fails."""
        _send(self._process.stdin, work)
        return _receive(self._process.stdout)

    def close(self) -> None:
        """End the process; what was asked of it is cancelled."""
        self._closed = True
        self._process.kill()
        self._process.wait()
        with self._lock:
            for pipe in (self._process.stdin, self._process.stdout):
                with suppress(OSError):  # of what was still to be sent
                    pipe.close()

    def __enter__(self) -> "Beside":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def serve(modules: Sequence[str]) -> None:
    """Do what comes in on the standard input and write what it gives to the standard output, or
    nothing where it fails, until no more can come in."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    # Whatever is printed meanwhile must not get among the answers.
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    asked: Queue[bytes] = Queue()
    Thread(target=_listen, args=(sys.stdin.buffer, asked), daemon=True).start()
    for name in modules:
        import_module(name)
    with one_thread:
        while True:
            _send(answers, _done(asked.get()))


def _listen(stream: IO[bytes], asked: "Queue[bytes]") -> None:
    """Hand on what comes in; where no more can, who asked is gone and nobody waits for the
    rest."""
    while True:
        try:
            asked.put(_receive(stream))
        except EOFError:
            os._exit(0)


def _done(asked: bytes) -> bytes:
    try:
        work, arguments, named = pickle.loads(asked)
        return _packed(work(*arguments, **named))
    except Exception:
        return b""


def _packed(value: object) -> bytes:
    stream = BytesIO()
    pickler = pickle.Pickler(stream, protocol=pickle.HIGHEST_PROTOCOL)
    pickler.dispatch_table = dispatch_table | {MappingProxyType: _parts}
    pickler.dump(value)
    return stream.getvalue()


def _parts(value: "MappingProxyType[Any, Any]") -> tuple[Any, tuple[dict[Any, Any]]]:
    return _read_only, (dict(value),)


def _read_only(value: dict[Any, Any]) -> "MappingProxyType[Any, Any]":
    return MappingProxyType(value)


def _send(stream: IO[bytes], data: bytes) -> None:
    stream.write(len(data).to_bytes(_LENGTH, "little"))
    stream.write(data)
    stream.flush()


def _receive(stream: IO[bytes]) -> bytes:
    """Raises EOFError where the other end is gone."""
    length = stream.read(_LENGTH)
    data = stream.read(int.from_bytes(length, "little"))
    if len(length) < _LENGTH or len(data) < int.from_bytes(length, "little"):
        raise EOFError
    return data

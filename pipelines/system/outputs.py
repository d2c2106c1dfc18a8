"""Files of a run: ordinary files in the folder that the user named, and a record of them.

A run writes its files to a folder of its own inside the user's and moves them to their places one
by one. The record, `results.files.json` for the files of `run`, holds the digest of each. It names
the new files before the first of them is moved, beside those of the run before, and the new ones
alone after the last: whenever a run is stopped, its reader finds the files of one run whole or can
tell which file is of which run. Files of another kind have a record of their own.
"""

import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

from pipelines.errors import JobError
from pipelines.system.files import named, write_text
from pipelines.system.machine import locked

# Room that the files of a run take, and those of a smaller command, with some to spare [byte].
ROOM, SMALL = 50e6, 5e6
# How long a file that another program has open is waited for [s].
PATIENCE = 3.0


class HeldError(JobError):
    """A file that another program keeps from being replaced; what is new is not thrown away."""


@dataclass(frozen=True)
class Run:
    """A run that a record knows: when it was written, and the SHA-256 of each of its files."""

    written: str
    files: dict[str, str]


def record_path(folder: Path, kind: str) -> Path:
    """The record of the files of a kind."""
    return folder / f"{kind}.files.json"


def check_folder(out: Path, kind: str, names: Iterable[str], room: float = ROOM) -> None:
    """Before anything is computed for it: whether files of these names can be put into a folder,
    with the record of their kind.

    Raises JobError or OSError where the folder is a file, may not be written to or has no room, or
    where a folder stands in the place of a file or a file there may not be replaced.
    """
    if out.exists() and not out.is_dir():
        raise JobError(f"--out {out}: is a file, a folder is needed")
    _check_room(out, out, room)
    for path in (record_path(out, kind), *(out / name for name in names)):
        _check_replaceable(path)


def check_file(out: Path, room: float = ROOM) -> None:
    """Before anything is computed for it: whether a file can be written, or replaced.

    Raises JobError or OSError where it cannot.
    """
    _check_room(out, out.absolute().parent, room)
    _check_replaceable(out)


def _check_room(out: Path, folder: Path, room: float) -> None:
    there = next(p for p in (folder.absolute(), *folder.absolute().parents) if p.exists())
    try:
        with tempfile.TemporaryFile(dir=there):
            pass
    except OSError as error:
        error.filename = os.fspath(out)
        raise
    try:
        disk = shutil.disk_usage(there)
    except OSError:  # some disks do not tell
        return
    if disk.total and disk.free < room:
        raise JobError(
            f"--out {out}: {disk.free / 1e6:.0f} MB are free there, {room / 1e6:.0f} MB are needed"
        )


def _check_replaceable(path: Path) -> None:
    if path.is_dir():
        raise JobError(f"--out: {path} is a folder, a file of that name is to be written")
    if path.exists():
        with path.open("r+b"):  # not where another program keeps it for itself, or it is read-only
            pass


@contextmanager
def replacing(out: Path, kind: str = "results") -> Iterator[Path]:
    """A new folder to write files to; at the end they replace those of the same kind in `out`.

    kind : of files that belong together. If anything is raised meanwhile, `out` stays as it was.
    Of the run before, what this one does not have is removed unless someone has changed it; other
    files are left alone. Two commands that write to the same `out` wait for each other.

    Raises OSError where a file cannot be written, HeldError where one cannot be replaced.
    """
    out.mkdir(parents=True, exist_ok=True)
    prefix = f".{kind}.new-"
    with locked(out):
        for left in out.glob(f"{prefix}*"):  # by a run that was killed
            shutil.rmtree(left, ignore_errors=True)
        with named(out):
            new = Path(tempfile.mkdtemp(dir=out, prefix=prefix))
        try:
            yield new
            _replace(out, kind, new)
        except HeldError:
            raise
        except BaseException:
            shutil.rmtree(new, ignore_errors=True)
            raise
        shutil.rmtree(new, ignore_errors=True)


def _replace(out: Path, kind: str, new: Path) -> None:
    files = {path.name: _on_disk(path) for path in sorted(new.iterdir())}
    run = Run(datetime.now(UTC).isoformat(timespec="milliseconds"), files)
    record = record_path(out, kind)
    there = {name: _digest(out / name) for run in _runs(record) for name in run.files}
    before = [old for old in _runs(record) if any(there[n] == d for n, d in old.files.items())]
    _write_runs(record, new, [run, *before])
    for name in files:
        _move(new / name, out / name)
    for name in {name for old in before for name in old.files} - set(files):
        if any(there[name] == old.files.get(name) for old in before):
            _patiently((out / name).unlink, out / name, new)
    _write_runs(record, new, [run])
    _remove_links(out, f".{kind}")
    with suppress(OSError):  # not every system writes a folder down on request
        handle = os.open(out, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _move(path: Path, place: Path) -> None:
    _patiently(partial(os.replace, path, place), place, path.parent)


def _patiently(change: Callable[[], None], place: Path, new: Path) -> None:
    """Replace or remove a file, which some systems refuse while another program has it open."""
    end = time.monotonic() + PATIENCE
    while True:
        try:
            change()
            return
        except PermissionError as error:
            if time.monotonic() > end:
                raise HeldError(
                    f"{place}: cannot be replaced ({error.strerror}): close what has it open and "
                    f"run again; the new files that are not in place are in {new}"
                ) from None
            time.sleep(0.1)


def _on_disk(path: Path) -> str:
    """The digest of a file that is written down to the disk."""
    with path.open("r+b") as stream:
        os.fsync(stream.fileno())
        return sha256(stream.read()).hexdigest()


def _digest(path: Path) -> str:
    """The digest of a file that may have gone: "" then."""
    try:
        return sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def _runs(record: Path) -> list[Run]:
    """The runs of a record, the newest first; none where it is not there or damaged."""
    try:
        entries: list[Any] = json.loads(record.read_text(encoding="utf-8"))["runs"]
        runs = [Run(str(e["written"]), {str(k): str(v) for k, v in e["files"].items()})
                for e in entries]  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return []
    # A record that came from elsewhere is to lead to no file outside its folder.
    inside = all(Path(name).name == name for run in runs for name in run.files)
    return runs if inside else []


def _write_runs(record: Path, new: Path, runs: Sequence[Run]) -> None:
    """Replace a record by way of the folder of the new files, which a later run clears away."""
    entries = [{"written": run.written, "files": run.files} for run in runs]
    about = "SHA-256 of the files of a run in this folder, those of the newest run first"
    write_text(new / record.name, json.dumps({"about": about, "runs": entries}, indent=1) + "\n")
    _move(new / record.name, record)


def read_whole(folder: Path, kind: str, names: Sequence[str]) -> dict[str, bytes]:
    """Files of one run, by name.

    Raises JobError where a file is missing, where there is no record of them, or where they are not
    all of one run: then with the run of each.
    """
    record = record_path(folder, kind)
    for path in (record, *(folder / name for name in names)):
        if not path.is_file():
            raise JobError(f"{folder}: has no {path.name}, which the files of a run have with them")
    runs = _runs(record)
    found = {name: (folder / name).read_bytes() for name in names}
    digests = {name: sha256(data).hexdigest() for name, data in found.items()}
    if any(all(run.files.get(name) == digests[name] for name in names) for run in runs):
        return found
    words = [f"{name} is {_whose(runs, name, digests[name])}" for name in names]
    raise JobError(
        f"{folder}: its files are not those of one run: {'; '.join(words)}. Run again to replace "
        "them all"
    )


def check_unchanged(path: Path, kind: str) -> None:
    """Raises JobError where the record of a kind beside a file knows it with other bytes."""
    runs = [run for run in _runs(record_path(path.parent, kind)) if path.name in run.files]
    if runs and all(run.files[path.name] != _digest(path) for run in runs):
        raise JobError(
            f"{path}: is damaged, or was changed since it was written; run again to replace it"
        )


def _whose(runs: Sequence[Run], name: str, digest: str) -> str:
    run = next((run for run in runs if run.files.get(name) == digest), None)
    return "of no recorded run, or changed since" if run is None else f"of the run of {run.written}"


def _remove_links(out: Path, store: str) -> None:
    """What older versions of the program left: a hidden folder, and links into it."""
    if not (out / store / "current").is_symlink():
        return
    for path in out.iterdir():
        if path.is_symlink() and Path(os.readlink(path)).parts[:2] == (store, "current"):
            path.unlink()
    shutil.rmtree(out / store, ignore_errors=True)

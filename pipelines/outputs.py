"""A folder of results that belong together, replaced as one.

The files of a run stand in a folder of their own, `.results/run-...`, and `.results/current` is a
link to it; `report.html` and the others are links through `current`. Replacing that one link is
the moment at which all files change: whenever a run is stopped, the old files or the new ones are
there, never some of each. What other commands write to the same folder has its own store.
"""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

CURRENT = "current"


@contextmanager
def replacing(out: Path, kind: str = "results") -> Iterator[Path]:
    """A new folder to write files to; at the end they replace those of the same kind in `out`.

    kind : of files that belong together. If anything is raised meanwhile, `out` stays as it was.
    Files in `out` with other names are left alone. Two commands that write to the same `out` wait
    for each other.
    """
    # Absolute, since the folders made below are told so and are compared with those found there.
    out = out.absolute()
    store = out / f".{kind}"
    store.mkdir(parents=True, exist_ok=True)
    with open(store / "lock", "w", encoding="utf-8") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        new = Path(tempfile.mkdtemp(dir=store, prefix="run-"))
        try:
            yield new
            new.chmod(0o755)
            for path in new.iterdir():
                path.chmod(0o644)
                _to_disk(path)
            _to_disk(new)
            _switch(out, store, new)
        except BaseException:
            shutil.rmtree(new, ignore_errors=True)
            raise
        for left in store.glob("run-*"):
            if left != new:
                shutil.rmtree(left, ignore_errors=True)


def check_writable(out: Path) -> None:
    """Before anything is computed for it: OSError where a folder could not be made or filled."""
    there = next(p for p in (out.absolute(), *out.absolute().parents) if p.exists())
    try:
        with tempfile.TemporaryFile(dir=there):
            pass
    except OSError as error:
        error.filename = os.fspath(out)
        raise


def _switch(out: Path, store: Path, new: Path) -> None:
    names = [path.name for path in new.iterdir()]
    plain = [n for n in names if (out / n).exists() and not (out / n).is_symlink()]
    if plain:
        # Files that are no links: hold them in a folder first, so that they change with the rest.
        old = Path(tempfile.mkdtemp(dir=store, prefix="run-"))
        if (store / CURRENT).exists():
            for path in (store / CURRENT).iterdir():
                os.link(path, old / path.name)
        for name in plain:
            (old / name).unlink(missing_ok=True)
            os.link(out / name, old / name)
        _link(store, store / CURRENT, old.name)
        for name in plain:
            _link(store, out / name, os.path.join(store.name, CURRENT, name))
    for name in names:
        if not (out / name).is_symlink():
            _link(store, out / name, os.path.join(store.name, CURRENT, name))
    _link(store, store / CURRENT, new.name)
    _to_disk(store)
    for path in out.iterdir():
        # What the run before had and this one has not.
        ours = path.is_symlink() and Path(os.readlink(path)).parts[:2] == (store.name, CURRENT)
        if ours and not path.exists():
            path.unlink()


def _link(store: Path, path: Path, target: str) -> None:
    """Make or replace a symbolic link at once; it is made in the store and moved from there."""
    made = store / "link"
    made.unlink(missing_ok=True)
    made.symlink_to(target)
    os.replace(made, path)


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

"""A folder of results: ordinary files, and a record by which those of one run are known."""

import itertools
import json
import multiprocessing
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from types import SimpleNamespace

import pytest

from pipelines.errors import JobError
from pipelines.system.files import write_text
from pipelines.system.machine import LOCK
from pipelines.system.outputs import (
    HeldError,
    check_file,
    check_folder,
    read_whole,
    record_path,
    replacing,
)

ROOT = Path(__file__).parents[3]
NAMES = ("report.html", "summary.json", "fields.vtu")
RECORD = "results.files.json"


def fill(out: Path, words: str, names: tuple[str, ...] = NAMES, kind: str = "results") -> None:
    with replacing(out, kind) as folder:
        for name in names:
            (folder / name).write_text(words, encoding="utf-8")


def read(out: Path) -> dict[str, str]:
    """Files but for the record."""
    return {
        p.name: p.read_text(encoding="utf-8")
        for p in out.iterdir()
        if not p.name.endswith(".files.json")
    }


def whole(out: Path, names: tuple[str, ...] = NAMES) -> str:
    """What stands in all files of one run."""
    [words] = set(read_whole(out, "results", names).values())
    return words.decode()


def test_files_are_written_and_replaced(tmp_path: Path) -> None:
    out = tmp_path / "new" / "Brücke, zweite Öffnung"
    for words in ("first", "second"):
        fill(out, words)
        assert read(out) == dict.fromkeys(NAMES, words)
        assert whole(out) == words
    # Nothing but them and their record, none of them a link or a file that is elsewhere as well.
    assert {p.name for p in out.iterdir()} == {*NAMES, RECORD}
    for path in out.iterdir():
        assert path.is_file()
        assert not path.is_symlink()
        assert path.stat().st_nlink == 1


def test_a_relative_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Since Python 3.12 new folders are told by their absolute paths, wherever they are made."""
    monkeypatch.chdir(tmp_path)
    for words in ("first", "second"):
        fill(Path("out"), words)
        assert read(tmp_path / "out") == dict.fromkeys(NAMES, words)


def test_a_zip_opened_elsewhere_is_whole(tmp_path: Path) -> None:
    fill(tmp_path / "out", "words")
    shutil.make_archive(str(tmp_path / "all"), "zip", tmp_path / "out")
    shutil.unpack_archive(tmp_path / "all.zip", tmp_path / "else where")
    assert whole(tmp_path / "else where") == "words"


def test_plain_files_of_those_names_are_replaced_and_others_left(tmp_path: Path) -> None:
    for name in (*NAMES, "notes.txt"):
        (tmp_path / name).write_text("mine", encoding="utf-8")
    fill(tmp_path, "new")
    assert read(tmp_path) == dict.fromkeys(NAMES, "new") | {"notes.txt": "mine"}


def test_what_the_next_run_does_not_have_is_gone_unless_it_was_changed(tmp_path: Path) -> None:
    fill(tmp_path, "first", (*NAMES, "report.pdf", "bars.dxf"))
    (tmp_path / "bars.dxf").write_text("by hand", encoding="utf-8")
    fill(tmp_path, "second")
    assert read(tmp_path) == dict.fromkeys(NAMES, "second") | {"bars.dxf": "by hand"}


def test_files_of_another_kind_are_left(tmp_path: Path) -> None:
    fill(tmp_path, "run")
    for _ in range(2):
        fill(tmp_path, "sweep", ("sweep.html",), "sweep")
    fill(tmp_path, "run again")
    assert read(tmp_path) == dict.fromkeys(NAMES, "run again") | {"sweep.html": "sweep"}


def test_links_of_older_versions_are_replaced(tmp_path: Path) -> None:
    store = tmp_path / ".results"
    (store / "run-1").mkdir(parents=True)
    (store / "lock").write_text("", encoding="utf-8")
    (store / "current").symlink_to("run-1")
    for name in (*NAMES, "report.pdf"):
        (store / "run-1" / name).write_text("old", encoding="utf-8")
        (tmp_path / name).symlink_to(Path(".results") / "current" / name)
    (tmp_path / "mine").symlink_to("elsewhere")
    fill(tmp_path, "new")
    assert whole(tmp_path) == "new"
    assert {p.name for p in tmp_path.iterdir()} == {*NAMES, RECORD, "mine"}
    assert not any((tmp_path / name).is_symlink() for name in NAMES)


def test_a_link_to_a_file_elsewhere_is_replaced_and_the_file_left(tmp_path: Path) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("mine", encoding="utf-8")
    out = tmp_path / "out"
    out.mkdir()
    for name in ("report.html", RECORD, LOCK):
        (out / name).symlink_to(mine)
    fill(out, "new")
    assert whole(out) == "new"
    assert mine.read_text(encoding="utf-8") == "mine"


def test_what_cannot_be_written_is_told_before_anything_is_computed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    check_folder(tmp_path / "not" / "yet" / "there", "results", NAMES)
    check_file(tmp_path / "not" / "yet" / "there.png")
    assert not list(tmp_path.iterdir())
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    for check in (check_file, lambda path: check_folder(path, "results", NAMES)):
        with pytest.raises(OSError, match="file/below"):
            check(tmp_path / "file" / "below")
    with pytest.raises(JobError, match="file: is a file"):
        check_folder(tmp_path / "file", "results", NAMES)
    out = tmp_path / "out"
    for name in ("summary.json", RECORD):
        (out / name).mkdir(parents=True)
        with pytest.raises(JobError, match=f"{name} is a folder"):
            check_folder(out, "results", NAMES)
        (out / name).rmdir()
    with pytest.raises(JobError, match="out is a folder"):
        check_file(out)
    disk = SimpleNamespace(total=1 << 40, free=3_000_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: disk)
    with pytest.raises(JobError, match="3 MB are free there, 50 MB are needed"):
        check_folder(out, "results", NAMES)
    disk.total = disk.free = 0  # a disk that does not tell
    check_folder(out, "results", NAMES)


def test_a_folder_that_may_only_be_read_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(**options: Path) -> None:
        raise PermissionError(13, "Permission denied", str(options["dir"] / "tmp1"))

    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    out = tmp_path / "out"
    for check in (check_file, lambda path: check_folder(path, "results", NAMES)):
        with pytest.raises(PermissionError) as told:
            check(out)
        assert told.value.filename == str(out)


def test_no_name_is_told_that_the_user_did_not_give(tmp_path: Path) -> None:
    """Of a file written beside its place, and of a folder of new files."""
    nowhere = tmp_path / "none" / "x.toml"
    with pytest.raises(OSError, match=r"x\.toml") as caught:
        write_text(nowhere, "a")
    assert caught.value.filename == str(nowhere)
    (tmp_path / "taken.toml").mkdir()
    with pytest.raises(OSError, match=r"taken\.toml") as caught:
        write_text(tmp_path / "taken.toml", "a")
    assert (caught.value.filename, caught.value.filename2) == (str(tmp_path / "taken.toml"), None)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["taken.toml"]


def test_an_error_leaves_the_old_files(tmp_path: Path) -> None:
    fill(tmp_path, "first")

    def half_way() -> None:
        with replacing(tmp_path) as folder:
            (folder / "summary.json").write_text("second", encoding="utf-8")
            raise RuntimeError("half way")

    with pytest.raises(RuntimeError, match="half way"):
        half_way()
    assert whole(tmp_path) == "first"
    assert {p.name for p in tmp_path.iterdir()} == {*NAMES, RECORD}


def test_a_file_that_another_program_holds_is_told_and_nothing_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some systems replace no file that is open."""
    fill(tmp_path, "first")
    rename = os.replace

    def refuse(a: Path, b: Path) -> None:
        if Path(b).name == "report.html":
            raise PermissionError(13, "Permission denied", str(a))
        rename(a, b)

    monkeypatch.setattr(os, "replace", refuse)
    monkeypatch.setattr("pipelines.system.outputs.PATIENCE", 0.2)
    with pytest.raises(HeldError, match=r"report\.html: cannot be replaced") as told:
        fill(tmp_path, "second")
    kept = Path(str(told.value).split(" are in ")[1])
    assert (kept / "report.html").read_text(encoding="utf-8") == "second"
    monkeypatch.undo()
    fill(tmp_path, "third")
    assert whole(tmp_path) == "third"
    assert {p.name for p in tmp_path.iterdir()} == {*NAMES, RECORD}


MORE = (*NAMES, "bars.dxf")


@pytest.mark.parametrize("start", ["nothing", "plain files", "a run", "a run that was stopped"])
@pytest.mark.parametrize("cleans", [True, False], ids=["stopped", "killed"])
def test_at_every_step_files_of_one_run_are_there_or_the_mixture_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, start: str, cleans: bool
) -> None:
    """Stop before each change of the folder in turn, with and without what is done on the way out.

    A killed process does nothing on its way out: its temporary folder stays.
    """
    seen = set()
    for stop in itertools.count():
        out = tmp_path / str(stop)
        if start == "plain files":
            out.mkdir()
            for name in NAMES:
                (out / name).write_text("mine", encoding="utf-8")
        elif start != "nothing":
            fill(out, "old", MORE)
        if start == "a run that was stopped":
            interrupted(monkeypatch, 3, cleans, lambda out=out: fill(out, "half"))
        done = not interrupted(monkeypatch, stop, cleans, lambda out=out: fill(out, "new"))
        try:
            words = whole(out)
        except JobError as error:
            words = "told"
            if "not those of one run" in str(error):
                tell_apart(out, str(error))
        else:
            assert words in ("old", "new")
            if words == "old":
                assert whole(out, MORE) == "old"
        seen.add(words)
        # Whatever was there, the next run is whole and leaves nothing behind.
        fill(out, "next")
        assert whole(out) == "next"
        assert {p.name for p in out.iterdir()} == {*NAMES, RECORD}
        if done:
            assert words == "new"
            break
    assert stop > len(NAMES)
    assert seen == ({"told", "new"} if start in ("nothing", "plain files") else
                    {"told", "new", "old"} if start == "a run" else {"told", "new"})  # fmt: skip


def interrupted(
    monkeypatch: pytest.MonkeyPatch, stop: int, cleans: bool, act: Callable[[], None]
) -> bool:
    """Whether `act` was stopped before the change of that number."""
    count = 0

    def counted(real: Callable[..., None]) -> Callable[..., None]:
        def change(*places: Path, **options: bool) -> None:
            nonlocal count
            # What is written in the temporary folder is no change, nor is the lock a file of a run.
            if ".new-" not in str(Path(places[-1]).parent) and Path(places[-1]).name != LOCK:
                if count == stop:
                    raise KeyboardInterrupt
                count += 1
            real(*places, **options)

        return change

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", counted(os.replace))
        patch.setattr(Path, "unlink", counted(Path.unlink))
        if not cleans:
            patch.setattr(shutil, "rmtree", lambda *places, **options: None)
        try:
            act()
        except KeyboardInterrupt:
            return True
    return False


def tell_apart(out: Path, told: str) -> None:
    """Every file is told to be of the run that it is of."""
    runs = json.loads(record_path(out, "results").read_text(encoding="utf-8"))["runs"]
    assert 1 <= len(runs) <= 3
    for name in NAMES:
        digest = sha256((out / name).read_bytes()).hexdigest()
        whose = {run["written"] for run in runs if run["files"].get(name) == digest}
        mine = (out / name).read_bytes() == b"mine"
        assert (len(whose) == 0) == mine
        assert f"{name} is of {'no recorded run' if mine else 'the run of ' + whose.pop()}" in told


def test_a_mixture_is_told_with_the_run_of_each_file(tmp_path: Path) -> None:
    fill(tmp_path, "first")
    (tmp_path / "summary.json").write_text("edited", encoding="utf-8")
    with pytest.raises(
        JobError, match=r"report\.html is of the run of 20.*; summary\.json is of no"
    ):
        whole(tmp_path)
    assert read_whole(tmp_path, "results", ["fields.vtu"]) == {"fields.vtu": b"first"}
    (tmp_path / "summary.json").unlink()
    with pytest.raises(JobError, match=r"has no summary\.json"):
        whole(tmp_path)
    for damaged in ("", "[]", '{"runs": 3}', '{"runs": [{"written": 1, "files": []}]}'):
        (tmp_path / RECORD).write_text(damaged, encoding="utf-8")
        with pytest.raises(JobError, match="no recorded run"):
            read_whole(tmp_path, "results", ["fields.vtu"])
        fill(tmp_path, "next")
        assert whole(tmp_path) == "next"
    (tmp_path / RECORD).unlink()
    with pytest.raises(JobError, match=f"has no {RECORD}"):
        whole(tmp_path)


def test_a_record_from_elsewhere_leads_to_no_file_outside_its_folder(tmp_path: Path) -> None:
    mine, out = tmp_path / "mine.txt", tmp_path / "out"
    mine.write_text("mine", encoding="utf-8")
    fill(out, "first")
    digest = sha256(b"mine").hexdigest()
    for name in ("../mine.txt", str(mine)):
        record = {"runs": [{"written": "then", "files": {name: digest}}]}
        (out / RECORD).write_text(json.dumps(record), encoding="utf-8")
        fill(out, "next")
        assert whole(out) == "next"
        assert mine.read_text(encoding="utf-8") == "mine"


def slow(out: Path, words: str, begun: str) -> None:
    with replacing(out) as folder:
        Path(begun).write_text("", encoding="utf-8")
        time.sleep(1.0)
        for name in NAMES:
            (folder / name).write_text(words, encoding="utf-8")


def test_two_commands_wait_for_each_other(tmp_path: Path) -> None:
    begun = tmp_path / "begun"
    process = multiprocessing.get_context("spawn").Process(
        target=slow, args=(tmp_path / "out", "slow", str(begun))
    )
    process.start()
    while not begun.exists():
        time.sleep(0.01)
        assert process.is_alive() or begun.exists()
    start = time.monotonic()
    fill(tmp_path / "out", "quick")
    waited = time.monotonic() - start
    process.join()
    assert process.exitcode == 0
    assert waited > 0.5
    assert whole(tmp_path / "out") == "quick"
    assert not (tmp_path / "out" / LOCK).exists()


# Writes runs to a folder over and over, each with its own number in all files.
OVER_AND_OVER = """
import itertools, sys
from pathlib import Path
from pipelines.system.outputs import replacing
out, names, child = Path(sys.argv[1]), sys.argv[2].split(","), sys.argv[3]
for run in itertools.count():
    with replacing(out) as folder:
        for name in names:
            (folder / name).write_text(f"{child}.{run} " * 20000, encoding="utf-8")
    print(run, flush=True)
"""


@pytest.mark.soak
def test_kills_while_files_are_replaced_over_and_over(tmp_path: Path) -> None:
    """Whenever a process is killed, a reader finds one run whole or is told of every file."""
    out, chance, seen = tmp_path / "out", random.Random(3), Counter[str]()
    for child in range(int(os.environ.get("DECKSLAB_KILLS", "100"))):
        process = subprocess.Popen(
            [sys.executable, "-c", OVER_AND_OVER, str(out), ",".join(NAMES), str(child)],
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
        )
        assert process.stdout is not None
        process.stdout.readline()  # one run is there
        time.sleep(0.1 * chance.random())
        process.kill()
        process.communicate()
        try:
            assert set(whole(out).split()) == {whole(out).split()[0]}
            seen["whole"] += 1
        except JobError as error:
            tell_apart(out, str(error))
            seen["told"] += 1
    fill(out, "last")
    assert whole(out) == "last"
    assert {p.name for p in out.iterdir()} == {*NAMES, RECORD}
    print(dict(seen))
    assert seen["whole"]

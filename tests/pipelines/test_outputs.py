"""A folder of results changes as one: the old files or the new, whatever happens meanwhile."""

import itertools
import os
from pathlib import Path

import pytest

from pipelines.outputs import check_writable, replacing

NAMES = ("report.html", "summary.json", "fields.vtu")


def fill(out: Path, words: str, names: tuple[str, ...] = NAMES) -> None:
    with replacing(out) as folder:
        for name in names:
            (folder / name).write_text(words, encoding="utf-8")


def read(out: Path) -> dict[str, str]:
    return {p.name: p.read_text(encoding="utf-8") for p in out.iterdir() if p.is_file()}


def test_files_are_written_and_replaced(tmp_path: Path) -> None:
    out = tmp_path / "new" / "out"
    for words in ("first", "second"):
        fill(out, words)
        assert read(out) == dict.fromkeys(NAMES, words)
    assert len(list((out / ".results").glob("run-*"))) == 1


def test_a_relative_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Since Python 3.12 new folders are told by their absolute paths, wherever they are made."""
    monkeypatch.chdir(tmp_path)
    for words in ("first", "second"):
        fill(Path("out"), words)
        assert read(tmp_path / "out") == dict.fromkeys(NAMES, words)


def test_plain_files_of_those_names_are_replaced_and_others_left(tmp_path: Path) -> None:
    for name in (*NAMES, "notes.txt"):
        (tmp_path / name).write_text("mine", encoding="utf-8")
    fill(tmp_path, "new")
    assert read(tmp_path) == dict.fromkeys(NAMES, "new") | {"notes.txt": "mine"}


def test_what_the_next_run_does_not_have_is_gone(tmp_path: Path) -> None:
    fill(tmp_path, "first", (*NAMES, "report.pdf"))
    fill(tmp_path, "second")
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*NAMES, ".results"])


def test_files_of_another_kind_are_left(tmp_path: Path) -> None:
    fill(tmp_path, "run")
    for _ in range(2):
        with replacing(tmp_path, "sweep") as folder:
            (folder / "sweep.html").write_text("sweep", encoding="utf-8")
    fill(tmp_path, "run again")
    assert read(tmp_path) == dict.fromkeys(NAMES, "run again") | {"sweep.html": "sweep"}


def test_what_cannot_be_written_is_told_before_anything_is_computed(tmp_path: Path) -> None:
    check_writable(tmp_path / "not" / "yet" / "there")
    assert not list(tmp_path.iterdir())
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(OSError, match="file/below"):
        check_writable(tmp_path / "file" / "below")


def test_an_error_leaves_the_old_files(tmp_path: Path) -> None:
    fill(tmp_path, "first")

    def half_way() -> None:
        with replacing(tmp_path) as folder:
            (folder / "summary.json").write_text("second", encoding="utf-8")
            raise RuntimeError("half way")

    with pytest.raises(RuntimeError, match="half way"):
        half_way()
    assert read(tmp_path) == dict.fromkeys(NAMES, "first")
    assert len(list((tmp_path / ".results").glob("run-*"))) == 1


@pytest.mark.parametrize("plain", [False, True])
def test_at_every_step_the_files_are_of_one_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, plain: bool
) -> None:
    """Stop before each renaming in turn; what is there then is wholly old or wholly new."""
    rename, seen = os.replace, set()
    for stop in itertools.count():
        out = tmp_path / str(stop)
        out.mkdir()
        if plain:
            for name in NAMES:
                (out / name).write_text("old", encoding="utf-8")
        else:
            fill(out, "old")
        count = 0

        def killed(a: Path, b: Path, stop: int = stop) -> None:
            nonlocal count
            if count == stop:
                raise KeyboardInterrupt
            count += 1
            rename(a, b)

        monkeypatch.setattr(os, "replace", killed)
        try:
            fill(out, "new")
            done = True
        except KeyboardInterrupt:
            done = False
        monkeypatch.setattr(os, "replace", rename)
        found = read(out)
        assert set(found) == set(NAMES)
        assert len(set(found.values())) == 1
        seen.add(found["report.html"])
        if done:
            break
    assert stop >= 1
    assert seen == {"old", "new"}

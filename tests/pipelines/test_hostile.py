"""Hostile deck files: told as a mistake or computed, never a traceback, a hang or a NaN."""

import json
import os
import random
import resource
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from typing import NoReturn

import pytest

from pipelines.deckfile import read_deck
from pipelines.errors import JobError
from pipelines.examples import FOLDER, example_path
from pipelines.starters import KINDS, starter
from plate.errors import PlateError
from tests.pipelines.mutants import mutant
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, PROBES, SLAB, TRAFFIC

SMALL = SLAB + PLAN + BEAMS + TRAFFIC + PROBES + MESH
# Seconds in which a file must have been judged, on a busy machine too.
JUDGED = 20.0


def texts() -> list[str]:
    estuary = example_path("estuary")
    assert estuary is not None
    return [SMALL, estuary.read_text(), *(starter(kind) for kind in KINDS)]


def judge(path: Path) -> str:
    """ "deck", or "mistake" with words that tell it; anything else is raised."""
    try:
        read_deck(path)
    except (JobError, PlateError) as error:
        return "mistake" if str(error).strip() else "no words"
    return "deck"


def judge_all(folder: Path, seeds: range) -> Counter[str]:
    found: Counter[str] = Counter()
    sources = texts()
    path = folder / "deck.toml"
    survey = FOLDER / "estuary-survey.csv"
    (folder / survey.name).write_text(survey.read_text())
    for seed in seeds:
        path.write_bytes(mutant(sources, seed))
        start = time.monotonic()
        try:
            found[judge(path)] += 1
        except Exception as error:
            raise AssertionError(f"mutant {seed}: {error!r}") from error
        assert time.monotonic() - start < JUDGED, f"mutant {seed}: too slow"
    return found


def test_mutants_are_judged(tmp_path: Path) -> None:
    found = judge_all(tmp_path, range(400))
    assert not found["no words"]
    # Both happen often enough for the test to mean something.
    assert found["mistake"] > 200
    assert found["deck"] > 20


@pytest.mark.soak
@pytest.mark.parametrize("part", range(10))
def test_twenty_thousand_mutants_are_judged(tmp_path: Path, part: int) -> None:
    first = 1000 + 2000 * part
    found = judge_all(tmp_path, range(first, first + 2000))
    assert found["mistake"] + found["deck"] == 2000


def command(*words: str | Path) -> list[str]:
    return [sys.executable, "-c", "import sys; from pipelines.cli import main; sys.exit(main())",
            *map(str, words)]  # fmt: skip


def less_memory() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))


def refuse(word: str) -> NoReturn:
    raise AssertionError(f"{word} in summary.json")


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(40))
def test_the_whole_job_on_mutants_that_are_decks(tmp_path: Path, seed: int) -> None:
    """The command line ends with 0 and finite numbers, or with 2 and a message."""
    path, out = tmp_path / "deck.toml", tmp_path / "out"
    number = 100_000 + 1000 * seed
    while True:
        path.write_bytes(mutant([SMALL], number))
        if judge(path) == "deck":
            break
        number += 1
    done = subprocess.run(
        command("run", path, "--out", out),
        capture_output=True,
        text=True,
        timeout=300,
        preexec_fn=less_memory,
    )
    assert done.returncode in (0, 2), f"mutant {number}: {done.stderr[-2000:]}"
    assert "Traceback" not in done.stderr, f"mutant {number}"
    if done.returncode == 0:
        json.loads((out / "summary.json").read_text(), parse_constant=refuse)
        assert "nan" not in (out / "fields.vtu").read_text(errors="replace").lower()[:2000]
    else:
        assert done.stderr.startswith("deckslab: ")
        assert not (out / "summary.json").exists()


NAMES = ("report.html", "summary.json", "fields.vtu")


def contents(out: Path) -> dict[str, bytes]:
    return {name: (out / name).read_bytes() for name in NAMES if (out / name).exists()}


@pytest.mark.soak
def test_two_hundred_kills_leave_the_old_files_or_the_new(tmp_path: Path) -> None:
    """Kill the command at random moments; the three files are always those of one deck."""
    kills = int(os.environ.get("DECKSLAB_KILLS", "200"))
    chance = random.Random(8)
    whole, seconds = {}, 0.0
    for name in ("first", "second"):
        text = SMALL.replace('title = "small"', f'title = "{name}"')
        text = text.replace("load_kN = 60", f"load_kN = {60 + len(name)}")
        (tmp_path / f"{name}.toml").write_text(text)
        start = time.monotonic()
        words = command("run", tmp_path / f"{name}.toml", "--out", tmp_path / name)
        subprocess.run(words, check=True, capture_output=True)
        seconds = time.monotonic() - start
        whole[name] = contents(tmp_path / name)
    assert whole["first"]["fields.vtu"] != whole["second"]["fields.vtu"]
    out = tmp_path / "out"
    seen: Counter[str] = Counter()
    there: str | None = None
    for _ in range(kills):
        name = "second" if there == "first" else "first"
        process = subprocess.Popen(
            command("run", tmp_path / f"{name}.toml", "--out", out),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        # More often towards the end, where files are written.
        try:
            process.wait(seconds * (1.15 - chance.random() ** 2))
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        found = contents(out)
        if found == whole[name]:
            seen["new"] += 1
            there = name
        else:
            assert found == (whole[there] if there else {}), sorted(found)
            seen["old"] += 1
    assert seen["old"] > 0
    print(dict(seen))

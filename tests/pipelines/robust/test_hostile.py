"""Hostile deck files, surveys and drawings: told as a mistake or computed, never a traceback, a
hang or a NaN."""

import json
import os
import random
import re
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

import meshio
import numpy as np
import pytest

from pipelines.cli.main import main
from pipelines.deck.as_built import as_built
from pipelines.deck.examples import EXAMPLES, FOLDER
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import KINDS, starter
from pipelines.errors import JobError
from pipelines.model.accepted import accepted
from pipelines.model.job_size import job_size
from pipelines.report.data.fields_vtu import read_results
from pipelines.standards.resistance.bars import LAYERS
from pipelines.system.outputs import read_whole, replacing
from plate.errors import PlateError
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.dxf_drawings import drawing, on, slab
from tests.pipelines.mutants import drawing_mutant, generated, mutant, table_mutant
from tests.pipelines.outline_decks import BEAM, RAMP
from tests.pipelines.robust.whole_decks import ALL
from tests.pipelines.small_decks import BEAMS, COARSE, MESH, PLAN, PROBES, SLAB, TRAFFIC, solver_of

SMALL = SLAB + PLAN + BEAMS + TRAFFIC + PROBES + MESH
SURVEY = """panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm
C1-C2,bottom,x,16,128,,,
C1-C2,bottom,x,16,131,,,
C1-C2,bottom,,,,42,x,
C1-C2,top,y,12,148,47,,
C2-C3,bottom,y,12,155,,,
C2-C3,,,,,,,246
"""
PLACED = """panel,date,x_m,y_m,face,direction,cover_mm,core_MPa,area_loss_percent,\
remaining_diameter_mm,spalled_mm
C1-C2,2026-04-18,1.2,0.4,bottom,x,42,,12,,
,2026-04-18,2.0,-1.5,bottom,,39,,,,
,2026-04-19,4.5,1.5,,,,33.5,,,
C2-C3,2026-04-20,,,top,y,,,,10.2,
C2-C3,2026-04-20,,,bottom,,,,,,15
C2-C3,,,,,,,29,,,
"""
# Seconds in which a file must have been judged, on a busy machine too.
JUDGED = 20.0


def slab_with_hole(space: Any) -> None:
    slab(space)
    space.add_circle((3, 2), 0.5, dxfattribs=on("HOLES"))
    space.add_line((5, 1), (6, 1), dxfattribs=on("HOLES"))
    space.add_lwpolyline([(5, 1), (5, 2), (6, 2), (6, 1)], dxfattribs=on("HOLES"))


def texts() -> list[str]:
    estuary = EXAMPLES["estuary"]
    return [SMALL, estuary.read_text(encoding="utf-8"), *(starter(kind) for kind in KINDS)]


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
    (folder / survey.name).write_text(survey.read_text(encoding="utf-8"), encoding="utf-8")
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
    found = judge_all(tmp_path, range(160))
    assert not found["no words"]
    # Both happen often enough for the test to mean something.
    assert found["mistake"] > 80
    assert found["deck"] > 8


@pytest.mark.soak
@pytest.mark.parametrize("part", range(10))
def test_twenty_thousand_mutants_are_judged(tmp_path: Path, part: int) -> None:
    first = 1000 + 2000 * part
    found = judge_all(tmp_path, range(first, first + 2000))
    assert found["mistake"] + found["deck"] == 2000


# Cells of a generated deck that is meshed at once.
FEW_CELLS = 600


def judge_generated(folder: Path, seeds: range, *, whole: bool) -> Counter[str]:
    """Decks of any outline are read, estimated and, if small, meshed with their probes; a `whole`
    job writes everything, too."""
    found: Counter[str] = Counter()
    path = folder / "deck.toml"
    for seed in seeds:
        path.write_text(generated(seed), encoding="utf-8")
        start = time.monotonic()
        try:
            judged = judge(path)
            if judged == "deck":
                deck = read_deck(path)
                judged = "large" if job_size(deck).cells > FEW_CELLS else "deck"
            if judged == "deck" and whole:
                judged = f"status {main(['run', str(path), '--out', str(folder / 'out')])}"
            elif judged == "deck":
                with suppress(PlateError):  # no cells fit: told
                    solver_of(deck)
        except Exception as error:
            raise AssertionError(f"generated deck {seed}: {error!r}") from error
        found[judged] += 1
        assert whole or time.monotonic() - start < JUDGED, f"generated deck {seed}: too slow"
    return found


def test_generated_decks_are_judged(tmp_path: Path) -> None:
    found = judge_generated(tmp_path, range(24), whole=False)
    assert not found["no words"]
    assert found["deck"] > 1
    assert found["large"] > 1


@pytest.mark.soak
@pytest.mark.parametrize("part", range(10))
def test_whole_jobs_of_generated_decks(tmp_path: Path, part: int) -> None:
    found = judge_generated(tmp_path, range(1000 + 20 * part, 1020 + 20 * part), whole=True)
    assert set(found) <= {"mistake", "large", "status 0", "status 2"}
    print(dict(found))


def command(*words: str | Path) -> list[str]:
    main = "import sys; from pipelines.cli.main import main; sys.exit(main())"
    return [sys.executable, "-c", main, *map(str, words)]


def less_memory() -> None:
    import resource  # not on every system

    resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))


def refuse(word: str) -> NoReturn:
    raise AssertionError(f"{word} in summary.json")


# Cheap decks of all sorts, with positions of a vehicle on one of them.
FEW = TRAFFIC.replace("step_m = 0.5", "step_m = 1.5")
FEW = FEW.replace("lateral_step_m = 0.4", "offsets_m = [0.2]")
WEIGHT = '[[case]]\nname = "weight"\nself_weight = true\n'
READINGS = 'file = "readings.csv"\n'
JOBS = [
    SLAB + PLAN + BEAMS + FEW + PROBES + COARSE,
    SLAB + RAMP + BEAM + "\n" + WEIGHT + COARSE + GRADES + BOTTOM + TOP,
    SLAB + PLAN.replace("overhang_m", "radius_m = -20\noverhang_m") + BEAMS + PROBES + COARSE,
    SLAB + PLAN + BEAMS + WEIGHT + COARSE + GRADES + BOTTOM + TOP + "[survey]\n" + READINGS,
    ALL + WEIGHT,
]
# Seconds that a cheap job may take, on a busy machine too.
DONE = 300.0


def job_mutant(folder: Path, first: int) -> int:
    """Write the first mutant from that seed on that is a deck; its seed."""
    for seed in range(first, first + 1000):
        (folder / "deck.toml").write_bytes(mutant(JOBS, seed))
        (folder / "readings.csv").write_text(SURVEY, encoding="utf-8")
        if judge(folder / "deck.toml") == "deck":
            return seed
    raise AssertionError("no mutant is a deck")


@pytest.mark.soak
@pytest.mark.parametrize("number", range(int(os.environ.get("DECKSLAB_JOBS", "200"))))
def test_the_whole_job_on_mutants_that_are_decks(tmp_path: Path, number: int) -> None:
    """The command line ends with 0 and finite numbers, or with 2 and a message."""
    seed = job_mutant(tmp_path, 100_000 + 1000 * number)
    out = tmp_path / "out"
    done = subprocess.run(
        command("run", tmp_path / "deck.toml", "--out", out),
        capture_output=True,
        text=True,
        timeout=DONE,
        preexec_fn=less_memory if os.name == "posix" else None,
    )
    assert done.returncode in (0, 2), f"mutant {seed}: {done.stderr[-2000:]}"
    assert "Traceback" not in done.stderr, f"mutant {seed}"
    if done.returncode == 0:
        json.loads((out / "summary.json").read_text(encoding="utf-8"), parse_constant=refuse)
        for name, values in meshio.read(out / "fields.vtu").point_data.items():
            assert np.isfinite(values).all(), f"mutant {seed}: {name}"
        # Numbers of the part used by hand are packed: any word may turn up in them.
        report = re.sub(
            r"(?s)<script.*?</script>", "", (out / "report.html").read_text(encoding="utf-8")
        )
        assert not re.search(r"(?i)>[^<]*\b(nan|inf)\b[^<]*<", report), f"mutant {seed}"
    else:
        assert done.stderr.startswith("deckslab: ")
        assert not any((out / name).exists() for name in NAMES)
    print(f"mutant {seed}: {done.returncode} {done.stderr.strip()[:150]}")


@pytest.mark.slow
def test_a_slab_as_thick_as_its_spans_has_a_report(tmp_path: Path) -> None:
    """No place is clear of lines, and there is no section for shear."""
    (tmp_path / "deck.toml").write_text(
        ALL.replace("thickness_mm = 250", "thickness_mm = 2500"), encoding="utf-8"
    )
    assert main(["run", str(tmp_path / "deck.toml"), "--out", str(tmp_path / "out")]) == 0
    json.loads(
        (tmp_path / "out" / "summary.json").read_text(encoding="utf-8"), parse_constant=refuse
    )


def judge_surveys(folder: Path, seeds: range) -> Counter[str]:
    """Surveys are read beside a deck, and what comes of them in every panel is finite."""
    path = folder / "deck.toml"
    path.write_text(
        SLAB + PLAN + BEAMS + GRADES + BOTTOM + TOP + "[survey]\n" + READINGS, encoding="utf-8"
    )
    found: Counter[str] = Counter()
    for seed in seeds:
        (folder / "readings.csv").write_bytes(table_mutant((SURVEY, PLACED)[seed % 2], seed))
        try:
            deck = read_deck(path)
            assert deck.reinforcement is not None
            assert deck.reinforcement.survey is not None
            for built in deck.reinforcement.survey.built.values():
                bars = as_built(deck.reinforcement.bars, built.readings, "worst").bars
                assert all(np.isfinite(bars.effective_depth(layer)) for layer in LAYERS)
                assert all(np.isfinite(bars.bars(layer).area) for layer in LAYERS)
            found["deck"] += 1
        except (JobError, PlateError) as error:
            found["mistake" if str(error).strip() else "no words"] += 1
        except Exception as error:
            raise AssertionError(f"mutant {seed}: {error!r}") from error
    return found


def test_mutants_of_surveys(tmp_path: Path) -> None:
    found = judge_surveys(tmp_path, range(100))
    assert not found["no words"]
    assert found["deck"] > 15
    assert found["mistake"] > 30


@pytest.mark.soak
def test_thousands_of_mutants_of_surveys(tmp_path: Path) -> None:
    found = judge_surveys(tmp_path, range(1000, 4000))
    assert found["mistake"] + found["deck"] == 3000
    print(dict(found))


def judge_drawings(folder: Path, seeds: range, *, whole: bool) -> Counter[str]:
    """Drawings are read; the `whole` deck is also drawn by the command line, and meshed."""
    path, out = folder / "deck.toml", folder / "plan.svg"
    plan = '[plan]\ndxf = "plan.dxf"\ndxf_layer = "SLAB"\ndxf_opening_layer = "HOLES"\n'
    line = '[[line]]\non = "E*"\nsupport = "rigid"\n'
    path.write_text(SLAB + plan + line + WEIGHT + COARSE, encoding="utf-8")
    drawn = drawing(folder, slab_with_hole).read_text(encoding="utf-8")
    found: Counter[str] = Counter()
    for seed in seeds:
        (folder / "plan.dxf").write_bytes(drawing_mutant(drawn, seed))
        start = time.monotonic()
        try:
            judged = judge(path)
            if whole and judged == "deck":
                if main(["draw", str(path), "--out", str(out)]) == 0:
                    assert not re.search(r"[\" ](nan|inf)[\" ]", out.read_text(encoding="utf-8"))
                    mesh = accepted(read_deck(path)).built.model.mesh
                    assert np.isfinite(mesh.xy).all()
                else:
                    with pytest.raises((JobError, PlateError)):
                        accepted(read_deck(path))
        except Exception as error:
            raise AssertionError(f"mutant {seed}: {error!r}") from error
        found[judged] += 1
        assert time.monotonic() - start < JUDGED, f"mutant {seed}: too slow"
    return found


def test_mutants_of_drawings(tmp_path: Path) -> None:
    found = judge_drawings(tmp_path, range(30), whole=False)
    assert not found["no words"]
    assert found["deck"] > 3
    assert found["mistake"] > 5


@pytest.mark.soak
def test_a_thousand_mutants_of_drawings(tmp_path: Path) -> None:
    found = judge_drawings(tmp_path, range(1000, 2000), whole=True)
    assert found["mistake"] + found["deck"] == 1000
    print(dict(found))


def test_damaged_results_are_told(tmp_path: Path) -> None:
    with replacing(tmp_path) as folder:
        small_results(folder)
    assert read_results(tmp_path)[1] == {"title": "small"}
    # A file that was cut is not that of the run; one that was written so is damaged.
    fields = tmp_path / "fields.vtu"
    fields.write_bytes(fields.read_bytes()[:-100])
    with pytest.raises(JobError, match=r"fields\.vtu is of no recorded run, or changed since"):
        read_results(tmp_path)
    for name in ("fields.vtu", "summary.json"):
        for share in np.linspace(0.0, 0.95, 20):
            with replacing(tmp_path) as folder:
                small_results(folder)
                whole = (folder / name).read_bytes()
                (folder / name).write_bytes(whole[: int(share * len(whole))])
            with pytest.raises(JobError, match=rf"{name}: is damaged"):
                read_results(tmp_path)
    with replacing(tmp_path) as folder:
        small_results(folder)
        (folder / "summary.json").write_text("[]", encoding="utf-8")
    with pytest.raises(JobError, match="is damaged"):
        read_results(tmp_path)


def small_results(folder: Path) -> None:
    """Fields and summary of a square."""
    corners = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0]])
    data = {"w_mm_max": np.arange(4.0)}
    square = meshio.Mesh(corners, [("quad", [[0, 1, 2, 3]])], point_data=data)
    meshio.write(folder / "fields.vtu", square)
    (folder / "summary.json").write_text('{"title": "small"}', encoding="utf-8")


NAMES = ("report.html", "summary.json", "findings.csv", "values.csv", "fields.vtu")
# Static cases alone: a run of a few seconds, most of them for what is written at its end.
QUICK = SLAB + PLAN + BEAMS + PROBES + MESH
# What writes files, by its words before the deck file and after it.
WRITERS: dict[str, tuple[list[str], list[str]]] = {
    "run": (["run"], ["--out", "OUT"]),
    "draw": (["draw"], ["--out", "OUT"]),
    "view": (["view"], ["--out", "OUT/scene.html"]),
    "influence": (
        ["influence"],
        ["--at", "1.5", "0.2", "--component", "m_x", "--out", "OUT"],
    ),
}


KINDS_OF = {"run": "results", "draw": "drawings", "influence": "influence"}


def contents(out: Path) -> dict[str, bytes]:
    """The files of a folder that a user sees, but for the record of them."""
    return {p.name: p.read_bytes() for p in out.glob("[!.]*") if not p.match("*.files.json")}


def looked_at(out: Path, writer: str, names: Sequence[str]) -> dict[str, bytes] | str:
    """What a reader finds: the files of one run, or the words that tell that they are not."""
    if writer == "view":  # a single file
        return contents(out)
    try:
        return read_whole(out, KINDS_OF[writer], names)
    except JobError as error:
        return str(error)


def writes(writer: str, deck: Path, out: Path) -> list[str]:
    before, after = WRITERS[writer]
    return command(*before, deck, *(word.replace("OUT", str(out)) for word in after))


@pytest.mark.soak
@pytest.mark.parametrize("writer", WRITERS)
def test_kills_leave_the_files_of_one_run_or_a_mixture_that_is_told(
    tmp_path: Path, writer: str
) -> None:
    """Kill a command at random moments. A reader then finds the old files or the new; or is told
    that they are not those of one run, with the run of each file."""
    kills = int(os.environ.get("DECKSLAB_KILLS", "100"))
    chance = random.Random(8)
    whole, seconds = {}, 0.0
    for name, thickness in (("first", 250), ("second", 260)):
        text = QUICK.replace("thickness_mm = 250", f"thickness_mm = {thickness}")
        (tmp_path / f"{name}.toml").write_text(text.replace("small", name), encoding="utf-8")
        start = time.monotonic()
        words = writes(writer, tmp_path / f"{name}.toml", tmp_path / name)
        subprocess.run(words, check=True, capture_output=True)
        seconds = time.monotonic() - start
        whole[name] = contents(tmp_path / name)
    # The table of findings is empty in both: there are no vehicles.
    for name in whole["first"].keys() - {"findings.csv"}:
        assert whole["first"][name] != whole["second"][name], name
    names = sorted(whole["first"])
    out = tmp_path / "ö ut"
    seen: Counter[str] = Counter()
    there: str | None = None
    while seen["killed"] < kills:
        name = "second" if there == "first" else "first"
        start = time.monotonic()
        process = subprocess.Popen(
            writes(writer, tmp_path / f"{name}.toml", out),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            if seen["killed"] % 2 and writer != "view":
                # Every other time while files are put in place, which takes some milliseconds.
                until_replacing(process, out, chance.choice(names))
                time.sleep(0.002 * chance.random())
                raise subprocess.TimeoutExpired(process.args, 0.0)
            # More often towards the end, where files are written.
            process.wait(seconds * (1.02 - chance.random() ** 3))
            # Other work on the machine may have gone: the next is killed the earlier.
            seconds = 0.9 * seconds + 0.1 * (time.monotonic() - start)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            seen["killed"] += 1
        found = looked_at(out, writer, names)
        if isinstance(found, str):
            seen["told" if there else "nothing yet"] += 1
            if there:
                assert "are not those of one run" in found
                for file in names:
                    data, told = (out / file).read_bytes(), f"{file} is of the run of "
                    assert any(data == one[file] for one in whole.values()), file
                    assert told in found, found
        elif found == whole[name]:
            seen["new"] += 1
            there = name
        else:
            assert found == (whole[there] if there else {}), sorted(found)
            seen["old"] += 1
    assert seen["old"] > 0
    # The next command leaves nothing of all that behind.
    subprocess.run(writes(writer, tmp_path / "first.toml", out), check=True, capture_output=True)
    assert contents(out) == whole["first"]
    assert not list(out.glob(".*"))
    print(writer, dict(seen))


def until_replacing(process: "subprocess.Popen[bytes]", out: Path, name: str) -> None:
    """Until a new file lies ready to be put in its place, or the process has ended."""
    while process.poll() is None and not list(out.glob(f".*.new-*/{name}")):
        time.sleep(0.001)

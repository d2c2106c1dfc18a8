"""Hostile deck files, surveys and drawings: told as a mistake or computed, never a traceback, a
hang or a NaN."""

import json
import os
import random
import re
import resource
import subprocess
import sys
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

import meshio
import numpy as np
import pytest

from pipelines.bars.checks.as_built_panel import as_built
from pipelines.cli.main import main
from pipelines.deck.examples import FOLDER, example_path
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import KINDS, starter
from pipelines.errors import JobError
from pipelines.model.build import build_model
from pipelines.model.job_size import check_job_size
from pipelines.report.data.fields_vtu import read_results
from pipelines.standards.resistance.bars import LAYERS
from plate.errors import PlateError
from tests.pipelines.deck.test_bars import BOTTOM, GRADES, TOP
from tests.pipelines.deck.test_dxf import drawing, on, slab
from tests.pipelines.deck.test_plan import BEAM, RAMP
from tests.pipelines.mutants import drawing_mutant, mutant, table_mutant
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, PROBES, SLAB, TRAFFIC

SMALL = SLAB + PLAN + BEAMS + TRAFFIC + PROBES + MESH
SURVEY = """panel,face,direction,diameter_mm,spacing_mm,cover_mm,outer,thickness_mm
C1-C2,bottom,x,16,128,,,
C1-C2,bottom,x,16,131,,,
C1-C2,bottom,,,,42,x,
C1-C2,top,y,12,148,47,,
C2-C3,bottom,y,12,155,,,
C2-C3,,,,,,,246
"""
# Seconds in which a file must have been judged, on a busy machine too.
JUDGED = 20.0


def slab_with_hole(space: Any) -> None:
    slab(space)
    space.add_circle((3, 2), 0.5, dxfattribs=on("HOLES"))
    space.add_line((5, 1), (6, 1), dxfattribs=on("HOLES"))
    space.add_lwpolyline([(5, 1), (5, 2), (6, 2), (6, 1)], dxfattribs=on("HOLES"))


def texts() -> list[str]:
    estuary = example_path("estuary")
    assert estuary is not None
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
    main = "import sys; from pipelines.cli.main import main; sys.exit(main())"
    return [sys.executable, "-c", main, *map(str, words)]


def less_memory() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))


def refuse(word: str) -> NoReturn:
    raise AssertionError(f"{word} in summary.json")


# Cheap decks of all sorts, with positions of a vehicle on one of them.
FEW = TRAFFIC.replace("step_m = 0.5", "step_m = 1.5")
FEW = FEW.replace("lateral_step_m = 0.4", "offsets_m = [0.2]")
COARSE = "[mesh]\nsize_m = 1.5\norder = 2\n"
WEIGHT = '[[case]]\nname = "weight"\nself_weight = true\n'
READINGS = 'file = "readings.csv"\n'
# Whole load models with all that is made of bars.
MODELS = """
[[line]]
on = ["L1", "L2"]
support = "beam"
to_edges = true
beam = { E_GPa = 34, G_GPa = 14, I_cm4 = 500000, J_cm4 = 90000, A_cm2 = 2000 }
[traffic]
carriageway_m = [-1.9, 1.9]
load_models = ["EN 1991-2 LM1"]
vehicles = ["EN 1991-2 LM2"]
step_m = 1.5
lateral_step_m = 1.0
[collision]
force_kN = 100
height_m = 1.0
length_m = 0.5
inner_face_mm = 350
edges = ["left", "right"]
[fatigue]
lambda_s = 0.7
[[beam_bars]]
on = ["L1", "L2"]
width_mm = 350
depth_mm = 620
cover_mm = 50
top = { count = 4, diameter_mm = 20 }
bottom = { count = 4, diameter_mm = 20 }
links = { diameter_mm = 12, spacing_mm = 120, legs = 2 }
[[membrane]]
stations_m = [1.0, 4.0]
n_x_kN_m = 150
gamma = 1.35
[bar_choice]
diameters_mm = [12, 16, 20]
spacings_mm = [100, 125, 150, 200]
"""
ALL = SLAB + PLAN + BEAMS + MODELS + COARSE + GRADES + BOTTOM + TOP
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
        preexec_fn=less_memory,
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
        (folder / "readings.csv").write_bytes(table_mutant(SURVEY, seed))
        try:
            deck = read_deck(path)
            assert deck.reinforcement is not None
            assert deck.reinforcement.survey is not None
            for readings in deck.reinforcement.survey.readings.values():
                bars = as_built(deck.reinforcement.bars, readings, "worst").bars
                assert all(np.isfinite(bars.effective_depth(layer)) for layer in LAYERS)
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
                assert main(["draw", str(path), "--out", str(out)]) == 0
                assert not re.search(r"[\" ](nan|inf)[\" ]", out.read_text(encoding="utf-8"))
                with suppress(JobError, PlateError):
                    deck = read_deck(path)
                    check_job_size(deck)
                    assert np.isfinite(build_model(deck).model.mesh.xy).all()
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
    fields, summary = tmp_path / "fields.vtu", tmp_path / "summary.json"
    corners = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0]])
    data = {"w_mm_max": np.arange(4.0)}
    meshio.write(fields, meshio.Mesh(corners, [("quad", [[0, 1, 2, 3]])], point_data=data))
    summary.write_text('{"title": "small"}', encoding="utf-8")
    assert read_results(tmp_path)[1] == {"title": "small"}
    for path in (fields, summary):
        whole = path.read_bytes()
        for share in np.linspace(0.0, 0.95, 20):
            path.write_bytes(whole[: int(share * len(whole))])
            with pytest.raises(JobError, match=rf"{path.name}: is damaged"):
                read_results(tmp_path)
        path.write_bytes(whole)
    summary.write_text("[]", encoding="utf-8")
    with pytest.raises(JobError, match="is damaged"):
        read_results(tmp_path)


NAMES = ("report.html", "summary.json", "findings.csv", "fields.vtu")
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


def contents(out: Path) -> dict[str, bytes]:
    """The files of a folder that a user sees."""
    return {p.name: p.read_bytes() for p in out.glob("[!.]*")}


def writes(writer: str, deck: Path, out: Path) -> list[str]:
    before, after = WRITERS[writer]
    return command(*before, deck, *(word.replace("OUT", str(out)) for word in after))


@pytest.mark.soak
@pytest.mark.parametrize("writer", WRITERS)
def test_two_hundred_kills_leave_the_old_files_or_the_new(tmp_path: Path, writer: str) -> None:
    """Kill a command at random moments; the files are always those of one deck."""
    kills = int(os.environ.get("DECKSLAB_KILLS", "200"))
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
    out = tmp_path / "out"
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
        # More often towards the end, where files are written.
        try:
            process.wait(seconds * (1.02 - chance.random() ** 3))
            # Other work on the machine may have gone: the next is killed the earlier.
            seconds = 0.9 * seconds + 0.1 * (time.monotonic() - start)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            seen["killed"] += 1
        found = contents(out)
        if found == whole[name]:
            seen["new"] += 1
            there = name
        else:
            assert found == (whole[there] if there else {}), sorted(found)
            seen["old"] += 1
    assert seen["old"] > 0
    print(writer, dict(seen))

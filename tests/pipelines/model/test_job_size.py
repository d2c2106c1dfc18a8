"""Estimates of a job's size against what it becomes, and refusals."""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.cli.main import main
from pipelines.deck.deck import Deck, MeshOptions
from pipelines.deck.examples import FOLDER
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import starter
from pipelines.errors import SizeError
from pipelines.model.build import build_model
from pipelines.model.job_size import check_job_size, job_size
from pipelines.traffic.positions import load_positions
from plate.errors import MeshError
from tests.pipelines.outline_decks import BEAM, RAMP
from tests.pipelines.small_decks import (
    BEAMS,
    MESH,
    PLAN,
    PROBES,
    SLAB,
    TRAFFIC,
    deck_of,
    small_deck,
)


@pytest.fixture
def deck(tmp_path: Path) -> Deck:
    return small_deck(tmp_path)


@pytest.mark.parametrize("size", [0.8, 0.4, 0.2])
def test_cells_of_a_grid_are_those_of_the_mesh(deck: Deck, size: float) -> None:
    given = replace(deck, mesh=MeshOptions(3, size))
    found = job_size(given)
    model = build_model(given).model
    assert found.cells == model.mesh.n_cells
    assert found.degrees_of_freedom == model.n_dof
    assert 0.9 < found.load_positions / sum(map(len, load_positions(given))) < 1.1


@pytest.mark.parametrize("kind", ["skew", "curved"])
def test_cells_of_skew_and_curved_decks_are_those_of_the_mesh(tmp_path: Path, kind: str) -> None:
    given = deck_of(tmp_path, starter(kind))
    assert job_size(given).cells == build_model(given).model.mesh.n_cells


@pytest.mark.parametrize("size", [0.7, 0.3])
@pytest.mark.parametrize("text", [starter("outline"), SLAB + RAMP + BEAM], ids=["outline", "ramp"])
def test_cells_of_other_plans_are_near_the_mesh(tmp_path: Path, text: str, size: float) -> None:
    given = replace(deck_of(tmp_path, text), mesh=MeshOptions(3, size))
    # from areas and lengths alone, before anything is meshed
    assert 0.7 < job_size(given).cells / build_model(given).model.mesh.n_cells < 1.45


@pytest.mark.parametrize(
    "patches",
    [
        [(6.0, -1.0, 0.02, 3.0)],
        [(6.0, -1.0, 0.1, 2.0)],
        [(6.0, -1.0, 0.05, 0.05)],
        [(2.0 + 0.9 * i, -2.0 + 0.7 * j, 0.1, 0.1) for i in range(8) for j in range(4)],
    ],
    ids=["knife", "strip", "post", "many"],
)
def test_cells_about_narrow_static_patches_are_counted(
    tmp_path: Path, patches: list[tuple[float, ...]]
) -> None:
    """Without them the first of these was told at a tenth of its cells and of its memory."""
    rows = [f"{{ at_m = [{x}, {y}], size_m = [{a}, {b}], load_kN = 9 }}" for x, y, a, b in patches]
    case = '[[case]]\nname = "narrow"\npatches = [' + ",\n".join(rows) + "]\n"
    given = deck_of(tmp_path, starter("outline"), case)
    assert 0.7 < job_size(given).cells / build_model(given).model.mesh.n_cells < 1.45


def test_a_plan_without_a_mesh_is_told_with_keys_to_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def folded(*given: object, **more: object) -> None:
        raise MeshError("14 folded or turned cells")

    monkeypatch.setattr("pipelines.model.free_mesh.quad_mesh", folded)
    with pytest.raises(MeshError, match=r"deck\.toml: .*14 folded.*give another \[mesh\] size_m"):
        build_model(deck_of(tmp_path, starter("outline")))


def test_searching_askew_patches_takes_time(tmp_path: Path) -> None:
    """On an outline the search of worst load positions takes most of a run, more where edges are
    arcs, and as much again for a result more that is asked for."""
    arcs = starter("outline")
    chords = re.sub(r"\{ arc_to_m = (\[[^]]*\]), through_m = \[[^]]*\] \},", r"\1,", arcs)
    chords = chords.replace("[[6.0, -4.6], [6.0, 3.6]]", "[[6.0, -5.0], [6.0, 3.3]]")
    probe = '[[probe]]\nname = "more"\nat_m = [2.0, 0.5]\n'
    own, plain, more = (
        job_size(deck_of(tmp_path, *parts)).seconds for parts in ((arcs,), (chords,), (arcs, probe))
    )
    without = job_size(deck_of(tmp_path, arcs), tolerances=False).seconds
    assert without < 0.4 * own
    assert plain < 0.7 * own
    assert more - own > 0.15 * (own - without)


# Seconds of processors of whole runs on one busy machine, once each, as `benchmarks/jobsizes.py`
# has them (30 November 2026); the first without a process beside.
MEASURED = {
    "skew": 165.0,
    "curved": 27.7,
    "outline": 103.9,
    "truss": 22.5,
    "skew.toml": 23.4,
    "girders.toml": 25.8,
    "estuary.toml": 30.7,
}


@pytest.mark.parametrize("name", MEASURED)
def test_time_is_estimated_within_a_half(tmp_path: Path, name: str) -> None:
    """As memory is; runs of the same deck differ by a fifth on a machine with other work."""
    starts = not name.endswith(".toml")
    given = deck_of(tmp_path, starter(name)) if starts else read_deck(FOLDER / name)
    assert 1 / 1.5 < job_size(given).seconds / MEASURED[name] < 1.5


def test_a_patch_that_no_machine_meshes_is_counted_at_once_and_refused(tmp_path: Path) -> None:
    case = '[[case]]\nname = "wire"\npatches = [{ at_m = [6.0, -1.0], size_m = [0.005, 900.0], '
    given = deck_of(tmp_path, starter("outline"), case + "load_kN = 9 }]\n")
    with pytest.raises(SizeError, match="too large a job"):
        check_job_size(given, free=lambda: 8e9)


# A whole run, then the peak of its memory [kB] with that of a process beside it: its own by its
# resources would take over its parent's.
RUN = """
import resource, sys
from pathlib import Path
from pipelines.cli.main import main
assert main(["run", sys.argv[1], "--out", sys.argv[2]]) == 0
own = int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])
print(own + resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, file=sys.stderr)
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peaks are read from /proc")
@pytest.mark.parametrize("name", ["small", "skew", "girders"])
def test_memory_is_estimated_within_a_half(tmp_path: Path, name: str) -> None:
    """`benchmarks/jobsizes.py` has more decks, up to those that take minutes."""
    path = tmp_path / "deck.toml"
    own = SLAB + PLAN + BEAMS + TRAFFIC + PROBES + MESH
    path.write_text(
        own if name == "small" else (FOLDER / f"{name}.toml").read_text(encoding="utf-8"),
        encoding="utf-8",
    )
    command = [sys.executable, "-c", RUN, str(path), str(tmp_path / "out")]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    peak = 1024.0 * float(done.stderr.split()[-1])
    assert 1 / 1.5 < job_size(read_deck(path)).memory / peak < 1.5


def test_a_billion_positions_are_refused_at_once(deck: Deck) -> None:
    assert deck.traffic is not None
    fine = replace(deck, traffic=replace(deck.traffic, step=1e-5, lateral_step=1e-4))
    with pytest.raises(SizeError, match=r"GB of memory, .* days .* \[traffic\] step_m"):
        check_job_size(fine)


def test_ten_million_cells_are_refused_at_once(deck: Deck) -> None:
    fine = replace(deck, mesh=MeshOptions(3, 0.0016))
    assert job_size(fine).cells > 1e7
    with pytest.raises(SizeError, match=r"cells.* GB of memory, .* days .* make \[mesh\] size_m"):
        check_job_size(fine)


# Too many load positions, but few enough to do no harm where they are not refused.
LONG = PLAN.replace("[0.0, 3.0, 6.0]", str([6.0 * k for k in range(41)]))
FINE = TRAFFIC.replace("lateral_step_m = 0.4", "lateral_step_m = 0.005")
FINE = FINE.replace("step_m = 0.5", "step_m = 0.005").replace("[-1.9, 1.9]", "[-2.2, 2.2]")
FINE = FINE.replace("[[vehicle]]", 'load_models = ["EN 1991-2 LM1"]\n[[vehicle]]')
COMMANDS = {
    "run": ["--out", "out"],
    "sweep": ["--out", "out"],
    "influence": ["--at", "60", "0", "--component", "m_x", "--out", "out"],
    "view": ["--out", "out.html"],
    "draw": ["--out", "out"],
}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("absurd", ["positions", "cells"])
def test_every_command_refuses_what_is_too_large(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
    absurd: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    many = absurd == "positions"
    text = SLAB + LONG + BEAMS + (FINE if many else TRAFFIC + "[mesh]\nsize_m = 0.01\n")
    Path("deck.toml").write_text(text, encoding="utf-8")
    if not many:  # not even the nodes are to be made

        def refused(*_: object, **__: object) -> None:
            raise AssertionError("a mesh is made")

        monkeypatch.setattr("pipelines.model.build.grid_mesh", refused)
    assert main([command, "deck.toml", *COMMANDS[command]]) == 2
    key = "[traffic] step_m = 0.005" if many else "[mesh] size_m larger than the 0.01 m"
    told = capsys.readouterr().err
    assert told.startswith("deckslab: deck.toml: too large a job, about ")
    assert " of memory, " in told
    assert f"make {key}" in told
    assert not Path("out").exists()


def test_drawing_tells_what_a_run_would_take(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    deck = tmp_path / "deck.toml"
    deck.write_text(SLAB + LONG + BEAMS + TRAFFIC, encoding="utf-8")
    assert main(["draw", str(deck), "--out", str(tmp_path / "plan.svg")]) == 0
    assert "A run: about " in capsys.readouterr().out


FREE_TO_MOVE = {
    "no support": "",
    "beams held nowhere": BEAMS[: BEAMS.index("held_at")],
    "one line that rotates": '[[line]]\non = "C2"\nsupport = "rigid"\n',
}


@pytest.mark.parametrize("command", ["run", "draw"])
@pytest.mark.parametrize("why", FREE_TO_MOVE)
def test_draw_refuses_a_mechanism_as_run_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, why: str
) -> None:
    deck = tmp_path / "deck.toml"
    deck.write_text(SLAB + PLAN + FREE_TO_MOVE[why] + TRAFFIC, encoding="utf-8")
    assert main([command, str(deck), "--out", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err.startswith("deckslab: the deck is a mechanism: ")
    assert not (tmp_path / "out").exists()


def test_what_fits_is_let_through(deck: Deck) -> None:
    size = check_job_size(deck)
    assert size == job_size(deck)
    assert f"{size.load_positions:,} load positions" in size.words
    with pytest.raises(SizeError, match="may be taken"):
        check_job_size(deck, free=lambda: size.memory)  # only a share of what is free is taken
    assert check_job_size(deck, free=lambda: 2.0 * size.memory) == size


def test_a_process_beside_is_counted_where_the_job_is_worth_it(deck: Deck, tmp_path: Path) -> None:
    assert not job_size(deck, workers=2).apart
    # Nearly the small deck of `benchmarks/wholejob.py`, where 2 s of 8 go to it.
    two_bays = starter("truss").replace("[0.0, 3.5, 7.0, 10.5, 14.0]", "[0.0, 3.2, 6.4]")
    two_bays = two_bays.replace('load_models = ["EN 1991-2 LM1"]', 'vehicles = ["EN 1991-2 LM2"]')
    assert job_size(deck_of(tmp_path, two_bays), workers=2).apart
    large = deck_of(tmp_path, starter("truss"))
    assert job_size(large, workers=2).apart
    assert not job_size(large, workers=1).apart
    assert not job_size(large, workers=2, tolerances=False).apart
    # the program once more
    more = job_size(large, workers=2).memory - job_size(large, workers=1).memory
    assert more > 2e8


def test_memory_grows_with_cells_vehicles_and_threads(deck: Deck) -> None:
    assert deck.traffic is not None
    base = job_size(deck, workers=1)
    # Blocks of load positions count where they need more than the richer model does, and where
    # there are so many.
    fine = replace(deck, traffic=replace(deck.traffic, step=0.02))
    assert job_size(fine, workers=64).memory > 1.3 * job_size(fine, workers=1).memory
    assert job_size(deck, workers=64).memory == job_size(deck, workers=16).memory
    assert job_size(deck, workers=1, tolerances=False).memory < base.memory
    finer = replace(deck, mesh=MeshOptions(3, 0.1))
    assert job_size(finer, workers=1).memory > 4.0 * base.memory
    [lorry] = deck.traffic.vehicles
    two = replace(deck.traffic, vehicles=(lorry, replace(lorry, name="second")))
    more = job_size(replace(deck, traffic=two), workers=1)
    assert more.load_positions == 2 * base.load_positions
    assert more.memory > base.memory
    assert more.seconds > base.seconds

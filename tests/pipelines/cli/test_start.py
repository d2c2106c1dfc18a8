"""The first hour: deck files to start from, drawings of the model, scenes, completion, PDF."""

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pipelines.analysis.result import Result
from pipelines.cli.completion import FILES, FOLDERS, SHELLS
from pipelines.cli.main import command_line, main
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.starters import KINDS, starter
from pipelines.model.accepted import accepted
from pipelines.report.drawings.before_run import CUT, section, section_along, write_drawings
from pipelines.report.drawings.colours import BEAM_FILL
from pipelines.report.space import views
from pipelines.report.space.scene import Scene, field_label, model_scene, result_scene
from pipelines.run import write_results
from plate.geometry.outline import plan_area
from tests.pipelines.small_decks import small_deck


@pytest.mark.parametrize("kind", [*KINDS])
def test_a_new_deck_file_is_a_deck_with_comments(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "sub" / "deck.toml"
    assert main(["new", kind, "--out", str(path)]) == 0
    deck = read_deck(path)
    assert deck.warnings == ()
    assert deck.traffic is not None
    assert deck.traffic.load_models
    assert deck.reinforcement is not None
    assert all(case.action != "none" for case in deck.cases)
    assert path.read_text(encoding="utf-8").count("#") > 10
    # A first run of two minutes of one processor at most; of three on a skew deck, where worst
    # positions under long trains are searched among patches askew to the cells.
    assert accepted(deck).size.seconds < (180.0 if kind == "skew" else 120.0)


@pytest.mark.parametrize("kind", [*KINDS])
def test_what_is_commented_out_may_be_put_in(tmp_path: Path, kind: str) -> None:
    """Vehicles that drive alone beside the load models, and other keys that stand as comments."""
    text = starter(kind)
    assert re.search(r"^# vehicles = ", text, re.MULTILINE)
    text = re.sub(r"^# (\[strip\]|\w+ = [\[{].*)$", r"\1", text, flags=re.MULTILINE)
    (tmp_path / "deck.toml").write_text(text, encoding="utf-8")
    deck = read_deck(tmp_path / "deck.toml")
    assert deck.warnings == ()
    assert deck.traffic is not None
    assert deck.traffic.vehicles


@pytest.mark.parametrize("name", [*EXAMPLES])
def test_every_example_is_drawn(tmp_path: Path, name: str) -> None:
    assert main(["draw", name, "--out", str(tmp_path / "drawings")]) == 0
    assert (tmp_path / "drawings" / "plan.svg").stat().st_size > 1000
    if read_deck(EXAMPLES[name]).traffic is not None:
        assert (tmp_path / "drawings" / "vehicle-1.svg").stat().st_size > 1000


def test_help_names_every_example(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("run", "check", "draw", "influence", "sweep"):
        with pytest.raises(SystemExit):
            main([command, "-h"])
        told = " ".join(capsys.readouterr().out.split())
        assert set(EXAMPLES) <= set(told.replace("- ", "-").replace(",", " ").split())
    assert len(EXAMPLES) >= 4


def test_new_never_overwrites(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "deck.toml"
    path.write_text("mine", encoding="utf-8")
    assert main(["new", "truss", "--out", str(path)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"


@pytest.mark.slow
@pytest.mark.parametrize("kind", [*KINDS])
def test_a_new_deck_file_runs_and_its_bars_pass(tmp_path: Path, kind: str) -> None:
    (tmp_path / "deck.toml").write_text(starter(kind), encoding="utf-8")
    assert main(["run", str(tmp_path / "deck.toml"), "--out", str(tmp_path), "--pdf"]) == 0
    for name in ("report.html", "report.pdf", "summary.json", "fields.vtu"):
        assert (tmp_path / name).stat().st_size > 1000
    assert (tmp_path / "report.html").stat().st_size < 5_000_000
    # Of a first run no moment that the mesh does not hold is shown: a tenth of the largest one of
    # either sign, beside which a small one of the other is nothing to the bars.
    summary = json.loads((tmp_path / "summary.json").read_text(encoding="utf-8"))
    for result in ("m_x", "m_y", "m_xy"):
        peaks = [peak for peak in summary["governing"] if peak["result"] == result]
        largest = max(abs(peak["value"]) for peak in peaks)
        assert all(peak["error"] < 0.1 * largest for peak in peaks), peaks
    # It leads somewhere: every check that is judged passes, on no more slab and steel than needed.
    [standard] = summary["design"]["standards"].values()
    assert [one for one in standard["checks"] if one["finding"] == "not adequate"] == []
    assert standard["finding"] == "adequate"
    strength = ("bending", "shear without links", "stresses in service", "crack width")
    used = [c["utilisation"] for c in standard["checks"] if c["check"] in strength]
    assert max(used) > 0.7
    # Nor is any looked at and left without a judgement.
    left = {one["check"] for one in standard["checks"] if one["finding"] == "not judged"}
    by_clause = {"shear without links", "fatigue"} if kind == "girder" else set[str]()
    assert left == by_clause


@pytest.mark.parametrize("kind", [*KINDS])
def test_the_model_is_drawn(tmp_path: Path, kind: str) -> None:
    (tmp_path / "deck.toml").write_text(starter(kind), encoding="utf-8")
    deck = read_deck(tmp_path / "deck.toml")
    files = write_drawings(deck, tmp_path / "drawings")
    along = [] if kind == "outline" else ["section-along.svg"]
    names = ["plan.svg", "section.svg", *along, "vehicle-1.svg"]
    assert [f.name for f in files][: len(names)] == names
    words = section(deck).svg
    for j in range(len(deck.offsets)):
        assert f">L{j + 1} " in words
    assert "carriageway" in words
    assert write_drawings(deck, tmp_path / "one.svg") == [tmp_path / "one.svg"]


def test_a_section_shows_the_beam_that_it_lies_over(tmp_path: Path) -> None:
    """C3 of the truss's deck lies at mid-length, no line of the girders' deck does."""
    found = {}
    for kind in ("truss", "girder"):
        (tmp_path / "deck.toml").write_text(starter(kind), encoding="utf-8")
        found[kind] = section(read_deck(tmp_path / "deck.toml")).svg
    assert "at station 7.00 m, over cross beam C3;" in found["truss"]
    assert found["truss"].count(f'fill="{BEAM_FILL}"') == 2 + 1
    assert "over" not in re.sub(r"<[^>]*>", "", found["girder"])
    assert found["girder"].count(f'fill="{BEAM_FILL}"') == 5


def test_a_section_along_the_deck_meets_every_cross_line(tmp_path: Path) -> None:
    (tmp_path / "deck.toml").write_text(starter("truss"), encoding="utf-8")
    drawn = section_along(read_deck(tmp_path / "deck.toml"))
    assert drawn is not None
    for i in range(1, 6):
        assert f">C{i} beam<" in drawn.svg
    assert drawn.svg.count(">3.50<") == 4
    assert drawn.svg.count(">0.30<") == 2
    # Zones of the slab in stations show in it, those in offsets where it passes.
    plain = section_along(small_deck(tmp_path))
    zone = "[[slab.zone]]\nstations_m = [1.0, 2.0]\nthickness_mm = 400\n"
    zoned = section_along(small_deck(tmp_path, zone))
    aside = section_along(small_deck(tmp_path, zone + "offsets_m = [1.0, 1.5]\n"))
    assert plain is not None
    assert zoned is not None
    assert aside is not None
    cut = f'fill="{CUT}"'
    assert zoned.svg.count(cut) == plain.svg.count(cut) + 2
    assert aside.svg.count(cut) == plain.svg.count(cut)


def test_the_section_knows_zones(tmp_path: Path) -> None:
    plain = section(small_deck(tmp_path)).svg
    zone = "[[slab.zone]]\noffsets_m = [-0.5, 0.5]\nthickness_mm = 400\n"
    deck = small_deck(tmp_path, zone)
    cut = f'fill="{CUT}"'
    assert section(deck).svg.count(cut) == plain.count(cut) + 2


def test_the_section_of_an_outline_is_where_its_slab_is(tmp_path: Path) -> None:
    text = starter("outline").replace("[9.4,", "[5.4,").replace("[10.4,", "[6.6,")
    text = text.replace("-4.9]", "-3.5]").replace("-4.2]", "-2.5]")
    text = re.sub(r"carriageway_axis_m = \[.*?\n\]\n", "", text, flags=re.DOTALL)
    (tmp_path / "deck.toml").write_text(text, encoding="utf-8")
    words = section(read_deck(tmp_path / "deck.toml")).svg
    # At station 6 the arc's own point -4.6, the opening, and the edge beam at 3.6.
    for gap in ("1.10", "1.00", "6.10"):
        assert f">{gap}<" in words
    assert ">E3 beam<" in words


@pytest.mark.parametrize("shell", SHELLS)
def test_completion_names_every_command(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    for word in ("run", "new", "draw", "view", "study", "truss"):
        assert word in script


def test_every_argument_that_is_a_file_is_completed_as_one() -> None:
    """All but those with choices, numbers and names."""
    others = {"M", "SHARE", "X", "N", "ADDRESS", "CHAPTER", "TABLE", "NAME", "LINES=KNM[,KNM]"}
    [commands] = [a for a in command_line()._actions if isinstance(a.choices, dict)]
    for command in commands.choices.values():
        for action in command._actions:
            if action.metavar is not None:
                names = [action.metavar] if isinstance(action.metavar, str) else action.metavar
                assert action.metavar in (*FOLDERS, *FILES) or others & set(names), action.metavar


def completed(script: str, *words: str) -> list[str]:
    """What bash offers for the last of the words."""
    line = " ".join(f"'{word}'" for word in words)
    script += f"COMP_WORDS=({line}); COMP_CWORD={len(words) - 1}; _shtab_deckslab; "
    script += "printf '%s\\n' \"${COMPREPLY[@]}\""
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)
    return done.stdout.split()


def test_bash_completes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["completion", "bash"])
    script = capsys.readouterr().out
    assert "-F _shtab_deckslab deckslab\n" in script
    monkeypatch.chdir(tmp_path)
    (tmp_path / "results").mkdir()
    (tmp_path / "deck.toml").write_text("", encoding="utf-8")
    assert completed(script, "deckslab", "swe") == ["sweep"]
    assert completed(script, "deckslab", "new", "tr") == ["truss"]
    assert completed(script, "deckslab", "run", "de") == ["deck.toml"]
    assert completed(script, "deckslab", "run", "deck.toml", "--p") == ["--pdf"]
    assert completed(script, "deckslab", "run", "deck.toml", "--out", "") == ["results"]
    assert completed(script, "deckslab", "influence", "--component", "m_") == ["m_x", "m_y", "m_xy"]


def test_a_scene_is_whole(tmp_path: Path) -> None:
    scene = model_scene(small_deck(tmp_path))
    # Slab, three beams with two holds each, four wheels.
    assert len(scene.surfaces) == 1 + 3 + 6 + 4
    for surface in scene.surfaces:
        assert np.isfinite(surface.points).all()
        assert 0 <= surface.triangles.min() <= surface.triangles.max() < len(surface.points)
    page = views.page(scene)
    assert "http" not in page.replace("http-equiv", "")
    assert "%DATA%" not in page


def test_a_slab_in_space_has_its_arcs_and_openings(tmp_path: Path) -> None:
    (tmp_path / "deck.toml").write_text(starter("outline"), encoding="utf-8")
    deck = read_deck(tmp_path / "deck.toml")
    slab = model_scene(deck).surfaces[0]
    a, b, c = (slab.points[slab.triangles[:, k]] for k in range(3))
    above = (a[:, 2] == 0.0) & (b[:, 2] == 0.0) & (c[:, 2] == 0.0)
    normal = np.cross(b - a, c - a)[above]
    area = 0.5 * np.linalg.norm(normal, axis=1).sum()
    # Chords of the arc.
    assert area == pytest.approx(plan_area(deck.plan), rel=1e-3)


def test_fields_are_named_with_their_units() -> None:
    assert field_label("w_mm_max") == "w max [mm]"
    assert field_label("m_xy_min_kNm_m") == "m_xy min [kNm/m]"
    assert field_label("q_x_max_kN_m") == "q_x max [kN/m]"
    assert field_label("weight") == "weight"


def test_colours_end_at_the_value_that_governs(small_result: Result, tmp_path: Path) -> None:
    write_results(small_result, tmp_path / "out")
    peak = next(p for p in small_result.governing if (p.result, p.extreme) == ("m_x", "min"))
    scene = result_scene(tmp_path / "out", "m_x_min", small_result.deck)
    assert scene.limits[0] == pytest.approx(peak.value, rel=1e-6)
    assert scene.limits[0] < scene.limits[1] <= 0.0
    assert scene.label == "m_x min [kNm/m]"
    # What carries the slab goes down with it.
    drawn = scene.surfaces[0].points[:, 2]
    beam = scene.surfaces[1].points[:, 2]
    assert beam.max() - beam.min() > 0.1 * (drawn.max() - drawn.min())


def test_a_picture_without_a_renderer_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # A child that dies of a signal, as the renderer does where it finds no library.
    monkeypatch.setattr(views, "PROBE", "import os; os.kill(os.getpid(), 11)")
    views.no_renderer.cache_clear()
    (tmp_path / "deck.toml").write_text(starter("skew"), encoding="utf-8")
    out = tmp_path / "x.png"
    assert main(["view", str(tmp_path / "deck.toml"), "--out", str(out)]) == 2
    told = capsys.readouterr().err
    assert "no library to render without a screen" in told
    assert "x.html needs none" in told
    assert not out.exists()
    views.no_renderer.cache_clear()


@pytest.mark.soak
def test_a_picture_shows_the_deck(tmp_path: Path) -> None:
    if views.no_renderer():
        pytest.skip(views.no_renderer())
    (tmp_path / "deck.toml").write_text(starter("truss"), encoding="utf-8")
    out = tmp_path / "x.png"
    done = subprocess.run(
        [sys.executable, "-c", "import sys; from pipelines.cli.main import main; sys.exit(main())",
         "view", tmp_path / "deck.toml", "--out", out], capture_output=True, text=True
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    pixels = np.asarray(Image.open(out).convert("RGB")).reshape(-1, 3)
    assert 0.05 < np.mean(np.any(pixels != 255, axis=1)) < 0.95


@pytest.mark.soak
def test_a_crossing_is_seen_from_one_place(tmp_path: Path) -> None:
    if views.no_renderer():
        pytest.skip(views.no_renderer())
    (tmp_path / "deck.toml").write_text(starter("skew"), encoding="utf-8")
    out = tmp_path / "x.gif"
    done = subprocess.run(
        [sys.executable, "-c", "import sys; from pipelines.cli.main import main; sys.exit(main())",
         "view", tmp_path / "deck.toml", "--out", out], capture_output=True, text=True
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    lowest = []
    with Image.open(out) as frames:
        assert (frames.n_frames, frames.size) == (24, views.SIZE)
        for k in range(frames.n_frames):
            frames.seek(k)
            pixels = np.asarray(frames.convert("L"))[views.ABOVE : -views.BELOW]
            lowest.append(np.nonzero((pixels < 200).any(axis=1))[0].max())
    # A corner of the deck on its rigid line, which does not move.
    assert max(lowest) - min(lowest) <= 2
    assert max(lowest) > 0.8 * (views.SIZE[1] - views.ABOVE - views.BELOW)


def test_bands_reach_from_limit_to_limit() -> None:
    scene = Scene(title="t", surfaces=(), label="m_x max [kNm/m]", limits=(0.0, 55.8))
    colours, words = zip(*views._bands(scene), strict=True)
    assert len(words) == views.BANDS + 1
    assert (words[0], words[7], words[-1]) == ("0", "27.9", "55.8")
    assert len(set(colours)) == len(colours)


def test_nothing_to_draw_with_is_loaded_before_something_is_drawn() -> None:
    code = "import sys, pipelines.cli.main; sys.exit('pipelines.report.drawings' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


def test_the_section_of_an_outline_crosses_traffic_at_a_right_angle(tmp_path: Path) -> None:
    """A slab of 10 m by 6 m with an opening of 2 m by 1 m, turned by 30 degrees with its axis."""
    c, s = 0.8660254037844387, 0.5
    turned = [
        [[round(c * x - s * y, 9), round(s * x + c * y, 9)] for x, y in ring]
        for ring in (
            [(0, -3), (10, -3), (10, 3), (0, 3)],
            [(4, -2), (6, -2), (6, -1), (4, -1)],
            [(0, 0), (10, 0)],
        )
    ]
    (tmp_path / "deck.toml").write_text(
        "[slab]\nthickness_mm = 300\nE_GPa = 30\n"
        f"[plan]\noutline_m = {turned[0]}\n[[opening]]\ncorners_m = {turned[1]}\n"
        '[[line]]\non = ["E2", "E4"]\nsupport = "rigid"\n'
        f"[traffic]\ncarriageway_m = [-2.5, 2.5]\ncarriageway_axis_m = {turned[2]}\n"
        'vehicles = ["EN 1991-2 LM2"]\n',
        encoding="utf-8",
    )
    words = section(read_deck(tmp_path / "deck.toml")).svg
    for gap in ("1.00", "4.00"):  # edge, opening, edge
        assert f">{gap}<" in words
    assert "at station 5.00 m" in words

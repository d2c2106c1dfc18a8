"""What a run prints: the finding in about ten lines, more or less of it; what scripts ask for."""

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

import pipelines.run
from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Check, Found, Judgement, PanelVerdict, StandardVerdict
from pipelines.caution import CAUTION
from pipelines.cli.brief import brief
from pipelines.cli.main import main
from pipelines.deck.examples import FITS, STUDIES
from pipelines.findings.compare import worst_first
from pipelines.findings.effects import effect_findings
from pipelines.findings.finding import Finding
from pipelines.standards.actions.vehicles import MARK
from pipelines.standards.sources import Source
from tests.pipelines.fake_findings import fake
from tests.pipelines.small_decks import small_deck


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("brief")


@pytest.fixture(scope="module")
def result(out: Path, small_result: Result) -> Result:
    small_deck(out)
    pipelines.run.write_results(small_result, out)
    return small_result


@pytest.fixture
def again(result: Result, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run finds what it found before."""
    monkeypatch.setattr(pipelines.run, "run", lambda *_, **__: result)


def told(out: Path, *arguments: str) -> int:
    return main(["run", str(out / "deck.toml"), "--out", str(out), *arguments])


@pytest.mark.usefixtures("again")
def test_the_finding_is_told_first_and_in_about_ten_lines(
    result: Result, out: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told(out) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 13
    assert lines[0].startswith("small: the strip by DAfStb Heft 240 is short in ")
    strip = (
        "  Strip: DAfStb Heft 240 (from memory), along the traffic from cross beam to cross beam; "
    )
    assert lines[1].startswith(strip)
    assert (
        lines[-2]
        == f"Written: report.html, summary.json, findings.csv, values.csv, fields.vtu in {out}"
    )
    assert lines[-1] == CAUTION
    most = max(row.plate.peak for row in result.findings if row.section.kind == "sagging")
    [bays] = [line for line in lines if line.startswith("  sagging in bays: ")]
    assert f"{1e-3 * most:.1f}" in bays
    assert told(out, "--verbose") == 0
    verbose = capsys.readouterr().out
    assert "over the deck" in verbose
    assert len(verbose.splitlines()) > 2 * len(lines)
    # Below zero stands a minus, before no zero.
    assert "−" in verbose
    assert not re.search(r"[ (]-\d|−0\.?0*(?![.\d])", verbose)


@pytest.mark.usefixtures("again")
def test_quiet_prints_nothing_and_json_the_summary(
    out: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told(out, "--quiet") == 0
    assert "".join(capsys.readouterr()) == ""
    assert told(out, "--json") == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary == json.loads((out / "summary.json").read_text(encoding="utf-8"))
    with pytest.raises(SystemExit):
        told(out, "--quiet", "--json")


@pytest.mark.usefixtures("again")
def test_the_status_is_what_a_script_asks_for(
    out: Path, result: Result, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told(out, "--fail-on", "short", "--quiet") == 1
    assert told(out, "--fail-on", "not-adequate", "--quiet") == 2
    assert "has no bars" in capsys.readouterr().err
    held = replace(result, findings=tuple(row for row in result.findings if not row.is_short))
    monkeypatch.setattr(pipelines.run, "run", lambda *_, **__: held)
    assert told(out, "--fail-on", "short", "--quiet") == 0
    nothing = replace(result, findings=(), no_findings="no lines")
    monkeypatch.setattr(pipelines.run, "run", lambda *_, **__: nothing)
    assert told(out, "--fail-on", "short", "--quiet") == 2
    assert "no lines" in capsys.readouterr().err


def made(findings: Sequence[Finding], **more: Any) -> list[str]:
    """The lines for findings made by hand."""
    traffic = SimpleNamespace(load_models=(), vehicles=())
    deck = SimpleNamespace(
        title="t",
        warnings=more.pop("warnings", ()),
        strip=None,
        traffic=traffic,
        required_traffic=traffic,
        lines=(),
        reinforcement=None,
        factors=(),
    )
    given = {"left_out": (), "verdicts": (), "traffic": (), "governing": (), "leading": None}
    effects = effect_findings(worst_first(findings), (), (), ())
    result = SimpleNamespace(
        deck=deck, findings=findings, no_findings="", effects=effects, **(given | more)
    )
    return brief(cast(Result, result), Path("out"), ["report.html"])


def test_it_holds_only_where_no_place_is_short() -> None:
    first, _, line, *_ = made([fake(1.2, whole_model=True)])
    assert first == ("t: the strip by hand method holds in 1 of 1 effects, under lorry")
    assert line == (
        "  sagging in bays: holds, least strip / plate 1.20, at bay C1–C2 (plate 20.0, strip 24.0 "
        "kNm/m)"
    )
    smaller = fake(0.9, peak=15e3, whole_model=True, place="bay C2–C3")
    first, _, line, *_ = made([smaller, fake(1.2, whole_model=True)])
    assert "short in 1 of 1" in first
    assert line.startswith("  sagging in bays: short by 10 % at bay C2–C3 (plate 15.0, strip 13.5")
    assert line.endswith("; the largest, 20.0 at bay C1–C2, is not short")


def test_little_that_is_short_is_told_apart() -> None:
    """A share of next to nothing is no finding, and is not passed over."""
    little = fake(0.5, peak=2e3, whole_model=True, place="bay C2–C3")
    first, _, line, *_ = made([little, fake(1.2, whole_model=True)])
    assert "holds in 1 of 1" in first
    assert line.endswith("; short by 50 % at bay C2–C3, where the plate has 2.00")


def test_of_a_place_the_load_that_makes_most_is_told() -> None:
    lighter = fake(0.9, peak=15e3, whole_model=True, load="lighter")
    first, _, line, *_ = made([lighter, fake(1.2, whole_model=True)])
    assert first.endswith("under lorry")
    assert "plate 20.0" in line


def test_a_single_vehicle_never_holds() -> None:
    first, _, line, *_ = made([fake(1.2)])
    assert "single vehicle, not the load model" in first
    assert "no less than the plate, least strip / plate 1.20, at" in line
    assert "holds" not in line


def test_what_is_not_comparable_says_why() -> None:
    row = fake(0.0, whole_model=True, hand_reason="the strip has no moment here")
    told = made([row])
    assert "can be compared in no effect, 1 not comparable" in told[0]
    assert "  not comparable, the plate has: sagging in bays 20.0 kNm/m at bay C1–C2" in told


def test_a_load_of_a_standard_has_its_mark() -> None:
    first, *_ = made([fake(1.2, whole_model=True, load="EN 1991-2 LM1", load_mark=MARK)])
    assert first.endswith("under EN 1991-2 LM1 (from memory)")
    first, *_ = made([fake(1.2, load="EN 1991-2 LM2", load_mark=MARK)])
    assert first.endswith("EN 1991-2 LM2 (from memory) (single vehicle, not the load model)")


def test_loads_are_named_where_there_are_two() -> None:
    rows = [fake(0.9, whole_model=True, load="a", peak=3e3, place="here")]
    shear = fake(0.9, whole_model=True, load="b", peak=2e3)
    rows.append(replace(shear, section=replace(shear.section, kind="shear", component=4)))
    first, *_ = made(rows)
    assert first.endswith("under a and b")


def test_bars_are_told_by_standard_with_clause_and_mark() -> None:
    def judged(check: Check, value: float) -> Judgement:
        source = Source("EN 1992", "6.2.2(1)")
        found = Found(utilisation=value, by="search", place="C2", source=source)
        return Judgement(check=check, found=(found,))

    def lines(shear: float, cracks: float) -> list[str]:
        judgements = (judged(Check.SHEAR, shear), judged(Check.CRACKS, cracks))
        verdict = StandardVerdict(standard="EN 1992", traffic="LM1", judgements=judgements)
        return made([fake(1.2)], verdicts=(verdict,))

    assert (
        "Bars, EN 1992 (traffic: LM1): not adequate; shear without links 1.44 at C2, "
        "EN 1992 6.2.2(1) (from memory); so is 1 more"
    ) in lines(1.44, 1.1)
    panels = tuple(
        PanelVerdict(panel=f"B{k}", judgements=(judged(Check.SHEAR, 0.9 + 0.2 * k),))
        for k in range(2)
    )
    verdict = StandardVerdict(
        standard="EN 1992", traffic="LM1", judgements=panels[1].judgements, panels=panels
    )
    told = "\n".join(made([fake(1.2)], verdicts=(verdict,)))
    assert "Bars, EN 1992, as built: 1 of 2 panels with readings not adequate: B1: " in told
    assert "adequate in all that is judged; shear without links 0.90" in "\n".join(lines(0.9, 0.3))


def test_many_warnings_are_counted() -> None:
    assert "Warning: a (2 more: --verbose, report)" in made([fake(1.2)], warnings=("a", "b", "c"))
    assert {"Warning: a", "Warning: b"} <= set(made([fake(1.2)], warnings=("a", "b")))


def test_check_reads_and_computes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    small_deck(tmp_path)
    assert main(["check", str(tmp_path / "deck.toml"), "skew"]) == 0
    assert capsys.readouterr().out.splitlines()[1:] == ["skew: no mistake", CAUTION]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["deck.toml"]
    (tmp_path / "bad.toml").write_text("[slab]\nthickness_mm = 0.25\n", encoding="utf-8")
    assert main(["check", str(tmp_path / "bad.toml"), "skew", str(tmp_path / "none")]) == 2
    text = capsys.readouterr()
    assert "skew: no mistake" in text.out
    assert "thickness_mm = 0.25" in text.err
    assert "there is no such file; packaged examples are composite, estuary" in text.err


def test_a_folder_of_results_does_not_hide_an_example(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "skew").mkdir()
    assert main(["check", "skew"]) == 0
    (tmp_path / "decks").mkdir()
    assert main(["check", "decks"]) == 2
    assert "is a directory" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["run", "draw", "influence", "sweep"])
def test_a_wrong_example_is_answered_with_the_list(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    more = ["--at", "1", "0", "--component", "m_x"] if command == "influence" else []
    assert main([command, "estuari", "--out", str(tmp_path / "x"), *more]) == 2
    assert "packaged examples are composite, estuary" in capsys.readouterr().err


@pytest.mark.parametrize(("command", "names"), [("study", STUDIES), ("fit", FITS)])
def test_a_wrong_study_is_answered_with_the_list(
    command: str, names: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert names
    assert main([command, "width", "--out", str(tmp_path / "x")]) == 2
    told = capsys.readouterr().err
    assert f"width: there is no such file; packaged examples are {', '.join(names)}" in told

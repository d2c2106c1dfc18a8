"""Bars chosen by the program: adequate, read back the same, none smaller without a reason."""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.analysis import analyse
from pipelines.bar_design import Designed, design_bars, designed, with_bars
from pipelines.bars.adequacy import Adequacy
from pipelines.bars.choice.deck_text import tables_of, with_tables
from pipelines.bars.choice.one_step_less import PRICE
from pipelines.cli.main import main
from pipelines.deck.reading.deck_file import deck_of, read_deck
from pipelines.errors import DeckError
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, mat

CHOICE = """
[bar_choice]
diameters_mm = [12, 16, 20]
spacings_mm = [100, 125, 150, 200, 250]
"""
TABLES = """
[[concrete]]
standard = "EN 1992"
grade = "C40/50"
exposure = { top = "XD1", bottom = "XC3" }
crack_combination = "frequent"
[[steel]]
standard = "EN 1992"
grade = "B500B"
[fatigue]
lambda_s = 0.5
[mesh]
size_m = 1.5
order = 2
"""


def text(*, axle: int = 100, choice: str = CHOICE, more: str = "") -> str:
    slab = SLAB.replace("thickness_mm = 250", "thickness_mm = 300   # as drawn")
    traffic = TRAFFIC.replace("load_kN = 100", f"load_kN = {axle}")
    return slab + PLAN + BEAMS + traffic + WEIGHT + TABLES + choice + more


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("design")


@pytest.fixture(scope="module")
def found(folder: Path) -> Designed:
    path = folder / "without.toml"
    path.write_text(text(axle=260), encoding="utf-8")
    return design_bars(path, folder / "out")


def test_a_deck_without_bars_gets_bars_that_pass(found: Designed, folder: Path) -> None:
    assert found.adequate
    assert found.chosen is not None
    (verdict,) = found.result.verdicts
    assert verdict.adequacy is Adequacy.ADEQUATE
    assert {path.name for path in (folder / "out").iterdir()} >= {"deck.toml", "report.html"}


def test_the_deck_file_reads_back_to_the_same_utilisations(found: Designed, folder: Path) -> None:
    """To 1e-9, as bars pass through millimetres in text; its author's words stay."""
    written = (folder / "out" / "deck.toml").read_text(encoding="utf-8")
    assert "# as drawn" in written
    result = analyse(read_deck(folder / "out" / "deck.toml"))
    (one,), (other,) = result.verdicts, found.result.verdicts
    for mine, theirs in zip(one.judgements, other.judgements, strict=True):
        if theirs.worst is not None:
            assert mine.worst is not None
            assert mine.worst.utilisation == pytest.approx(theirs.worst.utilisation, rel=1e-9)


def test_bars_one_step_smaller_fail_what_is_named(found: Designed) -> None:
    """Every smaller mat that is said to fail a check fails it in an analysis of its own."""
    assert found.chosen is not None
    assert {less.layer for less in found.one_step_less} == set(found.chosen.layers)
    checked = 0
    for less in found.one_step_less:
        if less.added or less.check == PRICE or not less.utilisation > 1.0:
            continue
        layers = dict(found.chosen.layers)
        layers[less.layer] = replace(layers[less.layer], bars=less.bars)
        smaller = with_bars(found.deck, replace(found.chosen, layers=layers))
        (verdict,) = analyse(smaller, tolerances_wanted=False).verdicts
        assert verdict.adequacy is Adequacy.NOT_ADEQUATE
        checked += 1
        if checked == 2:
            break
    assert checked == 2


def free_of_prices(axle: int, spacings: str) -> Designed:
    """A design by mass alone."""
    prices = "price_kg_m2 = { diameter = 0.0, spacing = 0.0, zone = 0.0 }\n"
    choice = f"[bar_choice]\ndiameters_mm = [12, 16, 20]\nspacings_mm = {spacings}\n{prices}"
    bars = mat("bottom", "16@150", "16@150", cover=50) + mat("top", "16@150", "16@150", cover=55)
    return designed(deck_of(tomllib.loads(text(axle=axle, choice=choice, more=bars)), "deck"))


def test_more_load_or_a_smaller_set_never_lowers_the_steel() -> None:
    wide, narrow = "[100, 125, 150, 200]", "[100, 200]"
    light, heavy = free_of_prices(100, wide), free_of_prices(300, wide)
    assert light.chosen is not None
    assert heavy.chosen is not None
    assert light.chosen.mass <= heavy.chosen.mass
    few = free_of_prices(300, narrow)
    assert few.chosen is not None
    assert heavy.chosen.mass <= few.chosen.mass
    again = free_of_prices(300, wide)
    assert again.chosen == heavy.chosen


def test_bars_that_still_change_are_not_called_adequate(monkeypatch: pytest.MonkeyPatch) -> None:
    """After one analysis the bars that follow from it have not been analysed at all."""
    monkeypatch.setattr("pipelines.bar_design.MOST", 1)
    bars = mat("bottom", "20@125", "20@125", cover=50) + mat("top", "20@125", "20@125", cover=55)
    found = designed(deck_of(tomllib.loads(text(more=bars)), "deck"))
    assert found.stops == ("the bars still change after 1 analyses",)
    assert "still change" in found.words[0]


def test_where_no_bars_pass_it_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slab of 150 mm under such axles: shear; nothing is written."""
    path = tmp_path / "thin.toml"
    thin = text(axle=600).replace("thickness_mm = 300", "thickness_mm = 180")
    path.write_text(thin, encoding="utf-8")
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 1
    out = capsys.readouterr().out
    assert "No bars of the set pass" in out
    assert "shear" in out
    assert not (tmp_path / "out").exists()


def test_the_least_thickness_that_passes_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "free.toml"
    free = CHOICE + "thickness_mm = [180, 300]\n"
    thin = text(axle=300, choice=free).replace("thickness_mm = 300   #", "thickness_mm = 400   #")
    path.write_text(thin, encoding="utf-8")
    found = design_bars(path, tmp_path / "out")
    assert found.adequate
    assert read_deck(tmp_path / "out" / "deck.toml").slab.thickness == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("drop", "words"),
    [(CHOICE, "[bar_choice]"), (TRAFFIC, "needs [traffic]")],
)
def test_what_a_design_needs(
    tmp_path: Path, drop: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "deck.toml"
    path.write_text(text().replace(drop, ""), encoding="utf-8")
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 2
    assert words in capsys.readouterr().err


def test_bars_in_the_text_are_replaced_where_they_stood(found: Designed) -> None:
    bars = found.deck.required_reinforcement.bars
    old = "a = 1\n[[bars]]  # mine\nface = 'top'\nx = { diameter_mm = 12 }\n[plan]\nb = 2 # kept\n"
    new = with_tables(old, tables_of(bars, found.chosen, {"top": 'moment_at = "face"'}))
    data = tomllib.loads(new)
    assert data["plan"] == {"b": 2}
    assert [table["face"] for table in data["bars"]] == ["top", "bottom"]
    assert data["bars"][0]["moment_at"] == "face"
    assert "# kept" in new
    assert "# mine" not in new


def test_bars_written_inline_are_refused(found: Designed) -> None:
    bars = found.deck.required_reinforcement.bars
    with pytest.raises(DeckError, match="cannot be told"):
        with_tables('bars = [{ face = "top" }]\n', tables_of(bars, found.chosen, {}))

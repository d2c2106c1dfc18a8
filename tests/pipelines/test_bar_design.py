"""Bars chosen by the program: adequate, read back the same, none smaller without a reason."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.kept import Kept
from pipelines.bar_design.covers import with_some_bars
from pipelines.bar_design.design import designed
from pipelines.bar_design.designed import Designed
from pipelines.bar_design.files import design_bars
from pipelines.bar_design.known import Known
from pipelines.bar_design.least_change import first_passing
from pipelines.bar_design.search import adequate
from pipelines.bars.adequacy import Adequacy
from pipelines.bars.choice.alternatives import ANALYSED
from pipelines.bars.choice.candidates import STEEL, Needs
from pipelines.bars.choice.deck_text import DeckText
from pipelines.bars.choice.least_steel import Chosen
from pipelines.bars.choice.one_step_less import PRICE
from pipelines.cli.main import main
from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError
from pipelines.standards.resistance.bars import SlabBars
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, mat

CHOICE = """
[bar_choice]
diameters_mm = [12, 16, 20]
spacings_mm = [100, 125, 150, 200, 250]
"""
# Candidates go with the number of diameters, and of spacings squared.
FEW = """
[bar_choice]
diameters_mm = [12, 16]
spacings_mm = [100, 150, 200]
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
def costs() -> list[float]:
    """Of the bars that were chosen, one analysis after another, with the price of variety [kg]."""
    return []


@pytest.fixture(scope="module")
def found(folder: Path, costs: list[float]) -> Designed:
    path = folder / "without.toml"
    path.write_text(text(axle=340, choice=FEW), encoding="utf-8")
    least = Known.least_of

    def noted(self: Known, needs: Needs, bars: SlabBars) -> tuple[Needs, Chosen | None]:
        needs, chosen = least(self, needs, bars)
        if chosen is not None:
            costs.append(chosen.counted(needs.choice.prices, needs.area))
        return needs, chosen

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Known, "least_of", noted)
        return design_bars(path, folder / "out")


def test_bars_only_grow_until_they_pass(found: Designed, costs: list[float]) -> None:
    """From analysis to analysis; the last is of a slab 10 mm thicker, which tells what that would
    weigh. Steps down at the end leave them no dearer."""
    chosen = costs[:-1]
    assert chosen == sorted(chosen)
    assert found.chosen is not None
    choice = found.deck.required_reinforcement.choice
    assert choice is not None
    assert found.chosen.counted(choice.prices, found.area) <= chosen[-1] * (1.0 + 1e-9)


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
    written_deck = read_deck(folder / "out" / "deck.toml")
    result = analyse(written_deck, tolerances_wanted=False, strips_wanted=False)
    (one,), (other,) = result.verdicts, found.result.verdicts
    for mine, theirs in zip(one.judgements, other.judgements, strict=True):
        if theirs.worst is not None:
            assert mine.worst is not None
            assert mine.worst.utilisation == pytest.approx(theirs.worst.utilisation, rel=1e-9)


def test_bars_one_step_smaller_fail_what_is_named(found: Designed) -> None:
    """Both smaller diameter and wider spacing of every layer and of what is added stand with what
    speaks against them, and the smallest excess, which is the nearest to passing, fails in an
    analysis of its own."""
    assert found.chosen is not None
    choice = found.deck.required_reinforcement.choice
    assert choice is not None
    expected = set()
    for layer, one in found.chosen.layers.items():
        for number, bars in enumerate(one.sets):
            if bars.diameter > min(choice.diameters):
                expected.add((layer, number == 1, "thinner"))
            wider = [s for s in choice.spacings if s > bars.spacing]
            if number == 1:  # that lie between those of the mat
                wider = [s for s in wider if s / one.bars.spacing in (1.0, 2.0, 3.0)]
            if wider:
                expected.add((layer, number == 1, "wider"))
    told = set()
    for less in found.one_step_less:
        own = found.chosen.layers[less.layer].sets[less.added]
        told.add(
            (less.layer, less.added, "thinner" if less.bars.diameter < own.diameter else "wider")
        )
    assert told == expected
    told_above = [less for less in found.one_step_less if (less.utilisation or 0.0) > 1.0]
    failing = [less for less in told_above if not less.added]
    nearest = min(failing, key=lambda less: less.utilisation or 0.0)
    layers = dict(found.chosen.layers)
    layers[nearest.layer] = nearest.candidate
    bars = found.deck.required_reinforcement.bars
    smaller = found.text.with_bars(bars, replace(found.chosen, layers=layers))
    (verdict,) = analyse(smaller.deck, tolerances_wanted=False, strips_wanted=False).verdicts
    assert verdict.adequacy is Adequacy.NOT_ADEQUATE


def test_bars_that_would_pass_by_a_step_less_cost_variety(found: Designed) -> None:
    """What stands against them is the price alone: counted with it they are no cheaper."""
    assert found.chosen is not None
    choice = found.deck.required_reinforcement.choice
    assert choice is not None
    for less in found.one_step_less:
        if less.check != PRICE or less.added:
            continue
        one = found.chosen.layers[less.layer]
        mass = one.mass - STEEL * found.area * (one.bars.area - less.bars.area)
        if one.added is not None and less.candidate.added is not None:
            saved = one.added.bars.area - less.candidate.added.bars.area
            mass -= STEEL * one.added.area(found.deck) * saved
        smaller = replace(less.candidate, mass=mass)
        layers = {**found.chosen.layers, less.layer: smaller}
        other = replace(found.chosen, layers=layers)
        counted = [c.counted(choice.prices, found.area) for c in (other, found.chosen)]
        assert counted[0] >= counted[1] * (1.0 - 1e-9)


def test_every_layer_and_zone_has_what_sets_it_and_the_next(found: Designed, folder: Path) -> None:
    """The largest is that of the verdict or below it: a design is adequate by both."""
    assert found.chosen is not None
    zones = sum(len(one.sets) for one in found.chosen.layers.values())
    assert len(found.governs) == zones
    for one in found.governs:
        used = [value for _, value in one.checks]
        assert len(used) > 1
        assert used == sorted(used, reverse=True)
        assert used[0] <= 1.0 + 1e-9
    with (folder / "out" / "design.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["bars"] for row in rows] == [str(one.bars) for one in found.governs]
    data = json.loads((folder / "out" / "design.json").read_text(encoding="utf-8"))
    assert data["mass_kg"] == pytest.approx(found.chosen.mass, abs=1e-3)


def test_bending_that_governs_is_that_of_the_verdict(found: Designed) -> None:
    """Utilisations of single layers by another way, through the parts of the slab as drawn. Where
    bars are added the design counts them no further than these: its value is no smaller."""
    (verdict,) = found.result.verdicts
    for judged in verdict.judgements:
        if judged.layer is None:
            continue
        mine = [dict(one.checks) for one in found.governs if one.layer == judged.layer]
        most = max(checks["bending, EN 1992"] for checks in mine)
        drawn = max(f.utilisation for f in judged.found if f.by == "every load position, as drawn")
        assert most >= drawn * (1.0 - 1e-9)
        if len(mine) == 1:
            assert most == pytest.approx(drawn, rel=1e-9)


def test_what_is_otherwise_counts_no_less(found: Designed) -> None:
    """Other layer order, cover, one spacing and mats alone leave less to choose from: with the
    prices of variety they cost no less."""
    assert found.chosen is not None
    choice = found.deck.required_reinforcement.choice
    assert choice is not None
    least = found.chosen.counted(choice.prices, found.area)
    held = [one for one in found.alternatives if one.how != ANALYSED and one.counted is not None]
    assert len(held) == 6
    assert all(one.counted >= least * (1.0 - 1e-9) for one in held if one.counted is not None)
    assert any("thicker" in one.what for one in found.alternatives)


def free_of_prices(axle: int, spacings: str, cover: int = 50) -> Chosen:
    """The bars by mass alone, adequate by the steps; cover : of the bottom bars [mm]."""
    prices = "price_kg_m2 = { diameter = 0.0, spacing = 0.0, zone = 0.0 }\n"
    choice = f"[bar_choice]\ndiameters_mm = [12, 16, 20]\nspacings_mm = {spacings}\n{prices}"
    bars = mat("bottom", "16@150", "16@150", cover=cover)
    bars += mat("top", "16@150", "16@150", cover=55)
    deck = DeckText(text(axle=axle, choice=choice, more=bars), "deck")
    own = deck.deck.required_reinforcement.choice
    assert own is not None
    found = adequate(deck, own, Kept(), lambda _: None, look="steps")
    assert found.adequate
    assert found.chosen is not None
    return found.chosen


@pytest.mark.slow
def test_more_load_or_cover_or_a_smaller_set_never_lowers_the_steel() -> None:
    wide, narrow = "[100, 125, 150, 200]", "[100, 200]"
    light, heavy = free_of_prices(100, wide), free_of_prices(300, wide)
    assert light.mass <= heavy.mass
    assert heavy.mass <= free_of_prices(300, narrow).mass
    assert heavy.mass <= free_of_prices(300, wide, cover=65).mass
    assert free_of_prices(300, wide) == heavy


def test_bars_that_still_change_are_not_called_adequate(monkeypatch: pytest.MonkeyPatch) -> None:
    """After one analysis the bars that follow from it have not been analysed at all."""
    monkeypatch.setattr("pipelines.bar_design.search.MOST", 1)
    bars = mat("bottom", "20@125", "20@125", cover=50) + mat("top", "20@125", "20@125", cover=55)
    found = designed(DeckText(text(choice=FEW, more=bars), "deck"))
    assert found.stops == ("the bars still change after 1 analyses",)
    assert "still change" in found.words[0]


@pytest.mark.slow
def test_where_no_bars_pass_it_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slab of 180 mm under such axles: bending and shear, with no one change; nothing is
    written."""
    path = tmp_path / "thin.toml"
    thin = text(axle=1200).replace("thickness_mm = 300", "thickness_mm = 180")
    path.write_text(thin, encoding="utf-8")
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 1
    out = capsys.readouterr().out
    assert "No bars of the set pass" in out
    assert "shear" in out
    assert "not with 330 mm of slab" in out
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_the_least_thickness_that_passes_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "free.toml"
    free = CHOICE + "thickness_mm = [180, 300]\n"
    thin = text(axle=300, choice=free).replace("thickness_mm = 300   #", "thickness_mm = 400   #")
    path.write_text(thin, encoding="utf-8")
    found = design_bars(path, tmp_path / "out")
    assert found.adequate
    assert read_deck(tmp_path / "out" / "deck.toml").slab.thickness == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("key", "thicknesses"),
    [
        ("thickness_mm = [300, 250, 300]", [250, 300]),
        ("thickness_range_mm = { least = 200, most = 235 }", [200, 210, 220, 230, 235]),
        ("thickness_range_mm = { least = 300, most = 360, step = 30 }", [300, 330, 360]),
        ("thickness_range_mm = { least = 300, most = 300 }", "must be larger than least"),
        ("thickness_range_mm = { least = 100, most = 900, step = 1 }", "801 thicknesses; allowed"),
        ("thickness_mm = [300]\nthickness_range_mm = { least = 250, most = 300 }", "one of both"),
    ],
)
def test_thicknesses_to_choose_from_are_a_list_or_a_range(
    key: str, thicknesses: list[int] | str
) -> None:
    mats = mat("bottom", "16@150", "16@150", cover=50) + mat("top", "16@150", "16@150", cover=55)
    deck = DeckText(text(choice=f"{CHOICE}{key}\n", more=mats), "deck")
    if isinstance(thicknesses, str):
        with pytest.raises(DeckError, match=thicknesses):
            _ = deck.deck
        return
    choice = deck.deck.required_reinforcement.choice
    assert choice is not None
    assert [1e3 * t for t in choice.thicknesses] == pytest.approx(thicknesses)


def test_the_least_change_is_the_first_that_passes() -> None:
    """From any start, nothing asked twice; where none passes two questions tell, and two where the
    start is the first that passes."""
    for count in range(1, 40):
        for first in range(count + 1):
            for start in range(count):
                questions: list[int] = []

                def passing(
                    change: int, first: int = first, seen: list[int] = questions
                ) -> int | None:
                    seen.append(change)
                    return change if change >= first else None

                number, passes = first_passing(range(count), start, passing)
                assert len(questions) == len(set(questions))
                if first == count:
                    assert (number, passes) == (count - 1, None)
                    assert questions == list(dict.fromkeys([start, count - 1]))
                else:
                    assert number == passes == first
                if first == start:
                    assert len(questions) <= 2
                if first < count:  # a better start where the first one fails
                    asked = iter((first,))
                    number, _ = first_passing(range(count), start, passing, lambda a=asked: next(a))
                    assert number == first


@pytest.mark.slow
def test_the_least_thickness_that_helps_is_chosen_and_analysed(tmp_path: Path) -> None:
    """10 mm less than what is told fails in a design of its own, and what is told passes in one
    with all searches, which writes that deck."""
    thin = text(axle=300).replace("thickness_mm = 300", "thickness_mm = 160")
    told = designed(DeckText(thin, "deck"))
    assert not told.adequate
    assert any("shear" in stop or "punching" in stop for stop in told.stops)
    (more,) = [one for one in told.helps if one.kind == "thickness"]
    assert more.mass is not None
    assert "--change" in told.words[-1]
    thickness = int(more.words.split()[0])
    less = with_some_bars(DeckText(thin, "deck")).with_thickness(1e-3 * (thickness - 10))
    choice = less.deck.required_reinforcement.choice
    assert choice is not None
    assert not adequate(less, choice, Kept(), lambda _: None, look="steps").adequate
    path, out = tmp_path / "thin.toml", tmp_path / "out"
    path.write_text(thin, encoding="utf-8")
    assert main(["design", str(path), "--out", str(out), "--change", "thickness"]) == 0
    assert 1e3 * read_deck(out / "deck.toml").slab.thickness == pytest.approx(thickness)
    data = json.loads((out / "design.json").read_text(encoding="utf-8"))
    assert data["change"] == more.words


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


def test_grades_are_changed_where_they_stand() -> None:
    """Of the standard alone whose they are, and the slab's own where it is the same."""
    both = text().replace("E_GPa = 30.0", 'concrete = "C40/50"\nstandard = "EN 1992-1-1"')
    both += '[[concrete]]\nstandard = "IRC:112"\ngrade = "M45"   # cubes\n'
    both += '[[steel]]\nstandard = "IRC:112"\ngrade = "Fe 500D"\n'
    new = DeckText(both, "deck").with_grades({"EN 1992": "C45/55"})
    assert [table["grade"] for table in new.tables["concrete"]] == ["C45/55", "M45"]
    assert new.tables["slab"]["concrete"] == "C45/55"
    assert "# cubes" in new.text
    other = DeckText(both, "deck").with_grades({"IRC:112": "M50"})
    assert [table["grade"] for table in other.tables["concrete"]] == ["C40/50", "M50"]
    assert other.tables["slab"]["concrete"] == "C40/50"
    assert other.with_grades({"IRC:112": "M50"}) == other


def test_grades_to_choose_from_are_those_of_the_standards_together() -> None:
    mats = mat("bottom", "16@150", "16@150", cover=50) + mat("top", "16@150", "16@150", cover=55)
    listed = text(more=mats).replace(
        'grade = "C40/50"', 'grade = "C40/50"\ngrades = ["C40/50", "C50/60"]'
    )
    choice = DeckText(listed, "deck").deck.required_reinforcement.choice
    assert choice is not None
    assert choice.grades == ({"EN 1992": "C40/50"}, {"EN 1992": "C50/60"})
    with pytest.raises(DeckError, match=r"grades = \"C51/60\""):
        _ = DeckText(listed.replace("C50/60", "C51/60"), "deck").deck
    fewer = '[[concrete]]\nstandard = "IRC:112"\ngrade = "M45"\ngrades = ["M45"]\n'
    fewer += '[[steel]]\nstandard = "IRC:112"\ngrade = "Fe 500D"\n'
    with pytest.raises(DeckError, match="must be as many"):
        _ = DeckText(listed + fewer, "deck").deck


def test_bars_in_the_text_are_replaced_where_they_stood(found: Designed) -> None:
    bars = found.deck.required_reinforcement.bars
    mats = '[[bars]]  # mine\nface = "top"\nmoment_at = "face"\n'
    old = DeckText(f"a = 1\n{mats}[plan]\nb = 2 # kept\n", "deck")
    new = old.with_bars(bars, found.chosen)
    assert new.tables["plan"] == {"b": 2}
    assert [table["face"] for table in new.tables["bars"]] == ["top", "bottom"]
    assert new.tables["bars"][0]["moment_at"] == "face"
    assert "# kept" in new.text
    assert "# mine" not in new.text


def test_bars_written_inline_are_refused(found: Designed) -> None:
    bars = found.deck.required_reinforcement.bars
    with pytest.raises(DeckError, match="cannot be told"):
        DeckText('bars = [{ face = "top" }]\n', "deck").with_bars(bars, found.chosen)


def test_a_thickness_written_inline_is_refused() -> None:
    inline = text().replace(SLAB.replace("250", "300   # as drawn"), "")
    slab = "slab = { thickness_mm = 300, E_GPa = 30.0, poisson = 0.2 }\n"
    with pytest.raises(DeckError, match="cannot be told"):
        DeckText(slab + inline, "deck").with_thickness(0.31)

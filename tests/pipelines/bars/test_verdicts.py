"""The finding on the bars: by check, against the tables of the same run, and in words."""

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Adequacy, Check, Found, Judgement, StandardVerdict, check_of
from pipelines.bars.verdicts import AS_BUILT, verdicts
from pipelines.cli.run import _closing_table
from pipelines.model.responses import SolvedDeck
from pipelines.numbers import rounded_up
from pipelines.report.data.summary import summary
from pipelines.report.sections.bars_words import (
    bars_findings,
    bars_sentence,
    bars_words,
    opening,
    verdict_table,
)
from pipelines.standards.detailing.rules import Row, Sense
from pipelines.standards.sources import Source
from tests.pipelines.decks_with_bars import BARS as ALL_STANDARDS
from tests.pipelines.decks_with_bars import READINGS, axle, bars, result_of
from tests.pipelines.report_page import page_of, report_page
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, deck_of

SOURCE = Source("EN 1992", "test")


HEAVY = (("25@80", "25@80"), ("20@80", "20@80"))
POINTED = axle(300, TRAFFIC.replace("surfacing_mm = 80", 'dispersal = "none"')).replace(
    "[250, 400]", "[40, 40]"
)
THIN = ("14@125", "14@125")
# What is changed, and the one check that then fails.
ONE_FAILS: dict[str, tuple[Check, dict[str, Any]]] = {
    "thin bars": (
        Check.BENDING,
        {
            "text": bars(bottom=("10@125", "20@125"), crack="crack_width_mm = 1.0", damage=0.1),
            "traffic": axle(190),
        },
    ),
    "small cover as built": (Check.COVER, {"text": bars(), "readings": "bottom,,,,20"}),
    "thin slab": (
        Check.SHEAR,
        {
            "text": bars(bottom=HEAVY[0], top=HEAVY[1], grade="C50/60"),
            "h": 200,
            "traffic": axle(330),
        },
    ),
    "small wheels": (Check.PUNCHING, {"text": bars(), "traffic": POINTED}),
    "weak concrete": (
        Check.STRESSES,
        {"text": bars(grade="C12/15", exposure=""), "traffic": axle(190)},
    ),
    "narrow cracks": (Check.CRACKS, {"text": bars(crack="crack_width_mm = 0.055")}),
    "long traffic": (Check.FATIGUE, {"text": bars(damage=4.0)}),
    "thick slab": (Check.STEEL, {"text": bars(bottom=THIN, top=THIN), "h": 800}),
    "wide spacing": (Check.SPACING, {"text": bars(bottom=("25@260", "25@260"))}),
    "small cover": (Check.COVER, {"text": bars(cover=40)}),
}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return result_of(tmp_path_factory.mktemp("deck"), bars(), strips_wanted=True)


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Three standards, a survey and a barrier; a lorry that overloads some of it."""
    folder = tmp_path_factory.mktemp("deck")
    (folder / "readings.csv").write_text(
        READINGS.replace("{bars}", "bottom,x,12,400"), encoding="utf-8"
    )
    more = '[survey]\nfile = "readings.csv"\n[collision]\nforce_kN = 100\nheight_m = 1.0\n'
    more += "inner_face_mm = 300\n"
    traffic = axle(240).replace("step_m = 0.5", "step_m = 0.8")
    deck = deck_of(folder, SLAB, PLAN, BEAMS, traffic, ALL_STANDARDS, more)
    return analyse(deck, tolerances_wanted=False)


def judgement(one: StandardVerdict, check: Check) -> Judgement:
    return next(j for j in one.judgements if j.check is check)


def test_a_sound_deck_is_adequate_in_what_is_judged(sound: Result) -> None:
    [one] = sound.verdicts
    assert one.adequacy is Adequacy.ADEQUATE
    assert one.of(Adequacy.NOT_JUDGED) == ()
    assert all(j.left_out for j in one.of(Adequacy.ADEQUATE))
    assert [j.layer for j in one.judgements if j.check is Check.BENDING] == [
        check.layer
        for check in sound.design.standards[0].layers  # type: ignore[union-attr]
    ]
    words = bars_sentence(one)
    assert words.startswith(
        "EN 1992 (traffic: single vehicle, not the load model): adequate in all that is judged: "
    )
    assert "Not judged" not in words


@pytest.mark.parametrize("change", ONE_FAILS)
def test_one_check_fails_alone(change: str, tmp_path: Path) -> None:
    """The finding is that check's, and the tables of the run say the same."""
    check, changed = ONE_FAILS[change]
    # design sections of the findings are looked at for bending alone
    strips_wanted = check is Check.BENDING
    result = result_of(tmp_path, **changed, strips_wanted=strips_wanted)
    [one] = result.verdicts
    assert one.adequacy is Adequacy.NOT_ADEQUATE
    assert {j.check for j in one.of(Adequacy.NOT_ADEQUATE)} == {check}
    assert result.design is not None
    [design] = result.design.standards
    parts = (design, *design.panels)
    assert {check_of(row) for part in parts for row in part.rows if not row.passes} <= {check}
    unmet = {
        Check.BENDING: any(layer.utilisation > 1 for part in parts for layer in part.layers),
        Check.SHEAR: design.reduced is not None and design.reduced.whole > 1,
        Check.PUNCHING: design.punching is not None and design.punching.utilisation > 1,
    }
    assert [c for c, fails in unmet.items() if fails] == [c for c in unmet if c is check]
    assert opening(one).endswith(": not adequate")
    assert "adequate in" not in " ".join(bars_words(result))


def utilisations(entry: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, float]]:
    """Every number below an entry of summary.json whose key tells of a utilisation."""
    if isinstance(entry, dict):
        for key, value in entry.items():
            yield from utilisations(value, (*path, key))
    elif isinstance(entry, list):
        for value in entry:
            yield from utilisations(value, path)
    elif any(part.startswith("utilisation") for part in path) and isinstance(entry, float):
        yield ".".join(path), entry


def test_the_headline_is_the_largest_utilisation_found_anywhere(mixed: Result) -> None:
    """Over the whole summary but for what is of other bars (remedies), another rule (other widths
    of the shear's mean) and not asked for."""
    entry = summary(mixed)
    assert len(mixed.verdicts) == 3
    for k, one in enumerate(mixed.verdicts):
        own = dict(entry["design"]["standards"][one.standard])
        assert own.pop("largest_utilisation") == one.largest
        assert own.pop("finding") == one.adequacy.value
        for key in ("checks", "remedies"):
            own.pop(key)
        asked = own["shear_not_asked"] is None
        own["shear"] = [s for s in own["shear"] if s["judged"] and asked]
        found = dict(utilisations(own))
        values = [value for _, value in utilisations(own)]
        assert len(found) >= 4, found
        if k == 0:  # the findings' utilisations are by the first standard
            values += [
                told["utilisation_plate"] or 0.0
                for told, finding in zip(entry["findings"], mixed.findings, strict=True)
                if mixed.solved.readable[finding.plate.point]
            ]
        assert one.largest == pytest.approx(max(values), rel=1e-12)
        shown = [rounded_up(j.worst.utilisation) for j in one.judgements if j.asked and j.worst]
        assert rounded_up(one.largest) in shown
        assert f" {rounded_up(one.largest)} (" in bars_sentence(one)


def test_each_check_takes_the_largest_of_its_searches(mixed: Result) -> None:
    assert mixed.design is not None
    for one, design in zip(mixed.verdicts, mixed.design.standards, strict=True):
        for judged in one.judgements:
            if judged.worst is not None:
                assert judged.worst.utilisation == max(f.utilisation for f in judged.found)
        for k, layer in enumerate(design.layers):
            worst = one.judgements[k].worst
            assert worst is not None
            assert worst.utilisation >= layer.utilisation
            assert worst.utilisation >= float(design.utilisation[k].max())
            for panel in design.panels:
                assert worst.utilisation >= panel.utilisation[layer.layer]
        shear, near = judgement(one, Check.SHEAR), design.reduced
        if near is not None:
            assert shear.worst is not None
            assert design.design_shear is not None
            drawn = [f for f in shear.found if f.by != AS_BUILT]
            worst = max(drawn, key=lambda f: f.utilisation)
            assert worst.utilisation == max(
                design.design_shear.utilisation, near.whole, near.utilisation, near.strut
            )
            assert near.whole > design.design_shear.utilisation, "steps of 0.8 m miss some"
            assert worst.by.startswith("load positions closer together")


def test_a_closer_search_above_one_fails_what_steps_let_pass(sound: Result) -> None:
    """0.995 as stepped and 1.02 closer: not adequate, told as 1.02."""
    design = sound.design
    assert design is not None
    [one] = design.standards
    assert one.reduced is not None
    shear = tuple(
        replace(p, utilisation=0.995) if p.width == one.design_width else p for p in one.shear
    )
    changed = replace(one, shear=shear, reduced=replace(one.reduced, whole=1.02))
    [found] = verdicts(
        sound.deck, replace(design, standards=(changed,)), sound.findings, sound.schedule
    )
    assert [j.check for j in found.of(Adequacy.NOT_ADEQUATE)] == [Check.SHEAR]
    assert "shear without links 1.02 (" in bars_sentence(found)


def test_bars_judged_at_faces_are_not_judged_at_centre_lines(sound: Result) -> None:
    design = sound.design
    assert design is not None
    over = replace(design, reinforcement=replace(design.reinforcement, hogging_at_face=False))
    kinds = {}
    for where in ("face", "centre line"):
        findings = [f for f in sound.findings if f.section.where == where]
        for one in (design, over):
            [found] = verdicts(sound.deck, one, findings, sound.schedule)
            kinds[where, one is over] = any(
                f.by == "design sections of the findings"
                for j in found.judgements
                if j.layer == ("top", "x")
                for f in j.found
            )
    assert kinds == {
        ("face", False): True,
        ("face", True): True,
        ("centre line", False): False,
        ("centre line", True): True,
    }


def test_a_finding_counts_where_moments_are_to_be_read(sound: Result) -> None:
    """Near places of infinite moments the plate has no value that bars could be judged by."""
    first = next(f for f in sound.findings if f.used and f.section.kind == "sagging")
    assert first.used is not None
    high = (replace(first, used=replace(first.used, by_plate=9.0)),)
    for counts in (True, False):
        readable = sound.solved.readable.copy()
        readable[first.plate.point] = counts
        solved = cast(
            SolvedDeck,
            SimpleNamespace(readable=readable, deck=sound.deck, recovery=sound.solved.recovery),
        )
        [one] = replace(sound, findings=high, solved=solved).verdicts
        assert (one.largest == 9.0) == counts


def test_every_rule_belongs_to_a_check(mixed: Result) -> None:
    assert mixed.design is not None
    for one in mixed.design.standards:
        assert Check.OTHER not in {check_of(row) for row in one.rows}


def test_a_rule_of_no_known_check_is_not_lost() -> None:
    row = Row(
        check="unheard of",
        place="somewhere",
        required=2.0,
        provided=1.0,
        sense="at least",
        unit="m",
        source=SOURCE,
    )
    assert check_of(row) is Check.OTHER


def test_what_is_not_judged_says_why(mixed: Result) -> None:
    european, indian, american = mixed.verdicts
    shear = judgement(american, Check.SHEAR)
    assert shear.adequacy is Adequacy.NOT_JUDGED
    assert "C4.6.2.1.6" in shear.reason
    assert shear.worst is not None, "its value is told for information"
    for one in (european, indian, american):
        assert judgement(one, Check.ANCHORAGE).adequacy is Adequacy.ADEQUATE
        assert all(j.reason for j in one.of(Adequacy.NOT_JUDGED))
    # the plain range is exceeded under this lorry, which refuses nothing yet
    fatigue = judgement(european, Check.FATIGUE)
    assert fatigue.adequacy is Adequacy.NOT_JUDGED
    assert fatigue.is_open
    assert "damage-equivalent" in fatigue.reason


def test_without_traffic_of_the_standard_nothing_is_adequate(sound: Result) -> None:
    design = sound.design
    assert design is not None
    [one] = design.standards
    empty = replace(one, under=replace(one.under, vehicles=(), others=("LM2",)))
    [found] = verdicts(
        sound.deck, replace(design, standards=(empty,)), sound.findings, sound.schedule
    )
    assert found.adequacy is Adequacy.NOT_JUDGED
    assert judgement(found, Check.BENDING).reason == "no traffic counts under the standard"
    assert "(traffic: none (not LM2, of another family))" in opening(found)
    assert judgement(found, Check.COVER).adequacy is Adequacy.ADEQUATE
    assert opening(found).endswith(": not shown to be adequate")


def test_summary_terminal_and_first_page_say_the_same(
    mixed: Result, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    entry = summary(mixed)["design"]["standards"]
    first = page_of(bars_findings(mixed))
    page = report_page(mixed)
    first_section = page[page.index('id="finding"') : page.index('id="governing"')]
    _closing_table(mixed, tmp_path)
    terminal = " ".join(capsys.readouterr().out.split())
    for one in mixed.verdicts:
        assert entry[one.standard]["finding"] == one.adequacy.value
        words = " ".join(bars_sentence(one).split())
        assert words in terminal
        assert opening(one) in first
        assert opening(one) in first_section
        for judged, told in zip(one.judgements, entry[one.standard]["checks"], strict=True):
            assert told["finding"] == judged.adequacy.value
            if judged.worst is not None:
                assert told["utilisation"] == judged.worst.utilisation
    assert "all rules met" not in page + terminal
    assert len(verdict_table(mixed).rows) == sum(len(v.judgements) for v in mixed.verdicts)


NEAR_ONE = st.one_of(
    st.floats(0.0, 3.0),
    st.sampled_from([0.0, 0.995, 0.9951, 1.0, 1.0 + 1e-12, 1.0 + 1e-8, 1.004, 1.0049, math.inf]),
)


@given(NEAR_ONE)
def test_words_of_a_utilisation_read_as_it_is(value: float) -> None:
    words = rounded_up(value)
    if words == "–":
        assert math.isinf(value)
    else:
        assert (float(words) <= 1.0) == (value <= 1.0 + 1e-9)
        assert float(words) >= value - 2e-9
        assert float(words) < value + 0.0101


def test_one_passes_and_a_little_more_does_not_read_as_one() -> None:
    assert [rounded_up(v) for v in (0.9901, 1.0, 1.0 + 1e-10, 1.004, 1.01)] == [
        "1.00",
        "1.00",
        "1.00",
        "1.01",
        "1.01",
    ]


@given(
    st.floats(-2.0, 2.0),
    st.floats(-2.0, 2.0),
    st.sampled_from(["at least", "at most"]),
)
def test_a_rule_is_met_where_its_utilisation_is_at_most_one(
    required: float, provided: float, sense: Sense
) -> None:
    row = Row(
        check="rule",
        place="place",
        required=required,
        provided=provided,
        sense=sense,
        unit="m",
        source=SOURCE,
    )
    more, less = (provided, required) if sense == "at least" else (required, provided)
    assert row.passes == (more >= less) or more == pytest.approx(less, rel=1e-8)
    assert row.passes == (row.utilisation <= 1.0 + 1e-9)


@pytest.mark.parametrize("sense", ["at least", "at most"])
def test_a_rule_without_a_number_is_not_met(sense: Sense) -> None:
    for required, provided in ((math.nan, 1.0), (1.0, math.nan)):
        row = Row(
            check="rule",
            place="place",
            required=required,
            provided=provided,
            sense=sense,
            unit="m",
            source=SOURCE,
        )
        assert not row.passes
        assert row.utilisation == math.inf


FOUND = st.builds(
    Found,
    utilisation=NEAR_ONE,
    by=st.just("a search"),
    place=st.just("somewhere"),
    source=st.just(SOURCE),
    otherwise=st.sampled_from(["", "", "advice only"]),
)


@st.composite
def judged_by_chance(draw: st.DrawFn) -> StandardVerdict:
    judgements = [
        Judgement(
            check=check,
            layer=("top", "x") if check is Check.BENDING else None,
            found=tuple(draw(st.lists(FOUND, max_size=3))),
            why=draw(st.sampled_from(["", "", "no reason"])),
        )
        for check in draw(st.lists(st.sampled_from(list(Check)), min_size=1, unique=True))
    ]
    return StandardVerdict(standard="EN 1992", traffic="LM1", judgements=tuple(judgements))


@given(judged_by_chance())
def test_adequate_is_never_said_beside_what_fails(one: StandardVerdict) -> None:
    words = bars_sentence(one)
    refused = [j for j in one.judgements for f in j.found if f.utilisation > 1.0 + 1e-9]
    said = re.search(r"(?<!not )(?<!shown to be )adequate", words)
    if refused:
        assert said is None, words
        assert one.adequacy is not Adequacy.ADEQUATE
        assert all(j.title in words for j in refused)
    if any(not f.otherwise for j in refused for f in j.found if f.utilisation > 1.0 + 1e-9):
        assert one.adequacy is Adequacy.NOT_ADEQUATE
    if one.adequacy is Adequacy.NOT_ADEQUATE:
        assert refused
    if said is not None:
        assert one.largest <= 1.0 + 1e-9
    assert "all rules met" not in words

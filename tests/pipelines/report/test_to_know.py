"""What would have to be known: told where it decides something, and not where it does not."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from pipelines.analysis.result import Result
from pipelines.deck.deck import Deck
from pipelines.findings.effects import effect_findings
from pipelines.findings.finding import Finding
from pipelines.report.sections.to_know import to_know
from tests.pipelines.fake_findings import fake
from tests.pipelines.small_decks import small_deck

STATED = '[strip]\nmethod = "DAfStb Heft 240"\n'


@pytest.fixture
def deck(tmp_path: Path) -> Deck:
    return small_deck(tmp_path, STATED)


def told(deck: Deck, *rows: Finding, design: object = None) -> str:
    effects = effect_findings(rows, (), (), ())
    result = SimpleNamespace(deck=deck, effects=effects, findings=rows, design=design)
    return " | ".join(to_know(cast(Result, result)))


def test_nothing_is_doubtful_of_a_stated_strip_that_holds_under_a_load_model(deck: Deck) -> None:
    assert told(deck, fake(1.2, whole_model=True)) == ""


def test_a_strip_that_the_tool_chose_is_asked_for(deck: Deck, tmp_path: Path) -> None:
    words = told(small_deck(tmp_path), fake(1.2, whole_model=True))
    assert words.startswith("Which strip the design stands on: hand method is assumed.")


def test_under_single_vehicles_the_whole_traffic_is_asked_for(deck: Deck) -> None:
    assert told(deck, fake(1.2)).startswith("The whole traffic of the standard")


def test_beams_are_asked_for_where_they_turn_a_finding_round(deck: Deck) -> None:
    turned = fake(0.95, whole_model=True, plate_beam_range=(15e3, 26e3))
    words = told(deck, turned)
    assert words.startswith("How stiff the cross beams are, whether they act with the slab")
    assert "ends are held" in words
    assert "sagging in bays (plate 15.0 to 26.0, strip 19.0)" in words
    assert told(deck, fake(0.5, whole_model=True, plate_beam_range=(15e3, 26e3))) == ""


def test_widths_of_supports_are_asked_for_where_hogging_is_short_without(deck: Deck) -> None:
    row = fake(0.9, whole_model=True)
    row = replace(row, section=replace(row.section, kind="hogging", lines=("C2",)))
    assert told(deck, row) == ""  # its line has a width
    bare = replace(deck, lines=tuple(replace(line, width=0.0) for line in deck.lines))
    assert told(bare, row).startswith("How wide the supports are (width_mm of cross beam C2)")


def test_a_finer_mesh_is_asked_for_within_the_tolerance(deck: Deck) -> None:
    even = fake(1.001, whole_model=True, plate_error=1e3)
    assert told(deck, even).startswith("A finer mesh")


def test_the_bars_are_asked_for_where_no_strip_is(deck: Deck) -> None:
    row = fake(None, whole_model=True, hand_reason="no strip bends that way")
    assert told(deck, row).startswith("The bars there ([[bars]], [[concrete]], [[steel]])")
    assert told(deck, row, design=object()).startswith("Nothing of the strip: the bars are judged")


def test_a_strip_of_another_standards_traffic_is_told_where_it_is_short(deck: Deck) -> None:
    rows = [fake(1.2, whole_model=True, load="EN 1991-2 LM1")]
    other = fake(0.7, whole_model=True, peak=10e3, load="IRC:6 Class A lanes", hand_strip="B-3")
    words = told(deck, *rows, other)
    assert words.startswith("Which standard's traffic the strip was designed for: under IRC:6")
    assert "B-3 is short by 30 % at bay C1–C2" in words
    assert told(deck, *rows, replace(other, hand=replace(other.hand, value=12e3))) == ""

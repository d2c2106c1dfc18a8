"""Stages of an analysis that are kept: what is done again, and that nothing kept is out of date."""

import json
import random
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.kept import Kept
from pipelines.analysis.result import Result
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.report.again import Again
from pipelines.report.data.summary import finite, summary
from pipelines.report.html import html_of
from pipelines.run import report_of
from tests.pipelines.decks_with_bars import BARS
from tests.pipelines.small_decks import BEAMS, PLAN, PROBES, SLAB, TRAFFIC

# What may be changed, one value for another.
CHANGES = (
    ("at_m = [1.5, 0.2]", "at_m = [1.4, -0.3]"),  # a probe moved
    ('[[probe]]\nname = "over C2"\nat_m = [3.0, 0.1]\n', ""),  # one taken away
    ("from_m = [1.5, -0.8]", "from_m = [1.5, -0.6]"),
    ("diameter_mm = 16, spacing_mm = 150", "diameter_mm = 16, spacing_mm = 140"),
    ("diameter_mm = 16, spacing_mm = 200", "diameter_mm = 20, spacing_mm = 200"),
    ("cover_mm = 40", "cover_mm = 45"),
    ('grade = "C30/37"', 'grade = "C35/45"'),
    ('crack_combination = "frequent"', 'crack_combination = "quasi-permanent"'),
    ("load_kN = 60", "load_kN = 75"),
    ("step_m = 0.5", "step_m = 0.75"),
    ("surfacing_mm = 80", "surfacing_mm = 90"),
    ("thickness_mm = 250", "thickness_mm = 260"),
    ("I_cm4 = 60000", "I_cm4 = 90000"),
    ("width_mm = 250", "width_mm = 300"),
    ('title = "small"', 'title = "not large"'),
    ('action = "self-weight"', 'action = "surfacing"'),
    ("size_m = 1.5", "size_m = 1.6"),
    ("[mesh]\n", '[strip]\nmethod = "DAfStb Heft 240"\n[mesh]\n'),
)
NUMBER = re.compile(r"(-?[0-9]+(?:[.][0-9]+)?(?:e[-+]?[0-9]+)?)")
PROBED = PROBES[: PROBES.index("[[case]]")]
TEXT = "".join((SLAB, PLAN, BEAMS, TRAFFIC, PROBED, BARS))


def deck_of_text(folder: Path, text: str) -> Deck:
    path = folder / "deck.toml"
    path.write_text(text, encoding="utf-8")
    return read_deck(path)


def told(result: Result) -> str:
    """All of summary.json, to the last digit."""
    return json.dumps(finite(summary(result)))


def shown(result: Result, kept: Kept) -> str:
    """The page of the report, but for the packed arrays of the part that is looked at by hand."""
    document = report_of(result, summary(result), Again(result, kept))
    sections = tuple(one for one in document.sections if one.name != "explore")
    return html_of(replace(document, sections=sections))


def same(found: str, other: str, within: float, *, of_each: float = 0.0) -> bool:
    """Whether texts are the same but for rounding: their numbers differ by no more than that, and
    that share of themselves besides."""
    pieces, others = re.split(NUMBER, found), re.split(NUMBER, other)
    if pieces[::2] != others[::2]:
        return False
    values, expected = np.array([pieces[1::2], others[1::2]], dtype=float)
    return np.allclose(values, expected, rtol=of_each, atol=within)


def agree(folder: Path, seed: int, count: int) -> None:
    """Change after change, each back or forth, with what is kept and afresh."""
    chosen, kept = random.Random(seed), Kept()
    changed: set[int] = set()
    shown(analyse(deck_of_text(folder, TEXT), kept=kept), kept)
    for _ in range(count):
        changed ^= set(chosen.sample(range(len(CHANGES)), chosen.choice((1, 1, 1, 2))))
        text = TEXT
        for k in sorted(changed):
            before, after = CHANGES[k]
            assert before in text
            text = text.replace(before, after)
        deck = deck_of_text(folder, text)
        result, fresh = analyse(deck, kept=kept), analyse(deck)
        what = f"{sorted(changed)}, again: {kept.again}"
        # Kernels sum by address: figures are the same to rounding, and so are drawings but for the
        # last of their digits, hundredths of a pixel.
        assert same(told(result), told(fresh), 1e-9, of_each=1e-9), what
        assert same(shown(result, kept), shown(fresh, Kept()), 0.0101), what


@pytest.mark.slow
def test_after_changes_all_is_as_in_a_fresh_run(tmp_path: Path) -> None:
    agree(tmp_path, 1, 4)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3, 4, 5])
def test_after_many_changes_all_is_as_in_a_fresh_run(seed: int, tmp_path: Path) -> None:
    agree(tmp_path, seed, 12)


@pytest.mark.slow
def test_only_what_a_change_touches_is_done_again(tmp_path: Path) -> None:
    kept = Kept()
    shown(analyse(deck_of_text(tmp_path, TEXT), kept=kept), kept)
    assert not kept.unchanged
    every = set(kept.again)
    drawn = every & {"envelope_plans", "models_section", "influence surfaces"}
    assert len(drawn) == 3
    bars = {"reinforcement", "bar schedule", "utilisation of findings"}
    text = TEXT
    sections = {one for one in every if one.endswith("_section")}
    sections |= {"first_page", "bars_findings", "line_sections", "_widths"}
    for before, after, again in (
        ('title = "small"', 'title = "not large"', set()),
        ("at_m = [1.5, 0.2]", "at_m = [1.4, 0.2]", {"probes"}),
        ("spacing_mm = 150", "spacing_mm = 140", bars | sections - drawn),
        ("load_kN = 60", "load_kN = 75", every),
    ):
        assert before in text
        text = text.replace(before, after)
        shown(analyse(deck_of_text(tmp_path, text), kept=kept), kept)
        assert set(kept.again) == again


def test_a_stage_is_kept_while_it_reads_the_same() -> None:
    kept, made = Kept(), []

    def make() -> object:
        made.append(object())
        return made[-1]

    source, other = object(), object()
    first = kept.stage("a", make, data=(1.0, "x"), made=[source])
    assert kept.stage("a", make, data=(1.0, "x"), made=[source]) is first
    assert kept.stage("a", make, data=(2.0, "x"), made=[source]) is not first
    assert kept.stage("a", make, data=(1.0, "x"), made=[other]) is not first
    assert len(made) == 3
    # what an analysis and its files do not ask for is forgotten by the next one
    kept.begin()
    kept.stage("b", make)
    kept.end()
    kept.stage("c", make)
    kept.begin()
    assert len(made) == 5
    for name in "bc":
        kept.stage(name, make)
    assert len(made) == 5
    kept.stage("a", make, data=(2.0, "x"), made=[source])
    assert len(made) == 6
    # one that fails forgets nothing
    kept.begin()
    kept.begin()
    for name in "bc":
        kept.stage(name, make)
    assert len(made) == 6


def test_items_are_made_together_and_kept_one_by_one() -> None:
    kept: Kept = Kept()
    asked: list[list[int]] = []

    def doubled(items: object) -> list[int]:
        asked.append(list(items))  # type: ignore[call-overload]
        return [2 * item for item in asked[-1]]

    assert kept.each("twice", [1, 2], doubled) == [2, 4]
    assert kept.each("twice", [2, 3, 1], doubled) == [4, 6, 2]
    assert asked == [[1, 2], [3]]

"""Stages of an analysis that are kept: what is done again, and that nothing kept is out of date."""

import json
import random
from pathlib import Path

import pytest

from pipelines.analysis import analyse
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.kept import Kept
from pipelines.report.data.summary import finite, summary
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
PROBED = PROBES[: PROBES.index("[[case]]")]
TEXT = "".join((SLAB, PLAN, BEAMS, TRAFFIC, PROBED, BARS))


def deck_of_text(folder: Path, text: str) -> Deck:
    path = folder / "deck.toml"
    path.write_text(text, encoding="utf-8")
    return read_deck(path)


def told(deck: Deck, kept: Kept | None = None) -> str:
    """All of summary.json, to the last digit."""
    return json.dumps(finite(summary(analyse(deck, kept=kept))))


def agree(folder: Path, seed: int, count: int) -> None:
    """Change after change, each back or forth, with what is kept and afresh."""
    chosen, kept = random.Random(seed), Kept()
    changed: set[int] = set()
    told(deck_of_text(folder, TEXT), kept)
    for _ in range(count):
        changed ^= set(chosen.sample(range(len(CHANGES)), chosen.choice((1, 1, 1, 2))))
        text = TEXT
        for k in sorted(changed):
            before, after = CHANGES[k]
            assert before in text
            text = text.replace(before, after)
        deck = deck_of_text(folder, text)
        assert told(deck, kept) == told(deck), f"{sorted(changed)}, again: {kept.again}"


def test_after_changes_all_is_as_in_a_fresh_run(tmp_path: Path) -> None:
    agree(tmp_path, 1, 4)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3, 4, 5])
def test_after_many_changes_all_is_as_in_a_fresh_run(seed: int, tmp_path: Path) -> None:
    agree(tmp_path, seed, 12)


def test_only_what_a_change_touches_is_done_again(tmp_path: Path) -> None:
    kept = Kept()
    told(deck_of_text(tmp_path, TEXT), kept)
    assert not kept.unchanged
    every = set(kept.again)
    text = TEXT
    for before, after, again in (
        ('title = "small"', 'title = "not large"', set()),
        ("at_m = [1.5, 0.2]", "at_m = [1.4, 0.2]", {"probes"}),
        ("spacing_mm = 150", "spacing_mm = 140", {"reinforcement"}),
        ("load_kN = 60", "load_kN = 75", every),
    ):
        assert before in text
        text = text.replace(before, after)
        told(deck_of_text(tmp_path, text), kept)
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
    # what an analysis does not ask for is forgotten
    kept.begin()
    kept.stage("b", make)
    kept.end()
    kept.stage("a", make, data=(2.0, "x"), made=[source])
    assert len(made) == 5


def test_items_are_made_together_and_kept_one_by_one() -> None:
    kept: Kept = Kept()
    asked: list[list[int]] = []

    def doubled(items: object) -> list[int]:
        asked.append(list(items))  # type: ignore[call-overload]
        return [2 * item for item in asked[-1]]

    assert kept.each("twice", [1, 2], doubled) == [2, 4]
    assert kept.each("twice", [2, 3, 1], doubled) == [4, 6, 2]
    assert asked == [[1, 2], [3]]

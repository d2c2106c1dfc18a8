"""Dotted keys into a deck file."""

from copy import deepcopy
from typing import Any

import pytest

from pipelines.deck.reading.keys import KeyMistake, get_key, set_key, split_key

DECK: dict[str, Any] = {
    "title": "a deck",
    "slab": {"thickness_mm": 250, "stiffness": {"x": 0.5}},
    "plan": {"stations_m": [0.0, 3.0, 6.0]},
    "line": [
        {"on": "C*", "support": "beam", "beam": {"I_cm4": 1.0}},
        {"on": ["L1"], "support": "rigid"},
        {"on": ["start", "end"], "support": "rigid"},
    ],
    "case": [{"name": "a.b", "patches": [{"load_kN": 1.0}, {"load_kN": 2.0}]}],
    "probe": [{"name": "mid", "at_m": [1.0, 2.0]}],
}


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("slab.thickness_mm", ["slab", "thickness_mm"]),
        ("line.C*.beam.I_cm4", ["line", "C*", "beam", "I_cm4"]),
        ('case."a.b".patches.1', ["case", "a.b", "patches", "1"]),
        ("probe.'mid, near C1'.at_m.2", ["probe", "mid, near C1", "at_m", "2"]),
        ("title", ["title"]),
    ],
)
def test_parts_of_a_key(text: str, parts: list[str]) -> None:
    assert split_key(text) == parts


@pytest.mark.parametrize("text", ["", ".", "a.", ".a", "a..b", 'a."b', '"a"b'])
def test_what_is_not_a_key(text: str) -> None:
    with pytest.raises(KeyMistake, match="is not a dotted key"):
        split_key(text)


@pytest.mark.parametrize(
    ("key", "old", "way"),
    [
        ("slab.thickness_mm", 250, ("slab", "thickness_mm")),
        ("slab.stiffness.x", 0.5, ("slab", "stiffness", "x")),
        ("plan.stations_m.2", 3.0, ("plan", "stations_m", 1)),
        ("line.C*.beam.I_cm4", 1.0, ("line", 0, "beam", "I_cm4")),
        ("line.L1.support", "rigid", ("line", 1, "support")),
        ('case."a.b".patches.2.load_kN', 2.0, ("case", 0, "patches", 1, "load_kN")),
        ("probe.mid.at_m.1", 1.0, ("probe", 0, "at_m", 0)),
    ],
)
def test_get_and_set_change_one_value(key: str, old: Any, way: tuple[Any, ...]) -> None:
    assert get_key(DECK, key) == old
    changed = deepcopy(DECK)
    set_key(changed, key, 99.0)
    place = expected = deepcopy(DECK)
    for part in way[:-1]:
        place = place[part]
    place[way[-1]] = 99.0
    assert changed == expected


def test_optional_tables_are_made() -> None:
    deck = deepcopy(DECK)
    set_key(deck, "mesh.size_m", 0.4)
    set_key(deck, "plan.overhang_m.start", 0.3)
    assert deck["mesh"] == {"size_m": 0.4}
    assert deck["plan"]["overhang_m"] == {"start": 0.3}


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("line.C1.beam.I_cm4", 'no table for "C1"'),
        ("line.start.support", "shares its table with 1 more"),
        ("case.x.patches", 'no table for "x"'),
        ("plan.stations_m.4", "entries 1 to 3"),
        ("plan.stations_m.0", "entries 1 to 3"),
        ("slab.thickness_mm.x", "is not a table"),
        ("vehicle.v.impact", "has no vehicle"),
    ],
)
def test_keys_that_lead_nowhere(key: str, words: str) -> None:
    with pytest.raises(KeyMistake, match=words):
        set_key(deepcopy(DECK), key, 1.0)

"""The strip that a run is about: as the deck file states it, or the one that goes with the deck."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.deck.reading.strip import LIBRARY
from pipelines.errors import DeckError
from pipelines.standards.actions.loads import alone
from pipelines.strips.chosen import chosen_strip
from pipelines.strips.deck_strip import strip_deck, strip_decks
from pipelines.strips.hand_strip import HandStrip
from pipelines.strips.sections import Kind, Section
from pipelines.strips.under_traffic import hands_under
from tests.pipelines.load_model_decks import model_deck
from tests.pipelines.small_decks import small_deck


def section(kind: Kind, *lines: str, sign: int = 1, edge: str = "") -> Section:
    return Section(
        kind=kind,
        place="here",
        where="",
        effect="",
        component=4 if kind == "shear" else 1,
        sign=sign,
        points=np.zeros(0, dtype=np.int64),
        lines=lines,
        edge=edge,
    )


BAY = section("sagging", "C1", "C2")


def hands(deck: Deck, where: Section = BAY) -> list[HandStrip]:
    """All strips of a section under the deck's first load, the chosen one first."""
    traffic = deck.required_traffic
    model = traffic.load_models[0] if traffic.load_models else alone(traffic.vehicles)
    return list(hands_under(deck, strip_deck(deck), model).at(where))


def own(deck: Deck, where: Section = BAY) -> float:
    """The chosen strip's value, N m/m; it is one, and comes first."""
    first, *others = hands(deck, where)
    assert first.chosen
    assert not any(one.chosen for one in others)
    assert first.value is not None
    return first.value


def stated(text: str) -> str:
    return f"[strip]\n{text}\n"


def test_without_a_table_the_method_goes_with_the_traffic(tmp_path: Path) -> None:
    for model, name in (
        ("EN 1991-2 LM1", "DAfStb Heft 240"),
        ("AASHTO HL-93 axles", "AASHTO LRFD"),
        ("IRC:6 Class A lanes", "IRC:112 annex B-3"),
    ):
        deck = model_deck(tmp_path, model)
        one = chosen_strip(deck, model)
        assert (one.name, one.stated) == (name, None)
        assert model in one.why
        assert {hand.strip for hand in hands(deck) if hand.chosen} == {name}
    lorry = chosen_strip(small_deck(tmp_path), "lorry")
    assert lorry.name == "DAfStb Heft 240"
    assert "no standard" in lorry.why


def test_a_named_method_is_the_one_whatever_the_load_and_the_others_stay(tmp_path: Path) -> None:
    deck = model_deck(tmp_path, "EN 1991-2 LM1", stated('method = "IRC:112 annex B-3"'))
    found = hands(deck)
    assert [hand.strip for hand in found] == ["IRC:112 annex B-3", "DAfStb Heft 240"]
    assert [hand.chosen for hand in found] == [True, False]
    assert "another standard" in chosen_strip(deck, "EN 1991-2 LM1").why


def test_an_own_width_divides_the_beams_moment(tmp_path: Path) -> None:
    """Statics: twice the width, half the moment; a line of wheels is half an axle."""

    def value(width: float, of: str) -> float:
        text = f'width_of = "{of}"\nwidth_m = {{ sagging = {width} }}'
        return own(small_deck(tmp_path, stated(text)))

    np.testing.assert_allclose(value(1.0, "axle"), 2.0 * value(2.0, "axle"), rtol=1e-12)
    np.testing.assert_allclose(value(1.0, "wheel line"), value(2.0, "axle"), rtol=1e-12)
    np.testing.assert_allclose(value(1.0, "wheel"), value(2.0, "axle"), rtol=1e-12)


def test_own_widths_stand_for_the_methods_where_they_are_given(tmp_path: Path) -> None:
    hogging = section("hogging", "C2", sign=-1)
    method = small_deck(tmp_path, stated('method = "DAfStb Heft 240"'))
    text = 'method = "DAfStb Heft 240"\nwidth_of = "axle"\nwidth_m = { sagging = 0.5 }'
    mixed = small_deck(tmp_path, stated(text))
    np.testing.assert_allclose(own(mixed, hogging), own(method, hogging), rtol=1e-12)
    assert own(mixed) > 2.0 * own(method)
    alone_ = small_deck(tmp_path, stated('width_of = "axle"\nwidth_m = { sagging = 2.0 }'))
    first = hands(alone_, hogging)[0]
    assert (first.chosen, first.value) == (True, None)
    assert "no width for this section (hogging)" in first.reason


def test_own_values_are_told_as_they_are_given(tmp_path: Path) -> None:
    text = (
        'name = "sheet 12"\nsource = "calculation of 1987"\nshear_kN_m = 120\n'
        "moment_kNm_m = { sagging = 95, hogging = 80, across = 30 }"
    )
    deck = small_deck(tmp_path, stated(text))
    assert own(deck) == 95e3
    assert own(deck, section("hogging", "C2", sign=-1)) == -80e3
    assert own(deck, section("face", "C2", sign=-1)) == -80e3
    assert own(deck, section("transverse", "C1", "C2")) == 30e3
    assert own(deck, section("shear", "C2", sign=1)) == 120e3
    first = hands(deck)[0]
    assert (first.strip, first.note, first.mark) == ("sheet 12", "calculation of 1987", "")
    assert {hand.strip for hand in hands(deck)} == {"sheet 12", *LIBRARY}


def test_bars_say_which_way_the_strip_runs(tmp_path: Path) -> None:
    assert [one.bars for one in strip_decks(small_deck(tmp_path))] == ["parallel"]
    line = '[[line]]\non = "L*"\nsupport = "rigid"\n'
    text = stated('method = "AASHTO LRFD"\nbars = "across"')
    assert [one.bars for one in strip_decks(small_deck(tmp_path, line, text))] == ["across"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "[strip] method: is missing"),
        ('method = "Heft"', '"DAfStb Heft 240"'),
        ("width_m = { sagging = 2.0 }", "[strip] width_of: is missing"),
        ('method = "AASHTO LRFD"\nwidth_of = "axle"', "belongs to width_m"),
        (
            'width_of = "axle"\nwidth_m = { sagging = 2 }\nmoment_kNm_m = { sagging = 95 }',
            "[strip] moment_kNm_m.sagging = 95: this section has a width",
        ),
        ('name = "AASHTO LRFD"\nshear_kN_m = 9', "own values need another name"),
        ("moment_kNm_m = { hogging = -80 }", "moment_kNm_m.hogging = -80"),
        ("moment_kNm_m = { haunch = 80 }", "haunch"),
    ],
)
def test_mistakes_are_told_with_key_value_and_what_is_allowed(
    tmp_path: Path, text: str, words: str
) -> None:
    with pytest.raises(DeckError) as caught:
        small_deck(tmp_path, stated(text))
    assert words in "\n".join(caught.value.mistakes)

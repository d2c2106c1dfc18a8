"""`[factors]` of a deck file, and files of them."""

from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.bars.checks.fatigue import PLAIN_SOURCE
from pipelines.deck.reading.named_files import files_of
from pipelines.errors import DeckError
from pipelines.report.document import Table
from pipelines.report.sections.factors import factors_section, stated_words
from pipelines.standards.actions.combinations import combination
from pipelines.standards.factors import FACTORS
from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of

DECK = (SLAB, PLAN, BEAMS, GRADES, BOTTOM, TOP)
LM1 = """
[traffic]
carriageway_m = [-1.9, 1.9]
load_models = ["EN 1991-2 LM1"]
"""


def test_without_the_table_all_are_recommended(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, *DECK)
    assert deck.factors == tuple(FACTORS.values())
    assert deck.required_reinforcement.bases[0].materials.factors == FACTORS["EN 1992"]
    assert stated_words(deck) == "Factors: recommended ones of EN 1992"


def test_a_table_and_a_file_beside_it(tmp_path: Path) -> None:
    (tmp_path / "owner.toml").write_text(
        'source = "owner, issue 3"\n[EN]\ngamma_c = 1.4\ngamma_Q = 1.2\n', encoding="utf-8"
    )
    own = '[factors]\nfile = "owner.toml"\n[factors.EN]\ngamma_c = 1.3\n'
    deck = deck_of(tmp_path, *DECK, own)
    mat = deck.required_reinforcement.bases[0].materials
    # the deck file's own wins; the rest is the owner's
    assert (mat.factors["gamma_c"], mat.factors["gamma_Q"]) == (1.3, 1.2)
    assert mat.factors.who("gamma_Q") == "owner, issue 3"
    assert mat.f_cd == pytest.approx(0.85 * 35e6 / 1.3)
    ultimate = combination(mat.factors, "ULS")
    assert ultimate is not None
    assert ultimate.traffic == 1.2
    words = stated_words(deck)
    assert "gamma_Q 1.2 (recommended 1.35), EN 1992, by owner, issue 3" in words
    [printed] = [b for b in factors_section(deck) if isinstance(b, Table)]
    assert [row[2] for row in printed.rows[:2]] == ["gamma_c", "gamma_Q"]
    assert [row[5] for row in printed.rows[:2]] == ["1.5", "1.35"]
    assert printed.rows[2][6] == "recommended"


def test_a_file_alone_is_named_above_all_tables(tmp_path: Path) -> None:
    (tmp_path / "owner.toml").write_text("[EN]\nalpha_Q1 = 0.9\n", encoding="utf-8")
    deck = deck_of(tmp_path, 'factors = "owner.toml"\n', *DECK, LM1)
    assert deck.required_traffic.load_models[0].kinds[0].factor == pytest.approx(0.9)
    assert files_of(Path(deck.path))[1:] == (tmp_path / "owner.toml",)


def test_what_traffic_and_concrete_state_are_factors_too(tmp_path: Path) -> None:
    grades = GRADES.replace("[[st", "design_life_years = 50\n[[st")
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, grades, BOTTOM, TOP,
                   f"{LM1}alpha_Q = [0.8]\n", "[factors.EN]\nalpha_Q1 = 0.9\n")  # fmt: skip
    assert deck.required_traffic.load_models[0].kinds[0].factor == pytest.approx(0.8)
    assert deck.required_reinforcement.bases[0].materials.factors["design_life_years"] == 50.0
    assert "design_life_years 50 (recommended 100)" in stated_words(deck)


@pytest.mark.parametrize(
    ("text", "owner", "words"),
    [
        ("[factors.EN]\ngama_c = 1.4\n", "", r"\[factors\] EN.gama_c: unknown key.*gamma_c"),
        ("[factors.EN]\ngamma_c = 9\n", "", r"EN.gamma_c = 9: allowed is 1 to 2.5"),
        ("[factors.DIN]\ngamma_c = 1\n", "", r"DIN: unknown key"),
        ("[factors.AASHTO]\ngamma_c = 1.4\n", "", r"AASHTO.gamma_c: unknown key"),
        ("[factors.EN]\nw_max_mm = 'wide'\n", "", r"must be a number, 0.05 to 1 mm"),
        ("[factors]\nfile = '../owner.toml'\n", "", r"deck file's folder or below"),
        ("[factors]\nfile = 'none.toml'\n", "", r"none.toml: there is no such file"),
        ("[factors]\nfile = 'owner.toml'\n", "[EN]\ngamma_s = 7\n",
         r"\[factors\] owner.toml, EN.gamma_s = 7: allowed is 1 to 2"),
        ("[factors]\nfile = 'owner.toml'\n", "file = 'owner.toml'\n", r"names no further one"),
        ("[factors]\nfile = 'owner.toml'\n", "[EN\n", r"owner.toml: line 1: not valid TOML"),
        ("[[factors]]\n", "", r"factors = a list of 1: must be a table, written \[factors\]"),
    ],
)  # fmt: skip
def test_mistakes_are_told(tmp_path: Path, text: str, owner: str, words: str) -> None:
    (tmp_path / "owner.toml").write_text(owner, encoding="utf-8")
    with pytest.raises(DeckError, match=words):
        deck_of(tmp_path, *DECK, text)


def test_fatigue_rows_say_what_is_stated() -> None:
    factors = FACTORS["EN 1992"].with_values(plain_range_MPa=50.0)
    assert "stated: plain_range_MPa = 50" in str(factors.marked(PLAIN_SOURCE, "plain_range_MPa"))
    assert replace(factors, stated=()) == FACTORS["EN 1992"]

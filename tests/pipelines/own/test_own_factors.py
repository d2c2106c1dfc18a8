"""A set of factors of a user's own: read as [factors] is, marked, below what the deck states."""

from pathlib import Path

import pytest

from pipelines.deck.reading.deck_file import read_deck
from pipelines.errors import DeckError
from pipelines.report.sections.factors import stated_words
from pipelines.standards.factors import Factors
from tests.pipelines.own.office import DECK, written

SET = """
factors = {"source": "office note 4", "EN": {"gamma_c": 1.4, "w_max_mm": 0.2}}
"""
NAMED = DECK.replace("[traffic]\n", '[traffic]\nload_models = ["EN 1991-2 LM1"]\n')
NAMED += '[own]\nfactors = "office.py"\n'


def factors_of(folder: Path, code: str = SET, deck: str = NAMED) -> Factors:
    path, file = written(folder, code, deck)
    return next(one for one in read_deck(path, own=[file]).factors if one.standard == "EN 1992")


def test_the_set_counts_with_its_mark(tmp_path: Path) -> None:
    found = factors_of(tmp_path)
    assert (found["gamma_c"], found["w_max_mm"], found["gamma_s"]) == (1.4, 0.2, 1.15)
    assert found.who("gamma_c") == "office note 4 (user's)"
    told = stated_words(read_deck(tmp_path / "deck.toml", own=[tmp_path / "office.py"]))
    assert "gamma_c 1.4 (recommended 1.5), EN 1992, by office note 4 (user's)" in told


def test_what_the_deck_states_wins(tmp_path: Path) -> None:
    found = factors_of(tmp_path, deck=f"{NAMED}[factors.EN]\ngamma_c = 1.45\n")
    assert (found["gamma_c"], found["w_max_mm"]) == (1.45, 0.2)
    assert found.who("gamma_c") == "deck.toml"


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (SET.replace("1.4", "14"), r"office\.py, factors, EN\.gamma_c = 14: allowed is"),
        (SET.replace("gamma_c", "gama_c"), r"EN\.gama_c: unknown key, .*gamma_c"),
        ("factors = [1.4]", r"needs a table \(dict\) factors"),
        ('factors = {"file": "owner.toml"}', "it names no file"),
    ],
)
def test_mistakes_in_it(tmp_path: Path, code: str, words: str) -> None:
    with pytest.raises(DeckError, match=words):
        factors_of(tmp_path, code)

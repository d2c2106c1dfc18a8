"""Study files: what is wrong is told, all of it, with the nearest name that is right."""

from pathlib import Path

import pytest

from pipelines.errors import DeckError
from pipelines.study.file import read_study
from tests.pipelines.studies import DECK, HEAD, PARAMETERS, RESPONSES, write_study

WHOLE = HEAD + PARAMETERS + RESPONSES


def test_a_study_as_data(tmp_path: Path) -> None:
    study = read_study(write_study(tmp_path))
    assert study.title == "tiny study"
    assert [p.name for p in study.parameters] == ["k", "load", "edge_L"]
    assert study.parameters[1].keys == ("case.wheel.patches.1.load_kN",)
    assert [r.name for r in study.responses] == ["m", "M", "width", "irc"]
    assert study.responses[0].way == ("probes", "mid", "cases", "wheel", "m_x")
    assert study.reference is not None
    assert study.reference.cases == ("wheel",)
    assert study.tolerance_every == 0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('title = "tiny study"', "", "title: must be text"),
        ("bay = 1", "bays = 1", 'unknown key, the nearest known one is "bay"'),
        ('group = "EI_b/(D L)"', 'group = "EI/DL"', "EI_b/"),
        ('group = "edge distance/L"', "", ""),
        ("values = [0.2, 0.6]", "", "give values, or range"),
        ("values = [0.2, 0.6]", "values = [0.2, 0.2]", "different"),
        ("values = [0.2, 0.6]", 'values = ["a"]', "a group has numbers"),
        ("values = [50, 100]", "range = [100, 50]\nsteps = 2", "second must be the larger"),
        ("values = [50, 100]", 'range = [0, 5]\nsteps = 2\nscale = "log"', "positive on a log"),
        ('name = "load"', 'name = "2load"', "a letter, then letters"),
        ('name = "load"', 'name = "b"', "is taken: a length or stiffness"),
        ('name = "load"', 'name = "k"', "is taken: another parameter"),
        ('name = "irc"', 'name = "m_error"', "is taken: another response"),
        ('name = "irc"', 'name = "status"', "is taken: a column of every table"),
        ('"M / m"', '"M / loads"', 'the nearest known one is "load"'),
        ('"M / m"', '"M / irc"', "unknown key"),
        ('"M / m"', '"M // m"', "is not a formula"),
        ('["x", "y"]', '["x", "z"]', "unknown key"),
        ('"probe.mid.at_m"', '"probe..at_m"', "is not a dotted key"),
        ("path =", 'formula = "1"\npath =', "give one of path, strip, hand, formula"),
        ('strips = "IRC:112 annex B-3"', 'strips = "IRC"', "allowed is"),
        ('{ case = "wheel" }', '{ case = "wheel", place_in_bay = 2 }', "allowed is 0 to 1"),
        (
            'key = "case.wheel.patches.1.load_kN"',
            'group = "edge distance/S"',
            "load sets it already",
        ),
        ('key = "case.wheel.patches.1.load_kN"', 'group = "EI_b/(D L)"', "k sets it already"),
        ("[run]", "[runs]", 'the nearest known one is "run"'),
        ("tolerance_every = 0", "tolerance_every = -1", "0 to"),
        ("[[parameter]]", "[parameter]", "parameter"),
    ],
)
def test_mistakes(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in WHOLE
    path = write_study(tmp_path, WHOLE.replace(old, new, 1))
    if not words:  # neither key nor group: the value serves formulas only
        assert read_study(path).parameters[2].group is None
        return
    with pytest.raises(DeckError) as error:
        read_study(path)
    assert words in str(error.value)


def test_every_mistake_is_told_at_once(tmp_path: Path) -> None:
    text = WHOLE.replace("bay = 1", "bays = 1").replace('"M / m"', '"M / n"')
    with pytest.raises(DeckError) as error:
        read_study(write_study(tmp_path, text))
    assert len(error.value.mistakes) >= 2


def test_without_a_reference_there_are_no_groups(tmp_path: Path) -> None:
    head = HEAD[: HEAD.index("[reference]")]
    with pytest.raises(DeckError) as error:
        read_study(write_study(tmp_path, head, PARAMETERS, RESPONSES))
    assert "groups need a [reference] table" in str(error.value)
    assert "strip and hand need a [reference] table" in str(error.value)


def test_a_base_that_is_not_there(tmp_path: Path) -> None:
    path = write_study(tmp_path, WHOLE.replace('"deck.toml"', '"other.toml"'), deck=DECK)
    with pytest.raises(DeckError, match=r"other\.toml"):
        read_study(path)

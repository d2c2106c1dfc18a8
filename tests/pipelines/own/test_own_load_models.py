"""Load models of a user's own: worth what a standard's with the same numbers are, marked."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.cli.main import main
from pipelines.deck.deck import Deck
from pipelines.deck.reading.deck_file import read_deck
from pipelines.standards.actions.load_models import Conditions, load_models
from pipelines.strips.under_traffic import hands_of
from tests.pipelines.own.office import CRANE, written
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, SLAB, TRAFFIC

# EN 1991-2 LM1 on a carriageway of 6 m, written once more as a user would.
MODEL = """
lane = {"vehicles": ["EN 1991-2 LM1 TS"], "room_m": 1.25, "width_m": 3.0}
load_models = [
    {
        "name": "office traffic",
        "source": "office note 5",
        "lanes": [{**lane, "pressure_kN_m2": 6.5}, {**lane, "factor": 2 / 3}],
        "pressure_kN_m2": 2.5,
    }
]
"""
WIDE = PLAN.replace("[-2.0, 2.0]", "[-3.2, 3.2]")
LISTED = TRAFFIC.replace("[-1.9, 1.9]", "[-3.0, 3.0]").replace(
    "[[vehicle]]", 'load_models = ["office traffic"]\n[[vehicle]]'
)
NAMED = f'{SLAB}{WIDE}{BEAMS}{LISTED}{MESH}[own]\nload_models = "office.py"\n'


def deck_with(folder: Path, code: str = MODEL, deck: str = NAMED) -> Deck:
    path, file = written(folder, code, deck)
    return read_deck(path, own=[file])


def test_the_same_numbers_are_the_same_load_model(tmp_path: Path) -> None:
    [model] = deck_with(tmp_path).required_traffic.load_models
    standard = load_models["EN 1991-2 LM1"](Conditions(width=6.0, span=3.0))
    assert (model.cited, model.mark, model.whole) == ("office note 5 (user's)", "user's", True)
    assert model.pressure == pytest.approx(standard.pressure)
    assert model.sets == standard.sets
    for mine, theirs in zip(model.kinds, standard.kinds, strict=True):
        assert mine.vehicles == theirs.vehicles
        numbers = [[k.factor, k.room, k.pressure, k.width] for k in (mine, theirs)]
        assert numbers[0] == pytest.approx(numbers[1])


def test_strips_under_it_are_those_under_the_standard_s(tmp_path: Path) -> None:
    deck = deck_with(tmp_path)
    both = deck.required_traffic.load_models
    standard = load_models["EN 1991-2 LM1"](Conditions(width=6.0, span=3.0))
    traffic = replace(deck.required_traffic, vehicles=(), load_models=(*both, standard))
    hands = hands_of(replace(deck, traffic=traffic))
    values = [
        {one.strips: one.value for one in hands["parallel", name].moments["bay", "C1", "C2"]}
        for name in ("office traffic", "EN 1991-2 LM1")
    ]
    heft = [found["DAfStb Heft 240"] for found in values]
    assert heft[0] == pytest.approx(heft[1], rel=1e-9)
    # A load of no family is compared with the methods of all.
    assert set(values[0]) > set(values[1])


def test_it_may_name_vehicles_of_the_same_code(tmp_path: Path) -> None:
    code = CRANE + MODEL.replace('"EN 1991-2 LM1 TS"', '"crane", "lorry"')
    deck = deck_with(tmp_path, code, NAMED + 'vehicles = "office.py"\n')
    [model] = deck.required_traffic.load_models
    assert [vehicle.name for vehicle in model.kinds[0].vehicles] == ["crane", "lorry"]
    assert deck.own.names[-1] == "office traffic"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            ("EN 1991-2 LM1 TS", "EN 1991-2 LM1TS"),
            r"lanes 1, vehicles = .*: no vehicle",
        ),
        (('"office traffic"', '"EN 1991-2 LM1"'), "a standard's load model has this name"),
        (('"office traffic"', '"other"'), r'load_models 1 = "office traffic": unknown load model'),
        (('"pressure_kN_m2": 2.5', '"pressure_kN_m2": -2.5'), r"pressure_kN_m2 = -2\.5: allowed"),
        (('"pressure_kN_m2": 2.5', '"together": [{"lanes": [1, 3]}]'), "there are 2 lanes"),
        (('"room_m": 1.25', '"room_m": 2.5'), r"lane 1 \+ lane 2: centre lines need 5 m side by"),
        (('"lanes"', '"lane"'), "lanes: is missing"),
    ],
)
def test_mistakes_are_told_as_those_of_a_deck_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: tuple[str, str], words: str
) -> None:
    path, file = written(tmp_path, MODEL.replace(*change), NAMED)
    assert main(["check", str(path), "--own", str(file)]) == 2
    told = capsys.readouterr().err
    assert re.search(words, told), told
    assert "Traceback" not in told

"""What bars see of stages, shrinkage and settlements: a composite deck with its bars."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.demand.moments import combinations_of, permanent_fields
from pipelines.bars.demand.observer import DesignWatch
from pipelines.errors import DeckError
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import Response, SolvedDeck
from tests.pipelines.composite_decks import CASES, COMPOSITE
from tests.pipelines.decks_with_bars import GRADES
from tests.pipelines.small_decks import deck_of, mat, solver_of

IN_COMBINATIONS = (
    CASES.replace('name = "fresh"', 'name = "fresh"\naction = "self-weight"')
    .replace('name = "surfacing"', 'name = "surfacing"\naction = "surfacing"', 1)
    .replace('name = "shrinkage"', 'name = "shrinkage"\naction = "shrinkage"', 1)
    + '[[case]]\nname = "down"\nsettlements_mm = { C2 = 10 }\naction = "settlement"\n'
)
BARS = GRADES + mat("bottom", "16@150", "12@125") + mat("top", "16@200", "12@200", outer="y")


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> tuple[SolvedDeck, dict[str, Response]]:
    folder: Path = tmp_path_factory.mktemp("bars")
    deck = solver_of(deck_of(folder, COMPOSITE, IN_COMBINATIONS, BARS))
    return deck, case_responses(deck)


def test_every_action_has_what_its_stage_adds(
    solved: tuple[SolvedDeck, dict[str, Response]],
) -> None:
    deck, cases = solved
    moments = permanent_fields(deck.deck, cases, slice(1, 4))
    assert set(moments) == {"self-weight", "surfacing", "shrinkage", "settlement"}
    # fresh concrete hardens without moments; a span that settles at one end turns without any
    assert np.abs(moments["self-weight"]).max() < 1.0
    assert np.abs(moments["settlement"]).max() < 1.0
    assert moments["shrinkage"][0].max() > 3e3
    [ultimate] = [c for c in combinations_of(deck.deck) if c.limit_state == "ULS"]
    assert ultimate.permanent["shrinkage"] == (1.0, 0.0)
    assert ultimate.permanent["settlement"] == (1.2, 0.0)


def test_membrane_forces_of_bars_are_those_of_the_cases(
    solved: tuple[SolvedDeck, dict[str, Response]],
) -> None:
    """By rows of the deck in the end, its share of the modulus and what the held slab has, against
    the probe of the model of each stage."""
    deck, cases = solved
    membrane = DesignWatch(deck, cases).membrane
    assert membrane is not None
    at = deck.recovery.points.plan
    beside = int(np.hypot(at[:, 0] - 10.0, at[:, 1] - 0.5).argmin())
    for name in ("surfacing", "shrinkage", "crowd", "warm slab"):
        own = membrane.own(cases[name])
        assert own is not None
        # half a metre off the beam the slab's force is what it is a decimetre nearer
        assert own[0, beside, 0] == pytest.approx(cases[name].membrane[0, 0], rel=0.01)
    own = membrane.own(cases["fresh"])
    assert own is not None
    assert not own.any()


def test_bars_of_beams_are_judged_on_one_model_alone(tmp_path: Path) -> None:
    beams = '[[beam_bars]]\non = "L2"\n'
    with pytest.raises(DeckError, match=r"\[stages\]: bars of beams"):
        deck_of(tmp_path, COMPOSITE, CASES, BARS, beams)
    settles = '[[case]]\nname = "down"\nsettlements_mm = { C2 = 10 }\naction = "settlement"\n'
    with pytest.raises(DeckError, match=r'case "down", action = "settlement": settlements are in'):
        deck_of(tmp_path, COMPOSITE, settles, BARS, beams)

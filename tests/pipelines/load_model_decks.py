"""Small decks under load models."""

from pathlib import Path

from pipelines.deck.deck import Deck
from tests.pipelines.small_decks import PROBES, SLAB, deck_of

PLAN = """
[plan]
stations_m = [0.0, 3.0]
offsets_m = [-3.1, 3.1]
"""


LINES = '[[line]]\non = "C*"\nsupport = "spring"\nk_kN_m2 = 4e4\n'


TRAFFIC = "[traffic]\ncarriageway_m = [-3.1, 3.1]\nstep_m = 0.6\nlateral_step_m = 0.55\n"


COARSE = "[mesh]\norder = 2\nsize_m = 1.1\n"


def model_deck(folder: Path, model: str, *more: str) -> Deck:
    named = TRAFFIC + f'load_models = ["{model}"]\n' + "".join(more)
    return deck_of(
        folder, SLAB, PLAN, LINES, named, PROBES.replace("[3.0, 0.1]", "[2.0, 1.1]"), COARSE
    )

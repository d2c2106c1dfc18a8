"""Bars and covers with which a deck file that has none is read."""

import math
from collections.abc import Mapping

import numpy as np

from pipelines.bars.choice.deck_text import DeckText
from pipelines.deck.reinforcement import Reinforcement
from pipelines.standards.detailing.cover import cover_rows
from pipelines.standards.resistance.bars import FACES, Bars, Face, Mat, SlabBars

# Bars with which a deck without any is read [m].
SOME = Bars(0.016, 0.150)
# To what covers are rounded up [m], and the cover of a face whose exposure is not stated.
ROUND, COVER = 0.005, 0.040


def with_some_bars(text: DeckText) -> DeckText:
    """With some bars where it has none, at the covers asked for."""
    if "bars" in text.tables:
        return text
    covers: Mapping[Face, float] = dict.fromkeys(FACES, COVER)
    for _ in range(2):
        top, bottom = (Mat(cover=covers[face], x=SOME, y=SOME, outer="x") for face in FACES)
        some = text.with_bars(SlabBars(math.inf, top, bottom))
        reinforcement = some.deck.reinforcement
        if reinforcement is None:
            return text
        covers = least_covers(reinforcement)
    return some


def least_covers(reinforcement: Reinforcement) -> dict[Face, float]:
    """The cover [m] that the exposure of each face asks for by every standard, rounded up."""
    found = {}
    for k, face in enumerate(FACES):
        asked_for = [COVER]
        for basis in reinforcement.bases:
            exposure = basis.exposure[k]
            if exposure is not None:
                rows = cover_rows(
                    reinforcement.bars,
                    face,
                    basis.materials,
                    exposure,
                    basis.structural_class,
                )
                asked_for.append(rows[0].required)
        found[face] = float(np.ceil(max(asked_for) / ROUND - 1e-9) * ROUND)
    return found

"""An analysis of a deck with bars, as closely as is asked for, and what stops its bars."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from pipelines.analysis.analyse import analyse
from pipelines.analysis.kept import Kept
from pipelines.analysis.result import Result
from pipelines.bars.adequacy import Adequacy, StandardVerdict
from pipelines.deck.deck import Deck
from pipelines.numbers import rounded_up

Look = Literal["wide", "steps", "whole"]
"""How closely load positions are looked at: with wider steps, with those of the deck file, with all
searches."""
WIDER = 2  # times the steps


def analysed(deck: Deck, kept: Kept, look: Look) -> Result:
    """With its bars judged."""
    if look == "wide" and deck.traffic is not None:
        steps = deck.traffic.step, deck.traffic.lateral_step
        along, across = (None if step is None else WIDER * step for step in steps)
        assert along is not None
        deck = replace(deck, traffic=replace(deck.traffic, step=along, lateral_step=across))
    whole = look == "whole"
    return analyse(deck, kept=kept, tolerances_wanted=whole, strips_wanted=whole)


def stops_of(verdicts: Sequence[StandardVerdict]) -> tuple[str, ...]:
    """The checks for which the bars are not adequate, or not shown to be, and where."""
    found = []
    for verdict in verdicts:
        for judged in (*verdict.of(Adequacy.NOT_ADEQUATE), *verdict.open):
            words, worst = f"{verdict.standard} {judged.title}", judged.worst
            if worst is not None:
                words += f" {rounded_up(worst.utilisation)} ({worst.place})"
            found.append(words)
    return tuple(found)

"""What a run makes of the check that a multiplier was found for."""

from dataclasses import replace

from pipelines.bars.adequacy import Check, check_of
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.design import StandardDesign, design
from pipelines.bars.rating.fleet import Permit, driven
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.root import MOST
from pipelines.deck.deck import Deck
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.resistance.bars import place_of

# Of a multiplier: beyond its own closeness, and small against a step of anything.
JUST = 1e-3


COARSE = """
[mesh]
size_m = 1.5
order = 2
"""


def utilisation(one: StandardDesign, of: Multiplier) -> float:
    """Of the same check, in the run."""
    if of.check is Check.BENDING:
        [layer] = [check for check in one.layers if place_of(check.layer) == of.words]
        return layer.utilisation
    if of.check is Check.SHEAR:
        assert one.design_shear is not None
        return one.design_shear.utilisation
    if of.check is Check.PUNCHING:
        assert one.punching is not None
        return one.punching.utilisation
    [row] = [row for row in one.rows if row.check == of.rule and row.place == of.words]
    assert check_of(row) is of.check
    return row.utilisation


def looked_at(rated: Rated) -> list[Multiplier]:
    """One multiplier of every check, and of every layer in bending."""
    first = {(m.check, m.words if m.check is Check.BENDING else ""): m
             for m in reversed(rated.multipliers)}  # fmt: skip
    return [m for m in first.values() if 0.0 < m.value < MOST]


def judged(deck: Deck, permit: Permit, factor: float) -> dict[str, StandardDesign]:
    """The bars by every standard, as a run judges them under the vehicle times a factor."""
    vehicle = replace(permit.vehicle, impact=factor * permit.vehicle.impact)
    alone = driven(deck, replace(permit, vehicle=vehicle), Mistakes(""))
    assert alone is not None
    solved = SolvedDeck.of(alone)
    watch = DesignWatch(solved, case_responses(solved))
    envelopes = traffic_envelopes(solved, workers=1, observers=(watch,))
    found = design(solved, envelopes, watch, workers=1)
    return {one.basis.materials.standard: one for one in found.standards}


def passes_and_fails(deck: Deck, permit: Permit, standard: str, found: Multiplier) -> None:
    just_less, just_more = (
        utilisation(judged(deck, permit, found.value * k)[standard], found)
        for k in (1.0 - JUST, 1.0 + JUST)
    )
    assert just_less <= 1.0 < just_more, found

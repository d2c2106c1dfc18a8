"""From loads, concrete, cover and a set of bars to bars by layer and zone that pass every check.

The deck is analysed with some bars, the least steel that resists what was found is chosen, and the
whole is done again with it, until the bars no longer change and every check that is judged is
adequate. What checks of several layers together ask for, shear above all, comes back as least areas
of layers; where no bars of the set suffice the slab gets thicker, if the deck file allows it.

Until bars pass and no longer change load positions are looked at with wider steps: what fails at
some of them fails. The last analysis looks as closely as is asked for.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from pipelines.analysis import analyse
from pipelines.bar_design.designed import Designed
from pipelines.bars.adequacy import Adequacy, StandardVerdict
from pipelines.bars.choice.alternatives import (
    ANALYSED,
    THICKER,
    alternative,
    alternatives,
    proposed,
)
from pipelines.bars.choice.candidates import Candidate, Needs, Trial
from pipelines.bars.choice.deck_text import DeckText
from pipelines.bars.choice.floors import LESS, MORE, Floor, asked, shear_floors
from pipelines.bars.choice.governs import governs
from pipelines.bars.choice.least_steel import Chosen, least_steel
from pipelines.bars.choice.one_step_less import ESTIMATE, Less, one_step_less
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import BarChoice
from pipelines.deck.words import at_text
from pipelines.kept import Kept
from pipelines.numbers import rounded_up
from pipelines.result import Result
from pipelines.standards.resistance.bars import LAYERS, Layer, SlabBars, place_of

MOST = 12  # analyses at one thickness
STILL = "the bars still change after"
NONE = "no bars of the set pass the checks of single layers"

Tell = Callable[[str], None]
Look = Literal["wide", "steps", "whole"]
"""How closely load positions are looked at: with wider steps, with those of the deck file, with all
searches."""
WIDER = 2  # times the steps
# A utilisation that is far above 1, and the share of it that other bars take off, if they help.
FAR, GAIN = 1.10, 0.005


def adequate(
    text: DeckText,
    choice: BarChoice,
    kept: Kept,
    tell: Tell,
    *,
    look: Look = "whole",
    chosen: Chosen | None = None,
) -> Designed:
    """Bars at the thickness and with the concrete that the text has.

    look : of the last analysis, by which the bars are adequate; of a whole one it is told what
    governs. chosen : bars that the text has already, as chosen elsewhere: a wide look asks for
    nothing else if they pass.
    """
    found = _Found()
    tried: dict[Less, str] = {}
    failing: list[float] = []
    now: Look = "wide"
    for number in range(1, MOST + 1):
        result = _analysed(text.deck, kept, now)
        bars = text.deck.required_reinforcement.bars
        stops = _stops(result.verdicts)
        _raise(found, result, bars, chosen=chosen is not None)
        tell(f"analysis {number}: {'; '.join(stops) or 'every check that is judged is adequate'}")
        passes = chosen is not None and not stops
        if chosen is not None and number > 1:  # not of bars chosen elsewhere, which may be more
            failing.append(_largest(result.verdicts))
        if _stuck(failing):
            break
        if passes and now == look:
            break
        following = least_steel(_needs(result, choice, found), bars)
        if passes and chosen is not None and following == chosen:
            spare = _spare(text, chosen, result, choice, found, tried, kept)
            if spare is not None:
                tell(f"{place_of(spare.layer)}: {spare.what} passes, too")
                found.passed[spare.layer] = spare.candidate
                tried[spare] = f"{spare.check}, by the searches of the whole run"
                following = least_steel(_needs(result, choice, found), bars)
        if following is None:
            stops = (*stops, *_without_bars(_needs(result, choice, found), bars)) or (NONE,)
            break
        if following == chosen and not passes:
            break  # nothing else is left to try
        now = look if passes and following == chosen else "wide"
        chosen = following
        text = text.with_bars(bars, chosen)
    else:  # the bars that were chosen last have not been analysed so closely
        stops = stops or (f"{STILL} {MOST} analyses",)
    designed = Designed(
        text=text,
        chosen=chosen,
        result=result,
        analyses=number + len(tried),
        stops=stops,
    )
    if chosen is None or stops or look != "whole":
        return designed
    return _told(designed, choice, found, tried, kept)


def _analysed(deck: Deck, kept: Kept, look: Look) -> Result:
    if look == "wide" and deck.traffic is not None:
        steps = deck.traffic.step, deck.traffic.lateral_step
        along, across = (None if step is None else WIDER * step for step in steps)
        assert along is not None
        deck = replace(deck, traffic=replace(deck.traffic, step=along, lateral_step=across))
    whole = look == "whole"
    return analyse(deck, kept=kept, tolerances_wanted=whole, strips_wanted=whole)


@dataclass(frozen=True)
class _Found:
    """Least areas of layers that failed checks ask for, and bars of layers that pass in spite of
    what is estimated."""

    floors: dict[Layer, Floor] = field(default_factory=dict)
    passed: dict[Layer, Candidate] = field(default_factory=dict)


def _told(
    design: Designed, choice: BarChoice, found: _Found, tried: dict[Less, str], kept: Kept
) -> Designed:
    """An adequate design with what governs it and what else would weigh."""
    chosen, result, text = design.chosen, design.result, design.text
    assert chosen is not None
    needs = _needs(result, choice, found)
    bars = text.deck.required_reinforcement.bars
    spare = _spare(text, chosen, result, choice, found, tried, kept, look="whole")
    if spare is not None:
        tried[spare] = ESTIMATE
    thicker = text.with_thickness(bars.thickness + THICKER)
    analysed = _analysed(thicker.deck, kept, "steps")
    again = least_steel(
        _needs(analysed, choice, replace(found, passed={})),
        thicker.deck.required_reinforcement.bars,
    )
    return replace(
        design,
        one_step_less=tuple(
            replace(less, check=tried.get(less) or less.check)
            for less in one_step_less(needs, bars, chosen)
        ),
        governs=governs(needs, bars, chosen),
        alternatives=(
            *alternatives(needs, bars, chosen),
            *proposed(needs),
            alternative(f"{1e3 * THICKER:.0f} mm thicker", needs, again, ANALYSED),
        ),
    )


def _spare(
    text: DeckText,
    chosen: Chosen,
    result: Result,
    choice: BarChoice,
    found: _Found,
    tried: dict[Less, str],
    kept: Kept,
    look: Look = "wide",
) -> Less | None:
    """Bars a step smaller than a least area asks for, which is an estimate, that pass in an
    analysis of their own; None where there are none.

    tried : what bars that have been analysed fail; added to. look : of the last analysis of each.
    """
    bars, needs = text.deck.required_reinforcement.bars, _needs(result, choice, found)
    for less in one_step_less(needs, bars, chosen):
        floor = needs.floors.get(less.layer)
        if floor is None or less.check != floor.why or less in tried:
            continue
        changed = replace(chosen, layers={**chosen.layers, less.layer: less.candidate})
        deck = text.with_bars(bars, changed).deck
        for closely in dict.fromkeys(("wide", look)):
            stops = _stops(_analysed(deck, kept, closely).verdicts)
            if stops:
                tried[less] = "; ".join(stops)
                break
        else:
            return less
    return None


def _needs(result: Result, choice: BarChoice, found: _Found) -> Needs:
    """What the bars must take after an analysis: least areas for shear as it finds them, with what
    earlier ones have shown to fail."""
    assert result.design is not None
    floors = dict(found.floors)
    for standard in result.design.standards:
        for layer, floor, _ in shear_floors(standard):
            floors[layer] = floors.get(layer, Floor()).joined(floor.times(LESS))
    return Needs(result.solved, result.design, choice, floors, found.passed)


def _without_bars(needs: Needs, bars: SlabBars) -> Iterator[str]:
    """What the fullest bars of the set fail in each layer, and where that is used most."""
    (*_, fullest) = needs.sets
    for layer in LAYERS:
        trial = Trial(needs, bars, layer)
        with_fullest = trial.with_layer(fullest)
        if with_fullest is None:
            yield f"{place_of(layer)}: {fullest} does not fit"
            continue
        fails = trial.fails(with_fullest, needs.everywhere)
        if fails is None:
            continue
        at = next(one.at for one in needs.standards[0].layers if one.layer == layer)
        yield (
            f"{place_of(layer)}: {fullest} fails {fails[0]} {rounded_up(fails[1])}, moments are "
            f"largest at ({at_text(at)}) m"
        )


def _largest(verdicts: Sequence[StandardVerdict]) -> float:
    """The largest utilisation of any check for which the bars are not adequate, 0 without."""
    return max(
        (
            judged.worst.utilisation
            for verdict in verdicts
            for judged in verdict.of(Adequacy.NOT_ADEQUATE)
            if judged.worst is not None
        ),
        default=0.0,
    )


def _stuck(failing: Sequence[float]) -> bool:
    """Whether what bars fail by most, analysis after analysis, is far above 1 and no less than it
    was, though they were changed for it."""
    *before, now = (np.inf, *failing) if failing else (np.inf, 0.0)
    return now > FAR and now > (1.0 - GAIN) * min(before)


def _stops(verdicts: Sequence[StandardVerdict]) -> tuple[str, ...]:
    """The checks for which the bars are not adequate, or not shown to be, and where."""
    found = []
    for verdict in verdicts:
        for judged in (*verdict.of(Adequacy.NOT_ADEQUATE), *verdict.open):
            words, worst = f"{verdict.standard} {judged.title}", judged.worst
            if worst is not None:
                words += f" {rounded_up(worst.utilisation)} ({worst.place})"
            found.append(words)
    return tuple(found)


def _raise(found: _Found, result: Result, bars: SlabBars, *, chosen: bool) -> None:
    """Raise the least areas to what failing checks ask for."""
    assert result.design is not None
    if any(verdict.of(Adequacy.NOT_ADEQUATE) for verdict in result.verdicts):
        found.passed.clear()  # beside other bars than these
    for verdict, standard in zip(result.verdicts, result.design.standards, strict=True):
        asked_for = list(asked(verdict, bars, chosen=chosen))
        asked_for += [
            (layer, floor.where(fails).times(MORE))
            for layer, floor, fails in shear_floors(standard)
            if fails.any()
        ]
        for layer, floor in asked_for:
            found.floors[layer] = found.floors.get(layer, Floor()).joined(floor)

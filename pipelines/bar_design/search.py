"""From loads, concrete, cover and a set of bars to bars by layer and zone that pass every check.

The deck is analysed with some bars, the least steel that resists what was found is chosen, and the
whole is done again with it, until the bars no longer change and every check that is judged is
adequate. What checks of several layers together ask for, shear above all, comes back as least areas
of layers; where no bars of the set suffice the slab gets thicker, if the deck file allows it.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipelines.analysis import analyse
from pipelines.bar_design.designed import Designed
from pipelines.bars.adequacy import Adequacy, StandardVerdict
from pipelines.bars.choice.alternatives import (
    ANALYSED,
    MORE,
    alternative,
    alternatives,
    proposed,
)
from pipelines.bars.choice.candidates import Needs, Trial
from pipelines.bars.choice.deck_text import DeckText
from pipelines.bars.choice.floors import asked
from pipelines.bars.choice.governs import governs
from pipelines.bars.choice.least_steel import Chosen, least_steel
from pipelines.bars.choice.one_step_less import ESTIMATE, Less, one_step_less
from pipelines.deck.reinforcement import BarChoice
from pipelines.deck.words import at_text
from pipelines.kept import Kept
from pipelines.numbers import rounded_up
from pipelines.result import Result
from pipelines.standards.resistance.bars import LAYERS, Bars, Layer, SlabBars, place_of

MOST = 12  # analyses at one thickness
STILL = "the bars still change after"
NONE = "no bars of the set pass the checks of single layers"

Tell = Callable[[str], None]


def adequate(
    text: DeckText, choice: BarChoice, kept: Kept, tell: Tell, *, whole: bool = True
) -> Designed:
    """Bars at the thickness and with the concrete that the text has.

    whole : the last analysis has all searches, and it is told what governs; without it bars are
    adequate by the steps of the load positions alone.
    """
    floors: dict[Layer, tuple[float, str]] = {}
    tried: dict[tuple[Layer, Bars], str] = {}
    chosen: Chosen | None = None
    quickly = True
    for number in range(1, MOST + 1):
        result = analyse(text.deck, kept=kept, tolerances_wanted=not quickly)
        bars = text.deck.required_reinforcement.bars
        stops = _stops(result.verdicts)
        changed = _raise(floors, result, bars, chosen=chosen is not None)
        tell(f"analysis {number}: {'; '.join(stops) or 'every check that is judged is adequate'}")
        found = chosen is not None and not stops
        if found and not (whole and quickly):
            break
        following = least_steel(_needs(result, choice, floors), bars)
        if found and chosen is not None and following == chosen:
            spare = _spare(text, chosen, result, choice, floors, tried, kept)
            if spare is not None:
                tell(f"{place_of(spare.layer)}: {spare.bars} passes, too")
                floors[spare.layer] = spare.bars.area, spare.check
                tried[spare.layer, spare.bars] = f"{spare.check}, by the searches of the whole run"
                following = least_steel(_needs(result, choice, floors), bars)
        if following is None:
            stops = (*stops, *_without_bars(_needs(result, choice, floors), bars)) or (NONE,)
            break
        if following == chosen and not found and not changed:
            break
        # the last analysis is the whole one, whose searches are closer
        quickly = not (found and following == chosen)
        chosen = following
        text = text.with_bars(bars, chosen)
    else:  # the bars that were chosen last have not been analysed with all searches
        stops = stops or (f"{STILL} {MOST} analyses",)
    designed = Designed(
        text=text,
        chosen=chosen,
        result=result,
        floors=floors,
        analyses=number + len(tried),
        stops=stops,
    )
    if chosen is None or stops or not whole:
        return designed
    return _told(designed, choice, tried, kept)


def _told(
    found: Designed, choice: BarChoice, tried: dict[tuple[Layer, Bars], str], kept: Kept
) -> Designed:
    """An adequate design with what governs it and what else would weigh."""
    chosen, result, text = found.chosen, found.result, found.text
    assert chosen is not None
    needs, why = _needs(result, choice, found.floors), _why(found.floors)
    bars = text.deck.required_reinforcement.bars
    spare = _spare(text, chosen, result, choice, found.floors, tried, kept, whole=True)
    if spare is not None:
        tried[spare.layer, spare.bars] = ESTIMATE
    thicker = text.with_thickness(bars.thickness + MORE)
    analysed = analyse(thicker.deck, kept=kept, tolerances_wanted=False)
    again = least_steel(
        _needs(analysed, choice, found.floors), thicker.deck.required_reinforcement.bars
    )
    return replace(
        found,
        one_step_less=tuple(
            replace(less, check=tried.get((less.layer, less.bars)) or less.check)
            for less in one_step_less(needs, bars, chosen, why)
        ),
        governs=governs(needs, bars, chosen, why),
        alternatives=(
            *alternatives(needs, bars, chosen),
            *proposed(needs),
            alternative(f"{1e3 * MORE:.0f} mm thicker", needs, again, ANALYSED),
        ),
    )


def _spare(
    text: DeckText,
    chosen: Chosen,
    result: Result,
    choice: BarChoice,
    floors: Mapping[Layer, tuple[float, str]],
    tried: dict[tuple[Layer, Bars], str],
    kept: Kept,
    *,
    whole: bool = False,
) -> Less | None:
    """Bars a step smaller than a least area asks for, which is an estimate, that pass in an
    analysis of their own; None where there are none.

    tried : what bars that have been analysed fail; added to. whole : with all searches.
    """
    bars, needs = text.deck.required_reinforcement.bars, _needs(result, choice, floors)
    for less in one_step_less(needs, bars, chosen, _why(floors)):
        key = less.layer, less.bars
        if less.added or less.check != _why(floors).get(less.layer) or key in tried:
            continue
        layer = replace(chosen.layers[less.layer], bars=less.bars)
        smaller = replace(chosen, layers={**chosen.layers, less.layer: layer})
        deck = text.with_bars(bars, smaller).deck
        stops = _stops(analyse(deck, kept=kept, tolerances_wanted=whole).verdicts)
        if not stops:
            return less
        tried[key] = "; ".join(stops)
    return None


def _why(floors: Mapping[Layer, tuple[float, str]]) -> dict[Layer, str]:
    return {layer: why for layer, (_, why) in floors.items()}


def _needs(result: Result, choice: BarChoice, floors: Mapping[Layer, tuple[float, str]]) -> Needs:
    """What the bars must take after an analysis."""
    assert result.design is not None
    areas = {layer: area for layer, (area, _) in floors.items()}
    return Needs(result.solved, result.design, choice, areas)


def _without_bars(needs: Needs, bars: SlabBars) -> Iterator[str]:
    """What the fullest bars of the set fail in each layer, and where that is used most."""
    (*_, fullest) = needs.sets
    everywhere = np.ones(len(needs.solved.recovery.points.plan), dtype=bool)
    for layer in LAYERS:
        trial = Trial(needs, bars, layer)
        with_fullest = trial.with_layer(fullest)
        if with_fullest is None:
            yield f"{place_of(layer)}: {fullest} does not fit"
            continue
        fails = trial.fails(with_fullest, everywhere)
        if fails is None:
            if fullest.area < needs.floors.get(layer, 0.0):
                yield f"{place_of(layer)}: {fullest} is less than shear or punching asks for"
            continue
        at = next(one.at for one in needs.standards[0].layers if one.layer == layer)
        yield (
            f"{place_of(layer)}: {fullest} fails {fails[0]} {rounded_up(fails[1])}, moments are "
            f"largest at ({at_text(at)}) m"
        )


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


def _raise(
    floors: dict[Layer, tuple[float, str]], result: Result, bars: SlabBars, *, chosen: bool
) -> bool:
    """Raise the least areas to what failing checks ask for; whether any has risen."""
    changed = False
    assert result.design is not None
    for verdict, standard in zip(result.verdicts, result.design.standards, strict=True):
        for layer, area, why in asked(verdict, standard, bars, chosen=chosen):
            if area > floors.get(layer, (0.0, ""))[0] * (1.0 + 1e-9):
                floors[layer] = (area, why)
                changed = True
    return changed

"""From loads, concrete, cover and a set of bars to bars by layer and zone that pass every check.

The deck is analysed with some bars, the least steel that resists what was found is chosen, and the
whole is done again with it, until every check that is judged is adequate. What an analysis finds
that checks of several layers together ask for, shear above all, is kept for all that follow: bars
are chosen again only where a check fails, from fewer than before, so that their cost only grows
and the search ends. Then bars are made smaller by a step as long as such pass.

Until bars pass load positions are looked at with wider steps: what fails at some of them fails. The
last analysis looks as closely as is asked for.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from pipelines.analysis.kept import Kept
from pipelines.bar_design.designed import Designed
from pipelines.bar_design.known import Known
from pipelines.bar_design.looks import Look, analysed, stops_of
from pipelines.bar_design.stepped_down import Step, stepped_down
from pipelines.bars.choice.alternatives import (
    ANALYSED,
    THICKER,
    alternative,
    alternatives,
    proposed,
)
from pipelines.bars.choice.candidates import Needs, Trial
from pipelines.bars.choice.deck_text import DeckText
from pipelines.bars.choice.governs import governs
from pipelines.bars.choice.least_steel import Chosen
from pipelines.bars.choice.one_step_less import one_step_less
from pipelines.deck.reinforcement import BarChoice
from pipelines.deck.words import at_text
from pipelines.numbers import rounded_up
from pipelines.standards.resistance.bars import LAYERS, SlabBars, place_of

MOST = 12  # analyses at one thickness
STILL = "the bars still change after"
NONE = "no bars of the set pass the checks of single layers and fit in the slab"

Tell = Callable[[str], None]


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

    look : of the last analysis, by which the bars are adequate; of a whole one no bars can be
    smaller by a step, and it is told what governs. chosen : bars that the text has already, as
    chosen elsewhere: a wide look asks for nothing else if they pass.
    """
    known = Known()
    now: Look = "wide"
    own = look == "wide" and chosen is not None
    for number in range(1, MOST + 1):
        result = analysed(text.deck, kept, now)
        bars = text.deck.required_reinforcement.bars
        stops = stops_of(result.verdicts)
        tell(f"analysis {number}: {'; '.join(stops) or 'every check that is judged is adequate'}")
        # what single layers fail is known from the moments, unless the searches look closer
        known.add(result, bars, closer=chosen is not None and now == "whole")
        if stops or not own:
            needs, following = known.least(result, choice, bars)
            if stops and chosen is not None and following == chosen:
                known.add(result, bars, closer=True)
                needs, following = known.least(result, choice, bars)
            if following is None:
                stops = (*stops, *_without_bars(needs, bars)) or (NONE,)
                break
            if stops and (
                following == chosen or (own and known.shears_fail(needs, bars, following))
            ):
                break  # nothing else is left to try
            if following != chosen:
                text, chosen = text.with_bars(bars, following), following
                own, now = True, "steps" if now == "whole" else now
                continue
            own = True
        if now == look:
            break
        now = look if now == "steps" or look == "wide" else "steps"
    else:  # the bars that were chosen last have not been analysed so closely
        stops = stops or (f"{STILL} {MOST} analyses",)
    designed = Designed(text=text, chosen=chosen, result=result, analyses=number, stops=stops)
    if chosen is None or stops or look != "whole":
        return designed
    return _told(*stepped_down(designed, choice, known, kept, tell), choice, known, kept)


def _told(
    design: Designed,
    tried: Mapping[Step, str],
    choice: BarChoice,
    known: Known,
    kept: Kept,
) -> Designed:
    """An adequate design with what governs it and what else would weigh."""
    chosen, result, text = design.chosen, design.result, design.text
    assert chosen is not None
    needs = known.needs(result, choice)
    bars = text.deck.required_reinforcement.bars
    thicker = text.with_thickness(bars.thickness + THICKER)
    more = analysed(thicker.deck, kept, "steps")
    of_more = Known(dict(known.floors))
    of_more.add(more, bars, closer=True)
    _, again = of_more.least(more, choice, thicker.deck.required_reinforcement.bars)
    return replace(
        design,
        one_step_less=tuple(
            replace(less, check=tried[step], utilisation=None)
            if (step := (less.layer, less.candidate)) in tried
            else less
            for less in one_step_less(needs, bars, chosen)
        ),
        governs=governs(needs, bars, chosen),
        alternatives=(
            *alternatives(needs, bars, chosen),
            *proposed(needs),
            alternative(f"{1e3 * THICKER:.0f} mm thicker", needs, again, ANALYSED),
        ),
    )


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

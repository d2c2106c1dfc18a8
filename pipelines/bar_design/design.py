"""Bars of a deck from its [bar_choice], with the thickness and the grade of concrete where these
may be chosen."""

from dataclasses import replace

from pipelines.bar_design.covers import with_some_bars
from pipelines.bar_design.designed import Designed
from pipelines.bar_design.least_change import Kind, least_changes, with_least_change
from pipelines.bar_design.search import STILL, Tell, adequate
from pipelines.bars.choice.deck_text import DeckText
from pipelines.errors import JobError
from pipelines.kept import Kept


def designed(text: DeckText, tell: Tell = lambda _: None, change: Kind | None = None) -> Designed:
    """Bars at the least thickness with the first of the grades at which some pass; where none do,
    of the last with the least changes that help.

    change : the least of that kind that helps is taken where none pass.

    Raises
    ------
    JobError
        If the deck has no set of bars, no traffic or as-built readings.
    """
    text = with_some_bars(text)
    deck = text.deck
    reinforcement = deck.reinforcement
    if reinforcement is None or reinforcement.choice is None:
        raise JobError(
            f"{deck.path}: a design needs [[concrete]], [[steel]] and a set of bars, [bar_choice]"
        )
    if deck.traffic is None:
        raise JobError(f"{deck.path}: a design needs [traffic]")
    if reinforcement.survey is not None:
        raise JobError(f"{deck.path}: [survey] is of bars that lie already: leave it out")
    choice, kept, count = reinforcement.choice, Kept(), 0
    for thickness in choice.thicknesses or (deck.slab.thickness,):
        for grades in choice.grades or ({},):
            trial = text.with_thickness(thickness).with_grades(grades)
            tell(", ".join((f"slab of {1e3 * thickness:.0f} mm", *grades.values())))
            found = adequate(trial, choice, kept, tell)
            count += found.analyses
            found = replace(found, analyses=count)
            if found.adequate:
                return found
    if any(stop.startswith(STILL) for stop in found.stops):
        return found  # nothing has been shown not to pass
    if change is not None:
        return with_least_change(change, trial, found, choice, kept, tell)
    return replace(found, helps=tuple(least_changes(trial, found, choice, kept, tell)))

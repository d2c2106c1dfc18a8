"""Bars of a deck from its [bar_choice], with the thickness and the grade of concrete where these
may be chosen."""

from dataclasses import replace

from pipelines.analysis.kept import Kept
from pipelines.bar_design.covers import with_some_bars
from pipelines.bar_design.designed import Designed
from pipelines.bar_design.least_change import Kind, first_passing, least_changes, with_least_change
from pipelines.bar_design.looks import Look
from pipelines.bar_design.search import STILL, Tell, adequate
from pipelines.bars.choice.deck_text import DeckText
from pipelines.errors import JobError


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
    grades = choice.grades or ({},)

    def at(thickness: float, look: Look) -> Designed:
        """With the first of the grades at which some bars pass, or the last."""
        nonlocal count
        for grade in grades:
            trial = text.with_thickness(thickness).with_grades(grade)
            tell(", ".join((f"slab of {1e3 * thickness:.0f} mm", *grade.values())))
            found = adequate(trial, choice, kept, tell, look=look)
            count += found.analyses
            if found.adequate:
                break
        return replace(found, analyses=count)

    def passing(thickness: float) -> Designed | None:
        found = at(thickness, "wide")
        return found if found.adequate else None

    thicknesses = choice.thicknesses or (deck.slab.thickness,)
    first = 0
    if len(thicknesses) > 1:
        first, _ = first_passing(thicknesses, 0, passing)
    for thickness in thicknesses[first:]:  # by searches closer than the steps, too
        found = at(thickness, "whole")
        if found.adequate:
            return found
    if any(stop.startswith(STILL) for stop in found.stops):
        return found  # nothing has been shown not to pass
    last = text.with_thickness(thicknesses[-1]).with_grades(grades[-1])
    if change is not None:
        return with_least_change(change, last, found, choice, kept, tell)
    return replace(found, helps=tuple(least_changes(last, found, choice, kept, tell)))

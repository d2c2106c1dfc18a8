"""How much of each vehicle and load model a deck carries: the largest multiplier of the traffic,
check by check.

Every vehicle drives alone over the deck, at all its load positions, every load model stands on it
with all its lanes, with permanent actions as they are. The plate is factorised once, and what bars
and sections can take is found once. A multiplier is that at which the checks of a run of the deck
with the traffic so multiplied just pass; of many vehicles most are judged at places alone (`many`).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.beside import Lanes, lanes_of, rated_beside
from pipelines.bars.rating.fatigue import fatigue_rated
from pipelines.bars.rating.fleet import Fleet, Level, driven
from pipelines.bars.rating.load_models import rated_model
from pipelines.bars.rating.many import MANY, can_be_many, rated_at_places
from pipelines.bars.rating.multipliers import Rated
from pipelines.bars.rating.rater import Rater
from pipelines.deck.deck import Deck
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.model.accepted import buildable
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck
from pipelines.standards.resistance.shear import NOT_ASKED
from pipelines.traffic.positions import load_positions
from plate.arrays import Floats
from plate.threads import one_thread

Progress = Callable[[int, int], None]


@dataclass(frozen=True, eq=False, kw_only=True)
class Rating:
    """All vehicles and load models of a fleet on a deck.

    rated : each of them by every standard that it counts under, and every standard's own load for
    fatigue. solved : the deck; short : (n_point,) least multiplier in bending of any of them by any
    standard at each result point; notes : what is not judged.
    """

    deck: Deck
    solved: SolvedDeck
    rated: tuple[Rated, ...]
    levels: tuple[Level, ...]
    short: Floats
    notes: tuple[str, ...]

    @cached_property
    def worst_first(self) -> tuple[Rated, ...]:
        return tuple(sorted(self.rated, key=lambda one: one.least.value))


def rate(deck: Deck, fleet: Fleet, progress: Progress | None = None) -> Rating:
    """Multipliers of every vehicle and load model of a fleet, and of the loads for fatigue.

    progress : called with the number of vehicles done and of all.

    Raises
    ------
    DeckError
        The deck has no bars or no traffic, a vehicle's path leaves the carriageway, or the deck has
        no load model of that name.
    PlateError, JobError
        What is wrong with the deck, in one message.
    """
    mistakes = Mistakes(deck.path)
    if deck.reinforcement is None:
        mistakes.add("[[bars]]", None, "is missing: what the deck carries is judged by its bars")
    if deck.traffic is None:
        mistakes.add("[traffic]", None, "is missing: it says where the carriageway is")
    mistakes.raise_if_any()
    models = fleet.load_models(deck, mistakes)
    lanes = [lanes_of(deck, permit, mistakes) for permit in fleet.permits]
    decks = [driven(deck, permit, mistakes) for permit in fleet.permits]
    mistakes.raise_if_any()
    with one_thread:
        solved = SolvedDeck.of(deck, buildable(deck).model)
        solved.check()
        watch = DesignWatch(solved, case_responses(solved))
        rater = Rater(solved, watch)
        every = [
            (permit, alone, beside)
            for permit, alone, beside in zip(fleet.permits, decks, lanes, strict=True)
            if alone is not None
        ]
        notes = _notes(watch, [beside for _, _, beside in every])
        found: list[Rated] = []
        single = [(permit, alone) for permit, alone, beside in every if beside is None]
        if len(single) >= MANY and can_be_many(watch):
            permits, those = [one for one, _ in single], [alone for _, alone in single]
            found, more = rated_at_places(rater, permits, those, progress)
            notes = (*more, *notes)
        else:
            for k, (permit, alone) in enumerate(single):
                over = rater.over_deck(permit, load_positions(alone))
                found += rater.rated(permit, alone, over)
                if progress is not None:
                    progress(k + 1, len(every))
        for permit, alone, beside in every:
            if beside is not None:
                found += rated_beside(rater, permit, alone, beside)
        for model in models:
            found += rated_model(rater, model)
        found += fatigue_rated(rater)
    return Rating(
        deck=deck,
        solved=solved,
        rated=tuple(found),
        levels=fleet.levels,
        short=rater.short,
        notes=notes,
    )


def _notes(watch: DesignWatch, lanes: Sequence[Lanes | None]) -> tuple[str, ...]:
    """What is left out; lanes : beside every vehicle, None = it is alone."""
    notes = []
    if None in lanes or not lanes:
        others = " but where it says so" if any(lanes) else ""
        notes.append(
            "Every vehicle alone on the deck, at the steps of the load positions; not beside other "
            f"traffic{others}."
        )
    if any(lanes):
        notes.append(
            "The multiplier of a vehicle beside lanes of a load model is on the vehicle alone, the "
            "lanes stay at the factors told on axles and distributed loads, in every combination. "
            "They stand where its room leaves them the carriageway, one lane less at least than "
            "without it; distributed loads lie on the vehicle's own strip, too. Shear under the "
            "arrangements of lanes that are worst by themselves; punching of the vehicle's own "
            "wheels alone."
        )
    notes += [
        "Fatigue of the bars is rated under a standard's own load for it alone, where it has one: "
        "it is of traffic over the years, not of one vehicle.",
        "The slab alone: not the beams and girders that carry it, bearings, joints, anchorage and "
        "laps of the bars, deflections or the barrier; bars as drawn, not panels as built.",
        "Shear beside supports at its full value. Between the steps of the load positions only the "
        "least multiplier of a vehicle driven over the whole deck is looked at, where it is of "
        "moments, at its place: no less than told. Another check or place may lose more there.",
    ]
    if any(basis.own.checks for basis in watch.reinforcement.bases):
        notes.append("Checks of the user's own: not rated.")
    if watch.membrane is not None:
        notes.append("Stresses and crack widths: not where membrane forces act.")
    for basis in watch.reinforcement.bases:
        source = NOT_ASKED.get(basis.materials.standard)
        if source is not None:
            notes.append(f"Shear without links: not asked by {source}.")
    return tuple(notes)

"""How much of each vehicle a deck carries: the largest multiplier of the traffic, check by check.

Every vehicle drives alone over the deck, at all its load positions, with permanent actions as they
are. The plate is factorised once, and what bars and sections can take is found once. A multiplier
is that at which the checks of a run of the deck with the vehicle so multiplied just pass.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.checks.wheel_punching import WheelPunching, reach_of, wheel_punching
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.rating.fleet import Fleet, Level, Permit, driven
from pipelines.bars.rating.limits import MomentLimit, moment_limits
from pipelines.bars.rating.moments import (
    Moments,
    moment_multiplier,
    nothing_beside,
    point_multipliers,
)
from pipelines.bars.rating.root import MOST
from pipelines.bars.rating.shear import ShearOfVehicle
from pipelines.deck.deck import Deck
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.deck.words import at_text, line_title, place
from pipelines.model.accepted import buildable
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import SolvedDeck, stream
from pipelines.standards.actions.load_models import counts_under
from pipelines.standards.resistance.shear import CHOSEN, NOT_ASKED, ONE_WAY
from pipelines.standards.sources import Source, Standard
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import LoadPositions, load_positions, position_of
from plate.arrays import Floats
from plate.threads import one_thread

Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True)
class Multiplier:
    """The largest multiplier of a vehicle at which a check passes.

    rule : of the check; words : the layer or section; ultimate : whether the check is of the
    ultimate limit state, so that another partial factor on traffic changes the multiplier in
    proportion; at : in plan [m]; position : of the vehicle where it governs, None = no position
    comes to the limit.
    """

    value: float
    check: Check
    rule: str
    words: str
    ultimate: bool
    at: tuple[float, float]
    where: str
    position: LoadPosition | None
    source: Source

    @property
    def adequate(self) -> bool:
        return self.value >= 1.0


@dataclass(frozen=True, kw_only=True)
class Rated:
    """A vehicle by one standard: multipliers, the least first; n : its load positions; gamma : the
    factor on traffic at the ultimate limit state."""

    vehicle: str
    standard: Standard
    multipliers: tuple[Multiplier, ...]
    gamma: float
    n: int

    @property
    def least(self) -> Multiplier:
        return self.multipliers[0]

    @property
    def following(self) -> Multiplier | None:
        """The least one of another check or place."""
        mine = (self.least.check, self.least.words)
        return next((m for m in self.multipliers if (m.check, m.words) != mine), None)

    def of(self, check: Check) -> Multiplier | None:
        """The least multiplier of a check; None where it is not judged."""
        return next((m for m in self.multipliers if m.check is check), None)

    def at_level(self, level: Level) -> float:
        """The least multiplier of the ultimate limit state with another factor on the vehicle."""
        least = min((m.value for m in self.multipliers if m.ultimate), default=MOST)
        return least * self.gamma / level.gamma


@dataclass(frozen=True, eq=False, kw_only=True)
class Rating:
    """All vehicles of a fleet on a deck.

    rated : every vehicle by every standard that it counts under. solved : the deck; short :
    (n_point,) least multiplier in bending of any vehicle by any standard at each result point;
    notes : what is not judged.
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
    """Multipliers of every vehicle of a fleet.

    progress : called with the number of vehicles done and of all.

    Raises
    ------
    DeckError
        The deck has no bars or no traffic, or a vehicle's path leaves the carriageway.
    PlateError, JobError
        What is wrong with the deck, in one message.
    """
    mistakes = Mistakes(deck.path)
    if deck.reinforcement is None:
        mistakes.add("[[bars]]", None, "is missing: what the deck carries is judged by its bars")
    if deck.traffic is None:
        mistakes.add("[traffic]", None, "is missing: it says where the carriageway is")
    mistakes.raise_if_any()
    decks = [driven(deck, permit, mistakes) for permit in fleet.permits]
    mistakes.raise_if_any()
    with one_thread:
        solved = SolvedDeck.of(deck, buildable(deck).model)
        solved.check()
        watch = DesignWatch(solved, case_responses(solved))
        rater = _Rater(solved, watch)
        found: list[Rated] = []
        for k, (permit, alone) in enumerate(zip(fleet.permits, decks, strict=True)):
            assert alone is not None, "a deck is missing without a mistake"
            found += rater.rated(permit, alone)
            if progress is not None:
                progress(k + 1, len(decks))
    return Rating(
        deck=deck,
        solved=solved,
        rated=tuple(found),
        levels=fleet.levels,
        short=rater.short,
        notes=_notes(watch),
    )


def _notes(watch: DesignWatch) -> tuple[str, ...]:
    """What is left out."""
    notes = [
        "Every vehicle alone on the deck, at the steps of the load positions; not beside other "
        "traffic.",
        "Fatigue of the bars is not rated: it is of traffic over the years, not of one vehicle.",
        "Bars as drawn; not panels as built, beams with bars or the barrier.",
        "Shear beside supports at its full value; load positions between the steps are not looked "
        "at.",
    ]
    if watch.membrane is not None:
        notes.append("Stresses and crack widths: not where membrane forces act.")
    for basis in watch.reinforcement.bases:
        source = NOT_ASKED.get(basis.materials.standard)
        if source is not None:
            notes.append(f"Shear without links: not asked by {source}.")
    return tuple(notes)


class _Rater:
    """What is the same for all vehicles of a deck."""

    def __init__(self, solved: SolvedDeck, watch: DesignWatch) -> None:
        self.solved, self.watch = solved, watch
        self.plan = solved.recovery.points.plan
        self.bases = watch.reinforcement.bases
        self.limits = [moment_limits(watch, k, self.plan) for k in range(len(self.bases))]
        self.short = np.full(len(self.plan), MOST)

    def rated(self, permit: Permit, alone: Deck) -> Iterator[Rated]:
        """A vehicle by every standard that it counts under."""
        runs = load_positions(alone)
        mine = [
            k
            for k, basis in enumerate(self.bases)
            if counts_under(permit.vehicle.name, basis.materials.standard)
        ]
        trackers = {
            k: [t for t in (self.watch.shears[k], *self.watch.part_shears[k])]
            for k in mine
            if self.bases[k].materials.standard not in NOT_ASKED
        }
        blocks = []
        shears: dict[tuple[int, int], list[Floats]] = {}
        for first, response, _ in stream(self.solved, runs, lambda _, response: response.fields):
            made = self.watch.moments.blocks(first, response)
            lean = {id(block): replace(block, beside=nothing_beside) for block in made}
            blocks.append([lean[id(block)] for block in made])
            for k, every in trackers.items():
                for part, tracker in enumerate(every):
                    if len(tracker.sections.points):
                        shears.setdefault((k, part), []).append(tracker.factored(response))
        moments = Moments.of(np.arange(len(self.plan)), blocks)
        for k in mine:
            multipliers = [self._moment(limit, moments, runs) for limit in self.limits[k]]
            guess = min((m.value for m in multipliers if m.ultimate), default=1.0)
            for part, tracker in enumerate(trackers.get(k, ())):
                if (k, part) in shears:
                    width = self.watch.design_width if part == 0 else tracker.widths[0]
                    one = ShearOfVehicle.of(tracker, shears[k, part], width)
                    multipliers += self._shear(one, guess, runs)
            multipliers += self._punching(k, alone, runs)
            yield Rated(
                vehicle=permit.vehicle.name,
                standard=self.bases[k].materials.standard,
                multipliers=tuple(sorted(multipliers, key=lambda m: m.value)),
                gamma=self.watch.shears[k].combination.traffic,
                n=sum(map(len, runs)),
            )

    def _moment(
        self, limit: MomentLimit, moments: Moments, runs: Sequence[LoadPositions]
    ) -> Multiplier:
        found = moment_multiplier(limit, moments, limit.at)
        if limit.check is Check.BENDING:
            # a result point stands for those that are read at it
            here = np.full(len(self.plan), MOST)
            here[limit.at] = point_multipliers(limit, moments)
            reads = self.watch.read_at[limit.row]
            self.short = np.minimum(self.short, here[reads])
        at = (float(self.plan[found.at, 0]), float(self.plan[found.at, 1]))
        return Multiplier(
            value=found.value,
            check=limit.check,
            rule=limit.rule,
            words=limit.words,
            ultimate=limit.tracker.combination.limit_state == "ULS",
            at=at,
            where=f"{place(self.watch.deck, at)}, ({at_text(at)}) m",
            position=None if found.number < 0 else position_of(runs, found.number),
            source=limit.source,
        )

    def _shear(
        self, one: ShearOfVehicle, guess: float, runs: Sequence[LoadPositions]
    ) -> Iterator[Multiplier]:
        found = one.multiplier(guess)
        if found is None:
            return
        sections = one.tracker.sections
        line, side = sections.names[sections.line[found.sample]], sections.side[found.sample]
        at = (float(sections.points[found.sample, 0]), float(sections.points[found.sample, 1]))
        beside = f"{'before' if side < 0 else 'after'} {line_title(self.watch.deck, line)}"
        yield Multiplier(
            value=found.value,
            check=Check.SHEAR,
            rule="shear without links",
            words=beside,
            ultimate=True,
            at=at,
            where=f"{beside}, ({at_text(at)}) m",
            position=None if found.number < 0 else position_of(runs, found.number),
            source=one.tracker.mat.factors.marked(ONE_WAY[one.tracker.mat.standard], *CHOSEN),
        )

    def _punching(self, k: int, alone: Deck, runs: Sequence[LoadPositions]) -> Iterator[Multiplier]:
        """Utilisation in punching grows with the load in proportion."""
        mat, factor = self.bases[k].materials, self.watch.shears[k].combination.traffic
        reach = reach_of(self.watch.reinforcement.bars, mat)
        parts = self.watch.drawn[k].parts
        for part in parts:
            holds = part.holds if len(parts) > 1 else None
            found: WheelPunching | None = wheel_punching(
                alone, runs, (), part.bars, mat, factor, holds, reach
            )
            if found is None or found.utilisation <= 0.0:
                continue
            yield Multiplier(
                value=min(1.0 / found.utilisation, MOST),
                check=Check.PUNCHING,
                rule="punching under wheels",
                words=f"{found.wheels} wheel{'s' * (found.wheels > 1)}, {found.shape}",
                ultimate=True,
                at=found.at,
                where=f"{place(self.watch.deck, found.at)}, ({at_text(found.at)}) m",
                position=found.position,
                source=found.source,
            )

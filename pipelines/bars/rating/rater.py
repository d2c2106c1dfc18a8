"""Rates a vehicle that is driven over the whole deck: every load position solved for."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.checks.free_edges import FreeEdges
from pipelines.bars.checks.standing_wheels import StandingWheels
from pipelines.bars.checks.wheel_punching import WheelPunching, farthest_reach, wheel_punching
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.shear import ShearTracker
from pipelines.bars.demand.wood_armer import Block
from pipelines.bars.rating.between_steps import between_steps
from pipelines.bars.rating.block_reading import BlockReader
from pipelines.bars.rating.fleet import Permit
from pipelines.bars.rating.limits import MomentLimit, moment_limits
from pipelines.bars.rating.moments import (
    MomentMultiplier,
    Moments,
    moment_multiplier,
    point_multipliers,
)
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.places import OverDeck, Runs, Trackers
from pipelines.bars.rating.root import CLOSE, MOST
from pipelines.bars.rating.shear import ShearMultiplier, ShearOfVehicle
from pipelines.deck.deck import Deck
from pipelines.deck.words import at_text, line_title, place
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.model.position_blocks import in_blocks, read_blocks
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.load_models import counts_under
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.standards.resistance.shear import CHOSEN, NOT_ASKED, ONE_WAY
from pipelines.traffic.arrangements import Arrangement
from pipelines.traffic.positions import LoadPositions, position_of

Standing = Callable[[int], Arrangement | None]
"""Where the traffic of that number stands; None of a negative one."""


def standing(runs: Runs) -> Standing:
    """Of a vehicle's load positions."""
    return lambda number: None if number < 0 else Arrangement.of(position_of(runs, number))


class Rater:
    """What is the same for all vehicles of a deck."""

    def __init__(self, solved: SolvedDeck, watch: DesignWatch) -> None:
        self.solved, self.watch = solved, watch
        self.plan = solved.recovery.points.plan
        self.bases = watch.reinforcement.bases
        self.limits = [moment_limits(watch, k, self.plan) for k in range(len(self.bases))]
        self.trackers: Trackers = {
            (k, part): (tracker, watch.design_width if part == 0 else tracker.widths[0])
            for k, basis in enumerate(self.bases)
            if basis.materials.standard not in NOT_ASKED
            for part, tracker in enumerate((watch.shears[k], *watch.part_shears[k]))
            if len(tracker.sections.points)
        }
        self.read = BlockReader.of(watch, {key: one for key, (one, _) in self.trackers.items()})
        edges = FreeEdges.of(watch.deck)
        self.free_edges = edges.across_x is not None, edges.across_y is not None
        self.reaches = [farthest_reach(watch.deck, basis.materials) for basis in self.bases]
        self.short = np.full(len(self.plan), MOST)
        self._where: dict[tuple[float, float], str] = {}

    def counting(self, permit: Permit) -> list[int]:
        """Numbers of the standards that a vehicle counts under."""
        standards = (basis.materials.standard for basis in self.bases)
        return [k for k, one in enumerate(standards) if counts_under(permit.vehicle.name, one)]

    def over_deck(self, permit: Permit, runs: Runs) -> OverDeck:
        """A vehicle driven over the whole deck, at its load positions."""
        mine, count = self.counting(permit), sum(map(len, runs))
        forces = {
            key: np.empty((*tracker.permanent.shape[1:], count))
            for key, (tracker, _) in self.trackers.items()
            if key[0] in mine
        }

        def read(first: int, response: Response) -> list[Block]:
            blocks, found = self.read(first, response)
            for key, every in forces.items():
                every[..., first : first + found[key].shape[-1]] = found[key]
            return blocks

        blocks = [one for _, one in read_blocks(self.solved, in_blocks(runs), read)]
        return OverDeck(
            runs,
            Moments.of(np.arange(len(self.plan)), blocks),
            {
                key: ShearOfVehicle.of(self.trackers[key][0], every, self.trackers[key][1])
                for key, every in forces.items()
            },
        )

    def rated(self, permit: Permit, alone: Deck, over: OverDeck) -> Iterator[Rated]:
        """A vehicle by every standard that it counts under."""
        for k in self.counting(permit):
            multipliers = []
            least: tuple[float, MomentLimit, int] | None = None
            for limit in self.limits[k]:
                found = moment_multiplier(limit, over.moments, limit.at)
                multipliers.append(self.of_moment(limit, found, standing(over.runs)))
                if least is None or found.value < least[0]:
                    least = found.value, limit, found.at
                if limit.check is Check.BENDING:
                    self.take_short(limit, over.moments)
            guess = min((m.value for m in multipliers if m.ultimate), default=1.0)
            for key, one in over.shears.items():
                sheared = one.multiplier(guess) if key[0] == k else None
                if sheared is not None:
                    multipliers.append(self.of_shear(one.tracker, sheared, standing(over.runs)))
            multipliers += self.punching(k, alone, over.runs)
            every = self.of_standard(k, permit.vehicle, multipliers, sum(map(len, over.runs)))
            if least is not None and 0.0 < least[0] <= min(every.least.value, MOST * (1.0 - CLOSE)):
                _, limit, at = least
                every = replace(every, between=between_steps(self.watch, alone, limit, at))
            yield every

    def of_standard(
        self,
        k: int,
        of: Vehicle | LoadModel,
        multipliers: Sequence[Multiplier],
        n: int,
        *,
        at_places: bool = False,
        further: str = "",
    ) -> Rated:
        """All multipliers of a vehicle or load model by a standard; further : behind its name;
        other arguments as of `Rated`."""
        return Rated(
            vehicle=f"{of.name}{further}",
            mark=of.mark,
            axles=of.axles if isinstance(of, Vehicle) else None,
            standard=self.bases[k].materials.standard,
            multipliers=tuple(sorted(multipliers, key=lambda m: m.value)),
            gamma=self.watch.shears[k].combination.traffic,
            n=n,
            at_places=at_places,
        )

    def as_contacts(self, run: LoadPositions) -> LoadPositions:
        """The same run with the wheels as they stand for punching."""
        traffic = self.watch.deck.required_traffic
        depth = 0.0 if traffic.dispersal == "none" else traffic.surfacing
        by = 2.0 * depth * float(np.tan(traffic.dispersal_angle))
        patches = tuple((a.patch[0] + by, a.patch[1] + by) for a in run.vehicle.axles)
        return replace(run, patches=patches)

    def take_short(self, limit: MomentLimit, moments: Moments) -> None:
        """A result point stands for those that are read at it."""
        here = np.full(len(self.plan), MOST)
        here[limit.at] = point_multipliers(limit, moments)
        self.short = np.minimum(self.short, here[self.watch.read_at[limit.row]])

    def where(self, at: tuple[float, float]) -> str:
        """A place in words; most vehicles of a fleet share theirs."""
        if at not in self._where:
            self._where[at] = f"{place(self.watch.deck, at)}, ({at_text(at)}) m"
        return self._where[at]

    def of_moment(
        self, limit: MomentLimit, found: MomentMultiplier, standing: Standing
    ) -> Multiplier:
        """A multiplier of moments with its place and where the traffic stands."""
        at = (float(self.plan[found.at, 0]), float(self.plan[found.at, 1]))
        return Multiplier(
            value=found.value,
            check=limit.check,
            rule=limit.rule,
            words=limit.words,
            ultimate=limit.tracker.combination.limit_state == "ULS",
            at=at,
            where=self.where(at),
            position=standing(found.number),
            source=limit.source,
        )

    def of_shear(
        self, tracker: ShearTracker, found: ShearMultiplier, standing: Standing
    ) -> Multiplier:
        """A multiplier in shear with its place and where the traffic stands."""
        sections = tracker.sections
        line, side = sections.names[sections.line[found.sample]], sections.side[found.sample]
        at = (float(sections.points[found.sample, 0]), float(sections.points[found.sample, 1]))
        beside = f"{'before' if side < 0 else 'after'} {line_title(self.watch.deck, line)}"
        return Multiplier(
            value=found.value,
            check=Check.SHEAR,
            rule="shear without links",
            words=beside,
            ultimate=True,
            at=at,
            where=f"{beside}, ({at_text(at)}) m",
            position=standing(found.number),
            source=tracker.mat.factors.marked(ONE_WAY[tracker.mat.standard], *CHOSEN),
        )

    def punching(
        self, k: int, alone: Deck, runs: Runs, models: Sequence[TrafficEnvelope] = ()
    ) -> Iterator[Multiplier]:
        """Utilisation in punching grows with the load in proportion; models : load models whose
        wheels are rated, too."""
        mat, factor = self.bases[k].materials, self.watch.shears[k].combination.traffic
        parts, standing = self.watch.drawn[k].parts, StandingWheels(alone)
        for part in parts:
            holds = part.holds if len(parts) > 1 else None
            found: WheelPunching | None = wheel_punching(
                standing, runs, models, part.bars, mat, factor, holds, self.reaches[k]
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
                where=self.where(found.at),
                position=Arrangement.of(found.position),
                source=found.source,
            )

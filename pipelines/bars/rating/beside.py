"""Rates a vehicle beside the lanes of a load model, which stand at a share of their values, the
frequent one unless another is stated, and are not multiplied.

The vehicle takes a lane: of the load model's lanes those that remain stand anywhere on what the
vehicle's room leaves of the carriageway. They are run once and enveloped for every offset of the
vehicle; design moments are those of both together at that offset. Shear is evaluated under the
arrangements of lanes that are worst for shear by themselves, each with the load positions of the
vehicle that are worst beside it for a sample.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations as subsets
from typing import NamedTuple

import numpy as np

from pipelines.bars.adequacy import Check
from pipelines.bars.demand.load_models import forms_of
from pipelines.bars.demand.wood_armer import Block
from pipelines.bars.rating.fleet import Permit
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import MomentMultiplier, Moments, moment_multiplier
from pipelines.bars.rating.multipliers import Multiplier, Rated
from pipelines.bars.rating.places import OverDeck
from pipelines.bars.rating.rater import Rater
from pipelines.bars.rating.root import CLOSE
from pipelines.bars.rating.shear import ShearOfVehicle
from pipelines.deck.deck import Deck
from pipelines.deck.reading.mistakes import Mistakes, nearest
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import watched_envelopes
from pipelines.model.fixed_loads import FixedLoads
from pipelines.model.position_blocks import stream
from pipelines.standards.actions.combinations import Combination, combination
from pipelines.standards.actions.load_models import for_bars
from pipelines.standards.actions.loads import LaneSet, LoadModel, Vehicle
from pipelines.traffic.arrangements import Arrangement, LoadedLane
from pipelines.traffic.positions import LoadPositions, load_positions, position_of
from plate.arrays import Floats, Ints
from plate.solver.stiffness import BLOCK

# Samples of which the mean shear is below this share of the largest do not come near to governing.
WORTH = 0.7


@dataclass(frozen=True, kw_only=True)
class Lanes:
    """Lanes beside a vehicle: of a load model with factors on its axles and distributed loads."""

    model: LoadModel
    axles: float
    distributed: float

    @property
    def words(self) -> str:
        factors = f"axles \u00d7 {self.axles:g}"
        if self.model.has_pressure:
            factors += f", distributed loads \u00d7 {self.distributed:g}"
        return f"{self.model.name} ({factors})"

    def factor(self, combination: Combination) -> float:
        """On the axles, against the vehicle's own factor: no combination takes them at less than
        this share of the characteristic value."""
        whole = combination.limit_state in ("ULS", "characteristic")
        return self.axles if whole else self.axles / combination.traffic


def lanes_of(deck: Deck, permit: Permit, mistakes: Mistakes) -> Lanes | None:
    """The lanes beside a permit vehicle; None where it is alone, or with a mistake where the deck
    has no such lanes."""
    if permit.beside is None:
        return None
    where = f"vehicle {permit.vehicle.name}, beside"
    there = {model.name: model for model in deck.required_traffic.load_models}
    model = there.get(permit.beside)
    if model is None:
        told = "is not among [traffic] load_models of the deck file"
        mistakes.add(where, permit.beside, f"{told}, {nearest(permit.beside, there)}")
        return None
    if model.fatigue or all(len(one.kinds) < 2 for one in model.sets):
        told = "has one lane on this carriageway, which the vehicle takes"
        mistakes.add(where, permit.beside, "is for fatigue alone" if model.fatigue else told)
        return None
    if permit.factors is not None:
        return Lanes(model=model, axles=permit.factors[0], distributed=permit.factors[1])
    factors = [
        frequent
        for basis in deck.required_reinforcement.bases
        if for_bars(model, basis.materials.standard)
        and (frequent := combination(basis.materials.factors, "frequent")) is not None
    ]
    if not factors:
        told = "beside_factors is missing: no standard here has a frequent value of it"
        mistakes.add(where, permit.beside, told)
        return None
    [frequent, *_] = factors
    axles = frequent.traffic
    return Lanes(model=model, axles=axles, distributed=axles * frequent.share)


def lanes_left(model: LoadModel) -> LoadModel:
    """The load model of which a vehicle takes one lane at least."""
    factors: dict[tuple[int, ...], float] = {}
    for one in model.sets:
        for size in range(1, len(one.kinds)):
            for kinds in subsets(one.kinds, size):
                factors[kinds] = max(one.factor, factors.get(kinds, 0.0))
    return replace(model, sets=tuple(LaneSet(*pair) for pair in factors.items()))


def room_of(vehicle: Vehicle, model: LoadModel) -> float:
    """Half the width [m] that a vehicle keeps clear of the rooms of lanes: its outermost wheel and
    the least that the model's lanes keep beyond theirs."""

    def widest(one: Vehicle) -> float:
        return max(abs(y) for axle in one.axles for y in axle.wheels)

    beyond = min(kind.room - widest(v) for kind in model.kinds for v in kind.vehicles)
    return widest(vehicle) + max(beyond, 0.0)


def rated_beside(rater: Rater, permit: Permit, alone: Deck, lanes: Lanes) -> list[Rated]:
    """A vehicle beside lanes by the standards whose bars are checked under their load model, alone
    by the others."""
    runs, owner, offsets = _by_offset(load_positions(alone))
    over = rater.over_deck(permit, runs)
    model = lanes_left(lanes.model)
    found = []
    for one, k in zip(rater.rated(permit, alone, over), rater.counting(permit), strict=True):
        if for_bars(lanes.model, rater.bases[k].materials.standard):
            found.append(_Beside(rater, k, permit, over, owner, offsets, lanes, model).rated(alone))
        else:
            found.append(one)
    return found


def _by_offset(
    every: Sequence[LoadPositions],
) -> tuple[tuple[LoadPositions, ...], list[int], Floats]:
    """Runs at one offset each, the number of it, and the offsets."""
    offsets = np.unique(np.concatenate([run.offsets for run in every]))
    runs, owner = [], []
    for run in every:
        for j, offset in enumerate(offsets.tolist()):
            mine = run.offsets == offset
            if mine.any():
                runs.append(replace(run, stations=run.stations[mine], offsets=run.offsets[mine]))
                owner.append(j)
    return tuple(runs), owner, offsets


class _Beside:
    """A vehicle and lanes beside it by the standard of number k; owner : of every run the number of
    its offset."""

    def __init__(
        self,
        rater: Rater,
        k: int,
        permit: Permit,
        over: OverDeck,
        owner: Sequence[int],
        offsets: Floats,
        lanes: Lanes,
        model: LoadModel,
    ) -> None:
        self.rater, self.k, self.permit, self.over, self.lanes = rater, k, permit, over, lanes
        self.starts = np.cumsum([0, *map(len, over.runs)])
        self.owner = np.array(owner)
        counts = [-(-len(run) // BLOCK) for run in over.runs]
        self.first_block = np.cumsum([0, *counts])
        self.of_block = np.repeat(self.owner, counts)
        watch, share = rater.watch, lanes.distributed / lanes.axles
        watched = watch.of_model(model, (share,))
        assert watched is not None
        half = room_of(permit.vehicle, lanes.model)
        traffic = replace(watch.deck.required_traffic, vehicles=(), load_models=(model,))
        solved = rater.solved.of_deck(replace(watch.deck, traffic=traffic))
        strips = [(y - half, y + half) for y in offsets.tolist()]
        self.envelopes = watched_envelopes(solved, model, watched, strips)
        self.blocks: list[list[Block]] = [
            watch.moments.model_blocks(0, forms_of(one)[share]) for one in self.envelopes
        ]
        self._known: dict[float, Moments] = {}

    def rated(self, alone: Deck) -> Rated:
        """By all checks; punching is that of the vehicle alone."""
        rater, multipliers = self.rater, []
        for limit in rater.limits[self.k]:
            moments = self._moments(limit)
            one = moment_multiplier(limit, moments, limit.at)
            at = self._standing(limit, one)
            multipliers.append(rater.of_moment(limit, one, lambda _, at=at: at))  # type: ignore[misc]
            if limit.check is Check.BENDING:
                rater.take_short(limit, moments)
        guess = min((m.value for m in multipliers if m.ultimate), default=1.0)
        multipliers += self._of_shear(max(guess, 0.05))
        multipliers += rater.punching(self.k, alone, self.over.runs)
        n, further = int(self.starts[-1]), f" beside {self.lanes.words}"
        return rater.of_standard(self.k, self.permit.vehicle, multipliers, n, further=further)

    def _moments(self, limit: MomentLimit) -> Moments:
        factor = self.lanes.factor(limit.tracker.combination)
        if factor not in self._known:

            def stacked(name: str) -> tuple[Floats, ...]:
                rows = [
                    [factor * getattr(self.blocks[j][row], name) for j in self.of_block]
                    for row in range(len(self.over.moments.own))
                ]
                return tuple(np.stack(row, axis=2) for row in rows)

            beside = stacked("own"), stacked("sums")
            self._known[factor] = replace(self.over.moments, beside=beside)
        return self._known[factor]

    def _standing(self, limit: MomentLimit, found: MomentMultiplier) -> Arrangement | None:
        """The vehicle and the lanes of the same functional at its offset."""
        if found.number < 0:
            return None
        run = int(np.searchsorted(self.starts, found.number, side="right")) - 1
        block = int(self.first_block[run]) + (found.number - int(self.starts[run])) // BLOCK
        row, extreme = limit.row, 0 if limit.row < 2 else 1
        pair = slice(2 * (row % 2), 2 * (row % 2) + 2)
        numbers = self.over.moments.numbers[row][extreme, pair, block, found.at]
        which = 2 * (row % 2) + int(np.flatnonzero(numbers == found.number)[0])
        j = int(self.owner[run])
        number = int(self.blocks[j][row].numbers[extreme, which, found.at])
        return self._together(found.number, self.envelopes[j].position(number))

    def _together(self, number: int, lanes: Arrangement | None) -> Arrangement:
        at = position_of(self.over.runs, number)
        own = LoadedLane(at.vehicle, 1.0, at, at.offset)
        others: list[LoadedLane] = []
        if lanes is not None:
            share = lanes.factor * self.lanes.axles
            others = [replace(lane, factor=share * lane.factor) for lane in lanes.lanes]
        every = tuple(sorted([own, *others], key=lambda lane: lane.offset))
        return Arrangement(model=self.lanes.words, whole=True, lanes=every)

    def _of_shear(self, guess: float) -> list[Multiplier]:
        keys = [key for key in self.rater.trackers if key[0] == self.k]
        by_offset = []
        places: list[Arrangement | None] = []
        for j, envelope in enumerate(self.envelopes):
            runs = np.flatnonzero(self.owner == j)
            numbers = np.concatenate([np.arange(*self.starts[run : run + 2]) for run in runs])
            forces, held = self._held(envelope, keys)
            by_offset.append((numbers, forces, len(places)))
            places += held
        found = []
        for n, key in enumerate(keys):
            vehicle = self.over.shears[key]
            alone = vehicle.multiplier(guess)
            if alone is None:
                continue
            value, every = alone.value, []
            while True:
                # at another multiplier other pairs are worst
                every += [
                    _pairs(vehicle, numbers, forces[n], first, value)
                    for numbers, forces, first in by_offset
                ]
                pairs = _Pairs(
                    *(np.concatenate(part, axis=-1) for part in zip(*every, strict=True))
                )
                traffic = vehicle.traffic[..., pairs.number]
                one = replace(vehicle, traffic=traffic, beside=pairs.beside).multiplier(value)
                assert one is not None
                if one.value >= value * (1.0 - CLOSE):
                    break
                value = one.value

            def standing(k: int, pairs: _Pairs = pairs) -> Arrangement | None:
                return (
                    None if k < 0 else self._together(int(pairs.number[k]), places[pairs.place[k]])
                )

            found.append(self.rater.of_shear(vehicle.tracker, one, standing))
        return found

    def _held(
        self, envelope: TrafficEnvelope, keys: Sequence[tuple[int, int]]
    ) -> tuple[list[Floats], list[Arrangement | None]]:
        """Factored forces (5 or 8, n, n_held) at the samples of every tracker under the lanes that
        are held beside one offset, no lanes first, and the arrangements."""
        watch, lanes = self.rater.watch, self.lanes
        held = watch.held(envelope, self.k)
        loads = []
        for one in held:
            factor = np.full(len(one.loads.load), lanes.distributed)
            factor[: len(one.contacts.load)] = lanes.axles
            loads.append(replace(one.loads, load=factor * one.loads.load))
        found = [[np.zeros((*self.over.shears[key].traffic.shape[:2], 1))] for key in keys]
        if loads:
            fixed = FixedLoads("lanes held beside a vehicle", loads)
            read = stream(self.rater.solved, [fixed], lambda _, response: response.fields)
            for _, response, _ in read:
                for key, blocks in zip(keys, found, strict=True):
                    blocks.append(self.rater.trackers[key][0].factored(response))
        return [np.concatenate(one, axis=2) for one in found], [
            None,
            *(one.position for one in held),
        ]


class _Pairs(NamedTuple):
    """Load positions of the vehicle with lanes beside them that are worst for the mean shear of a
    sample: numbers (n,) of both, and the factored forces of the lanes (5 or 8, n_sample, n)."""

    number: Ints
    place: Ints
    beside: Floats


def _pairs(
    vehicle: ShearOfVehicle, numbers: Ints, beside: Floats, first: int, multiplier: float
) -> _Pairs:
    """Of every judged sample that comes near to the largest the pair that is worst at a multiplier,
    each pair once.

    numbers : of the load positions; beside : (5 or 8, n_sample, n_held) forces of the lanes that
    may stand beside them, numbered from `first`.
    """
    traffic, n = multiplier * vehicle.traffic[..., numbers], beside.shape[2]
    every = np.arange(len(vehicle.judged))
    most, worst = np.zeros(len(every)), np.zeros(len(every), dtype=np.int64)
    for h in range(n):
        v = vehicle.tracker.principal(traffic + beside[..., h : h + 1], vehicle.samples)
        mean = vehicle.means @ v
        position = mean.argmax(axis=1)
        more = mean[every, position] > most
        most[more], worst[more] = mean[every, position][more], (position * n + h)[more]
    pair = np.unique(worst[most >= WORTH * most.max(initial=0.0)])
    at, held = np.divmod(pair, n)
    return _Pairs(numbers[at], first + held, beside[..., held])

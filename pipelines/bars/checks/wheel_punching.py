"""Punching under every wheel of every load position, and under wheels together: where it is worst.

A wheel on the width of a supporting line hands its load to the line: it is no punching case.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.checks.standing_wheels import Standing, StandingWheels
from pipelines.bars.checks.wheel_frames import Turn
from pipelines.bars.checks.wheel_groups import WheelGroup, wheel_groups
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import DIRECTIONS, SlabBars
from pipelines.standards.resistance.punching import SHAPES, MatAtPunching, punching
from pipelines.standards.sources import Source
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.joints import model_joint_factors
from pipelines.traffic.positions import LoadPositions
from plate.arrays import Floats, Ints

# Groups whose utilisation in the interior is below this share of the vehicle's largest are left
# out: an edge shortens no perimeter by more than that against another's.
WORTH = 0.7


@dataclass(frozen=True, kw_only=True)
class WheelPunching:
    """The wheel place with the largest utilisation.

    at : centre of what of the wheels stands on the slab [m]; load : factored [N]; sides : loaded
    area, or the rectangle around several (along, across) [m]; v_Ed, v_Rd : [Pa]; u : control
    perimeter [m]; shape : in words; wheels : how many together. interior : largest utilisation
    where the whole perimeter lies in the slab. n : places of single wheels looked at. gaps : from
    the sides to the nearest free edges along x and along y [m]; cut : of `punching`, None = a
    single wheel.
    """

    utilisation: float
    vehicle: str
    direction: str
    station: float
    offset: float
    at: tuple[float, float]
    load: float
    sides: tuple[float, float]
    v_Ed: float
    v_Rd: float
    u: float
    shape: str
    wheels: int
    source: Source
    gaps: tuple[float, float]
    cut: float | None
    interior: float = 0.0
    n: int = 0

    @property
    def position(self) -> LoadPosition:
        return LoadPosition(
            vehicle=self.vehicle,
            direction=self.direction,
            station=self.station,
            offset=self.offset,
        )

    def with_bars(self, bars: SlabBars, mat: Materials) -> float:
        """Utilisation at the same place with other bars."""
        found = punching(
            self.load, *self.sides, mat, mat_at_punching(bars), *self.gaps, group_cut=self.cut
        )
        return float(found.utilisation)


def mat_at_punching(bars: SlabBars) -> MatAtPunching:
    """The bottom bars, which the cone under a wheel crosses."""
    d_x, d_y = (bars.effective_depth(("bottom", direction)) for direction in DIRECTIONS)
    return MatAtPunching(d_x, d_y, bars.bottom.x.area, bars.bottom.y.area)


def reach_of(bars: SlabBars, mat: Materials) -> float:
    """Loaded areas nearer than this have perimeters that overlap [m]."""
    d = float(mat_at_punching(bars).d)
    return 0.9 * d if mat.standard == "AASHTO LRFD" else 4.0 * d


def farthest_reach(deck: Deck, mat: Materials) -> float:
    """The same by the mats where the slab is thickest [m]."""
    return reach_of(deck.required_reinforcement.bars.at(Thicknesses.of(deck).thickest), mat)


def wheel_punching(
    standing: StandingWheels,
    runs: Sequence[LoadPositions],
    models: Sequence[TrafficEnvelope],
    bars: SlabBars,
    mat: Materials,
    factor: float,
    holds: Callable[[Floats], NDArray[np.bool_]] | None = None,
    reach: float | None = None,
) -> WheelPunching | None:
    """The worst wheel, or group of wheels, of all load positions, factor on its load; None where
    no wheel stands clear of the supporting lines.

    models : load models whose vehicles count too, with their largest factor on any lane, and with
    those of the next lane beside them. holds : whether plan points (n, 2) lie in the part of the
    slab that is looked at: wheels that stand on any of it count; None = all of it. reach :
    `reach_of` that tells which wheels act together; None = by the bars.
    """
    reach = reach_of(bars, mat) if reach is None else reach
    search = _Search(standing=standing, bars=bars, mat=mat, factor=factor, holds=holds, reach=reach)
    for run in runs:
        search.take(run, run.vehicle.name, 1.0)
    for model in models:
        for run in standing.lanes(model):
            name = f"{model.model.name}: {run.vehicle.name}"
            search.take(run, name, _largest_factor(model.model, run.vehicle), model.model)
            search.take_neighbours(run, name, model.model)
    if search.worst is None:
        return None
    return replace(search.worst, interior=search.interior, n=search.n)


@dataclass(kw_only=True)
class _Search:
    """The worst place found so far under one standard.

    groups : of the vehicles so far, and of pairs of them, with their utilisation in the interior:
    the same at every offset.
    """

    standing: StandingWheels
    bars: SlabBars
    mat: Materials
    factor: float
    reach: float
    holds: Callable[[Floats], NDArray[np.bool_]] | None = None
    worst: WheelPunching | None = None
    interior: float = 0.0
    n: int = 0
    groups: dict[tuple[int, float], tuple[tuple[WheelGroup, ...], Floats]] = field(
        default_factory=dict
    )
    mats: MatAtPunching = field(init=False)

    def __post_init__(self) -> None:
        self.mats = mat_at_punching(self.bars)

    def take(
        self, run: LoadPositions, name: str, factor: float, model: LoadModel | None = None
    ) -> None:
        """Every wheel of a run, and every group of its wheels."""
        driven = self._driven(self.standing.known(run), name, factor, model)
        if driven is None:
            return
        self.n += int(driven.inside.sum())
        alone = np.flatnonzero(driven.inside.any(axis=0))
        self._judge(driven, list(alone[:, None]), None)
        self._judge_groups(driven, self._worth(driven.on.run, factor))

    def take_neighbours(self, run: LoadPositions, name: str, model: LoadModel) -> None:
        """Groups of wheels of a run's vehicle and of the one in the next lane."""
        own = sum(len(axle.wheels) for axle in run.vehicle.axles)
        for pair, both in self.standing.pairs(model, run):
            groups = [
                g for g in self._worth(both, pair.factor) if g.wheels[0] < own <= g.wheels[-1]
            ]
            if not groups:
                continue
            wheels = self.standing.known(pair.run)
            driven = self._driven(wheels, f"{name}, {pair.words}", pair.factor, model)
            if driven is not None:
                self._judge_groups(driven, groups)

    def _worth(self, run: LoadPositions, factor: float) -> list[WheelGroup]:
        """Groups that may govern, by their utilisation in the interior."""
        key = self.standing.pattern(run), factor
        if key not in self.groups:
            groups = wheel_groups(run.vehicle, run.patches, self.reach)
            if not groups:
                return []
            load = np.array([g.load for g in groups]) * self.factor * factor * run.vehicle.impact
            c_x, c_y = np.array([g.sides for g in groups]).T
            cut = np.array([g.cut for g in groups])
            found = punching(load, c_x, c_y, self.mat, self.mats, group_cut=cut).utilisation
            self.groups[key] = groups, found
        groups, used = self.groups[key]
        limit = WORTH * max(self.interior, float(used.max()))
        return [g for g, value in zip(groups, used, strict=True) if value >= limit]

    def _driven(
        self, on: Standing, name: str, factor: float, model: LoadModel | None
    ) -> "_Driven | None":
        """None where no wheel comes near the part that is looked at."""
        shape = on.load.shape
        inside = on.counts
        if self.holds is not None:
            near = _touch(self.holds, on.corners).reshape(shape).any(axis=1)
            if not near.any():
                return None
            mine = np.repeat(near, shape[1])
            boxes = on.turn.of(np.flatnonzero(mine)).corners(on.on.low[mine], on.on.high[mine])
            inside = np.zeros(shape, dtype=bool)
            inside[near] = on.counts[near] & _touch(self.holds, boxes).reshape(-1, shape[1])
        load = self.factor * factor * on.load
        if model is not None:
            centres = on.corners.mean(axis=1)
            load *= model_joint_factors(self.standing.deck, model, centres).reshape(shape)
        return _Driven(on=on, name=name, load=load, inside=inside)

    def _judge_groups(self, driven: "_Driven", groups: Sequence[WheelGroup]) -> None:
        """Punching around groups of wheels at every position where all of them count."""
        self._judge(driven, [np.array(g.wheels) for g in groups], [g.cut for g in groups])

    def _judge(self, driven: "_Driven", sets: Sequence[Ints], cuts: Sequence[float] | None) -> None:
        """Punching around some sets of wheels of a vehicle, each at every position where all of it
        count; cuts : as in `punching`, of each set, None = single wheels."""
        wheels, on, load = driven.on, driven.on.on, driven.load
        stand = [
            np.flatnonzero(
                wheels.counts[:, members].all(axis=1) & driven.inside[:, members].any(axis=1)
            )
            for members in sets
        ]
        whose = np.repeat(np.arange(len(sets)), [len(at) for at in stand])
        if not len(whose):
            return
        at = np.concatenate(stand)
        places = [
            here[:, None] * load.shape[1] + members
            for here, members in zip(stand, sets, strict=True)
        ]

        def over(values: Floats, of: Callable[..., Floats]) -> Floats:
            return np.concatenate([of(values[some], axis=1) for some in places])

        low, high = over(on.low, np.min), over(on.high, np.max)
        total = over(load.ravel(), np.sum)
        gaps = over(on.gap_x, np.min), over(on.gap_y, np.min)
        c_x, c_y = (high - low).T
        cut = None if cuts is None else np.array(cuts)[whose]
        found = punching(total, c_x, c_y, self.mat, self.mats, *gaps, group_cut=cut)
        inside = np.where(found.shape == 0, found.utilisation, 0.0)
        turn = wheels.turn.of(np.concatenate([some[:, 0] for some in places]))
        k = self._clear_of_lines(inside, turn, low, high, self.interior)
        if k is not None:
            self.interior = float(inside[k])
        best = 0.0 if self.worst is None else self.worst.utilisation
        k = self._clear_of_lines(found.utilisation, turn, low, high, best)
        if k is None:
            return
        run, sides = wheels.run, high[k] - low[k]
        box = turn.of(np.array([k])).boxes(low[[k]], high[[k]])[0]
        self.worst = WheelPunching(
            utilisation=float(found.utilisation[k]),
            vehicle=driven.name,
            direction=run.direction,
            station=float(run.stations[at[k]]),
            offset=float(run.offsets[at[k]]),
            at=(float(box.centroid.x), float(box.centroid.y)),
            load=float(total[k]),
            sides=(float(sides[0]), float(sides[1])),
            v_Ed=float(found.v_Ed[k]),
            v_Rd=float(found.v_Rd[k]),
            u=float(found.u[k]),
            shape=str(SHAPES[found.shape[k]]),
            wheels=len(sets[whose[k]]),
            source=found.source,
            gaps=(float(gaps[0][k]), float(gaps[1][k])),
            cut=None if cut is None else float(cut[k]),
        )

    def _clear_of_lines(
        self, used: Floats, turn: Turn, low: Floats, high: Floats, best: float
    ) -> int | None:
        """Number of the largest value above `best` whose rectangle lies clear of the lines."""
        above = np.flatnonzero(used > best)
        for k in above[np.argsort(-used[above], kind="stable")].tolist():
            one = turn.of(np.array([k])).boxes(low[[k]], high[[k]])
            if self.standing.clear_of_lines(one)[0]:
                return int(k)
        return None


@dataclass(frozen=True, eq=False, kw_only=True)
class _Driven:
    """Wheels of a run at all its positions, by position and wheel with the factored load [N] and
    whether the wheel counts and stands on any of the part that is looked at."""

    on: Standing
    name: str
    load: Floats
    inside: NDArray[np.bool_]


def _touch(holds: Callable[[Floats], NDArray[np.bool_]], corners: Floats) -> NDArray[np.bool_]:
    """Whether a corner of each box (n, 4, 2), or its centre, lies in the part of the slab."""
    places = np.concatenate([corners, corners.mean(axis=1, keepdims=True)], axis=1)
    held = holds(places.reshape(-1, 2)).reshape(places.shape[:2])
    return np.asarray(held.any(axis=1))


def _largest_factor(model: LoadModel, vehicle: Vehicle) -> float:
    """The largest factor of any lane of a load model that the vehicle may stand in."""
    return max(
        lane_set.factor * model.kinds[k].factor
        for lane_set in model.sets
        for k in lane_set.kinds
        if vehicle in model.kinds[k].vehicles
    )

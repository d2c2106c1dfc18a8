"""Loads as standards describe them: vehicles on axles, lanes of a load model, kinds of permanent
action. In SI units (N, m, Pa), frozen."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pipelines.standards.sources import Mark

Action = Literal[
    "none",
    "self-weight",
    "surfacing",
    "parapet",
    "other permanent",
    "shrinkage",
    "settlement",
    "warming",
    "cooling",
]
# Temperatures: never both at once.
TEMPERATURES: tuple[Action, ...] = ("warming", "cooling")


def cited(source: str, mark: str) -> str:
    """A source with its mark, where it has one."""
    return f"{source} ({mark})" if mark else source


@dataclass(frozen=True)
class Axle:
    """One axle: distance behind the first axle [m], load [N] shared equally by its wheels,
    wheel offsets from the vehicle's centre line [m], contact patch (along, across) [m]."""

    at: float
    load: float
    wheels: tuple[float, ...]
    patch: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Vehicle:
    """A vehicle; loads as its standard prints them, `impact` multiplies.

    clearance : distance from the carriageway's edge that its standard asks for [m], measured to
    `clearance_to` ("wheel centre" or "tyre edge"); overhang_clearance : the nearer one that it
    allows for the design of an overhang, None = the same.
    source : standard, edition and clause, or the deck file; mark : how far it is to be trusted,
    "" for the deck file's own.
    variable : (k, by), the spacing ahead of axle k may be up to `by` [m] wider than `at` says,
    moving axle k and those behind it; None = all spacings are fixed.
    """

    name: str
    axles: tuple[Axle, ...]
    impact: float = 1.0
    clearance: float = 0.5
    clearance_to: Literal["wheel centre", "tyre edge"] = "wheel centre"
    source: str = "deck file"
    mark: Mark | Literal[""] = ""
    variable: tuple[int, float] | None = None
    overhang_clearance: float | None = None

    @property
    def cited(self) -> str:
        """The source with its mark."""
        return cited(self.source, self.mark)


@dataclass(frozen=True, kw_only=True)
class LaneKind:
    """One way of loading a lane: one of `vehicles` at a time, and a pressure.

    factor : on the vehicles. room : two neighbouring lanes' vehicles keep at least the sum of
    their rooms between centre lines [m].
    pressure : on a strip `width` [m] wide about the vehicle's centre line, moved inward where it
    would leave the carriageway, on top of the model's own [N/m2].
    """

    name: str
    vehicles: tuple[Vehicle, ...]
    factor: float
    room: float
    pressure: float = 0.0
    width: float = 0.0


@dataclass(frozen=True)
class LaneSet:
    """Lanes loaded together, in any order across the carriageway: numbers of their kinds, and a
    factor on all of them."""

    kinds: tuple[int, ...]
    factor: float = 1.0


@dataclass(frozen=True, kw_only=True)
class LoadModel:
    """The whole traffic of a standard: of its lane sets the one that is worst.

    whole : whether it is all of a standard's traffic; a vehicle alone is a load model of one lane
    that is not.
    pressure : on the whole carriageway [N/m2]; like the lanes' it acts on adverse parts only.
    near_joint : results near an expansion joint are raised (EN 1991-2, 4.6.1(6)).
    fatigue : for ranges of stress alone, not for strength.
    source, mark : as of a vehicle; notes : sentences for the report.
    """

    name: str
    kinds: tuple[LaneKind, ...]
    sets: tuple[LaneSet, ...]
    pressure: float = 0.0
    near_joint: bool = False
    fatigue: bool = False
    source: str = ""
    mark: Mark | Literal[""] = ""
    notes: tuple[str, ...] = ()
    whole: bool = True

    @property
    def cited(self) -> str:
        """The source with its mark."""
        return cited(self.source, self.mark)

    @property
    def has_pressure(self) -> bool:
        """Whether it has distributed loads."""
        return bool(self.pressure) or any(kind.pressure for kind in self.kinds)

    @property
    def one_lane(self) -> bool:
        """Whether nothing ever stands or lies beside its vehicle."""
        return not self.has_pressure and all(len(lane_set.kinds) == 1 for lane_set in self.sets)

    def factors_alone(self, vehicles: tuple[Vehicle, ...]) -> frozenset[float]:
        """Factors on vehicles of lanes beside which nothing ever stands or lies but the model's own
        pressure; none where something does."""
        lanes = [(one, self.kinds[k]) for one in self.sets for k in one.kinds]
        mine = [(one, kind) for one, kind in lanes if kind.vehicles == vehicles]
        if any(len(one.kinds) > 1 or kind.pressure for one, kind in mine):
            return frozenset()
        return frozenset(one.factor * kind.factor for one, kind in mine)


ALONE = "vehicles alone"


def alone(vehicles: Sequence[Vehicle]) -> LoadModel:
    """Vehicles that drive alone, one at a time: a load model of one lane, with a kind of lane and a
    set of lanes for each of them."""
    return LoadModel(
        name=vehicles[0].name if len(vehicles) == 1 else ALONE,
        kinds=tuple(
            LaneKind(name=vehicle.name, vehicles=(vehicle,), factor=1.0, room=0.0)
            for vehicle in vehicles
        ),
        sets=tuple(LaneSet((k,)) for k in range(len(vehicles))),
        whole=False,
    )

"""Where traffic stands: a vehicle's load position, and arrangements of loaded lanes."""

from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True, kw_only=True)
class LoadPosition:
    """One load position: station and offset of the first axle's centre [m].

    spread : how much wider than its axles say the vehicle's variable spacing is [m].
    """

    vehicle: str
    direction: str
    station: float
    offset: float
    spread: float = 0.0

    @property
    def words(self) -> str:
        """Vehicle, direction and first axle as they are entered again [m]."""
        more = f", spacing + {self.spread:.2f}" if self.spread else ""
        return (
            f"{self.vehicle} {self.direction}, first axle at {self.station:.2f}, "
            f"{self.offset:.2f}{more}"
        )


@dataclass(frozen=True)
class LoadedLane:
    """A loaded lane: its kind, the factor on its vehicle and where that stands; None = only the
    lane's distributed load. offset : of its middle [m]."""

    kind: str
    factor: float
    position: LoadPosition | None
    offset: float

    def entry(self) -> dict[str, Any]:
        """The lane in the units of summary.json."""
        return {
            "lane": self.kind,
            "factor": self.factor,
            "lane_offset_m": round(self.offset, 9),
            **position_entry(self.position),
            "spread_m": None if self.position is None else round(self.position.spread, 9),
        }

    @property
    def words(self) -> str:
        """Lane and load position as they are entered again [m]."""
        name = f"{self.kind} at {self.offset:.2f}"
        if self.position is None:
            return f"{name}, no vehicle"
        at = self.position
        named = "" if at.vehicle == self.kind else f" {at.vehicle}"
        factor = "" if abs(self.factor - 1.0) < 1e-9 else f" \u00d7 {self.factor:.3g}"
        more = f", spacing + {at.spread:.2f}" if at.spread else ""
        return f"{name}:{named}{factor} {at.direction}, first axle at {at.station:.2f}{more}"


@dataclass(frozen=True, kw_only=True)
class Arrangement:
    """An arrangement of a case of traffic: its lanes from left to right, and the factor on all.

    whole : whether the case is all of a standard's load model; a vehicle alone is one lane of one
    that is not.
    """

    model: str
    whole: bool
    lanes: tuple[LoadedLane, ...]
    factor: float = 1.0

    @classmethod
    def of(cls, position: LoadPosition) -> "Arrangement":
        """A vehicle that stands alone."""
        lane = LoadedLane(position.vehicle, 1.0, position, position.offset)
        return cls(model=position.vehicle, whole=False, lanes=(lane,))

    @property
    def single(self) -> LoadPosition | None:
        """The load position of a vehicle that stands alone; None under a load model."""
        return None if self.whole else self.lanes[0].position

    def moved(self, along: float) -> "Arrangement":
        """The same with every vehicle moved along the deck [m]."""

        def lane(one: LoadedLane) -> LoadedLane:
            if one.position is None:
                return one
            station = one.position.station + along
            return replace(one, position=replace(one.position, station=station))

        return replace(self, lanes=tuple(lane(one) for one in self.lanes))

    @property
    def words(self) -> str:
        """The load position, or the lanes from left to right, as they are entered again."""
        if self.single is not None:
            return self.single.words
        lanes = "; ".join(lane.words for lane in self.lanes)
        return lanes if abs(self.factor - 1.0) < 1e-9 else f"all \u00d7 {self.factor:.3g}: {lanes}"


def position_entry(position: LoadPosition | None) -> dict[str, Any]:
    """A load position as it stands in summary.json, None throughout where there is none."""
    if position is None:
        return dict.fromkeys(("vehicle", "station_m", "offset_m", "direction"))
    return {
        "vehicle": position.vehicle,
        "station_m": round(position.station, 9),
        "offset_m": round(position.offset, 9),
        "direction": position.direction,
    }


def arrangement_entry(at: Arrangement | None) -> dict[str, Any]:
    """Where the traffic of a governing value stands, as it stands in summary.json: the load
    position of a vehicle alone, or the lanes of a load model; None throughout where there is
    none."""
    entry = position_entry(None if at is None else at.single)
    whole = at is not None and at.whole
    return entry | {
        "factor": at.factor if at is not None and whole else None,
        "lanes": [lane.entry() for lane in at.lanes] if at is not None and whole else [],
    }

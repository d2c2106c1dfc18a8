"""Where a load model stands, and its envelopes: arrangements of lanes numbered through."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.envelopes.single_vehicles import Extremes, FieldEnvelope, LoadPosition, find_position
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.lanes import arrangement_orders, strip_shares
from pipelines.traffic.positions import LoadPositions, WheelPatches
from pipelines.traffic.pressure_cells import pressure_cells
from pipelines.traffic.trains import has_pressure

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class LaneAt:
    """A loaded lane: its kind, the factor on its vehicle and where that stands; None = only the
    lane's distributed load. offset : of its middle [m]."""

    kind: str
    factor: float
    position: LoadPosition | None
    offset: float

    def entry(self) -> dict[str, Any]:
        """The lane in the units of summary.json."""
        at = self.position
        return {
            "lane": self.kind,
            "factor": self.factor,
            "lane_offset_m": round(self.offset, 9),
            "vehicle": None if at is None else at.vehicle,
            "direction": None if at is None else at.direction,
            "station_m": None if at is None else round(at.station, 9),
            "offset_m": None if at is None else round(at.offset, 9),
            "spread_m": None if at is None else round(at.spread, 9),
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


@dataclass(frozen=True)
class ModelPosition:
    """An arrangement of a load model: its lanes from left to right, and the factor on all."""

    model: str
    lanes: tuple[LaneAt, ...]
    factor: float

    def moved(self, along: float) -> "ModelPosition":
        """The same with every vehicle moved along the deck [m]."""
        return replace(
            self,
            lanes=tuple(
                lane
                if lane.position is None
                else replace(
                    lane,
                    position=replace(lane.position, station=lane.position.station + along),
                )
                for lane in self.lanes
            ),
        )

    @property
    def words(self) -> str:
        """The arrangement from left to right."""
        lanes = "; ".join(lane.words for lane in self.lanes)
        return lanes if abs(self.factor - 1.0) < 1e-9 else f"all \u00d7 {self.factor:.3g}: {lanes}"


@dataclass(frozen=True, eq=False)
class ModelEnvelope:
    """Envelopes of one load model; shapes as in `envelopes.Envelopes`.

    runs : every train along every offset, its positions numbered through.
    Numbers of governing positions are rows of `arrangements` (n, 1 + 2 m) with m the most lanes:
    the number of the order among `arrangement_orders`, each lane's load position from left to
    right, then the number of each lane's offset among its kind's `offsets`.
    joint : (n_point,) and probe_joint (6 n_probe,), factors near joints, in all values but beams'
    and those watched. more : other fields that were watched, by the name of their set and the
    share of the distributed loads in them; watched : (n_value,) the values.
    """

    model: LoadModel
    runs: tuple[LoadPositions, ...]
    offsets: tuple[Floats, ...]
    arrangements: Ints
    fields: FieldEnvelope
    probes: Extremes
    beam_moments: Extremes
    beam_shears: Extremes
    reaction_names: tuple[str, ...]
    reactions: Extremes
    joint: Floats
    probe_joint: Floats
    more: Mapping[tuple[str, float], FieldEnvelope]
    watched: Extremes

    @property
    def n_positions(self) -> int:
        return sum(len(run) for run in self.runs)

    def position(self, number: int) -> ModelPosition | None:
        """The arrangement of that number; None for the empty deck."""
        if number < 0:
            return None
        lane_set, lanes = self._lanes(number)
        at = [
            LaneAt(self.model.kinds[k].name, self.model.kinds[k].factor, self._train_at(n), offset)
            for k, n, offset in lanes
        ]
        return ModelPosition(self.model.name, tuple(at), self.model.sets[lane_set].factor)

    def wheels(self, number: int, *, contacts: bool = False) -> WheelPatches:
        """The wheels of the arrangement of that number, with all factors, as one load.

        contacts : their contacts in place of what they spread to."""
        lane_set, lanes = self._lanes(number)
        parts = []
        for k, n, _ in lanes:
            if n >= 0:
                run, i = find_position(self.runs, n)
                run = run.contacts if contacts else run
                factor = self.model.sets[lane_set].factor * self.model.kinds[k].factor
                parts.append((run.wheels(np.array([i])), factor))
        return _together(parts)

    def held(self, deck: Deck, number: int, adverse: Sequence[NDArray[np.bool_]]) -> WheelPatches:
        """The loads of the arrangement of that number as one load: its wheels, then cells.

        adverse : of each strip of cells (`pressure_cells`) which take the distributed loads.
        """
        parts = [(self.wheels(number), 1.0)]
        if has_pressure(self.model):
            assert deck.traffic is not None
            lane_set, lanes = self._lanes(number)
            edges, cells = pressure_cells(deck)
            pressure = np.full(len(cells), self.model.pressure)
            for k, _, offset in lanes:
                kind = self.model.kinds[k]
                shares = strip_shares(
                    edges, np.array([offset]), kind.width, deck.traffic.carriageway
                )
                pressure += self.model.sets[lane_set].factor * kind.pressure * shares[0]
            parts += [
                (strip.wheels(np.flatnonzero(mine)), float(q))
                for strip, mine, q in zip(cells, adverse, pressure, strict=True)
                if q
            ]
        return _together(parts)

    def _lanes(self, number: int) -> tuple[int, list[tuple[int, int, float]]]:
        """Lane set of an arrangement; kind, load position and offset [m] of its lanes."""
        order, *rest = self.arrangements[number].tolist()
        numbers, places = rest[: len(rest) // 2], rest[len(rest) // 2 :]
        lane_set, kinds = arrangement_orders(self.model)[order]
        return lane_set, [
            (k, n, float(self.offsets[k][j]))
            for k, n, j in zip(kinds, numbers, places, strict=False)
        ]

    def _train_at(self, number: int) -> LoadPosition | None:
        if number < 0:
            return None
        run, k = find_position(self.runs, number)
        spread = 0.0 if run.spreads is None else float(run.spreads[k])
        return LoadPosition(
            run.vehicle.name, run.direction, float(run.stations[k]), float(run.offsets[k]), spread
        )


def _together(parts: Sequence[tuple[WheelPatches, float]]) -> WheelPatches:
    """Patches times factors as one load."""
    corners = np.concatenate([np.empty((0, 4, 2)), *(part.corners for part, _ in parts)])
    load = np.concatenate([np.empty(0), *(factor * part.load for part, factor in parts)])
    return WheelPatches(corners, load, np.zeros(len(load), dtype=np.intp))

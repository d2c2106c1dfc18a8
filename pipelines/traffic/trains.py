"""The trains of a load model: every vehicle of a lane along every offset that it may take.

Where nothing stands beside a vehicle its offsets need not be told apart.
"""

from dataclasses import dataclass, replace

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.traffic import Traffic
from pipelines.errors import JobError
from pipelines.standards.actions.loads import LaneKind, LoadModel, Vehicle
from pipelines.traffic.lanes import lane_offsets
from pipelines.traffic.positions import LoadPositions, load_positions
from pipelines.traffic.pressure_cells import pressure_cells
from plate.arrays import Floats

# A variable axle spacing is run in steps of this [m].
SPREAD_STEP = 1.2


@dataclass(frozen=True, eq=False)
class Train:
    """The vehicles of a kind along every offset.

    offsets : (n,) [m]; runs : load positions by station, at each of them every offset. Of vehicles
    alone one middle offset stands for all.
    """

    vehicles: tuple[Vehicle, ...]
    offsets: Floats
    runs: tuple[LoadPositions, ...]

    @property
    def as_one(self) -> "Train":
        """The same with its offsets not told apart."""
        return replace(self, offsets=self.offsets.mean(keepdims=True))


def model_trains(deck: Deck, model: LoadModel) -> dict[tuple[Vehicle, ...], Train]:
    """The trains of a load model, each once, with their positions on the deck.

    Raises JobError if one is too wide for the carriageway.
    """
    found: dict[tuple[Vehicle, ...], Train] = {}
    for kind in model.kinds:
        if kind.vehicles not in found:
            found[kind.vehicles] = (
                _alone(deck, kind) if model.one_lane else _train(deck, kind, model.name)
            )
    return found


def _alone(deck: Deck, kind: LaneKind) -> Train:
    """All positions of vehicles beside which nothing stands."""
    traffic = deck.required_traffic
    middle = 0.5 * sum(traffic.carriageway)
    return Train(kind.vehicles, np.array([middle]), _runs(deck, traffic, kind))


def _train(deck: Deck, kind: LaneKind, name: str) -> Train:
    traffic = deck.required_traffic
    if traffic.offsets is not None:
        offsets = np.array(sorted(traffic.offsets))
    else:
        assert traffic.lateral_step is not None
        low, high = lane_range(deck, kind, name)
        offsets = lane_offsets(low, high, traffic.lateral_step, 2.0 * kind.room)
    along = replace(traffic, offsets=tuple(offsets.tolist()), lateral_step=None)
    return Train(kind.vehicles, offsets, _runs(deck, along, kind))


def _runs(deck: Deck, traffic: Traffic, kind: LaneKind) -> tuple[LoadPositions, ...]:
    """Load positions of the kind's vehicles, one after the other, each with every widening."""
    runs: list[LoadPositions] = []
    for vehicle in kind.vehicles:
        for widening in spreads(vehicle):
            only = replace(traffic, vehicles=(widened(vehicle, widening),))
            for run in load_positions(replace(deck, traffic=only)):
                by = None if vehicle.variable is None else np.full(len(run), widening)
                runs.append(replace(run, vehicle=vehicle, spreads=by))
    return tuple(runs)


def lane_range(deck: Deck, kind: LaneKind, name: str) -> tuple[float, float]:
    """Lowest and highest offset [m] at which every vehicle of a kind may stand."""
    ranges = [deck.required_traffic.offset_range(vehicle) for vehicle in kind.vehicles]
    low, high = max(r[0] for r in ranges), min(r[1] for r in ranges)
    if high < low:
        raise JobError(f"{name}, {kind.name}: {low - high:.3g} m wider than the carriageway")
    return low, high


def spreads(vehicle: Vehicle) -> list[float]:
    """Widenings [m] of a vehicle's variable spacing that are run; 0 alone where it is fixed."""
    if vehicle.variable is None:
        return [0.0]
    widest = vehicle.variable[1]
    count = int(np.ceil(widest / SPREAD_STEP)) + 1
    return [float(by) for by in np.linspace(0.0, widest, count)]


def widened(vehicle: Vehicle, by: float) -> Vehicle:
    """The vehicle with its variable spacing wider by so much [m], and fixed."""
    if vehicle.variable is None:
        return vehicle
    first = vehicle.variable[0]
    axles = tuple(
        replace(axle, at=axle.at + (by if k >= first else 0.0))
        for k, axle in enumerate(vehicle.axles)
    )
    return replace(vehicle, axles=axles, variable=None)


def load_count(deck: Deck, model: LoadModel) -> int:
    """Number of loads that a case of traffic solves."""
    trains = model_trains(deck, model).values()
    count = sum(len(run) for train in trains for run in train.runs)
    if model.has_pressure:
        count += sum(len(cells) for cells in pressure_cells(deck)[1])
    return count

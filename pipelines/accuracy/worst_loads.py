"""The true worst traffic for single results, under every case of traffic of a deck."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.proven_arrangement import proven_arrangements
from pipelines.accuracy.worst_arrangement import worst_arrangements
from pipelines.accuracy.worst_place import WorstArrangement
from pipelines.accuracy.worst_position import worst_places
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import LaneKind, LaneSet, LoadModel, Vehicle
from pipelines.traffic.arrangements import Arrangement, LoadedLane, LoadPosition
from plate.arrays import Floats


@dataclass(frozen=True, kw_only=True)
class WorstLoad:
    """The worst value of a result under a case of traffic over all its load positions, however
    fine, without factors near joints [SI].

    position : None where the empty deck governs. tolerance : how much further from zero a value may
    lie; proven : whether that is an upper bound, or only what a search may have missed.
    """

    case: str
    value: float
    position: Arrangement | None
    tolerance: float
    proven: bool


def worst_loads(
    deck: Deck,
    found: Surfaces,
    wanted: Sequence[tuple[int, int]],
    model: LoadModel,
    *,
    sizes: Floats | None = None,
    starts: Sequence[Arrangement | None] | None = None,
) -> list[WorstLoad]:
    """Worst traffic for results under a case of traffic.

    Parameters
    ----------
    found : the influence surfaces of the results.
    wanted : (row, +1 for its maximum or -1 for its minimum).
    sizes : of each (n,) the largest value of its kind on the deck: a thousandth of it counts as
        small; the result's own by default.
    starts : of each an arrangement to look at in any case.
    """
    grid = GridSurfaces.under_traffic(found, deck)
    if grid is not None:
        of, signs = (np.array(column) for column in zip(*wanted, strict=True))
        worst = proven_arrangements(
            deck, found, grid, model, of, signs.astype(float), sizes, starts
        )
    elif model.one_lane:
        worst = _single_lane(deck, found, wanted, model, starts)
    else:
        worst = worst_arrangements(deck, found, wanted, model, starts)
    return [
        WorstLoad(
            case=model.name,
            value=one.value,
            position=one.position,
            tolerance=one.tolerance,
            proven=one.proven,
        )
        for one in worst
    ]


def _single_lane(
    deck: Deck,
    found: Surfaces,
    wanted: Sequence[tuple[int, int]],
    model: LoadModel,
    starts: Sequence[Arrangement | None] | None,
) -> list[WorstArrangement]:
    """Worst arrangements of a load model of one lane."""
    lanes = _single_lanes(model)
    places = worst_places(
        deck,
        found,
        wanted,
        starts=None if starts is None else [at.lanes[0].position if at else None for at in starts],
        vehicles=[
            replace(vehicle, impact=vehicle.impact * lane_set.factor * kind.factor)
            for vehicle, kind, lane_set in lanes.values()
        ],
    )

    def arrangement(position: LoadPosition) -> Arrangement:
        _, kind, lane_set = lanes[position.vehicle]
        lane = LoadedLane(kind.name, kind.factor, position, position.offset)
        return Arrangement(
            model=model.name, whole=model.whole, lanes=(lane,), factor=lane_set.factor
        )

    return [
        WorstArrangement(
            place.value,
            None if place.position is None else arrangement(place.position),
            place.tolerance,
            place.proven,
        )
        for place in places
    ]


def _single_lanes(model: LoadModel) -> dict[str, tuple[Vehicle, LaneKind, LaneSet]]:
    """Of a load model of one lane every vehicle by its name, with the kind of lane and the set of
    lanes under whose factors it is heaviest: no lighter one can be worse."""
    lanes: dict[str, tuple[Vehicle, LaneKind, LaneSet]] = {}
    for lane_set in model.sets:
        kind = model.kinds[lane_set.kinds[0]]
        for vehicle in kind.vehicles:
            _, known, of = lanes.get(vehicle.name, (vehicle, kind, lane_set))
            if lane_set.factor * kind.factor >= of.factor * known.factor:
                lanes[vehicle.name] = vehicle, kind, lane_set
    return lanes

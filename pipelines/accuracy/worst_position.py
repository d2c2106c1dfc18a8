"""The true worst place of single vehicles: over all stations, offsets and spacings.

Envelopes step the vehicles along a lattice and so miss a little of every peak.
"""

from collections.abc import Sequence

import numpy as np

from pipelines.accuracy.free_vehicle import free_vehicles
from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.proven_arrangement import proven_arrangements
from pipelines.accuracy.proven_place import may_be_proven, proven_places
from pipelines.accuracy.searched_position import searched_places
from pipelines.accuracy.worst_place import WorstPlace
from pipelines.deck.deck import Deck
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import Vehicle, alone
from pipelines.traffic.arrangements import Arrangement, LoadPosition
from plate.arrays import Floats
from plate.threads import one_blas_thread


@one_blas_thread
def worst_places(
    deck: Deck,
    found: Surfaces,
    wanted: Sequence[tuple[int, int]],
    *,
    sizes: Floats | None = None,
    starts: Sequence[LoadPosition | None] | None = None,
    vehicles: Sequence[Vehicle] | None = None,
) -> list[WorstPlace]:
    """Worst places of results under single vehicles: proven on straight decks where they run along
    x, and their spacings are fixed or the mesh is a grid of rectangles; else searched.

    Parameters
    ----------
    found : influence surfaces of results.
    wanted : (row of the surfaces, +1 for its maximum or -1 for its minimum).
    sizes : of each (n,) the largest value of its kind on the deck: a thousandth of it counts as
        small; the result's own by default.
    starts : of each a load position to look at in any case.
    vehicles : those of the deck's traffic by default.
    """
    vehicles = vehicles or deck.required_traffic.vehicles
    rows = np.array([row for row, _ in wanted], dtype=np.int64)
    signs = np.array([sign for _, sign in wanted], dtype=float)
    grid = GridSurfaces.under_traffic(found, deck)
    if grid is None:
        fleet = list(free_vehicles(deck, vehicles))
        if may_be_proven(deck, found, fleet):
            return proven_places(deck, found, fleet, rows, signs, sizes, starts)
        return searched_places(deck, found, fleet, rows, signs, starts)
    begun = None if starts is None else [at if at is None else Arrangement.of(at) for at in starts]
    worst = proven_arrangements(deck, found, grid, alone(vehicles), rows, signs, sizes, begun)
    return [
        WorstPlace(
            one.value,
            None if one.position is None else one.position.single,
            one.tolerance,
            one.proven,
        )
        for one in worst
    ]

"""The true worst traffic for single results, under every case of traffic of a deck."""

from collections.abc import Sequence
from dataclasses import dataclass

from scipy import sparse

from pipelines.accuracy.worst_arrangement import worst_arrangements
from pipelines.accuracy.worst_position import worst_places
from pipelines.model.influence import surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.loads import LoadModel
from pipelines.traffic.arrangements import Arrangement


@dataclass(frozen=True, kw_only=True)
class WorstLoad:
    """The worst value of a result under a case of traffic over all its load positions, however
    fine, without factors near joints [SI].

    position : None where the empty deck governs; tolerance : what the search may have missed.
    """

    case: str
    value: float
    position: Arrangement | None
    tolerance: float


def worst_loads(
    solved: SolvedDeck,
    rows: sparse.csr_array,
    wanted: Sequence[tuple[int, int]],
    model: LoadModel,
    starts: Sequence[Arrangement | None] | None = None,
) -> list[WorstLoad]:
    """Worst traffic for results under a case of traffic.

    Parameters
    ----------
    rows : (n_row, n_dof) results as rows on the displacements.
    wanted : (row, +1 for its maximum or -1 for its minimum).
    starts : of each an arrangement to look at in any case.
    """
    if model.whole:
        found = worst_arrangements(solved, rows, wanted, model, starts)
        return [
            WorstLoad(case=model.name, value=w.value, position=w.position, tolerance=w.tolerance)
            for w in found
        ]
    places = worst_places(
        solved.deck,
        surfaces(solved.stiffness, rows),
        wanted,
        starts=None if starts is None else [at.single if at else None for at in starts],
        vehicles=[vehicle for kind in model.kinds for vehicle in kind.vehicles],
    )
    return [
        WorstLoad(
            case=model.name,
            value=place.value,
            position=None if place.position is None else Arrangement.of(place.position),
            tolerance=place.tolerance,
        )
        for place in places
    ]

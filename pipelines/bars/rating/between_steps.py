"""What a vehicle makes between the steps of its load positions where it governs in moments.

The terms of Wood and Armer's rule that add up are read by influence surfaces: their worst place of
all is proven, or searched where it cannot be, and no multiplier at that result point is smaller
than the one by these terms. Another point may be worse.
"""

import numpy as np
from scipy import sparse

from pipelines.accuracy.worst_position import worst_places
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.wood_armer import functionals, skew_components
from pipelines.bars.rating.limits import MomentLimit
from pipelines.bars.rating.moments import LimitsAt
from pipelines.bars.rating.multipliers import BetweenSteps
from pipelines.bars.rating.place_fields import moment_rows
from pipelines.deck.deck import Deck
from pipelines.model.influence import surfaces


def between_steps(
    watch: DesignWatch, alone: Deck, limit: MomentLimit, point: int
) -> BetweenSteps | None:
    """The least multiplier of a limit at a result point, wherever the vehicle stands; None where
    membrane forces act with the moments."""
    if watch.membrane is not None:
        return None
    solved = watch.solved
    at, sign, first = np.array([point]), 1.0 if limit.row < 2 else -1.0, 2 * (limit.row % 2)
    # the rule's terms are linear in the moments: their weights are those of unit moments
    of_units = skew_components(np.eye(3), watch.reinforcement.angle)
    weights = sign * functionals(of_units)[first : first + 2]
    rows = sparse.csr_array(weights @ moment_rows(solved, watch.layer)(at))
    found = worst_places(alone, surfaces(solved.stiffness, rows), [(0, 1), (1, 1)])
    extreme = np.array([[one.value + one.tolerance] for one in found])
    limits = LimitsAt.of(limit, at)
    # a + t and a - t by themselves, the other at none
    values = [float(limits.linear(only * extreme)[0]) for only in np.eye(2)[:, :, None]]
    k = int(np.argmin(values))
    return BetweenSteps(values[k], all(one.proven for one in found), found[k].position)

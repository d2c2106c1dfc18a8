"""The envelope's reactions under their worst traffic, where that is proven.

The reaction of a support under a unit load at each place is an influence surface like any other: on
the support's own line it is one. So its worst traffic is proven on the same meshes.
"""

from dataclasses import replace

import numpy as np

from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.proven_arrangement import proven_arrangements
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.extremes import SIGNS, with_sums
from pipelines.model.influence import Surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.lanes import TIE
from plate.arrays import Floats


def with_worst_reactions(
    solved: SolvedDeck, envelope: TrafficEnvelope
) -> tuple[TrafficEnvelope, Floats]:
    """The envelope with its reactions under their worst traffic, and the gaps (2, n_name) [N] by
    which their maxima and minima may be exceeded, not a number where they are those of the steps.
    """
    n = len(envelope.reaction_names)
    unknown = np.full((2, n), np.nan)
    if not n or solved.deck.required_traffic.axis is not None:
        return envelope, unknown
    ordinates = with_sums(solved.stiffness.reaction_influence)
    found = Surfaces(
        solved.model.mesh, np.array([ordinates[name] for name in envelope.reaction_names])
    )
    grid = GridSurfaces.of(found)
    if grid is None:
        return envelope, unknown
    e = envelope.reactions
    rows, signs = np.tile(np.arange(n), 2), np.repeat(SIGNS, n)
    stepped = np.concatenate([e.maximum, e.minimum])
    numbers = np.concatenate([e.at_maximum, e.at_minimum])
    starts = [envelope.position(number) for number in numbers.tolist()]
    worst = proven_arrangements(
        solved.deck, found, grid, envelope.model, rows, signs.astype(float), None, starts
    )
    value = np.array([one.value for one in worst])
    bound = np.abs(value) + np.array([one.tolerance for one in worst])
    higher = np.flatnonzero(signs * (value - stepped) > TIE * np.abs(stepped))
    raised = [one for k in higher.tolist() if (one := worst[k].position) is not None]
    different = list(dict.fromkeys(raised))
    envelope, joined = envelope.with_arrangements(different)
    number = joined[[different.index(one) for one in raised]]
    reactions = e.replaced(signs[higher], (rows[higher],), value[higher], number)
    largest = np.concatenate([reactions.maximum, reactions.minimum])
    gaps = np.maximum(bound - np.abs(largest), 0.0).reshape(2, n)
    return replace(envelope, reactions=reactions), gaps

"""The loads of a case of traffic where it governs given results, held."""

from collections.abc import Sequence

import numpy as np
from scipy import sparse

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.model.influence import field_rows, surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import WheelPatches, together
from pipelines.traffic.pressure_cells import pressure_cells
from plate.arrays import Floats, Ints


def governing_arrangement_loads(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    places: Sequence[tuple[int, int, int, int]],
) -> list[WheelPatches]:
    """The loads of a case of traffic where it governs results, near joints already raised.

    places : field point, index in RESULTS, 1 for its maximum or -1 for its minimum, and number of
    the arrangement. One influence surface for each tells on which cells distributed loads are
    adverse.
    """
    if not places:
        return []
    points, components, signs, numbers = (np.array(v) for v in zip(*places, strict=True))
    rows = field_rows(solved, points.tolist(), components.tolist())
    return governing_loads(solved, envelope, rows, signs, numbers, envelope.joint[points])


def governing_loads(
    solved: SolvedDeck,
    envelope: TrafficEnvelope,
    rows: sparse.csr_array,
    signs: Ints,
    numbers: Ints,
    joint: Floats,
    *,
    row: Ints | None = None,
) -> list[WheelPatches]:
    """The loads of a case of traffic where it governs results given as rows (n_row, n_dof) on the
    displacements, each as one load: its wheels, then cells.

    signs, numbers, joint : (n,) 1 for a maximum or -1 for a minimum, number of the arrangement,
    and factor near joints; row : (n,) the row of each, None = each has its own.
    """
    wheels = list(zip(envelope.wheels_of(numbers.tolist()), joint.tolist(), strict=True))
    if not envelope.model.has_pressure:
        return [together([pair]) for pair in wheels]
    deck = solved.deck
    edges, strips = pressure_cells(deck)
    parts = [strip.wheels(slice(None)) for strip in strips]
    corners = np.concatenate([part.corners for part in parts])
    area = np.concatenate([part.load for part in parts])
    strip = np.repeat(np.arange(len(strips)), [len(part.load) for part in parts])
    means = surfaces(solved.stiffness, rows).means(corners)
    own = means if row is None else means[row]
    found = []
    for pair, mean, sign, number in zip(wheels, own, signs, numbers.tolist(), strict=True):
        load = envelope.pressures(deck, number, edges)[strip] * area
        on = np.flatnonzero((sign * mean > 0.0) & (load != 0.0))
        cells = WheelPatches(corners[on], load[on], np.zeros(len(on), dtype=np.intp))
        found.append(together([pair, (cells, pair[1])]))
    return found

"""The loads of a case of traffic where it governs given results, held."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.model.influence import field_rows, surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import WheelPatches
from pipelines.traffic.pressure_cells import pressure_cells


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
    signs: NDArray[np.int64],
    numbers: NDArray[np.int64],
    joint: NDArray[np.float64],
) -> list[WheelPatches]:
    """The loads of a case of traffic where it governs results given as rows (n, n_dof) on the
    displacements.

    signs, numbers, joint : (n,) 1 for a maximum or -1 for a minimum, number of the arrangement,
    and factor near joints.
    """
    deck = solved.deck
    if not envelope.model.has_pressure:
        return [
            _times(float(factor), envelope.loads(deck, int(number)))
            for number, factor in zip(numbers, joint, strict=True)
        ]
    _, strips = pressure_cells(deck)
    corners = np.concatenate([strip.wheels(slice(None)).corners for strip in strips])
    means = surfaces(solved.stiffness, rows).means(corners)
    ends = np.cumsum([len(strip) for strip in strips])[:-1]
    found = []
    for sign, number, factor, own in zip(signs, numbers, joint, means, strict=True):
        held = envelope.loads(deck, int(number), np.split(sign * own > 0.0, ends))
        found.append(_times(float(factor), held))
    return found


def _times(factor: float, loads: WheelPatches) -> WheelPatches:
    return replace(loads, load=factor * loads.load)

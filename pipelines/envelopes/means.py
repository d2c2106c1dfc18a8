"""Means over a width: a peak against the width over which it is averaged.

A moment or shear carried by bars along the deck is averaged across it and the other way round, at
the load position that governs the peak; the segment is centred on the peak and moved inward where
it would leave the slab.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import Governing
from pipelines.envelopes.single_vehicles import Envelopes, find_position
from pipelines.model.responses import Solver, position_load
from pipelines.units import RESULT_SCALE
from plate.geometry.plan import Plan
from plate.results.fields import mean_along

Floats = NDArray[np.float64]

# Widths in thicknesses of the slab.
WIDTHS = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0)
# Results whose bars run across the deck: m_y, q_y.
ACROSS = (2, 5)
STEPS = 200


@dataclass(frozen=True)
class MeanCurve:
    """Means of one governing value: widths (n,) [m] and values (n,) in the report's unit."""

    result: str
    extreme: str
    unit: str
    widths: tuple[float, ...]
    values: tuple[float, ...]


def mean_curves(
    deck: Deck, solver: Solver, envelopes: Envelopes, peaks: Sequence[Governing]
) -> list[MeanCurve]:
    """Mean over `WIDTHS` of every governing moment and shear, the peak itself at width zero."""
    wanted = [p for p in peaks if p.component > 0 and p.number >= 0]
    loads = []
    for peak in wanted:
        run, index = find_position(envelopes.runs, peak.number)
        loads.append(position_load(solver.model, run, slice(index, index + 1)))
    if not loads:
        return []
    U = solver.stiffness.solve(sparse.hstack(loads, format="csc"))
    curves = []
    for k, peak in enumerate(wanted):
        widths, values = [0.0], [peak.value]
        for share in WIDTHS:
            path = centred_path(
                deck.plan, peak.at, share * deck.slab.thickness, peak.component in ACROSS
            )
            if path is None:
                break
            row = mean_along(solver.model, path)[[peak.component]]
            widths.append(share * deck.slab.thickness)
            values.append(float((row @ U[:, k])[0]) * RESULT_SCALE[peak.component])
        curves.append(MeanCurve(peak.result, peak.extreme, peak.unit, tuple(widths), tuple(values)))
    return curves


def centred_path(plan: Plan, at: tuple[float, float], width: float, along: bool) -> Floats | None:
    """Segment (2, 2) of the given width [m] about a point, along x or along y, on the slab.

    Moved inward as little as needed; None where the slab is narrower.
    """
    step = np.array([width, 0.0] if along else [0.0, width])
    for shift in sorted(np.linspace(-0.5, 0.5, STEPS + 1), key=abs):
        path = np.array(at) + np.array([shift - 0.5, shift + 0.5])[:, None] * step
        if plan.contains(path, 1e-7).all():
            return np.asarray(path)
    return None

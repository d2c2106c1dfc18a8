"""Means over a width: a peak against the width over which it is averaged.

A moment or shear carried by bars along the deck is averaged across it and the other way round, at
the load position that governs the peak; the segment is centred on the peak and moved inward where
it would leave the slab.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.envelopes.peaks import Peak
from pipelines.model.fixed_loads import values_under
from pipelines.model.responses import SolvedDeck
from pipelines.units import RESULT_SCALE
from plate.arrays import Floats
from plate.geometry.plan import Plan
from plate.results.functionals import component_rows
from plate.results.places import along_paths

# Widths in thicknesses of the slab.
WIDTHS = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0)
# Results whose bars run across the deck: m_y, q_y.
ACROSS = (2, 5)
STEPS = 200


@dataclass(frozen=True, kw_only=True)
class MeanCurve:
    """Means of one governing value: widths (n,) [m] and values (n,) in the report's unit."""

    result: str
    extreme: str
    unit: str
    widths: tuple[float, ...]
    values: tuple[float, ...]


def mean_curves(solved: SolvedDeck, peaks: Sequence[Peak]) -> tuple[MeanCurve, ...]:
    """Mean over `WIDTHS` of every governing moment and shear, the peak itself at width zero."""
    wanted = [p for p in peaks if p.component > 0 and p.number >= 0]
    if not wanted:
        return ()
    paths = [_paths(solved.deck, peak) for peak in wanted]
    count = [len(mine) for mine in paths]
    whose = np.repeat(np.arange(len(wanted)), count)
    values = np.empty(0)
    if len(whose):
        places = along_paths(solved.model.mesh, [path for mine in paths for path in mine])
        components = [wanted[k].component for k in whose]
        rows = component_rows(solved.model, places, components)
        values = values_under(solved.stiffness, lambda k: wanted[k].held, rows, whose)
    means = np.split(values, np.cumsum(count)[:-1])
    return tuple(
        MeanCurve(
            result=peak.result,
            extreme=peak.extreme,
            unit=peak.unit,
            widths=(0.0, *(share * solved.deck.slab.thickness for share in WIDTHS[: len(found)])),
            values=(peak.value, *(RESULT_SCALE[peak.component] * found).tolist()),
        )
        for peak, found in zip(wanted, means, strict=True)
    )


def _paths(deck: Deck, peak: Peak) -> list[Floats]:
    """Segments (2, 2) for the means of a peak over `WIDTHS`, as many as the slab has room for."""
    found = []
    for share in WIDTHS:
        width = share * deck.slab.thickness
        path = centred_path(deck.plan, peak.at, width, peak.component in ACROSS)
        if path is None:
            break
        found.append(path)
    return found


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

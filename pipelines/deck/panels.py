"""Panels of the deck: what lies between two neighbouring C lines and two neighbouring L lines.

Overhangs belong to the panel beside them. A plan without lines is one panel.
"""

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.geometry.plan import Plan

WHOLE = "slab"


def panel_names(plan: Plan) -> tuple[str, ...]:
    """ "C1-C2", or "C1-C2/L1-L2" where there are more than two L lines."""
    if not plan.is_grid:
        return (WHOLE,)
    bays = [f"C{i + 1}-C{i + 2}" for i in range(len(plan.stations) - 1)]
    if len(plan.offsets) == 2:
        return tuple(bays)
    strips = [f"L{j + 1}-L{j + 2}" for j in range(len(plan.offsets) - 1)]
    return tuple(f"{bay}/{strip}" for bay in bays for strip in strips)


def panel_of(plan: Plan, points: Floats) -> NDArray[np.intp]:
    """Index in `panel_names` of each plan point (n, 2); on a line, the panel after it."""
    if not plan.is_grid:
        return np.zeros(len(points), dtype=np.intp)
    u = plan.logical_station(points)
    bays = np.searchsorted(np.array(plan.stations[1:-1]), u, side="right")
    strips = len(plan.offsets) - 1
    inner = plan.line_offsets(u)[:, 2:-2]
    return np.asarray(bays * strips + (points[:, 1:2] >= inner).sum(axis=1), dtype=np.intp)

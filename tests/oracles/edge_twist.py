"""The twisting moment of bars beside the free edges of a rectangular slab."""

import numpy as np
from scipy import sparse

from pipelines.model.responses import SolvedDeck
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.results.functionals import component_rows
from plate.results.places import at_field_points, at_points


def twist_row(
    solved: SolvedDeck, point: int, low: tuple[float, float], high: tuple[float, float]
) -> sparse.csr_array:
    """Row (1, n_dof) of m_xy one thickness off all four edges, of corners low and high; at a field
    point that far off, its own."""
    plan, t = solved.recovery.points.plan[point], solved.model.section.thickness
    inner: Floats = np.clip(plan, np.array(low) + t, np.array(high) - t)
    fields, mesh = solved.recovery.points, solved.model.mesh
    own = np.abs(inner - plan).max() < 1e-6 * t
    places = at_field_points(fields, [point]) if own else at_points(mesh, inner[None])
    return component_rows(solved.model, places, [RESULTS.index("m_xy")])

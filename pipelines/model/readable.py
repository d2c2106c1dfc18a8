"""Where fields may be read: away from places of infinite moments, and clear of edges and lines."""

import re

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.geometry.plan import EDGES
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace

Mask = NDArray[np.bool_]

# Edges of any outline, and openings.
RIM = r"E\d+|opening \d+"
# Share of a distance within which a point counts as at that distance.
ROUNDED = 1e-6


def away_from(
    places: tuple[SingularPlace, ...], model: PlateModel, xy: Floats, distance: float
) -> Mask:
    """Points xy (n, 2) no nearer than `distance` [m] to any of the places; (n,)."""
    clear = np.ones(len(xy), dtype=bool)
    for place in places:
        clear &= _reaches(np.linalg.norm(xy - model.mesh.xy[place.node], axis=1), distance)
    return clear


def clear_of_lines(model: PlateModel, xy: Floats, distance: float) -> Mask:
    """Points xy (n, 2) no nearer than `distance` [m] to edges, supports and beams; (n,)."""
    mesh = model.mesh
    names = [s.line for s in model.supports] + [b.line for b in model.beams]
    names += [name for name in mesh.lines if name in EDGES or re.fullmatch(RIM, name)]
    clear = np.ones(len(xy), dtype=bool)
    for name in dict.fromkeys(names):
        edges = mesh.lines[name][:, [0, -1]]
        for a, b in mesh.xy[edges]:
            along = b - a
            share = np.clip((xy - a) @ along / (along @ along), 0.0, 1.0)
            gap = np.linalg.norm(xy - a - share[:, None] * along, axis=1)
            clear &= _reaches(gap, distance)
    return clear


def _reaches(gap: Floats, distance: float) -> Mask:
    """Whether gaps (n,) are no less than a distance [m]; points at just that distance, of which
    meshes have many, are clear however their coordinates are rounded."""
    return np.asarray(gap >= (1.0 - ROUNDED) * distance)

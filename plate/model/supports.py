"""Supports of a slab, as data: along lines, at points, and beams that are held in their turn."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from plate.elements.beam import BeamSection


@dataclass(frozen=True, kw_only=True)
class LineSupport:
    """A support along a line of the mesh.

    kind : "rigid" (w = 0; hard adds the slope along the line), "clamped" (w and both slopes),
        "spring" (k and k_rot below).
    k : [N/m per m]; k_rot : against the slope normal to the line [N m/rad per m].
    """

    line: str
    kind: Literal["rigid", "clamped", "spring"]
    hard: bool = False
    k: float = 0.0
    k_rot: float = 0.0


@dataclass(frozen=True)
class Hold:
    """Where a beam is held: at its crossing with line `on`, or `stub` [m] beyond it.

    k : vertical spring [N/m], inf = w is zero; k_rot : against the beam's bending rotation
    [N m/rad], which is its own if it has a shear area.
    """

    on: str
    k: float = np.inf
    k_rot: float = 0.0
    stub: float = 0.0


@dataclass(frozen=True, kw_only=True)
class BeamLine:
    """A beam along a line of the mesh, rigidly joined to the slab and to the beams it crosses.

    eccentricity : of its centroid below the slab's mid-plane [m], with `connection` the stiffness
        along the line that ties its face to the slab's membrane [N/m2]: 0 = none, inf = full.
    """

    line: str
    section: BeamSection
    holds: tuple[Hold, ...] = ()
    eccentricity: float = 0.0
    connection: float = 0.0


@dataclass(frozen=True)
class PointSupport:
    """Holds the mean deflection over a square of side `size` [m] centred at `at` (plan, m).

    k : spring [N/m], inf = the mean is zero.
    """

    name: str
    at: tuple[float, float]
    size: float
    k: float = np.inf

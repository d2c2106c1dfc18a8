"""What a rigid-plastic slab is: where it is held, what its bars resist, what stands on it.

The yield condition is Nielsen's of a slab with bars at any angles (M. P. Nielsen, Limit Analysis
and Concrete Plasticity, from memory): with the resistances of the bars of a face as tensors,
M = sum of m_i a_i a_i^T, the matrices M+ - m and M- + m have no negative eigenvalue. Nothing is
said of shear, and rotations are as large as they need to be.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from plate.arrays import Floats
from plate.errors import CollapseError
from plate.plastic.triangles import Triangles

Hold = Literal["simple", "clamped", "guided"]
"""What a line does to the slab: no deflection; neither deflection nor slope across; no slope
across, as an axis of symmetry."""

Resistances = Callable[[Floats], tuple[Floats, Floats]]
"""Tensors M+ and M- (n, 2, 2) [N m/m] of the bars below and above, everywhere in triangles given by
their corners (n, 3, 2) [m]: where bars change within one, bounds are strict for what is told."""


@dataclass(frozen=True, kw_only=True)
class PlasticBeam:
    """A beam below a straight line: it bends with the slab and carries no torsion.

    line : its name. sagging, hogging : plastic moments, both positive [N m]. built_in : whether its
    first and last end, in order of x, then y, cannot turn; else they carry no moment.
    """

    line: str
    sagging: float
    hogging: float
    built_in: tuple[bool, bool] = (False, False)


@dataclass(frozen=True, kw_only=True)
class PlasticSlab:
    """triangles : with every line that is named here. resistances : of the bars. holds : what
    lines do; others do nothing. points : places held (n, 2) [m]. beams : along lines. Lines and
    points hold down as well as up."""

    triangles: Triangles
    resistances: Resistances
    holds: Mapping[str, Hold]
    points: Sequence[tuple[float, float]] = ()
    beams: Sequence[PlasticBeam] = ()


@dataclass(frozen=True)
class PressedPatch:
    """A polygon (n, 2) [m] that presses evenly [N/m2]; only what is on the slab acts."""

    corners: Floats
    pressure: float


@dataclass(frozen=True, kw_only=True)
class PlasticLoad:
    """patches : areas. spread : areas that are not cut into the triangles: the load of what one
    covers of a triangle is spread over that triangle. pressure : on the whole slab [N/m2]. lines :
    along lines, by name [N/m]. All act down."""

    patches: Sequence[PressedPatch] = ()
    spread: Sequence[PressedPatch] = ()
    pressure: float = 0.0
    lines: Mapping[str, float] = field(default_factory=dict)


def bars_tensor(resistances: Sequence[float], angles: Sequence[float]) -> Floats:
    """Tensor (2, 2) of layers of bars: their resistances [N m/m] about the axis across the bars,
    their directions from x to y [rad]."""
    a = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    return np.asarray(np.einsum("k,ki,kj->ij", np.asarray(resistances, dtype=float), a, a))


def uniform(positive: Floats, negative: Floats) -> Resistances:
    """The same tensors (2, 2) everywhere."""

    def at(corners: Floats) -> tuple[Floats, Floats]:
        shape = (len(corners), 2, 2)
        return np.broadcast_to(positive, shape), np.broadcast_to(negative, shape)

    return at


def floored(tensors: Floats, least: float) -> tuple[Floats, bool]:
    """Tensors (n, 2, 2) with no eigenvalue below `least`, and whether one was.

    Raises CollapseError for one that is not symmetric and finite or has a negative eigenvalue.
    """
    if not np.all(np.isfinite(tensors)) or not np.allclose(tensors, tensors.swapaxes(1, 2)):
        raise CollapseError("resistances of bars are not symmetric or not finite")
    values, vectors = np.linalg.eigh(tensors)
    if np.any(values < -1e-9 * max(float(np.abs(values).max()), least)):
        raise CollapseError("a resistance of bars is negative")
    raised = np.maximum(values, least)
    low = bool(np.any(values < least * (1.0 - 1e-9)))
    return np.einsum("nik,nk,njk->nij", vectors, raised, vectors), low

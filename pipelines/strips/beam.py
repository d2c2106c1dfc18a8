"""The one-way strip as a continuous beam: exact influence lines.

Euler-Bernoulli beam over real spans with overhangs, on rigid, elastic (spring) or clamped
supports, with one bending stiffness per length between nodes. By the theorem of Müller-Breslau the
influence line of a force is the deflection that a unit jump at its place imposes; with cubic
Hermite elements between the supports that deflection is exact, a cubic between knots.

Signs: loads down; moment M sagging positive, shear V = dM/dx (positive just right of the first
support under load), reactions upward positive. All per metre of strip width, SI.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipelines.standards.supports import hogging_at
from pipelines.strips.piecewise import Piecewise
from plate.arrays import Floats
from plate.errors import SupportError

Side = Literal["left", "right"]


@dataclass(frozen=True, kw_only=True)
class StripSupport:
    """A line that carries the strip.

    at : station [m].
    k : stiffness against deflection [N/m per metre width]; inf is a rigid line. For a cross beam it
        is the beam's stiffness at that place as the strip feels it.
    k_rot : stiffness against rotation [N m/rad per metre width]; inf is a clamped line.
    width : breadth of the support along the strip (flange or web) [m]; rests : whether the slab
        only rests on it.
    name : name for print.
    """

    at: float
    k: float = np.inf
    k_rot: float = 0.0
    width: float = 0.0
    rests: bool = False
    name: str = ""

    @property
    def hogging_at(self) -> float:
        """Distance from its centre line at which hogging over it counts [m]."""
        return hogging_at(self.width, rests=self.rests)


@dataclass(frozen=True)
class StripBeam:
    """A strip from station `start` to `end` [m] over supports in rising order.

    EI : bending stiffness per metre width [N m2/m], one value for the whole strip or one for each
        length between neighbouring nodes (ends and supports). Its size matters only with springs.

    Raises SupportError for supports out of order or off the strip, EI of the wrong length, and
    strips that can move without bending.
    """

    supports: tuple[StripSupport, ...]
    start: float
    end: float
    EI: float | tuple[float, ...] = 1.0

    def __post_init__(self) -> None:
        at = [support.at for support in self.supports]
        if sorted(set(at)) != at or not at or at[0] < self.start or at[-1] > self.end:
            raise SupportError(f"supports at {at} m must rise between {self.start} and {self.end}")
        holds = [s for s in self.supports if s.k > 0]
        if not holds or (len(holds) < 2 and all(s.k_rot == 0 for s in self.supports)):
            raise SupportError("a strip needs two supports, or one that also holds its rotation")
        lengths = self.nodes.size - 1
        if np.ndim(self.EI) and np.size(self.EI) != lengths:
            raise SupportError(f"EI has {np.size(self.EI)} values for {lengths} lengths")
        if np.min(self.EI) <= 0:
            raise SupportError(f"EI must be positive, not {self.EI}")

    @property
    def nodes(self) -> Floats:
        """Stations of the ends and the supports [m]."""
        return np.unique([self.start, *(s.at for s in self.supports), self.end])

    def bay(self, i: int) -> tuple[float, float]:
        """Stations of the supports on either side of bay i, counted from 0 [m]."""
        return self.supports[i].at, self.supports[i + 1].at


def moment_lines(beam: StripBeam, sections: Sequence[float] | Floats, side: Side) -> Piecewise:
    """Influence lines of the bending moment at each section (S,), per unit load.

    side : for a section on a node, the length whose end is meant; moments on either side of a
        support differ only where it holds the rotation.
    """
    return _section_lines(beam, sections, side, moment=True)


def shear_lines(beam: StripBeam, sections: Sequence[float] | Floats, side: Side) -> Piecewise:
    """Influence lines of the shear just left or right of each section (S,), per unit load."""
    return _section_lines(beam, sections, side, moment=False)


def reaction_lines(beam: StripBeam) -> Piecewise:
    """Influence lines of the upward reaction of each support, one a row, per unit load."""
    system = _system(beam)
    where = np.searchsorted(beam.nodes, [s.at for s in beam.supports])
    size = system.held.size
    load = np.zeros((size, len(beam.supports)))
    imposed = np.zeros_like(load)
    for column, (support, node) in enumerate(zip(beam.supports, where, strict=True)):
        if np.isinf(support.k):
            imposed[2 * node, column] = 1.0
        else:
            load[2 * node, column] = support.k
    dofs = system.solve(load - system.matrix @ imposed) + imposed
    knots, coef = _shape(beam, dofs, system.scale)
    return Piecewise(knots, np.moveaxis(coef, -1, 0).copy())


def _section_lines(
    beam: StripBeam, sections: Sequence[float] | Floats, side: Side, moment: bool
) -> Piecewise:
    nodes = beam.nodes
    s = np.atleast_1d(np.asarray(sections, dtype=float))
    if s.size and (s.min() < nodes[0] or s.max() > nodes[-1]):
        raise SupportError(f"section off the strip: {s.min()} to {s.max()} m")
    e = np.searchsorted(nodes, s, side=side) - 1
    e = np.clip(e, 0, nodes.size - 2)
    system = _system(beam)
    scale = system.scale
    # The jump as a function of the station within its element: a kink -(x - s) or a step 1, both
    # from s on. Bending energy counts w less the jump, so its nodal values act as loads.
    jump = np.zeros((4, s.size))
    if moment:
        jump[2], jump[3] = -(nodes[e + 1] - s), -scale
    else:
        jump[2] = 1.0
    load = np.zeros((system.held.size, s.size))
    at = np.arange(s.size)
    forces = np.einsum("sij,js->is", system.elements[e], jump)
    for i in range(4):
        load[2 * e + i, at] = forces[i]  # one element a column: no dof twice
    dofs = system.solve(load)

    knots, coef = _shape(beam, dofs, scale)
    piece = np.arange(nodes.size)  # inner pieces once the section splits element e in two
    origin = np.where(piece <= e[:, None], piece, piece - 1)
    inner = coef[:, 1:-1][at[:, None], origin]
    bent = inner[at, e] - _hermite(jump.T, np.diff(nodes)[e], scale)
    inner[at, e] = bent
    offset = s - nodes[e]
    for i in range(3):
        for j in range(2, i - 1, -1):
            bent[:, j] += offset * bent[:, j + 1]
    bent[:, 1 if moment else 0] += -1.0 if moment else 1.0
    inner[at, e + 1] = bent
    split = np.sort(np.concatenate([knots, s[:, None]], axis=1), axis=1)
    outer = np.zeros((s.size, 1, 4))
    coef = np.concatenate([outer, inner, outer], axis=1)
    return Piecewise(split, np.moveaxis(coef, -1, 0).copy())


def _shape(beam: StripBeam, dofs: Floats, scale: float) -> tuple[Floats, Floats]:
    """Knots (S, N) and coefficients (S, N + 1, 4) of the deflections of columns of dofs."""
    nodes = beam.nodes
    count = dofs.shape[1]
    by_node = dofs.T.reshape(count, nodes.size, 2)
    ends = np.concatenate([by_node[:, :-1], by_node[:, 1:]], axis=-1)
    inner = _hermite(ends, np.diff(nodes), scale)
    outer = np.zeros((count, 1, 4))
    return (
        np.broadcast_to(nodes, (count, nodes.size)).copy(),
        np.concatenate([outer, inner, outer], axis=1),
    )


def _hermite(ends: Floats, length: Floats, scale: float) -> Floats:
    """Cubics (..., 4) of end values (w, scale * w', w, scale * w') (..., 4) over lengths (...)."""
    w0, r0, w1, r1 = np.moveaxis(ends, -1, 0)
    t0, t1 = r0 / scale, r1 / scale
    rise = (w1 - w0) / length
    return np.stack(
        [w0, t0, (3 * rise - 2 * t0 - t1) / length, (t0 + t1 - 2 * rise) / length**2], axis=-1
    )


def _element_stiffness(beam: StripBeam, scale: float) -> Floats:
    """(E, 4, 4) for dofs (w, scale * w') at both ends; scale [m] keeps the entries alike."""
    length = np.diff(beam.nodes)
    a, one = length / scale, np.ones_like(length)
    k = np.array(
        [
            [12 * one, 6 * a, -12 * one, 6 * a],
            [6 * a, 4 * a**2, -6 * a, 2 * a**2],
            [-12 * one, -6 * a, 12 * one, -6 * a],
            [6 * a, 2 * a**2, -6 * a, 4 * a**2],
        ]
    )
    return np.asarray(np.moveaxis(k * beam.EI / length**3, -1, 0))


@dataclass(frozen=True, eq=False)
class _System:
    """The strip's stiffness: elements (E, 4, 4), matrix, held dofs, and the length that scales
    rotations [m]."""

    elements: Floats
    matrix: Floats
    held: NDArray[np.bool_]
    scale: float

    @cached_property
    def flexibility(self) -> Floats:
        free = ~self.held
        return np.asarray(np.linalg.inv(self.matrix[np.ix_(free, free)]), dtype=float)

    def solve(self, load: Floats) -> Floats:
        """Dofs under loads (n_dof, n), held ones at zero."""
        dofs = np.zeros_like(load)
        dofs[~self.held] = self.flexibility @ load[~self.held]
        return dofs


@lru_cache(maxsize=64)
def _system(beam: StripBeam) -> _System:
    nodes = beam.nodes
    scale = float(np.mean(np.diff(nodes)))
    elements = _element_stiffness(beam, scale)
    size = 2 * nodes.size
    matrix = np.zeros((size, size))
    for e, element in enumerate(elements):
        matrix[2 * e : 2 * e + 4, 2 * e : 2 * e + 4] += element
    held = np.zeros(size, dtype=bool)
    for support in beam.supports:
        node = int(np.searchsorted(nodes, support.at))
        for dof, k in ((2 * node, support.k), (2 * node + 1, support.k_rot / scale**2)):
            if np.isinf(k):
                held[dof] = True
            else:
                matrix[dof, dof] += k
    return _System(elements, matrix, held, scale)

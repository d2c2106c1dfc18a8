"""Slabs of one or more spans in x and infinitely long in y, under patches.

The Fourier integral along y is taken as its sum of period 2 reach: Lévy's plate simply supported
at y = +-reach. The images that this adds, 2 reach away, die away like exp(-k distance / width),
with k = pi on simple supports and 1.5 on a cantilever (nu = 0.2, measured): a reach of 4 spans or
of 8 cantilever lengths leaves 1e-10 of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.exact.common import Patch, Resultants, Rigidity
from plate.exact.levy import LevyPlate, LevySolution
from plate.exact.lines import Line


@dataclass(frozen=True)
class StripSolution:
    """The solved strip; see `Strip.solve`."""

    levy: LevySolution
    reach: float

    def at(self, x: ArrayLike, y: ArrayLike) -> Resultants:
        """Resultants at points, well within |y| < reach."""
        return self.levy.at(np.asarray(y, float) + self.reach, x).swapped()

    def reaction(self, line: int, y: ArrayLike) -> Floats:
        """Force per metre of line number `line` on the slab, upward [N/m]."""
        return self.levy.reaction(line, np.asarray(y, float) + self.reach)


@dataclass(frozen=True)
class Strip:
    """A slab across lines x = const (a Line's coordinate is here its x), infinite along y.

    rigidity : with x across the lines. reach : half the period along y [m]; modes : terms, the
    shortest wave along y is 4 reach / modes.
    """

    lines: tuple[Line, ...]
    rigidity: Rigidity
    reach: float
    modes: int = 4000

    def solve(self, patches: Sequence[Patch]) -> StripSolution:
        """Solve for patches (in x and y of the strip) that act together."""
        plate = LevyPlate(2.0 * self.reach, self.rigidity.swapped(), self.lines, self.modes)
        moved = [replace(p.swapped(), x=p.y + self.reach) for p in patches]
        return StripSolution(plate.solve(moved), self.reach)


def half_plane_simple(s: ArrayLike, poisson: float) -> Floats:
    """Reaction u V / P at s = y/u along a simply supported edge, load P at distance u from it.

    Westergaard, Public Roads 11(1), 1930, eq. 119 is this at nu = 0.15.
    """
    c = 1.0 / (1.0 + np.asarray(s, float) ** 2)
    return np.asarray(((1.0 + poisson) / 2.0 * c + (1.0 - poisson) * c**2) / np.pi)


def half_plane_clamped(s: ArrayLike) -> tuple[Floats, Floats]:
    """Root moment M / P and reaction u V / P at s = y/u along a clamped edge, for any nu.

    Timoshenko and Woinowsky-Krieger, 2nd ed. 1959, art. 51 (from memory).
    """
    c = 1.0 / (1.0 + np.asarray(s, float) ** 2)
    return np.asarray(-c / np.pi), np.asarray(2.0 * c**2 / np.pi)

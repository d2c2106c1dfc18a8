"""Lines across a Lévy plate, and the solutions between them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from plate.arrays import Floats
from plate.errors import GeometryError


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line y = const across the plate: free unless something holds it.

    y : position [m]. held : w = 0. fixed : no rotation across the line. hard : none along it,
    which says something on thick plates only.
    ei [Nm2], gj [Nm2], ga [N] : bending, torsional and shear rigidity of a beam along the line,
    simply supported and free to warp but not to twist at x = 0 and a. Its bending rotation is its
    own; the slab's normal along the line has its slope, as in a deck.
    spring [N/m2], rotational [N] : springs per metre of line.
    """

    y: float
    held: bool = False
    fixed: bool = False
    hard: bool = False
    ei: float = 0.0
    gj: float = 0.0
    ga: float = math.inf
    spring: float = 0.0
    rotational: float = 0.0

    def bending(self, alpha: Floats) -> Floats:
        """Moment of the beam per unit deflection of a sine wave [N]: EI alpha^2, less what its web
        strains."""
        moment = self.ei * alpha**2
        return np.asarray(moment / (1.0 + moment / self.ga))

    def vertical(self, alpha: Floats) -> Floats:
        """Force per metre and unit deflection of a sine wave [N/m2]."""
        return np.asarray(alpha**2 * self.bending(alpha) + self.spring)

    def turning(self, alpha: Floats) -> Floats:
        """Moment per metre and unit rotation of a sine wave [N]."""
        return np.asarray(self.gj * alpha**2 + self.rotational)


def simple(y: float) -> Line:
    """A simply supported line, on thick plates a soft one."""
    return Line(y=y, held=True)


def clamped(y: float) -> Line:
    """A clamped line."""
    return Line(y=y, held=True, fixed=True, hard=True)


def check_order(lines: Sequence[Line]) -> None:
    """Raise GeometryError unless there are two lines or more at growing y."""
    y = [line.y for line in lines]
    if len(y) < 2 or any(b <= a for a, b in pairwise(y)):
        raise GeometryError("a plate needs two lines or more at growing y")


def decaying(t: Floats, mean: Floats, delta2: Floats) -> Floats:
    """The two solutions that decay with t and their first three derivatives, (4, 2, ...).

    exp(-r t) cosh(d t) and r exp(-r t) sinh(d t)/d with r = mean, d^2 = delta2 (of either sign).
    """
    if np.any(delta2):
        delta = np.sqrt(delta2.astype(complex))
        z = 2.0 * delta * t
        slow = np.exp((delta - mean) * t)
        small = np.abs(z) < 1e-5
        ratio = np.where(small, 1.0 - z / 2.0 + z * z / 6.0, 0.0)
        np.divide(-np.expm1(-z), z, out=ratio, where=~small)
        first = (slow * (1.0 + np.exp(-z)) / 2.0).real
        second = (mean * t * slow * ratio).real
    else:
        first = np.exp(-mean * t)
        second = mean * t * first
    rows = [(first, second)]
    f1, f2 = first, second
    # derivatives are combinations of the same pair: track their coefficients
    c11 = c22 = np.ones_like(mean)
    c12 = c21 = np.zeros_like(mean)
    for _ in range(3):
        c11, c12 = -mean * c11 + mean * c12, delta2 / mean * c11 - mean * c12
        c21, c22 = -mean * c21 + mean * c22, delta2 / mean * c21 - mean * c22
        rows.append((c11 * f1 + c12 * f2, c21 * f1 + c22 * f2))
    return np.array(rows)

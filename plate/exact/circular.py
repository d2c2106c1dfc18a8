"""Circular and annular plates under axisymmetric load, thin or of Reissner-Mindlin type.

Any text on plates has them: Timoshenko and Woinowsky-Krieger, 2nd ed. 1959, arts. 16-17; with
shear Reissner, J. Appl. Mech. 12 (1945) A69. W = q r^4 / 64 D + A + B r^2 + C ln r + E r^2 ln r;
slope W', deflection w = W - (D / shear rigidity) lap W, shear force -D (lap W)'.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.errors import GeometryError

EdgeKind = Literal["clamped", "simple", "free"]


@dataclass(frozen=True, kw_only=True)
class RingPlate:
    """A plate inner <= r <= outer [m], solid if inner = 0 (inner_edge is then not used).

    d : flexural rigidity [Nm]; shear_rigidity : kappa G t [N/m], infinite for a thin plate;
    pressure [Pa]; ring : force per metre along a free inner edge, down [N/m].
    """

    outer: float
    d: float
    poisson: float
    edge: EdgeKind
    inner: float = 0.0
    inner_edge: EdgeKind = "free"
    pressure: float = 1.0
    ring: float = 0.0
    shear_rigidity: float = math.inf

    def at(self, r: ArrayLike) -> tuple[Floats, Floats, Floats, Floats]:
        """w [m], radial and tangential moment [N] and radial shear force [N/m] at radii r."""
        if not 0.0 <= self.inner < self.outer:
            raise GeometryError(f"an annulus from {self.inner} to {self.outer} m")
        kinds = [(self.outer, self.edge, 0.0)]
        if self.inner > 0.0:
            # a ring load down on the inner edge is what the plate must carry outward: q_r = -ring
            kinds.append((self.inner, self.inner_edge, -self.ring))
        rows, right = [], []
        for radius, kind, shear in kinds:
            basis, load = self._quantities(np.array(radius))
            pick = {"clamped": (0, 1), "simple": (0, 2), "free": (2, 4)}[kind]
            for k in pick:
                rows.append(basis[k])
                right.append((shear if k == 4 else 0.0) - load[k])
        count = len(rows)
        constants = np.linalg.solve(np.array(rows)[:, :count], np.array(right))
        basis, load = self._quantities(np.asarray(r, float))
        w, _, m_r, m_t, q_r = (
            np.asarray(np.tensordot(constants, row[:count], 1) + part)
            for row, part in zip(basis, load, strict=True)
        )
        return w, m_r, m_t, q_r

    def _quantities(self, r: Floats) -> tuple[Floats, Floats]:
        """w, W', m_r, m_t, q_r of the functions 1, r^2, ln r, r^2 ln r and of the load."""
        zero, one = np.zeros_like(r), np.ones_like(r)
        safe = np.where(r > 0.0, r, 1.0)  # only a solid plate has r = 0, and no logarithms
        log = np.log(safe)
        # rows: W, W', W'', lap W, (lap W)'
        table = np.array(
            [
                [one, zero, zero, zero, zero],
                [r**2, 2 * r, 2 * one, 4 * one, zero],
                [log, 1 / safe, -1 / safe**2, zero, zero],
                [r**2 * log, r * (2 * log + 1), 2 * log + 3, 4 * log + 4, 4 / safe],
                [r**4 / 64, r**3 / 16, 3 * r**2 / 16, r**2 / 4, r / 2],
            ]
        )
        value, slope, second, laplace, change = np.moveaxis(table, 1, 0)
        over = np.where(r > 0.0, slope / safe, second)
        parts = np.array(
            [
                value - self.d / self.shear_rigidity * laplace,
                slope,
                -self.d * (second + self.poisson * over),
                -self.d * (over + self.poisson * second),
                -self.d * change,
            ]
        )
        return parts[:, :4], parts[:, 4] * self.pressure / self.d

"""Rectangles clamped on four edges, by superposing edge moments on the simply supported plate.

The moments along the edges are sine series whose coefficients make all four edge slopes zero
(Timoshenko, Proc. 5th Int. Congress of Applied Mechanics, 1938; Timoshenko and
Woinowsky-Krieger, 2nd ed. 1959, art. 44).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.exact.common import Patch, Resultants, Rigidity, points
from plate.exact.levy import LevyPlate, LevySolution
from plate.exact.lines import simple

_LOAD_MODES = 4000  # terms of the load on the simply supported plate


@dataclass(frozen=True)
class ClampedRectangle:
    """The solved plate 0 <= x <= a, 0 <= y <= b; see `clamped_rectangle`."""

    loaded: LevySolution
    along_x: LevySolution
    along_y: LevySolution
    moments: tuple[Floats, Floats, Floats, Floats]

    def at(self, x: ArrayLike, y: ArrayLike) -> Resultants:
        """Resultants at points off the edges; on an edge use `edge_moment`."""
        px, py, shape = points(x, y)
        total = self.loaded.at(px, py).stack() + self.along_x.at(px, py).stack()
        total += self.along_y.at(py, px).swapped().stack()
        return Resultants(*(row.reshape(shape) for row in total))

    def edge_moment(self, edge: int, s: ArrayLike) -> Floats:
        """Normal moment at s along edge 0 (y = 0), 1 (y = b), 2 (x = 0) or 3 (x = a) [N]."""
        plate = (self.along_x if edge < 2 else self.along_y).plate
        return np.asarray(self.moments[edge] @ np.sin(np.outer(plate.alpha, np.asarray(s, float))))


def clamped_rectangle(
    a: float, b: float, d: float, poisson: float, patches: Sequence[Patch], modes: int = 240
) -> ClampedRectangle:
    """Solve an isotropic plate of flexural rigidity d [Nm] for patches acting together.

    Digits: with 240 modes 1e-7 of w and 1e-6 of moments at the middle of the edges.
    """
    rigidity = Rigidity.isotropic(d, poisson)
    plate_x = LevyPlate(a, rigidity, (simple(0.0), simple(b)), modes)
    plate_y = LevyPlate(b, rigidity, (simple(0.0), simple(a)), modes)
    loaded = replace(plate_x, modes=max(modes, _LOAD_MODES)).solve(patches)
    turned = plate_y.solve([patch.swapped() for patch in patches])
    alpha, beta = plate_x.alpha, plate_y.alpha
    sign = np.where(np.arange(1, modes + 1) % 2 == 0, 1.0, -1.0)
    own_x, own_y = _own_slopes(alpha, b, d), _own_slopes(beta, a, d)
    # w_mn of moments F_n on x = 0 is 2 alpha F_n / (a d (alpha^2 + beta^2)^2), w,y sums beta w_mn
    cross = 2.0 * np.outer(alpha, beta) / (d * np.add.outer(alpha**2, beta**2) ** 2)
    one = np.ones(modes)
    on_y = np.concatenate([one[:, None] * cross, sign[None, :] * cross])  # y = 0 and y = b
    on_y = np.hstack([on_y, -np.tile(sign, 2)[:, None] * on_y]) / a  # from x = 0 and x = a
    on_x = np.concatenate([cross.T, sign[None, :] * cross.T])
    on_x = np.hstack([on_x, -np.tile(sign, 2)[:, None] * on_x]) / b
    matrix = np.block([[own_x, on_y], [on_x, own_y]])
    slopes = [loaded.slope(0)[:modes], loaded.slope(1)[:modes], turned.slope(0), turned.slope(1)]
    first, second, third, fourth = np.split(np.linalg.solve(matrix, -np.concatenate(slopes)), 4)
    return ClampedRectangle(
        loaded,
        plate_x.solve([], (first, second)),
        plate_y.solve([], (third, fourth)),
        (first, second, third, fourth),
    )


def _own_slopes(alpha: Floats, b: float, d: float) -> Floats:
    """w,y on y = 0 and y = b from unit sine moments on the same two edges: (2 m, 2 m)."""
    t = alpha * b
    decay = np.exp(-t)
    cosech = 2.0 * decay / -np.expm1(-2.0 * t)
    coth = (1.0 + decay**2) / -np.expm1(-2.0 * t)
    near = np.diag(b / (4.0 * alpha) * coth - b * b / 4.0 * cosech**2) * 2.0 / (b * d)
    far = np.diag(b / (4.0 * alpha) * cosech - b * b / 4.0 * cosech * coth) * 2.0 / (b * d)
    return np.block([[near, -far], [far, -near]])

"""Lévy's method for isotropic Reissner-Mindlin plates, hard simple supports on x = 0 and x = a.

With a biharmonic W (D lap lap W = q) and a psi that solves psi = k lap psi, k = D (1 - nu) / 2 S,
S = kappa G t: w = W - (D/S) lap W, theta_x = W,x + psi,y, theta_y = W,y - psi,x satisfy every
equation of the theory (Reissner, J. Appl. Mech. 12 (1945) A69; the decomposition is common
practice). psi is the boundary layer, of width sqrt(k).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.exact.common import Patch, Resultants, beam_curve, points
from plate.exact.lines import Line, check_order, decaying
from plate.exact.system import Condition, Intervals, cut, solve

_CHUNK = 4_000_000  # numbers held at once while the terms are summed
_W, _THETA_Y, _THETA_X, _M_Y, _M_XY, _Q_Y, _M_X, _Q_X = range(8)  # rows of the state
_SINES, _COSINES = (_W, _THETA_Y, _M_Y, _Q_Y, _M_X), (_THETA_X, _M_XY, _Q_X)


@dataclass(frozen=True)
class ThickSolution:
    """The solved coefficients (modes, intervals, 6); see `ThickPlate.solve`."""

    plate: "ThickPlate"
    cuts: Intervals
    coefficients: Floats

    def at(self, x: ArrayLike, y: ArrayLike) -> Resultants:
        """Resultants at points; where they jump across y = const, of the larger y's side."""
        px, py, shape = points(x, y)
        interval = self.cuts.find(py)
        out = np.zeros((8, len(px)))
        step = max(1, _CHUNK // self.plate.modes)
        for i in np.unique(interval):
            chosen = np.flatnonzero(interval == i)
            for start in range(0, len(chosen), step):
                part = chosen[start : start + step]
                out[:, part] = self._sum(int(i), px[part], py[part])
        rows = (_W, _M_X, _M_Y, _M_XY, _Q_X, _Q_Y)
        return Resultants(*(out[row].reshape(shape) for row in rows))

    def _sum(self, i: int, x: Floats, y: Floats) -> Floats:
        plate, alpha = self.plate, self.plate.alpha[:, None]
        terms = self._terms(i, y)
        out = np.zeros((8, len(x)))
        sine, cosine = np.sin(alpha * x), np.cos(alpha * x)
        for rows, wave in ((_SINES, sine), (_COSINES, cosine)):
            for row in rows:
                out[row] = np.sum(terms[row] * wave, axis=0)
        for patch, force in self.cuts.loads[i]:
            # the part that does not decay, a beam along x of width 1, in closed form
            w, slope, second, third = force / plate.d * beam_curve(x, plate.a, patch.x, patch.a)
            out[_W] += w - plate.d / plate.shear_rigidity * second
            out[_THETA_X] += slope
            out[_M_X] -= plate.d * second
            out[_M_Y] -= plate.d * plate.poisson * second
            out[_Q_X] -= plate.d * third
        return out

    def _terms(self, i: int, y: Floats) -> Floats:
        """Amplitudes of the states at y without the load's own part, (8, modes, n)."""
        states = self.plate.states(y, *self.cuts.nodes[i : i + 2])
        return np.asarray(np.einsum("rmnj,mj->rmn", states, self.coefficients[:, i]))

    def line_state(self, line: int, above: bool) -> Floats:
        """w, theta_y, theta_x, m_y, m_xy, q_y, m_x, q_x of each term on one side of a line: (8, m).

        `line` is the line's number; beyond an edge all are zero.
        """
        node = self.cuts.node(self.plate.lines[line])
        i = node if above else node - 1
        if not 0 <= i < len(self.cuts.nodes) - 1:
            return np.zeros((8, self.plate.modes))
        own = self.plate.load_state(self.cuts.pressure[:, i])
        return np.asarray(self._terms(i, self.cuts.nodes[node : node + 1])[..., 0] + own)

    def reaction(self, line: int, x: ArrayLike) -> Floats:
        """Force per metre that a line puts on the plate, upward [N/m]."""
        jump = self.line_state(line, True)[_Q_Y] - self.line_state(line, False)[_Q_Y]
        return self._along(jump, np.sin, x)

    def beam_moment(self, line: int, x: ArrayLike) -> Floats:
        """Sagging moment of the beam along a line [Nm]."""
        w = self.line_state(line, line == 0)[_W]
        return self._along(self.plate.lines[line].bending(self.plate.alpha) * w, np.sin, x)

    def _along(self, terms: Floats, wave: np.ufunc, x: ArrayLike) -> Floats:
        return np.asarray(terms @ wave(np.outer(self.plate.alpha, np.asarray(x, float))))


@dataclass(frozen=True, kw_only=True)
class ThickPlate:
    """A plate 0 <= x <= a between its first and its last line.

    d : flexural rigidity [Nm]; shear_rigidity : kappa G t [N/m]. A beam along a line shares w and
    the twist with the plate, and makes theta_x = w,x on the line.
    """

    a: float
    d: float
    poisson: float
    shear_rigidity: float
    lines: tuple[Line, ...]
    modes: int = 1000

    def __post_init__(self) -> None:
        check_order(self.lines)

    @property
    def alpha(self) -> Floats:
        """m pi / a [1/m]."""
        return np.arange(1, self.modes + 1, dtype=np.float64) * (math.pi / self.a)

    def load_state(self, pressure: Floats) -> Floats:
        """Amplitudes (8, modes) of the beam along x that carries a pressure alone."""
        alpha, d = self.alpha, self.d
        c = pressure / (d * alpha**4)
        zero = np.zeros_like(c)
        bending = d * alpha**2 * c
        w = c + bending / self.shear_rigidity
        return np.stack(
            [w, zero, alpha * c, self.poisson * bending, zero, zero, bending, alpha * bending]
        )

    def states(self, y: Floats, low: float, high: float) -> Floats:
        """Amplitudes of the six solutions without load on low..high: (8, modes, n, 6)."""
        d, nu, s = self.d, self.poisson, self.shear_rigidity
        a = self.alpha[:, None]
        no = np.zeros_like(a)
        up, down = decaying(y - low, a, no), decaying(high - y, a, no)
        down[1::2] *= -1.0
        zero = np.zeros((self.modes, len(y)))
        g = np.sqrt(a**2 + 2.0 * s / (d * (1.0 - nu)))
        layers = (np.exp(-g * (y - low)), np.exp(-g * (high - y)))
        # psi is made as large as W's solutions where it matters, in theta_x
        psi = [(layers[0] * a / g, -a * layers[0]), (layers[1] * a / g, a * layers[1])]
        columns = []
        for half in (up, down):
            for j in range(2):
                columns.append((*half[:, j], zero, zero))
        columns += [(zero, zero, zero, zero, value, slope) for value, slope in psi]
        out = []
        for w, w1, w2, w3, p, p1 in columns:
            laplace, laplace1 = w2 - a**2 * w, w3 - a**2 * w1
            out.append(
                [
                    w - d / s * laplace,
                    w1 + a * p,
                    a * w + p1,
                    -d * (w2 - nu * a**2 * w) - d * (1.0 - nu) * a * p1,
                    -d * (1.0 - nu) * (a * w1 + (g**2 + a**2) / 2.0 * p),
                    -d * laplace1 - s * a * p,
                    -d * (nu * w2 - a**2 * w) + d * (1.0 - nu) * a * p1,
                    -d * a * laplace - s * p1,
                ]
            )
        return np.moveaxis(np.array(out), 0, -1)

    def solve(self, patches: Sequence[Patch]) -> ThickSolution:
        """Solve for patches within the plate (LoadError else), all acting together."""
        cuts = cut(self.a, self.alpha, self.lines, patches)
        alpha, nodes = self.alpha, cuts.nodes

        def states(node: int, i: int) -> tuple[Floats, Floats]:
            functions = self.states(nodes[node : node + 1], nodes[i], nodes[i + 1])[:, :, 0]
            return functions, self.load_state(cuts.pressure[:, i])

        def conditions(node: int, inside: bool) -> list[Condition]:
            """Virtual work of the two sides: q(+) - q(-), m_xy(-) - m_xy(+), m_y(-) - m_y(+) are
            the work conjugates of w, theta_x, theta_y in the beam and the springs, less the force.
            """
            line = cuts.at.get(node, Line(y=nodes[node]))
            found = [Condition({row: 1.0}) for row in (_W, _THETA_Y, _THETA_X)] if inside else []
            if line.fixed:
                found.append(Condition(values={_THETA_Y: 1.0}))
            else:
                found.append(Condition({_M_Y: 1.0}, {_THETA_Y: line.turning(alpha)}))
            tied = line.ei > 0.0
            if line.hard:
                found.append(Condition(values={_THETA_X: 1.0}))
            elif tied:
                found.append(Condition(values={_THETA_X: 1.0, _W: -alpha}))
            else:
                found.append(Condition({_M_XY: 1.0}))
            if line.held:
                found.append(Condition(values={_W: 1.0}))
            else:
                jumps: dict[int, Floats | float] = {_Q_Y: 1.0}
                if tied:
                    jumps[_M_XY] = -alpha
                rows = {_W: -line.vertical(alpha)}
                found.append(Condition(jumps, rows, -cuts.force[:, node]))
            return found

        return ThickSolution(self, cuts, solve(cuts, states, conditions))

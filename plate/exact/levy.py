"""Plates simply supported on x = 0 and x = a, anything along lines of constant y (Lévy's method).

Each term sin(m pi x / a) of the load leaves an ordinary equation in y, solved exactly between the
lines and the edges of the loads; exponentials decay from both ends of each interval, so that no
term overflows. The part that does not decay is the simple beam along x under the same load, which
is summed in closed form: what is left converges exponentially away from the lines y = const that
bound a load. Lévy (1899); Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed.
1959, arts. 28-30, 46-48, 54, 85.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.exact.common import Patch, Resultants, Rigidity, beam_curve, points
from plate.exact.lines import Line, check_order, decaying
from plate.exact.system import Condition, Intervals, cut, solve

_CHUNK = 4_000_000  # numbers held at once while the terms are summed


@dataclass(frozen=True)
class LevySolution:
    """The solved coefficients; see `LevyPlate.solve`.

    coefficients : (modes, s, 4) of the solutions without load on each interval;
    constant : (modes, s) the terms of the beam along x, load / (d_x alpha^4 + foundation).
    """

    plate: "LevyPlate"
    cuts: Intervals
    coefficients: Floats
    constant: Floats

    def at(self, x: ArrayLike, y: ArrayLike) -> Resultants:
        """Resultants at points; where they jump across y = const, of the larger y's side."""
        px, py, shape = points(x, y)
        interval = self.cuts.find(py)
        out = np.zeros((6, len(px)))
        step = max(1, _CHUNK // self.plate.modes)
        for i in np.unique(interval):
            chosen = np.flatnonzero(interval == i)
            for start in range(0, len(chosen), step):
                part = chosen[start : start + step]
                out[:, part] = self._sum(int(i), px[part], py[part])
        return Resultants(*(row.reshape(shape) for row in out))

    def _sum(self, i: int, x: Floats, y: Floats) -> Floats:
        plate, d = self.plate, self.plate.rigidity
        alpha = plate.alpha[:, None]
        curve = plate.functions(y, *self.cuts.nodes[i : i + 2])
        v = np.einsum("kjmn,mj->kmn", curve, self.coefficients[:, i])
        if d.foundation:  # what the foundation changes of the beam along x
            share = d.foundation / (d.d_x * plate.alpha**4)
            v[0] -= (share * self.constant[:, i])[:, None]
        sine, cosine = np.sin(alpha * x), np.cos(alpha * x)
        w00 = np.sum(v[0] * sine, 0)
        w10x = -np.sum(alpha**3 * v[0] * cosine, 0)
        w20 = -np.sum(alpha**2 * v[0] * sine, 0)
        for patch, force in self.cuts.loads[i]:
            beam = force / d.d_x * beam_curve(x, plate.a, patch.x, patch.a)
            w00, w20, w10x = w00 + beam[0], w20 + beam[2], w10x + beam[3]
        w02, w03 = np.sum(v[2] * sine, 0), np.sum(v[3] * sine, 0)
        w11 = np.sum(alpha * v[1] * cosine, 0)
        w21 = -np.sum(alpha**2 * v[1] * sine, 0)
        w12 = np.sum(alpha * v[2] * cosine, 0)
        return np.stack(
            [
                w00,
                -(d.d_x * w20 + d.d_1 * w02),
                -(d.d_1 * w20 + d.d_y * w02),
                -2.0 * d.d_xy * w11,
                -(d.d_x * w10x + d.h * w12),
                -(d.d_y * w03 + d.h * w21),
            ]
        )

    def line_state(self, line: int, above: bool) -> Floats:
        """w, w,y, m_y and effective shear force of each term on one side of a line: (4, modes).

        `line` is the line's number; beyond an edge all are zero.
        """
        node = self.cuts.node(self.plate.lines[line])
        i = node if above else node - 1
        if not 0 <= i < len(self.cuts.nodes) - 1:
            return np.zeros((4, self.plate.modes))
        ends = self.cuts.nodes[i : i + 2]
        curve = self.plate.functions(self.cuts.nodes[node : node + 1], *ends)[..., 0]
        v = np.einsum("kjm,mj->km", curve, self.coefficients[:, i])
        v[0] += self.constant[:, i]
        return self.plate.state(v)

    def slope(self, line: int) -> Floats:
        """Coefficients (modes,) of w,y along line number `line`."""
        return np.asarray(self.line_state(line, line == 0)[1])

    def line_deflection(self, line: int, x: ArrayLike) -> Floats:
        """Deflection of the plate along line number `line` [m]."""
        return self._along(self.line_state(line, line == 0)[0], x)

    def reaction(self, line: int, x: ArrayLike) -> Floats:
        """Force per metre that a held line puts on the plate, upward [N/m]."""
        return self._along(self.line_state(line, True)[3] - self.line_state(line, False)[3], x)

    def beam_moment(self, line: int, x: ArrayLike) -> Floats:
        """Sagging moment of the beam along a line [Nm]."""
        moment = self.plate.lines[line].bending(self.plate.alpha)
        return self._along(moment * self.line_state(line, line == 0)[0], x)

    def _along(self, coefficients: Floats, x: ArrayLike) -> Floats:
        sine = np.sin(np.outer(self.plate.alpha, np.asarray(x, float)))
        return np.asarray(coefficients @ sine)


@dataclass(frozen=True)
class LevyPlate:
    """A plate 0 <= x <= a between its first and its last line, simply supported on x = 0 and a.

    modes : terms of the series. Away from loads a few hundred give all digits; on a line
    y = const that bounds a load moments converge as modes^-2 and shear forces as modes^-1.
    """

    a: float
    rigidity: Rigidity
    lines: tuple[Line, ...]
    modes: int = 1000

    def __post_init__(self) -> None:
        check_order(self.lines)

    @property
    def alpha(self) -> Floats:
        """m pi / a [1/m]."""
        return np.arange(1, self.modes + 1, dtype=np.float64) * (math.pi / self.a)

    def functions(self, y: Floats, low: float, high: float) -> Floats:
        """The four solutions without load on low..high and three derivatives: (4, 4, m, n)."""
        d, alpha = self.rigidity, self.alpha
        # d_y r^4 - 2 h alpha^2 r^2 + d_x alpha^4 + foundation = 0; r = mean +- delta
        half_sum = d.h * alpha**2 / d.d_y
        root_product = np.sqrt((d.d_x * alpha**4 + d.foundation) / d.d_y)
        mean = np.sqrt((half_sum + root_product) / 2.0)
        delta2 = (half_sum - root_product) / 2.0
        delta2[np.abs(delta2) < 1e-14 * half_sum] = 0.0
        up = decaying(y - low, mean[:, None], delta2[:, None])
        down = decaying(high - y, mean[:, None], delta2[:, None])
        down[1::2] *= -1.0
        return np.concatenate([up, down], axis=1)

    def state(self, v: Floats) -> Floats:
        """w, w,y, m_y and effective shear (4, m, ...) from derivatives (4, m, ...)."""
        d = self.rigidity
        a2 = (self.alpha**2).reshape(-1, *[1] * (v.ndim - 2))
        return np.stack(
            [
                v[0],
                v[1],
                -(d.d_y * v[2] - d.d_1 * a2 * v[0]),
                -(d.d_y * v[3] - (d.d_1 + 4.0 * d.d_xy) * a2 * v[1]),
            ]
        )

    def solve(
        self, patches: Sequence[Patch], edge_moments: tuple[Floats, Floats] | None = None
    ) -> LevySolution:
        """Solve for patches within the plate (LoadError else), all acting together.

        edge_moments : coefficients (modes,) of m_y put on the first and on the last line [N].
        """
        cuts = cut(self.a, self.alpha, self.lines, patches)
        d, alpha, nodes = self.rigidity, self.alpha, cuts.nodes
        constant = cuts.pressure / (d.d_x * alpha**4 + d.foundation)[:, None]
        zero = np.zeros_like(alpha)

        def states(node: int, i: int) -> tuple[Floats, Floats]:
            curve = self.functions(nodes[node : node + 1], nodes[i], nodes[i + 1])[..., 0]
            load = self.state(np.stack([constant[:, i], zero, zero, zero]))
            return self.state(np.moveaxis(curve, 1, 2)), load

        def conditions(node: int, inside: bool) -> list[Condition]:
            """Virtual work of the two sides: V(+) - V(-) = vertical w - force, V the effective
            shear force, and m_y(-) - m_y(+) = turning w,y.
            """
            line = cuts.at.get(node, Line(y=nodes[node]))
            moment: Floats | float = 0.0
            if edge_moments is not None and not inside:
                moment = edge_moments[0] if node == 0 else -edge_moments[1]
            vertical = {0: -line.vertical(alpha)}
            found = [Condition({0: 1.0}), Condition({1: 1.0})] if inside else []
            found.append(
                Condition(values={0: 1.0})
                if line.held
                else Condition({3: 1.0}, vertical, -cuts.force[:, node])
            )
            found.append(
                Condition(values={1: 1.0})
                if line.fixed
                else Condition({2: 1.0}, {1: line.turning(alpha)}, moment)
            )
            return found

        return LevySolution(self, cuts, solve(cuts, states, conditions), constant)

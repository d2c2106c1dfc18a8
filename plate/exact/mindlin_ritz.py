"""Uniformly loaded Reissner-Mindlin rectangles, opposite edges alike, by Ritz's method.

Products of Legendre polynomials over a quarter of the plate; exponential convergence but for the
corners and for the boundary layer of a soft edge, of width t / sqrt(12 kappa) (Arnold and Falk,
SIAM J. Math. Anal. 21 (1990) 281), which the degree must resolve.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike
from scipy.linalg import cho_factor, cho_solve

from plate.arrays import Floats
from plate.exact.common import Resultants, points

EdgeKind = Literal["soft", "hard", "clamped", "free"]
_Basis = list[Floats]  # coefficients in Legendre polynomials on -1..1


@dataclass(frozen=True, kw_only=True)
class MindlinRectangle:
    """A plate 0 <= x <= a, 0 <= y <= b under unit pressure.

    d : flexural rigidity [Nm]; shear_rigidity : kappa G t [N/m]; x_edges : how x = 0
    and x = a are held, "soft" by w, "hard" by w and the rotation along the edge, "clamped" by all;
    y_edges : the same of y = 0 and y = b; degree : of the polynomials, about.
    """

    a: float
    b: float
    d: float
    poisson: float
    shear_rigidity: float
    x_edges: EdgeKind
    y_edges: EdgeKind
    degree: int = 30

    def at(self, x: ArrayLike, y: ArrayLike) -> Resultants:
        """Resultants at points; shear forces are those of the shear strain."""
        fields = self._fields()
        coefficients = self._solve(fields)
        px, py, shape = points(x, y)
        s, t = 2.0 * px / self.a - 1.0, 2.0 * py / self.b - 1.0

        def value(field: int, dx: int, dy: int) -> Floats:
            in_x, in_y = fields[field]
            scale = (2.0 / self.a) ** dx * (2.0 / self.b) ** dy
            left, right = _values(in_x, s, dx), _values(in_y, t, dy)
            return np.asarray(np.einsum("ip,jp,ij->p", left, right, coefficients[field]) * scale)

        w, kx, ky = value(0, 0, 0), value(1, 1, 0), value(2, 0, 1)
        twist = value(1, 0, 1) + value(2, 1, 0)
        rows = (
            w,
            -self.d * (kx + self.poisson * ky),
            -self.d * (ky + self.poisson * kx),
            -self.d * (1.0 - self.poisson) / 2.0 * twist,
            self.shear_rigidity * (value(0, 1, 0) - value(1, 0, 0)),
            self.shear_rigidity * (value(0, 0, 1) - value(2, 0, 0)),
        )
        return Resultants(*(row.reshape(shape) for row in rows))

    def _fields(self) -> list[tuple[_Basis, _Basis]]:
        """Functions along x and y of w, theta_x, theta_y: even or odd, zero where edges hold."""
        n, x, y = self.degree, self.x_edges, self.y_edges
        along = ("hard", "clamped")  # edges that hold the rotation along them
        return [
            (_basis(0, n, x != "free"), _basis(0, n, y != "free")),
            (_basis(1, n, x == "clamped"), _basis(0, n, y in along)),
            (_basis(0, n, x in along), _basis(1, n, y == "clamped")),
        ]

    def _solve(self, fields: list[tuple[_Basis, _Basis]]) -> list[Floats]:
        s, weight = legendre.leggauss(self.degree + 4)

        def gram(f: int, g: int, df: tuple[int, int], dg: tuple[int, int]) -> Floats:
            """Integral over the plate of a derivative of field f times one of field g."""
            factors = []
            for axis, side in ((0, self.a), (1, self.b)):
                left = _values(fields[f][axis], s, df[axis])
                right = _values(fields[g][axis], s, dg[axis])
                power = 1 - df[axis] - dg[axis]
                factors.append((left * weight) @ right.T * (side / 2.0) ** power)
            return np.asarray(np.kron(factors[0], factors[1]))

        d, nu, c = self.d, self.poisson, self.shear_rigidity
        dx, dy, no = (1, 0), (0, 1), (0, 0)
        twist = d * (1.0 - nu) / 2.0
        ww = c * (gram(0, 0, dx, dx) + gram(0, 0, dy, dy))
        xx = d * gram(1, 1, dx, dx) + twist * gram(1, 1, dy, dy) + c * gram(1, 1, no, no)
        yy = d * gram(2, 2, dy, dy) + twist * gram(2, 2, dx, dx) + c * gram(2, 2, no, no)
        xy = d * nu * gram(1, 2, dx, dy) + twist * gram(1, 2, dy, dx)
        wx, wy = -c * gram(0, 1, dx, no), -c * gram(0, 2, dy, no)
        matrix = np.block([[ww, wx, wy], [wx.T, xx, xy], [wy.T, xy.T, yy]])
        load_x, load_y = (_values(basis, s, 0) @ weight for basis in fields[0])
        right = np.zeros(len(matrix))
        right[: len(ww)] = np.outer(load_x, load_y).ravel() * self.a * self.b / 4.0
        scale = 1.0 / np.sqrt(np.diag(matrix))
        factor = cho_factor(matrix * np.outer(scale, scale))
        solution = scale * cho_solve(factor, scale * right)
        out, start = [], 0
        for in_x, in_y in fields:
            count = len(in_x) * len(in_y)
            out.append(solution[start : start + count].reshape(len(in_x), len(in_y)))
            start += count
        return out


def _basis(parity: int, degree: int, zero: bool) -> _Basis:
    """Legendre polynomials of one parity, or their differences that vanish at the ends."""
    out = []
    for k in range(parity, degree + 1, 2):
        polynomial = np.zeros(k + 1)
        polynomial[k] = 1.0
        if zero:
            if k < 2:
                continue
            polynomial[k - 2] = -1.0
        out.append(polynomial)
    return out


def _values(basis: _Basis, s: Floats, derivative: int) -> Floats:
    """A derivative of each function at s, (functions, points)."""
    return np.stack([legendre.legval(s, legendre.legder(p, derivative)) for p in basis])

"""Thin polygonal plates under uniform load: rational functions with poles at the corners.

w = q |z|^4 / 64 D + Re(conj(z) f + g) with f, g analytic (Goursat). Both are sums of powers and of
poles that crowd outside each corner, which follow any corner singularity (Gopal and Trefethen,
SIAM J. Numer. Anal. 57 (2019) 2074; Brubeck and Trefethen, SIAM J. Sci. Comput. 44 (2022) A1205,
for the biharmonic equation); their coefficients fit the edge conditions by least squares. More
poles show the digits reached: nine with the default, but six at a corner of 135 degrees between a
simple support and a free edge, where the residual of the fit is far below the error.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import lstsq

from plate.arrays import Floats
from plate.errors import GeometryError
from plate.exact.common import Resultants, points

EdgeKind = Literal["clamped", "simple", "free"]
Complexes = NDArray[np.complex128]

_SHARPNESS = 4.0  # spacing of the poles, Gopal and Trefethen's sigma
_DERIVATIVES = 4
# what is zero along an edge, and the power of the distance to the corner that keeps it bounded.
# Where two simple supports meet lap w is bounded and says the same as the moment, which, weighted,
# would let in the exponents below 1 of infinite energy.
_CONDITIONS: dict[str, dict[str, float]] = {
    "clamped": {"w": 0.0, "slope": 0.5},
    "simple": {"w": 0.0, "moment": 1.0},
    "free": {"moment": 1.0, "shear": 2.0},
    "both simple": {"w": 0.0, "laplace": 0.0},
}


@dataclass(frozen=True, kw_only=True)
class PolygonPlate:
    """A plate with straight edges under unit pressure, flexural rigidity 1.

    corners : counter-clockwise in x + iy [m]; edges[k] from corners[k] to the next;
    poles : at each corner; degree : of the powers. Two free edges may not meet.
    """

    corners: tuple[complex, ...]
    edges: tuple[EdgeKind, ...]
    poisson: float
    poles: int = 28
    degree: int = 20

    def __post_init__(self) -> None:
        sides = np.roll(self._corners, -1) - self._corners
        turns = np.angle(np.roll(sides, -1) / sides)
        if abs(np.sum(turns) - 2 * np.pi) > 1e-6:
            raise GeometryError("the corners of a polygon must go round counter-clockwise")
        for edge, two in zip(self.edges, self.edges[1:] + self.edges[:1], strict=True):
            if edge == two == "free":
                raise GeometryError("two free edges that meet are not covered")

    @property
    def _corners(self) -> Complexes:
        return np.asarray(self.corners, np.complex128)

    @property
    def size(self) -> float:
        """Largest distance between two corners [m]."""
        return float(np.max(np.abs(np.subtract.outer(self._corners, self._corners))))

    def solve(self) -> "PolygonSolution":
        """Fit the edge conditions."""
        rows, right = [], []
        corners = self._corners
        count = len(corners)
        # points that crowd towards the corner, on half of each of its two edges, like the poles do
        k = np.linspace(0.0, 1.0, 6 * self.poles)
        gap = np.exp(-1.25 * _SHARPNESS * np.sqrt(self.poles) * k) / 2.0
        for i, corner in enumerate(corners):
            kinds = (self.edges[i], self.edges[i - 1])
            ends = (corners[(i + 1) % count], corners[i - 1])
            for kind, end, way in zip(kinds, ends, (1.0, -1.0), strict=True):
                z = corner + gap * (end - corner)
                tangent = way * (end - corner) / abs(end - corner)
                conditions = _CONDITIONS["both simple" if kinds == ("simple", "simple") else kind]
                for quantity, power in conditions.items():
                    matrix, load = self._quantity(quantity, z, tangent)
                    rows.append(gap[:, None] ** power * matrix)
                    right.append(-(gap**power) * load)
        matrix, target = np.concatenate(rows), np.concatenate(right)
        scale = np.linalg.norm(matrix, axis=0)
        scale = np.where(scale > 0.0, scale, 1.0)  # g = i constant does nothing
        found, *_ = lstsq(matrix / scale, target, cond=1e-14, lapack_driver="gelsy")
        residual = float(np.max(np.abs(matrix / scale @ found - target)))
        return PolygonSolution(self, found / scale, residual)

    def functions(self, z: Complexes) -> Complexes:
        """Powers and poles and their derivatives, (4, n, functions)."""
        corners, size = self._corners, self.size
        middle = np.mean(corners)
        out = np.zeros((_DERIVATIVES, len(z), self.degree + 1 + self.poles * len(corners)), complex)
        power = np.arange(self.degree + 1)
        factor = np.ones(self.degree + 1)
        for d in range(_DERIVATIVES):
            exponent = np.maximum(power - d, 0)
            out[d, :, : self.degree + 1] = (
                factor * ((z - middle)[:, None] / size) ** exponent / size**d
            )
            factor = factor * np.maximum(power - d, 0)
        k = np.arange(1, self.poles + 1)
        distance = size * np.exp(-_SHARPNESS * (np.sqrt(self.poles) - np.sqrt(k)))
        column = self.degree + 1
        for i, corner in enumerate(corners):
            before, after = corners[i - 1] - corner, corners[(i + 1) % len(corners)] - corner
            angle = np.angle(before / after) % (2 * np.pi)
            outward = -after / abs(after) * np.exp(0.5j * angle)
            pole = corner + distance * outward
            value = distance / (z[:, None] - pole)
            for d in range(_DERIVATIVES):
                out[d, :, column : column + self.poles] = value
                value = -(d + 1) * value / (z[:, None] - pole)
            column += self.poles
        return out

    def derivatives(self, z: Complexes) -> tuple[list[Complexes], list[Complexes]]:
        """w, w_z, w_zz, w_zzb, w_zzz, w_zzzb per unknown (n, unknowns) and of the load (n,).

        Complex: twice the real part of w is meant for the first; unknowns are the real and the
        imaginary parts of the coefficients of f, then of g.
        """
        s = self.functions(z)
        zb = z.conj()[:, None]
        zero = np.zeros_like(s[0])
        of_f = [
            np.stack([unit * s[d] for unit in (1.0, 1.0j)], axis=1).reshape(len(z), -1)
            for d in range(_DERIVATIVES)
        ]
        none = np.concatenate([zero, zero], axis=1)

        def join(f_part: Complexes, g_part: Complexes) -> Complexes:
            return np.concatenate([f_part, g_part], axis=1)

        unknown = [
            join(zb * of_f[0], of_f[0]),
            join(zb * of_f[1] + of_f[0].conj(), of_f[1]) / 2.0,
            join(zb * of_f[2], of_f[2]) / 2.0,
            join(of_f[1].real + 0j, none),
            join(zb * of_f[3], of_f[3]) / 2.0,
            join(of_f[2], none) / 2.0,
        ]
        b = z.conj()
        load = [
            (z * b) ** 2 / 64.0 + 0j,
            z * b**2 / 32.0,
            b**2 / 32.0,
            z * b / 16.0,
            0.0 * z,
            b / 16.0,
        ]
        return unknown, load

    def _quantity(self, name: str, z: Complexes, tangent: complex) -> tuple[Floats, Floats]:
        """An edge quantity per unknown and of the load; the normal is i times the tangent."""
        parts = []
        for w, w1, w2, mixed, w3, mixed1 in self.derivatives(z):
            turned = 4.0 * w2 * tangent**2  # w,ss - w,nn - 2i w,sn
            laplace = 4.0 * mixed.real
            if name == "w":
                parts.append(w.real)
            elif name == "slope":
                parts.append(-(2.0 * w1 * tangent).imag)
            elif name == "laplace":
                parts.append(laplace)
            elif name == "moment":
                nu = self.poisson
                parts.append(-((1.0 + nu) * laplace - (1.0 - nu) * turned.real) / 2.0)
            else:
                shear = (8.0 * mixed1 * tangent).imag  # -(lap w),n
                twist = (4.0 * w3 * tangent**3 + 4.0 * mixed1 * tangent).imag
                parts.append(shear + (1.0 - self.poisson) / 2.0 * twist)
        return parts[0], parts[1]


@dataclass(frozen=True)
class PolygonSolution:
    """The fitted plate.

    residual : the largest misfit of w and of the other edge conditions, those weighted by powers
    of the distance to the corner over the edge's length.
    """

    plate: PolygonPlate
    coefficients: Floats
    residual: float

    def at(self, x: ArrayLike, y: ArrayLike) -> Resultants:
        """Resultants at points."""
        px, py, shape = points(x, y)
        unknown, load = self.plate.derivatives(px + 1j * py)
        w, _, w2, mixed, _, mixed1 = (
            u @ self.coefficients + v for u, v in zip(unknown, load, strict=True)
        )
        nu, laplace = self.plate.poisson, 4.0 * mixed.real
        difference, twist = 4.0 * w2.real, -2.0 * w2.imag
        q = 8.0 * mixed1
        rows = (
            w.real,
            -((1.0 + nu) * laplace + (1.0 - nu) * difference) / 2.0,
            -((1.0 + nu) * laplace - (1.0 - nu) * difference) / 2.0,
            -(1.0 - nu) * twist,
            -q.real,
            q.imag,
        )
        return Resultants(*(row.reshape(shape) for row in rows))


def rhombus(angle: float, edges: Sequence[EdgeKind], poisson: float) -> PolygonPlate:
    """A rhombus of side 1 with a corner of this angle [rad] at the origin, base along x.

    edges : base, right, top, left.
    """
    side = complex(np.cos(angle), np.sin(angle))
    first, second, third, fourth = edges
    return PolygonPlate(
        corners=(0j, 1 + 0j, 1 + side, side), edges=(first, second, third, fourth), poisson=poisson
    )

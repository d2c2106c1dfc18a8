"""What every series shares: rigidities, patch loads and the resultants at points."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.errors import LoadError


@dataclass(frozen=True)
class Rigidity:
    """Bending rigidities of a thin orthotropic plate [Nm].

    m_x = -(d_x w,xx + d_1 w,yy), m_y = -(d_1 w,xx + d_y w,yy), m_xy = -2 d_xy w,xy, so that
    d_x w,xxxx + 2 (d_1 + 2 d_xy) w,xxyy + d_y w,yyyy + foundation w = q
    (Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, art. 85).
    foundation : Winkler's modulus [N/m3].
    """

    d_x: float
    d_y: float
    d_1: float
    d_xy: float
    foundation: float = 0.0

    @classmethod
    def isotropic(cls, d: float, poisson: float, foundation: float = 0.0) -> "Rigidity":
        """Rigidities of an isotropic plate of flexural rigidity d [Nm]."""
        return cls(d, d, poisson * d, (1.0 - poisson) / 2.0 * d, foundation)

    @property
    def h(self) -> float:
        """The mixed rigidity d_1 + 2 d_xy [Nm]."""
        return self.d_1 + 2.0 * self.d_xy

    def swapped(self) -> "Rigidity":
        """The same plate with x and y exchanged."""
        return Rigidity(self.d_y, self.d_x, self.d_1, self.d_xy, self.foundation)


@dataclass(frozen=True)
class Patch:
    """A load spread evenly over a rectangle.

    x, y : its centre [m]; a, b : its sides along x and y [m], zero for a line or a point load;
    load : its total [N], down.
    """

    x: float
    y: float
    a: float
    b: float
    load: float = 1.0

    @classmethod
    def uniform(cls, a: float, b: float, pressure: float = 1.0) -> "Patch":
        """Pressure [Pa] on the whole of 0 <= x <= a, 0 <= y <= b."""
        return cls(a / 2.0, b / 2.0, a, b, pressure * a * b)

    def check(self, x: tuple[float, float], y: tuple[float, float]) -> None:
        """Raise LoadError unless the patch lies within the two ranges."""
        slack = 1e-12 * max(x[1] - x[0], y[1] - y[0])
        for centre, side, (low, high) in ((self.x, self.a, x), (self.y, self.b, y)):
            if side < 0 or centre - side / 2 < low - slack or centre + side / 2 > high + slack:
                raise LoadError(f"{self} reaches outside the plate {x} x {y}")

    def swapped(self) -> "Patch":
        """The same patch with x and y exchanged."""
        return Patch(self.y, self.x, self.b, self.a, self.load)


@dataclass(frozen=True)
class Resultants:
    """Deflection [m], moments [N] and shear forces [N/m] at points, arrays of one shape."""

    w: Floats
    m_x: Floats
    m_y: Floats
    m_xy: Floats
    q_x: Floats
    q_y: Floats

    def swapped(self) -> "Resultants":
        """The same resultants with x and y exchanged."""
        return Resultants(self.w, self.m_y, self.m_x, self.m_xy, self.q_y, self.q_x)

    def stack(self) -> Floats:
        """All components, (6, ...) in the order w, m_x, m_y, m_xy, q_x, q_y."""
        return np.stack([self.w, self.m_x, self.m_y, self.m_xy, self.q_x, self.q_y])


def points(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats, tuple[int, ...]]:
    """Broadcast coordinates to flat arrays; returns them and the common shape."""
    px, py = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    return px.ravel(), py.ravel(), px.shape


def sine_coefficients(alpha: Floats, length: float, centre: float, side: float) -> Floats:
    """Coefficients of sin(alpha x), alpha = m pi / length, of a unit force on centre +- side/2."""
    half = alpha * side / 2.0
    return 2.0 / length * np.sin(alpha * centre) * np.sinc(half / math.pi)


def beam_curve(x: Floats, length: float, centre: float, side: float) -> Floats:
    """Deflection and its first three derivatives of a simple beam of unit rigidity.

    The load is a unit force over centre +- side/2 (Macaulay's brackets; any text on beams), which
    is what the sine series of its load sums to. Returns (4, n).
    """
    right = centre / length
    left = 1.0 - right
    if side > 0.0:
        ends, sign, order = (centre - side / 2, centre + side / 2), (1 / side, -1 / side), 4
    else:
        ends, sign, order = (centre, centre), (0.5, 0.5), 3

    def load_part(at: Floats, derivative: int) -> Floats:
        power = order - derivative
        return np.asarray(
            sum(
                s * np.where(at > e, np.abs(at - e), 0.0) ** power * (at > e)
                for e, s in zip(ends, sign, strict=True)
            )
            / math.factorial(power)
        )

    end = np.array([length])
    slope = (left * length**3 / 6.0 - load_part(end, 0)[0]) / length
    return np.stack(
        [
            load_part(x, 0) - left * x**3 / 6.0 + slope * x,
            load_part(x, 1) - left * x**2 / 2.0 + slope,
            load_part(x, 2) - left * x,
            load_part(x, 3) - left,
        ]
    )

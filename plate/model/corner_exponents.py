"""How singular the moments of a thin plate are in a corner.

Near a corner w contains r^s f(phi) with exponents s that depend on the angle, on how the two
edges are held and, where one is free, on Poisson's ratio; moments go like r^(s-2). Williams,
Surface stress singularities resulting from various boundary conditions in angular corners of
plates under bending, Proc. 1st US National Congress of Applied Mechanics (1952), 325-329.
"""

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from plate.errors import GeometryError

EdgeKind = Literal["clamped", "simple", "free"]
Complexes = NDArray[np.complex128]

_HIGHEST = 6.0  # exponents above this are of no interest: moments vanish fast
_STEP = 1e-6  # of the numerical derivative
_SAME = 1e-3  # nearer to 1 than this is the rigid rotation about a corner of free edges


def leading_exponent(angle: float, edge1: EdgeKind, edge2: EdgeKind, poisson: float) -> float:
    """Smallest Re s > 1 of w ~ r^s f(phi) in a corner: moments go like r^(s-2).

    angle : inside the plate [rad], 0 < angle <= 2 pi. Exponents up to 1 are excluded: their strain
    energy is infinite, or they are rigid motions. Values below 2 mean infinite moments. Returns 6.0
    if there is none below. Raises GeometryError for an angle out of range.
    """
    if not 0.0 < angle <= 2.0 * math.pi:
        raise GeometryError(f"a corner of {math.degrees(angle):.6g} degrees")
    if edge1 == edge2 and abs(angle - math.pi) < 1e-9:
        return 2.0  # a straight edge
    if edge1 == edge2 == "simple":
        # f = sin(k pi phi / angle), with s = k pi / angle or s - 2 = +-k pi / angle
        waves = [k * math.pi / angle for k in range(-12, 13) if k != 0]
        exponents = [wave + shift for wave in waves for shift in (0.0, 2.0)]
        return min([s for s in exponents if s > 1.0 + 1e-12] + [_HIGHEST])
    real, imaginary = np.meshgrid(np.linspace(1.02, _HIGHEST, 40), np.linspace(0.0, 2.5, 8))
    s: Complexes = np.asarray(real + 1j * imaginary).ravel()
    for _ in range(30):  # Newton's iteration from everywhere at once
        above, below = (_determinant(s + h, angle, edge1, edge2, poisson) for h in (_STEP, -_STEP))
        slope = (above - below) / (2.0 * _STEP)
        step = (above + below) / (2.0 * np.where(slope == 0.0, 1.0, slope))
        s = s - step * np.minimum(1.0, 0.3 / np.maximum(np.abs(step), 0.3))
    found = (np.abs(step) < 1e-9) & (s.real > 1.0 + _SAME) & (s.real < _HIGHEST)
    if edge1 == edge2 == "free":
        found &= np.abs(s - 2.0) > 1e-6  # constant moments that need a force in the corner
    return float(min(s.real[found], default=_HIGHEST))


def _determinant(
    s: Complexes, angle: float, edge1: EdgeKind, edge2: EdgeKind, poisson: float
) -> Complexes:
    """The determinant of the conditions on both edges, freed of the double root 1 that the
    functions share."""
    rows = np.concatenate(
        [_conditions(s, 0.0, edge1, poisson), _conditions(s, angle, edge2, poisson)], axis=-2
    )
    return np.asarray(np.linalg.det(rows) / (s - (1.0 + 1e-13j)) ** 2)


def _conditions(s: Complexes, phi: float, edge: EdgeKind, poisson: float) -> Complexes:
    """What an edge makes zero, for f = cos, sin of s phi and cos, sin of (s-2) phi: (n, 2, 4)."""
    columns = []
    for k in (s, s - 2.0):
        k = np.where(np.abs(k) < 1e-8, 1e-8, k)  # sin(k phi) / k has a limit there
        cosine, sine = np.cos(k * phi), np.sin(k * phi) / k
        columns.append([cosine, -k * k * sine, -k * k * cosine, k**4 * sine])
        columns.append([sine, cosine, -k * k * sine, -k * k * cosine])
    f, f1, f2, f3 = np.moveaxis(np.array(columns), 0, -1)
    a = s[:, None]
    moment = f2 + (a + poisson * a * (a - 1.0)) * f
    shear = f3 + (a * a + (1.0 - poisson) * (a - 1.0) * (a - 2.0)) * f1
    pairs = {"clamped": (f, f1), "simple": (f, moment), "free": (moment, shear)}
    return np.asarray(np.stack(pairs[edge], axis=1))

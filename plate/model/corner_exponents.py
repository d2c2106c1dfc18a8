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
    exponents = [_HIGHEST]
    for _ in range(30):  # Newton's iteration from everywhere at once, each until it is settled
        both = np.stack([s + _STEP, s - _STEP])
        above, below = _determinant(both, angle, edge1, edge2, poisson)
        slope = (above - below) / (2.0 * _STEP)
        step = (above + below) / (2.0 * np.where(slope == 0.0, 1.0, slope))
        size = np.abs(step)
        s = s - step * np.minimum(1.0, 0.3 / np.maximum(size, 0.3))
        settled = size < 1e-9
        found = settled & (s.real > 1.0 + _SAME)
        if edge1 == edge2 == "free":
            found &= np.abs(s - 2.0) > 1e-6  # constant moments that need a force in the corner
        exponents += s.real[found].tolist()
        s = s[~settled]
        if not len(s):
            break
    return float(min(exponents))


def _determinant(
    s: Complexes, angle: float, edge1: EdgeKind, edge2: EdgeKind, poisson: float
) -> Complexes:
    """The determinant of the conditions on both edges, freed of the double root 1 that the
    functions share.

    The functions are cos k phi and sin(k phi)/k with k = s and s - 2. On the first edge, phi = 0,
    every condition is one on the cosines or one on the sines alone, so that two sums of functions
    that meet it are known; the determinant is that of the second edge's conditions on these two.
    """
    k = np.stack([s, s - 2.0])
    k = np.where(np.abs(k) < 1e-8, 1e-8, k)  # sin(k phi) / k has a limit there
    square = k * k
    bent = s + poisson * s * (s - 1.0) - square
    sheared = s * s + (1.0 - poisson) * (s - 1.0) * (s - 2.0) - square
    cosine, sine = np.cos(k * angle), np.sin(k * angle) / k
    deflection = cosine, sine
    slope = -square * sine, cosine
    moment = bent * cosine, bent * sine
    shear = -square * sheared * sine, sheared * cosine
    zero = {
        "clamped": (deflection, slope),
        "simple": (deflection, moment),
        "free": (moment, shear),
    }[edge2]
    if edge1 == "simple":
        pairs = [(bent[1] - bent[0]) * zero[0][1], zero[1][1]]
    else:
        even, odd = (bent, sheared) if edge1 == "free" else (np.ones_like(k), np.ones_like(k))
        pairs = [
            np.stack([even[1] * c[0] - even[0] * c[1], odd[1] * f[0] - odd[0] * f[1]])
            for c, f in zero
        ]
    found = pairs[0][0] * pairs[1][1] - pairs[0][1] * pairs[1][0]
    return np.asarray(found / (s - (1.0 + 1e-13j)) ** 2)

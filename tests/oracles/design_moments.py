"""Moments and forces that bars in two directions must resist (SI, elementwise on arrays).

Wood (Concrete 2(2), 1968) with Armer's discussion, derived here for the sign conventions of the
project: m_n = m_x n_x^2 + m_y n_y^2 + 2 m_xy n_x n_y is the moment on a section with normal n.
Form these values for each load position with its coexisting m_x, m_y, m_xy and envelope them
afterwards: `largest` over the positions for the bottom, the least for the top.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats

# A second bar direction nearer than this to the first cannot carry across it.
LEAST_ANGLE = np.radians(15)


@dataclass(frozen=True)
class DesignMoments:
    """Moments per metre across each set of bars [N m/m], all of the shape of the input.

    bottom_1, bottom_2 : >= 0, tension at the bottom; top_1, top_2 : <= 0, tension at the top.
    1 = bars along x, 2 = bars along the second direction (y unless skew).
    """

    bottom_1: Floats
    bottom_2: Floats
    top_1: Floats
    top_2: Floats

    def enveloped(self, axis: int = 0) -> "DesignMoments":
        """Largest bottom and least top values over the load positions on `axis`."""
        return DesignMoments(
            self.bottom_1.max(axis),
            self.bottom_2.max(axis),
            self.top_1.min(axis),
            self.top_2.min(axis),
        )


def _equal_shapes(*values: ArrayLike) -> list[Floats]:
    arrays = [np.asarray(value, dtype=float) for value in values]
    if len({a.shape for a in arrays}) > 1:
        shapes = ", ".join(str(a.shape) for a in arrays)
        raise ValueError(f"components must have equal shapes, not {shapes}")
    return arrays


def _least_resistance(
    a_x: Floats, a_y: Floats, a_xy: Floats, angle: float
) -> tuple[Floats, Floats]:
    """Least (r_1, r_2) >= 0 with r_1 n_x^2 + r_2 (n . e)^2 >= a_n for every normal n.

    e = (cos angle, sin angle). With c = cot, k = a_xy - a_y c and A = a_x - 2 a_xy c + a_y c^2 the
    bound is (r_1 - A)(r_2 sin^2 - a_y) >= k^2: least sum at r_1 = A + |k|/sin, and so on.
    """
    sine = float(np.sin(angle))
    # exactly 0 for orthogonal bars, where cos(pi/2) leaves 6e-17
    cot = 0.0 if angle == np.pi / 2 else float(np.cos(angle)) / sine
    k = a_xy - a_y * cot
    across = a_x - 2 * a_xy * cot + a_y * cot**2
    r_1 = across + np.abs(k) / sine
    r_2 = (a_y + np.abs(k) * sine) / sine**2
    one_idle, two_idle = r_1 < 0, r_2 < 0
    # where r_1 < 0, across < -|k|/sin; the same for a_y: the divisors are not zero where used
    alone_2 = (a_y + k**2 / np.abs(np.where(one_idle, across, 1.0))) / sine**2
    alone_1 = across + k**2 / np.abs(np.where(two_idle, a_y, 1.0))
    r_1, r_2 = (
        np.where(one_idle, 0.0, np.where(two_idle, alone_1, r_1)),
        np.where(two_idle, 0.0, np.where(one_idle, alone_2, r_2)),
    )
    return np.maximum(r_1, 0.0), np.maximum(r_2, 0.0)


def wood_armer(
    m_x: ArrayLike, m_y: ArrayLike, m_xy: ArrayLike, angle: float = np.pi / 2
) -> DesignMoments:
    """Design moments of bars along x and bars at `angle` to x, for each entry of the arrays.

    Parameters
    ----------
    m_x, m_y, m_xy : arrays of equal shape [N m/m], coexisting values of each load position
    angle : from x towards +y to the second bars [rad]; pi/2 = orthogonal. Bars parallel to the
        C lines of a deck with skew s lie at pi/2 - s. Published skew formulas measure the angle
        or the sign of m_xy the other way: they agree with pi - angle.

    Raises
    ------
    ValueError
        If shapes differ or the angle leaves 15 to 165 degrees.
    """
    m_x, m_y, m_xy = _equal_shapes(m_x, m_y, m_xy)
    if not LEAST_ANGLE <= angle <= np.pi - LEAST_ANGLE:
        raise ValueError(f"angle between bars {np.degrees(angle):.1f} is outside 15 to 165 degrees")
    bottom = _least_resistance(m_x, m_y, m_xy, angle)
    top = _least_resistance(-m_x, -m_y, -m_xy, angle)
    return DesignMoments(*bottom, -top[0], -top[1])


def wood_armer_of_envelope(
    m_x: ArrayLike, m_y: ArrayLike, m_xy: ArrayLike, axis: int = 0
) -> DesignMoments:
    """The over-safe shortcut: orthogonal bars, each component enveloped first, then combined.

    Only for comparison with `wood_armer(...).enveloped(axis)`, which it bounds.
    """
    m_x, m_y, m_xy = _equal_shapes(m_x, m_y, m_xy)
    twist = np.abs(m_xy).max(axis)
    high = wood_armer(m_x.max(axis), m_y.max(axis), twist)
    low = wood_armer(m_x.min(axis), m_y.min(axis), twist)
    return DesignMoments(high.bottom_1, high.bottom_2, low.top_1, low.top_2)


def gain(exact: DesignMoments, shortcut: DesignMoments) -> dict[str, Floats]:
    """Share by which each value of `exact` is below `shortcut` (0 where both vanish) [-]."""

    def share(a: Floats, b: Floats) -> Floats:
        a, b = np.abs(a), np.abs(b)
        return np.where(b > 0, 1 - a / np.where(b > 0, b, 1.0), 0.0)

    return {
        name: share(getattr(exact, name), getattr(shortcut, name))
        for name in ("bottom_1", "bottom_2", "top_1", "top_2")
    }


@dataclass(frozen=True, kw_only=True)
class LayerForces:
    """Forces that the bars of each face resist with membrane forces present [N/m], all >= 0.

    bottom_1 .. top_2 : tension to be carried by the bars, required steel = force / f_yd.
    concrete_bottom, concrete_top : principal compression left in the concrete of each outer
        layer [N/m], <= 0, to be checked against its thickness times the design stress.
    """

    bottom_1: Floats
    bottom_2: Floats
    top_1: Floats
    top_2: Floats
    concrete_bottom: Floats
    concrete_top: Floats


def layered_forces(
    moments: tuple[ArrayLike, ArrayLike, ArrayLike],
    membrane: tuple[ArrayLike, ArrayLike, ArrayLike],
    bottom: tuple[float, float, float],
    top: tuple[float, float, float],
) -> LayerForces:
    """Two outer layers share the membrane force and carry the moment between them.

    EN 1992-2:2005 annexes LL and F, from memory.

    With the layers at b and t from mid-depth and z = b + t the bottom takes n t/z + m/z and the
    top n b/z - m/z, component by component; then each face is a plate in plane stress whose bars
    and compressed concrete are sized as by Wood and Armer's rule. Orthogonal bars. The core's
    shear is neglected: valid where the principal shear stays below the resistance without links;
    otherwise the core adds to the layers' forces.

    Parameters
    ----------
    moments : m_x, m_y, m_xy [N m/m]; sagging positive
    membrane : n_x, n_y, n_xy [N/m] at mid-depth; tension positive
    bottom, top : distance of each layer from mid-depth for the x, y and xy components [m]: the
        bars where that face is in tension, the middle of the stress block where it is compressed;
        for xy the mean of both directions is common practice

    Raises
    ------
    ValueError
        If the components' shapes differ or a lever arm is not positive.
    """
    components = _equal_shapes(*moments, *membrane)
    lever = [b + t for b, t in zip(bottom, top, strict=True)]
    if min(lever) <= 0:
        raise ValueError(f"lever arms must be positive, not {tuple(lever)}")
    faces = []
    for sign, other in ((1.0, top), (-1.0, bottom)):
        a_x, a_y, a_xy = (
            (n * arm + sign * m) / z
            for m, n, arm, z in zip(components[:3], components[3:], other, lever, strict=True)
        )
        r_1, r_2 = _least_resistance(a_x, a_y, a_xy, np.pi / 2)
        # trace of (acting - steel): the concrete is in uniaxial compression where a bar acts
        mean, radius = (a_x + a_y) / 2, np.hypot((a_x - a_y) / 2, a_xy)
        idle = (r_1 == 0) & (r_2 == 0)
        concrete = np.where(idle, mean - radius, a_x + a_y - r_1 - r_2)
        faces.append((r_1, r_2, np.minimum(concrete, 0.0)))
    (b_1, b_2, c_b), (t_1, t_2, c_t) = faces
    return LayerForces(
        bottom_1=b_1, bottom_2=b_2, top_1=t_1, top_2=t_2, concrete_bottom=c_b, concrete_top=c_t
    )

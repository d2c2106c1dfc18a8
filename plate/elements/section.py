"""Sections of the slab: thickness and zones to bending and shear rigidity."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plate.arrays import Floats
from plate.conventions import SHEAR_FACTOR
from plate.geometry.alignment import Alignment

# The thin theory is run as the same element with the shear rigidity of a plate whose thickness is
# this share of the shortest span: its shear deflection is below 1e-5 of the bending deflection.
THIN = 1e-3


@dataclass(frozen=True)
class Zone:
    """Another thickness [m] within a convex polygon (n, 2) in plan coordinates [m]."""

    polygon: Floats
    thickness: float

    def contains(self, plan: Floats) -> NDArray[np.bool_]:
        """Whether plan points (..., 2) lie inside, as (...,)."""
        a, b = self.polygon, np.roll(self.polygon, -1, axis=0)
        cross = (b - a)[:, 0] * (plan[..., None, 1] - a[:, 1]) - (b - a)[:, 1] * (
            plan[..., None, 0] - a[:, 0]
        )
        sign = np.sign(0.5 * np.sum(a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]))
        return np.asarray(np.all(sign * cross >= 0.0, axis=-1))


@dataclass(frozen=True, kw_only=True)
class Section:
    """Bending and shear rigidity of the slab.

    thickness : [m], outside the zones.
    E, poisson : [Pa], [-].
    factors : on D_x, D_y, D_xy; D_1 takes the geometric mean of the first two.
    rigidity : (D_x, D_y, D_1, D_xy) [N m] at `thickness` instead of E, poisson and factors:
        m_x = -(D_x w,xx + D_1 w,yy), m_xy = -2 D_xy w,xy. Elsewhere it grows with t^3.
    zones : other thicknesses about the same mid-plane.
    thin_span : None for Mindlin theory; for Kirchhoff theory the shortest span [m].
    """

    thickness: float
    E: float
    poisson: float
    factors: tuple[float, float, float] = (1.0, 1.0, 1.0)
    rigidity: tuple[float, float, float, float] | None = None
    zones: tuple[Zone, ...] = ()
    thin_span: float | None = None

    @property
    def thin(self) -> bool:
        """Whether the section follows Kirchhoff's theory."""
        return self.thin_span is not None

    @property
    def plate_rigidity(self) -> float:
        """E t^3 / (12 (1 - nu^2)) of the main thickness [N m], without factors."""
        return self.E * self.thickness**3 / (12.0 * (1.0 - self.poisson**2))

    @property
    def rigidities(self) -> tuple[float, float, float, float]:
        """(D_x, D_y, D_1, D_xy) [N m] of the main thickness."""
        if self.rigidity is not None:
            return self.rigidity
        D, nu, (fx, fy, fxy) = self.plate_rigidity, self.poisson, self.factors
        return fx * D, fy * D, nu * D * float(np.sqrt(fx * fy)), fxy * 0.5 * (1.0 - nu) * D

    def thickness_at(self, plan: Floats) -> Floats:
        """Thickness (...,) [m] at plan points (..., 2)."""
        t = np.full(plan.shape[:-1], self.thickness)
        for zone in self.zones:
            t[zone.contains(plan)] = zone.thickness
        return t

    def bending(self, plan: Floats, alignment: Alignment, softened: Floats | None = None) -> Floats:
        """D (..., 3, 3) [N m] in Cartesian axes at plan points (..., 2): m = -D kappa.

        softened : (..., 2) factors on D_x and D_y there, with their geometric mean on D_1 and D_xy.
        """
        Dx, Dy, D1, Dxy = self.rigidities
        local = np.array([[Dx, D1, 0.0], [D1, Dy, 0.0], [0.0, 0.0, Dxy]])
        scale = (self.thickness_at(plan) / self.thickness) ** 3
        D: Floats = scale[..., None, None] * local
        if softened is not None:
            roots = np.sqrt(np.concatenate([softened, _geometric_mean(softened)], axis=-1))
            D = roots[..., :, None] * D * roots[..., None, :]
        if alignment.straight:
            return D
        # kappa_local = T kappa_cartesian, so D = T^T D_local T.
        T = curvature_rotation(alignment.tangent(plan))
        return np.asarray(np.swapaxes(T, -1, -2) @ D @ T)

    def shear(self, plan: Floats) -> Floats:
        """Shear rigidity kappa_s G t (...,) [N/m] at plan points (..., 2)."""
        t = self.thickness_at(plan)
        if self.thin_span is None:
            return SHEAR_FACTOR * self.E / (2.0 * (1.0 + self.poisson)) * t
        # kappa_s G t = 6 kappa_s (1 - nu) D / t^2 of an isotropic plate, at t = THIN * span.
        D = max(self.rigidities[:2]) * (t / self.thickness) ** 3
        virtual = (THIN * self.thin_span) ** 2
        return 6.0 * SHEAR_FACTOR * (1.0 - self.poisson) * D / virtual


def _geometric_mean(pairs: Floats) -> Floats:
    """(..., 1) of pairs (..., 2)."""
    return np.asarray(np.sqrt(np.prod(pairs, axis=-1, keepdims=True)))


def curvature_rotation(tangent: Floats) -> Floats:
    """(..., 3, 3): curvatures along a local tangent (..., 2) and its right-hand normal from the
    Cartesian (kappa_x, kappa_y, kappa_xy), kappa_xy being twice the tensor component."""
    c, s = tangent[..., 0], tangent[..., 1]
    rows = [[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


def moment_rotation(tangent: Floats) -> Floats:
    """(..., 3, 3): (m_x, m_y, m_xy) along a local tangent (..., 2) from the Cartesian ones."""
    c, s = tangent[..., 0], tangent[..., 1]
    rows = [[c * c, s * s, 2 * c * s], [s * s, c * c, -2 * c * s], [-c * s, c * s, c * c - s * s]]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))

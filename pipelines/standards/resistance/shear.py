"""One-way shear of a slab without links (SI per metre of width, elementwise on arrays).

EN 1992-1-1:2004 6.2.2, IRC:112 10.3.2 and the general method of AASHTO LRFD 5.7.3.4.2. The
section's d and A_s are those of the face in tension under the moment that coexists with the shear.
A resistance never falls with thickness, grade or longitudinal steel, but need not rise: a least
value may govern, or a limit on the steel share.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipelines.errors import MethodRangeError
from pipelines.standards.materials import KSI, MPA, Materials
from pipelines.standards.resistance.bending import Section
from pipelines.standards.sources import Source, Standard
from plate.arrays import Floats

INCH = 0.0254
RHO_MOST = 0.02
STRAIN_MOST = 6.0e-3  # AASHTO 5.7.3.4.2

ONE_WAY: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "6.2.2(1)"),
    "IRC:112": Source("IRC:112", "10.3.2(2)"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.7.3.3, 5.7.3.4.2"),
}
# What of it is chosen nationally.
CHOSEN = ("gamma_c", "C_Rd_c_gamma_c", "v_min_factor", "k_1_shear")
# Standards that do not ask for the shear of decks designed by strips, and where they say so.
NOT_ASKED: dict[Standard, Source] = {
    "AASHTO LRFD": Source("AASHTO LRFD", "C4.6.2.1.6"),
}
NEAR_SUPPORT: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "6.2.2(6)"),
    "IRC:112": Source("IRC:112", "10.3.2(5)"),
}
# Least share of a load's shear near a support: at a_v = 0.5 d by EN 1992-1-1 6.2.2(6) and IRC:112
# (from memory), at a_v = d by fib Model Code 2010 (7.3-13) (read).
LEAST_SHARE, LEAST_SHARE_FIB = 0.25, 0.5


@dataclass(frozen=True)
class ShearResistance:
    """v_Rd : [N/m]; least_governs : where a least value and not the steel share decides."""

    v_Rd: Floats
    least_governs: NDArray[np.bool_]
    source: Source


def concrete_shear_stress(mat: Materials, d: Floats, rho: Floats) -> tuple[Floats, Floats]:
    """Shear strength by the steel share and its least value [Pa], without membrane force.

    EN 1992-1-1 (6.2a), (6.2b), (6.47); IRC:112 10.3.2(2), 10.4: there f_ck is the cube strength,
    so that 80 rho f_ck is about 100 rho times the cylinder strength.
    """
    f, factors = mat.concrete.f_ck / MPA, mat.factors
    if mat.standard == "AASHTO LRFD":
        raise MethodRangeError("AASHTO LRFD resists shear by its beta method, which needs m and v")
    c = factors["C_Rd_c_gamma_c"] / factors["gamma_c"]
    k = np.minimum(1 + np.sqrt(0.2 / d), 2.0)
    rho = np.minimum(rho, RHO_MOST)
    if mat.standard == "EN 1992":
        steel = c * k * (100 * rho * f) ** (1 / 3)
    else:
        steel = c * k * (80 * rho * f) ** 0.33
    least = factors["v_min_factor"] * k * np.sqrt(k * f)
    return steel * MPA, least * MPA


def v_Rd_c(section: Section, mat: Materials, n: ArrayLike = 0.0) -> ShearResistance:
    """Resistance by EN 1992-1-1 6.2.2(1) or IRC:112 10.3.2(2).

    Parameters
    ----------
    n : membrane force across the section [N/m], tension positive; tension lowers the resistance

    Raises
    ------
    MethodRangeError
        For AASHTO LRFD: see `beta_resistance`.
    """
    h, d, a, _, _ = section.arrays()
    steel, least = concrete_shear_stress(mat, d, a / d)
    sigma_cp = np.minimum(-np.asarray(n, dtype=float) / h, 0.2 * mat.f_cd)
    stress = np.maximum(np.maximum(steel, least) + mat.factors["k_1_shear"] * sigma_cp, 0.0)
    governs = np.broadcast_to(least > steel, stress.shape)
    return ShearResistance(stress * d, governs, mat.factors.marked(ONE_WAY[mat.standard], *CHOSEN))


def _d_v(h: Floats, d: Floats) -> Floats:
    """Effective shear depth of AASHTO 5.7.2.8 (z near 0.9 d in slabs)."""
    d_v: Floats = np.maximum(0.9 * d, 0.72 * h)
    return d_v


def beta_resistance(
    section: Section,
    mat: Materials,
    v: ArrayLike,
    m: ArrayLike,
    n: ArrayLike = 0.0,
    aggregate: float = 0.019,
) -> ShearResistance:
    """AASHTO LRFD 5.7.3.4.2 for sections without links: phi 0.0316 beta sqrt(f'c) d_v.

    Parameters
    ----------
    v, m, n : coexisting factored shear [N/m], moment [N m/m] (signs ignored) and membrane force
        [N/m] (tension positive)
    aggregate : largest size [m]
    """
    if mat.standard != "AASHTO LRFD":
        raise MethodRangeError(f"the beta method is not {mat.standard}'s")
    h, d, a, _, _ = section.arrays()
    d_v = _d_v(h, d)
    shear = np.abs(np.asarray(v, dtype=float))
    moment = np.maximum(np.abs(np.asarray(m, dtype=float)), shear * d_v)
    pull = moment / d_v + 0.5 * np.asarray(n, dtype=float) + shear
    stiff = mat.steel.E_s * a
    strain = np.where(stiff > 0, pull / np.where(stiff > 0, stiff, 1.0), STRAIN_MOST)
    strain = np.clip(strain, 0.0, STRAIN_MOST)
    f = mat.concrete.f_ck / KSI
    # aggregate breaks across in high-strength concrete and no longer keeps cracks rough
    a_g = aggregate / INCH if f <= 10 else 0.0
    s_xe = np.clip(d_v / INCH * 1.38 / (a_g + 0.63), 12.0, 80.0)
    beta = 4.8 / (1 + 750 * strain) * 51 / (39 + s_xe)
    return _beta_shear(beta, d_v, mat, ONE_WAY["AASHTO LRFD"])


def _beta_shear(beta: Floats, d_v: Floats, mat: Materials, source: Source) -> ShearResistance:
    f = mat.concrete.f_ck / KSI
    stress = np.minimum(0.0316 * beta * np.sqrt(f), 0.25 * f) * KSI
    v_Rd = mat.factors["phi_shear"] * stress * d_v
    return ShearResistance(v_Rd, np.zeros(v_Rd.shape, dtype=bool), source)


def one_way_resistance(
    section: Section,
    mat: Materials,
    v: ArrayLike,
    m: ArrayLike,
    n: ArrayLike = 0.0,
    aggregate: float = 0.019,
) -> ShearResistance:
    """Resistance of the materials' standard; v and m matter to AASHTO LRFD only."""
    if mat.standard == "AASHTO LRFD":
        return beta_resistance(section, mat, v, m, n, aggregate)
    return v_Rd_c(section, mat, n)


def near_support_factor(a_v: ArrayLike, d: ArrayLike, least: float = LEAST_SHARE) -> Floats:
    """Share a_v/2d of a load's shear that counts when it stands near the support's face.

    `least` at most near, 1 from a_v = 2 d on. By EN and IRC the bars must be anchored at the
    support and the unreduced shear must stay below `strut_limit`; AASHTO has no such share.
    a_v : from the face to the load's edge [m].
    """
    a_v, d = np.asarray(a_v, dtype=float), np.asarray(d, dtype=float)
    factor: Floats = np.clip(a_v / (2 * d), least, 1.0)
    return factor


def strut_limit(section: Section, mat: Materials) -> Floats:
    """0.5 d nu f_cd [N/m] that the unreduced shear must not pass (EN 6.5, IRC 10.5, 10.6)."""
    _, d, *_ = section.arrays()
    return 0.5 * d * strut_factor(mat) * mat.f_cd


def strut_factor(mat: Materials) -> float:
    """nu, the strength of cracked struts: 0.6 (1 - f_ck/250), IRC:112 310 on the cube strength."""
    scale = {"EN 1992": 250.0, "IRC:112": 310.0}
    if mat.standard not in scale:
        raise MethodRangeError("AASHTO LRFD has no reduction of shear for loads near a support")
    return mat.factors["nu_factor"] * (1 - mat.concrete.f_ck / MPA / scale[mat.standard])


@dataclass(frozen=True)
class PrincipalShear:
    """v : hypot(q_x, q_y) [N/m]; cosine, sine : of its direction, from x towards +y."""

    v: Floats
    cosine: Floats
    sine: Floats

    @property
    def angle(self) -> Floats:
        """Of its direction [rad]."""
        return np.asarray(np.arctan2(self.sine, self.cosine))

    @cached_property
    def _share(self) -> Floats:
        """Of what is along x."""
        return np.asarray(self.cosine * self.cosine)

    def along(self, in_x: ArrayLike, in_y: ArrayLike) -> Floats:
        """A_s or d in the direction of v from its values along x and y: x cos^2 + y sin^2."""
        mean: Floats = self._share * np.asarray(in_x) + (1 - self._share) * np.asarray(in_y)
        return mean


def principal_shear(q_x: ArrayLike, q_y: ArrayLike) -> PrincipalShear:
    """Principal shear of coexisting q_x, q_y [N/m], for each load position; none is along x."""
    q_x, q_y = np.asarray(q_x, dtype=float), np.asarray(q_y, dtype=float)
    v = np.hypot(q_x, q_y)
    some = v > 0.0
    size = np.where(some, v, 1.0)
    return PrincipalShear(v, np.where(some, q_x / size, 1.0), q_y / size)

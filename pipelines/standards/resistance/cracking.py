"""Stresses of a cracked metre of slab under service moments, and crack widths (SI, arrays)."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from pipelines.errors import MethodRangeError
from pipelines.standards.factors import FACTORS, Factors
from pipelines.standards.resistance.bending import Section
from pipelines.standards.sources import Source, Standard
from plate.arrays import Floats

ITERATIONS = 100
# equilibrium is met to this share of the section's own forces
TOLERANCE = 1e-9
# a stiffness this near to singular has bars at one face only and no compressed concrete
SINGULAR = 1e-12

CRACKING: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "7.3.4"),
    "IRC:112": Source("IRC:112", "12.3.4"),
}


@dataclass(frozen=True, kw_only=True)
class Cracked:
    """Elastic cracked state of a section.

    x : depth of the compressed concrete [m], 0 where none is.
    sigma_c : stress at the compressed face [Pa], <= 0.
    sigma_s, sigma_sc : bars at d and at d_c [Pa], tension positive.
    k_2 : 0.5 where part of the section is compressed, up to 1 in uniform tension [-].
    """

    x: Floats
    sigma_c: Floats
    sigma_s: Floats
    sigma_sc: Floats
    k_2: Floats


def cracked_state(
    section: Section, m: ArrayLike, E_c: float, E_s: float, n: ArrayLike = 0.0
) -> Cracked:
    """Stresses under a service moment, concrete without tension.

    Parameters
    ----------
    m : moment [N m/m] about mid-depth, >= 0: the bars at d are on the tension side
    E_c, E_s : moduli [Pa]; E_c effective for creep where the load lasts
    n : membrane force [N/m] at mid-depth, tension positive

    NaN where no equilibrium exists: the whole section in tension and bars at one face only.
    """
    m, n, h, d, a, d_c, a_c = np.broadcast_arrays(
        np.asarray(m, dtype=float), np.asarray(n, dtype=float), *section.arrays()
    )
    # strain e + k (z - h/2) at depth z; the secant stiffness of the zone in compression is also
    # the tangent, because the strain vanishes at the zone's edge: each pass is a Newton step
    start, end = np.zeros_like(h), h.copy()
    arms, areas = (d - h / 2, d_c - h / 2), (a * E_s, a_c * E_s)
    scale = np.abs(n) + np.abs(m) / h
    settled = np.zeros(h.shape, dtype=bool)
    e, k = np.zeros_like(h), np.zeros_like(h)
    for _ in range(ITERATIONS):
        lo, hi = start - h / 2, end - h / 2
        k_0 = E_c * (hi - lo) + areas[0] + areas[1]
        k_1 = E_c * (hi**2 - lo**2) / 2 + areas[0] * arms[0] + areas[1] * arms[1]
        k_2 = E_c * (hi**3 - lo**3) / 3 + areas[0] * arms[0] ** 2 + areas[1] * arms[1] ** 2
        determinant = k_0 * k_2 - k_1**2
        solvable = determinant > SINGULAR * k_0 * k_2
        divisor = np.where(solvable, determinant, 1.0)
        active = ~settled
        e = np.where(active, np.where(solvable, (k_2 * n - k_1 * m) / divisor, np.nan), e)
        k = np.where(active, np.where(solvable, (k_0 * m - k_1 * n) / divisor, np.nan), k)
        neutral = np.clip(h / 2 - e / np.where(k == 0, 1.0, k), 0.0, h)
        new_start = np.where(k < 0, neutral, 0.0)
        new_end = np.where(k > 0, neutral, np.where((k < 0) | (e < 0), h, 0.0))
        # the concrete that changed sides is what the forces are out of balance by, at most
        moved = np.abs(new_start - start) + np.abs(new_end - end)
        settled = settled | (E_c * (np.abs(e) + np.abs(k) * h) * moved <= TOLERANCE * scale)
        start = np.where(active, new_start, start)
        end = np.where(active, new_end, end)
        if np.all(settled | ~solvable):
            break
    e, k = np.where(settled, e, np.nan), np.where(settled, k, np.nan)
    face, far = e - k * h / 2, e + k * h / 2
    return Cracked(
        x=np.where(settled, end - start, np.nan),
        sigma_c=E_c * np.minimum(np.minimum(face, far), 0.0),
        sigma_s=E_s * (e + k * arms[0]),
        sigma_sc=E_s * (e + k * arms[1]),
        k_2=_strain_shape(face, far),
    )


@lru_cache(maxsize=20000)
def cracked_section(section: Section, m: float, E_c: float, E_s: float, n: float = 0.0) -> Cracked:
    """`cracked_state` of a section given by numbers, which trials of other bars ask for again."""
    if n or m <= 0.0 or m == 1.0:
        return cracked_state(section, m, E_c, E_s, n)
    # without a membrane force stresses are in proportion to the moment
    unit = cracked_section(section, 1.0, E_c, E_s)
    return Cracked(
        x=unit.x,
        sigma_c=m * unit.sigma_c,
        sigma_s=m * unit.sigma_s,
        sigma_sc=m * unit.sigma_sc,
        k_2=unit.k_2,
    )


def _strain_shape(face: Floats, far: Floats) -> Floats:
    """k2 = (e1 + e2)/(2 e1) of the tensile strains at both faces: 0.5 bending, 1 pure tension."""
    larger, lesser = np.maximum(face, far), np.maximum(np.minimum(face, far), 0.0)
    return np.where(larger > 0, (larger + lesser) / (2 * np.where(larger > 0, larger, 1.0)), 0.5)


@dataclass(frozen=True, kw_only=True)
class Crack:
    """w : crack width [m]; s_r_max : largest crack spacing [m]; strain : mean strain difference;
    rho_eff : steel share of the effective tension area."""

    w: Floats
    s_r_max: Floats
    strain: Floats
    rho_eff: Floats
    source: Source


def crack_width(
    section: Section,
    state: Cracked,
    diameter: ArrayLike,
    spacing: ArrayLike,
    cover: ArrayLike,
    f_ct: float,
    E_c: float,
    E_s: float,
    factors: Factors = FACTORS["EN 1992"],
    k_t: float = 0.4,
) -> Crack:
    """Width of bending cracks at the bars of `section` (EN 1992-1-1 7.3.4 and IRC:112 12.3.4).

    Parameters
    ----------
    state : cracked state under the combination that the user chose
    diameter, spacing, cover : of the bars in tension [m]; cover to these bars themselves
    f_ct : mean tensile strength when cracks form [Pa]
    k_t : 0.4 for long-lasting, 0.6 for short loads

    Raises
    ------
    MethodRangeError
        For AASHTO LRFD, which limits the spacing of bars instead (5.6.7).
    """
    standard = factors.standard
    if standard not in CRACKING:
        raise MethodRangeError(f"{standard} has no crack width formula: its spacing rule applies")
    h, d, a, _, _ = section.arrays()
    phi, s, c = (np.asarray(value, dtype=float) for value in (diameter, spacing, cover))
    x = state.x
    bending = np.where(x > 0, (h - x) / 3, h / 2)
    depth = np.minimum(np.minimum(2.5 * (h - d), bending), h / 2)
    rho = a / depth
    k_1, k_3, k_4 = (factors[key] for key in ("k_1_bond", "k_3", "k_4"))
    s_r = k_3 * c + k_1 * state.k_2 * k_4 * phi / rho
    # bars too far apart to control the cracks between them
    s_r = np.where(s > 5 * (c + phi / 2), np.maximum(s_r, 1.3 * (h - x)), s_r)
    sigma = np.maximum(state.sigma_s, 0.0)
    stiffening = k_t * f_ct / rho * (1 + E_s / E_c * rho)
    strain = np.maximum((sigma - stiffening) / E_s, 0.6 * sigma / E_s)
    return Crack(w=s_r * strain, s_r_max=s_r, strain=strain, rho_eff=rho, source=CRACKING[standard])

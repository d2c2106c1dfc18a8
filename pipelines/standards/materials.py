"""Concrete and steel grades of each standard, and the stress block (SI: Pa).

A grade needs its standard beside it: C35/45 of EN 1992 is named by the cylinder strength 35 MPa,
M35 of IRC:112 by the cube strength 35 MPa, and AASHTO names f'c in ksi or MPa on cylinders. The
formulas of each standard take its own strength and must not be fed with another's.
"""

import math
import re
from dataclasses import dataclass
from typing import Literal

from pipelines.errors import CoverageError
from pipelines.standards.concrete import CYLINDER_STRENGTH_MPA, modulus_by_strength
from pipelines.standards.factors import FACTORS, Factors
from pipelines.standards.sources import Source, Standard

MPA = 1e6
KSI = 6.894757e6
E_STEEL = 200e9

IRC_GRADES = [f"M{fck}" for fck in range(20, 95, 5)]
AASHTO_KSI = (3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5, 10.0)
AASHTO_NORMAL_WEIGHT = (2.4, 10.0)  # ksi: the range in which these rules are used here
CYLINDER_OVER_CUBE = 0.8  # common practice

STEEL_STRENGTHS: dict[Standard, dict[str, float]] = {
    "EN 1992": {"B500A": 500e6, "B500B": 500e6, "B500C": 500e6, "B450C": 450e6},
    "IRC:112": {"Fe 415": 415e6, "Fe 500": 500e6, "Fe 500D": 500e6, "Fe 550": 550e6},
    "AASHTO LRFD": {"Grade 60": 60 * KSI, "Grade 75": 75 * KSI, "Grade 80": 80 * KSI},
}

STEEL_SOURCES: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "3.2.2, annex C"),
    "IRC:112": Source("IRC:112", "6.2, table 6.1"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.4.3"),
}
CONCRETE_SOURCES: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "table 3.1"),
    "IRC:112": Source("IRC:112", "table 6.5, annex A2"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.4.2.4, 5.4.2.6, table 3.5.1-1"),
}
BLOCK_SOURCES: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "3.1.7(3), table 3.1"),
    "IRC:112": Source("IRC:112", "annex A2.9"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.6.2.2"),
}


@dataclass(frozen=True, kw_only=True)
class Concrete:
    """Strengths and modulus of one grade [Pa].

    f_ck : the standard's own characteristic strength (f'c for AASHTO), measured on `specimen`.
    f_ct : mean tensile strength f_ctm; AASHTO: modulus of rupture f_r.
    E_c : secant modulus for short-term loads.
    """

    name: str
    standard: Standard
    f_ck: float
    specimen: Literal["cylinder", "cube"]
    f_ct: float
    E_c: float
    source: Source


@dataclass(frozen=True, kw_only=True)
class Steel:
    """Reinforcing steel: yield strength f_yk and modulus [Pa]."""

    name: str
    standard: Standard
    f_yk: float
    source: Source
    E_s: float = E_STEEL


@dataclass(frozen=True)
class Block:
    """Rectangular stress block: depth = depth_ratio x, stress [Pa], strain eps_cu at its face."""

    depth_ratio: float
    stress: float
    eps_cu: float
    source: Source


@dataclass(frozen=True)
class Materials:
    """What a section is made of: concrete, steel and factors of one standard."""

    concrete: Concrete
    steel: Steel
    factors: Factors

    def __post_init__(self) -> None:
        names = {self.concrete.standard, self.steel.standard, self.factors.standard}
        if len(names) > 1:
            raise CoverageError(
                f"concrete {self.concrete.name} ({self.concrete.standard}), steel "
                f"{self.steel.name} ({self.steel.standard}) and factors "
                f"({self.factors.standard}) must come from one standard"
            )

    @property
    def standard(self) -> Standard:
        return self.concrete.standard

    @property
    def f_cd(self) -> float:
        """Design compressive strength alpha_cc f_ck / gamma_c [Pa] (EN 3.1.6, IRC 6.4.2.8); AASHTO
        has none."""
        return self.factors["alpha_cc"] * self.concrete.f_ck / self.factors["gamma_c"]

    @property
    def f_yd(self) -> float:
        """Design yield strength [Pa] (EN 3.2.7, IRC 6.3.5; AASHTO: f_y itself)."""
        return self.steel.f_yk / self.factors.or_one("gamma_s")

    @property
    def block(self) -> Block:
        """Stress block: EN 1992-1-1 3.1.7(3), IRC:112 A2.9, AASHTO 5.6.2.2."""
        f = self.concrete.f_ck / MPA
        source = BLOCK_SOURCES[self.standard]
        if self.standard == "EN 1992":
            over = max(f - 50, 0.0)
            eps = 3.5e-3 if f <= 50 else (2.6 + 35 * ((90 - f) / 100) ** 4) * 1e-3
            return Block(0.8 - over / 400, (1 - over / 200) * self.f_cd, eps, source)
        if self.standard == "IRC:112":
            over = max(f - 60, 0.0)
            eps = 3.5e-3 if f <= 60 else (2.6 + 35 * ((90 - 0.8 * f) / 100) ** 4) * 1e-3
            return Block(0.8 - over / 500, (1 - over / 250) * self.f_cd, eps, source)
        ksi = self.concrete.f_ck / KSI
        alpha_1 = max(0.85 - 0.02 * max(ksi - 10, 0.0), 0.75)
        beta_1 = min(max(0.85 - 0.05 * (ksi - 4), 0.65), 0.85)
        return Block(beta_1, alpha_1 * self.concrete.f_ck, 3.0e-3, source)

    @property
    def yield_strain(self) -> float:
        return self.f_yd / self.steel.E_s

    @property
    def ductile_strain(self) -> float:
        """Steel strain from which the full bending factor applies.

        Yield, or for AASHTO 0.005 up to 60 ksi, rising to 0.008 at 100 ksi (5.6.2.1).
        """
        if self.standard != "AASHTO LRFD":
            return self.yield_strain
        over = max(self.steel.f_yk / KSI - 60, 0.0)
        return 0.005 + 0.003 * over / 40


def _en_concrete(name: str) -> Concrete:
    if name not in CYLINDER_STRENGTH_MPA:
        raise _unknown(name, "EN 1992", list(CYLINDER_STRENGTH_MPA))
    return _en_by_strength(name, CYLINDER_STRENGTH_MPA[name])


def _en_by_strength(name: str, f: float) -> Concrete:
    """f : cylinder strength [MPa]."""
    f_ct = 0.30 * f ** (2 / 3) if f <= 50 else 2.12 * math.log(1 + (f + 8) / 10)
    return Concrete(
        name=name,
        standard="EN 1992",
        f_ck=f * MPA,
        specimen="cylinder",
        f_ct=f_ct * MPA,
        E_c=modulus_by_strength(f),
        source=CONCRETE_SOURCES["EN 1992"],
    )


def _irc_concrete(name: str) -> Concrete:
    if name not in IRC_GRADES:
        raise _unknown(name, "IRC:112", IRC_GRADES)
    return _irc_by_strength(name, float(name[1:]))


def _irc_by_strength(name: str, f: float) -> Concrete:
    """f : cube strength [MPa]."""
    f_cm = f + 10
    f_ct = 0.259 * f ** (2 / 3) if f <= 60 else 2.27 * math.log(1 + f_cm / 12.5)
    E_c = 22e3 * (f_cm / 12.5) ** 0.3
    return Concrete(
        name=name,
        standard="IRC:112",
        f_ck=f * MPA,
        specimen="cube",
        f_ct=f_ct * MPA,
        E_c=E_c * MPA,
        source=CONCRETE_SOURCES["IRC:112"],
    )


def _aashto_concrete(name: str) -> Concrete:
    match = re.fullmatch(r"(\d+(?:\.\d+)?) (ksi|MPa)", name)
    if match is None:
        raise _unknown(name, "AASHTO LRFD", ["4 ksi", "28 MPa"])
    f_ck = float(match[1]) * (KSI if match[2] == "ksi" else MPA)
    low, high = AASHTO_NORMAL_WEIGHT
    if not low <= f_ck / KSI <= high + 1e-9:
        raise CoverageError(f"concrete {name!r}: f'c must lie between {low} and {high} ksi")
    return _aashto_by_strength(name, f_ck)


def _aashto_by_strength(name: str, f_ck: float) -> Concrete:
    """f_ck : cylinder strength [Pa]."""
    ksi = f_ck / KSI
    f_ct = 0.24 * math.sqrt(ksi)
    weight = 0.145 if ksi <= 5 else 0.140 + 0.001 * ksi  # kcf, normal weight
    E_c = 120_000 * weight**2 * ksi**0.33
    return Concrete(
        name=name,
        standard="AASHTO LRFD",
        f_ck=f_ck,
        specimen="cylinder",
        f_ct=f_ct * KSI,
        E_c=E_c * KSI,
        source=CONCRETE_SOURCES["AASHTO LRFD"],
    )


def concrete_of_cores(f_ck: float, standard: Standard) -> Concrete:
    """Concrete of a cylinder strength f_ck [Pa] that cores have, by the formulas of a standard.

    IRC:112 takes the cube strength: 1 / `CYLINDER_OVER_CUBE` of it. Stronger than the highest grade
    of the standard counts as that grade.
    """
    highest = grade_ladder(standard)[-1].f_ck
    own = f_ck / CYLINDER_OVER_CUBE if standard == "IRC:112" else f_ck
    own = min(own, highest)
    name = f"cores, {f_ck / MPA:.3g} MPa"
    if standard == "EN 1992":
        return _en_by_strength(name, own / MPA)
    if standard == "IRC:112":
        return _irc_by_strength(name, own / MPA)
    return _aashto_by_strength(name, own)


def _unknown(name: str, standard: Standard, allowed: list[str]) -> CoverageError:
    return CoverageError(f"concrete {name!r} is not of {standard}: write {', '.join(allowed)}")


def concrete(name: str, standard: Standard) -> Concrete:
    """Grade by its name in its standard: C35/45 (EN 1992), M35 (IRC:112), 4 ksi (AASHTO LRFD).

    Raises
    ------
    CoverageError
        If the standard does not know the name.
    """
    makers = {"EN 1992": _en_concrete, "IRC:112": _irc_concrete, "AASHTO LRFD": _aashto_concrete}
    return makers[standard](name)


def steel(name: str, standard: Standard) -> Steel:
    """Reinforcing steel by its name in its standard: B500B, Fe 500D, Grade 60.

    Raises
    ------
    CoverageError
        If the standard does not know the name.
    """
    known = STEEL_STRENGTHS[standard]
    if name not in known:
        raise CoverageError(f"steel {name!r} is not of {standard}: write {', '.join(known)}")
    return Steel(name=name, standard=standard, f_yk=known[name], source=STEEL_SOURCES[standard])


def grade_ladder(standard: Standard) -> tuple[Concrete, ...]:
    """All grades of a standard, weakest first."""
    names: list[str]
    if standard == "EN 1992":
        names = list(CYLINDER_STRENGTH_MPA)
    elif standard == "IRC:112":
        names = IRC_GRADES
    else:
        names = [f"{ksi:g} ksi" for ksi in AASHTO_KSI]
    return tuple(concrete(name, standard) for name in names)


def materials(concrete_name: str, steel_name: str, standard: Standard) -> Materials:
    """Materials of one standard with its recommended factors."""
    return Materials(
        concrete(concrete_name, standard), steel(steel_name, standard), FACTORS[standard]
    )

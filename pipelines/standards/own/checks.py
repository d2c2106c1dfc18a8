"""Checks of bars of the user's own: what a file or package gives, and what it is asked."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import get_args

from pipelines.errors import OwnError
from pipelines.standards.own.code import OwnCode, OwnFunction, check_text
from pipelines.standards.resistance.bars import Direction, Face
from pipelines.standards.sources import Standard

# How the rules begin that checks of the user's own are told as.
NAMED = "user's check"
# Functions of a check: of layers, of shear.
PARTS = ("utilisation", "shear")
# A utilisation beyond which there is a slip of unit.
MOST = 1e6


@dataclass(frozen=True, kw_only=True)
class LayerSection:
    """The section across the bars of one layer, per metre of width, and its materials.

    face, direction : of the layer. d_mm : effective depth; cover_mm : to the layer's own bars;
    diameter_mm : of the thickest bars, spacing_mm : the widest between bars that lie side by side;
    strengths are the standard's own, f_ck of IRC:112 that of cubes.

    >>> layer = LayerSection(
    ...     standard="EN 1992", face="bottom", direction="x", thickness_mm=250, d_mm=200,
    ...     cover_mm=40, area_mm2_m=1000, diameter_mm=16, spacing_mm=200, f_ck_MPa=35, f_yk_MPa=500,
    ... )
    >>> layer.area_mm2_m / layer.d_mm / 1000
    0.005
    """

    standard: Standard
    face: Face
    direction: Direction
    thickness_mm: float
    d_mm: float
    cover_mm: float
    area_mm2_m: float
    diameter_mm: float
    spacing_mm: float
    f_ck_MPa: float
    f_yk_MPa: float


@dataclass(frozen=True, kw_only=True)
class LayerDemand:
    """The largest moments that a layer is designed for, zero where it is not in tension.

    ultimate, characteristic, crack : of those combinations, Wood and Armer's; the last is the one
    that the crack width is checked under. n_kN_m : imposed tension in the characteristic one.

    >>> LayerDemand(ultimate_kNm_m=80.0, characteristic_kNm_m=60.0, crack_kNm_m=50.0).n_kN_m
    0.0
    """

    ultimate_kNm_m: float
    characteristic_kNm_m: float
    crack_kNm_m: float
    n_kN_m: float = 0.0


@dataclass(frozen=True, kw_only=True)
class ShearSection:
    """The section that the principal shear acts on, per metre of width, and its materials.

    tension : the face in tension under the moment that coexists. Depth and steel are those of that
    face in the direction of the shear, x cos^2 + y sin^2 of the layers along x and y; strengths as
    of `LayerSection`.

    >>> section = ShearSection(
    ...     standard="EN 1992", tension="top", thickness_mm=250, d_mm=200, area_mm2_m=1000,
    ...     f_ck_MPa=35, f_yk_MPa=500,
    ... )
    >>> min(1 + (200 / section.d_mm) ** 0.5, 2)
    2.0
    """

    standard: Standard
    tension: Face
    thickness_mm: float
    d_mm: float
    area_mm2_m: float
    f_ck_MPa: float
    f_yk_MPa: float


@dataclass(frozen=True, kw_only=True)
class ShearForces:
    """Forces of the ultimate limit state at a place where shear is judged, under the traffic that
    is worst there by the standard's own rule.

    v_kN_m : principal shear, the mean over the width that the standard's check takes, 4 d.
    m_kNm_m : moment in its direction, sagging positive. n_kN_m : tension across the section, 0
    without membrane forces. v_Rd_kN_m : the standard's resistance without links.

    >>> forces = ShearForces(v_kN_m=66.0, m_kNm_m=-20.0, n_kN_m=0.0, v_Rd_kN_m=132.0)
    >>> forces.v_kN_m / forces.v_Rd_kN_m
    0.5
    """

    v_kN_m: float
    m_kNm_m: float
    n_kN_m: float
    v_Rd_kN_m: float


@dataclass(frozen=True, kw_only=True)
class OwnCheck:
    """A check of every layer of bars, of the shear, or of both; one entry of a file's list
    `checks`.

    utilisation : a share of what is allowed, 1 at most where the check passes, from the layer's
        section and demand at its worst point. A function may raise MethodRangeError with words of
        its own, then the check is not judged.
    shear : the same of every place where shear is judged; the worst of them counts.
    standard : whose bars it is for; None = those of every one. name, source : as of `OwnStrip`.

    >>> check = OwnCheck(
    ...     name="steel stress",
    ...     source="office note 7",
    ...     utilisation=lambda layer, demand: (
    ...         1e6 * demand.characteristic_kNm_m / (0.9 * layer.d_mm * layer.area_mm2_m) / 250
    ...     ),
    ... )
    """

    name: str
    source: str
    utilisation: Callable[[LayerSection, LayerDemand], float] | None = None
    shear: Callable[[ShearSection, ShearForces], float] | None = None
    standard: Standard | None = None


@dataclass(frozen=True)
class CheckRule:
    """A check of the user's own with the functions that are asked, None = there is none."""

    name: str
    source: str
    standard: Standard | None
    of_layers: OwnFunction | None
    of_shear: OwnFunction | None

    def counts_for(self, standard: Standard) -> bool:
        """Whether bars are judged by it under a standard."""
        return self.standard in (None, standard)


def share(rule: OwnFunction, section: object, demand: object) -> float:
    """What a function of a check gives. Raises OwnError for what is no share, MethodRangeError
    where the rule says so."""
    return rule.value(section, demand, unit="of what is allowed", most=MOST, zero=True)


@lru_cache(maxsize=64)
def own_checks(code: OwnCode) -> tuple[CheckRule, ...]:
    """The checks that a file or package gives. Raises OwnError for what is not allowed in them."""
    found: list[CheckRule] = []
    for number, one in enumerate(code.given("checks")):
        where = f"{code.name}, checks {number + 1}"
        if not isinstance(one, OwnCheck):
            raise OwnError(f"{where} is a {type(one).__name__}: allowed is OwnCheck")
        check_text(one.name, f"{where}, name")
        check_text(one.source, f"{where}, source")
        if one.name in [other.name for other in found]:
            raise OwnError(f'{where}, name "{one.name}": another check has this name')
        rules = {}
        for part in PARTS:
            given = getattr(one, part)
            if given is not None and not callable(given):
                raise OwnError(f"{where}, {part} is no function")
            rules[part] = None if given is None else OwnFunction(code, "checks", number, part)
        if not any(rules.values()):
            raise OwnError(f"{where} has no function: give {' or '.join(PARTS)}")
        if one.standard is not None and one.standard not in get_args(Standard):
            raise OwnError(f"{where}, standard: allowed is {', '.join(get_args(Standard))} or None")
        found.append(CheckRule(one.name, one.source, one.standard, *rules.values()))
    return tuple(found)

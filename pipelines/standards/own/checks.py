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
# A utilisation beyond which there is a slip of unit.
MOST = 1e6


@dataclass(frozen=True, kw_only=True)
class LayerSection:
    """The section across the bars of one layer, per metre of width, and its materials.

    face, direction : of the layer. d_mm : effective depth; cover_mm : to the layer's own bars;
    diameter_mm : of the thickest bars, spacing_mm : the widest between bars that lie side by side;
    strengths are the standard's own, f_ck of IRC:112 that of cubes.
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
    """

    ultimate_kNm_m: float
    characteristic_kNm_m: float
    crack_kNm_m: float
    n_kN_m: float = 0.0


@dataclass(frozen=True, kw_only=True)
class OwnCheck:
    """A check of every layer of bars; one entry of a file's list `checks`.

    utilisation : a share of what is allowed, 1 at most where the check passes, from the layer's
        section and demand at its worst point. A function may raise MethodRangeError with words of
        its own, then the check is not judged.
    standard : whose bars it is for; None = those of every one. name, source : as of `OwnStrip`.

    >>> OwnCheck(
    ...     name="steel stress",
    ...     source="office note 7",
    ...     utilisation=lambda layer, demand: (
    ...         1e6 * demand.characteristic_kNm_m / (0.9 * layer.d_mm * layer.area_mm2_m) / 250
    ...     ),
    ... )
    """

    name: str
    source: str
    utilisation: Callable[[LayerSection, LayerDemand], float]
    standard: Standard | None = None


@dataclass(frozen=True)
class CheckRule:
    """A check of the user's own with the function that is asked."""

    name: str
    source: str
    standard: Standard | None
    rule: OwnFunction

    def utilisation(self, section: LayerSection, demand: LayerDemand) -> float:
        """Raises OwnError for what is no share, MethodRangeError where the rule says so."""
        return self.rule.value(section, demand, unit="of what is allowed", most=MOST, zero=True)


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
        if not callable(one.utilisation):
            raise OwnError(f"{where}, utilisation is no function")
        if one.standard is not None and one.standard not in get_args(Standard):
            raise OwnError(f"{where}, standard: allowed is {', '.join(get_args(Standard))} or None")
        rule = OwnFunction(code, "checks", number, "utilisation")
        found.append(CheckRule(one.name, one.source, one.standard, rule))
    return tuple(found)

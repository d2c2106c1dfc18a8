"""Damage equivalence factor lambda_s of straight bars on road bridges (EN 1992-2 annex NN.2.1).

lambda_s = phi_fat lambda_s,1 lambda_s,2 lambda_s,3 lambda_s,4: surface of the road; span, from the
annex's figures, which are not held here; volume and kind of the traffic; design life; further slow
lanes. Formulas (NN.102) to (NN.105) and table NN.1 are from memory.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

TrafficType = Literal["long distance", "medium distance", "local traffic"]
Surface = Literal["good", "medium"]

K_2 = 9  # second slope of the S-N line of straight bars, EN 1992-1-1 table 6.3N
LORRIES = 2.0  # million a year and slow lane, to which lambda_s,2 is related
YEARS = 100.0
VOLUME: dict[TrafficType, float] = {  # table NN.1 for k_2 = 9
    "long distance": 1.0,
    "medium distance": 0.94,
    "local traffic": 0.82,
}
SURFACE: dict[Surface, float] = {"good": 1.2, "medium": 1.4}  # EN 1991-2 annex B


@dataclass(frozen=True)
class DamageFactor:
    """lambda_s [-] and, for print, how it came about."""

    value: float
    words: str


def stated(lambda_s: float) -> DamageFactor:
    """The whole factor as the user gives it."""
    return DamageFactor(lambda_s, f"λs = {lambda_s:.3g} as stated")


def by_parts(
    lambda_1: float, lorries: Sequence[float], kind: TrafficType, years: float, surface: Surface
) -> DamageFactor:
    """The product of the parts.

    lambda_1 : by span, of the figures. lorries : million a year on each slow lane, first the lane
    that is looked at; years : design life.
    """
    parts: Mapping[str, float] = {
        "φfat": SURFACE[surface],
        "λs,1": lambda_1,
        "λs,2": VOLUME[kind] * (lorries[0] / LORRIES) ** (1 / K_2),
        "λs,3": (years / YEARS) ** (1 / K_2),
        "λs,4": (sum(lorries) / lorries[0]) ** (1 / K_2),
    }
    value = 1.0
    for part in parts.values():
        value *= part
    product = " · ".join(f"{part:.3f}" for part in parts.values())
    return DamageFactor(value, f"λs = {' · '.join(parts)} = {product} = {value:.3f}")

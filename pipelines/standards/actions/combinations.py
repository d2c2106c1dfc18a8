"""Combinations of actions of each standard: factors on permanent actions and on the traffic.

A permanent action has a factor where it is unfavourable and one where it is favourable. The
self-weight of the structure is one source; every other action is its own, so that each may act
with either factor: all such states count. Surfacing of EN 1991-1-1 5.2.3 varies by +40 and -20 %
of its nominal value. The factors are from memory: the user confirms them, national annexes govern.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

from pipelines.standards.actions.loads import Action
from pipelines.standards.sources import Source, Standard

LimitState = Literal["ULS", "characteristic", "frequent", "quasi-permanent"]
LIMIT_STATES: tuple[LimitState, ...] = ("ULS", "characteristic", "frequent", "quasi-permanent")
Pair = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Combination:
    """Factors of one limit state.

    permanent : action -> (unfavourable, favourable); traffic : on the vehicle as its standard
    prints it; distributed : on the distributed loads of its load models, None = the same.
    """

    standard: Standard
    limit_state: LimitState
    permanent: Mapping[Action, Pair]
    traffic: float
    source: Source
    distributed: float | None = None

    @property
    def share(self) -> float:
        """Factor on distributed loads over that on axles."""
        if self.distributed is None or self.traffic == 0.0:
            return 1.0
        return self.distributed / self.traffic


def _table(
    standard: Standard,
    limit_state: LimitState,
    weight: Pair,
    surfacing: Pair,
    traffic: float,
    clause: str,
    distributed: float | None = None,
) -> Combination:
    permanent: dict[Action, Pair] = {
        "self-weight": weight,
        "surfacing": surfacing,
        "parapet": weight,
        "other permanent": weight,
    }
    source = Source(standard, clause)
    return Combination(
        standard=standard,
        limit_state=limit_state,
        permanent=permanent,
        traffic=traffic,
        source=source,
        distributed=distributed,
    )


MORE, LESS = 1.4, 0.8  # on the nominal surfacing, EN 1991-1-1 5.2.3(3)
_EN = "EN 1990 table A2.4(B) (6.10), EN 1991-1-1 5.2.3(3)"
_EN_SLS = "EN 1990 A2.4, table A2.1, EN 1991-1-1 5.2.3(3)"
_ONE = (1.0, 1.0)
_BOUNDS = (MORE, LESS)

COMBINATIONS: dict[Standard, tuple[Combination, ...]] = {
    "EN 1992": (
        _table("EN 1992", "ULS", (1.35, 1.0), (1.35 * MORE, LESS), 1.35, _EN),
        _table("EN 1992", "characteristic", _ONE, _BOUNDS, 1.0, _EN_SLS),
        _table("EN 1992", "frequent", _ONE, _BOUNDS, 0.75, _EN_SLS, distributed=0.40),
        _table("EN 1992", "quasi-permanent", _ONE, _BOUNDS, 0.0, _EN_SLS),
    ),
    "IRC:112": (
        _table("IRC:112", "ULS", (1.35, 1.0), (1.75, 1.0), 1.5, "IRC:6 annex B, table B.2"),
        _table("IRC:112", "characteristic", _ONE, (1.2, 1.0), 1.0, "IRC:6 table B.3, rare"),
        _table("IRC:112", "frequent", _ONE, (1.2, 1.0), 0.75, "IRC:6 table B.3"),
        _table("IRC:112", "quasi-permanent", _ONE, (1.2, 1.0), 0.0, "IRC:6 table B.3"),
    ),
    "AASHTO LRFD": (
        _table(
            "AASHTO LRFD", "ULS", (1.25, 0.9), (1.5, 0.65), 1.75, "tables 3.4.1-1, -2, strength I"
        ),
        _table("AASHTO LRFD", "characteristic", _ONE, _ONE, 1.0, "table 3.4.1-1, service I"),
    ),
}


def combination(standard: Standard, limit_state: LimitState) -> Combination | None:
    """The combination of a standard, None where it has none of that kind."""
    found = (c for c in COMBINATIONS[standard] if c.limit_state == limit_state)
    return next(found, None)


def permanent_states(
    combination: Combination, actions: Sequence[Action]
) -> tuple[dict[Action, float], ...]:
    """Factors of the actions in every state that can govern, all unfavourable first."""
    present = [a for a in dict.fromkeys(actions) if a != "none"]
    pairs = [dict.fromkeys(combination.permanent[a]) for a in present]
    return tuple(dict(zip(present, factors, strict=True)) for factors in product(*pairs))

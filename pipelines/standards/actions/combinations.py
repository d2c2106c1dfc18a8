"""Combinations of actions of each standard: factors on permanent actions and on the traffic.

A permanent action has a factor where it is unfavourable and one where it is favourable. The
self-weight of the structure is one source; every other action is its own, so that each may act
with either factor: all such states count. Surfacing of EN 1991-1-1 5.2.3 varies by +40 and -20 %
of its nominal value. Shrinkage and settlement are permanent actions that are absent where they are
favourable; so are warming and cooling, which act beside the traffic with their factor of an
accompanying action and never both at once. The factors are from memory: the user confirms them,
national annexes govern.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

from pipelines.standards.actions.loads import TEMPERATURES, Action
from pipelines.standards.factors import Factors
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


def combinations(factors: Factors) -> tuple[Combination, ...]:
    """Every combination of a standard by its factors."""
    f, standard = factors, factors.standard
    made: tuple[tuple[LimitState, Pair, Pair, float, float | None, str], ...]
    if standard == "EN 1992":
        up, down, more, less = (
            f[key] for key in ("gamma_G_sup", "gamma_G_inf", "surfacing_sup", "surfacing_inf")
        )
        made = (
            ("ULS", (up, down), (up * more, down * less), f["gamma_Q"], None, _EN),
            ("characteristic", _ONE, (more, less), 1.0, None, _EN_SLS),
            ("frequent", _ONE, (more, less), f["psi_1_TS"], f["psi_1_UDL"], _EN_SLS),
            ("quasi-permanent", _ONE, (more, less), f["psi_2"], None, _EN_SLS),
        )
    elif standard == "IRC:112":
        weight = f["gamma_G_sup"], f["gamma_G_inf"]
        ultimate = f["gamma_surfacing_sup"], f["gamma_surfacing_inf"]
        service = f["surfacing_sup"], 1.0
        made = (
            ("ULS", weight, ultimate, f["gamma_Q"], None, "IRC:6 annex B, table B.2"),
            ("characteristic", _ONE, service, 1.0, None, "IRC:6 table B.3, rare"),
            ("frequent", _ONE, service, f["psi_1"], None, "IRC:6 table B.3"),
            ("quasi-permanent", _ONE, service, f["psi_2"], None, "IRC:6 table B.3"),
        )
    else:
        weight = f["gamma_DC_sup"], f["gamma_DC_inf"]
        surfacing = f["gamma_DW_sup"], f["gamma_DW_inf"]
        strength = "tables 3.4.1-1, -2, strength I"
        made = (
            ("ULS", weight, surfacing, f["gamma_LL"], None, strength),
            ("characteristic", _ONE, _ONE, 1.0, None, "table 3.4.1-1, service I"),
        )
    return tuple(
        Combination(
            standard=standard,
            limit_state=state,
            permanent={
                "self-weight": weight,
                "surfacing": surfacing,
                "parapet": weight,
                "other permanent": weight,
                # either may come late, or be less than foreseen
                "shrinkage": (f["gamma_SH"] if state == "ULS" else 1.0, 0.0),
                "settlement": (f["gamma_SE"] if state == "ULS" else 1.0, 0.0),
                **dict.fromkeys(TEMPERATURES, (_temperature(f, state), 0.0)),
            },
            traffic=traffic,
            source=f.marked(Source(standard, clause), *ACTION_KEYS[standard]),
            distributed=distributed,
        )
        for state, weight, surfacing, traffic, distributed, clause in made
    )


def _temperature(f: Factors, state: LimitState) -> float:
    """Factor on a temperature beside the traffic."""
    if f.standard == "AASHTO LRFD":
        return f["gamma_TG_strength"] if state == "ULS" else f["gamma_TG"]
    if state == "ULS":
        return f["gamma_T"] * f["psi_0_T"] if f.standard == "EN 1992" else f["gamma_T"]
    return f["psi_0_T"] if state == "characteristic" else f["psi_2_T"]


_EN = "EN 1990 table A2.4(B) (6.10), EN 1991-1-1 5.2.3(3)"
_EN_SLS = "EN 1990 A2.4, table A2.1, EN 1991-1-1 5.2.3(3)"
_ONE = (1.0, 1.0)
# Those of the factors that combinations are made of.
ACTION_KEYS: dict[Standard, tuple[str, ...]] = {
    "EN 1992": (
        *("gamma_G_sup", "gamma_G_inf", "surfacing_sup", "surfacing_inf", "gamma_Q"),
        *("psi_1_TS", "psi_1_UDL", "psi_2", "gamma_SH", "gamma_SE"),
        *("gamma_T", "psi_0_T", "psi_2_T"),
    ),
    "IRC:112": (
        *("gamma_G_sup", "gamma_G_inf", "gamma_surfacing_sup", "gamma_surfacing_inf"),
        *("surfacing_sup", "gamma_Q", "psi_1", "psi_2", "gamma_SH", "gamma_SE"),
        *("gamma_T", "psi_0_T", "psi_2_T"),
    ),
    "AASHTO LRFD": (
        *("gamma_DC_sup", "gamma_DC_inf", "gamma_DW_sup", "gamma_DW_inf", "gamma_LL"),
        *("gamma_SH", "gamma_SE", "gamma_TG_strength", "gamma_TG"),
    ),
}


def combination(factors: Factors, limit_state: LimitState) -> Combination | None:
    """The combination of a standard by its factors, None where it has none of that kind."""
    found = (c for c in combinations(factors) if c.limit_state == limit_state)
    return next(found, None)


def permanent_states(
    combination: Combination, actions: Sequence[Action]
) -> tuple[dict[Action, float], ...]:
    """Factors of the actions in every state that can govern, all unfavourable first."""
    present: list[Action] = [a for a in dict.fromkeys(actions) if a != "none"]
    pairs = [dict.fromkeys(combination.permanent[a]) for a in present]
    states = (dict(zip(present, factors, strict=True)) for factors in product(*pairs))
    return tuple(
        state for state in states if not all(state.get(action, 0.0) for action in TEMPERATURES)
    )

"""Fatigue of the bars by the range of their stress, of straight bars without welds.

EN 1992: unwelded bars need nothing more where the range under the frequent combination stays within
70 MPa (EN 1992-1-1 6.8.6), which heavy frequent traffic seldom does. Where the deck file states
lambda_s, whole or by parts (`damagefactors`), the range under fatigue load model 3 is made damage
equivalent instead (EN 1992-2 annex NN): its axles times 1.40, or 1.75 at intermediate supports,
taken here for the top bars; the vehicle alone in its lane anywhere on the carriageway; raised near
expansion joints (EN 1991-2 4.6.1(6)).

IRC:112 asks for no verification where the tensile bars stay below 300 MPa under the rare
combination; above that it refers to specialist literature.

AASHTO LRFD: the range under the fatigue truck (fatigue I, 1.75, with 15 % dynamic load allowance)
against the threshold for infinite life, which falls with the least stress. It asks for no check of
deck slabs on several girders: there the range is printed without a limit.

All of it is from memory unless a source says otherwise.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.checks.bending_and_service import CREEP
from pipelines.bars.demand.moments import LAYER_ROWS, Demand
from pipelines.bars.demand.observer import DesignWatch
from pipelines.deck.deck import Deck
from pipelines.model.position_blocks import stream
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.combinations import Combination, LimitState, combination
from pipelines.standards.actions.vehicles import library
from pipelines.standards.detailing.rules import Row
from pipelines.standards.factors import Factors
from pipelines.standards.materials import KSI, MPA, Materials
from pipelines.standards.resistance.bars import Face, Layer, SlabBars, other_face, place_of
from pipelines.standards.resistance.bending import layer_section
from pipelines.standards.resistance.cracking import cracked_section
from pipelines.standards.resistance.fatigue_damage import DamageFactor
from pipelines.standards.sources import Source
from pipelines.traffic.joints import joint_factors
from pipelines.traffic.positions import LoadPositions, load_positions
from plate.arrays import Floats, Ints

# Which result points count.
Points = NDArray[np.bool_] | Ints | slice
EVERYWHERE = slice(None)

PLAIN_SOURCE = Source("EN 1992", "6.8.6(1), (2): 70 MPa, frequent combination")
PLAIN_OTHERWISE = "to be shown by the damage-equivalent range: [fatigue]"
# Straight bars at 10^6 cycles, EN 1992-1-1 table 6.3N.
AT_A_MILLION = 162.5 * MPA
EQUIVALENT_CLAUSE = "EN 1992-2 annex NN.2, EN 1992-1-1 6.8.5, table 6.3N"
MODEL = "EN 1991-2 FLM3"
AXLES = (1.40, 1.75)  # bottom bars, top bars

UNVERIFIED_KEY = "unverified_stress_MPa"
UNVERIFIED_SOURCE = Source("IRC:112", "5.3.2.5; beyond: IRC:6 204.6")
UNVERIFIED_OTHERWISE = "to be verified, which is not done here"

TRUCK = "AASHTO fatigue truck"
THRESHOLD_SOURCE = Source("AASHTO LRFD", "5.5.3.2: 26 - 22 f_min/f_y ksi; fatigue I")
GIRDERS = 3
GIRDERS_SOURCE = Source("AASHTO LRFD", "5.5.3.1: no check of deck slabs on several girders")


def fatigue_load_factor(factors: Factors) -> float:
    """AASHTO's fatigue I on its truck: load factor, table 3.4.1-1, and dynamic load allowance,
    table 3.6.2.1-1."""
    return factors["gamma_LL_fatigue"] * (1.0 + factors["IM_fatigue"])


def equivalent_range(factors: Factors) -> float:
    """What damage equivalent ranges of straight bars may reach by EN 1992 [Pa]."""
    return AT_A_MILLION / factors["gamma_s_fat"]


def unit_stresses(
    bars: SlabBars, layer: Layer, mat: Materials, *, pulled: bool
) -> tuple[float, float]:
    """Stress of the layer's bars per moment [1/m2]: tension with their face in tension, and the
    size of their compression with the other face in tension. Both are linear in the moment.

    pulled : membrane forces act, and may leave the whole section in tension: then moments are
    carried between the bars of both faces, and those of this face take the same share in both
    directions.
    """
    E_c, E_s = mat.concrete.E_c / (1 + CREEP), mat.steel.E_s
    own = float(cracked_section(layer_section(bars, layer), 1.0, E_c, E_s).sigma_s)
    opposite: Layer = (other_face(layer[0]), layer[1])
    if pulled:
        z = bars.effective_depth(layer) + bars.effective_depth(opposite) - bars.thickness_of(layer)
        own = max(own, 1.0 / (z * bars.bars(layer).area))
        return own, own
    section = layer_section(bars, opposite, "counted")
    return own, abs(min(float(cracked_section(section, 1.0, E_c, E_s).sigma_sc), 0.0))


def stress(moment: Floats, unit: tuple[float, float]) -> Floats:
    """The stress in the bars [Pa], tension positive, under moments positive with their face in
    tension."""
    own, other = unit
    return np.asarray(own * np.maximum(moment, 0.0) + other * np.minimum(moment, 0.0))


def stress_range(high: Floats, low: Floats, unit: tuple[float, float]) -> Floats:
    """Range [Pa] between the moments high, counted as at least 0, and low."""
    top = np.maximum(high, 0.0)
    return stress(top, unit) - stress(np.minimum(low, top), unit)


@dataclass(frozen=True)
class FatigueLoad:
    """A standard's own load for fatigue: the name of its vehicle, which drives alone, and the
    combinations that the bars of the bottom and of the top face count it with."""

    vehicle: str
    combinations: tuple[Combination, Combination]

    def runs(self, deck: Deck) -> tuple[LoadPositions, ...]:
        """Its load positions."""
        if deck.traffic is None:
            return ()
        lorry = replace(deck.traffic, vehicles=(library[self.vehicle],), load_models=())
        return load_positions(replace(deck, traffic=lorry))


def fatigue_load(deck: Deck, factors: Factors) -> FatigueLoad | None:
    """None where fatigue is judged by the traffic of other checks.

    EN 1992 with a damage equivalence factor: permanent actions as in the frequent combination with
    the fatigue load model, its axles with each of `AXLES`.
    """
    if factors.standard == "AASHTO LRFD":
        service = combination(factors, "characteristic")
        assert service is not None
        factored = replace(service, traffic=fatigue_load_factor(factors))
        return FatigueLoad(TRUCK, (factored, factored))
    if factors.standard != "EN 1992" or deck.required_reinforcement.damage is None:
        return None
    frequent = combination(factors, "frequent")
    assert frequent is not None
    bottom, top = (replace(frequent, traffic=factor) for factor in AXLES)
    return FatigueLoad(MODEL, (bottom, top))


@dataclass(frozen=True, kw_only=True)
class FatigueDemand:
    """Moments that the fatigue of bars is judged by under one standard.

    by_face : demand of the bars of each face. raised : (n_point,) factor near expansion joints.
    damage : damage equivalence factor of each face, None = by the plain range. pulled : membrane
    forces act. on_girders : AASHTO asks for no check.
    """

    by_face: Mapping[Face, Demand]
    raised: Floats
    damage: Mapping[Face, DamageFactor] | None = None
    pulled: bool = False
    on_girders: bool = False


def fatigue_demand(
    solved: SolvedDeck,
    watch: DesignWatch,
    factors: Factors,
    demands: Mapping[LimitState, Demand],
) -> FatigueDemand:
    """What fatigue is judged by anywhere on the deck by the factors of a standard; demands : of the
    standard, by limit state."""
    load = fatigue_load(solved.deck, factors)
    if load is None:
        one = demands["characteristic" if factors.standard == "IRC:112" else "frequent"]
        return demand_of(solved, watch, factors, (one, one))
    bottom, top = load.combinations
    envelopes = watch.moment_envelopes([bottom] if top == bottom else [bottom, top])
    runs = load.runs(solved.deck)
    for first, response, _ in stream(solved, runs, lambda _, response: response.fields):
        envelopes(first, response)
    found = envelopes.demands()
    return demand_of(solved, watch, factors, (found[0], found[-1]))


def demand_of(
    solved: SolvedDeck, watch: DesignWatch, factors: Factors, found: tuple[Demand, Demand]
) -> FatigueDemand:
    """What fatigue is judged by, of the demands of the bars of the bottom and of the top face."""
    deck, plan = solved.deck, solved.recovery.points.plan
    damage = deck.required_reinforcement.damage if factors.standard == "EN 1992" else None
    return FatigueDemand(
        by_face={"bottom": found[0], "top": found[1]},
        raised=np.ones(len(plan)) if damage is None else joint_factors(deck, plan),
        damage=damage,
        pulled=watch.membrane is not None,
        on_girders=factors.standard == "AASHTO LRFD" and on_girders(deck),
    )


def fatigue_rows(
    demand: FatigueDemand, bars: SlabBars, mat: Materials, where: Points = EVERYWHERE
) -> tuple[Row, ...]:
    """A row for every layer that has bars, at the place where it is used most.

    where : the result points that are looked at.
    """
    return tuple(row for row, _ in fatigue_places(demand, bars, mat, where))


def fatigue_places(
    demand: FatigueDemand, bars: SlabBars, mat: Materials, where: Points = EVERYWHERE
) -> tuple[tuple[Row, int], ...]:
    """`fatigue_rows`, each with the number of the result point among those that are looked at."""
    if not demand.raised[where].size:
        return ()
    rows = []
    for k, layer in enumerate(LAYER_ROWS):
        if bars.bars(layer).area > 0.0:
            unit = unit_stresses(bars, layer, mat, pulled=demand.pulled)
            rows.append(_judged(demand, k, layer, unit, mat, where))
    return tuple(rows)


def _judged(
    demand: FatigueDemand,
    k: int,
    layer: Layer,
    unit: tuple[float, float],
    mat: Materials,
    where: Points,
) -> tuple[Row, int]:
    """Least stress and range of AASHTO at the same place; the cracked section counts everywhere."""
    own, otherwise = demand.by_face[layer[0]], ""
    values, relieved = own.values[k][where], own.relieved[k][where]
    ranges = stress_range(values, relieved, unit)
    if mat.standard == "IRC:112":
        check, key, source = "stress that needs no verification", UNVERIFIED_KEY, UNVERIFIED_SOURCE
        required, source = MPA * mat.factors[key], mat.factors.marked(source, key)
        used, otherwise = stress(values, unit), UNVERIFIED_OTHERWISE
        worst = int(used.argmax())
    elif mat.standard == "AASHTO LRFD" and demand.on_girders:
        check, required, source = "stress range, no limit on girders", np.inf, GIRDERS_SOURCE
        used, worst = ranges, int(ranges.argmax())
    elif mat.standard == "AASHTO LRFD":
        limit = threshold(stress(np.minimum(relieved, values), unit), mat)
        worst = int((ranges - limit).argmax())
        check, required, source = "stress range", float(limit[worst]), THRESHOLD_SOURCE
        used = ranges
    elif demand.damage is not None:
        factor = demand.damage[layer[0]]
        check, required = "equivalent range", equivalent_range(mat.factors)
        used = np.asarray(factor.value * demand.raised[where] * ranges)
        worst = int(used.argmax())
        source = Source("EN 1992", f"{EQUIVALENT_CLAUSE}; {factor.words}")
    else:
        check, required = "plain stress range", MPA * mat.factors["plain_range_MPa"]
        source = mat.factors.marked(PLAIN_SOURCE, "plain_range_MPa")
        used, worst, otherwise = ranges, int(ranges.argmax()), PLAIN_OTHERWISE
    row = Row(
        check=f"fatigue: {check}",
        place=place_of(layer),
        required=required,
        provided=float(used[worst]),
        sense="at most",
        unit="Pa",
        source=source,
        otherwise=otherwise,
    )
    return row, worst


def threshold(least: Floats, mat: Materials) -> Floats:
    """Constant-amplitude threshold [Pa] at the least stress [Pa], tension positive (AASHTO
    5.5.3.2-1), f_y counted between 60 and 100 ksi."""
    f_y = min(max(mat.steel.f_yk, 60 * KSI), 100 * KSI)
    return np.asarray((26 - 22 * least / f_y) * KSI)


def on_girders(deck: Deck) -> bool:
    """Whether at least three lines along the deck carry the slab."""
    along = [f"L{k + 1}" for k in range(len(deck.offsets))]
    return sum(deck.line(name) is not None for name in along) >= GIRDERS

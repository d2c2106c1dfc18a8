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

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipelines.bars.checks.bending_and_service import CREEP
from pipelines.bars.demand.moments import LAYER_ROWS, Demand
from pipelines.bars.demand.observer import DesignWatch
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import Reinforcement
from pipelines.model.responses import SolvedDeck, stream
from pipelines.standards.actions.combinations import Combination, LimitState, combination
from pipelines.standards.actions.vehicles import library
from pipelines.standards.detailing.rules import Row
from pipelines.standards.materials import KSI, MPA, Materials
from pipelines.standards.resistance.bars import Layer, SlabBars, other_face, place_of
from pipelines.standards.resistance.bending import layer_section
from pipelines.standards.resistance.cracking import cracked_state
from pipelines.standards.sources import Source
from pipelines.traffic.joints import joint_factors
from pipelines.traffic.positions import load_positions
from plate.arrays import Floats

PLAIN = 70 * MPA
PLAIN_SOURCE = Source("EN 1992", "6.8.6(1), (2): 70 MPa, frequent combination")
PLAIN_OTHERWISE = "to be shown by the damage-equivalent range: [fatigue]"
# Straight bars at 10^6 cycles, EN 1992-1-1 table 6.3N, over gamma_s,fat.
EQUIVALENT = 162.5 * MPA / 1.15
EQUIVALENT_CLAUSE = "EN 1992-2 annex NN.2, EN 1992-1-1 6.8.5, table 6.3N"
MODEL = "EN 1991-2 FLM3"
AXLES = (1.40, 1.75)  # bottom bars, top bars

UNVERIFIED = 300 * MPA
UNVERIFIED_SOURCE = Source(
    "IRC:112", "5.3.2.5, as a public draft of its amendment quotes it; beyond: IRC:6 204.6", "read"
)
UNVERIFIED_OTHERWISE = "to be verified, which is not done here"

TRUCK = "AASHTO fatigue truck"
FATIGUE_I = 1.75 * 1.15  # load factor, table 3.4.1-1, and dynamic load allowance, table 3.6.2.1-1
THRESHOLD_SOURCE = Source("AASHTO LRFD", "5.5.3.2: 26 - 22 f_min/f_y ksi; fatigue I")
GIRDERS = 3
GIRDERS_SOURCE = Source("AASHTO LRFD", "5.5.3.1: no check of deck slabs on several girders")


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
    own = float(cracked_state(layer_section(bars, layer), 1.0, E_c, E_s).sigma_s)
    opposite: Layer = (other_face(layer[0]), layer[1])
    if pulled:
        z = bars.effective_depth(layer) + bars.effective_depth(opposite) - bars.thickness
        own = max(own, 1.0 / (z * bars.bars(layer).area))
        return own, own
    section = layer_section(bars, opposite, "counted")
    return own, abs(min(float(cracked_state(section, 1.0, E_c, E_s).sigma_sc), 0.0))


def stress(moment: Floats, unit: tuple[float, float]) -> Floats:
    """The stress in the bars [Pa], tension positive, under moments positive with their face in
    tension."""
    own, other = unit
    return np.asarray(own * np.maximum(moment, 0.0) + other * np.minimum(moment, 0.0))


def stress_range(high: Floats, low: Floats, unit: tuple[float, float]) -> Floats:
    """Range [Pa] between the moments high, counted as at least 0, and low."""
    top = np.maximum(high, 0.0)
    return stress(top, unit) - stress(np.minimum(low, top), unit)


def lorry_demands(
    solved: SolvedDeck,
    watch: DesignWatch,
    model: str,
    combinations: Sequence[Combination],
) -> tuple[Demand, ...]:
    """Demands of the combinations with that vehicle as the only traffic."""
    deck = solved.deck
    envelopes = watch.moment_envelopes(combinations)
    if deck.traffic is not None:
        lorry = replace(deck.traffic, vehicles=(library[model],), load_models=())
        runs = load_positions(replace(deck, traffic=lorry))
        for first, response, _ in stream(solved, runs, lambda _, response: response.fields):
            envelopes(first, response)
    return envelopes.demands()


def fatigue_rows(
    solved: SolvedDeck,
    watch: DesignWatch,
    mat: Materials,
    demands: Mapping[LimitState, Demand],
) -> tuple[Row, ...]:
    """A row for every layer, at the place where it is used most.

    demands : of the standard, by limit state.
    """
    deck = solved.deck
    reinforcement = deck.reinforcement
    assert reinforcement is not None
    units = [
        unit_stresses(reinforcement.bars, layer, mat, pulled=watch.membrane is not None)
        for layer in LAYER_ROWS
    ]
    if mat.standard == "IRC:112":
        return _without_verification(demands["characteristic"], units)
    if mat.standard == "AASHTO LRFD":
        return _infinite_life(solved, watch, mat, units)
    if reinforcement.damage is not None:
        return _damage_equivalent(solved, watch, reinforcement, units)
    return tuple(
        Row(
            check="fatigue: plain stress range",
            place=place_of(layer),
            required=PLAIN,
            provided=float(_ranges(demands["frequent"], k, units[k]).max()),
            sense="at most",
            unit="Pa",
            source=PLAIN_SOURCE,
            otherwise=PLAIN_OTHERWISE,
        )
        for k, layer in enumerate(LAYER_ROWS)
    )


def _ranges(demand: Demand, row: int, unit: tuple[float, float]) -> Floats:
    """The stress ranges of the bars of one layer at every point (n,) [Pa]."""
    return stress_range(demand.values[row], demand.relieved[row], unit)


def _damage_equivalent(
    solved: SolvedDeck,
    watch: DesignWatch,
    one: Reinforcement,
    units: Sequence[tuple[float, float]],
) -> tuple[Row, ...]:
    """Permanent actions as in the frequent combination with the fatigue load model, its axles with
    each of `AXLES`."""
    assert one.damage is not None
    frequent = combination("EN 1992", "frequent")
    assert frequent is not None
    factored = [replace(frequent, traffic=factor) for factor in AXLES]
    bottom, top = lorry_demands(solved, watch, MODEL, factored)
    near = joint_factors(solved.deck, solved.recovery.points.plan)
    rows = []
    for k, layer in enumerate(LAYER_ROWS):
        factor = one.damage[layer[0]]
        demand = bottom if layer[0] == "bottom" else top
        found = factor.value * near * _ranges(demand, k, units[k])
        rows.append(
            Row(
                check="fatigue: equivalent range",
                place=place_of(layer),
                required=EQUIVALENT,
                provided=float(found.max()),
                sense="at most",
                unit="Pa",
                source=Source("EN 1992", f"{EQUIVALENT_CLAUSE}; {factor.words}"),
            )
        )
    return tuple(rows)


def _without_verification(rare: Demand, units: Sequence[tuple[float, float]]) -> tuple[Row, ...]:
    return tuple(
        Row(
            check="fatigue: stress that needs no verification",
            place=place_of(layer),
            required=UNVERIFIED,
            provided=float(stress(rare.values[k], units[k]).max()),
            sense="at most",
            unit="Pa",
            source=UNVERIFIED_SOURCE,
            otherwise=UNVERIFIED_OTHERWISE,
        )
        for k, layer in enumerate(LAYER_ROWS)
    )


def threshold(least: Floats, mat: Materials) -> Floats:
    """Constant-amplitude threshold [Pa] at the least stress [Pa], tension positive (AASHTO
    5.5.3.2-1), f_y counted between 60 and 100 ksi."""
    f_y = min(max(mat.steel.f_yk, 60 * KSI), 100 * KSI)
    return np.asarray((26 - 22 * least / f_y) * KSI)


def on_girders(deck: Deck) -> bool:
    """Whether at least three lines along the deck carry the slab."""
    along = [f"L{k + 1}" for k in range(len(deck.offsets))]
    return sum(deck.line(name) is not None for name in along) >= GIRDERS


def _infinite_life(
    solved: SolvedDeck,
    watch: DesignWatch,
    mat: Materials,
    units: Sequence[tuple[float, float]],
) -> tuple[Row, ...]:
    """The cracked section counts everywhere; least stress and range at the same place."""
    service = combination("AASHTO LRFD", "characteristic")
    assert service is not None
    (demand,) = lorry_demands(solved, watch, TRUCK, [replace(service, traffic=FATIGUE_I)])
    free = on_girders(solved.deck)
    rows = []
    for k, (layer, unit) in enumerate(zip(LAYER_ROWS, units, strict=True)):
        found = _ranges(demand, k, unit)
        least = np.minimum(demand.relieved[k], demand.values[k])
        limit = threshold(stress(least, unit), mat)
        worst = int((found - limit).argmax())
        rows.append(
            Row(
                check="fatigue: stress range" + (", no limit on girders" if free else ""),
                place=place_of(layer),
                required=np.inf if free else float(limit[worst]),
                provided=float(found.max() if free else found[worst]),
                sense="at most",
                unit="Pa",
                source=GIRDERS_SOURCE if free else THRESHOLD_SOURCE,
            )
        )
    return tuple(rows)

"""Fatigue of the bars by the range of their stress (EN 1992).

Plainly, unwelded bars need nothing more where the range under the frequent combination stays within
70 MPa (EN 1992-1-1 6.8.6): a check that heavy frequent traffic seldom meets. Where the deck file
states lambda_s, the range under fatigue load model 3 is made damage equivalent instead (EN 1992-2
annex NN): its axles times 1.40, or 1.75 at intermediate supports, taken here for the top bars; the
vehicle alone in its lane anywhere on the carriageway. lambda_s = phi_fat lambda_1 lambda_2 lambda_3
lambda_4 is the user's, its figures and tables are not held here. All of it is from memory.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars import Layer, SlabBars, other_face, place_of
from pipelines.bending import layer_section
from pipelines.clauses import Source
from pipelines.combinations import LimitState, combination
from pipelines.cracking import cracked_state
from pipelines.deck import Deck
from pipelines.designchecks import CREEP
from pipelines.designenvelope import ROWS, Demand
from pipelines.designwatch import DesignWatch
from pipelines.detailing_rules import Row
from pipelines.grades import MPA, Materials
from pipelines.responses import Solver, stream
from pipelines.traffic import load_positions
from pipelines.vehicles import library

Floats = NDArray[np.float64]

PLAIN = 70 * MPA
PLAIN_SOURCE = Source("EN 1992", "6.8.6(1), (2): 70 MPa, frequent combination")
# Straight bars at 10^6 cycles, EN 1992-1-1 table 6.3N, over gamma_s,fat.
EQUIVALENT = 162.5 * MPA / 1.15
EQUIVALENT_SOURCE = Source("EN 1992", "EN 1992-2 annex NN.2, EN 1992-1-1 6.8.5, table 6.3N")
MODEL = "EN 1991-2 FLM3"
AXLES = (1.40, 1.75)  # bottom bars, top bars


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


def stress_range(high: Floats, low: Floats, unit: tuple[float, float]) -> Floats:
    """Range [Pa] between the moments high >= low, positive with the bars' face in tension."""
    own, other = unit
    top, bottom = np.maximum(high, 0.0), np.minimum(low, np.maximum(high, 0.0))
    return np.asarray(own * (top - np.maximum(bottom, 0.0)) + other * np.maximum(-bottom, 0.0))


def largest_range(
    bars: SlabBars, mat: Materials, demand: Demand, row: int, *, pulled: bool
) -> float:
    """Of one layer, anywhere on the deck [Pa]."""
    unit = unit_stresses(bars, ROWS[row], mat, pulled=pulled)
    return float(stress_range(demand.values[row], demand.relieved[row], unit).max())


def model_demands(deck: Deck, solver: Solver, watch: DesignWatch) -> tuple[Demand, Demand]:
    """Permanent actions as in the frequent combination with the fatigue load model, its axles with
    each of `AXLES`."""
    frequent = combination("EN 1992", "frequent")
    assert frequent is not None
    envelopes = watch.moment_envelopes([replace(frequent, traffic=factor) for factor in AXLES])
    if deck.traffic is not None:
        lorry = replace(deck.traffic, vehicles=(library[MODEL],), load_models=())
        runs = load_positions(replace(deck, traffic=lorry))
        for first, response, _ in stream(solver, runs, lambda _, response: response.fields):
            envelopes(first, response)
    bottom, top = envelopes.demands()
    return bottom, top


def fatigue_rows(
    deck: Deck,
    solver: Solver,
    watch: DesignWatch,
    mat: Materials,
    demands: Mapping[LimitState, Demand],
) -> tuple[Row, ...]:
    """The largest range of every layer; none where the standard is not EN 1992.

    demands : of the standard, by limit state.
    """
    one = deck.reinforcement
    assert one is not None
    if mat.standard != "EN 1992":
        return ()
    pulled = watch.membrane is not None
    rows = []
    models = None if one.lambda_s is None else model_demands(deck, solver, watch)
    for k, layer in enumerate(ROWS):
        place = place_of(layer)
        if models is None or one.lambda_s is None:
            found = largest_range(one.bars, mat, demands["frequent"], k, pulled=pulled)
            words, limit, source = "fatigue: plain stress range", PLAIN, PLAIN_SOURCE
        else:
            demand = models[0] if layer[0] == "bottom" else models[1]
            found = one.lambda_s * largest_range(one.bars, mat, demand, k, pulled=pulled)
            words, limit, source = "fatigue: equivalent range", EQUIVALENT, EQUIVALENT_SOURCE
        rows.append(Row(words, place, limit, found, "at most", "Pa", source))
    return tuple(rows)

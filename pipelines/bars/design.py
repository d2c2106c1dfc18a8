"""From the load positions to bars: demands, checks, remedies and as-built panels of each standard.

`designwatch` looks at every block of load positions as it is streamed; `design` makes of what it
has seen the results that report and summary show.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.checks.as_built import PanelCheck, panel_checks
from pipelines.bars.checks.bending_and_service import (
    Peaks,
    choose_mat,
    resistances,
    rule_rows,
    steel_needed,
)
from pipelines.bars.checks.collision import collision_rows
from pipelines.bars.checks.curtailment import (
    Raster,
    ThroughSteel,
    Zones,
    bottom_through,
    raster,
    zones,
)
from pipelines.bars.checks.edge_beams import beam_checks
from pipelines.bars.checks.fatigue import fatigue_rows
from pipelines.bars.checks.near_supports import ReducedShear, reduced_shear
from pipelines.bars.checks.remedies import Remedy
from pipelines.bars.checks.shear_remedies import ShearCheck, Solved, shear_remedies
from pipelines.bars.checks.wheel_punching import WheelPunching, wheel_punching
from pipelines.bars.demand.control_sections import (
    Sections,
    ShearDemand,
    ShearTracker,
    tension,
)
from pipelines.bars.demand.membrane import MembraneForces
from pipelines.bars.demand.moments import ROWS, Demand
from pipelines.bars.demand.numbered import Numbered, Position
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.wood_armer import triple
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis, Reinforcement
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.peaks import clear_of_widths
from pipelines.envelopes.single_vehicles import Envelopes
from pipelines.findings.finding import CAUTION
from pipelines.model.responses import Solver
from pipelines.standards.actions.combinations import LimitState
from pipelines.standards.actions.load_models import for_bars
from pipelines.standards.actions.loads import Action
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Direction,
    Face,
    Layer,
    Mat,
)
from pipelines.standards.resistance.bending import OrderCost, order_cost
from pipelines.traffic.positions import LoadPositions

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LayerCheck:
    """Bending of one layer at the ultimate limit state.

    m_Ed, m_Rd : [N m/m] at the worst place `at` [m]; m_face : largest clear of the supports'
    widths. number, position : of the governing traffic; state : factors of the permanent actions.
    required : steel [m2/m]. gain : share by which m_Ed is below the shortcut's largest, None for
    skew bars. least : Wood and Armer's full rule at the governing position [N m/m].
    """

    layer: Layer
    m_Ed: float
    m_face: float
    m_Rd: float
    at: tuple[float, float]
    position: Position | None
    state: Mapping[Action, float]
    required: float
    gain: float | None
    least: float

    @property
    def utilisation(self) -> float:
        return self.m_Ed / self.m_Rd


@dataclass(frozen=True)
class ShearPeak:
    """The worst sample for one width. side : -1 before, 1 after the line."""

    width: float
    utilisation: float
    v: float
    v_Rd: float
    line: str
    side: int
    at: tuple[float, float]
    position: Position | None


@dataclass(frozen=True)
class StandardDesign:
    """Everything for one standard.

    traffic : what the bars are judged under, in words. demands : by limit state.
    utilisation : (4, n_point) of bending, rows as designenvelope.ROWS.
    shear : worst sample for each width, in the order of the widths; design_width : the one judged.
    reduced : the same with loads near supports reduced, None where the standard has no such rule.
    order : per face what the other layer order costs. outermost : per face the direction whose
    layer is fuller and should lie outermost. choice : per face, None where no set does; empty
    without [bar_choice].
    """

    basis: DesignBasis
    traffic: str
    demands: Mapping[LimitState, Demand]
    layers: tuple[LayerCheck, ...]
    utilisation: Floats
    rows: tuple[Row, ...]
    order: Mapping[Face, tuple[OrderCost, OrderCost]]
    outermost: Mapping[Face, Direction]
    choice: Mapping[Face, Mat | None]
    shear: tuple[ShearPeak, ...]
    shear_demand: ShearDemand | None
    design_width: float
    reduced: ReducedShear | None
    remedies: tuple[Remedy, ...]
    punching: WheelPunching | None
    zones: Zones
    through: tuple[ThroughSteel, ...]
    panels: tuple[PanelCheck, ...]

    @property
    def design_shear(self) -> ShearPeak | None:
        return next((p for p in self.shear if p.width == self.design_width), None)


@dataclass(frozen=True)
class Design:
    """Reinforcement of the deck judged by each standard.

    sections : of shear; left_out : static cases that no combination contains; membrane : forces
    that act with the moments, None without any.
    """

    reinforcement: Reinforcement
    standards: tuple[StandardDesign, ...]
    sections: Sections
    left_out: tuple[str, ...]
    membrane: MembraneForces | None


@dataclass(frozen=True)
class _Seen:
    """The deck and all that was found of its traffic."""

    deck: Deck
    solver: Solver
    envelopes: Envelopes | None
    models: Sequence[ModelEnvelope]
    watch: DesignWatch
    numbered: Numbered


def design(
    deck: Deck,
    solver: Solver,
    envelopes: Envelopes | None,
    models: Sequence[ModelEnvelope],
    watch: DesignWatch,
) -> Design:
    """The design of a deck with bars, from what the watch has seen of single vehicles and from the
    load models."""
    one = deck.reinforcement
    assert one is not None
    numbered = Numbered(envelopes)
    watch.take_models(numbered, models)
    seen = _Seen(deck, solver, envelopes, models, watch, numbered)
    demands = watch.moments.demands()
    solved: Solved = {}
    grid = raster(deck, solver)
    found = []
    for basis, tracker in zip(one.bases, watch.shears, strict=True):
        mine = {
            d.combination.limit_state: d
            for d in demands
            if d.combination.standard == basis.materials.standard
        }
        found.append(_standard(seen, basis, mine, tracker, solved, grid))
    combined = deck.combined_cases
    left_out = tuple(case.name for case in deck.cases if case.name not in combined)
    return Design(one, tuple(found), watch.sections, left_out, watch.membrane)


def _standard(
    seen: _Seen,
    basis: DesignBasis,
    demands: Mapping[LimitState, Demand],
    tracker: ShearTracker,
    solved: Solved,
    grid: Raster,
) -> StandardDesign:
    deck, solver, watch, numbered = seen.deck, seen.solver, seen.watch, seen.numbered
    one = deck.reinforcement
    assert one is not None
    mat, bars = basis.materials, one.bars
    models = [m for m in seen.models if for_bars(m.model, mat.standard)]
    runs = () if seen.envelopes is None else seen.envelopes.runs
    plan = solver.recovery.points.plan
    ultimate = demands["ULS"]
    m_Rd = resistances(bars, mat)
    crack = demands.get(basis.crack_combination, demands["characteristic"])
    characteristic, membrane = demands["characteristic"], watch.membrane
    peaks = Peaks(_largest(ultimate), _largest(characteristic), _largest(crack))
    if membrane is not None:
        pulls = (_pull(d, membrane.characteristic, one.angle) for d in (characteristic, crack))
        peaks = replace(peaks, arms=membrane.arms, pull=next(pulls), crack_pull=next(pulls))
    steel = steel_needed(bars, mat, peaks)
    clear = clear_of_widths(deck, plan)
    layers = tuple(
        _layer(k, ultimate, m_Rd, plan[watch.read_at[k]], clear, numbered, steel[ROWS[k]])
        for k in range(4)
    )
    shear_demand = tracker.demand() if len(watch.sections.points) else None
    shear = _shear_peaks(watch.sections, shear_demand, numbered)
    judged = next((p for p in shear if p.width == watch.design_width), None)
    fixes: tuple[Remedy, ...] = ()
    if judged is not None and judged.utilisation > 1 and shear_demand is not None:
        w = shear_demand.widths.index(judged.width)
        sample = int(shear_demand.utilisation[w].argmax())
        held = numbered.held(int(shear_demand.at[w, sample]))
        check = ShearCheck(
            watch.sections,
            sample,
            judged.position,
            None if held is None else held.loads,
            shear_demand.forces[w, :, sample],
            float(tension(shear_demand.forces[w], shear_demand.imposed)[sample]),
        )
        fixes = shear_remedies(deck, bars, basis, ultimate.combination, check, solved)
    beams = None if watch.beams is None else watch.beams.forces(mat.standard)
    by_layer = {layer: ultimate.layer(layer) for layer in LAYERS}
    survey = one.survey
    return StandardDesign(
        basis,
        _traffic_words(models, runs),
        demands,
        layers,
        np.stack([ultimate.values[k] / m_Rd[ROWS[k]] for k in range(4)]),
        (
            *rule_rows(bars, basis, peaks, {d: _span(deck, d) for d in DIRECTIONS}, steel),
            *fatigue_rows(deck, solver, watch, mat, demands),
            *collision_rows(deck, solver, mat, watch.dead),
            *beam_checks(deck, one.beams, mat, ultimate.combination, beams),
        ),
        {face: order_cost(bars, face, mat) for face in FACES},
        {face: _outermost(peaks, face) for face in FACES},
        {}
        if one.choice is None
        else {face: choose_mat(bars, face, basis, peaks, one.choice) for face in FACES},
        shear,
        shear_demand,
        watch.design_width,
        None
        if deck.traffic is None
        else reduced_shear(deck, solver, runs, numbered, tracker, watch.design_width),
        fixes,
        wheel_punching(deck, runs, models, bars, mat, ultimate.combination.traffic),
        zones(grid, bars, mat, ultimate),
        bottom_through(deck, plan, ultimate),
        () if survey is None else panel_checks(deck.plan, survey, bars, mat, plan, by_layer),
    )


def _traffic_words(models: Sequence[ModelEnvelope], runs: Sequence[LoadPositions]) -> str:
    alone = list(dict.fromkeys(run.vehicle.name for run in runs))
    if not models:
        return CAUTION if alone else "none"
    return ", ".join([m.model.name for m in models] + [f"{name} alone" for name in alone])


def _largest(demand: Demand) -> dict[Layer, float]:
    return {layer: float(demand.layer(layer).max()) for layer in LAYERS}


def _pull(demand: Demand, imposed: Floats | None, angle: float) -> dict[Layer, float]:
    """Imposed tension [N/m] that is in the largest value of each layer."""
    if imposed is None:
        return {}
    a, b, t = triple(imposed, angle)
    found = {}
    for k, layer in enumerate(ROWS):
        top = int(demand.values[k].argmax())
        acts = demand.imposed[int(demand.state[k, top])]
        n = (a if layer[1] == "x" else b)[top] + abs(t[top])
        found[layer] = max(float(n), 0.0) if acts else 0.0
    return found


def _outermost(peaks: Peaks, face: Face) -> Direction:
    """The direction with the larger ultimate moment at the face."""
    return "x" if peaks.ultimate[face, "x"] >= peaks.ultimate[face, "y"] else "y"


def _layer(
    k: int,
    demand: Demand,
    m_Rd: Mapping[Layer, float],
    plan: Floats,
    clear: NDArray[np.bool_],
    numbered: Numbered,
    required: float,
) -> LayerCheck:
    values, layer = demand.values[k], ROWS[k]
    top = int(values.argmax())
    number = int(demand.at[k, top])
    gain = None
    if demand.of_envelope is not None and demand.of_envelope[k].max() > 0:
        gain = 1 - float(values[top]) / float(demand.of_envelope[k].max())
    return LayerCheck(
        layer,
        float(values[top]),
        float(values[clear].max()) if clear.any() else float(values[top]),
        m_Rd[layer],
        (float(plan[top, 0]), float(plan[top, 1])),
        numbered.position(number),
        dict(demand.states[int(demand.state[k, top])]),
        required,
        gain,
        float(demand.least[k, top]),
    )


def _span(deck: Deck, main: Direction) -> float:
    """Longest distance of neighbouring lines that the main bars span [m]."""
    if not deck.plan.is_grid:
        low, high = deck.plan.outline.min(axis=0), deck.plan.outline.max(axis=0)
        return float((high - low)[0 if main == "x" else 1])
    places = deck.stations if main == "x" else deck.offsets
    return float(np.diff(places).max())


def _shear_peaks(
    sections: Sections, demand: ShearDemand | None, numbered: Numbered
) -> tuple[ShearPeak, ...]:
    if demand is None:
        return ()
    found = []
    for w, width in enumerate(demand.widths):
        k = int(demand.utilisation[w].argmax())
        number = int(demand.at[w, k])
        at = sections.points[k]
        found.append(
            ShearPeak(
                width,
                float(demand.utilisation[w, k]),
                float(demand.v[w, k]),
                float(demand.v_Rd[w, k]),
                sections.names[sections.line[k]],
                int(sections.side[k]),
                (float(at[0]), float(at[1])),
                numbered.position(number),
            )
        )
    return tuple(found)

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
from pipelines.bars.checks.shear_remedies import Resolved, ShearCheck, shear_remedies
from pipelines.bars.checks.wheel_punching import WheelPunching, wheel_punching
from pipelines.bars.demand.control_sections import (
    Sections,
    ShearDemand,
    ShearTracker,
    tension,
)
from pipelines.bars.demand.governing_index import GoverningIndex
from pipelines.bars.demand.judged_under import JudgedUnder, judged_under
from pipelines.bars.demand.membrane import MembraneForces
from pipelines.bars.demand.moments import LAYER_ROWS, Demand
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.wood_armer import skew_components
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis, Reinforcement
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import clear_of_widths
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.combinations import LimitState
from pipelines.standards.actions.load_models import counts_under, for_bars
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
from pipelines.standards.resistance.shear import NOT_ASKED
from pipelines.standards.sources import Source
from pipelines.traffic.arrangements import Arrangement
from plate.arrays import Floats


@dataclass(frozen=True, kw_only=True)
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
    position: Arrangement | None
    state: Mapping[Action, float]
    required: float
    gain: float | None
    least: float

    @property
    def utilisation(self) -> float:
        return self.m_Ed / self.m_Rd


@dataclass(frozen=True, kw_only=True)
class ShearPeak:
    """The worst sample for one width. side : -1 before, 1 after the line."""

    width: float
    utilisation: float
    v: float
    v_Rd: float
    line: str
    side: int
    at: tuple[float, float]
    position: Arrangement | None


@dataclass(frozen=True, kw_only=True)
class StandardDesign:
    """Everything for one standard.

    under : the traffic that the bars are judged under. demands : by limit state.
    utilisation : (4, n_point) of bending, rows as LAYER_ROWS.
    shear : worst sample for each width, in the order of the widths; design_width : the one judged.
    reduced : the same with loads near supports reduced, None where the standard has no such rule.
    order : per face what the other layer order costs. outermost : per face the direction whose
    layer is fuller and should lie outermost. choice : per face, None where no set does; empty
    without [bar_choice].
    """

    basis: DesignBasis
    under: JudgedUnder
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
    def traffic(self) -> str:
        """What the bars are judged under, in words."""
        return self.under.words

    @property
    def design_shear(self) -> ShearPeak | None:
        return next((p for p in self.shear if p.width == self.design_width), None)

    @property
    def shear_not_asked(self) -> Source | None:
        """Where the standard leaves out the shear of such decks; None where it is asked for."""
        return NOT_ASKED.get(self.basis.materials.standard)


@dataclass(frozen=True, kw_only=True)
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


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """The deck and all that was found of its traffic."""

    deck: Deck
    solved: SolvedDeck
    alone: TrafficEnvelope | None
    models: Sequence[TrafficEnvelope]
    watch: DesignWatch
    numbered: GoverningIndex


def design(solved: SolvedDeck, traffic: Sequence[TrafficEnvelope], watch: DesignWatch) -> Design:
    """The design of a deck with bars, from what the watch has seen of vehicles that drive alone
    and from the load models."""
    deck = solved.deck
    reinforcement = deck.reinforcement
    assert reinforcement is not None
    alone = next((envelope for envelope in traffic if not envelope.whole), None)
    models = [envelope for envelope in traffic if envelope.whole]
    numbered = GoverningIndex()
    if alone is not None:
        numbered.add(alone)  # first: the watch has numbered its load positions so
    watch.take_models(numbered, models)
    seen = _Seen(
        deck=deck, solved=solved, alone=alone, models=models, watch=watch, numbered=numbered
    )
    demands = watch.moments.demands()
    resolved: Resolved = {}
    grid = raster(solved)
    found = []
    for basis, tracker in zip(reinforcement.bases, watch.shears, strict=True):
        mine = {
            d.combination.limit_state: d
            for d in demands
            if d.combination.standard == basis.materials.standard
        }
        found.append(_standard(seen, basis, mine, tracker, resolved, grid))
    combined = deck.combined_cases
    left_out = tuple(case.name for case in deck.cases if case.name not in combined)
    return Design(
        reinforcement=reinforcement,
        standards=tuple(found),
        sections=watch.sections,
        left_out=left_out,
        membrane=watch.membrane,
    )


def _standard(
    seen: _Seen,
    basis: DesignBasis,
    demands: Mapping[LimitState, Demand],
    tracker: ShearTracker,
    resolved: Resolved,
    grid: Raster,
) -> StandardDesign:
    deck, solved, watch, numbered = seen.deck, seen.solved, seen.watch, seen.numbered
    reinforcement = deck.reinforcement
    assert reinforcement is not None
    mat, bars = basis.materials, reinforcement.bars
    models = [m for m in seen.models if for_bars(m.model, mat.standard)]
    runs = () if seen.alone is None else seen.alone.runs
    own = [run for run in runs if counts_under(run.vehicle.name, mat.standard)]
    plan = solved.recovery.points.plan
    ultimate = demands["ULS"]
    m_Rd = resistances(bars, mat)
    crack = demands.get(basis.crack_combination, demands["characteristic"])
    characteristic, membrane = demands["characteristic"], watch.membrane
    peaks = Peaks(
        ultimate=_largest(ultimate), characteristic=_largest(characteristic), crack=_largest(crack)
    )
    if membrane is not None:
        pulls = (
            _pull(d, membrane.characteristic, reinforcement.angle) for d in (characteristic, crack)
        )
        peaks = replace(peaks, arms=membrane.arms, pull=next(pulls), crack_pull=next(pulls))
    steel = steel_needed(bars, mat, peaks)
    clear = clear_of_widths(deck, plan)
    layers = tuple(
        _layer(k, ultimate, m_Rd, plan[watch.read_at[k]], clear, numbered, steel[LAYER_ROWS[k]])
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
            sections=watch.sections,
            sample=sample,
            position=judged.position,
            held=None if held is None else held.loads,
            forces=shear_demand.forces[w, :, sample],
            n=float(tension(shear_demand.forces[w], shear_demand.imposed)[sample]),
        )
        fixes = shear_remedies(
            deck, bars, basis, ultimate.combination, check, resolved, solved.models
        )
    beams = None if watch.beams is None else watch.beams.forces(mat.standard)
    by_layer = {layer: ultimate.layer(layer) for layer in LAYERS}
    survey = reinforcement.survey
    return StandardDesign(
        basis=basis,
        under=judged_under(models, runs, mat.standard),
        demands=demands,
        layers=layers,
        utilisation=np.stack([ultimate.values[k] / m_Rd[LAYER_ROWS[k]] for k in range(4)]),
        rows=(
            *rule_rows(bars, basis, peaks, {d: _span(deck, d) for d in DIRECTIONS}, steel),
            *fatigue_rows(solved, watch, mat, demands),
            *collision_rows(solved, mat, watch.dead),
            *beam_checks(deck, reinforcement.beams, mat, ultimate.combination, beams),
        ),
        order={face: order_cost(bars, face, mat) for face in FACES},
        outermost={face: _outermost(peaks, face) for face in FACES},
        choice={}
        if reinforcement.choice is None
        else {face: choose_mat(bars, face, basis, peaks, reinforcement.choice) for face in FACES},
        shear=shear,
        shear_demand=shear_demand,
        design_width=watch.design_width,
        reduced=None
        if deck.traffic is None
        else reduced_shear(solved, runs, numbered, tracker, watch.design_width),
        remedies=fixes,
        punching=wheel_punching(deck, own, models, bars, mat, ultimate.combination.traffic),
        zones=zones(grid, bars, mat, ultimate),
        through=bottom_through(deck, plan, ultimate),
        panels=() if survey is None else panel_checks(deck.plan, survey, bars, mat, plan, by_layer),
    )


def _largest(demand: Demand) -> dict[Layer, float]:
    return {layer: float(demand.layer(layer).max()) for layer in LAYERS}


def _pull(demand: Demand, imposed: Floats | None, angle: float) -> dict[Layer, float]:
    """Imposed tension [N/m] that is in the largest value of each layer."""
    if imposed is None:
        return {}
    a, b, t = skew_components(imposed, angle)
    found = {}
    for k, layer in enumerate(LAYER_ROWS):
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
    numbered: GoverningIndex,
    required: float,
) -> LayerCheck:
    values, layer = demand.values[k], LAYER_ROWS[k]
    top = int(values.argmax())
    number = int(demand.at[k, top])
    gain = None
    if demand.of_envelope is not None and demand.of_envelope[k].max() > 0:
        gain = 1 - float(values[top]) / float(demand.of_envelope[k].max())
    return LayerCheck(
        layer=layer,
        m_Ed=float(values[top]),
        m_face=float(values[clear].max()) if clear.any() else float(values[top]),
        m_Rd=m_Rd[layer],
        at=(float(plan[top, 0]), float(plan[top, 1])),
        position=numbered.position(number),
        state=dict(demand.states[int(demand.state[k, top])]),
        required=required,
        gain=gain,
        least=float(demand.least[k, top]),
    )


def _span(deck: Deck, main: Direction) -> float:
    """Longest distance of neighbouring lines that the main bars span [m]."""
    if not deck.plan.is_grid:
        low, high = deck.plan.outline.min(axis=0), deck.plan.outline.max(axis=0)
        return float((high - low)[0 if main == "x" else 1])
    places = deck.stations if main == "x" else deck.offsets
    return float(np.diff(places).max())


def _shear_peaks(
    sections: Sections, demand: ShearDemand | None, numbered: GoverningIndex
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
                width=width,
                utilisation=float(demand.utilisation[w, k]),
                v=float(demand.v[w, k]),
                v_Rd=float(demand.v_Rd[w, k]),
                line=sections.names[sections.line[k]],
                side=int(sections.side[k]),
                at=(float(at[0]), float(at[1])),
                position=numbered.position(number),
            )
        )
    return tuple(found)

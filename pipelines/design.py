"""From the load positions to bars: demands, checks, remedies and as-built panels of each standard.

`DesignWatch` looks at every block of load positions as it is streamed; `design` makes of what it
has seen the results that report and summary show.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipelines.bars import DIRECTIONS, FACES, LAYERS, Direction, Face, Layer, Mat
from pipelines.bending import OrderCost, order_cost
from pipelines.combinations import Combination, LimitState, combined_cases
from pipelines.deck import Action, Deck, DesignBasis, Reinforcement
from pipelines.designchecks import Peaks, choose_mat, resistances, rule_rows, steel_needed
from pipelines.designenvelope import (
    ROWS,
    Demand,
    MomentEnvelopes,
    combinations_of,
    permanent_fields,
)
from pipelines.detailing import Raster, ThroughSteel, Zones, bottom_through, raster, zones
from pipelines.detailing_rules import Row
from pipelines.envelopes import Envelopes, LoadPosition
from pipelines.panelchecks import PanelCheck, panel_checks
from pipelines.remedies import Remedy
from pipelines.responses import Response, Solver
from pipelines.shearremedies import WIDTH_IN_DEPTHS, ShearCheck, Solved, shear_remedies
from pipelines.shearsections import (
    FORCES,
    Sections,
    ShearDemand,
    ShearTracker,
    shear_sections,
)
from pipelines.wheelpunching import WheelPunching, wheel_punching

Floats = NDArray[np.float64]

# Widths that shear is averaged over, in effective depths, where the deck file states none.
SWEEP = (0.0, 2.0, 4.0, 6.0, 8.0)
MOMENTS = slice(1, 4)


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
    position: LoadPosition | None
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
    position: LoadPosition | None


@dataclass(frozen=True)
class StandardDesign:
    """Everything for one standard.

    demands : by limit state. utilisation : (4, n_point) of bending, rows as designenvelope.ROWS.
    shear : worst sample for each width, in the order of the widths; design_width : the one judged.
    order : per face what the other layer order costs. outermost : per face the direction whose
    layer is fuller and should lie outermost. choice : per face, None where no set does; empty
    without [bar_choice].
    """

    basis: DesignBasis
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

    sections : of shear; left_out : static cases that no combination contains.
    """

    reinforcement: Reinforcement
    standards: tuple[StandardDesign, ...]
    sections: Sections
    left_out: tuple[str, ...]


class DesignWatch:
    """Observer of the streamed load positions for a deck with bars.

    cases : responses of the static cases, by name.
    """

    def __init__(self, deck: Deck, solver: Solver, cases: Mapping[str, Response]) -> None:
        assert deck.reinforcement is not None
        one = deck.reinforcement
        n = solver.recovery.points.n_points
        none: dict[Action, Floats] = {"self-weight": np.zeros((5, n))}
        permanent = permanent_fields(deck, cases, FORCES) or none
        self.combinations = combinations_of(deck)
        self.moments = MomentEnvelopes(
            self.combinations, {a: f[:3] for a, f in permanent.items()}, one.angle
        )
        depth = min(one.bars.effective_depth(layer) for layer in LAYERS if layer[0] == "bottom")
        self.design_width = round(WIDTH_IN_DEPTHS * depth, 3)
        widths = [round(k * depth, 3) for k in SWEEP]
        if one.shear_widths is not None:
            widths = [*one.shear_widths, self.design_width]
        self.sections = shear_sections(deck, solver, depth)
        self.shears = [
            ShearTracker(
                self.sections,
                sorted(set(widths)),
                self._ultimate(basis),
                permanent,
                one.bars,
                basis.materials,
                basis.aggregate,
            )
            for basis in one.bases
        ]

    def _ultimate(self, basis: DesignBasis) -> Combination:
        return next(
            c
            for c in self.combinations
            if c.standard == basis.materials.standard and c.limit_state == "ULS"
        )

    def __call__(self, first: int, response: Response) -> None:
        """Take in a block of load positions."""
        self.moments(first, response)
        if len(self.sections.points):
            for tracker in self.shears:
                tracker(first, response)


def design(deck: Deck, solver: Solver, envelopes: Envelopes | None, watch: DesignWatch) -> Design:
    """The design of a deck with bars from what the watch has seen."""
    one = deck.reinforcement
    assert one is not None
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
        found.append(_standard(deck, solver, envelopes, watch, basis, mine, tracker, solved, grid))
    combined = combined_cases(deck)
    left_out = tuple(case.name for case in deck.cases if case.name not in combined)
    return Design(one, tuple(found), watch.sections, left_out)


def _standard(
    deck: Deck,
    solver: Solver,
    envelopes: Envelopes | None,
    watch: DesignWatch,
    basis: DesignBasis,
    demands: Mapping[LimitState, Demand],
    tracker: ShearTracker,
    solved: Solved,
    grid: Raster,
) -> StandardDesign:
    one = deck.reinforcement
    assert one is not None
    mat, bars = basis.materials, one.bars
    plan = solver.recovery.points.plan
    ultimate = demands["ULS"]
    m_Rd = resistances(bars, mat)
    crack = demands.get(basis.crack_combination, demands["characteristic"])
    peaks = Peaks(_largest(ultimate), _largest(demands["characteristic"]), _largest(crack))
    steel = steel_needed(bars, mat, peaks)
    clear = _clear_of_widths(deck, plan)
    layers = tuple(
        _layer(k, ultimate, m_Rd, plan, clear, envelopes, steel[ROWS[k]]) for k in range(4)
    )
    shear_demand = tracker.demand() if len(watch.sections.points) else None
    shear = _shear_peaks(watch.sections, shear_demand, envelopes)
    judged = next((p for p in shear if p.width == watch.design_width), None)
    fixes: tuple[Remedy, ...] = ()
    if judged is not None and judged.utilisation > 1 and shear_demand is not None:
        w = shear_demand.widths.index(judged.width)
        sample = int(shear_demand.utilisation[w].argmax())
        check = ShearCheck(
            watch.sections, sample, judged.position, shear_demand.forces[w, :, sample]
        )
        fixes = shear_remedies(deck, bars, basis, ultimate.combination, check, solved)
    by_layer = {layer: ultimate.layer(layer) for layer in LAYERS}
    survey = one.survey
    return StandardDesign(
        basis,
        demands,
        layers,
        np.stack([ultimate.values[k] / m_Rd[ROWS[k]] for k in range(4)]),
        rule_rows(bars, basis, peaks, {d: _span(deck, d) for d in DIRECTIONS}, steel),
        {face: order_cost(bars, face, mat) for face in FACES},
        {face: _outermost(peaks, face) for face in FACES},
        {}
        if one.choice is None
        else {face: choose_mat(bars, face, basis, peaks, one.choice) for face in FACES},
        shear,
        shear_demand,
        watch.design_width,
        fixes,
        None
        if envelopes is None
        else wheel_punching(deck, envelopes.runs, bars, mat, ultimate.combination.traffic),
        zones(grid, bars, mat, ultimate),
        bottom_through(deck, plan, ultimate),
        () if survey is None else panel_checks(deck.plan, survey, bars, mat, plan, by_layer),
    )


def _largest(demand: Demand) -> dict[Layer, float]:
    return {layer: float(demand.layer(layer).max()) for layer in LAYERS}


def _outermost(peaks: Peaks, face: Face) -> Direction:
    """The direction with the larger ultimate moment at the face."""
    return "x" if peaks.ultimate[face, "x"] >= peaks.ultimate[face, "y"] else "y"


def _layer(
    k: int,
    demand: Demand,
    m_Rd: Mapping[Layer, float],
    plan: Floats,
    clear: NDArray[np.bool_],
    envelopes: Envelopes | None,
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
        None if envelopes is None or number < 0 else envelopes.position(number),
        dict(demand.states[int(demand.state[k, top])]),
        required,
        gain,
        float(demand.least[k, top]),
    )


def _clear_of_widths(deck: Deck, points: Floats) -> NDArray[np.bool_]:
    """Points (n,) not over the width of a supporting line."""
    clear = np.ones(len(points), dtype=bool)
    for line in deck.lines:
        path = deck.plan.lines[line.name].full
        for a, b in pairwise(path):
            along = b - a
            share = np.clip((points - a) @ along / (along @ along), 0.0, 1.0)
            gap = np.linalg.norm(points - a - share[:, None] * along, axis=1)
            clear &= gap >= 0.5 * line.width - 1e-9
    return clear


def _span(deck: Deck, main: Direction) -> float:
    """Longest distance of neighbouring lines that the main bars span [m]."""
    if not deck.plan.is_grid:
        low, high = deck.plan.outline.min(axis=0), deck.plan.outline.max(axis=0)
        return float((high - low)[0 if main == "x" else 1])
    places = deck.stations if main == "x" else deck.offsets
    return float(np.diff(places).max())


def _shear_peaks(
    sections: Sections, demand: ShearDemand | None, envelopes: Envelopes | None
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
                None if envelopes is None or number < 0 else envelopes.position(number),
            )
        )
    return tuple(found)

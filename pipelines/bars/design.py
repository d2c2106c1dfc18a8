"""From the load positions to bars: demands, checks, remedies and as-built panels of each standard.

`designwatch` looks at every block of load positions as it is streamed; `design` makes of what it
has seen the results that report and summary show.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields

import numpy as np

from pipelines.bars.checks.as_built import PanelCheck, panel_checks
from pipelines.bars.checks.bending_and_service import (
    Peaks,
    choose_mat,
    mat_rows,
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
from pipelines.bars.checks.fatigue import FatigueDemand, fatigue_demand, fatigue_rows
from pipelines.bars.checks.part import (
    Part,
    PartChecks,
    Seen,
    StandardDemand,
    part_checks,
    part_peaks,
)
from pipelines.bars.checks.remedies import Remedy
from pipelines.bars.checks.shear_remedies import Resolved, ShearCheck, shear_remedies
from pipelines.bars.checks.standing_wheels import StandingWheels
from pipelines.bars.demand.control_sections import Sections
from pipelines.bars.demand.governing_index import GoverningIndex
from pipelines.bars.demand.membrane import MembraneForces
from pipelines.bars.demand.moments import LAYER_ROWS, Demand
from pipelines.bars.demand.observer import DesignWatch, Held
from pipelines.bars.demand.shear import ShearTracker, first_highest, tension
from pipelines.bars.drawn_parts import DrawnPart
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis, Reinforcement
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.combinations import Combination, LimitState
from pipelines.standards.resistance.bars import DIRECTIONS, FACES, Direction, Face, Mat
from pipelines.standards.resistance.bending import OrderCost, order_cost
from pipelines.system.machine import processors
from plate.arrays import Floats


@dataclass(frozen=True, kw_only=True)
class AddedChecks(PartChecks):
    """Checks of a part of the slab with added bars, as drawn."""

    name: str


@dataclass(frozen=True, kw_only=True)
class StandardDesign(PartChecks):
    """Everything for one standard: the slab as drawn, and its panels as built.

    What it has as a part is of the mats outside added bars, or where they lie nowhere alone, of the
    first part with these; added : of the others. anchored : bond length of each added bars [m].
    demands : by limit state; fatigue : what that is judged by. utilisation : (4, n_point) of
    bending, rows as LAYER_ROWS.
    order : per face what the other layer order costs. outermost : per face the direction whose
    layer is fuller and should lie outermost. choice : per face, None where no set does; empty
    without [bar_choice].
    """

    demands: Mapping[LimitState, Demand]
    fatigue: FatigueDemand
    utilisation: Floats
    order: Mapping[Face, tuple[OrderCost, OrderCost]]
    outermost: Mapping[Face, Direction]
    choice: Mapping[Face, Mat | None]
    remedies: tuple[Remedy, ...]
    zones: Zones
    through: tuple[ThroughSteel, ...]
    added: tuple[AddedChecks, ...]
    anchored: tuple[float, ...]
    panels: tuple[PanelCheck, ...]

    @property
    def drawn(self) -> tuple[PartChecks, ...]:
        """All parts of the slab as drawn."""
        return (self, *self.added)


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


def design(
    solved: SolvedDeck,
    traffic: Sequence[TrafficEnvelope],
    watch: DesignWatch,
    workers: int | None = None,
    held: Held | None = None,
) -> Design:
    """The design of a deck with bars, from what the watch has seen of vehicles that drive alone
    and from the load models.

    workers : threads, one for each standard at most; default one per processor that may be used.
    held : what may govern shear under the load models; default what the watch finds.
    """
    deck = solved.deck
    reinforcement = deck.required_reinforcement
    alone = next((envelope for envelope in traffic if not envelope.whole), None)
    models = [envelope for envelope in traffic if envelope.whole]
    numbered = GoverningIndex()
    if alone is not None:
        numbered.add(alone)  # first: the watch has numbered its load positions so
    watch.take_models(numbered, models, watch.held_under(models) if held is None else held)
    seen = Seen(
        solved=solved,
        alone=alone,
        models=models,
        watch=watch,
        numbered=numbered,
        standing=StandingWheels(deck),
    )
    demands = watch.moments.demands()
    resolved: Resolved = {}
    grid = raster(solved)

    def judged(number: int) -> StandardDesign:
        basis = reinforcement.bases[number]
        mine = {
            d.combination.limit_state: d
            for d in demands
            if d.combination.standard == basis.materials.standard
        }
        return _standard(seen, basis, mine, number, resolved, grid)

    with ThreadPoolExecutor(workers or processors()) as pool:
        found = list(pool.map(judged, range(len(reinforcement.bases))))
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
    seen: Seen,
    basis: DesignBasis,
    moments: Mapping[LimitState, Demand],
    number: int,
    resolved: Resolved,
    grid: Raster,
) -> StandardDesign:
    """number : of the standard among those of the deck."""
    deck, solved, watch = seen.deck, seen.solved, seen.watch
    reinforcement, drawn = deck.required_reinforcement, watch.drawn[number]
    mats, *others = drawn.parts
    mat, bars = basis.materials, mats.bars
    demand = StandardDemand(
        moments=moments, fatigue=fatigue_demand(solved, watch, mat.factors, moments)
    )
    ultimate, everywhere = moments["ULS"], part_peaks(seen, demand, Part(basis=basis, bars=bars))
    whole = Part(basis=basis, bars=bars, holds=mats.holds if others else None)
    peaks = part_peaks(seen, demand, whole)
    beams = None if watch.beams is None else watch.beams.forces(mat.standard)
    plan = solved.recovery.points.plan
    rows = (
        *rule_rows(
            bars,
            basis,
            peaks,
            {d: _span(deck, d) for d in DIRECTIONS},
            steel_needed(bars, mat, everywhere),
            {
                d: drawn.bars_at(plan[int(ultimate.layer(("bottom", d)).argmax())])
                for d in DIRECTIONS
            },
        ),
        *fatigue_rows(demand.fatigue, bars, mat, whole.points(plan)),
        *collision_rows(solved, mat, watch.dead),
        *beam_checks(deck, reinforcement.beams, mat, ultimate.combination, beams),
    )
    found = part_checks(seen, demand, whole, watch.shears[number], peaks, rows)
    own = {field.name: getattr(found, field.name) for field in fields(found)}
    m_Rd = drawn.at(plan, lambda bars: resistances(bars, mat))
    return StandardDesign(
        **own,
        demands=moments,
        fatigue=demand.fatigue,
        utilisation=np.stack(
            [ultimate.values[k] / m_Rd[layer] for k, layer in enumerate(LAYER_ROWS)]
        ),
        order={face: order_cost(reinforcement.bars, face, mat) for face in FACES},
        outermost={face: _outermost(everywhere, face) for face in FACES},
        choice={}
        if reinforcement.choice is None
        else {
            face: choose_mat(reinforcement.bars, face, basis, everywhere, reinforcement.choice)
            for face in FACES
        },
        remedies=_remedies(seen, found, ultimate.combination, resolved, watch.shears[number]),
        zones=zones(grid, drawn, mat, ultimate),
        through=bottom_through(deck, plan, ultimate),
        added=tuple(
            _added(seen, demand, basis, part, tracker)
            for part, tracker in zip(others, watch.part_shears[number], strict=True)
        ),
        anchored=drawn.anchored,
        panels=panel_checks(seen, demand, basis, drawn, watch.panel_shears[number]),
    )


def _added(
    seen: Seen,
    demand: StandardDemand,
    basis: DesignBasis,
    drawn: DrawnPart,
    tracker: ShearTracker,
) -> AddedChecks:
    """Checks of a part with added bars: what does not depend on them is judged with the mats."""
    part = Part(basis=basis, bars=drawn.bars, holds=drawn.holds)
    peaks = part_peaks(seen, demand, part)
    where = part.points(seen.solved.recovery.points.plan)
    rows = [row for face in FACES for row in mat_rows(drawn.bars, face, basis, peaks)]
    rows += fatigue_rows(demand.fatigue, drawn.bars, basis.materials, where)
    checks = part_checks(seen, demand, part, tracker, peaks, tuple(rows))
    own = {field.name: getattr(checks, field.name) for field in fields(checks)}
    return AddedChecks(**own, name=drawn.name)


def _remedies(
    seen: Seen,
    found: PartChecks,
    combination: Combination,
    resolved: Resolved,
    tracker: ShearTracker,
) -> tuple[Remedy, ...]:
    """What alone would make the shear pass; nothing where it does."""
    judged, demand = found.design_shear, found.shear_demand
    if judged is None or judged.utilisation <= 1 or demand is None:
        return ()
    w = demand.widths.index(judged.width)
    sample = first_highest(demand.utilisation[w])
    held = seen.numbered.held(int(demand.at[w, sample]))
    check = ShearCheck(
        sections=tracker.sections,
        sample=sample,
        position=judged.position,
        held=None if held is None else held.loads,
        forces=demand.forces[w, :, sample],
        n=float(tension(demand.forces[w], demand.imposed)[sample]),
    )
    return shear_remedies(
        seen.deck, found.bars, found.basis, combination, check, resolved, seen.solved.models
    )


def _outermost(peaks: Peaks, face: Face) -> Direction:
    """The direction with the larger ultimate moment at the face."""
    return "x" if peaks.ultimate[face, "x"] >= peaks.ultimate[face, "y"] else "y"


def _span(deck: Deck, main: Direction) -> float:
    """Longest distance of neighbouring lines that the main bars span [m]."""
    if not deck.plan.is_grid:
        low, high = deck.plan.outline.min(axis=0), deck.plan.outline.max(axis=0)
        return float((high - low)[0 if main == "x" else 1])
    places = deck.stations if main == "x" else deck.offsets
    return float(np.diff(places).max())

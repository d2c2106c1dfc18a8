"""The bars of a part of the slab judged by one standard: of the whole slab as drawn, or of a panel
as built. The same functions judge both; what differs is the bars, the concrete and the places.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.checks.bending_and_service import Peaks, resistances, steel_needed
from pipelines.bars.checks.fatigue import FatigueDemand
from pipelines.bars.checks.near_supports import ReducedShear, reduced_shear
from pipelines.bars.checks.own_checks import own_shear_rows
from pipelines.bars.checks.standing_wheels import StandingWheels
from pipelines.bars.checks.wheel_punching import WheelPunching, farthest_reach, wheel_punching
from pipelines.bars.demand.control_sections import Sections
from pipelines.bars.demand.governing_index import GoverningIndex
from pipelines.bars.demand.judged_under import JudgedUnder, judged_under
from pipelines.bars.demand.membrane import MembraneForces
from pipelines.bars.demand.moments import LAYER_ROWS, Demand
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.shear import ShearDemand, ShearTracker, first_highest
from pipelines.bars.demand.wood_armer import skew_components
from pipelines.bars.drawn_parts import Holds
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import DesignBasis
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.combinations import LimitState
from pipelines.standards.actions.load_models import counts_under, for_bars
from pipelines.standards.actions.loads import Action
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import LAYERS, Layer, SlabBars
from pipelines.standards.resistance.bending import utilisation
from pipelines.standards.resistance.shear import NOT_ASKED
from pipelines.standards.sources import Source
from pipelines.traffic.arrangements import Arrangement
from plate.arrays import Floats


@dataclass(frozen=True, kw_only=True)
class Seen:
    """The solved deck and all that was found of its traffic."""

    solved: SolvedDeck
    alone: TrafficEnvelope | None
    models: Sequence[TrafficEnvelope]
    watch: DesignWatch
    numbered: GoverningIndex
    standing: StandingWheels

    @property
    def deck(self) -> Deck:
        return self.solved.deck


@dataclass(frozen=True, kw_only=True)
class StandardDemand:
    """What bars anywhere must resist by one standard. moments : by limit state."""

    moments: Mapping[LimitState, Demand]
    fatigue: FatigueDemand


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part of the slab with its bars. holds : None = all of the slab."""

    basis: DesignBasis
    bars: SlabBars
    holds: Holds | None = None

    def points(self, plan: Floats) -> NDArray[np.bool_]:
        """Which plan points (n, 2) lie in it."""
        return np.ones(len(plan), dtype=bool) if self.holds is None else self.holds(plan)


@dataclass(frozen=True, kw_only=True)
class LayerCheck:
    """Bending of one layer at the ultimate limit state.

    m_Ed, m_Rd : [N m/m] at the worst place `at` [m]; m_centre, m_face : largest with the centre
    lines of supports, and only where hogging over them counts. number, position : of the governing
    traffic; state : factors of the permanent actions. required : steel [m2/m]. gain : share by
    which m_Ed is below the shortcut's largest, None for skew bars. least : Wood and Armer's full
    rule at the governing position [N m/m].
    """

    layer: Layer
    m_Ed: float
    m_centre: float
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
        return float(utilisation(self.m_Ed, self.m_Rd))


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
class PartChecks:
    """What was found of a part.

    under : the traffic that the bars are judged under. peaks : what the layers' rows were formed
    for. layers : bending, rows as LAYER_ROWS; none where no result point lies in the part.
    shear : worst sample for each width, in the order of the widths; design_width : the one judged.
    reduced : the same with loads near supports reduced, None where the standard has no such rule.
    """

    basis: DesignBasis
    bars: SlabBars
    under: JudgedUnder
    peaks: Peaks
    layers: tuple[LayerCheck, ...]
    rows: tuple[Row, ...]
    shear: tuple[ShearPeak, ...]
    shear_demand: ShearDemand | None
    design_width: float
    reduced: ReducedShear | None
    punching: WheelPunching | None

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


def part_peaks(seen: Seen, demand: StandardDemand, part: Part) -> Peaks:
    """The largest design moments in a part."""
    where = part.points(seen.solved.recovery.points.plan)
    watch = seen.watch
    return peaks_at(demand.moments, part.basis, where, watch.membrane, watch.reinforcement.angle)


def peaks_at(
    moments: Mapping[LimitState, Demand],
    basis: DesignBasis,
    where: NDArray[np.bool_],
    membrane: MembraneForces | None,
    angle: float,
) -> Peaks:
    """The largest design moments at some result points, by limit state of a standard's moments;
    angle : from x to the second bars [rad]."""
    characteristic = moments["characteristic"]
    crack = moments.get(basis.crack_combination, characteristic)
    peaks = Peaks(
        ultimate=_largest(moments["ULS"], where),
        characteristic=_largest(characteristic, where),
        crack=_largest(crack, where),
    )
    if membrane is None:
        return peaks
    imposed = membrane.characteristic
    pull, crack_pull = (_pull(d, imposed, angle, where) for d in (characteristic, crack))
    return replace(peaks, arms=membrane.arms, pull=pull, crack_pull=crack_pull)


def part_checks(
    seen: Seen,
    demand: StandardDemand,
    part: Part,
    tracker: ShearTracker,
    peaks: Peaks,
    rows: tuple[Row, ...],
) -> PartChecks:
    """Bending, shear and punching of a part, beside the rows of its rules.

    tracker : of the part's shear; of a panel it has the judged width alone.
    """
    deck, solved, basis, bars = seen.deck, seen.solved, part.basis, part.bars
    mat = basis.materials
    models = [m for m in seen.models if for_bars(m.model, mat.standard)]
    runs = () if seen.alone is None else seen.alone.runs
    own = [run for run in runs if counts_under(run.vehicle.name, mat.standard)]
    width = tracker.widths[0] if len(tracker.widths) == 1 else seen.watch.design_width
    shear_demand = tracker.demand() if tracker.sections.judged.any() else None
    reduced = None
    if deck.traffic is not None:
        reduced = reduced_shear(solved, runs, seen.numbered, tracker, width)
    ultimate = demand.moments["ULS"]
    if shear_demand is not None:
        rows = (*rows, *own_shear_rows(deck, bars, basis, tracker.sections, shear_demand, width))
    return PartChecks(
        basis=basis,
        bars=bars,
        under=judged_under(models, runs, mat.standard),
        peaks=peaks,
        layers=_layers(seen, ultimate, part, peaks),
        rows=rows,
        shear=_shear_peaks(tracker.sections, shear_demand, seen.numbered),
        shear_demand=shear_demand,
        design_width=width,
        reduced=reduced,
        punching=wheel_punching(
            seen.standing,
            own,
            models,
            bars,
            mat,
            ultimate.combination.traffic,
            part.holds,
            # which wheels act together is asked once
            farthest_reach(deck, mat),
        ),
    )


def _largest(demand: Demand, where: NDArray[np.bool_]) -> dict[Layer, float]:
    return {layer: float(demand.layer(layer)[where].max(initial=0.0)) for layer in LAYERS}


def _pull(
    demand: Demand, imposed: Floats | None, angle: float, where: NDArray[np.bool_]
) -> dict[Layer, float]:
    """Imposed tension [N/m] that is in the largest value of each layer."""
    if imposed is None or not where.any():
        return {}
    a, b, t = skew_components(imposed, angle)
    found = {}
    for k, layer in enumerate(LAYER_ROWS):
        top = int(np.where(where, demand.values[k], -1.0).argmax())
        acts = demand.imposed[int(demand.state[k, top])]
        n = (a if layer[1] == "x" else b)[top] + abs(t[top])
        found[layer] = max(float(n), 0.0) if acts else 0.0
    return found


def _layers(seen: Seen, demand: Demand, part: Part, peaks: Peaks) -> tuple[LayerCheck, ...]:
    plan = seen.solved.recovery.points.plan
    where = part.points(plan)
    if not where.any():
        return ()
    mat = part.basis.materials
    m_Rd, steel = resistances(part.bars, mat), steel_needed(part.bars, mat, peaks)
    found = []
    for k, layer in enumerate(LAYER_ROWS):
        values = demand.values[k]
        top = int(np.where(where, values, -1.0).argmax())
        at = plan[seen.watch.read_at[k, top]]
        gain = None
        if demand.of_envelope is not None and demand.of_envelope[k][where].max() > 0:
            most = float(demand.of_envelope[k][where].max())
            gain = max(1.0 - float(values[top]) / most, 0.0)
        found.append(
            LayerCheck(
                layer=layer,
                m_Ed=float(values[top]),
                m_centre=float(demand.over_lines[k, where].max()),
                m_face=float(demand.up_to_faces[k, where].max()),
                m_Rd=m_Rd[layer],
                at=(float(at[0]), float(at[1])),
                position=seen.numbered.position(int(demand.at[k, top])),
                state=dict(demand.states[int(demand.state[k, top])]),
                required=steel[layer],
                gain=gain,
                least=float(demand.least[k, top]),
            )
        )
    return tuple(found)


def _shear_peaks(
    sections: Sections, demand: ShearDemand | None, numbered: GoverningIndex
) -> tuple[ShearPeak, ...]:
    if demand is None:
        return ()
    found = []
    for w, width in enumerate(demand.widths):
        used = np.where(sections.judged, demand.utilisation[w], -1.0)
        k = first_highest(used)
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

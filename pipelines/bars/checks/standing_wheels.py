"""Wheels of load positions as they stand on the slab: what of each lies on it, how far it is from
free edges, and whether it stands clear of the supporting lines.

None of this depends on bars or standard: one deck's runs are looked at once for all of them.
"""

from dataclasses import dataclass, field, replace
from threading import Lock

import numpy as np
import shapely
from numpy.typing import NDArray

from pipelines.bars.checks.free_edges import FreeEdges, OnSlab, on_slab
from pipelines.bars.checks.wheel_frames import Turn, first_wheel
from pipelines.bars.checks.wheel_groups import Beside, neighbours
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.traffic.positions import LoadPositions, Size
from plate.arrays import Floats
from plate.geometry.curves import sampled
from plate.geometry.outline import FINE
from plate.geometry.prepared import Prepared

# What is left of a wheel at the slab's edge is not looked at below this side [m].
LEAST_SIDE = 0.02


@dataclass(frozen=True, eq=False, kw_only=True)
class Standing:
    """Wheels of a run at all its positions, n of them at m wheels each.

    corners : (n m, 4, 2) of the loaded areas in plan; on : what of them lies on the slab, in the
    frames `turn` of the vehicle's first wheel. load : (n, m) without factors, of what lies there
    [N]; counts : (n, m) whether the wheel is on the slab and clear of the lines.
    """

    run: LoadPositions
    corners: Floats
    turn: Turn
    on: OnSlab
    load: Floats
    counts: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class StandingWheels:
    """Those of a deck with traffic.

    The loaded area is the contact, spread through the surfacing where the deck file spreads wheels
    at all. A part of a wheel off the slab carries its share of the load to what lies beyond.
    """

    deck: Deck
    _lines: Prepared = field(init=False)
    _edges: FreeEdges = field(init=False)
    # A standard's thread waits here for another's that looks at the same run.
    _alone: Lock = field(init=False, default_factory=Lock)
    _known: dict[LoadPositions, Standing] = field(init=False, default_factory=dict)
    _lanes: dict[TrafficEnvelope, tuple[LoadPositions, ...]] = field(
        init=False, default_factory=dict
    )
    _pairs: dict[tuple[LoadPositions, str], list[tuple[Beside, LoadPositions]]] = field(
        init=False, default_factory=dict
    )
    _patterns: dict[LoadPositions, int] = field(init=False, default_factory=dict)
    _numbers: dict[tuple[Vehicle, tuple[Size, ...]], int] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_lines", Prepared(widths_of_lines(self.deck)))
        object.__setattr__(self, "_edges", FreeEdges.of(self.deck))

    def spread(self, run: LoadPositions) -> LoadPositions:
        """The run with its loaded areas for punching."""
        traffic = self.deck.required_traffic
        depth = 0.0 if traffic.dispersal == "none" else traffic.surfacing
        by = 2.0 * depth * float(np.tan(traffic.dispersal_angle))
        patches = tuple((a.patch[0] + by, a.patch[1] + by) for a in run.vehicle.axles)
        return replace(run, patches=patches)

    def lanes(self, envelope: TrafficEnvelope) -> tuple[LoadPositions, ...]:
        """Load positions of a load model's vehicles, of a train with others beside it those at each
        offset by themselves."""
        if envelope not in self._lanes:
            runs = envelope.runs
            if not envelope.model.one_lane:
                runs = tuple(run.at_offset(y) for run in runs for y in np.unique(run.offsets))
            self._lanes[envelope] = runs
        return self._lanes[envelope]

    def pairs(self, model: LoadModel, run: LoadPositions) -> list[tuple[Beside, LoadPositions]]:
        """Every vehicle that may stand beside that of a run of a load model, with the run of both
        and its loaded areas for punching."""
        with self._alone:
            key = run, model.name
            if key not in self._pairs:
                every = neighbours(self.deck, model, run)
                self._pairs[key] = [(one, self.spread(one.run)) for one in every]
            return self._pairs[key]

    def pattern(self, run: LoadPositions) -> int:
        """A number that runs share whose wheels are alike, at whatever places."""
        with self._alone:
            if run not in self._patterns:
                key = run.vehicle, run.patches
                self._patterns[run] = self._numbers.setdefault(key, len(self._numbers))
            return self._patterns[run]

    def known(self, run: LoadPositions) -> Standing:
        """`of` a run that is asked for again."""
        with self._alone:
            if run not in self._known:
                self._known[run] = self.of(run)
        return self._known[run]

    def clear_of_lines(self, areas: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Which areas (n,) in plan touch no width of a supporting line."""
        return ~self._lines.intersects(areas)

    def of(self, run: LoadPositions) -> Standing:
        """The wheels of a run."""
        run = self.spread(run)
        wheels = run.wheels(slice(None))
        turn = first_wheel(wheels.corners, len(run))
        on = on_slab(self._edges, wheels.corners, turn)
        counts = np.asarray(((on.high - on.low) > LEAST_SIDE).all(axis=1))
        boxes = turn.of(np.flatnonzero(counts)).boxes(on.low[counts], on.high[counts])
        counts[counts] = self.clear_of_lines(boxes)
        return Standing(
            run=run,
            corners=wheels.corners,
            turn=turn,
            on=on,
            load=(wheels.load * on.share).reshape(len(run), -1),
            counts=counts.reshape(len(run), -1),
        )


def widths_of_lines(deck: Deck) -> shapely.Geometry:
    """The supporting lines in plan, each as wide as its support."""
    found = []
    for line in deck.lines:
        course = sampled(deck.plan.lines[line.name].course(full=line.to_edges), FINE)
        strip = shapely.LineString(course)
        found.append(strip.buffer(0.5 * line.width, cap_style="flat") if line.width else strip)
    return shapely.union_all(found)

"""Shear without links with the loads near a support reduced (EN 1992-1-1 6.2.2(6), IRC:112).

A wheel whose near edge is a_v from a line's face, on the side of a section, counts a_v/2d of its
load in that section, 1/4 at least. The loads of a position are then not in proportion, so the
plate is solved again, section by section, with the wheels so reduced. Positions within a window
about the one that governs without reduction are looked at: the governing one moves away from the
line once near loads count less. d is the least of both faces across the line and a_v is to the
contact itself, not spread: both keep the share large.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars import FACES, LAYERS, Direction, SlabBars
from pipelines.bending import layer_section, utilisation
from pipelines.clauses import Source
from pipelines.deck import Deck, Line
from pipelines.envelopes import LoadPosition, find_position
from pipelines.responses import Solver
from pipelines.shear import NEAR_SUPPORT, near_support_factor, strut_limit
from pipelines.shearsections import ShearDemand, ShearTracker
from pipelines.traffic import LoadPositions, WheelPatches
from plate.loads import patch_loads

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Beyond 2 d from the governing position, and one step, no wheel's share changes any more [d].
WINDOW = 2.5


@dataclass(frozen=True)
class ReducedShear:
    """The worst section with loads near its line reduced.

    width : of the mean [m]; v, v_Rd : [N/m]; whole : the largest mean of any section without
    reduction, as a share of its resistance; share : the least that any wheel of the position
    counts. strut : largest unreduced peak shear / `strut_limit`, which must not pass 1.
    n : load positions solved. Other fields as of design.ShearPeak.
    """

    width: float
    utilisation: float
    whole: float
    v: float
    v_Rd: float
    line: str
    side: int
    at: tuple[float, float]
    position: LoadPosition | None
    share: float
    strut: float
    n: int
    source: Source


def reduced_shear(
    deck: Deck,
    solver: Solver,
    runs: Sequence[LoadPositions],
    tracker: ShearTracker,
    width: float,
) -> ReducedShear | None:
    """The reduced check for one of the tracker's widths; None for a standard without the rule."""
    mat, sections, demand = tracker.mat, tracker.sections, tracker.demand()
    if mat.standard not in NEAR_SUPPORT or not len(sections.points):
        return None
    w = demand.widths.index(width)
    whole = demand.utilisation[w]
    groups = [
        np.flatnonzero((sections.line == k) & (sections.side == side))
        for k in range(len(sections.names))
        for side in (-1, 1)
    ]
    groups = sorted((g for g in groups if len(g)), key=lambda g: -whole[g].max())
    best: ReducedShear | None = None
    solved = 0
    for group in groups:
        if best is not None and whole[group].max() <= best.utilisation:
            break
        found, n = _of_group(deck, solver, runs, tracker, demand, w, group)
        solved += n
        if best is None or found.utilisation > best.utilisation:
            best = found
    assert best is not None
    strut = max(
        float(demand.v.max() / strut_limit(layer_section(tracker.bars, layer), mat))
        for layer in LAYERS
    )
    return replace(best, whole=float(whole.max()), strut=strut, n=solved)


def _of_group(
    deck: Deck,
    solver: Solver,
    runs: Sequence[LoadPositions],
    tracker: ShearTracker,
    demand: ShearDemand,
    w: int,
    group: Ints,
) -> tuple[ReducedShear, int]:
    """The worst of the samples beside one side of one line."""
    sections, mat = tracker.sections, tracker.mat
    top = int(group[demand.utilisation[w, group].argmax()])
    name, side = sections.names[sections.line[top]], int(sections.side[top])
    number = int(demand.at[w, top])
    at = (float(sections.points[top, 0]), float(sections.points[top, 1]))
    plain = ReducedShear(
        demand.widths[w],
        float(demand.utilisation[w, top]),
        0.0,
        float(demand.v[w, top]),
        float(demand.v_Rd[w, top]),
        name,
        side,
        at,
        None,
        1.0,
        0.0,
        0,
        NEAR_SUPPORT[mat.standard],
    )
    if number < 0:
        return plain, 0
    line = deck.line(name)
    assert line is not None
    d = depth_across(deck, line, tracker.bars)
    run, index = find_position(runs, number)
    near = _window(run, index, WINDOW * d)
    wheels = run.wheels(near)
    shares = wheel_shares(deck, line, side, d, contacts(run).wheels(near))
    F = patch_loads(
        solver.model.mesh, wheels.corners, wheels.load * shares, wheels.position, len(near)
    )
    traffic = tracker.factored(solver.respond(F))
    acting = np.asarray(tracker.means[w] @ tracker.principal(traffic))[group]
    resists, _ = tracker.resistance_at(traffic, group, acting)
    used = utilisation(acting, resists)
    k, column = np.unravel_index(int(used.argmax()), used.shape)
    chosen, place = int(near[column]), sections.points[group[k]]
    return replace(
        plain,
        utilisation=float(used[k, column]),
        v=float(acting[k, column]),
        v_Rd=float(resists[k, column]),
        at=(float(place[0]), float(place[1])),
        position=LoadPosition(
            run.vehicle.name,
            run.direction,
            float(run.stations[chosen]),
            float(run.offsets[chosen]),
        ),
        share=float(shares[wheels.position == column].min()),
    ), len(near)


def depth_across(deck: Deck, line: Line, bars: SlabBars) -> float:
    """Least effective depth of the bars that cross a line [m]."""
    a, b = deck.plan.lines[line.name].full[[0, -1]]
    across: Direction = "y" if abs(b[0] - a[0]) > abs(b[1] - a[1]) else "x"
    return min(bars.effective_depth((face, across)) for face in FACES)


def contacts(run: LoadPositions) -> LoadPositions:
    """The run with its wheels' contacts in place of what they spread to."""
    return replace(run, patches=tuple(axle.patch for axle in run.vehicle.axles))


def wheel_shares(deck: Deck, line: Line, side: int, d: float, wheels: WheelPatches) -> Floats:
    """Share of each wheel's load (k,) that counts in sections on one side of a line.

    wheels : contacts. A wheel wholly over the line's width or beyond it counts in full.
    """
    a, b = deck.plan.lines[line.name].full[[0, -1]]
    along = (b - a) / np.linalg.norm(b - a)
    normal = np.array([-along[1], along[0]])
    normal *= side if normal.sum() > 0 else -side
    gaps = (wheels.corners - a) @ normal - 0.5 * line.width
    a_v = gaps.min(axis=1)
    return np.where(gaps.max(axis=1) > 0, near_support_factor(a_v, d), 1.0)


def _window(run: LoadPositions, index: int, reach: float) -> NDArray[np.intp]:
    """Positions of a run within `reach` and one step of a position, it included."""
    found = np.ones(len(run), dtype=bool)
    for values in (run.stations, run.offsets):
        gaps = np.abs(values - values[index])
        step = gaps[gaps > 1e-9].min(initial=np.inf)
        found &= gaps <= reach + (step if np.isfinite(step) else 0.0) + 1e-9
    return np.flatnonzero(found)

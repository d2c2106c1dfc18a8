"""Shear without links with the loads near a support reduced (EN 1992-1-1 6.2.2(6), IRC:112).

A wheel whose near edge is a_v from a line's face, on the side of a section, counts a_v/2d of its
load in that section, 1/4 at least. The loads of a position are then not in proportion, so the
plate is solved again, section by section, with the wheels so reduced. Positions within a window
about the one that governs without reduction are looked at, closer than the traffic's steps: the
governing one moves away from the line once near loads count less, and just beyond 2 d, where they
count in full, it has a sharp top. d is the least of both faces across the line and a_v is to the
contact itself, not spread: both keep the share large.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.demand.governing_index import FixedArrangement, GoverningIndex
from pipelines.bars.demand.sample_forces import force_reader
from pipelines.bars.demand.shear import ShearDemand, ShearTracker, first_highest
from pipelines.deck.deck import Deck, Line
from pipelines.model.responses import SolvedDeck
from pipelines.standards.resistance.bars import FACES, LAYERS, Direction, SlabBars
from pipelines.standards.resistance.bending import layer_section, utilisation
from pipelines.standards.resistance.shear import NEAR_SUPPORT, near_support_factor, strut_limit
from pipelines.standards.sources import Source
from pipelines.traffic.arrangements import Arrangement, LoadPosition
from pipelines.traffic.positions import LoadPositions, WheelPatches, find_position
from plate.arrays import Floats, Ints
from plate.geometry.axis import Course
from plate.loads.loads import patch_loads

# Beyond 2 d from the governing position, and one step, no wheel's share changes any more [d].
WINDOW = 2.5
# Steps along the deck within the window [m].
MOVE = 0.1
# By what share shear may rise between the traffic's steps.
BETWEEN = 0.1


@dataclass(frozen=True, kw_only=True)
class ReducedShear:
    """The worst section with loads near its line reduced.

    width : of the mean [m]; v, v_Rd : [N/m]; whole : the largest mean of any section without
    reduction, at the same closer steps, as a share of its resistance, beside whole_line on
    whole_side of it; share : the least that any
    wheel of the position counts. strut : largest unreduced peak shear / `strut_limit`, which must
    not pass 1. n : load positions solved. Other fields as of part.ShearPeak.
    """

    width: float
    utilisation: float
    whole: float
    whole_line: str
    whole_side: int
    v: float
    v_Rd: float
    line: str
    side: int
    at: tuple[float, float]
    position: Arrangement | None
    share: float
    strut: float
    n: int
    source: Source


def reduced_shear(
    solved: SolvedDeck,
    runs: Sequence[LoadPositions],
    numbered: GoverningIndex,
    tracker: ShearTracker,
    width: float,
) -> ReducedShear | None:
    """The reduced check for one of the tracker's widths; None for a standard without the rule.

    runs : of single vehicles, whose positions are the first of `numbered`.
    """
    mat, sections, demand = tracker.mat, tracker.sections, tracker.demand()
    if mat.standard not in NEAR_SUPPORT or not sections.judged.any():
        return None
    w = demand.widths.index(width)
    whole = demand.utilisation[w]
    groups = [
        np.flatnonzero((sections.line == k) & (sections.side == side) & sections.judged)
        for k in range(len(sections.names))
        for side in (-1, 1)
    ]
    groups = sorted((g for g in groups if len(g)), key=lambda g: -whole[g].max())
    best: ReducedShear | None = None
    worst: ReducedShear | None = None
    count = 0
    for group in groups:
        if best is not None and (1 + BETWEEN) * whole[group].max() <= best.utilisation:
            break
        found, n = _of_group(solved, runs, numbered, tracker, demand, w, group)
        count += n
        if worst is None or found.whole > worst.whole:
            worst = found
        if best is None or found.utilisation > best.utilisation:
            best = found
    assert best is not None
    assert worst is not None
    strut = max(
        float(demand.v.max() / strut_limit(layer_section(tracker.bars, layer), mat))
        for layer in LAYERS
    )
    return replace(
        best,
        whole=worst.whole,
        whole_line=worst.line,
        whole_side=worst.side,
        strut=strut,
        n=count,
    )


def _of_group(
    solved: SolvedDeck,
    runs: Sequence[LoadPositions],
    numbered: GoverningIndex,
    tracker: ShearTracker,
    demand: ShearDemand,
    w: int,
    group: Ints,
) -> tuple[ReducedShear, int]:
    """The worst of the samples beside one side of one line."""
    deck = solved.deck
    sections, mat = tracker.sections, tracker.mat
    top = int(group[first_highest(demand.utilisation[w, group])])
    name, side = sections.names[sections.line[top]], int(sections.side[top])
    number = int(demand.at[w, top])
    at = (float(sections.points[top, 0]), float(sections.points[top, 1]))
    stepped = float(demand.utilisation[w, top])
    plain = ReducedShear(
        width=demand.widths[w],
        utilisation=stepped,
        whole=stepped,
        whole_line=name,
        whole_side=side,
        v=float(demand.v[w, top]),
        v_Rd=float(demand.v_Rd[w, top]),
        line=name,
        side=side,
        at=at,
        position=None,
        share=1.0,
        strut=0.0,
        n=0,
        source=NEAR_SUPPORT[mat.standard],
    )
    if number < 0:
        return plain, 0
    line = deck.line(name)  # none where the soffit steps
    d = least_depth(tracker.bars) if line is None else depth_across(deck, line, tracker.bars)
    held = numbered.held(number)
    reach = WINDOW * d + deck.required_traffic.step
    near = _near(runs, number, reach) if held is None else _moved(held, reach, deck.course)
    shares = np.ones(len(near.loads.load))
    if line is not None:
        shares[near.is_wheel] = wheel_shares(deck, line, side, d, near.contacts)
    loads, n = near.loads, len(near.positions)
    # A mean takes in the samples of its piece.
    here = np.flatnonzero(np.isin(sections.piece, sections.piece[group]))
    mean, mine = tracker.means[w][group][:, here], np.searchsorted(here, group)
    read = force_reader(solved, [(tracker, here)])

    # all of them in full, then those that have a wheel near the line with what of it counts
    less = np.unique(loads.position[shares < 1.0])
    on = np.isin(loads.position, less)
    F = patch_loads(
        solved.model.mesh,
        np.concatenate([loads.corners, loads.corners[on]]),
        np.concatenate([loads.load, (loads.load * shares)[on]]),
        np.concatenate([loads.position, n + np.searchsorted(less, loads.position[on])]),
        n + len(less),
    )
    (traffic,) = read(solved.stiffness.solution(F))
    acting = np.asarray(mean @ tracker.principal(traffic, here))
    resists = tracker.resistance_at(traffic[:, mine], group, acting)[0]
    whole = float(utilisation(acting[:, :n], resists[:, :n]).max())
    acting[:, less], resists[:, less] = acting[:, n:], resists[:, n:]
    used = utilisation(acting[:, :n], resists[:, :n])
    k, column = np.unravel_index(int(used.argmax()), used.shape)
    place = sections.points[group[k]]
    return replace(
        plain,
        utilisation=float(used[k, column]),
        whole=max(stepped, whole),
        v=float(acting[k, column]),
        v_Rd=float(resists[k, column]),
        at=(float(place[0]), float(place[1])),
        position=near.positions[int(column)],
        share=float(shares[loads.position == column].min()),
    ), n


@dataclass(frozen=True, eq=False)
class _Nearby:
    """Positions about one that governs.

    loads : theirs, wheels and cells; is_wheel : (n,) which of them are wheels; contacts : of those
    wheels, in the same order.
    """

    positions: Sequence[Arrangement]
    loads: WheelPatches
    is_wheel: NDArray[np.bool_]
    contacts: WheelPatches


def _near(runs: Sequence[LoadPositions], number: int, reach: float) -> _Nearby:
    """Positions of a single vehicle about one of its load positions: along the deck by MOVE, at
    the offsets of its run."""
    run, index = find_position(runs, number)
    offsets = np.unique(run.offsets)
    step = np.diff(offsets).min(initial=np.inf)
    gaps = np.abs(offsets - run.offsets[index])
    offsets = offsets[gaps <= reach + (step if np.isfinite(step) else 0.0) + 1e-9]
    stations = run.stations[index] + _moves(reach)
    x, y = (v.ravel() for v in np.meshgrid(stations, offsets, indexing="ij"))
    spreads = None if run.spreads is None else np.full(len(x), run.spreads[index])
    moved = replace(run, stations=x, offsets=y, spreads=spreads)
    loads = moved.wheels(slice(None))
    positions = [
        Arrangement.of(
            LoadPosition(
                vehicle=run.vehicle.name, direction=run.direction, station=station, offset=offset
            )
        )
        for station, offset in zip(x.tolist(), y.tolist(), strict=True)
    ]
    is_wheel = np.ones(len(loads.load), dtype=bool)
    return _Nearby(positions, loads, is_wheel, moved.contacts.wheels(slice(None)))


def _moves(reach: float) -> Floats:
    """Moves along the deck [m]."""
    count = int(np.ceil(reach / MOVE))
    return np.asarray(MOVE * np.arange(-count, count + 1))


def _moved(held: FixedArrangement, reach: float, course: Course) -> _Nearby:
    """An arrangement with its vehicles moved along the deck, all alike."""
    n_wheel, n = len(held.contacts.load), len(held.loads.load)
    moves = _moves(reach)
    is_wheel = np.arange(n) < n_wheel
    corners = np.repeat(held.loads.corners[None], len(moves), axis=0)
    wheels = held.loads.corners[is_wheel]
    corners[:, is_wheel] = [course.moved(wheels, float(by)) for by in moves]
    contacts = [course.moved(held.contacts.corners, float(by)) for by in moves]
    column = np.repeat(np.arange(len(moves)), n)
    return _Nearby(
        [held.position.moved(float(dx)) for dx in moves],
        WheelPatches(corners.reshape(-1, 4, 2), np.tile(held.loads.load, len(moves)), column),
        np.tile(is_wheel, len(moves)),
        WheelPatches(
            np.concatenate(contacts),
            np.tile(held.contacts.load, len(moves)),
            np.repeat(np.arange(len(moves)), n_wheel),
        ),
    )


def depth_across(deck: Deck, line: Line, bars: SlabBars) -> float:
    """Least effective depth of the bars that cross a line [m]."""
    a, b = deck.plan.lines[line.name].full[[0, -1]]
    across: Direction = "y" if abs(b[0] - a[0]) > abs(b[1] - a[1]) else "x"
    return min(bars.effective_depth((face, across)) for face in FACES)


def least_depth(bars: SlabBars) -> float:
    """Of all layers [m]."""
    return min(bars.effective_depth(layer) for layer in LAYERS)


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

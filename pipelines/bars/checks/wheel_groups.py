"""Wheels near enough to each other to punch together: of one vehicle and of two lanes side by side.

Two loaded areas act together where their control perimeters overlap. Every set of such wheels that
a rectangle along x and y holds is a group, its perimeter that of the hull of its areas.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations_with_replacement, permutations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.traffic.lanes import SAME
from pipelines.traffic.positions import LoadPositions, Size, wheel_pattern
from pipelines.traffic.trains import lane_range
from plate.arrays import Floats


@dataclass(frozen=True)
class WheelGroup:
    """Some wheels of a vehicle, by their numbers in its pattern.

    load : of the vehicle's loads without impact [N]; sides : of the rectangle around them [m];
    cut : by how much the outline of their hull is shorter than the rectangle's [m].
    """

    wheels: tuple[int, ...]
    load: float
    sides: tuple[float, float]
    cut: float


@lru_cache(maxsize=2000)
def wheel_groups(
    vehicle: Vehicle, patches: tuple[Size, ...], reach: float
) -> tuple[WheelGroup, ...]:
    """Groups of two and more wheels, each within `reach` [m] of another one of them."""
    pattern = wheel_pattern(vehicle, patches)
    centre, half = pattern[:, :2], 0.5 * pattern[:, 3:5]
    apart = np.abs(centre[:, None] - centre) - half[:, None] - half
    near = np.hypot(*np.moveaxis(np.maximum(apart, 0.0), -1, 0)) < reach
    found: dict[tuple[int, ...], None] = {}
    looked_at: set[tuple[int, ...]] = set()
    along, across = (_spans(centre[:, k], half[:, k], reach) for k in (0, 1))
    for first in along:
        for second in across:
            wheels = np.flatnonzero(first & second)
            members = tuple(wheels.tolist())
            if len(members) > 1 and members not in looked_at:
                looked_at.add(members)
                if _joined(near[np.ix_(wheels, wheels)]):
                    found.setdefault(members)
    groups = []
    for members in found:
        low = centre[list(members)] - half[list(members)]
        high = centre[list(members)] + half[list(members)]
        sides = high.max(axis=0) - low.min(axis=0)
        hull = shapely.convex_hull(shapely.union_all(shapely.box(*low.T, *high.T)))
        cut = max(2.0 * float(sides.sum()) - hull.length, 0.0)
        load = float(pattern[list(members), 2].sum())
        groups.append(WheelGroup(members, load, (float(sides[0]), float(sides[1])), cut))
    return tuple(groups)


def _spans(centre: Floats, half: Floats, reach: float) -> list[NDArray[np.bool_]]:
    """Which wheels (n,) lie between two of them, for every two between which no gap in one
    direction is so wide that it parts the wheels on its sides."""
    places = np.unique(centre)
    part = [
        np.min((centre - half)[centre > place]) - np.max((centre + half)[centre <= place]) >= reach
        for place in places[:-1]
    ]
    stretch = np.cumsum([0, *part])
    return [
        (centre >= low) & (centre <= high)
        for (i, low), (j, high) in combinations_with_replacement(enumerate(places), 2)
        if stretch[i] == stretch[j]
    ]


def _joined(near: NDArray[np.bool_]) -> bool:
    """Whether steps between neighbours lead from the first to all."""
    reached = near[0]
    for _ in range(len(near)):
        reached = near[reached].any(axis=0)
    return bool(reached.all())


@dataclass(frozen=True, eq=False)
class Beside:
    """Two vehicles of neighbouring lanes as one, axles side by side, as near as lanes may stand.

    run : load positions of the first one, with the wheels of both; factor : on all of the loads;
    words : what stands beside it.
    """

    run: LoadPositions
    factor: float
    words: str


def neighbours(deck: Deck, model: LoadModel, run: LoadPositions) -> Iterator[Beside]:
    """Every vehicle of a load model that may stand in the lane to the right of a run of one of its
    trains, with every two of their axles side by side."""
    traffic = deck.required_traffic
    if run.spreads is not None and run.spreads.any():
        return
    y0 = float(run.offsets[0])
    for (a, b), factor in _pairs(model).items():
        first, second = model.kinds[a], model.kinds[b]
        if run.vehicle not in first.vehicles:
            continue
        y1 = y0 + first.room + second.room
        if traffic.offsets is not None:
            free = [y for y in traffic.offsets if y >= y1 - SAME]
            if not free:
                continue
            y1 = min(free)
        elif y1 > lane_range(deck, second, model.name)[1] + SAME:
            continue
        for vehicle in second.vehicles:
            words = f"{vehicle.name} \u00d7 {second.factor:.3g} beside it at {y1:.2f} m"
            share = second.factor * vehicle.impact / (first.factor * run.vehicle.impact)
            # rounded, so that the same pair at another offset is known again
            apart = round(y1 - y0, 9) * (-1.0 if run.direction == "reverse" else 1.0)
            for shift, turn in _alignments(run.vehicle, vehicle):
                more = tuple(
                    replace(
                        axle,
                        at=shift + turn * axle.at,
                        load=share * axle.load,
                        wheels=tuple(turn * y + apart for y in axle.wheels),
                    )
                    for axle in vehicle.axles
                )
                both = replace(run.vehicle, axles=(*run.vehicle.axles, *more), variable=None)
                yield Beside(replace(run, vehicle=both), factor * first.factor, words)


def _pairs(model: LoadModel) -> dict[tuple[int, int], float]:
    """Kinds that may stand side by side, left and right, with the largest factor of their sets."""
    found: dict[tuple[int, int], float] = {}
    for lane_set in model.sets:
        for pair in permutations(lane_set.kinds, 2):
            found[pair] = max(lane_set.factor, found.get(pair, 0.0))
    return found


def _alignments(first: Vehicle, second: Vehicle) -> list[tuple[float, float]]:
    """Places of the second vehicle, run either way, that put one of its axles beside one of the
    first's: of its front behind the first's [m], and 1 or -1 for its direction."""
    axles = [(round(a.at, 9), a.load) for a in second.axles]
    same = axles == [(round(axles[-1][0] - at, 9), load) for at, load in reversed(axles)]
    found: dict[tuple[float, float], None] = {}
    for turn in (1.0,) if same else (1.0, -1.0):
        for a in first.axles:
            for b in second.axles:
                found[round(a.at - turn * b.at, 9), turn] = None
    return list(found)

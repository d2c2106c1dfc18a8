"""Punching under every wheel of every load position: where it is worst."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars import SlabBars
from pipelines.clauses import Source
from pipelines.deck import Deck
from pipelines.envelopes import LoadPosition
from pipelines.grades import Materials
from pipelines.punching import SHAPES, MatAtPunching, punching
from pipelines.traffic import LoadPositions

Floats = NDArray[np.float64]

# What is left of a wheel at the slab's edge is not looked at below this side [m].
LEAST_SIDE = 0.02


@dataclass(frozen=True)
class WheelPunching:
    """The wheel place with the largest utilisation.

    at : centre of what of the wheel stands on the slab [m]; load : factored [N]; sides : loaded
    area (along, across) [m]; v_Ed, v_Rd : [Pa]; u : control perimeter [m]; shape : in words.
    interior : largest utilisation where the whole perimeter lies in the slab. n : places looked at.
    """

    utilisation: float
    vehicle: str
    direction: str
    station: float
    offset: float
    at: tuple[float, float]
    load: float
    sides: tuple[float, float]
    v_Ed: float
    v_Rd: float
    u: float
    shape: str
    interior: float
    n: int
    source: Source

    @property
    def position(self) -> LoadPosition:
        return LoadPosition(self.vehicle, self.direction, self.station, self.offset)


def wheel_punching(
    deck: Deck,
    runs: tuple[LoadPositions, ...],
    bars: SlabBars,
    mat: Materials,
    factor: float,
) -> WheelPunching | None:
    """The worst wheel of all load positions, factor on its load; None for other than grid plans.

    The loaded area is the contact, spread through the surfacing where the deck file spreads wheels
    at all. A part of a wheel off the slab carries its share of the load to what lies beyond.
    """
    traffic = deck.traffic
    if traffic is None or not deck.plan.is_grid:
        return None
    mats = MatAtPunching(
        bars.effective_depth(("bottom", "x")),
        bars.effective_depth(("bottom", "y")),
        bars.bars(("bottom", "x")).area,
        bars.bars(("bottom", "y")).area,
    )
    depth = 0.0 if traffic.dispersal == "none" else traffic.surfacing
    spread = 2.0 * depth * float(np.tan(traffic.dispersal_angle))
    worst: WheelPunching | None = None
    interior, n = 0.0, 0
    for run in runs:
        patches = tuple((a.patch[0] + spread, a.patch[1] + spread) for a in run.vehicle.axles)
        wheels = replace(run, patches=patches).wheels(slice(None))
        low, high, edge_x, edge_y = _on_slab(deck, wheels.corners)
        sides = high - low
        whole = np.ptp(wheels.corners, axis=1)
        kept = np.flatnonzero((sides > LEAST_SIDE).all(axis=1))
        if not len(kept):
            continue
        n += len(kept)
        share = (sides[kept] / whole[kept]).prod(axis=1)
        load = factor * wheels.load[kept] * share
        c_x, c_y = sides[kept].T
        found = punching(load, c_x, c_y, mat, mats, edge_x[kept], edge_y[kept])
        inside = found.shape == 0
        if inside.any():
            interior = max(interior, float(found.utilisation[inside].max()))
        k = int(found.utilisation.argmax())
        if worst is None or found.utilisation[k] > worst.utilisation:
            position = int(wheels.position[kept[k]])
            centre = 0.5 * (low[kept[k]] + high[kept[k]])
            worst = WheelPunching(
                float(found.utilisation[k]),
                run.vehicle.name,
                run.direction,
                float(run.stations[position]),
                float(run.offsets[position]),
                (float(centre[0]), float(centre[1])),
                float(load[k]),
                (float(c_x[k]), float(c_y[k])),
                float(found.v_Ed[k]),
                float(found.v_Rd[k]),
                float(found.u[k]),
                str(SHAPES[found.shape[k]]),
                0.0,
                0,
                found.source,
            )
    return None if worst is None else replace(worst, interior=interior, n=n)


def _on_slab(deck: Deck, corners: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Lowest and highest corner (n, 2) of what lies on the slab, and its clear distances (n,)
    along x and y to the nearest free edge, infinite where none is free [m]."""
    plan = deck.plan
    lean = np.tan(plan.skew)
    low, high = corners.min(axis=1), corners.max(axis=1)
    u = plan.logical_station(0.5 * (low + high))
    y = plan.line_offsets(u)
    left, right = y[:, 0], y[:, -1]
    start, end = (limit + 0.5 * (low + high)[:, 1] * lean for limit in plan.u_range)
    low = np.stack([np.maximum(low[:, 0], start), np.maximum(low[:, 1], left)], axis=1)
    high = np.stack([np.minimum(high[:, 0], end), np.minimum(high[:, 1], right)], axis=1)
    free = {edge: _is_free(deck, edge) for edge in ("start", "end", "left", "right")}
    # across a skew edge the clear distance is shorter than along x
    cosine = float(np.cos(plan.skew))
    gaps_x = [
        np.maximum(gap * cosine - 0.5 * (high - low)[:, 1] * abs(np.sin(plan.skew)), 0.0)
        for edge, gap in (("start", low[:, 0] - start), ("end", end - high[:, 0]))
        if free[edge]
    ]
    gaps_y = [
        np.maximum(gap, 0.0)
        for edge, gap in (("left", low[:, 1] - left), ("right", right - high[:, 1]))
        if free[edge]
    ]
    never = np.full(len(low), np.inf)
    return low, high, np.min([*gaps_x, never], axis=0), np.min([*gaps_y, never], axis=0)


def _is_free(deck: Deck, edge: str) -> bool:
    """Whether nothing supports or stiffens that edge."""
    plan = deck.plan
    twin = {
        "start": "C1",
        "end": f"C{len(plan.stations)}",
        "left": "L1",
        "right": f"L{len(plan.offsets)}",
    }[edge]
    held = deck.line(edge) is not None
    return not held and not (plan.overhang[edge] == 0.0 and deck.line(twin) is not None)

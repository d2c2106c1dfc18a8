"""Punching under every wheel of every load position: where it is worst."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipelines.bars.checks.free_edges import on_slab
from pipelines.deck.deck import Deck
from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.single_vehicles import LoadPosition
from pipelines.standards.actions.loads import LoadModel, Vehicle
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import SlabBars
from pipelines.standards.resistance.punching import SHAPES, MatAtPunching, punching
from pipelines.standards.sources import Source
from pipelines.traffic.joints import model_joint_factors
from pipelines.traffic.positions import LoadPositions

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
    runs: Sequence[LoadPositions],
    models: Sequence[ModelEnvelope],
    bars: SlabBars,
    mat: Materials,
    factor: float,
) -> WheelPunching | None:
    """The worst wheel of all load positions, factor on its load; None without traffic.

    models : load models whose vehicles count too, with their largest factor on any lane.

    The loaded area is the contact, spread through the surfacing where the deck file spreads wheels
    at all. A part of a wheel off the slab carries its share of the load to what lies beyond.
    """
    traffic = deck.traffic
    if traffic is None:
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
    driven: list[tuple[LoadPositions, LoadModel | None]] = [(run, None) for run in runs]
    driven += [(run, one.model) for one in models for run in one.runs]
    for run, model in driven:
        patches = tuple((a.patch[0] + spread, a.patch[1] + spread) for a in run.vehicle.axles)
        wheels = replace(run, patches=patches).wheels(slice(None))
        here = on_slab(deck, wheels.corners)
        sides = here.high - here.low
        kept = np.flatnonzero((sides > LEAST_SIDE).all(axis=1))
        if not len(kept):
            continue
        n += len(kept)
        load = factor * wheels.load[kept] * here.share[kept]
        if model is not None:
            load *= _largest_factor(model, run.vehicle)
            load *= model_joint_factors(deck, model, wheels.corners[kept].mean(axis=1))
        c_x, c_y = sides[kept].T
        found = punching(load, c_x, c_y, mat, mats, here.gap_x[kept], here.gap_y[kept])
        inside = found.shape == 0
        if inside.any():
            interior = max(interior, float(found.utilisation[inside].max()))
        k = int(found.utilisation.argmax())
        if worst is None or found.utilisation[k] > worst.utilisation:
            position = int(wheels.position[kept[k]])
            centre = 0.5 * (here.low[kept[k]] + here.high[kept[k]])
            worst = WheelPunching(
                float(found.utilisation[k]),
                run.vehicle.name if model is None else f"{model.name}: {run.vehicle.name}",
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


def _largest_factor(model: LoadModel, vehicle: Vehicle) -> float:
    """Of any lane of a load model that the vehicle may stand in."""
    return max(
        one.factor * model.kinds[k].factor
        for one in model.sets
        for k in one.kinds
        if vehicle in model.kinds[k].vehicles
    )

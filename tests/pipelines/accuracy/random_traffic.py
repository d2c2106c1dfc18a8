"""Random decks with their traffic, and any surfaces on their meshes.

Surfaces need not come from a plate: any ordinates on the mesh's nodes are a surface, and random
ones are harsher than a plate's. Values at places are integrated by `plate.loads`, which knows
nothing of pieces, boxes and their bounds.
"""

from dataclasses import dataclass, replace

import numpy as np

from pipelines.accuracy.free_vehicle import FreeVehicle, free_vehicles
from pipelines.deck.deck import Deck, Slab
from pipelines.deck.traffic import Traffic
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import Axle, Vehicle
from plate.arrays import Floats
from plate.geometry.plan import grid_plan
from plate.meshing.grid import grid_mesh


@dataclass(frozen=True)
class Case:
    """A deck with its vehicles and some surfaces on its mesh."""

    deck: Deck
    found: Surfaces

    @property
    def wanted(self) -> list[tuple[int, int]]:
        return [(row, sign) for row in range(len(self.found.ordinates)) for sign in (1, -1)]

    @property
    def fleet(self) -> list[FreeVehicle]:
        return list(free_vehicles(self.deck, self.deck.required_traffic.vehicles))


def deck_of(stations: list[float], half: float, traffic: Traffic) -> Deck:
    plan = grid_plan(stations, [-half, half])
    return Deck(
        path="",
        title="",
        slab=Slab(thickness=0.22, E=30e9, poisson=0.2, density=25e3),
        plan=plan,
        stations=plan.stations,
        offsets=plan.offsets,
        lines=(),
        points=(),
        cases=(),
        traffic=traffic,
        probes=(),
    )


def random_vehicle(rng: np.random.Generator, name: str) -> Vehicle:
    at = np.cumsum([0.0, *rng.uniform(0.5, 3.0, rng.integers(0, 3))])
    axles = []
    for x in at.tolist():
        gauge = float(rng.uniform(0.3, 0.9))
        wheels = (-gauge, gauge) if rng.random() < 0.7 else (-gauge, 0.1, gauge)
        patch = tuple(rng.uniform(0.15, 0.7, 2).tolist())
        axles.append(Axle(x, float(rng.uniform(0.5, 2.0)), wheels, patch))  # type: ignore[arg-type]
    if rng.random() < 0.3:
        axles = [replace(axle, at=x) for axle, x in zip([axles[0]] * len(at), at, strict=True)]
    variable = None
    if len(axles) > 1 and rng.random() < 0.4:
        variable = int(rng.integers(1, len(axles))), float(rng.uniform(0.3, 2.5))
    return Vehicle(
        name=name, axles=tuple(axles), impact=float(rng.uniform(1.0, 1.3)), variable=variable
    )


def random_case(seed: int, size: float | None = None) -> Case:
    """One or two vehicles on one or two bays, under smooth surfaces, rough ones and a cusp."""
    rng = np.random.default_rng(seed)
    stations = np.cumsum([0.0, *rng.uniform(1.0, 3.0, rng.integers(1, 3))]).tolist()
    half = float(rng.uniform(1.2, 2.2))
    traffic = Traffic(
        carriageway=(-half, half),
        vehicles=tuple(random_vehicle(rng, f"v{k}") for k in range(rng.integers(1, 3))),
        step=0.4,
        lateral_step=None if (fixed := rng.random() < 0.2) else 0.4,
        offsets=tuple(rng.uniform(-0.2, 0.2, 2).tolist()) if fixed else None,
        edge_clearance=float(rng.uniform(0.0, 0.3)),
        surfacing=0.0,
        dispersal="none",
        dispersal_angle=0.0,
        directions="both" if rng.random() < 0.5 else "forward",
    )
    deck = deck_of(stations, half, traffic)
    order, size = int(rng.integers(1, 5)), size or float(rng.uniform(0.12, 1.2))
    mesh = grid_mesh(deck.plan, order=order, size=size)
    x, y = mesh.plan.T
    wave = rng.uniform(0.5, 3.0, 4)
    smooth = np.sin(wave[0] * x + wave[1]) * np.cos(wave[2] * y + wave[3])
    rough = rng.standard_normal(len(x))
    top = rng.uniform([0.0, -half], [stations[-1], half])
    cusp = 1.0 / (0.05 + np.hypot(x - top[0], y - top[1])) * np.sign(x - top[0])
    return Case(deck, Surfaces(mesh, np.array([smooth, rough, cusp])))


def scan(case: Case, free: FreeVehicle, x: Floats) -> Floats:
    """Results (n_row, n) of every row at places x (3, n), by integration over the patches."""
    wheels = free.positions(x).wheels(slice(None))
    means = case.found.means(wheels.corners) * wheels.load
    return np.asarray(means.reshape(len(means), x.shape[1], -1).sum(axis=2))


def places(free: FreeVehicle, rng: np.random.Generator, n: int, about: Floats | None) -> Floats:
    """Random places (3, n) where the vehicle may stand, about a place if one is given."""
    low, high = free.bounds.T
    x = rng.uniform(low[:, None], high[:, None], (3, n))
    if about is not None:
        x = about[:, None] + rng.standard_normal((3, n)) * 10.0 ** rng.uniform(-4.0, -0.7, n)
    x = np.clip(x, low[:, None], high[:, None])
    if free.offsets is not None:
        x[1] = rng.choice(free.offsets, n)
    return np.asarray(x)

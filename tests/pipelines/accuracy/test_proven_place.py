"""Proven worst places on meshes that are no grid of rectangles: no place anywhere makes more."""

import os
from dataclasses import replace

import numpy as np
import pytest

from pipelines.accuracy.free_vehicle import free_vehicles
from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.proven_place import GOAL, may_be_proven
from pipelines.accuracy.slope_raster import SlopeRaster
from pipelines.accuracy.worst_position import worst_places
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import Axle, Vehicle
from plate.arrays import Floats
from plate.geometry.curves import polyline
from plate.geometry.outline import outline_plan
from plate.geometry.plan import Plan, grid_plan
from plate.interpolation import shape
from plate.meshing.cell_sizes import uniform
from plate.meshing.free_mesh import quad_mesh
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from tests.pipelines.accuracy.random_traffic import Case, places, random_case, scan

KINDS = ("skew", "tapered", "outline")


def plan_of(kind: str, stations: tuple[float, ...], half: float) -> Plan:
    """A skew or a tapered plan, or an outline that is no rectangle, with an opening."""
    if kind == "skew":
        return grid_plan(stations, [-half, half], skew=0.5)
    if kind == "tapered":
        return grid_plan(stations, [-half, half], end_offsets=[-0.7 * half, 1.2 * half])
    end = stations[-1]
    corners = [(0, -half), (end, -0.8 * half), (end, half), (0.4 * end, half), (0.1 * end, 0.0)]
    hole = [(0.5 * end + x, y) for x, y in ((-0.2, 0.1), (0.2, 0.0), (0.15, 0.4), (-0.2, 0.1))]
    return outline_plan(polyline([*corners, corners[0]]), [polyline(hole)])


def other_case(seed: int, kind: str) -> Case:
    """A random case with its surfaces on another mesh, and fixed spacings."""
    case = random_case(seed)
    rng = np.random.default_rng(seed)
    plan = plan_of(kind, case.deck.stations, case.deck.offsets[-1])
    traffic = case.deck.required_traffic
    fixed = tuple(replace(one, variable=None) for one in traffic.vehicles)
    deck = replace(case.deck, plan=plan, traffic=replace(traffic, vehicles=fixed))
    order, size = int(rng.integers(1, 4)), float(rng.uniform(0.3, 0.9))
    mesh: Mesh
    if kind == "outline":
        mesh = quad_mesh(plan, order=order, field=uniform(size))
    else:
        mesh = grid_mesh(plan, order=order, size=size)
    x, y = mesh.plan.T
    wave = rng.uniform(0.5, 2.0, 4)
    smooth = np.sin(wave[0] * x + wave[1]) * np.cos(wave[2] * y + wave[3])
    top = mesh.plan[rng.integers(len(x))]
    cusp = 1.0 / (0.1 + np.hypot(x - top[0], y - top[1])) * np.sign(x - top[0])
    return Case(deck, Surfaces(mesh, np.array([smooth, cusp])))


def check(case: Case, seed: int, n: int) -> Floats:
    """No random place, anywhere or about the worst ones, makes more than is proven. The gaps of
    what is proven, as shares of the values."""
    rng = np.random.default_rng(seed)
    assert GridSurfaces.of(case.found) is None
    assert may_be_proven(case.deck, case.found, case.fleet)
    found = worst_places(case.deck, case.found, case.wanted)
    assert all(one.proven for one in found)
    bound = np.array([abs(one.value) + one.tolerance for one in found])
    for free in case.fleet:
        x = [places(free, rng, n, None)]
        for one in found:
            at = one.position
            if at is not None and (at.vehicle, at.direction) == (free.vehicle.name, free.direction):
                x.append(places(free, rng, n, np.array([at.station, at.offset, at.spread])))
        values = scan(case, free, np.concatenate(x, axis=1))
        for e, (row, sign) in enumerate(case.wanted):
            highest = (sign * values[row]).max()
            assert highest <= bound[e], (seed, e, highest, bound[e])
    sizes = np.zeros(len(case.found.ordinates))
    for (row, _), one in zip(case.wanted, found, strict=True):
        sizes[row] = max(sizes[row], abs(one.value))
    return np.array(
        [
            one.tolerance / max(abs(one.value), 0.1 * sizes[row])
            for (row, _), one in zip(case.wanted, found, strict=True)
        ]
    )


# the goal, and what the place's rounding to the micrometre makes
REACHED = 1.1 * GOAL + 1e-5


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(3))
def test_no_place_makes_more_than_is_proven(seed: int, kind: str) -> None:
    """Some results, most of them next to nothing, take more boxes than are looked at."""
    gaps = check(other_case(seed, kind), seed, 200)
    assert np.median(gaps) <= REACHED
    assert gaps.max() <= 0.3


@pytest.mark.soak
def test_no_place_makes_more_than_is_proven_on_many_decks() -> None:
    """Surfaces with cusps among them: of nine results in ten the gap is the goal."""
    count = int(os.environ.get("DECKSLAB_PROOFS", "10000")) // 10
    gaps = [
        check(other_case(seed, KINDS[seed % len(KINDS)]), seed, 200)
        for seed in range(1000, 1000 + count)
    ]
    assert np.mean(np.concatenate(gaps) <= REACHED) >= 0.9


def test_of_tied_places_the_first_is_told_whatever_the_rounding() -> None:
    """A skew slab is the same turned by 180 degrees about its middle, and so is a surface with two
    peaks about it: noise as large as rounding must not decide which of two places is told."""
    case = other_case(1, "skew")
    wheel = Vehicle(name="wheel", axles=(Axle(0.0, 1.0, (0.0,), (0.3, 0.4)),))
    traffic = replace(case.deck.required_traffic, vehicles=(wheel,), offsets=None, lateral_step=0.4)
    deck = replace(case.deck, traffic=traffic)
    x, y = (case.found.mesh.plan - [0.5 * case.deck.stations[-1], 0.0]).T
    surface = sum(1.0 / (0.1 + np.hypot(x - side * 0.5, y - side * 0.3)) for side in (1.0, -1.0))
    told = set()
    for seed in range(4):
        noise = 1.0 + 1e-14 * np.random.default_rng(seed).standard_normal(len(x))
        noisy = Surfaces(case.found.mesh, (surface * noise)[None])
        [worst] = worst_places(deck, noisy, [(0, 1)])
        told.add(worst.position)
    assert len(told) == 1


@pytest.mark.parametrize("kind", KINDS)
def test_slopes_lie_within_their_bounds(kind: str) -> None:
    """Differences of the surface across a micrometre, against the bounds on the tiles there."""
    case = other_case(1, kind)
    mesh = case.found.mesh
    raster = SlopeRaster.of(case.found, case.deck, 0.07, 0.5)
    rng = np.random.default_rng(0)
    step = 1e-6
    checked = 0
    for cell in rng.integers(0, mesh.n_cells, 60).tolist():
        share = rng.dirichlet(np.ones(4))
        at = share @ mesh.corners[cell]
        tile = np.floor((at - raster.origin) / raster.side).astype(int)
        for d in (0, 1):
            ends = np.array([at - step * np.eye(2)[d], at + step * np.eye(2)[d]])
            xi = mesh.invert_plan(np.full(2, cell), ends)
            if np.abs(xi).max() > 1.0:
                continue
            z = case.found.ordinates[:, mesh.cells[cell]] @ shape(mesh.order, xi).T
            slope = (z[:, 1] - z[:, 0]) / (2.0 * step)
            slack = 1e-6 * np.abs(case.found.ordinates).max()
            assert np.all(slope <= raster.high[d][:, tile[0], tile[1]] + slack)
            assert np.all(slope >= raster.low[d][:, tile[0], tile[1]] - slack)
            checked += 1
    assert checked > 60


def test_what_is_no_straight_deck_under_fixed_spacings_is_searched() -> None:
    case = other_case(1, "skew")
    [first, *_] = case.fleet
    wide = replace(first.vehicle, variable=(1, 2.0)) if len(first.vehicle.axles) > 1 else None
    curved = replace(case.deck, plan=grid_plan([0.0, 5.0], [-1.5, 1.5], radius=30.0))
    bent = Surfaces(grid_mesh(curved.plan, order=2, size=0.8), np.ones((1, 1)))
    assert not may_be_proven(curved, bent, [])
    if wide is not None:
        assert not may_be_proven(case.deck, case.found, list(free_vehicles(case.deck, [wide])))

"""Proven worst places and arrangements: none makes more, whatever the surface, deck and traffic."""

import os
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from pipelines.accuracy.best_arrangements import GOAL, SMALL
from pipelines.accuracy.box_bounds import box_bounds
from pipelines.accuracy.driven_vehicle import DrivenVehicle
from pipelines.accuracy.free_vehicle import FreeVehicle, exact_values
from pipelines.accuracy.grid_surfaces import GridSurfaces
from pipelines.accuracy.pieces import DrivenWheels, offset_pieces
from pipelines.accuracy.proven_arrangement import proven_arrangements
from pipelines.accuracy.worst_position import worst_places
from pipelines.deck.traffic import Traffic
from pipelines.model.influence import Surfaces
from pipelines.standards.actions.loads import Axle, LaneKind, LaneSet, LoadModel, Vehicle
from pipelines.traffic.arrangements import Arrangement, LoadedLane
from pipelines.traffic.trains import lane_range
from plate.arrays import Floats
from plate.meshing.grid import grid_mesh
from plate.meshing.mesh import Mesh
from tests.pipelines.accuracy.random_traffic import Case, deck_of, places, random_case, scan


def arrangement_value(case: Case, model: LoadModel, at: Arrangement, rng: Any) -> Floats:
    """Results (n_row, 2) under an arrangement, most and least, its distributed loads on those cells
    on which they add to it, cut where strips end."""
    traffic = case.deck.required_traffic
    left, right = traffic.carriageway
    kinds = {kind.name: kind for kind in model.kinds}
    free = {(f.vehicle.name, f.direction): f for f in case.fleet}
    total = np.zeros((len(case.found.ordinates), 2))
    strips = []
    for lane in at.lanes:
        kind = kinds[lane.kind]
        if lane.position is not None:
            x = np.array([lane.position.station, lane.position.offset, lane.position.spread])
            mine = free[lane.position.vehicle, lane.position.direction]
            total += at.factor * kind.factor * scan(case, mine, x[:, None])
        width = min(kind.width, right - left)
        low = float(np.clip(lane.offset - 0.5 * width, left, right - width))
        strips.append((low, low + width, at.factor * kind.pressure))
    if not model.has_pressure:
        return total
    ends = [left, right, *(y for low, high, _ in strips for y in (low, high))]
    y = np.unique(np.concatenate([np.linspace(left, right, 9), ends]).round(9))
    start, end = case.deck.stations[0], case.deck.stations[-1]
    s = np.sort(np.concatenate([[start, end], rng.uniform(start, end, 25)]))
    i, j = (index.ravel() for index in np.indices((len(s) - 1, len(y) - 1)))
    corners = np.stack(
        [
            np.stack([s[i], s[i + 1], s[i + 1], s[i]], axis=-1),
            np.stack([y[j], y[j], y[j + 1], y[j + 1]], axis=-1),
        ],
        axis=-1,
    )
    area = (s[i + 1] - s[i]) * (y[j + 1] - y[j])
    middle = 0.5 * (y[j] + y[j + 1])
    pressure = np.full(len(i), model.pressure)
    for low, high, more in strips:
        pressure += more * ((low < middle) & (middle < high))
    cells = case.found.means(corners) * area * pressure
    total[:, 0] += np.maximum(cells, 0.0).sum(axis=1)
    total[:, 1] += np.minimum(cells, 0.0).sum(axis=1)
    return total


def random_model(case: Case, rng: np.random.Generator) -> LoadModel:
    """Lanes of one or two kinds, alone and side by side, with distributed loads or without."""
    loaded = rng.random() < 0.7
    most = 5.0 if loaded else 0.0
    vehicles = case.deck.required_traffic.vehicles
    kinds = tuple(
        LaneKind(
            name=f"lane {k}",
            vehicles=vehicles if k == 0 else vehicles[:1],
            factor=float(rng.uniform(0.5, 1.2)),
            room=float(rng.uniform(0.2, 0.6)),
            pressure=float(rng.uniform(-0.3 * most, most)),
            width=float(rng.uniform(0.5, 1.5)),
        )
        for k in range(rng.integers(1, 3))
    )
    sets = [LaneSet((0,), float(rng.uniform(0.8, 1.2))), LaneSet((0, len(kinds) - 1))]
    return LoadModel(name="model", kinds=kinds, sets=tuple(sets), pressure=0.6 * most)


def random_arrangement(
    case: Case, model: LoadModel, rng: np.random.Generator, about: Arrangement | None
) -> Arrangement | None:
    """Lanes that keep their distance, anywhere or near those of another arrangement."""
    traffic = case.deck.required_traffic
    of = model.sets[rng.integers(len(model.sets))]
    kinds = [model.kinds[k] for k in rng.permutation(of.kinds)]
    if about is not None:
        kinds = [next(k for k in model.kinds if k.name == lane.kind) for lane in about.lanes]
        alike = [one for one in model.sets if len(one.kinds) == len(kinds)]
        of = next(one for one in alike if one.factor == about.factor)
    lanes = []
    reach = 10.0 ** rng.uniform(-4.0, -0.7)
    for k, kind in enumerate(kinds):
        fleet = [f for f in case.fleet if f.vehicle in kind.vehicles]
        low, high = lane_range(case.deck, kind, "") if not model.one_lane else (-9.0, 9.0)
        free = fleet[rng.integers(len(fleet))]
        x = rng.uniform(*free.bounds.T)
        if about is not None and (at := about.lanes[k].position) is not None:
            names = [(f.vehicle.name, f.direction) for f in fleet]
            free = fleet[names.index((at.vehicle, at.direction))]
            x = np.array([at.station, at.offset, at.spread]) + reach * rng.standard_normal(3)
        x = np.clip(x, *free.bounds.T)
        x[1] = np.clip(x[1], low, high)
        if traffic.offsets is not None:
            x[1] = rng.choice(np.array(traffic.offsets))
        lanes.append(LoadedLane(kind.name, kind.factor, free.position(x), round(float(x[1]), 6)))
    apart = [
        (b.offset - other.room) - (a.offset + kind.room)
        for (a, kind), (b, other) in pairwise(zip(lanes, kinds, strict=True))
    ]
    if any(one < 0.0 for one in apart):
        return None
    return Arrangement(model="model", whole=True, lanes=tuple(lanes), factor=of.factor)


def check_model(seed: int, n: int) -> None:
    """No random arrangement, anywhere or near the worst ones, makes more than is proven."""
    case = random_case(seed)
    rng = np.random.default_rng(seed)
    model = random_model(case, rng)
    grid = GridSurfaces.of(case.found)
    assert grid is not None
    rows, signs = np.array(case.wanted).T
    found = proven_arrangements(
        case.deck, case.found, grid, model, rows, signs.astype(float), None, None
    )
    bound = np.array([abs(one.value) + one.tolerance for one in found])
    places = [one.position for one in found]
    own = [None if at is None else arrangement_value(case, model, at, rng) for at in places]
    trials = [random_arrangement(case, model, rng, None) for _ in range(n)]
    for one in found:
        trials += [random_arrangement(case, model, rng, one.position) for _ in range(n // 5)]
    for at in trials:
        if at is not None:
            values = arrangement_value(case, model, at, rng)
            signed = np.where(signs > 0, values[rows, 0], -values[rows, 1])
            assert np.all(signed <= bound), (seed, signed - bound)
    for e, (one, values) in enumerate(zip(found, own, strict=True)):
        if values is not None and not model.has_pressure:
            value = values[rows[e], 0 if signs[e] > 0 else 1]
            assert one.value == pytest.approx(value, rel=1e-9, abs=1e-12)
        if not model.has_pressure:
            size = max(abs(a.value) for a, row in zip(found, rows, strict=True) if row == rows[e])
            assert one.tolerance <= 3.0 * GOAL * max(abs(one.value), SMALL * size) + 1e-5 * size


@pytest.mark.parametrize("seed", range(12))
def test_no_arrangement_makes_more_than_is_proven(seed: int) -> None:
    check_model(seed, 40)


@pytest.mark.soak
def test_no_arrangement_makes_more_than_is_proven_on_many_decks() -> None:
    for seed in range(1000, 1000 + int(os.environ.get("DECKSLAB_PROOFS", "10000")) // 10):
        check_model(seed, 40)


def check(case: Case, seed: int, n: int) -> None:
    """No random place, anywhere or about the worst ones, makes more than is proven."""
    rng = np.random.default_rng(seed)
    wanted = case.wanted
    found = worst_places(case.deck, case.found, wanted)
    assert all(one.proven for one in found)
    bound = np.array([abs(one.value) + one.tolerance for one in found])
    names = [
        (one.position.vehicle, one.position.direction) if one.position else None for one in found
    ]
    for free in case.fleet:
        x = [places(free, rng, n, None)]
        for one, name in zip(found, names, strict=True):
            if name == (free.vehicle.name, free.direction) and one.position is not None:
                about = np.array([one.position.station, one.position.offset, one.position.spread])
                x.append(places(free, rng, n, about))
        values = scan(case, free, np.concatenate(x, axis=1))
        for e, (row, sign) in enumerate(wanted):
            highest = (sign * values[row]).max()
            assert highest <= bound[e], (seed, e, highest, bound[e])
    for (row, sign), one in zip(wanted, found, strict=True):
        own = max(abs(a.value) for (r, _), a in zip(wanted, found, strict=True) if r == row)
        assert sign * one.value >= 0.0
        # the goal, and what the place's rounding to the micrometre makes
        assert one.tolerance <= 2.0 * GOAL * max(abs(one.value), SMALL * own) + 1e-5 * own


@pytest.mark.parametrize("seed", range(25))
def test_no_place_makes_more_than_is_proven(seed: int) -> None:
    check(random_case(seed), seed, 300)


@pytest.mark.soak
def test_no_place_makes_more_than_is_proven_on_many_decks() -> None:
    for seed in range(1000, 1000 + int(os.environ.get("DECKSLAB_PROOFS", "10000"))):
        check(random_case(seed), seed, 300)


@pytest.mark.parametrize(("seed", "size"), [(1, None), (2, None), (3, 0.06), (4, 0.06)])
def test_boxes_and_pieces_bound_what_is_in_them(seed: int, size: float | None) -> None:
    """With cells of 0.06 m a box reaches over several of them."""
    case = random_case(seed, size)
    rng = np.random.default_rng(seed)
    grid = GridSurfaces.of(case.found)
    assert grid is not None
    for free in case.fleet:
        y = offset_pieces(grid.y, [free], free.bounds[[1]])
        driven = DrivenVehicle.of(grid, free, y, free.bounds[1], 1.0, spaced=False).front
        patches = free.patches[: first_behind(free)]
        free = replace(free, vehicle=ahead(free.vehicle), patches=patches)
        _, (low, high) = box_bounds(driven)
        (s0, s1), (y0, y1) = driven.s.boxes, driven.y.boxes
        i, j = rng.integers(0, len(s0), 800), rng.integers(0, len(y0), 800)
        u, v = rng.random((2, 800))
        x = np.array([s0[i] + u * (s1 - s0)[i], y0[j] + v * (y1 - y0)[j], 0.0 * u])
        values = scan(case, free, x)
        slack = driven.rounding[:, None]
        assert np.all(values <= high[:, i, j] + slack)
        assert np.all(values >= low[:, i, j] - slack)
        # the pieces in the same boxes, which are tighter
        for k in range(20):
            piece = int(rng.integers(driven.s.first[i[k]], driven.s.first[i[k] + 1]))
            y = np.arange(driven.y.first[j[k]], driven.y.first[j[k] + 1])
            rows = np.arange(len(values))
            C = driven.coefficients(
                rows, np.ones(len(rows)), slice(piece, piece + 1), np.full(len(rows), y[0])
            )
            a, b = driven.s.low[piece], driven.s.high[piece]
            c, d = driven.y.low[y[0]], driven.y.high[y[0]]
            at = np.array([rng.uniform(a, b, 20), rng.uniform(c, d, 20), np.zeros(20)])
            here = scan(case, free, at)
            assert np.all(here.max(axis=1) <= C[:, 0].max(axis=(1, 2)) + slack[:, 0])
            assert np.all(here.min(axis=1) >= C[:, 0].min(axis=(1, 2)) - slack[:, 0])
            corner = scan(case, free, np.array([[a], [c], [0.0]]))[:, 0]
            np.testing.assert_allclose(C[:, 0, 0, 0], corner, atol=float(slack.max()))


def first_behind(free: FreeVehicle) -> int:
    """The number of the first axle that a variable spacing moves."""
    return len(free.patches) if free.vehicle.variable is None else free.vehicle.variable[0]


def ahead(vehicle: Vehicle) -> Vehicle:
    """The axles of a vehicle that its variable spacing does not move."""
    if vehicle.variable is None:
        return vehicle
    return replace(vehicle, axles=vehicle.axles[: vehicle.variable[0]], variable=None)


def symmetric_case() -> Case:
    axles = (Axle(0.0, 1.0, (-0.8, 0.8), (0.3, 0.4)), Axle(1.3, 2.0, (-0.8, 0.8), (0.3, 0.4)))
    traffic = Traffic(
        carriageway=(-2.0, 2.0),
        vehicles=(Vehicle(name="two axles", axles=axles),),
        step=0.4,
        lateral_step=0.4,
        offsets=None,
        edge_clearance=0.3,
        surfacing=0.0,
        dispersal="none",
        dispersal_angle=0.0,
        directions="both",
    )
    deck = deck_of([0.0, 3.0], 2.0, traffic)
    mesh = grid_mesh(deck.plan, order=3, size=0.6)
    x, y = mesh.plan.T
    row = 1.0 / (0.1 + np.hypot(x - 1.1, y - 0.7))
    mirrored = [
        1.0 / (0.1 + np.hypot(x - at, y - across)) for at, across in ((1.1, -0.7), (1.9, 0.7))
    ]
    return Case(deck, Surfaces(mesh, np.array([row, *mirrored])))


def test_mirrored_results_have_the_same_worst_value() -> None:
    case = symmetric_case()
    high, across, along = worst_places(case.deck, case.found, [(0, 1), (1, 1), (2, 1)])
    assert high.position is not None
    assert across.value == pytest.approx(high.value, abs=high.tolerance + across.tolerance)
    assert along.value == pytest.approx(high.value, abs=high.tolerance + along.tolerance)


def test_one_thread_forms_the_products(monkeypatch: pytest.MonkeyPatch) -> None:
    case = symmetric_case()
    values = DrivenWheels.values
    seen = []

    def watched(*args: Any) -> Floats:
        seen.extend(i["num_threads"] for i in threadpool_info() if i["user_api"] == "blas")
        return values(*args)

    monkeypatch.setattr(DrivenWheels, "values", watched)
    found = []
    for threads in (1, 2):
        with threadpool_limits(threads):
            found.append(worst_places(case.deck, case.found, case.wanted))
    assert seen
    assert set(seen) == {1}
    assert found[0] == found[1]


def test_the_value_is_the_exact_one_at_its_place() -> None:
    case = random_case(7)
    for (row, sign), one in zip(
        case.wanted, worst_places(case.deck, case.found, case.wanted), strict=True
    ):
        if one.position is None:
            continue
        at = one.position
        free = next(
            f for f in case.fleet if (f.vehicle.name, f.direction) == (at.vehicle, at.direction)
        )
        x = np.array([[at.station], [at.offset], [at.spread]])
        [value] = exact_values(free, case.found, np.array([row]), np.array([1.0]), x)
        assert one.value == pytest.approx(value, rel=1e-12)
        assert sign * value > 0.0


def test_other_meshes_are_no_grid_of_rectangles() -> None:
    case = symmetric_case()
    mesh = case.found.mesh
    bent = mesh.plan + 0.05 * np.sin(mesh.plan[:, [1]]) * np.array([1.0, 0.0])
    other = Surfaces(
        Mesh(order=3, alignment=mesh.alignment, plan=bent, cells=mesh.cells, lines={}),
        case.found.ordinates,
    )
    assert GridSurfaces.of(other) is None
    # two halves of a slab side by side, not joined
    first = np.arange(len(mesh.cells)) < len(mesh.cells) // 2
    apart = np.where(first[:, None], mesh.cells, mesh.cells + mesh.n_nodes)
    used, cells = np.unique(apart, return_inverse=True)
    divided = Mesh(
        order=3,
        alignment=mesh.alignment,
        plan=np.tile(mesh.plan, (2, 1))[used],
        cells=cells.reshape(apart.shape),
        lines={},
    )
    assert GridSurfaces.of(Surfaces(divided, np.ones((1, divided.n_nodes)))) is None
    missing = Mesh(
        order=3, alignment=mesh.alignment, plan=mesh.plan, cells=mesh.cells[1:], lines={}
    )
    assert GridSurfaces.of(Surfaces(missing, case.found.ordinates)) is None


def test_axles_at_one_place_keep_their_own_loads() -> None:
    """The wheels of a vehicle in print may be told as two axles at one station, the inner ones
    heavier."""
    pair = (Axle(0.0, 1.0, (-0.9, 0.9), (0.3, 0.3)), Axle(0.0, 4.0, (-0.4, 0.4), (0.3, 0.3)))
    one = Vehicle(name="two in one", axles=pair)
    case = symmetric_case()
    traffic = replace(case.deck.required_traffic, vehicles=(one,))
    check(Case(replace(case.deck, traffic=traffic), case.found), 5, 300)


def test_of_tied_places_the_first_is_told_whatever_the_rounding() -> None:
    """A deck and a result that are symmetric both ways have four worst places; noise as large as
    rounding must not decide which is told."""
    case = symmetric_case()
    wheel = Vehicle(name="wheel", axles=(Axle(0.0, 1.0, (0.0,), (0.3, 0.4)),))
    traffic = replace(case.deck.required_traffic, vehicles=(wheel,))
    case = Case(replace(case.deck, traffic=traffic), case.found)
    x, y = case.found.mesh.plan.T
    peaks = [(at, across) for at in (1.1, 1.9) for across in (-0.7, 0.7)]
    surface = sum(1.0 / (0.1 + np.hypot(x - at, y - across)) for at, across in peaks)
    told = set()
    for seed in range(8):
        noise = 1.0 + 1e-14 * np.random.default_rng(seed).standard_normal(len(x))
        noisy = Surfaces(case.found.mesh, (surface * noise)[None])
        [worst] = worst_places(case.deck, noisy, [(0, 1)])
        told.add(worst.position)
    assert len(told) == 1
    [at] = told
    assert at is not None
    assert at.offset < 0.0
    assert at.station < 1.5

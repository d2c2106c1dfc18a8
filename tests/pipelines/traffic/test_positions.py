"""Load positions and wheel patches against hand counts and an independent polygon overlap."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from pipelines.deck.deck import Deck, Slab
from pipelines.deck.traffic import Traffic
from pipelines.errors import JobError
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.standards.actions.vehicles import library
from pipelines.traffic.positions import (
    dispersed,
    is_symmetric,
    lateral_offsets,
    load_positions,
)
from plate.geometry.plan import Plan, grid_plan

LM2 = library["EN 1991-2 LM2"]
# kept in the middle of a lane of 3.0 m
TANDEM = replace(library["EN 1991-2 LM1 TS"], clearance=0.5, clearance_to="wheel centre")
LORRY = Vehicle(
    name="lorry",
    axles=(
        Axle(0.0, 70e3, (-0.95, 0.95), (0.22, 0.32)),
        Axle(3.4, 110e3, (-0.95, -0.62, 0.62, 0.95), (0.22, 0.30)),
    ),
)
# one heavy side, so that mirroring shows
LOPSIDED = Vehicle(name="lopsided", axles=(Axle(0.0, 40e3, (-0.5, 1.0), (0.2, 0.4)),))
# its own turn by 180 degrees, though neither end to end nor side to side
CRAB = Vehicle(
    name="crab",
    axles=(
        Axle(0.0, 30e3, (-0.4, 1.0), (0.2, 0.2)),
        Axle(2.0, 30e3, (-1.0, 0.4), (0.2, 0.2)),
    ),
)

TRAFFIC = Traffic(
    carriageway=(-3.5, 3.5),
    vehicles=(LM2,),
    step=0.1,
    lateral_step=0.25,
    offsets=None,
    edge_clearance=None,
    surfacing=0.08,
    dispersal="none",
    dispersal_angle=np.pi / 4,
    directions="both",
)
PLAN = grid_plan([0.0, 3.1, 6.2, 9.3], [-4.3, 4.3])


def deck(traffic: Traffic | None, plan: Plan = PLAN) -> Deck:
    slab = Slab(thickness=0.27, E=34e9, poisson=0.2, density=25e3)
    return Deck(
        path="",
        title="",
        slab=slab,
        plan=plan,
        stations=plan.stations,
        offsets=plan.offsets,
        lines=(),
        points=(),
        cases=(),
        traffic=traffic,
        probes=(),
    )


# ------------------------------------------------------------------ dispersal and offsets


@pytest.mark.parametrize(
    ("dispersal", "angle", "spread"),
    [
        ("none", 45.0, 0.0),
        ("surfacing", 45.0, 0.16),
        ("mid-depth", 45.0, 0.16 + 0.27),
        ("mid-depth", 30.0, 0.43 / np.sqrt(3.0)),
    ],
)
def test_dispersal(dispersal: str, angle: float, spread: float) -> None:
    traffic = replace(TRAFFIC, dispersal=dispersal, dispersal_angle=np.deg2rad(angle))
    assert dispersed((0.35, 0.6), traffic, 0.27) == pytest.approx((0.35 + spread, 0.6 + spread))


@pytest.mark.parametrize(
    ("name", "carriageway", "expected"),
    [
        ("EN 1991-2 LM2", (-3.5, 3.5), (-2.2, 2.2)),  # tyre at the kerb: 1.0 + 0.3
        ("EN 1991-2 LM1 TS", (-1.5, 1.5), (-0.3, 0.3)),  # 2.4 m over tyres in its lane of 3 m
        ("AASHTO HL-93 truck", (0.0, 3.6), (1.5, 2.1)),  # 0.6 + 0.9
        ("IRC:6 Class A", (-3.5, 3.5), (-2.2, 2.2)),  # 0.15 + 0.9 + 0.25
        ("IRC:6 70R wheeled", (-3.5, 3.5), (-0.905, 0.905)),  # 1.2 + 0.965 + 0.43
    ],
)
def test_offset_range_by_the_vehicles_own_clearance(
    name: str, carriageway: tuple[float, float], expected: tuple[float, float]
) -> None:
    traffic = replace(TRAFFIC, carriageway=carriageway)
    assert traffic.offset_range(library[name]) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("middle", np.arange(-0.9, 1.0, 0.1))
def test_a_vehicle_that_just_fits_has_one_place(middle: float) -> None:
    traffic = replace(TRAFFIC, carriageway=(middle - 1.5, middle + 1.5))
    low, high = traffic.offset_range(TANDEM)
    assert low == high == pytest.approx(middle, abs=1e-12)


def test_edge_clearance_overrides_and_counts_to_the_wheel_centre() -> None:
    traffic = replace(TRAFFIC, edge_clearance=0.5, dispersal="mid-depth")
    assert traffic.offset_range(LM2) == pytest.approx((-2.0, 2.0))


def test_offset_range_of_a_lopsided_vehicle_turns_with_it() -> None:
    assert TRAFFIC.offset_range(LOPSIDED) == pytest.approx((-2.5, 2.0))
    assert TRAFFIC.offset_range(LOPSIDED, "reverse") == pytest.approx((-2.0, 2.5))


@pytest.mark.parametrize(
    ("carriageway", "step", "count"),
    [
        ((-3.5, 3.5), 0.25, 17),
        ((-3.5, 3.5), 0.3, 15),  # 13.3 spaces round up to 14
        ((-3.5, 3.5), 9.0, 2),
        ((-1.5, 1.5), 0.25, 1),
        ((-1.55, 1.55), 0.1, 2),  # 0.1 as a float difference: one space, not two
        ((-1.65, 1.65), 0.1, 4),
    ],
)
def test_number_of_lateral_places(
    carriageway: tuple[float, float], step: float, count: int
) -> None:
    traffic = replace(TRAFFIC, carriageway=carriageway, lateral_step=step)
    offsets = lateral_offsets(TANDEM, traffic)
    assert len(offsets) == count
    np.testing.assert_allclose(offsets, -offsets[::-1], rtol=0.0, atol=1e-12)
    assert offsets[0] == pytest.approx(carriageway[0] + 1.5, abs=1e-12)


def test_offsets_of_the_deck_file_replace_the_range() -> None:
    traffic = replace(TRAFFIC, lateral_step=None, offsets=(0.4, -3.2))
    assert lateral_offsets(LM2, traffic).tolist() == [0.4, -3.2]


def test_too_wide_a_vehicle_is_told() -> None:
    traffic = replace(TRAFFIC, vehicles=(TANDEM,), carriageway=(-1.4, 1.4))
    low, high = traffic.offset_range(TANDEM)
    assert high - low == pytest.approx(-0.2)
    with pytest.raises(JobError, match=r"EN 1991-2 LM1 TS .* 0\.2 m wider"):
        load_positions(deck(traffic))


# ------------------------------------------------------------------ symmetry


@pytest.mark.parametrize(
    ("vehicle", "symmetric"),
    [
        (LM2, True),
        (TANDEM, True),
        (library["AASHTO HL-93 truck"], False),
        (library["IRC:6 Class A"], False),
        (LORRY, False),
        (LOPSIDED, False),
        (CRAB, True),
        (replace(TANDEM, axles=(TANDEM.axles[0], replace(TANDEM.axles[1], load=299e3))), False),
        (
            replace(TANDEM, axles=(TANDEM.axles[0], replace(TANDEM.axles[1], patch=(0.4, 0.5)))),
            False,
        ),
    ],
)
def test_is_symmetric(vehicle: Vehicle, symmetric: bool) -> None:
    assert is_symmetric(vehicle) is symmetric


@pytest.mark.parametrize(
    ("vehicle", "step", "radius", "directions", "runs"),
    [
        (TANDEM, 0.1, np.inf, "both", ["forward"]),  # 1.2 m is twelve steps
        (TANDEM, 0.25, np.inf, "both", ["forward", "reverse"]),
        (TANDEM, 0.1, 60.0, "both", ["forward", "reverse"]),
        (LM2, 0.25, 60.0, "both", ["forward"]),
        (LORRY, 0.1, np.inf, "both", ["forward", "reverse"]),
        (LORRY, 0.1, np.inf, "forward", ["forward"]),
    ],
)
def test_reverse_runs_only_where_they_add_something(
    vehicle: Vehicle, step: float, radius: float, directions: str, runs: list[str]
) -> None:
    plan = grid_plan([0.0, 9.3], [-4.3, 4.3], radius=radius)
    traffic = replace(TRAFFIC, vehicles=(vehicle,), step=step, directions=directions)
    assert [p.direction for p in load_positions(deck(traffic, plan))] == runs


def test_the_reverse_run_left_out_would_repeat_the_forward_one() -> None:
    plan = grid_plan([0.0, 9.3], [-4.3, 4.3], skew=0.3)
    traffic = replace(TRAFFIC, lateral_step=0.5)
    (forward,) = load_positions(deck(replace(traffic, vehicles=(CRAB,)), plan))
    # the same vehicle but for its load has both runs: its reverse stations are 2.0 m less
    twin = replace(CRAB, axles=(CRAB.axles[0], replace(CRAB.axles[1], load=31e3)))
    _, reverse = load_positions(deck(replace(traffic, vehicles=(twin,)), plan))
    # rounding of coordinates of some metres
    np.testing.assert_allclose(reverse.stations, forward.stations - 2.0, rtol=0.0, atol=1e-12)
    # turned, the patches of each position are the same: last wheel first
    turned = replace(forward, direction="reverse", stations=forward.stations - 2.0)
    ahead, back = forward.wheels(slice(None)), turned.wheels(slice(None))
    last_first = back.corners.reshape(-1, 4, 4, 2)[:, ::-1].reshape(-1, 4, 2)
    np.testing.assert_allclose(ahead.corners, last_first, rtol=0.0, atol=1e-12)
    np.testing.assert_array_equal(ahead.load, back.load)


# ------------------------------------------------------------------ stations


def test_positions_of_one_axle_by_hand() -> None:
    traffic = replace(TRAFFIC, step=0.3, lateral_step=None, offsets=(1.0, -1.0))
    (run,) = load_positions(deck(traffic, grid_plan([0.0, 2.0], [-3.0, 3.0])))
    # the patch reaches 0.175 either way: stations above -0.175 and below 2.175
    expected = 0.3 * np.arange(0, 8)
    np.testing.assert_allclose(run.stations, np.repeat(expected, 2), rtol=0.0, atol=1e-12)
    np.testing.assert_array_equal(run.offsets, np.tile([-1.0, 1.0], 8))
    assert sum(map(len, load_positions(deck(traffic, grid_plan([0.0, 2.0], [-3.0, 3.0]))))) == 16


def test_a_patch_that_only_reaches_the_edge_is_off_the_slab() -> None:
    vehicle = Vehicle(name="axle", axles=(Axle(0.0, 10e3, (-1.0, 1.0), (0.6, 0.4)),))
    traffic = replace(TRAFFIC, vehicles=(vehicle,))
    (run,) = load_positions(deck(traffic))
    # 0.3 each way is three steps exactly, where the overlap is zero
    assert run.stations[0] == pytest.approx(-0.2)
    assert run.stations[-1] == pytest.approx(9.3 + 0.2)


def test_a_corner_of_the_slab_inside_the_patch_decides() -> None:
    # the end line rises at 45 degrees to the corner (6, 2), the right edge falls back from there
    plan = grid_plan([0.0, 4.0], [-4.0, 4.0], skew=np.pi / 4, end_offsets=[-4.0, 2.0])
    vehicle = Vehicle(name="wheel", axles=(Axle(0.0, 10e3, (0.0,), (0.2, 0.4)),))
    traffic = replace(TRAFFIC, vehicles=(vehicle,), step=0.04, offsets=(2.0,), lateral_step=None)
    (run,) = load_positions(deck(traffic, plan))
    # start: the line x = y meets the patch's near side at y = 1.8; end: the corner; 0.1 m each way
    assert run.stations[0] == pytest.approx(1.72)
    assert run.stations[-1] == pytest.approx(6.08)


def test_stations_between_distant_axles_are_left_out() -> None:
    vehicle = Vehicle(
        name="long", axles=tuple(Axle(at, 10e3, (-1.0, 1.0), (0.2, 0.2)) for at in (0.0, 10.0))
    )
    plan = grid_plan([0.0, 2.0], [-3.0, 3.0])
    traffic = replace(TRAFFIC, vehicles=(vehicle,), step=0.5, offsets=(0.0,), lateral_step=None)
    (run,) = load_positions(deck(traffic, plan))
    expected = [0.0, 0.5, 1.0, 1.5, 2.0, 10.0, 10.5, 11.0, 11.5, 12.0]
    assert run.stations == pytest.approx(expected)


def test_a_run_beside_the_slab_has_no_positions() -> None:
    plan = grid_plan([0.0, 9.3], [-4.3, -1.5])
    traffic = replace(TRAFFIC, carriageway=(0.0, 3.5))
    assert [len(run) for run in load_positions(deck(traffic, plan))] == [0]
    assert sum(map(len, load_positions(deck(None, plan)))) == 0


def test_reverse_leads_with_its_first_axle() -> None:
    traffic = replace(TRAFFIC, vehicles=(LORRY,), lateral_step=None, offsets=(0.0,))
    forward, reverse = load_positions(deck(traffic))
    # the last axle leaves 3.4 m after the first; turned, it enters 3.4 m before it
    assert (forward.stations[0], forward.stations[-1]) == pytest.approx((-0.1, 9.3 + 3.5))
    assert (reverse.stations[0], reverse.stations[-1]) == pytest.approx((-3.5, 9.3 + 0.1))


# ------------------------------------------------------------------ wheel patches


def one_position(vehicle: Vehicle, direction: str, station: float, offset: float, radius: float):
    plan = grid_plan([0.0, 9.3], [-4.3, 4.3], radius=radius)
    traffic = replace(
        TRAFFIC, vehicles=(vehicle,), lateral_step=None, offsets=(offset,), step=station
    )
    run = next(r for r in load_positions(deck(traffic, plan)) if r.direction == direction)
    return run.wheels(np.flatnonzero(run.stations == station))


@pytest.mark.parametrize(("direction", "ahead"), [("forward", -1.0), ("reverse", 1.0)])
def test_wheels_of_a_two_axle_lorry_by_hand(direction: str, ahead: float) -> None:
    vehicle = replace(
        LORRY,
        impact=1.25,
        axles=(LORRY.axles[0], replace(LORRY.axles[1], wheels=(-0.95, -0.62, 0.62, 1.05))),
    )
    wheels = one_position(vehicle, direction, 5.0, 0.4, np.inf)
    centres = wheels.corners.mean(axis=1)
    across = np.array([-0.95, 0.95, -0.95, -0.62, 0.62, 1.05])
    np.testing.assert_allclose(centres[:, 0], 5.0 + ahead * np.array([0, 0, 3.4, 3.4, 3.4, 3.4]))
    np.testing.assert_allclose(centres[:, 1], 0.4 - ahead * across)
    np.testing.assert_allclose(wheels.load / 1e3, np.array([35, 35, 27.5, 27.5, 27.5, 27.5]) * 1.25)
    np.testing.assert_array_equal(wheels.position, np.zeros(6))
    first = wheels.corners[0] - centres[0]
    np.testing.assert_allclose(
        first, [[-0.11, -0.16], [0.11, -0.16], [0.11, 0.16], [-0.11, 0.16]], atol=1e-12
    )


@pytest.mark.parametrize("radius", [40.0, -40.0])
@pytest.mark.parametrize(("direction", "ahead"), [("forward", -1.0), ("reverse", 1.0)])
def test_wheels_on_a_curve_by_hand(radius: float, direction: str, ahead: float) -> None:
    y0 = 2.0
    wheels = one_position(LORRY, direction, 5.0, y0, radius)
    rear = wheels.corners[3]
    y = y0 - ahead * -0.62
    centre = 5.0 + ahead * 3.4 * radius / (radius - y0)
    near = 0.11 * radius / (radius - (y - 0.15))
    far = 0.11 * radius / (radius - (y + 0.15))
    expected = [
        [centre - near, y - 0.15],
        [centre + near, y - 0.15],
        [centre + far, y + 0.15],
        [centre - far, y + 0.15],
    ]
    np.testing.assert_allclose(rear, expected, rtol=0.0, atol=1e-12)


def test_axles_on_a_curve_are_their_distance_apart_on_the_ground() -> None:
    plan = grid_plan([0.0, 9.3], [-4.3, 4.3], radius=30.0)
    wheels = one_position(LORRY, "forward", 5.0, -3.0, 30.0)
    # the axles' centres: the mean of symmetric wheels on one radial line
    ends = np.array([wheels.corners[:2].mean(axis=(0, 1)), wheels.corners[2:].mean(axis=(0, 1))])
    ends[:, 1] = -3.0
    chord = np.linalg.norm(np.diff(plan.alignment.to_cartesian(ends), axis=0))
    # an arc of 3.4 m at radius 33 m; the mean of trapezoid corners is off by 1e-6 at most
    assert chord == pytest.approx(2 * 33.0 * np.sin(3.4 / 66.0), abs=1e-5)


def test_several_positions_at_once_are_those_one_by_one() -> None:
    traffic = replace(TRAFFIC, vehicles=(LORRY,), step=0.7, lateral_step=0.9)
    _, reverse = load_positions(deck(traffic, grid_plan([0.0, 9.3], [-4.3, 4.3], radius=50.0)))
    picked = np.array([7, 2, 11])
    together = reverse.wheels(picked)
    assert together.position.tolist() == [0] * 6 + [1] * 6 + [2] * 6
    for k, index in enumerate(picked):
        alone = reverse.wheels(slice(index, index + 1))
        np.testing.assert_array_equal(together.corners[together.position == k], alone.corners)
        np.testing.assert_array_equal(together.load[together.position == k], alone.load)


def test_a_vehicle_at_the_centre_of_curvature_is_told() -> None:
    plan = grid_plan([0.0, 3.0], [-4.3, 1.0], radius=2.0)
    with pytest.raises(JobError, match="reaches the centre of curvature"):
        load_positions(deck(TRAFFIC, plan))


# ------------------------------------------------------------------ properties

lengths = st.floats(0.15, 0.8)
axles = st.builds(
    lambda at, load, wheels, along, across: (at, load, tuple(sorted(wheels)), (along, across)),
    st.floats(0.4, 5.0),
    st.floats(10e3, 300e3),
    st.lists(st.floats(-1.1, 1.1), min_size=1, max_size=4),
    lengths,
    lengths,
)


@st.composite
def vehicles(draw: st.DrawFn) -> Vehicle:
    rows = draw(st.lists(axles, min_size=1, max_size=4))
    places = np.cumsum([0.0] + [row[0] for row in rows[1:]])
    return Vehicle(
        name="drawn",
        axles=tuple(Axle(float(at), *row[1:]) for at, row in zip(places, rows, strict=True)),
        impact=draw(st.sampled_from([1.0, 1.33])),
        clearance=draw(st.floats(0.0, 0.6)),
        clearance_to=draw(st.sampled_from(["wheel centre", "tyre edge"])),
    )


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    shape = draw(st.sampled_from(["skew", "curve"]))
    over = {edge: draw(st.floats(0.0, 0.8)) for edge in ("start", "end", "left", "right")}
    stations = [0.0, draw(st.floats(2.0, 9.0))]
    ends = (-4.0 + draw(st.floats(-1.0, 2.0)), 4.0 + draw(st.floats(-2.0, 1.0)))
    if shape == "skew":
        skew = draw(st.floats(-0.8, 0.8))
        return grid_plan(stations, (-4.0, 4.0), overhang=over, skew=skew, end_offsets=ends)
    radius = draw(st.floats(12.0, 300.0)) * draw(st.sampled_from([-1.0, 1.0]))
    return grid_plan(stations, (-4.0, 4.0), overhang=over, radius=radius, end_offsets=ends)


drawn_decks = st.builds(
    lambda vehicle, plan, step, lateral, depth: deck(
        replace(TRAFFIC, vehicles=(vehicle,), step=step, lateral_step=lateral, dispersal=depth),
        plan,
    ),
    vehicles(),
    plans(),
    st.floats(0.2, 1.1),
    st.floats(0.5, 2.0),
    st.sampled_from(["none", "surfacing", "mid-depth"]),
)


@settings(max_examples=40, deadline=None)
@given(drawn_decks)
def test_load_area_and_clearance_of_every_position(deck: Deck) -> None:
    traffic = deck.traffic
    assert traffic is not None
    vehicle = traffic.vehicles[0]
    total = vehicle.impact * sum(axle.load for axle in vehicle.axles)
    sides = np.array([dispersed(a.patch, traffic, 0.27) for a in vehicle.axles for _ in a.wheels])
    reach = np.array([0.5 * a.patch[1] for a in vehicle.axles for _ in a.wheels])
    asked = vehicle.clearance + (reach if vehicle.clearance_to == "tyre edge" else 0.0 * reach)
    for run in load_positions(deck):
        wheels = run.wheels(slice(None))
        loads = np.bincount(wheels.position, wheels.load, minlength=len(run))
        np.testing.assert_allclose(loads, total, rtol=1e-12)  # sums of sixteen loads at most
        y = wheels.corners[:, :, 1].mean(axis=1).reshape(len(run), -1)
        # straight sides stand for hyperbolas: the exact excess of area, b^2/6(R - y)^2 at first
        curved = (0.5 * sides[:, 1] / (deck.plan.alignment.radius - y)) ** 2
        area = deck.plan.alignment.polygon_area(wheels.corners).reshape(y.shape)
        expected = np.prod(sides, axis=1) * (1.0 - curved / 3.0) / (1.0 - curved)
        np.testing.assert_allclose(area, expected, rtol=1e-9)  # cancellation at stations of 20 m
        gap = np.minimum(y - traffic.carriageway[0], traffic.carriageway[1] - y) - asked
        assert gap.min(initial=0.0) > -1e-9
        order = np.lexsort((run.offsets, run.stations))
        np.testing.assert_array_equal(order, np.arange(len(run)))


@settings(max_examples=40, deadline=None)
@given(drawn_decks)
def test_stations_are_exactly_those_where_a_patch_overlaps(deck: Deck) -> None:
    traffic = deck.traffic
    assert traffic is not None
    slab = Polygon(deck.plan.outline)
    for run in load_positions(deck):
        places = len(lateral_offsets(traffic.vehicles[0], traffic, run.direction))
        kept = np.rint(run.stations[::places] / traffic.step).astype(int)
        asked = np.arange(kept.min() - 3, kept.max() + 4)
        moved = replace(
            run,
            stations=np.repeat(traffic.step * asked, places),
            offsets=np.tile(run.offsets[:places], len(asked)),
        )
        wheels = moved.wheels(slice(None))
        overlap = np.array([slab.intersection(Polygon(c)).area for c in wheels.corners])
        at_station = overlap.reshape(len(asked), -1).max(axis=1)
        clear = (at_station > 1e-9) | (at_station < 1e-15)  # leave what rounding decides
        np.testing.assert_array_equal(np.isin(asked, kept)[clear], (at_station > 1e-9)[clear])

"""Refined worst places against hand positions and dense scans of random decks and vehicles."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines.accuracy.free_vehicle import free_vehicles
from pipelines.accuracy.pattern_search import pattern_search
from pipelines.accuracy.searched_position import searched_places
from pipelines.accuracy.worst_place import WorstPlace
from pipelines.accuracy.worst_position import worst_places
from pipelines.deck.deck import Deck, Line, MeshOptions, Probe, Slab
from pipelines.deck.traffic import Traffic
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.influence import Surfaces, surfaces
from pipelines.model.responses import SolvedDeck
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.traffic.arrangements import LoadPosition
from pipelines.traffic.positions import LoadPositions, lateral_offsets
from plate.geometry.plan import grid_plan
from tests.pipelines.small_decks import MESH, SLAB, deck_of, small_deck, solver_of


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    return small_deck(tmp_path_factory.mktemp("deck"))


@pytest.fixture(scope="module")
def solved(deck: Deck) -> SolvedDeck:
    return solver_of(deck)


@pytest.fixture(scope="module")
def envelopes(deck: Deck, solved: SolvedDeck) -> TrafficEnvelope:
    [found] = traffic_envelopes(solved)
    assert found is not None
    return found


def started(envelopes: TrafficEnvelope) -> list[LoadPosition | None]:
    """The load positions of the stepped maxima and minima of the probes."""
    e = envelopes.probes
    found = (envelopes.position(int(k)) for k in (*e.at_maximum, *e.at_minimum))
    return [None if at is None else at.single for at in found]


def step_errors(places: Sequence[WorstPlace], values: Sequence[float]) -> np.ndarray:
    """By how much stepped values may fall short of the worst ones."""
    return np.array(
        [abs(place.value - v) + place.tolerance for place, v in zip(places, values, strict=True)]
    )


def surfaces_of(solved: SolvedDeck) -> Surfaces:
    return surfaces(solved.stiffness, solved.probes.rows)


def test_climb_finds_the_top_of_a_quadratic_within_its_bounds() -> None:
    top = np.array([[0.3, 5.0], [-0.2, -0.2]])

    def value(which: np.ndarray, x: np.ndarray) -> np.ndarray:
        dx, dy = x - top[:, which]
        return np.asarray(-(dx**2) - 3.0 * dy**2 - dx * dy)

    x = np.zeros((2, 2))
    bounds = np.array([[-1.0, 1.0], [-1.0, 1.0]])
    found, best = pattern_search(value, x, value(np.arange(2), x), bounds, 0.2, 1e-4)
    np.testing.assert_allclose(found[:, 0], [0.3, -0.2], atol=1e-3)
    # bounded by x = 1: y = -0.2 - (1 - 5) / 6
    np.testing.assert_allclose(found[:, 1], [1.0, -0.2 + 4.0 / 6.0], atol=1e-3)
    assert best[0] == pytest.approx(0.0, abs=1e-6)


def test_climb_along_a_ridge_that_two_axes_share() -> None:
    """A vehicle's station and its spacing are one motion while only its rear axles are on the
    slab: the quadratic is level along their difference and has no single top."""

    def value(which: np.ndarray, x: np.ndarray) -> np.ndarray:
        return np.asarray(-((x[0] + x[2] - 0.4) ** 2) - 3.0 * (x[1] + 0.1) ** 2)

    x = np.zeros((3, 1))
    bounds = np.array([[-1.0, 1.0]] * 3)
    found, best = pattern_search(value, x, value(np.arange(1), x), bounds, 0.2, 1e-4)
    assert found[0, 0] + found[2, 0] == pytest.approx(0.4, abs=1e-3)
    assert best[0] == pytest.approx(0.0, abs=1e-6)


def test_one_axle_on_a_strip_governs_over_the_point(tmp_path: Path) -> None:
    # A slab on two lines under one wide axle: the moment at midspan is largest with the axle there.
    deck = deck_of(
        tmp_path,
        SLAB,
        "[plan]\nstations_m = [0.0, 4.0]\noffsets_m = [-1.5, 1.5]\n",
        '[[line]]\non = "C*"\nsupport = "rigid"\n',
        "[traffic]\ncarriageway_m = [-1.5, 1.5]\nstep_m = 0.37\nlateral_step_m = 0.4\n",
        '[[vehicle]]\nname = "axle"\naxles = [{ at_m = 0.0, load_kN = 80, '
        "wheels_m = [0.0], patch_mm = [300, 500] }]\n",
        '[[probe]]\nname = "mid"\nat_m = [2.0, 0.0]\n',
        MESH,
    )
    solved = solver_of(deck)
    [worst] = worst_places(deck, surfaces_of(solved), [(1, 1)])
    assert worst.position is not None
    assert worst.position.station == pytest.approx(2.0, abs=0.01)
    assert worst.position.offset == pytest.approx(0.0, abs=0.01)
    [envelopes] = traffic_envelopes(solved)
    assert envelopes is not None
    stepped = float(envelopes.probes.maximum[1])
    # 0.37 m misses the middle by 0.15 m, which costs some per cent
    assert 1.005 < worst.value / stepped < 1.2


def test_refined_values_are_no_lower_than_the_envelope(
    deck: Deck, solved: SolvedDeck, envelopes: TrafficEnvelope
) -> None:
    e = envelopes.probes
    n = len(e.maximum)
    wanted = [(k, 1) for k in range(n)] + [(k, -1) for k in range(n)]
    values = [*e.maximum, *e.minimum]
    places = worst_places(deck, surfaces_of(solved), wanted, starts=started(envelopes))
    for (_, sign), value, place in zip(wanted, values, places, strict=True):
        assert sign * place.value >= sign * value - 1e-9 * abs(value)
        assert place.tolerance >= 0.0
    # steps of 0.5 and 0.4 m miss something everywhere, and much somewhere
    errors = step_errors(places, values)
    share = (errors / np.maximum(np.abs(values), 1e-12))[np.abs(values) > 0.0]
    assert np.median(share) > 0.003
    assert share.max() > 0.02


def test_a_refined_place_entered_again_gives_its_value(deck: Deck, solved: SolvedDeck) -> None:
    wanted = [(1, 1), (7, -1), (4, 1)]
    for (row, _), place in zip(
        wanted, worst_places(deck, surfaces_of(solved), wanted), strict=True
    ):
        at = place.position
        assert at is not None
        assert deck.traffic is not None
        # forward, by one offset and a step that makes its station a multiple
        step = abs(at.station) / max(1.0, np.round(abs(at.station) / 0.5))
        given_ = replace(deck.traffic, offsets=(at.offset,), lateral_step=None, step=step)
        given = replace(deck, traffic=given_)
        [envelopes] = traffic_envelopes(replace(solved, deck=given))
        assert envelopes is not None
        e = envelopes.probes
        found = e.maximum[row] if place.value > 0 else e.minimum[row]
        assert found == pytest.approx(place.value, rel=1e-5)


def test_fixed_offsets_are_kept(deck: Deck, solved: SolvedDeck) -> None:
    assert deck.traffic is not None
    fixed = replace(deck.traffic, offsets=(-0.3, 0.55), lateral_step=None)
    mine = replace(deck, traffic=fixed)
    found = worst_places(mine, surfaces_of(solved), [(k, s) for k in range(6) for s in (1, -1)])
    assert {p.position.offset for p in found if p.position is not None} <= {-0.3, 0.55}


def test_zero_governs_what_no_load_makes(tmp_path: Path) -> None:
    deck = deck_of(
        tmp_path,
        SLAB,
        "[plan]\nstations_m = [0.0, 4.0]\noffsets_m = [-1.5, 1.5]\n",
        '[[line]]\non = "C*"\nsupport = "rigid"\n',
        "[traffic]\ncarriageway_m = [-1.5, 1.5]\n",
        '[[vehicle]]\nname = "axle"\naxles = [{ at_m = 0.0, load_kN = 80, '
        "wheels_m = [0.0], patch_mm = [300, 500] }]\n",
        '[[probe]]\nname = "mid"\nat_m = [2.0, 0.0]\n',
        MESH,
    )
    solved = solver_of(deck)
    [worst] = worst_places(deck, surfaces_of(solved), [(0, -1)])
    assert worst.value == 0.0
    assert worst.position is None


def test_a_variable_spacing_takes_its_worst_width(tmp_path: Path) -> None:
    # Hogging over the middle line: an axle in each bay, as far apart as the influence lines' peaks.
    deck = deck_of(
        tmp_path,
        SLAB,
        "[plan]\nstations_m = [0.0, 4.0, 8.0]\noffsets_m = [-1.0, 1.0]\n",
        '[[line]]\non = "C*"\nsupport = "rigid"\n',
        "[traffic]\ncarriageway_m = [-1.0, 1.0]\noffsets_m = [0.0]\n",
        '[[vehicle]]\nname = "two"\naxles = [{ at_m = 0.0, load_kN = 80, wheels_m = [0.0], '
        "patch_mm = [300, 900] }, { at_m = 2.0, load_kN = 80, wheels_m = [0.0], "
        "patch_mm = [300, 900] }]\n",
        '[[probe]]\nname = "over C2"\nat_m = [4.0, 0.0]\n',
        MESH,
    )
    assert deck.traffic is not None
    [two] = deck.traffic.vehicles
    wide = replace(two, variable=(1, 4.0))
    solved = solver_of(deck)
    found = surfaces_of(solved)
    [fixed] = worst_places(deck, found, [(1, -1)])
    [free] = worst_places(deck, found, [(1, -1)], vehicles=[wide])
    assert free.position is not None
    # a three-moment beam's influence line peaks at L / sqrt(3) from the outer ends
    assert 2.0 + free.position.spread == pytest.approx(8.0 - 8.0 / np.sqrt(3.0), abs=0.25)
    assert free.value < 1.1 * fixed.value < 0.0


AXLES = st.lists(
    st.tuples(
        st.floats(0.9, 3.0),
        st.floats(30e3, 120e3),
        st.floats(0.5, 0.9),
        st.floats(0.15, 0.5),
        st.floats(0.2, 0.6),
    ),
    min_size=1,
    max_size=3,
)


decks_and_vehicles = given(
    bays=st.lists(st.floats(1.5, 3.5), min_size=1, max_size=2),
    axles=AXLES,
    place=st.tuples(st.floats(0.05, 0.95), st.floats(-0.85, 0.85)),
    support=st.sampled_from(["rigid", "spring"]),
    dispersal=st.sampled_from(["none", "mid-depth"]),
)


@settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@decks_and_vehicles
def test_a_dense_scan_never_exceeds_value_and_step_error(
    bays: list[float],
    axles: list[tuple[float, ...]],
    place: tuple[float, float],
    support: str,
    dispersal: str,
) -> None:
    check_dense_scan(bays, axles, place, support, dispersal)


@pytest.mark.slow
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@decks_and_vehicles
def test_a_dense_scan_of_many_decks(
    bays: list[float],
    axles: list[tuple[float, ...]],
    place: tuple[float, float],
    support: str,
    dispersal: str,
) -> None:
    check_dense_scan(bays, axles, place, support, dispersal)


def check_dense_scan(
    bays: list[float],
    axles: list[tuple[float, ...]],
    place: tuple[float, float],
    support: str,
    dispersal: str,
) -> None:
    stations = np.concatenate([[0.0], np.cumsum(bays)])
    at = np.concatenate([[0.0], np.cumsum([a[0] for a in axles])])
    vehicle = Vehicle(
        name="random",
        axles=tuple(
            Axle(float(x), load, (-gauge, gauge), (a, b))
            for x, (_, load, gauge, a, b) in zip(at, axles, strict=False)
        ),
    )
    traffic = Traffic(
        carriageway=(-1.6, 1.6),
        vehicles=(vehicle,),
        step=0.4,
        lateral_step=0.4,
        offsets=None,
        edge_clearance=0.35,
        surfacing=0.08,
        dispersal=dispersal,
        dispersal_angle=np.pi / 4,
        directions="forward",
    )  # type: ignore[arg-type]
    plan = grid_plan(stations.tolist(), [-1.6, 1.6])
    lines = tuple(
        Line(name=f"C{k + 1}", support=support, k=5e7)  # type: ignore[arg-type]
        for k in range(len(stations))
    )
    probe = Probe("p", (float(place[0] * stations[-1]), 1.6 * place[1]))
    deck = Deck(
        path="",
        title="",
        slab=Slab(thickness=0.22, E=30e9, poisson=0.2, density=25e3),
        plan=plan,
        stations=plan.stations,
        offsets=plan.offsets,
        lines=lines,
        points=(),
        cases=(),
        traffic=traffic,
        probes=(probe,),
        mesh=MeshOptions(2, 0.9),
    )
    solved = solver_of(deck)
    [envelopes] = traffic_envelopes(solved)
    assert envelopes is not None
    e = envelopes.probes
    n = len(e.maximum)
    wanted = [(k, 1) for k in range(n)] + [(k, -1) for k in range(n)]
    values = np.array([*e.maximum, *e.minimum])
    found = surfaces_of(solved)
    places = worst_places(deck, found, wanted, starts=started(envelopes))
    errors = step_errors(places, values.tolist())
    low, high = scanned(deck, found, envelopes.runs[0])
    assert all(place.proven for place in places)
    np.testing.assert_array_less(high, e.maximum + errors[:n] + 1e-9 * np.abs(high).max())
    np.testing.assert_array_less(-low, -e.minimum + errors[n:] + 1e-9 * np.abs(low).max())
    # and so it is with the search, where there is no proof
    rows, signs = np.array(wanted).T
    fleet = list(free_vehicles(deck, traffic.vehicles))
    search = searched_places(deck, found, fleet, rows, signs.astype(float), started(envelopes))
    errors = step_errors(search, values.tolist())
    np.testing.assert_array_less(high, e.maximum + errors[:n] + 1e-9 * np.abs(high).max())
    np.testing.assert_array_less(-low, -e.minimum + errors[n:] + 1e-9 * np.abs(low).max())


def scanned(deck: Deck, found: Surfaces, run: LoadPositions) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest value of every result over positions a sixth of a patch apart, and a
    twentieth along the deck where a wheel comes onto the slab or leaves it."""
    assert deck.traffic is not None
    step = min(min(p) for p in run.patches) / 6.0
    reach = run.vehicle.axles[-1].at + 1.0
    s = np.arange(-1.0, deck.stations[-1] + reach, step)
    entries = [
        end + axle.at + patch[0] * np.linspace(-0.5, 0.5, 21)
        for axle, patch in zip(run.vehicle.axles, run.patches, strict=True)
        for end in (0.0, deck.stations[-1])
    ]
    s = np.unique(np.concatenate([s, *entries]))
    ends = lateral_offsets(run.vehicle, deck.traffic)[[0, -1]]
    y = np.linspace(*ends, int(np.ceil(np.ptp(ends) / step)) + 1)
    low, high = np.zeros(len(found.ordinates)), np.zeros(len(found.ordinates))
    for offset in y:
        dense = replace(run, stations=s, offsets=np.full(len(s), offset))
        wheels = dense.wheels(slice(None))
        means = (found.means(wheels.corners) * wheels.load).reshape(len(low), len(s), -1)
        values = means.sum(axis=2)
        low, high = np.minimum(low, values.min(axis=1)), np.maximum(high, values.max(axis=1))
    return low, high

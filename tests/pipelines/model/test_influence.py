"""Influence surfaces against forward solutions, and their known shapes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.accuracy.free_vehicle import MOST_PLACES, free_vehicles
from pipelines.accuracy.wheel_influence import ENTERING, NEAR, SPACES, _lattice, wheel_field
from pipelines.deck.deck import Deck
from pipelines.errors import JobError
from pipelines.model.influence import Wanted, field_rows, surfaces, wanted_row
from pipelines.model.position_blocks import position_load
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import LoadPositions, load_positions
from plate.conventions import RESULTS
from tests.pipelines.small_decks import (
    BEAMS,
    MESH,
    PLAN,
    PROBES,
    SLAB,
    deck_of,
    small_deck,
    solver_of,
)


@pytest.fixture(scope="module")
def deck(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    return small_deck(tmp_path_factory.mktemp("deck"))


@pytest.fixture(scope="module")
def solved(deck: Deck) -> SolvedDeck:
    return solver_of(deck)


@pytest.fixture(scope="module")
def run(deck: Deck) -> LoadPositions:
    return load_positions(deck)[0]


def test_adjoint_gives_what_the_forward_solution_gives(
    solved: SolvedDeck, run: LoadPositions
) -> None:
    rows = solved.probes.rows
    part = slice(0, len(run), 7)
    forward = rows @ solved.stiffness.solve(position_load(solved.model, run, part))
    found = surfaces(solved.stiffness, rows)
    index = np.arange(len(run))[part]
    for k, expected in enumerate(forward):
        values = found.under(np.full(len(index), k), run.wheels(index))
        # two solutions with one factorisation: digits lost to its conditioning
        np.testing.assert_allclose(values, expected, rtol=0.0, atol=1e-9 * np.abs(expected).max())


@pytest.mark.parametrize(
    "skewed", ["skew_deg = 25\n", "radius_m = 30\n", "end_offsets_m = [-1.6, 2.3]\n"]
)
def test_adjoint_on_skew_curved_and_tapered_decks(tmp_path: Path, skewed: str) -> None:
    traffic = (
        "[traffic]\ncarriageway_m = [-1.5, 1.5]\nstep_m = 1.1\noffsets_m = [0.3]\n"
        '[[vehicle]]\nname = "axle"\n'
        "axles = [ { at_m = 0, load_kN = 50, gauge_m = 1.6, patch_mm = [300, 300] },\n"
        " { at_m = 1.3, load_kN = 80, gauge_m = 1.6, patch_mm = [300, 300] } ]\n"
    )
    plan = PLAN.replace("offsets_m", skewed + "offsets_m", 1)
    given = deck_of(tmp_path, SLAB, plan, BEAMS, traffic, PROBES, MESH)
    mine = solver_of(given)
    found = surfaces(mine.stiffness, mine.probes.rows)
    for one in load_positions(given):
        forward = mine.probes.rows @ mine.stiffness.solve(
            position_load(mine.model, one, slice(None))
        )
        for k, expected in enumerate(forward):
            values = found.under(np.full(len(one), k), one.wheels(slice(None)))
            # shears of thin cells lose most to the conditioning: 1e-8
            np.testing.assert_allclose(
                values, expected, rtol=0.0, atol=1e-7 * np.abs(expected).max()
            )


def test_rows_of_fields_are_the_recovered_fields(solved: SolvedDeck, run: LoadPositions) -> None:
    U = solved.stiffness.solve(position_load(solved.model, run, slice(20, 22)))
    fields = solved.recovery.fields(U)
    points = [0, 37, len(fields[0]) - 1]
    for component in range(len(RESULTS)):
        rows = field_rows(solved, points, [component] * 3)
        scale = np.abs(fields[component]).max()
        np.testing.assert_allclose(
            rows @ U, fields[component, points], rtol=1e-10, atol=1e-12 * scale
        )


def test_deflection_surface_is_reciprocal(deck: Deck, solved: SolvedDeck) -> None:
    a, b = (1.5, 0.4), (4.2, -0.7)
    rows = [wanted_row(solved, Wanted(component="w", at=at)) for at in (a, b)]
    z = [solved.stiffness.solve(row.toarray().T) for row in rows]
    w_ab, w_ba = float((rows[0] @ z[1])[0, 0]), float((rows[1] @ z[0])[0, 0])
    assert w_ab == pytest.approx(w_ba, rel=1e-9)
    assert w_ab != 0.0


def test_moment_surface_of_a_wide_span_grows_like_the_logarithm(tmp_path: Path) -> None:
    # Pucher's charts, nu = 0: 8 pi m -> -2 ln r - 2 cos^2 phi + C near the point, so that halving
    # the distance adds 2 ln 2 to 8 pi m, and m across the load's direction is 2 more than along.
    plan = "[plan]\nstations_m = [0.0, 8.0]\noffsets_m = [-8.0, 8.0]\n"
    lines = '[[line]]\non = "C*"\nsupport = "rigid"\n'
    slab = SLAB.replace("poisson = 0.2", 'poisson = 0.0\ntheory = "kirchhoff"')
    mesh = "[mesh]\norder = 4\nsize_m = 0.5\n"
    given = deck_of(tmp_path, slab, plan, lines, mesh)
    mine = solver_of(given)
    at = (4.0, 0.0)
    found = surfaces(mine.stiffness, wanted_row(mine, Wanted(component="m_x", at=at)))
    plan_xy = mine.model.mesh.plan
    z = found.ordinates[0]

    def ordinate(x: float, y: float) -> float:
        node = int(np.argmin(np.hypot(plan_xy[:, 0] - x, plan_xy[:, 1] - y)))
        assert np.hypot(*(plan_xy[node] - [x, y])) < 1e-9
        return float(z[node])

    # across the span the growth is pure; nodes at cell corners 1 and 2 m away
    gain = 8.0 * np.pi * (ordinate(4.0, 1.0) - ordinate(4.0, 2.0))
    ahead = 8.0 * np.pi * (ordinate(4.0, 1.0) - ordinate(5.0, 0.0))
    # regular parts of the order of (r / span)^2 remain
    assert gain == pytest.approx(2.0 * np.log(2.0), rel=0.12)
    assert ahead == pytest.approx(2.0, rel=0.12)


def test_mean_and_resultant_along_a_section(deck: Deck, solved: SolvedDeck) -> None:
    ends = {"start": (1.5, -0.8), "end": (1.5, 0.8)}
    mean = wanted_row(solved, Wanted(component="m_x", **ends))
    total = wanted_row(solved, Wanted(component="m_x", **ends, resultant=True))
    np.testing.assert_allclose(total.toarray(), 1.6 * mean.toarray(), rtol=1e-12)
    index = len(RESULTS) * solved.probes.names.index("mean") + RESULTS.index("m_x")
    np.testing.assert_allclose(mean.toarray(), solved.probes.rows[[index]].toarray(), atol=1e-12)


def test_shear_resultant_across_the_deck_balances_the_load_beyond_it(tmp_path: Path) -> None:
    # a cantilever deck: the shear across a section carries all that stands beyond it
    plan = "[plan]\nstations_m = [0.0, 3.0]\noffsets_m = [-1.5, 1.5]\n"
    lines = '[[line]]\non = "C1"\nsupport = "clamped"\n'
    given = deck_of(tmp_path, SLAB, plan, lines, MESH)
    mine = solver_of(given)
    wanted = Wanted(component="q_x", start=(1.1, -1.5), end=(1.1, 1.5), resultant=True)
    z = surfaces(mine.stiffness, wanted_row(mine, wanted)).ordinates[0]
    x = mine.model.mesh.plan[:, 0]
    # q_x > 0 turns towards -p: a load beyond the section is carried back by q_x = +1 there.
    # The constitutive shear converges with the mesh: 2 % here.
    np.testing.assert_allclose(z[x > 1.6], 1.0, atol=0.02)
    np.testing.assert_allclose(z[x < 0.6], 0.0, atol=0.02)


def test_sides_of_a_line(deck: Deck, solved: SolvedDeck) -> None:
    at = (3.0, 0.1)
    rows = [
        wanted_row(solved, Wanted(component="q_x", at=at, side=side)).toarray()
        for side in ("", "before", "after")
    ]
    np.testing.assert_allclose(rows[0], 0.5 * (rows[1] + rows[2]), atol=1e-6)
    with pytest.raises(JobError, match="no line divides the slab") as told:
        wanted_row(solved, Wanted(component="q_x", at=(1.5, 0.1), side="before"))
    [mistake] = told.value.mistakes
    assert (mistake.key, mistake.value) == ("side", "before")
    with pytest.raises(JobError, match="not on the slab") as told:
        wanted_row(solved, Wanted(component="q_x", at=(1.5, 9.0)))
    [mistake] = told.value.mistakes
    assert (mistake.key, mistake.value) == ("at", (1.5, 9.0))
    with pytest.raises(JobError, match="not on the slab") as told:
        wanted_row(solved, Wanted(component="q_x", start=(1.5, 0.1), end=(1.5, 9.0)))
    [mistake] = told.value.mistakes
    assert (mistake.key, mistake.value) == ("to", (1.5, 9.0))


@pytest.mark.parametrize("patch", [(0.66, 0.76), (0.15, 3.0), (3.0, 0.15)])
def test_wheel_field_is_exact_on_its_lattice_and_near_between(
    solved: SolvedDeck, run: LoadPositions, patch: tuple[float, float]
) -> None:
    """Of slender patches, too: a knife-edge load is one."""
    found = surfaces(solved.stiffness, solved.probes.rows[:4])
    field = wheel_field(found, patch, run.course, (-1.5, 1.5))
    s, y = field.s[[5, 6]], field.y[[4, 7]]
    np.testing.assert_allclose(field.at(np.array([1, 1]), s, y), field.values[1, [5, 6], [4, 7]])
    away = np.array([1e3, -1e3])
    np.testing.assert_array_equal(field.at(np.array([1, 1]), away, y), 0.0)
    rng = np.random.default_rng(1)
    s, y = rng.uniform(-0.7, 6.7, 50), rng.uniform(-1.5, 1.5, 50)
    one = replace(
        run,
        vehicle=replace(
            run.vehicle, axles=(replace(run.vehicle.axles[0], load=1.0, wheels=(0.0,)),)
        ),
        patches=(patch,),
        stations=s,
        offsets=y,
    )
    for row in range(4):
        rows = np.full(50, row)
        exact = found.under(rows, one.wheels(slice(None)))
        # cubic between places a quarter of a patch apart, a tenth where it comes onto the slab;
        # measured 0.1 to 0.3 %
        np.testing.assert_allclose(
            field.at(rows, s, y), exact, rtol=0.0, atol=0.006 * np.abs(exact).max()
        )


@pytest.mark.parametrize("slender", [1.0, 3.0, 10.0, 24.0, 26.0, 100.0, 2000.0])
@pytest.mark.parametrize("turned", [False, True])
def test_lattices_of_wheels_are_as_fine_as_asked_for(slender: float, turned: bool) -> None:
    """At no place much further apart than the equal spaces, and nowhere so near together that
    cubics through them are spoilt."""
    sides = (0.1, 0.1 * slender)
    half = 0.5 * sides[turned]
    spaces = int(np.ceil(SPACES * (6.8 + 2.0 * half) / sides[0]))
    nodes = _lattice(0.0, 6.8, half, spaces)
    space = (6.8 + 2.0 * half) / spaces
    gaps = np.diff(nodes)
    assert nodes[0] == -half
    assert nodes[-1] == pytest.approx(6.8 + half)
    # Where one of two near places is left out the gap beside it grows by no more than theirs.
    assert gaps.max() <= (1.0 + 2.0 * NEAR) * space
    assert gaps.min() > 0.99 * NEAR * min(space, 2.0 * half / ENTERING)


def test_a_scan_of_a_very_small_patch_has_an_end(tmp_path: Path) -> None:
    """A wheel 10 mm long on 400 m of slab: steps of a quarter of it would make 10^8 places."""
    stations = [10.0 * k for k in range(41)]
    plan = PLAN.replace("[0.0, 3.0, 6.0]", str(stations))
    wheel = (
        "[traffic]\ncarriageway_m = [-1.9, 1.9]\nstep_m = 1.0\nlateral_step_m = 1.0\n"
        'dispersal = "none"\n[[vehicle]]\nname = "v"\naxles = [{ at_m = 0.0, load_kN = 60, '
        "wheels_m = [0.0], patch_mm = [10, 500] }]\n"
    )
    deck = deck_of(tmp_path, SLAB, plan, BEAMS, wheel, MESH)
    assert deck.traffic is not None
    (free, *_) = free_vehicles(deck, deck.traffic.vehicles)
    step = free.step(4.0)
    assert np.prod(np.ptp(free.bounds[:2], axis=1) / step) <= MOST_PLACES
    usual = replace(free, pattern=np.array([[0.0, 0.0, 1.0, 0.5, 0.5, 0.0]]))
    usual = replace(usual, bounds=np.array([[0.0, 60.0], [-3.0, 3.0], [0.0, 0.0]]))
    assert usual.step(4.0) == 0.125

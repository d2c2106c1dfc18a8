"""A carriageway along an axis on a slab of any outline: what stands on it, against decks on which
the same traffic runs along x, and against the outline itself."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.position_blocks import position_load
from pipelines.model.responses import SolvedDeck
from pipelines.traffic.positions import load_positions
from pipelines.traffic.pressure_cells import pressure_cells
from plate.arrays import Floats
from plate.conventions import RESULTS
from plate.elements.section import moment_rotation
from plate.geometry.alignment import Alignment
from plate.geometry.outline import FINE, region
from tests.pipelines.small_decks import deck_of

SLAB = """
[slab]
thickness_mm = 300
E_GPa = 30.0
"""
TRAFFIC = """
[traffic]
carriageway_m = [-3.0, 3.0]
load_models = ["EN 1991-2 LM1"]
vehicles = ["EN 1991-2 LM2"]
step_m = 0.5
lateral_step_m = 0.5
surfacing_mm = 80
directions = "forward"
"""
LINES = """
[[line]]
on = {}
support = "rigid"
"""
RADIUS = 25.0
PROBES = np.array([[0.0, 0.0], [0.0, -3.6], [0.0, 2.0]])


def probes(points: Floats) -> str:
    return "".join(
        f'[[probe]]\nname = "P{k}"\nat_m = [{x:.12f}, {y:.12f}]\n'
        for k, (x, y) in enumerate(points.tolist())
    )


def arc(through: Floats, to: Floats) -> str:
    return f"{{ arc_to_m = {to.tolist()}, through_m = {through.tolist()} }}"


def envelopes(deck: Deck) -> tuple[TrafficEnvelope, ...]:
    return traffic_envelopes(SolvedDeck.of(deck, build_model(deck).model))


def test_along_an_arc_as_on_a_curved_deck(tmp_path: Path) -> None:
    """A slab 10 m long and 8 m wide on a radius of 25 m, once in stations and offsets, once as an
    outline with arcs and an axis, meshed otherwise. At station 0 both count components along x.

    Reactions and deflections agree to 0.03 %: the wheels' true rectangles are up to 1.2 mm off
    those of the other deck, and the meshes differ. Moments to 1 % of the largest: the meshes.
    """
    along = Alignment(RADIUS).to_cartesian(
        np.array([[s, y] for y in (-4.0, 0.0, 4.0) for s in (-5.0, 0.0, 5.0)])
    )
    left, middle, right = along.reshape(3, 3, 2)
    curved = f"""
[plan]
stations_m = [-5, 5]
offsets_m = [-4, 4]
radius_m = {RADIUS}
"""
    outline = f"""
[plan]
outline_m = [{left[0].tolist()}, {arc(left[1], left[2])}, {right[2].tolist()},
             {arc(right[1], right[0])}]
"""
    axis = f"carriageway_axis_m = [{middle[0].tolist()}, {arc(middle[1], middle[2])}]\n"
    one = deck_of(tmp_path, SLAB, curved, LINES.format('["C1", "C2"]'), TRAFFIC, probes(PROBES))
    two = deck_of(
        tmp_path, SLAB, outline, LINES.format('["E4", "E2"]'), TRAFFIC, axis, probes(PROBES)
    )
    for on_curve, on_outline in zip(envelopes(one), envelopes(two), strict=True):
        for name, rel in (("reactions", 3e-4), ("probes", 0.0)):
            a, b = getattr(on_curve, name), getattr(on_outline, name)
            if rel:
                assert_allclose(np.sort(b.maximum), np.sort(a.maximum), rtol=rel)
                continue
            for k in range(4):  # w, m_x, m_y, m_xy
                for was, now in ((a.maximum, b.maximum), (a.minimum, b.minimum)):
                    most = np.abs(a.maximum[k::6]).max()
                    tolerance = (3e-4 if RESULTS[k] == "w" else 0.01) * most
                    assert_allclose(now[k::6], was[k::6], atol=tolerance)


@pytest.mark.parametrize("degrees", [90.0, 210.0, 33.0])
def test_a_turned_rectangle_is_the_unturned_deck(tmp_path: Path, degrees: float) -> None:
    """A rectangle in a corner of the plane with its traffic along x, and turned with its axis.

    Deflections and reactions do not turn, and agree to 1e-4, as do the meshes; the moments in the
    turned axes under the load that governs the deflection are those of the tensor turned back.
    """
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn = np.array([[c, s], [-s, c]])
    corners = np.array([[0.0, -4.0], [9.0, -4.0], [9.0, 4.0], [0.0, 4.0]])
    points = np.array([[4.5, 0.0], [4.0, -3.7], [5.0, 2.0]])
    track = np.array([[0.0, 0.0], [9.0, 0.0]])
    decks = []
    for matrix, shift in ((np.eye(2), [0.0, 0.0]), (turn, [3.0, -7.0])):
        plan = f"[plan]\noutline_m = {(corners @ matrix + shift).round(12).tolist()}\n"
        axis = f"carriageway_axis_m = {(track @ matrix + shift).round(12).tolist()}\n"
        decks.append(
            deck_of(
                tmp_path,
                SLAB,
                plan,
                LINES.format('["E2", "E4"]'),
                TRAFFIC,
                axis if matrix is turn else "",
                probes(points @ matrix + shift),
            )
        )
    for plain, turned in zip(*(envelopes(deck) for deck in decks), strict=True):
        assert_allclose(turned.reactions.maximum, plain.reactions.maximum, rtol=1e-4)
        was, now = plain.probes.maximum.reshape(3, 6), turned.probes.maximum.reshape(3, 6)
        assert_allclose(now[:, 0], was[:, 0], rtol=2e-3)
        if degrees == 90.0:
            # m_x and m_y change places, and with them what is governing
            assert_allclose(now[:, [2, 1]], was[:, [1, 2]], atol=0.01 * was[:, 1].max())


def test_moments_turn_with_the_carriageway(tmp_path: Path) -> None:
    """LM2 held over the same place of a square plate and of one turned by 40 degrees: the moment
    tensor at mid-slab turned back is the same to 0.5 %, which the meshes differ by."""
    angle = np.radians(40.0)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    corners = np.array([[0.0, -4.0], [8.0, -4.0], [8.0, 4.0], [0.0, 4.0]])
    found = []
    for matrix in (np.eye(2), turn):
        deck = deck_of(
            tmp_path,
            SLAB,
            f"[plan]\noutline_m = {(corners @ matrix).round(12).tolist()}\n",
            LINES.format('["E1", "E2", "E3", "E4"]'),
            TRAFFIC,
            f"carriageway_axis_m = {(np.array([[0, 0.0], [8, 0]]) @ matrix).round(12).tolist()}\n",
            probes(np.array([[4.0, 1.2]]) @ matrix),
        )
        solved = SolvedDeck.of(deck, build_model(deck).model)
        run = load_positions(deck)[0]
        at = np.flatnonzero((np.abs(run.stations - 4.0) < 1e-9) & (run.offsets > 0.0))[:1]
        load = position_load(solved.model, run, slice(int(at[0]), int(at[0]) + 1))
        found.append(solved.respond(load).probes[1:4, 0])
    back = moment_rotation(turn[0]) @ found[1]
    assert_allclose(back, found[0], atol=0.005 * np.abs(found[0]).max())


WIDENING = """
[plan]
outline_m = [[0.0, -4.0], { arc_to_m = [12.0, -8.0], through_m = [6.0, -5.0] }, [12.0, 0.5],
             { arc_to_m = [0.0, 4.0], through_m = [6.0, 3.2] }]
"""
AXIS = "carriageway_axis_m = [[0, 0], { arc_to_m = [12, -3.75], through_m = [6, -0.9] }]\n"


def test_the_far_corner_is_loaded(tmp_path: Path) -> None:
    """The arc leads into the corner at 12, -8; a carriageway along x stops 4.5 m before it."""
    corner = shapely.Point(12.0, -8.0).buffer(1.5)
    reached = []
    for axis in ("", AXIS):
        deck = deck_of(tmp_path, SLAB, WIDENING, LINES.format('["E2", "E4"]'), TRAFFIC, axis)
        wheels = [run.wheels(slice(None)).corners for run in load_positions(deck)]
        on = shapely.intersects(shapely.polygons(np.concatenate(wheels)), corner)
        reached.append(bool(on.any()))
        beyond = [w for w in deck.warnings if "lie beyond the edges of the carriageway" in w]
        assert bool(beyond) == (not axis)
    assert reached == [False, True]


def test_pressure_covers_the_slab_between_the_kerbs_once(tmp_path: Path) -> None:
    """Cells on the slab add up to the area between the kerbs, cut here by shapely from fine bands
    of the axis; chords of 0.5 m on a radius of some 20 m lose 0.1 % at the kerbs."""
    deck = deck_of(tmp_path, SLAB, WIDENING, LINES.format('["E2", "E4"]'), TRAFFIC, AXIS)
    axis = deck.required_traffic.axis
    assert axis is not None
    slab = region(deck.plan, FINE)
    cells = np.concatenate([c.wheels(slice(None)).corners for c in pressure_cells(deck)[1]])
    pieces = shapely.intersection(shapely.polygons(cells), slab)
    s = np.linspace(-1.0, 16.0, 3000)
    sides = [axis.to_plan(np.column_stack([s, np.full(3000, y)])) for y in (-3.0, 3.0)]
    road = shapely.Polygon(np.concatenate([sides[0], sides[1][::-1]]))
    assert shapely.area(pieces).sum() == pytest.approx(road.intersection(slab).area, rel=1e-3)
    assert shapely.union_all(pieces).area == pytest.approx(shapely.area(pieces).sum(), rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    bend=st.floats(-3.0, 3.0),
    low=st.floats(-3.6, -1.5),
    high=st.floats(1.5, 3.6),
    step=st.floats(0.3, 1.5),
)
def test_wheels_stay_between_the_kerbs(
    tmp_path_factory: pytest.TempPathFactory, bend: float, low: float, high: float, step: float
) -> None:
    """Whatever the arc: contacts lie between the kerbs, of which LM2 may touch either."""
    through = f"[6.0, {bend:.4f}]"
    arc = f"{{ arc_to_m = [12.0, 0.0], through_m = {through} }}" if abs(bend) > 0.1 else "[12, 0]"
    deck = deck_of(
        tmp_path_factory.mktemp("kerbs"),
        SLAB,
        "[plan]\noutline_m = [[0, -6], [12, -6], [12, 6], [0, 6]]\n",
        LINES.format('["E2", "E4"]'),
        TRAFFIC.replace("[-3.0, 3.0]", f"[{low:.4f}, {high:.4f}]")
        .replace("step_m = 0.5", f"step_m = {step:.3f}", 1)
        .replace('load_models = ["EN 1991-2 LM1"]\n', ""),
        f"carriageway_axis_m = [[0.0, 0.0], {arc}]\n",
    )
    axis = deck.required_traffic.axis
    assert axis is not None
    (run,) = load_positions(deck)
    wheels = run.contacts.wheels(slice(None)).corners
    offsets = axis.to_track(wheels.reshape(-1, 2))[:, 1]
    # A straight patch 0.35 m long lies off the arc by its sagitta, 2 mm on 7 m radius.
    assert offsets.min() >= low - 2.5e-3
    assert offsets.max() <= high + 2.5e-3
    assert offsets.min() == pytest.approx(low, abs=3e-3)
    assert offsets.max() == pytest.approx(high, abs=3e-3)
    # and every position has a wheel on the slab
    slab = region(deck.plan, FINE)
    on = shapely.intersects(slab, shapely.polygons(run.wheels(slice(None)).corners))
    per_station = on.reshape(len(np.unique(run.stations)), -1).any(axis=1)
    assert per_station.all()


@pytest.mark.parametrize("directions", ["forward", "both"])
def test_an_axis_along_x_gives_the_positions_of_none(tmp_path: Path, directions: str) -> None:
    """Two ways to the same stations: trapezoids of the slab between its levels, and overlaps cut by
    shapely; on a slab like a U with an opening, so that some stations have no wheel on it."""
    plan = (
        "[plan]\noutline_m = [[0, -4], [20, -4], [20, 4], [16, 4], [16, -2], [4, -2], [4, 4], "
        "[0, 4]]\n[[opening]]\ncorners_m = [[1, -1], [3, -1], [3, 3], [1, 3]]\n"
    )
    traffic = (
        TRAFFIC.replace("[-3.0, 3.0]", "[-1.5, 3.0]")
        .replace("step_m = 0.5", "step_m = 0.3", 1)
        .replace("forward", directions)
    )
    lines = LINES.format('["E1", "E3", "E7"]')
    plain, along = (
        load_positions(deck_of(tmp_path, SLAB, plan, lines, traffic, axis))
        for axis in ("", "carriageway_axis_m = [[0, 0], [2, 0]]\n")
    )
    assert [run.direction for run in plain] == [run.direction for run in along]
    for one, two in zip(plain, along, strict=True):
        assert_allclose(two.stations, one.stations, atol=1e-12)
        assert_allclose(two.offsets, one.offsets, atol=1e-12)
        corners = [run.wheels(slice(None)).corners for run in (one, two)]
        assert_allclose(corners[1], corners[0], atol=1e-9)
        assert np.diff(np.unique(one.stations)).max() > 1.0

"""Punching of wheels together, of long tracks and on supporting lines, by hand."""

from dataclasses import replace
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from pipelines.bars.checks.standing_wheels import StandingWheels
from pipelines.bars.checks.wheel_groups import neighbours, wheel_groups
from pipelines.bars.checks.wheel_punching import WheelPunching, wheel_punching
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.standards.actions.loads import Axle, Vehicle
from pipelines.standards.materials import materials
from pipelines.standards.resistance.punching import counted_sides
from pipelines.traffic.positions import load_positions
from pipelines.traffic.trains import model_trains
from tests.pipelines.small_decks import SLAB, WEIGHT, deck_of, grades, mat

EN = materials("C35/45", "B500B", "EN 1992")
# a slab far wider and longer than any perimeter, on two lines far apart
PLAN = """
[plan]
stations_m = [0.0, 8.0]
offsets_m = [-6.0, 6.0]
[[line]]
on = "C*"
support = "rigid"
width_mm = {width}
"""
TRAFFIC = """
[traffic]
carriageway_m = [-4.5, 4.5]
step_m = 0.4
{lateral}
surfacing_mm = 80
dispersal = "surfacing"
{loads}
"""
BARS = (
    WEIGHT
    + grades({"EN 1992": "C35/45"}, {"EN 1992": "B500B"})
    + mat("bottom", "16@125", "16@125")
    + mat("top", "16@125", "16@125")
)
D = 0.250 - 0.040 - 0.016  # mean of both layers
RHO = sqrt((pi * 0.016**2 / 4 / 0.125) ** 2 / ((D + 0.008) * (D - 0.008)))
V_RD = 0.12 * min(1 + sqrt(0.2 / D), 2.0) * (100 * RHO * 35) ** (1 / 3)  # MPa


def deck(folder: Path, loads: str, lateral: str = "lateral_step_m = 0.5", width: int = 300) -> Deck:
    return deck_of(folder, SLAB, PLAN, TRAFFIC, BARS, loads=loads, lateral=lateral, width=width)


def punched(one: Deck) -> WheelPunching | None:
    assert one.reinforcement is not None
    assert one.traffic is not None
    models = []
    for model in one.traffic.load_models:
        trains = model_trains(one, model).values()
        runs = tuple(run for train in trains for run in train.runs)
        envelope = object.__new__(TrafficEnvelope)
        object.__setattr__(envelope, "model", model)
        object.__setattr__(envelope, "runs", runs)
        models.append(envelope)
    standing = StandingWheels(one)
    return wheel_punching(standing, load_positions(one), models, one.reinforcement.bars, EN, 1.35)


def vehicle(*axles: tuple[float, float, tuple[float, ...]]) -> Vehicle:
    return Vehicle(name="one", axles=tuple(Axle(at, load, w, (0.4, 0.4)) for at, load, w in axles))


def test_four_wheels_of_two_lanes(tmp_path: Path) -> None:
    """Tandems of 300 and 200 kN axles, wheels 0.5 m apart across and 1.2 m along: the inner four
    on 0.56 m squares fill 1.76 x 1.06 m, u = 2 (1.76 + 1.06) + 4 pi d; 2 x 150 + 2 x 100 kN."""
    found = punched(deck(tmp_path, 'load_models = ["EN 1991-2 LM1"]'))
    assert found is not None
    load, u = 1.35 * 500e3, 2 * (1.76 + 1.06) + 4 * pi * D
    assert found.wheels == 4
    assert found.sides == pytest.approx((1.76, 1.06))
    assert found.load == pytest.approx(load)
    assert found.u == pytest.approx(u)
    assert found.v_Rd == pytest.approx(V_RD * 1e6, rel=1e-9)
    used = load / (u * D) / (V_RD * 1e6)
    assert found.interior == pytest.approx(used)
    # the four together are used more than one wheel of 150 kN alone
    alone = 1.35 * 150e3 / ((2 * 1.12 + 4 * pi * D) * D) / (V_RD * 1e6)
    assert used > 1.2 * alone
    assert "beside it" in found.vehicle


def test_one_vehicle_has_groups_of_its_own(tmp_path: Path) -> None:
    """Two wheels of 100 kN 0.7 m apart: 0.56 x 1.26 m together, or one of 0.56 m square."""
    own = """
[[vehicle]]
name = "twin"
axles = [{ at_m = 0.0, load_kN = 200, gauge_m = 0.7, patch_mm = [400, 400] }]
"""
    found = punched(deck(tmp_path, own))
    assert found is not None
    assert found.wheels == 2
    assert found.u == pytest.approx(2 * (0.56 + 1.26) + 4 * pi * D)
    assert found.load == pytest.approx(1.35 * 200e3)


def test_groups_of_a_pattern() -> None:
    """Axles 1.2 m apart, wheels 2.0 m apart, 0.4 m square, gaps of 0.8 and 1.6 m: along in reach of
    0.9 m, across out of it."""
    tandem = vehicle((0.0, 300e3, (-1.0, 1.0)), (1.2, 300e3, (-1.0, 1.0)))
    sides = ((0.4, 0.4), (0.4, 0.4))
    groups = wheel_groups(tandem, sides, 0.9)
    assert {g.wheels for g in groups} == {(0, 2), (1, 3)}
    assert [g.load for g in groups] == [300e3, 300e3]
    assert [g.cut for g in groups] == pytest.approx([0, 0], abs=1e-12)
    assert groups[0].sides == pytest.approx((1.6, 0.4))
    assert wheel_groups(tandem, sides, 0.7) == ()
    assert (0, 1, 2, 3) in {g.wheels for g in wheel_groups(tandem, sides, 1.7)}


def test_hull_of_wheels_askew() -> None:
    """Two squares of 0.4 m, 1.0 m apart along and 0.6 m across: two diagonals of sqrt(1.36) and
    four sides of 0.4 m instead of 2 (1.4 + 1.0) m."""
    one = vehicle((0.0, 100e3, (-0.3,)), (1.0, 100e3, (0.3,)))
    (group,) = wheel_groups(one, ((0.4, 0.4), (0.4, 0.4)), 1.0)
    assert group.cut == pytest.approx(2 * 2.4 - (1.6 + 2 * sqrt(1.36)))


def test_long_tracks_count_as_far_as_a_load_can_be_concentrated() -> None:
    """d = 0.34 m: 4.72 x 0.99 m counts as 1.05 x 0.99 (6 d - b); 0.56 m square as it is."""
    c_x, c_y = counted_sides([4.72, 0.56, 1.0], [0.99, 0.56, 0.3], 0.34)
    np.testing.assert_allclose(c_x, [6 * 0.34 - 0.99, 0.56, 0.6])
    np.testing.assert_allclose(c_y, [0.99, 0.56, 0.3])


WHEEL = """
[[vehicle]]
name = "wheel"
axles = [{ at_m = 0.0, load_kN = 100, wheels_m = [0.0], patch_mm = [400, 400] }]
"""


def test_no_punching_on_a_supporting_line(tmp_path: Path) -> None:
    """Lines 300 mm wide, areas 0.56 m: nothing within 0.43 m of a line counts; stations are steps
    of 0.4 m from -0.4 to 8.4, of which 0.8 to 7.2 are left, and 0.4 and 7.6 are not."""
    one = deck(tmp_path, WHEEL, "offsets_m = [0.0]")
    found = punched(one)
    assert found is not None
    assert found.n == 17
    assert found.utilisation == found.interior
    narrow = deck(tmp_path, WHEEL, "offsets_m = [0.0]", width=200)
    more = punched(narrow)
    assert more is not None
    assert more.n == 19  # 0.38 m: 0.4 and 7.6 count
    track = WHEEL.replace("patch_mm = [400, 400]", "patch_mm = [9000, 400]")
    assert punched(deck(tmp_path, track, "offsets_m = [0.0]")) is None


def test_neighbours_keep_their_distance(tmp_path: Path) -> None:
    one = deck(tmp_path, 'load_models = ["EN 1991-2 LM1"]')
    assert one.traffic is not None
    (model,) = one.traffic.load_models
    for train in model_trains(one, model).values():
        (run,) = train.runs
        for offset in train.offsets:
            for pair in neighbours(one, model, run.at_offset(offset)):
                wheels = replace(pair.run, patches=tuple(a.patch for a in pair.run.vehicle.axles))
                across = wheels.wheels(np.array([0])).corners[:, :, 1].mean(axis=1)
                assert np.diff(np.unique(across.round(9))).min() == pytest.approx(0.5)
                # the second lane's tyres stay on the carriageway
                assert across.max() + 0.2 <= 4.5 + 1e-9

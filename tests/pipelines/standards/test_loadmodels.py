"""Load models: numbers by hand from the standards (from memory), envelopes against
trying every arrangement on small decks."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipelines.analysis.analyse import analyse
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.errors import DeckError
from pipelines.model.influence import field_rows, surfaces
from pipelines.model.position_blocks import position_load
from pipelines.model.responses import SolvedDeck
from pipelines.report.data.summary import summary
from pipelines.standards.actions.load_models import (
    Conditions,
    irc_impact,
    irc_lanes,
    irc_reduction,
    joint_factor,
    load_models,
    notional_lanes,
    of_a_standard,
)
from pipelines.standards.actions.vehicles import library
from pipelines.standards.factors import FACTORS
from pipelines.traffic.lanes import strip_shares
from pipelines.traffic.positions import load_positions
from pipelines.traffic.pressure_cells import pressure_cells
from pipelines.traffic.trains import load_count, widened
from tests.oracles.arrangements import every_arrangement
from tests.pipelines.load_model_decks import COARSE, LINES, PLAN, TRAFFIC, model_deck
from tests.pipelines.small_decks import SLAB, deck_of, solver_of

GIVEN = Conditions(width=7.0, span=3.0)


# ---------------------------------------------------------------------------- numbers by hand


@pytest.mark.parametrize(
    ("width", "lanes", "lane_width"),
    [(5.3, 1, 3.0), (5.4, 2, 2.7), (5.9, 2, 2.95), (6.0, 2, 3.0), (8.99, 2, 3.0), (9.0, 3, 3.0)],
)
def test_notional_lanes(width: float, lanes: int, lane_width: float) -> None:
    found = notional_lanes(width)
    assert found[0] == lanes
    assert found[1] == pytest.approx(lane_width)


def test_lm1_loads_and_factors() -> None:
    model = load_models["EN 1991-2 LM1"](replace(GIVEN, width=10.0))
    totals = [
        kind.factor * sum(axle.load for axle in kind.vehicles[0].axles) for kind in model.kinds
    ]
    assert totals == pytest.approx([600e3, 400e3, 200e3])
    assert [kind.pressure + model.pressure for kind in model.kinds] == pytest.approx(
        [9e3, 2.5e3, 2.5e3]
    )
    assert model.pressure == 2.5e3
    stated = {"alpha_Q1": 0.8, "alpha_Q2": 0.9, "alpha_q1": 0.5, "alpha_q2": 2.0, "alpha_qr": 1.2}
    factored = load_models["EN 1991-2 LM1"](
        replace(GIVEN, factors={"EN 1992": FACTORS["EN 1992"].with_values(**stated)})
    )
    assert [k.factor for k in factored.kinds] == pytest.approx([0.8, 0.6])
    assert [k.pressure + factored.pressure for k in factored.kinds] == pytest.approx([4.5e3, 5e3])
    assert factored.pressure == pytest.approx(3e3)


@pytest.mark.parametrize(
    ("distance", "factor"), [(0.0, 1.3), (2.6, 1.17), (5.2, 1.04), (6.0, 1.0), (20.0, 1.0)]
)
def test_joint_factor(distance: float, factor: float) -> None:
    assert joint_factor(distance) == pytest.approx(factor, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "total", "length"),
    [
        ("600/150", 600, 4.5),
        ("1500/200", 1500, 10.5),
        ("2400/240", 2400, 13.5),
        ("3000/240", 3000, 18.0),
        ("3600/200", 3600, 25.5),
    ],
)
def test_special_vehicles(name: str, total: float, length: float) -> None:
    vehicle = library[f"EN 1991-2 LM3 {name}"]
    assert sum(axle.load for axle in vehicle.axles) == pytest.approx(1e3 * total)
    assert vehicle.axles[-1].at == pytest.approx(length)
    assert {len(axle.wheels) for axle in vehicle.axles} == {3 if name.endswith("240") else 2}


def test_every_special_vehicle_weighs_what_its_name_says() -> None:
    names = [name for name in library if " LM3 " in name]
    assert len(names) == 14
    for name in names:
        total = float(name.split()[-1].split("/")[0])
        assert sum(axle.load for axle in library[name].axles) == pytest.approx(1e3 * total)


def test_hl93_presence_and_dynamic_allowance() -> None:
    model = load_models["AASHTO HL-93"](replace(GIVEN, width=14.5))
    assert [(len(s.kinds), s.factor) for s in model.sets] == [
        (1, 1.2),
        (2, 1.0),
        (3, 0.85),
        (4, 0.65),
    ]
    [kind] = model.kinds
    assert [v.impact for v in kind.vehicles] == [1.33, 1.33]
    # 9.3 kN/m over 3.0 m, without impact
    assert kind.pressure * kind.width == pytest.approx(9.3e3)
    truck = kind.vehicles[0]
    assert [a.at for a in widened(truck, 4.7).axles] == pytest.approx([0.0, 4.3, 13.3])
    assert [a.at for a in truck.axles] == pytest.approx([0.0, 4.3, 8.6])
    [axles] = load_models["AASHTO HL-93 axles"](GIVEN).kinds
    assert axles.pressure == 0.0
    [two] = load_models["AASHTO HL-93 two trucks"](GIVEN).kinds
    [pair] = two.vehicles
    # 15 m from the rear axle of one truck to the front axle of the next
    assert np.diff([a.at for a in pair.axles]) == pytest.approx([4.3, 4.3, 15.0, 4.3, 4.3])
    assert two.factor == 0.9


@pytest.mark.parametrize(
    ("train", "span", "impact"),
    [
        ("A", 2.0, 0.5),
        ("A", 6.0, 0.375),
        ("A", 12.0, 0.25),
        ("A", 50.0, 0.088),
        ("tracked", 4.0, 0.25),
        ("tracked", 7.0, 0.175),
        ("tracked", 9.0, 0.10),
        ("wheeled", 9.0, 0.25),
        ("wheeled", 20.0, 4.5 / 26.0),
    ],
)
def test_irc_impact(train: str, span: float, impact: float) -> None:
    assert irc_impact(train, span) == pytest.approx(1.0 + impact)


def test_irc_lanes_and_reduction() -> None:
    widths = [5.2, 5.3, 9.5, 9.6, 13.1, 16.6, 20.1, 23.6]
    assert [irc_lanes(w) for w in widths] == [1, 2, 2, 3, 4, 5, 6, 7]
    assert [irc_reduction(n) for n in (1, 2, 3, 4, 6)] == [1.0, 1.0, 0.9, 0.8, 0.8]


def test_irc_heavy_vehicles_take_two_lanes() -> None:
    model = load_models["IRC:6 Class 70R lanes"](replace(GIVEN, width=12.0))
    names = [kind.name for kind in model.kinds]
    sets = {tuple(sorted(names[k] for k in one.kinds)): one.factor for one in model.sets}
    assert sets["IRC:6 70R wheeled",] == 1.0
    assert sets["IRC:6 70R wheeled", "IRC:6 Class A"] == 0.9
    assert sets["IRC:6 Class A",] == 1.0
    assert sets[("IRC:6 Class A",) * 3] == 0.9
    assert not any(len(one) > 1 and all("70R" in name for name in one) for one in sets)
    four = load_models["IRC:6 Class 70R lanes"](replace(GIVEN, width=14.0))
    assert any(one.kinds.count(1) == 2 for one in four.sets)
    [narrow] = load_models["IRC:6 Class 70R lanes"](replace(GIVEN, width=5.0)).kinds
    assert (narrow.name, narrow.width) == ("IRC:6 Class A", 2.3)


def test_vehicles_beside_which_nothing_stands() -> None:
    """On two lanes a 70R takes both, Class A may have another beside it; on three a Class A stands
    beside a 70R. Distributed loads that go with a lane lie beside its vehicle."""
    two, three = (
        load_models["IRC:6 Class 70R lanes"](replace(GIVEN, width=width)) for width in (7.0, 12.0)
    )
    for model, factors in ((two, {1.0}), (three, set())):
        light, *heavy = (model.factors_alone(kind.vehicles) for kind in model.kinds)
        assert light == set()
        assert all(one == factors for one in heavy)
    wheels = load_models["EN 1991-2 LM2"](GIVEN)
    assert all(wheels.factors_alone(kind.vehicles) == {1.0} for kind in wheels.kinds)
    lane = load_models["EN 1991-2 LM1"](replace(GIVEN, width=5.0))
    assert lane.factors_alone(lane.kinds[0].vehicles) == set()


@pytest.mark.parametrize("name", load_models)
def test_every_model_says_where_its_numbers_come_from(name: str) -> None:
    model = load_models[name](replace(GIVEN, width=10.0))
    assert model.name == name
    assert model.cited.endswith(" (from memory)")
    found = of_a_standard(name, whole=True)
    assert found is not None
    assert found.cited == model.cited
    assert all(k in range(len(model.kinds)) for one in model.sets for k in one.kinds)


# ---------------------------------------------------------- against trying every arrangement


@pytest.mark.parametrize(
    "model",
    ["EN 1991-2 LM1", "EN 1991-2 LM2", "IRC:6 Class AA lanes", "AASHTO HL-93"],
)
def test_envelope_is_the_worst_of_all_arrangements(tmp_path: Path, model: str) -> None:
    deck = model_deck(tmp_path, model)
    assert deck.traffic is not None
    if model == "AASHTO HL-93":  # fewer positions to pair: the tandem alone
        [one] = deck.traffic.load_models
        [kind] = one.kinds
        short = replace(one, kinds=(replace(kind, vehicles=kind.vehicles[1:]),))
        deck = replace(deck, traffic=replace(deck.traffic, load_models=(short,)))
    if model.startswith("IRC"):  # the short vehicles alone
        [one] = deck.traffic.load_models
        short = replace(one, sets=tuple(s for s in one.sets if 0 not in s.kinds))
        deck = replace(deck, traffic=replace(deck.traffic, load_models=(short,)))
    solved = solver_of(deck)
    [found] = traffic_envelopes(solved)
    high, low = every_arrangement(deck, solved)
    scale = np.abs(high).reshape(-1, 6).max(axis=0)
    atol = 1e-9 * np.tile(scale, len(high) // 6)
    assert np.all(np.abs(found.probes.maximum - high) <= atol)
    assert np.all(np.abs(found.probes.minimum - low) <= atol)
    assert scale[1] > 1e3


@pytest.fixture(scope="module")
def lm1(tmp_path_factory: pytest.TempPathFactory) -> tuple[Deck, SolvedDeck, TrafficEnvelope]:
    deck = model_deck(tmp_path_factory.mktemp("lm1"), "EN 1991-2 LM1")
    solved = solver_of(deck)
    [found] = traffic_envelopes(solved)
    return deck, solved, found


def test_fields_agree_with_probes_and_with_what_coexists(
    lm1: tuple[Deck, SolvedDeck, TrafficEnvelope],
) -> None:
    _, _, found = lm1
    e = found.fields
    for k in range(6):
        for values, beside in (
            (e.extremes.maximum, e.with_maximum),
            (e.extremes.minimum, e.with_minimum),
        ):
            np.testing.assert_allclose(
                beside[k, k], values[k], rtol=1e-9, atol=1e-9 * np.abs(values[k]).max()
            )


def test_a_governing_arrangement_entered_again_gives_its_fields(
    lm1: tuple[Deck, SolvedDeck, TrafficEnvelope],
) -> None:
    deck, solved, found = lm1
    assert deck.traffic is not None
    component = 1
    e = found.fields.extremes
    point = int(np.argmax(e.maximum[component]))
    position = found.position(int(e.at_maximum[component, point]))
    assert position is not None
    edges, cells = pressure_cells(deck)
    F = np.zeros((solved.model.n_plate_dof, 1))
    # the row's own sign on every cell, by one adjoint solution
    z = surfaces(solved.stiffness, field_rows(solved, [point], [component]))
    pressure = np.full(len(cells), found.model.pressure)
    for lane in position.lanes:
        at = lane.position
        assert at is not None
        kind = next(k for k in found.model.kinds if k.name == lane.kind)
        alone = replace(
            deck.traffic,
            vehicles=kind.vehicles,
            offsets=(at.offset,),
            lateral_step=None,
        )
        for run in load_positions(replace(deck, traffic=alone)):
            if run.direction == at.direction:
                index = int(np.argmin(np.abs(run.stations - at.station)))
                assert run.stations[index] == pytest.approx(at.station, abs=1e-9)
                F += (
                    lane.factor
                    * position_load(solved.model, run, slice(index, index + 1)).toarray()
                )
        shares = strip_shares(edges, np.array([at.offset]), kind.width, deck.traffic.carriageway)
        pressure += kind.pressure * shares[0]
    for q, strip in zip(pressure, cells, strict=True):
        wheels = strip.wheels(slice(None))
        adverse = z.under(np.zeros(len(strip), dtype=np.int64), wheels) > 0.0
        columns = position_load(solved.model, strip, slice(None)).toarray()
        F += q * columns[:, adverse].sum(axis=1, keepdims=True)
    fields = solved.recovery.fields(solved.stiffness.solve(F))[:, point, 0]
    np.testing.assert_allclose(
        fields,
        found.fields.with_maximum[component, :, point],
        rtol=1e-6,
        atol=1e-6 * abs(fields[1]),
    )


def test_lanes_add_to_one_another(tmp_path: Path) -> None:
    # more than the tandem of lane 1 alone, less than three of them and the load everywhere
    deck = model_deck(tmp_path, "EN 1991-2 LM1", 'vehicles = ["EN 1991-2 LM1 TS"]\n')
    result = analyse(deck, tolerances_wanted=False)
    assert result.alone is not None
    [model] = [one.probes[0].envelope for one in result.traffic if one.envelope.whole]
    alone = result.alone.probes[0].envelope.probes.maximum[1]
    assert 1.1 * alone < model.probes.maximum[1] < 3.0 * alone
    entry = summary(result)["load_models"]["EN 1991-2 LM1"]
    top = entry["probes"]["bay 1"]["m_x"]["max"]
    assert top["value"] == pytest.approx(1e-3 * model.probes.maximum[1])
    assert sorted(lane["lane"] for lane in top["lanes"]) == ["lane 1", "lane 2"]
    a, b = (lane["offset_m"] for lane in top["lanes"])
    assert b - a >= 2.5 - 1e-6
    assert entry["source"].startswith("EN 1991-2")


def test_alpha_factors_scale_the_model(tmp_path: Path) -> None:
    plain = model_deck(tmp_path, "EN 1991-2 LM1")
    halved = model_deck(
        tmp_path, "EN 1991-2 LM1", "alpha_Q = [0.5, 0.5, 0.5]\nalpha_q = [0.5, 0.5, 0.5, 0.5]\n"
    )
    solved = solver_of(plain)
    [one], [half] = (traffic_envelopes(replace(solved, deck=deck)) for deck in (plain, halved))
    np.testing.assert_allclose(half.probes.maximum, 0.5 * one.probes.maximum, rtol=1e-9)


def test_near_joints_results_are_raised_by_their_distance(tmp_path: Path) -> None:
    plain = model_deck(tmp_path, "EN 1991-2 LM2")
    jointed = model_deck(tmp_path, "EN 1991-2 LM2", 'joints = ["end"]\n')
    solved = solver_of(plain)
    [one], [near] = (traffic_envelopes(replace(solved, deck=deck)) for deck in (plain, jointed))
    # "bay 1" is at station 1.5 of a deck that ends at 3.0
    raised = 1.30 * (1.0 - 1.5 / 26.0)
    assert near.probes.maximum[1] == pytest.approx(raised * one.probes.maximum[1], rel=1e-9)
    plan = solved.recovery.points.plan
    factor = 1.30 * (1.0 - (3.0 - plan[:, 0]) / 26.0)
    np.testing.assert_allclose(
        near.fields.extremes.maximum[1], factor * one.fields.extremes.maximum[1], rtol=1e-9
    )
    np.testing.assert_allclose(
        near.fields.with_minimum, one.fields.with_minimum * factor, rtol=1e-9, atol=1e-9
    )


def test_load_count_is_what_is_solved(lm1: tuple[Deck, SolvedDeck, TrafficEnvelope]) -> None:
    deck, _, found = lm1
    _, cells = pressure_cells(deck)
    assert load_count(deck, found.model) == found.n_positions + sum(len(c) for c in cells)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('load_models = ["EN 1991-2 LM11"]\n', "unknown load model.*EN 1991-2 LM1"),
        ('load_models = ["EN 1991-2 LM1", "EN 1991-2 LM1"]\n', "listed twice"),
        ('load_models = ["EN 1991-2 LM1"]\njoints = ["left"]\n', "joints"),
        ('load_models = ["EN 1991-2 LM1"]\nalpha_Q = [9.0]\n', "alpha_Q"),
    ],
)
def test_mistakes_in_the_deck_file_are_told(tmp_path: Path, lines: str, words: str) -> None:
    with pytest.raises(DeckError, match=words):
        deck_of(tmp_path, SLAB, PLAN, LINES, TRAFFIC + lines, COARSE)


# ----------------------------------------------------------------- code wheels on a wide strip


@pytest.mark.parametrize(
    ("vehicle", "at", "expected"),
    [
        # reference values of a series: two 150 kN wheel lines 2.0 m apart in a span of 4.0 m,
        # wheels 1.2 m apart along it, under a wheel; across traffic, nu = 0.2
        ("EN 1991-2 LM1 TS", 0.0, 66.431),
        # one 200 kN wheel 0.35 by 0.60 m at midspan
        ("EN 1991-2 LM2 wheel", 0.0, 56.686),
    ],
)
def test_code_wheels_on_a_strip_across_traffic(
    tmp_path: Path, vehicle: str, at: float, expected: float
) -> None:
    y = 1.0 if "TS" in vehicle else 0.0
    deck = deck_of(
        tmp_path,
        SLAB.replace("poisson = 0.2", 'poisson = 0.2\ntheory = "kirchhoff"'),
        "[plan]\nstations_m = [0.0, 16.0]\noffsets_m = [-2.0, 2.0]\n",
        '[[line]]\non = "L*"\nsupport = "rigid"\n',
        f'[traffic]\ncarriageway_m = [-2.0, 2.0]\nvehicles = ["{vehicle}"]\noffsets_m = [{at}]\n'
        'dispersal = "none"\nstep_m = 0.4\n',
        f'[[probe]]\nname = "under a wheel"\nat_m = [8.0, {y}]\n',
        "[[case]]\nname = 'grade'\n"
        f"patches = [{{ at_m = [8.0, {y}], size_m = [0.4, 0.4], load_kN = 1 }}]\n",
        "[mesh]\norder = 4\nsize_m = 0.7\n",
    )
    solved = solver_of(deck)
    found = surfaces(solved.stiffness, solved.probes.rows[[2]])
    [run] = load_positions(replace(deck, traffic=replace(deck.traffic, directions="forward")))
    exact = replace(run, stations=np.array([8.0]), offsets=np.array([at]))
    value = float(found.under(np.array([0]), exact.wheels(slice(None)))[0])
    # a mesh of half a metre: within half a per cent at the patch's centre
    assert value == pytest.approx(1e3 * expected, rel=0.005)

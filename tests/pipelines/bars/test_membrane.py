"""Membrane forces with bending: the layered method against section analysis, and its wiring."""

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipelines.bars.checks.bending_and_service import Peaks, service_state, steel_needed
from pipelines.bars.demand.membrane import (
    MembraneForces,
    arms,
    imposed_field,
    in_direction,
    largest_tension,
    membrane_forces,
)
from pipelines.bars.demand.moments import LAYER_ROWS, MomentEnvelopes, layer_moment
from pipelines.bars.demand.observer import DesignWatch
from pipelines.bars.demand.shear import resistance, tension
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import ImposedForce
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.position_blocks import position_load
from pipelines.model.probes import membrane_rows
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.actions.loads import Action
from pipelines.standards.materials import materials
from pipelines.standards.resistance.bars import LAYERS, Bars, Mat, SlabBars
from pipelines.standards.resistance.bending import capacity, compression_arm, layer_section
from pipelines.standards.resistance.shear import v_Rd_c
from pipelines.standards.sources import Source
from pipelines.traffic.positions import find_position
from tests.oracles.design_moments import layered_forces
from tests.oracles.edge_twist import twist_row
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, TRAFFIC, WEIGHT, deck_of, grades, mat

EN = materials("C35/45", "B500B", "EN 1992")
AASHTO = materials("4 ksi", "Grade 60", "AASHTO LRFD")
B16, B12 = Bars(0.016, 0.150), Bars(0.012, 0.150)
BARS = SlabBars(
    0.270, Mat(cover=0.045, x=B12, y=B12, outer="x"), Mat(cover=0.050, x=B16, y=B16, outer="x")
)
BOTTOM = ("bottom", "x")
ULS = Combination(
    standard="EN 1992",
    limit_state="ULS",
    permanent={"self-weight": (1.35, 1.0)},
    traffic=1.35,
    source=Source("EN 1992", "test"),
)


def exact_resistance(n: float) -> float:
    """By hand: steel at yield, C = A f_yd - n in a block of eta f_cd, moments about mid-depth."""
    T = np.pi / 4 * 0.016**2 / 0.150 * 500e6 / 1.15
    C = T - n
    block = C / (0.85 * 35e6 / 1.5)
    return float(T * (0.212 - 0.135) + C * (0.135 - block / 2))


def test_arm_by_hand() -> None:
    """d 212 mm, T = 1340.4 x 434.78 = 582.8 kN/m, block 582.8/19.83 = 29.38 mm: t = 120.3 mm."""
    assert_allclose(arms(BARS, [EN])[BOTTOM], 0.12031, atol=1e-5)
    section = layer_section(BARS, BOTTOM)
    assert_allclose(capacity(section, EN).m_Rd, exact_resistance(0.0), rtol=1e-9)


@pytest.mark.parametrize("n", [50e3, 150e3, 300e3, 450e3])
def test_never_above_and_near_to_the_section_with_tension(n: float) -> None:
    t = float(compression_arm(layer_section(BARS, BOTTOM), EN))
    layered = exact_resistance(0.0) - n * t
    exact = exact_resistance(n)
    assert layered <= exact
    # the block gets thinner, which the layered rule leaves out: n (T - n)/2f, T and f by hand
    assert exact - layered == pytest.approx(n * (582.8e3 - n) / (2 * 19.83e6), rel=2e-3)


def test_whole_section_in_tension_is_on_the_safe_side() -> None:
    """n alone: T = n y'/(y + y') of the bars themselves, y = 77 and y' = 84 mm; the layered rule
    asks for n t/z."""
    n = 400e3
    y, y_other = 0.212 - 0.135, 0.219 - 0.135
    t = float(compression_arm(layer_section(BARS, BOTTOM), EN))
    assert n * t / (y + t) > n * y_other / (y + y_other)
    peaks = Peaks(
        ultimate=dict.fromkeys(LAYERS, n * t),
        characteristic=dict.fromkeys(LAYERS, 0.0),
        crack={},
        arms=arms(BARS, [EN]),
    )
    needed = steel_needed(BARS, EN, peaks)[BOTTOM]
    assert needed >= n * y_other / (y + y_other) / EN.f_yd
    assert_allclose(needed, n * t / (y + t) / EN.f_yd, rtol=1e-9)


def forces_with(n: np.ndarray) -> MembraneForces:
    return MembraneForces(
        arms=arms(BARS, [EN]), thickness=0.270, ultimate=1.35 * n, characteristic=n
    )


def block(moments: np.ndarray) -> Response:
    rest = np.zeros((1, *moments.shape[1:]))
    return cast(Response, SimpleNamespace(fields=np.concatenate([rest, moments, rest, rest])))


def test_demand_over_its_lever_arm_is_the_layers_force() -> None:
    """One position: row / z = force of the bottom bars of the layered method, same distances."""
    m, n = np.array([60e3, 30e3, 8e3]), np.array([120e3, 40e3, 20e3])
    membrane = forces_with(n[:, None])
    weight: dict[Action, np.ndarray] = {"self-weight": np.zeros((3, 1))}
    watch = MomentEnvelopes([ULS], weight, membrane=membrane)
    watch(0, block(m[:, None, None]))
    (demand,) = watch.demands()
    for k, layer in enumerate(LAYER_ROWS[:2]):
        t, y = membrane.arms[layer], BARS.effective_depth(layer) - BARS.thickness / 2
        found = layered_forces(tuple(1.35 * m), tuple(1.35 * n), (y,) * 3, (t,) * 3)
        force = (found.bottom_1, found.bottom_2)[k]
        assert demand.values[k, 0] / (y + t) == pytest.approx(float(force), rel=1e-12)
        assert demand.imposed[int(demand.state[k, 0])]
    assert demand.of_envelope is None


@pytest.mark.parametrize("p", [50e3, 200e3, 582e3])
def test_compression_relieves_no_more_than_in_the_section(p: float) -> None:
    """Up to the bars' yield force, where both agree."""
    membrane = forces_with(np.zeros((3, 1)))
    n = np.array([[-p], [0.0], [0.0]])
    relief = -membrane.with_moments(BOTTOM, np.zeros((3, 1)), n)[0, 0]
    exact = exact_resistance(-p) - exact_resistance(0.0)
    assert 0 < relief <= exact * (1 + 2e-3)
    if p == 582e3:
        assert relief == pytest.approx(exact, rel=2e-3)


def test_parts_of_either_sign_are_safer_than_their_sum() -> None:
    membrane, zero = forces_with(np.zeros((3, 1))), np.zeros((3, 1))
    parts = [np.array([[n], [0.0], [0.0]]) for n in (150e3, -220e3)]
    for k, layer in enumerate((BOTTOM, ("top", "x"))):
        sign = (1.0, -1.0)[k]
        apart = sum(sign * membrane.with_moments(layer, zero, n)[0, 0] for n in parts)
        together = sign * membrane.with_moments(layer, zero, parts[0] + parts[1])[0, 0]
        assert apart > together


def test_imposed_compression_is_never_counted_on() -> None:
    m = np.array([60e3, 30e3, 0.0])
    weight: dict[Action, np.ndarray] = {"self-weight": np.zeros((3, 1))}
    values = []
    for membrane in (None, forces_with(np.array([[-200e3], [-200e3], [0.0]]))):
        watch = MomentEnvelopes([ULS], weight, membrane=membrane)
        watch(0, block(m[:, None, None]))
        values.append(watch.demands()[0].values)
    assert_allclose(values[1], values[0], rtol=1e-12)


def test_more_tension_never_lowers_a_demand() -> None:
    rng = np.random.default_rng(2)
    moments = 40e3 * rng.normal(size=(3, 9, 20))
    weight: dict[Action, np.ndarray] = {"self-weight": 10e3 * rng.normal(size=(3, 9))}
    before = None
    for n in (0.0, 50e3, 150e3):
        field = np.zeros((3, 9))
        field[:2] = n
        watch = MomentEnvelopes([ULS], weight, membrane=forces_with(field))
        watch(0, block(moments))
        values = watch.demands()[0].values
        if before is not None:
            assert (values >= before - 1e-6).all()
            assert (values > before).any()
        before = values


def test_tension_lowers_shear_without_links_by_hand() -> None:
    """EN 1992-1-1 (6.2a): 0.15 sigma_cp = -0.15 x 200/270 MPa, times d = 212 mm: -23.56 kN/m."""
    section = layer_section(BARS, BOTTOM)
    drop = float(v_Rd_c(section, EN).v_Rd - v_Rd_c(section, EN, 200e3).v_Rd)
    assert drop == pytest.approx(0.15 * 200e3 / 0.270 * 0.212, rel=1e-9)
    v, forces = np.array([100e3]), np.array([[30e3], [0.0], [0.0], [100e3], [0.0]])
    imposed = np.array([[200e3], [900e3], [0.0]])  # only the pull across the section counts
    plain, pulled, pressed = (
        resistance(BARS, EN, 0.02, v, forces, n) for n in (None, imposed, -imposed)
    )
    assert float((plain - pulled)[0]) == pytest.approx(drop, rel=1e-9)
    assert_allclose(pressed, plain, rtol=1e-12)
    own = np.concatenate([forces, imposed])
    assert_allclose(tension(own, None), [200e3], rtol=1e-12)


def test_service_stress_with_tension_by_hand() -> None:
    """Small moment, large pull: the whole section in tension, shared by both faces' bars."""
    m, n = 2e3, 300e3
    peaks = Peaks(ultimate={}, characteristic={}, crack={}, arms=arms(BARS, [EN]))
    value = m + n * peaks.arms[BOTTOM] if peaks.arms else 0.0
    state = service_state(BARS, BOTTOM, peaks, value, n, 11e9, 200e9)
    y, y_other = 0.212 - 0.135, 0.219 - 0.135
    area = np.pi / 4 * 0.016**2 / 0.150
    assert float(state.sigma_s) == pytest.approx((m + n * y_other) / (y + y_other) / area, rel=1e-6)
    assert float(state.k_2) > 0.5


def test_fields_by_zones(tmp_path: Path) -> None:
    plan = deck_of(tmp_path, SLAB, PLAN, BEAMS).plan
    points = np.array([[1.0, 0.0], [4.0, 0.0], [4.0, 1.5]])
    zones = (
        ImposedForce((3.0, 6.0), None, (100.0, 0.0, 0.0), 1.5),
        ImposedForce(None, (1.0, 2.0), (10.0, -5.0, 1.0), 1.0),
    )
    found = imposed_field(plan, points, zones, ultimate=False)
    assert_allclose(found, [[0, 100, 110], [0, 0, -5], [0, 0, 1]])
    assert imposed_field(plan, points, zones, ultimate=True)[0, 1] == pytest.approx(150.0)


def test_directions() -> None:
    n = np.array([[100.0], [20.0], [30.0]])
    assert_allclose(in_direction(n, np.array([0.0])), [100.0])
    assert_allclose(in_direction(n, np.array([np.pi / 4])), [60 + 30])
    largest = largest_tension(n)
    assert largest == pytest.approx(float(np.linalg.eigvalsh([[100, 30], [30, 20]])[1]))


GRADES = (
    """
"""
    + grades({"EN 1992": "C30/37"}, {"EN 1992": "B500B"})
    + mat("bottom", "16@125", "12@150")
    + mat("top", "16@125", "12@150")
    + WEIGHT
    + """
[[probe]]
name = "mid"
at_m = [1.4, 0.3]
[mesh]
size_m = 1.0
"""
)


def test_the_models_own_forces_are_those_of_the_probes(tmp_path: Path) -> None:
    joined = BEAMS.replace("Av_cm2 = 60", 'Av_cm2 = 60, eccentricity_mm = 400, connection = "full"')
    deck = deck_of(tmp_path, SLAB, PLAN, joined, GRADES)
    model = build_model(deck).model
    solved = SolvedDeck.of(deck, model)
    membrane = membrane_forces(deck, model, solved.recovery.points, [EN, AASHTO])
    assert membrane is not None
    assert membrane.ultimate is None
    weight = case_responses(solved)["weight"]
    own = membrane.own(weight)
    assert own is not None
    near = np.linalg.norm(solved.recovery.points.plan - [1.4, 0.3], axis=1).argmin()
    at = solved.recovery.points.plan[near]
    moved = GRADES.replace("[1.4, 0.3]", f"[{float(at[0])!r}, {float(at[1])!r}]")
    other = deck_of(tmp_path, SLAB, PLAN, joined, moved)
    expected = (membrane_rows(other, model) @ weight.displacements)[:, 0]
    assert np.abs(expected).max() > 1e3
    assert_allclose(own[:, near, 0], expected, rtol=1e-9, atol=1e-6)


def test_a_composite_decks_demand_is_that_of_its_position(tmp_path: Path) -> None:
    """Re-entered: 1.35 or 1.0 of the weight and 1.35 of the governing load position, each with its
    own coexisting n; and tension of the model lowers the shear resistance."""
    joined = BEAMS.replace("Av_cm2 = 60", 'Av_cm2 = 60, eccentricity_mm = 400, connection = "full"')
    deck = deck_of(tmp_path, SLAB, PLAN, joined, TRAFFIC, GRADES)
    model = build_model(deck).model
    solved = SolvedDeck.of(deck, model)
    cases = case_responses(solved)
    watch = DesignWatch(solved, cases)
    [envelopes] = traffic_envelopes(solved, workers=1, observers=(watch,))
    assert envelopes is not None
    membrane = watch.membrane
    assert membrane is not None
    demand = watch.moments.demands()[0]
    assert demand.combination.limit_state == "ULS"
    for k, layer in enumerate(LAYER_ROWS):
        top = int(watch.read_at[k, demand.values[k].argmax()])
        run, index = find_position(envelopes.runs, int(demand.at[k, top]))
        traffic = solved.respond(position_load(model, run, slice(index, index + 1)))
        state = demand.states[int(demand.state[k, top])]
        total = np.zeros(3)
        for factor, response in ((state["self-weight"], cases["weight"]), (1.35, traffic)):
            own = membrane.own(response)
            assert own is not None
            twist = twist_row(solved, top, (-0.4, -2.0), (6.4, 2.0)) @ response.displacements
            m = np.array([*response.fields[1:3, top, 0], twist[0, 0]])
            n = own[:, top, 0]
            total += factor * membrane.with_moments(layer, m, n)
        sign = 1.0 if layer[0] == "bottom" else -1.0
        assert_allclose(demand.coexisting[k, :, top], total, rtol=1e-6, atol=1.0)
        # Wood and Armer, at most the value where both directions need bars
        most = sign * total[k % 2] + abs(total[2])
        assert layer_moment(total[:, None], k)[0] - 1.0 <= demand.values[k, top] <= most + 1.0
    shear = watch.shears[0].demand()
    assert shear.forces.shape[1] == 8
    pulled = tension(shear.forces[0], None)
    assert pulled.max() > 1e3
    bare = resistance(deck_bars(deck), EN30, 0.02, shear.v[0], shear.forces[0][:5])
    hit = (pulled > 0) & (shear.v[0] > 0)
    assert (shear.v_Rd[0][hit] < bare[hit]).all()
    assert_allclose(shear.v_Rd[0][~hit & (shear.v[0] > 0)], bare[~hit & (shear.v[0] > 0)])


EN30 = materials("C30/37", "B500B", "EN 1992")


def deck_bars(deck: Deck) -> SlabBars:
    assert deck.reinforcement is not None
    return deck.reinforcement.bars

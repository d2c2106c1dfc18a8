"""Stress range of the bars by hand, EN 1992-1-1 6.8.6 (from memory)."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipelines.bars.checks.fatigue import (
    TRUCK,
    fatigue_demand,
    fatigue_load_factor,
    fatigue_rows,
    on_girders,
    stress,
    stress_range,
    threshold,
    unit_stresses,
)
from pipelines.bars.demand.moments import Demand, MomentEnvelopes
from pipelines.bars.demand.observer import DesignWatch
from pipelines.deck.deck import Deck
from pipelines.envelopes.traffic import traffic_envelopes
from pipelines.model.build import build_model
from pipelines.model.case_responses import case_responses
from pipelines.model.responses import Response, SolvedDeck
from pipelines.standards.actions.combinations import Combination, LimitState
from pipelines.standards.actions.loads import Action
from pipelines.standards.detailing.rules import Row
from pipelines.standards.factors import FACTORS
from pipelines.standards.materials import Materials, materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from pipelines.standards.resistance.bending import layer_section
from pipelines.standards.resistance.cracking import cracked_state
from pipelines.standards.resistance.fatigue_damage import by_parts, stated
from pipelines.standards.sources import Source
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of, grades, mat

EN = materials("C35/45", "B500B", "EN 1992")
B16 = Bars(0.016, 0.150)
BARS = SlabBars(
    0.270, Mat(cover=0.050, x=B16, y=B16, outer="x"), Mat(cover=0.050, x=B16, y=B16, outer="x")
)
LAYER = ("bottom", "x")
FREQUENT = Combination(
    standard="EN 1992",
    limit_state="frequent",
    permanent={"self-weight": (1.0, 1.0)},
    traffic=0.75,
    source=Source("EN 1992", "test"),
)


def test_tension_by_hand() -> None:
    """n = 200/11.36 = 17.61, rho = 1340.4/212000: x = 79.2 mm, z = 185.6 mm, 1/(A z)."""
    own, _ = unit_stresses(BARS, LAYER, EN, pulled=False)
    n_rho = 200 / (EN.concrete.E_c / 3e9) * np.pi / 4 * 16**2 / 150 / 212
    x = (np.sqrt(n_rho**2 + 2 * n_rho) - n_rho) * 0.212
    area = np.pi / 4 * 0.016**2 / 0.150
    assert own == pytest.approx(1 / (area * (0.212 - x / 3)), rel=1e-6)
    # 30 kNm/m of frequent traffic on these bars: 120 MPa
    assert 30e3 * own == pytest.approx(120e6, rel=0.01)


def test_ranges() -> None:
    unit = (4000.0, 700.0)
    high, low = np.array([50e3, 50e3, -5e3, 0.0]), np.array([20e3, -10e3, -25e3, 0.0])
    # both signs of the moment: tension of one and compression of the other
    assert_allclose(
        stress_range(high, low, unit), [4000 * 30e3, 4000 * 50e3 + 700 * 10e3, 700 * 25e3, 0.0]
    )


@given(
    high=st.floats(0.0, 100e3),
    low=st.floats(-100e3, 100e3),
    more=st.floats(0.0, 50e3),
    factor=st.floats(1.0, 2.0),
)
def test_range_grows_with_what_moves(high: float, low: float, more: float, factor: float) -> None:
    """Never negative; a higher top, a lower bottom or a larger share of both never lowers it."""
    unit = unit_stresses(BARS, LAYER, EN, pulled=False)

    def found(top: float, bottom: float) -> float:
        return float(stress_range(np.array(top), np.array(bottom), unit))

    base = found(high, low)
    assert base >= 0.0
    slack = 1e-9 * (base + 1.0)
    assert found(high, low - more) >= base - slack
    assert found(high + more, low) >= base - slack
    assert found(factor * high, factor * low) >= base - slack


@given(st.floats(0.01, 5.0), st.floats(0.01, 5.0), st.floats(10.0, 150.0), st.floats(1.0, 3.0))
def test_more_traffic_or_years_never_lower_the_factor(
    own: float, other: float, years: float, times: float
) -> None:
    def value(lorries: list[float], life: float) -> float:
        return by_parts(1.1, lorries, "local traffic", life, "good").value

    base = value([own, other], years) * (1 - 1e-12)
    assert value([times * own, other], years) >= base
    assert value([own, times * other], years) >= base
    assert value([own, other], times * years) >= base


def test_reversal_is_the_difference_of_two_cracked_states() -> None:
    unit = unit_stresses(BARS, LAYER, EN, pulled=False)
    E_c, E_s = EN.concrete.E_c / 3, 200e9
    up = cracked_state(layer_section(BARS, LAYER), 40e3, E_c, E_s).sigma_s
    down = cracked_state(layer_section(BARS, ("top", "x"), "counted"), 15e3, E_c, E_s).sigma_sc
    found = stress_range(np.array([40e3]), np.array([-15e3]), unit)
    assert_allclose(found, [float(up - down)], rtol=1e-9)


def test_whole_section_in_tension_takes_the_bars_own_distance() -> None:
    """y + y' = 154 mm for bars at 212 mm from either face."""
    area = np.pi / 4 * 0.016**2 / 0.150
    assert_allclose(unit_stresses(BARS, LAYER, EN, pulled=True), 1 / (0.154 * area), rtol=1e-9)


def test_row_from_the_frequent_demand() -> None:
    """Weight 10, traffic between -30 and +40 kNm/m, 0.75 of it: 40 down to -12.5."""
    weight: dict[Action, np.ndarray] = {"self-weight": np.array([[10e3], [0.0], [0.0]])}
    watch = MomentEnvelopes([FREQUENT], weight)
    fields = np.zeros((6, 1, 3))
    fields[1, 0] = [-30e3, 15e3, 40e3]
    watch(0, cast(Response, SimpleNamespace(fields=fields)))
    (demand,) = watch.demands()
    assert_allclose(demand.relieved[0], [-12.5e3])
    unit = unit_stresses(BARS, LAYER, EN, pulled=False)
    found = stress_range(demand.values[0], demand.relieved[0], unit)
    assert found == pytest.approx(unit[0] * 40e3 + unit[1] * 12.5e3, rel=1e-9)


LORRY = """
[traffic]
carriageway_m = [-1.9, 1.9]
vehicles = ["EN 1991-2 LM2"]
step_m = 0.6
lateral_step_m = 1.0
"""
BAR_TABLES = (
    """
"""
    + grades({"EN 1992": "C35/45", "IRC:112": "M45"}, {"EN 1992": "B500B", "IRC:112": "Fe 500D"})
    + mat("bottom", "16@150", "12@150")
    + mat("top", "16@150", "12@150")
    + """
[mesh]
size_m = 1.0
order = 2
"""
)


def solved_deck(deck: Deck) -> tuple[SolvedDeck, DesignWatch]:
    model = build_model(deck).model
    solved = SolvedDeck.of(deck, model)
    return solved, DesignWatch(solved, case_responses(solved))


def rows_of(
    solved: SolvedDeck, watch: DesignWatch, mat: Materials, demands: dict[LimitState, Demand]
) -> tuple[Row, ...]:
    """Rows of the bars as drawn, anywhere."""
    found = fatigue_demand(solved, watch, mat.factors, demands)
    return fatigue_rows(found, solved.deck.required_reinforcement.bars, mat)


def test_fatigue_load_model_3_in_place_of_the_traffic(tmp_path: Path) -> None:
    """Against a deck whose only traffic is that vehicle: in proportion to the factors 0.75, 1.40
    and 1.75, since no permanent load acts."""
    fatigue = "[fatigue]\nlambda_s = 1.2\n"
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, LORRY, BAR_TABLES, fatigue)
    solved, watch = solved_deck(deck)
    demand = fatigue_demand(solved, watch, EN.factors, {})
    bottom, top = demand.by_face["bottom"], demand.by_face["top"]
    alone = deck_of(tmp_path, SLAB, PLAN, BEAMS, LORRY.replace("LM2", "FLM3"), BAR_TABLES, fatigue)
    other_solved, other = solved_deck(alone)
    traffic_envelopes(other_solved, workers=1, observers=(other,))
    frequent = next(d for d in other.moments.demands() if d.combination.limit_state == "frequent")
    assert_allclose(bottom.values, frequent.values * 1.40 / 0.75, rtol=1e-9, atol=1e-6)
    assert_allclose(top.relieved, frequent.relieved * 1.75 / 0.75, rtol=1e-9, atol=1e-6)

    one = deck.reinforcement
    assert one is not None
    rows = rows_of(solved, watch, EN, {})
    assert [row.check for row in rows] == ["fatigue: equivalent range"] * 4
    unit = unit_stresses(one.bars, LAYER, EN, pulled=False)
    expected = 1.2 * stress_range(bottom.values[0], bottom.relieved[0], unit)
    assert rows[0].provided == pytest.approx(expected.max(), rel=1e-12)
    # EN 1992-1-1 table 6.3N: 162.5 MPa at 10^6 cycles, gamma 1.15
    assert rows[0].required == pytest.approx(141.3e6, rel=1e-3)
    plain = replace(deck, reinforcement=replace(one, damage=None))
    rows = rows_of(replace(solved, deck=plain), watch, EN, {"frequent": frequent})
    assert {row.required for row in rows} == {70e6}

    # near an expansion joint, EN 1991-2 4.6.1(6): 1.30 (1 - D/26), D from the deck's own end
    assert deck.traffic is not None
    jointed = replace(deck, traffic=replace(deck.traffic, joints=("start",)))
    D = solved.recovery.points.plan[:, 0] + 0.4
    raised = np.where(D <= 6, np.maximum(1.30 * (1 - D / 26), 1), 1)
    rows = rows_of(replace(solved, deck=jointed), watch, EN, {})
    assert rows[0].provided == pytest.approx((raised * expected).max(), rel=1e-12)
    assert rows[0].provided > 1.05 * expected.max()


def test_factor_by_parts() -> None:
    """A road of medium traffic with 0.5 million lorries a year on either of two slow lanes, 50
    years: (0.25)^(1/9) = 0.8572, times 0.94 = 0.8058; 0.5^(1/9) = 0.9259; 2^(1/9) = 1.0801;
    1.2 x 1.10 x 0.8058 x 0.9259 x 1.0801 = 1.0637."""
    found = by_parts(1.10, [0.5, 0.5], "medium distance", 50.0, "good")
    assert found.value == pytest.approx(1.0637, abs=1e-4)
    for part in ("1.200", "1.100", "0.806", "0.926", "1.080", "= 1.064"):
        assert part in found.words
    # the figures' own traffic and life: 2 million long-distance lorries in 100 years on one lane
    assert by_parts(1.10, [2.0], "long distance", 100.0, "medium").value == pytest.approx(1.54)
    assert stated(0.7).value == 0.7


def test_stress_that_needs_no_verification(tmp_path: Path) -> None:
    """IRC:112 5.3.2.5: 300 MPa under the rare combination, of the bars' largest moment."""
    irc = materials("M45", "Fe 500D", "IRC:112")
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, LORRY, BAR_TABLES)
    solved, watch = solved_deck(deck)
    traffic_envelopes(solved, workers=1, observers=(watch,))
    rare = next(
        d
        for d in watch.moments.demands()
        if (d.combination.standard, d.combination.limit_state) == ("IRC:112", "characteristic")
    )
    rows = rows_of(solved, watch, irc, {"characteristic": rare})
    one = deck.reinforcement
    assert one is not None
    for k, (row, face) in enumerate(zip(rows, ("bottom", "bottom", "top", "top"), strict=True)):
        layer = (face, "xy"[k % 2])
        section = layer_section(one.bars, layer)  # type: ignore[arg-type]
        E_c = irc.concrete.E_c / 3
        expected = cracked_state(section, rare.values[k].max(), E_c, 200e9).sigma_s
        assert row.provided == pytest.approx(float(expected), rel=1e-6)
        assert (row.required, row.sense, row.source.standard) == (300e6, "at most", "IRC:112")


KSI = 6.894757e6


def test_threshold_by_hand() -> None:
    """Grade 60, f_min 12 ksi in tension: 26 - 22 x 12/60 = 21.6 ksi = 148.9 MPa; 6 ksi of
    compression: 28.2 ksi."""
    grade_60 = materials("4 ksi", "Grade 60", "AASHTO LRFD")
    assert_allclose(
        threshold(np.array([12.0, -6.0]) * KSI, grade_60), np.array([21.6, 28.2]) * KSI, rtol=1e-12
    )
    assert threshold(np.array(12 * KSI), grade_60) == pytest.approx(148.93e6, rel=1e-4)


def test_fatigue_truck_of_aashto(tmp_path: Path) -> None:
    """Against a deck whose only traffic is that truck, under service I: 1.75 x 1.15 of it."""
    tables = BAR_TABLES.replace("EN 1992", "AASHTO LRFD").replace("C35/45", "5 ksi")
    tables = tables.replace("B500B", "Grade 60")
    grades = materials("5 ksi", "Grade 60", "AASHTO LRFD")
    truck = LORRY.replace("EN 1991-2 LM2", TRUCK)
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, truck, tables)
    solved, watch = solved_deck(deck)
    traffic_envelopes(solved, workers=1, observers=(watch,))
    service = next(
        d for d in watch.moments.demands() if d.combination.limit_state == "characteristic"
    )
    one = deck.reinforcement
    assert one is not None
    assert pytest.approx(1.75 * 1.15) == fatigue_load_factor(FACTORS["AASHTO LRFD"])
    rows = rows_of(solved, watch, grades, {})
    for k, row in enumerate(rows):
        layer = (("bottom", "top")[k // 2], "xy"[k % 2])
        unit = unit_stresses(one.bars, layer, grades, pulled=False)  # type: ignore[arg-type]
        high, low = 1.75 * 1.15 * service.values[k], 1.75 * 1.15 * service.relieved[k]
        over = stress_range(high, low, unit) - (
            26 * KSI - 22 / 60 * stress(np.minimum(low, high), unit)
        )
        # no permanent load acts
        assert row.provided - row.required == pytest.approx(over.max(), rel=1e-9)
        assert row.check == "fatigue: stress range"
        assert "26 - 22 f_min/f_y" in str(row.source)

    # a third line along the deck makes it a deck slab on girders: AASHTO 5.5.3.1
    assert not on_girders(deck)
    middle = replace(deck.lines[0], held_at=())
    girders = replace(
        deck,
        offsets=(-2.0, 0.0, 2.0),
        lines=tuple(replace(middle, name=f"L{k}") for k in (1, 2, 3)),
    )
    assert on_girders(girders)
    free = rows_of(replace(solved, deck=girders), watch, grades, {})
    assert all(row.passes and row.required == np.inf for row in free)
    assert all("5.5.3.1" in str(row.source) for row in free)
    assert free[0].provided == pytest.approx(
        stress_range(
            1.75 * 1.15 * service.values[0],
            1.75 * 1.15 * service.relieved[0],
            unit_stresses(one.bars, LAYER, grades, pulled=False),
        ).max(),
        rel=1e-9,
    )

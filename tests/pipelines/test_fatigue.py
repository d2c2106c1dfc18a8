"""Stress range of the bars by hand, EN 1992-1-1 6.8.6 (from memory)."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipelines.bars import Bars, Mat, SlabBars
from pipelines.bending import layer_section
from pipelines.build import build_model
from pipelines.clauses import Source
from pipelines.combinations import Combination
from pipelines.cracking import cracked_state
from pipelines.deck import Action, Deck
from pipelines.designenvelope import MomentEnvelopes
from pipelines.designwatch import DesignWatch
from pipelines.envelopes import traffic_envelopes
from pipelines.fatigue import (
    fatigue_rows,
    largest_range,
    model_demands,
    stress_range,
    unit_stresses,
)
from pipelines.grades import materials
from pipelines.responses import Response, Solver, case_responses
from plate.recovery import FieldRecovery
from plate.stiffness import Stiffness
from tests.pipelines.small_decks import BEAMS, PLAN, SLAB, deck_of

EN = materials("C35/45", "B500B", "EN 1992")
B16 = Bars(0.016, 0.150)
BARS = SlabBars(0.270, Mat(0.050, B16, B16, "x"), Mat(0.050, B16, B16, "x"))
LAYER = ("bottom", "x")
FREQUENT = Combination(
    "EN 1992", "frequent", {"self-weight": (1.0, 1.0)}, 0.75, Source("EN 1992", "test")
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
    found = largest_range(BARS, EN, demand, 0, pulled=False)
    assert found == pytest.approx(unit[0] * 40e3 + unit[1] * 12.5e3, rel=1e-9)


LORRY = """
[traffic]
carriageway_m = [-1.9, 1.9]
vehicles = ["EN 1991-2 LM2"]
step_m = 0.6
lateral_step_m = 1.0
"""
BAR_TABLES = """
[[concrete]]
standard = "EN 1992"
grade = "C35/45"
[[concrete]]
standard = "IRC:112"
grade = "M45"
[[steel]]
standard = "EN 1992"
grade = "B500B"
[[steel]]
standard = "IRC:112"
grade = "Fe 500D"
[[bars]]
face = "bottom"
cover_mm = 40
outer = "x"
x = { diameter_mm = 16, spacing_mm = 150 }
y = { diameter_mm = 12, spacing_mm = 150 }
[[bars]]
face = "top"
cover_mm = 40
outer = "x"
x = { diameter_mm = 16, spacing_mm = 150 }
y = { diameter_mm = 12, spacing_mm = 150 }
[mesh]
size_m = 1.0
order = 2
"""


def solved(deck: Deck) -> tuple[Solver, DesignWatch]:
    model = build_model(deck).model
    solver = Solver.of(deck, Stiffness(model), FieldRecovery(model))
    return solver, DesignWatch(deck, solver, case_responses(deck, solver))


def test_fatigue_load_model_3_in_place_of_the_traffic(tmp_path: Path) -> None:
    """Against a deck whose only traffic is that vehicle: in proportion to the factors 0.75, 1.40
    and 1.75, since no permanent load acts."""
    fatigue = "[fatigue]\nlambda_s = 1.2\n"
    deck = deck_of(tmp_path, SLAB, PLAN, BEAMS, LORRY, BAR_TABLES, fatigue)
    solver, watch = solved(deck)
    bottom, top = model_demands(deck, solver, watch)
    alone = deck_of(tmp_path, SLAB, PLAN, BEAMS, LORRY.replace("LM2", "FLM3"), BAR_TABLES, fatigue)
    _, other = solved(alone)
    traffic_envelopes(alone, solver, workers=1, observers=(other,))
    frequent = next(d for d in other.moments.demands() if d.combination.limit_state == "frequent")
    assert_allclose(bottom.values, frequent.values * 1.40 / 0.75, rtol=1e-9, atol=1e-6)
    assert_allclose(top.relieved, frequent.relieved * 1.75 / 0.75, rtol=1e-9, atol=1e-6)

    one = deck.reinforcement
    assert one is not None
    rows = fatigue_rows(deck, solver, watch, EN, {})
    assert [row.check for row in rows] == ["fatigue: equivalent range"] * 4
    expected = 1.2 * largest_range(one.bars, EN, bottom, 0, pulled=False)
    assert rows[0].provided == pytest.approx(expected, rel=1e-12)
    # EN 1992-1-1 table 6.3N: 162.5 MPa at 10^6 cycles, gamma 1.15
    assert rows[0].required == pytest.approx(141.3e6, rel=1e-3)
    assert fatigue_rows(deck, solver, watch, materials("M45", "Fe 500D", "IRC:112"), {}) == ()
    plain = replace(deck, reinforcement=replace(one, lambda_s=None))
    rows = fatigue_rows(plain, solver, watch, EN, {"frequent": frequent})
    assert {row.required for row in rows} == {70e6}

"""Factors and national choices: every one reaches the rule that it names, and nothing else counts.

Expected shares are the formulas of the clauses by hand: what a rule gives with another value over
what it gives with the recommended one.
"""

from collections.abc import Callable
from dataclasses import replace
from math import sqrt
from types import SimpleNamespace

import numpy as np
import pytest

from pipelines.bars.checks.collision import accidental, permanent_factor
from pipelines.bars.checks.fatigue import (
    FatigueDemand,
    equivalent_range,
    fatigue_load_factor,
    fatigue_rows,
)
from pipelines.standards.actions.combinations import LimitState, combination
from pipelines.standards.actions.load_models import Conditions, load_models
from pipelines.standards.actions.loads import Action
from pipelines.standards.detailing.anchorage import anchorage
from pipelines.standards.detailing.cover import cover_rows
from pipelines.standards.detailing.rules import least_steel_rows, most_steel_rows
from pipelines.standards.detailing.serviceability import (
    crack_limit,
    crack_spacing_row,
    stress_rows,
)
from pipelines.standards.factors import FACTORS, RECOMMENDED, Factors
from pipelines.standards.materials import Materials, materials
from pipelines.standards.resistance.bars import Bars, Mat, SlabBars
from pipelines.standards.resistance.bending import Section, capacity
from pipelines.standards.resistance.cracking import crack_width, cracked_state
from pipelines.standards.resistance.punching import MatAtPunching, punching
from pipelines.standards.resistance.shear import beta_resistance, strut_factor, v_Rd_c
from pipelines.standards.sources import Standard

MATS = {
    "EN 1992": materials("C35/45", "B500B", "EN 1992"),
    "IRC:112": materials("M40", "Fe 500", "IRC:112"),
    "AASHTO LRFD": materials("5 ksi", "Grade 60", "AASHTO LRFD"),
}
MATTRESS = Mat(cover=0.05, x=Bars(0.016, 0.125), y=Bars(0.012, 0.15), outer="x")
SLAB = SlabBars(0.25, MATTRESS, MATTRESS)
LAYER = ("bottom", "x")
THIN = Section(h=0.25, d=0.192, A_s=1.0e-3)
FULL = Section(h=0.25, d=0.192, A_s=3.0e-3)  # whose steel decides
LIGHT = Section(h=0.25, d=0.192, A_s=2.0e-4)  # of which v_min decides
Rule = Callable[[Materials], float]


def shear(section: Section, n: float = 0.0) -> Rule:
    return lambda mat: float(v_Rd_c(section, mat, n).v_Rd)


def pulled_shear(mat: Materials) -> float:
    """What tension of 1 MPa takes away [N/m]."""
    return shear(THIN)(mat) - shear(THIN, 0.25e6)(mat)


def punched(**more: float) -> Callable[[Materials], float]:
    bars = MatAtPunching(0.2, 0.2, 1e-3, 1e-3)
    return lambda mat: float(punching(1e5, 0.4, 0.4, mat, bars, **more).v_Rd)  # type: ignore[arg-type]


def pulled_punching(mat: Materials) -> float:
    return punched()(mat) - punched(sigma_cp=-0.1e6)(mat)


def crushed(mat: Materials) -> float:
    """A utilisation that v_Rd,max decides: a small loaded area."""
    bars = MatAtPunching(0.2, 0.2, 4e-3, 4e-3)
    return 1.0 / float(punching(1e6, 0.02, 0.02, mat, bars).utilisation)


def crack_spacing(mat: Materials) -> float:
    state = cracked_state(THIN, 60e3, mat.concrete.E_c / 3, mat.steel.E_s)
    found = crack_width(THIN, state, 0.016, 0.125, 0.05, 3.2e6, 33e9, 200e9, mat.factors)
    return float(found.s_r_max)


def cover_part(mat: Materials) -> float:
    """Crack spacing of the cover alone: bars of no diameter."""
    state = cracked_state(THIN, 60e3, mat.concrete.E_c / 3, mat.steel.E_s)
    found = crack_width(THIN, state, 1e-12, 0.125, 0.05, 3.2e6, 33e9, 200e9, mat.factors)
    return float(found.s_r_max)


def bar_part(mat: Materials) -> float:
    return crack_spacing(mat) - cover_part(mat)


def limit(exposure: str) -> Rule:
    return lambda mat: crack_limit(mat.factors, exposure) or 0.0


def stress(k: int) -> Rule:
    return lambda mat: stress_rows("", mat, -1e6, 1e8)[k].required


def least(grade: str) -> Rule:
    """Least steel of strong concrete by its strength, of weak concrete by the share."""
    weak = {"EN 1992": "C12/15", "IRC:112": "M20"}

    def found(mat: Materials) -> float:
        if grade == "weak":
            mat = replace(materials(weak[mat.standard], mat.steel.name, mat.standard),
                          factors=mat.factors)  # fmt: skip
        return least_steel_rows(SLAB, LAYER, mat)[0].required  # type: ignore[arg-type]

    return found


def most(mat: Materials) -> float:
    return most_steel_rows(SLAB, LAYER, mat.factors)[0].required  # type: ignore[arg-type]


def covered(mat: Materials) -> float:
    return cover_rows(SLAB, "top", mat, "XD1")[0].required


def combined(state: LimitState, action: Action | None, k: int = 0) -> Rule:
    """A factor of a combination; action None: k = 0 of traffic, 1 of distributed traffic."""

    def found(mat: Materials) -> float:
        one = combination(mat.factors, state)
        assert one is not None
        if action is not None:
            return one.permanent[action][k]
        return one.traffic if k == 0 else one.distributed or 0.0

    return found


def of_model(name: str, read: Callable[..., float], width: float = 12.0) -> Rule:
    def found(mat: Materials) -> float:
        factors = {**FACTORS, mat.standard: mat.factors}
        return read(load_models[name](Conditions(width=width, span=3.0, factors=factors)))

    return found


def bending(mat: Materials) -> float:
    return float(capacity(THIN, mat).m_Rd)


def brittle(mat: Materials) -> float:
    """A section whose bars do not yield."""
    return float(capacity(Section(h=0.25, d=0.192, A_s=12e-3), mat).m_Rd)


def fatigue(mat: Materials) -> float:
    """What the range, or the stress, of bars may reach."""
    moments = SimpleNamespace(values=np.full((4, 1), 5e4), relieved=np.zeros((4, 1)))
    demand = FatigueDemand(by_face={"bottom": moments, "top": moments}, raised=np.ones(1))  # type: ignore[dict-item]
    return fatigue_rows(demand, SLAB, mat)[0].required


def tandem(k: int) -> Rule:
    return of_model("EN 1991-2 LM1", lambda model: model.kinds[k - 1].factor)


def uniform(k: int) -> Rule:
    """Of a lane with what lies on the whole carriageway."""
    return of_model("EN 1991-2 LM1", lambda m: m.kinds[k - 1].pressure + m.pressure)


def presence(k: int) -> Rule:
    return of_model("AASHTO HL-93 axles", lambda m: m.sets[k - 1].factor, width=16.0)


# Standard, key, value stated, rule, and its share of the value with the recommended factor: exact
# where the clause is a product; None where it only has a direction, up or down.
SHARED = [
    ("C_Rd_c_gamma_c", 0.15, shear(FULL), 0.15 / 0.18),
    ("k_1_shear", 0.075, pulled_shear, 0.5),
    ("k_1_punching", 0.05, pulled_punching, 0.5),
    ("nu_factor", 0.5, strut_factor, 0.5 / 0.6),
    ("k_3", 1.7, cover_part, 0.5),
    ("k_1_bond", 1.6, bar_part, 2.0),
    ("k_4", 0.85, bar_part, 2.0),
    ("A_s_min_factor", 0.52, least("strong"), 2.0),
    ("A_s_min_share", 0.0026, least("weak"), 2.0),
    ("gamma_G_sup", 1.2, combined("ULS", "self-weight"), 1.2 / 1.35),
    ("gamma_G_inf", 0.9, combined("ULS", "self-weight", 1), 0.9),
    ("gamma_c_accidental", 1.5, lambda mat: accidental(mat).f_cd, 1.2 / 1.5),
    ("gamma_s_accidental", 1.15, lambda mat: accidental(mat).f_yd, 1 / 1.15),
    ("psi_2", 0.2, combined("quasi-permanent", None), None),
    ("gamma_T", 2.0, combined("ULS", "warming"), None),
    ("psi_0_T", 0.3, combined("characteristic", "cooling"), 0.5),
    ("psi_2_T", 0.25, combined("frequent", "warming"), 0.5),
]  # fmt: skip
CASES: list[tuple[Standard, str, float, Rule, float | None]] = [
    *((s, *row) for row in SHARED for s in ("EN 1992", "IRC:112")),  # type: ignore[list-item]
    ("AASHTO LRFD", "gamma_TG_strength", 0.5, combined("ULS", "warming"), None),
    ("AASHTO LRFD", "gamma_TG", 1.0, combined("characteristic", "cooling"), 2.0),
    ("EN 1992", "gamma_c", 1.35, shear(FULL), 1.5 / 1.35),
    ("IRC:112", "gamma_c", 1.35, lambda mat: mat.f_cd, 1.5 / 1.35),
    ("EN 1992", "gamma_s", 1.0, lambda mat: mat.f_yd, 1.15),
    ("IRC:112", "gamma_s", 1.0, lambda mat: mat.f_yd, 1.15),
    ("EN 1992", "alpha_cc", 1.0, lambda mat: mat.f_cd, 1 / 0.85),
    ("IRC:112", "alpha_cc", 0.6, lambda mat: mat.f_cd, 0.6 / 0.67),
    ("EN 1992", "alpha_ct", 0.8, lambda mat: anchorage(SLAB, LAYER, mat), 1 / 0.8),  # type: ignore[arg-type]
    ("EN 1992", "gamma_s_fat", 1.0, lambda mat: equivalent_range(mat.factors), 1.15),
    ("EN 1992", "v_min_factor", 0.07, shear(LIGHT), 2.0),
    ("IRC:112", "v_min_factor", 0.062, shear(LIGHT), 2.0),
    ("EN 1992", "crushing", 0.5, crushed, 0.5 / 0.4),
    ("IRC:112", "crushing", 0.4, crushed, 0.4 / 0.5),
    ("EN 1992", "w_max_mm", 0.2, limit("XC4"), 2 / 3),
    ("IRC:112", "w_max_mm", 0.2, limit("severe"), 2 / 3),
    ("IRC:112", "w_max_severe_mm", 0.1, limit("extreme"), 0.5),
    ("EN 1992", "concrete_stress", 0.45, stress(0), 0.75),
    ("EN 1992", "steel_stress", 0.6, stress(1), 0.75),
    ("IRC:112", "concrete_stress", 0.36, stress(0), 0.75),
    ("IRC:112", "steel_stress", 0.6, stress(1), 0.75),
    ("AASHTO LRFD", "steel_stress", 0.3, stress(0), 0.5),
    ("EN 1992", "A_s_max_share", 0.02, most, 0.5),
    ("IRC:112", "A_s_max_share", 0.02, most, 0.8),
    ("EN 1992", "cover_deviation_mm", 5.0, covered, (40 + 5) / (40 + 10)),
    # 100 years: S5 of XD1 with C35; 50 years: S3
    ("EN 1992", "design_life_years", 50.0, covered, (30 + 10) / (40 + 10)),
    ("EN 1992", "surfacing_sup", 1.2, combined("ULS", "surfacing"), 1.2 / 1.4),
    ("EN 1992", "surfacing_inf", 0.9, combined("frequent", "surfacing", 1), 0.9 / 0.8),
    ("IRC:112", "surfacing_sup", 1.4, combined("frequent", "surfacing"), 1.4 / 1.2),
    ("IRC:112", "gamma_surfacing_sup", 1.4, combined("ULS", "surfacing"), 0.8),
    ("IRC:112", "gamma_surfacing_inf", 0.5, combined("ULS", "surfacing", 1), 0.5),
    *((s, "gamma_SH", 1.3, combined("ULS", "shrinkage"), 1.3)
      for s in ("EN 1992", "IRC:112", "AASHTO LRFD")),
    ("EN 1992", "gamma_SE", 1.5, combined("ULS", "settlement"), 1.5 / 1.2),
    *((s, "gamma_SE", 1.3, combined("ULS", "settlement"), 1.3) for s in ("IRC:112", "AASHTO LRFD")),
    ("EN 1992", "gamma_Q", 1.5, combined("ULS", None), 1.5 / 1.35),
    ("IRC:112", "gamma_Q", 1.2, combined("ULS", None), 0.8),
    ("EN 1992", "psi_1_TS", 0.375, combined("frequent", None), 0.5),
    ("EN 1992", "psi_1_UDL", 0.2, combined("frequent", None, 1), 0.5),
    ("IRC:112", "psi_1", 0.375, combined("frequent", None), 0.5),
    *(("EN 1992", f"alpha_Q{k}", 0.8, tandem(k), 0.8) for k in (1, 2, 3)),
    *(("EN 1992", f"alpha_q{k}", 0.8, uniform(k), 0.8) for k in (1, 2, 3)),
    ("EN 1992", "alpha_qr", 0.8, of_model("EN 1991-2 LM1", lambda m: m.pressure), 0.8),
    ("EN 1992", "beta_Q", 0.8, of_model("EN 1991-2 LM2", lambda m: m.kinds[0].factor), 0.8),
    ("EN 1992", "plain_range_MPa", 35.0, fatigue, 0.5),
    ("IRC:112", "unverified_stress_MPa", 150.0, fatigue, 0.5),
    ("AASHTO LRFD", "phi_bending", 0.8, bending, 0.8 / 0.9),
    ("AASHTO LRFD", "phi_bending_least", 0.6, brittle, 0.8),
    ("AASHTO LRFD", "phi_shear", 0.8,
     lambda mat: float(beta_resistance(THIN, mat, 1e5, 5e4).v_Rd), 0.8 / 0.9),
    ("AASHTO LRFD", "gamma_e", 1.0,
     lambda mat: crack_spacing_row(SLAB, LAYER, mat, 2e8)[0].required + 2 * 0.058, 1 / 0.75),  # type: ignore[arg-type]
    ("AASHTO LRFD", "gamma_DC_sup", 1.0, combined("ULS", "self-weight"), 0.8),
    ("AASHTO LRFD", "gamma_DC_sup", 1.0, lambda mat: permanent_factor(mat.factors), 0.8),
    ("AASHTO LRFD", "gamma_DC_inf", 0.45, combined("ULS", "parapet", 1), 0.5),
    ("AASHTO LRFD", "gamma_DW_sup", 1.2, combined("ULS", "surfacing"), 0.8),
    ("AASHTO LRFD", "gamma_DW_inf", 0.325, combined("ULS", "surfacing", 1), 0.5),
    ("AASHTO LRFD", "gamma_LL", 1.4, combined("ULS", None), 0.8),
    ("AASHTO LRFD", "gamma_LL_fatigue", 1.4, lambda mat: fatigue_load_factor(mat.factors), 0.8),
    ("AASHTO LRFD", "IM_fatigue", 0.61, lambda mat: fatigue_load_factor(mat.factors), 1.4),
    ("AASHTO LRFD", "IM", 0.995,
     of_model("AASHTO HL-93 axles", lambda m: m.kinds[0].vehicles[0].impact), 1.5),
    *(("AASHTO LRFD", f"presence_{k}", 0.5, presence(k), 0.5 / p)
      for k, p in ((1, 1.2), (2, 1.0), (3, 0.85), (4, 0.65))),
]  # fmt: skip


@pytest.mark.parametrize(
    ("standard", "key", "value", "rule", "share"), CASES, ids=[f"{s} {k}" for s, k, *_ in CASES]
)
def test_a_factor_changes_its_rule(
    standard: Standard, key: str, value: float, rule: Rule, share: float | None
) -> None:
    mat = MATS[standard]
    other = replace(mat, factors=mat.factors.with_values(**{key: value}))
    before, after = rule(mat), rule(other)
    if share is None:
        assert after > before
    else:
        # products of a handful of numbers: rounding alone
        assert after == pytest.approx(share * before, rel=1e-9)


def test_every_factor_is_looked_at() -> None:
    every = {(standard, key) for standard, rows in RECOMMENDED.items() for key in rows}
    assert {(s, k) for s, k, *_ in CASES} == every


def test_shear_by_hand() -> None:
    """C35/45, d = 192, 1000 mm2/m, gamma_c 1.4, 0.15 in place of 0.18: k = 2, since d < 200;
    0.15/1.4 * 2 * (100 * 0.0052083 * 35)^(1/3) = 0.5640 MPa; v_min 0.035 * 2^1.5 * 35^0.5 =
    0.5857 MPa decides, and 0.028 in place of 0.035 leaves it 0.4685."""
    mat = MATS["EN 1992"]
    stated = mat.factors.with_values(gamma_c=1.4, C_Rd_c_gamma_c=0.15)
    least = float(v_Rd_c(THIN, replace(mat, factors=stated)).v_Rd)
    assert least == pytest.approx(0.035 * 2**1.5 * sqrt(35) * 0.192e6, rel=1e-12)
    lower = replace(mat, factors=stated.with_values(v_min_factor=0.028))
    assert float(v_Rd_c(THIN, lower).v_Rd) == pytest.approx(0.5640 * 0.192e6, rel=2e-4)


def test_a_source_says_what_is_stated() -> None:
    mat = MATS["EN 1992"]
    assert "stated" not in str(v_Rd_c(THIN, mat).source)
    lower = replace(mat, factors=mat.factors.with_values(gamma_c=1.4))
    assert "stated: gamma_c = 1.4" in str(v_Rd_c(THIN, lower).source)


def test_bounds_hold_the_recommended_values() -> None:
    for rows in RECOMMENDED.values():
        for choice in rows.values():
            assert choice.low <= choice.value <= choice.high
            assert np.isfinite([choice.low, choice.high]).all()


def test_what_a_standard_does_not_have_is_refused() -> None:
    with pytest.raises(KeyError, match="no factor psi_7"):
        Factors("EN 1992", (("psi_7", 1.0),))
    with pytest.raises(KeyError):
        FACTORS["AASHTO LRFD"]["gamma_c"]

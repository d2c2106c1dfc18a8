"""Factors and choices of national annexes and owners, each with its recommended value and clause.

They are data that the deck file may state otherwise, under `[factors]`: partial factors, factors of
combinations and of load models, constants of resistances, limits in service. Every rule of the
standards takes them from the `Factors` that are handed down to it. What a standard's tables hold by
exposure, such as least covers, is not among them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

from pipelines.standards.sources import Source, Standard


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One factor of a standard.

    key : of the deck file, with its unit as a suffix; symbol : letter and what is set lower.
    value : recommended; low, high : what may be stated; in `unit`.
    """

    key: str
    symbol: tuple[str, str]
    meaning: str
    value: float
    low: float
    high: float
    source: Source
    unit: str = ""


def _rows(
    standard: Standard, *rows: tuple[str, str, str, float, tuple[float, float], str]
) -> dict[str, Choice]:
    """Rows of key, symbol, meaning, recommended value, bounds and clause, all from memory."""
    found = {}
    for key, symbol, meaning, value, (low, high), clause in rows:
        letter, _, mark = symbol.partition("_")
        units = {"mm": "mm", "MPa": "MPa", "years": "years"}
        found[key] = Choice(
            key=key,
            symbol=(letter, mark),
            meaning=meaning,
            value=value,
            low=low,
            high=high,
            source=Source(standard, clause),
            unit=units.get(key.rpartition("_")[2], ""),
        )
    return found


_CONCRETE = "Partial factor on concrete"
_STEEL = "Partial factor on reinforcing steel"
_SHARE = (0.0, 1.0)
_MODEL = (0.0, 3.0)
_UP, _DOWN, _WARM = (0.5, 3.0), (0.0, 1.5), (0.0, 3.0)
_EN_ULS, _EN_SLS = "EN 1990 table A2.4(B) (6.10)", "EN 1990 table A2.1"
_EN_CRACKS, _IRC_CRACKS = "7.3.4(3)", "12.3.4"
_IRC_ULS, _IRC_SLS = "IRC:6 annex B, table B.2", "IRC:6 table B.3"
_LRFD = "table 3.4.1-1"
_CRACK_ROWS = (
    ("k_1_bond", "k_1", "Bond in crack spacings: 0.8 of ribbed bars, 1.6 of plain ones", 0.8,
     (0.5, 2.0)),
    ("k_3", "k_3", "Factor on the cover in crack spacings", 3.4, (0.5, 6.0)),
    ("k_4", "k_4", "Factor on diameter over steel share in crack spacings", 0.425, (0.1, 1.0)),
)  # fmt: skip

RECOMMENDED: Mapping[Standard, Mapping[str, Choice]] = MappingProxyType(
    {
        "EN 1992": _rows(
            "EN 1992",
            ("gamma_c", "γ_c", _CONCRETE, 1.5, (1.0, 2.5), "2.4.2.4, table 2.1N"),
            ("gamma_s", "γ_s", _STEEL, 1.15, (1.0, 2.0), "2.4.2.4, table 2.1N"),
            ("gamma_c_accidental", "γ_c", f"{_CONCRETE}, accidental", 1.2, (1.0, 2.5),
             "2.4.2.4, table 2.1N"),
            ("gamma_s_accidental", "γ_s", f"{_STEEL}, accidental", 1.0, (1.0, 2.0),
             "2.4.2.4, table 2.1N"),
            ("gamma_s_fat", "γ_s,fat", f"{_STEEL}, fatigue", 1.15, (1.0, 2.0), "2.4.2.4"),
            ("alpha_cc", "α_cc", "Factor on the design strength of concrete", 0.85, (0.5, 1.0),
             "EN 1992-2 3.1.6(101)P"),
            ("alpha_ct", "α_ct", "Factor on the tensile strength in bond", 1.0, (0.5, 1.0),
             "EN 1992-2 3.1.6(102)P"),
            ("C_Rd_c_gamma_c", "C_Rd,c", "The number over gamma_c in C_Rd,c", 0.18,
             (0.05, 0.30), "6.2.2(1), 6.4.4(1)"),
            ("v_min_factor", "v_min", "The number before k^1.5 f_ck^0.5 in v_min", 0.035,
             (0.0, 0.1), "6.2.2(1), (6.3N)"),
            ("k_1_shear", "k_1", "Factor on membrane stress in one-way shear", 0.15, (0.0, 0.3),
             "6.2.2(1)"),
            ("k_1_punching", "k_1", "Factor on membrane stress in punching", 0.1, (0.0, 0.3),
             "6.4.4(1)"),
            ("nu_factor", "ν", "The number before (1 - f_ck/250) in the strength of struts", 0.6,
             (0.3, 1.0), "6.2.2(6), (6.6N)"),
            ("crushing", "v_Rd,max", "Share of nu f_cd in v_Rd,max of punching", 0.4, (0.2, 0.6),
             "6.4.5(3) with amendment A1:2014"),
            *((*row, _EN_CRACKS) for row in _CRACK_ROWS),
            ("w_max_mm", "w_max", "Limit of the crack width", 0.3, (0.05, 1.0),
             "EN 1992-2 table 7.101N"),
            ("concrete_stress", "k_1", "Share of f_ck that the concrete's stress may reach", 0.6,
             (0.2, 1.0), "EN 1992-2 7.2(102)"),
            ("steel_stress", "k_3", "Share of f_yk that the bars' stress may reach", 0.8,
             (0.2, 1.0), "7.2(5)"),
            ("plain_range_MPa", "k_1", "Range of stress that needs no fatigue verification", 70.0,
             (0.0, 200.0), "6.8.6(1)"),
            ("A_s_min_factor", "A_s,min", "The number before f_ctm/f_yk in the least steel", 0.26,
             _SHARE, "9.2.1.1(1)"),
            ("A_s_min_share", "A_s,min", "Least steel as a share of b d", 0.0013, (0.0, 0.01),
             "9.2.1.1(1)"),
            ("A_s_max_share", "A_s,max", "Most steel as a share of the section", 0.04,
             (0.01, 0.1), "9.2.1.1(3)"),
            ("design_life_years", "T", "Design life behind the least cover", 100.0, (10.0, 120.0),
             "EN 1990 table 2.1, category 5"),
            ("cover_deviation_mm", "Δc_dev", "Allowance on the least cover", 10.0, (0.0, 50.0),
             "4.4.1.3"),
            ("gamma_G_sup", "γ_G,sup", "Permanent actions, unfavourable", 1.35, _UP, _EN_ULS),
            ("gamma_G_inf", "γ_G,inf", "Permanent actions, favourable", 1.0, _DOWN, _EN_ULS),
            ("surfacing_sup", "1+", "More surfacing than nominal", 1.4, _UP,
             "EN 1991-1-1 5.2.3(3)"),
            ("surfacing_inf", "1−", "Less surfacing than nominal", 0.8, _DOWN,
             "EN 1991-1-1 5.2.3(3)"),
            ("gamma_SH", "γ_SH", "Shrinkage", 1.0, _UP, "2.4.2.1(1)"),
            ("gamma_SE", "γ_Gset", "Settlement, linear elastic", 1.2, _UP, _EN_ULS),
            ("gamma_T", "γ_Q", "Temperature", 1.5, _WARM, _EN_ULS),
            ("psi_0_T", "ψ_0", "Temperature beside traffic", 0.6, _SHARE, _EN_SLS),
            ("psi_2_T", "ψ_2", "Temperature, frequent and quasi-permanent", 0.5, _SHARE, _EN_SLS),
            ("gamma_Q", "γ_Q", "Road traffic", 1.35, _UP, _EN_ULS),
            ("psi_1_TS", "ψ_1", "Tandems and vehicles, frequent", 0.75, (0.05, 1.0), _EN_SLS),
            ("psi_1_UDL", "ψ_1", "Distributed traffic, frequent", 0.40, _SHARE, _EN_SLS),
            ("psi_2", "ψ_2", "Traffic, quasi-permanent", 0.0, _SHARE, _EN_SLS),
            *((f"alpha_Q{k}", f"α_Q{k}", f"Tandem of lane {k}, load model 1", 1.0, _MODEL,
               "EN 1991-2 4.3.2(3)") for k in (1, 2, 3)),
            *((f"alpha_q{k}", f"α_q{k}", f"Uniform load of lane {k}, load model 1", 1.0, _MODEL,
               "EN 1991-2 4.3.2(3)") for k in (1, 2, 3)),
            ("alpha_qr", "α_qr", "Uniform load of the rest of the carriageway", 1.0, _MODEL,
             "EN 1991-2 4.3.2(3)"),
            ("beta_Q", "β_Q", "Load model 2", 1.0, _MODEL, "EN 1991-2 4.3.3(2)"),
        ),
        "IRC:112": _rows(
            "IRC:112",
            ("gamma_c", "γ_c", _CONCRETE, 1.5, (1.0, 2.5), "6.4.2.8"),
            ("gamma_s", "γ_s", _STEEL, 1.15, (1.0, 2.0), "6.3.5"),
            ("gamma_c_accidental", "γ_c", f"{_CONCRETE}, accidental", 1.2, (1.0, 2.5), "6.4.2.8"),
            ("gamma_s_accidental", "γ_s", f"{_STEEL}, accidental", 1.0, (1.0, 2.0), "6.3.5"),
            ("alpha_cc", "α", "Factor on the design strength of concrete, cube", 0.67, (0.3, 1.0),
             "6.4.2.8"),
            ("C_Rd_c_gamma_c", "C_Rd,c", "The number over gamma_c in v_Rd,c", 0.18,
             (0.05, 0.30), "10.3.2(2), 10.4"),
            ("v_min_factor", "v_min", "The number before k^1.5 f_ck^0.5 in v_min", 0.031,
             (0.0, 0.1), "10.3.2(2)"),
            ("k_1_shear", "k_1", "Factor on membrane stress in one-way shear", 0.15, (0.0, 0.3),
             "10.3.2(2)"),
            ("k_1_punching", "k_1", "Factor on membrane stress in punching", 0.1, (0.0, 0.3),
             "10.4"),
            ("nu_factor", "ν", "The number before (1 - f_ck/310) in the strength of struts", 0.6,
             (0.3, 1.0), "10.3.3.2"),
            ("crushing", "v_Rd,max", "Share of nu f_cd in v_Rd,max of punching", 0.5, (0.2, 0.6),
             "10.4"),
            *((*row, _IRC_CRACKS) for row in _CRACK_ROWS),
            ("w_max_mm", "w_max", "Limit of the crack width, moderate and severe exposure", 0.3,
             (0.05, 1.0), "12.3.2, table 12.1"),
            ("w_max_severe_mm", "w_max", "Limit of the crack width, very severe and extreme", 0.2,
             (0.05, 1.0), "12.3.2, table 12.1"),
            ("concrete_stress", "σ_c", "Share of f_ck that the concrete's stress may reach", 0.48,
             (0.2, 1.0), "12.2.1(1)"),
            ("steel_stress", "σ_s", "Share of f_yk that the bars' stress may reach", 0.8,
             (0.2, 1.0), "12.2.2"),
            ("unverified_stress_MPa", "σ_s", "Stress of bars that needs no fatigue verification",
             300.0, (0.0, 500.0), "5.3.2.5"),
            ("A_s_min_factor", "A_s,min", "The number before f_ctm/f_yk in the least steel", 0.26,
             _SHARE, "16.5.1.1"),
            ("A_s_min_share", "A_s,min", "Least steel as a share of b d", 0.0013, (0.0, 0.01),
             "16.5.1.1"),
            ("A_s_max_share", "A_s,max", "Most steel as a share of the section", 0.025,
             (0.01, 0.1), "16.5.1.1"),
            ("gamma_G_sup", "γ_G,sup", "Permanent actions, unfavourable", 1.35, _UP, _IRC_ULS),
            ("gamma_G_inf", "γ_G,inf", "Permanent actions, favourable", 1.0, _DOWN, _IRC_ULS),
            ("gamma_surfacing_sup", "γ_S,sup", "Surfacing, unfavourable", 1.75, _UP, _IRC_ULS),
            ("gamma_surfacing_inf", "γ_S,inf", "Surfacing, favourable", 1.0, _DOWN, _IRC_ULS),
            ("surfacing_sup", "1+", "Surfacing in service, unfavourable", 1.2, _UP, _IRC_SLS),
            ("gamma_SH", "γ_SH", "Shrinkage", 1.0, _UP, _IRC_ULS),
            ("gamma_SE", "γ_SE", "Settlement", 1.0, _UP, _IRC_ULS),
            ("gamma_T", "γ_T", "Temperature beside traffic, ultimate", 0.9, _WARM, _IRC_ULS),
            ("psi_0_T", "ψ_0", "Temperature beside traffic, rare", 0.6, _SHARE, _IRC_SLS),
            ("psi_2_T", "ψ_2", "Temperature, frequent and quasi-permanent", 0.5, _SHARE, _IRC_SLS),
            ("gamma_Q", "γ_Q", "Road traffic", 1.5, _UP, _IRC_ULS),
            ("psi_1", "ψ_1", "Road traffic, frequent", 0.75, _SHARE, _IRC_SLS),
            ("psi_2", "ψ_2", "Road traffic, quasi-permanent", 0.0, _SHARE, _IRC_SLS),
        ),
        "AASHTO LRFD": _rows(
            "AASHTO LRFD",
            ("phi_bending", "ϕ", "Resistance factor in bending, sections in tension", 0.90,
             (0.3, 1.0), "5.5.4.2"),
            ("phi_bending_least", "ϕ", "The same, sections in compression", 0.75, (0.3, 1.0),
             "5.5.4.2"),
            ("phi_shear", "ϕ_v", "Resistance factor in shear", 0.90, (0.3, 1.0), "5.5.4.2"),
            ("gamma_e", "γ_e", "Exposure in the spacing of bars for cracks", 0.75, (0.3, 1.0),
             "5.6.7: 1.00 for class 1, 0.75 for class 2"),
            ("steel_stress", "σ_s", "Share of f_y that the bars' stress may reach", 0.6,
             (0.2, 1.0), "5.6.7"),
            ("gamma_DC_sup", "γ_DC", "Components, unfavourable", 1.25, _UP, "table 3.4.1-2"),
            ("gamma_DC_inf", "γ_DC", "Components, favourable", 0.9, _DOWN, "table 3.4.1-2"),
            ("gamma_DW_sup", "γ_DW", "Surfacing, unfavourable", 1.5, _UP, "table 3.4.1-2"),
            ("gamma_DW_inf", "γ_DW", "Surfacing, favourable", 0.65, _DOWN, "table 3.4.1-2"),
            ("gamma_SH", "γ_SH", "Shrinkage", 1.0, _UP, "table 3.4.1-3"),
            ("gamma_SE", "γ_SE", "Settlement", 1.0, _UP, "3.4.1"),
            ("gamma_TG_strength", "γ_TG", "Temperature gradient, strength", 0.0, _WARM,
             "3.4.1"),
            ("gamma_TG", "γ_TG", "Temperature gradient beside vehicles, service", 0.5, _WARM,
             "3.4.1"),
            ("gamma_LL", "γ_LL", "Vehicles, strength I", 1.75, _UP, _LRFD),
            ("gamma_LL_fatigue", "γ_LL", "Fatigue truck, fatigue I", 1.75, _UP, _LRFD),
            ("IM", "IM", "Dynamic load allowance", 0.33, (0.0, 1.0), "table 3.6.2.1-1"),
            ("IM_fatigue", "IM", "Dynamic load allowance, fatigue", 0.15, (0.0, 1.0),
             "table 3.6.2.1-1"),
            *((f"presence_{k}", f"m_{k}", f"Multiple presence, {words} loaded", value,
               (0.3, 1.5), "table 3.6.1.1.2-1") for k, words, value in (
                  (1, "one lane", 1.20), (2, "two lanes", 1.00), (3, "three lanes", 0.85),
                  (4, "more lanes", 0.65))),
        ),
    }
)  # fmt: skip


@dataclass(frozen=True)
class Factors:
    """The factors of a standard that count: recommended ones, and those that the user states.

    stated : (key, value) of the latter; by : (key, who states it, in words).
    """

    standard: Standard
    stated: tuple[tuple[str, float], ...] = ()
    by: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        unknown = [key for key, _ in self.stated if key not in RECOMMENDED[self.standard]]
        if unknown:
            raise KeyError(f"{self.standard} has no factor {', '.join(unknown)}")

    @cached_property
    def _own(self) -> dict[str, float]:
        return dict(self.stated)

    def __getitem__(self, key: str) -> float:
        """The value that counts. Raises KeyError where the standard has no such factor."""
        return self._own[key] if key in self._own else RECOMMENDED[self.standard][key].value

    def or_one(self, key: str) -> float:
        """The same, 1 where the standard has no such factor."""
        return self[key] if key in RECOMMENDED[self.standard] else 1.0

    def is_stated(self, *keys: str) -> bool:
        """Whether the user states one of them."""
        return any(key in self._own for key in keys)

    def marked(self, source: Source, *keys: str) -> Source:
        """The source of a rule, which says so where the user states one of its factors."""
        if not self.is_stated(*keys):
            return source
        words = ", ".join(f"{k} = {self._own[k]:g}" for k in keys if k in self._own)
        return replace(source, clause=f"{source.clause}; stated: {words}")

    def who(self, key: str) -> str:
        """Who states a factor; "" for a recommended one."""
        return dict(self.by).get(key, "")

    def stated_by(self, who: str, **values: float) -> "Factors":
        """The same with values that somebody states."""
        names = {**dict(self.by), **dict.fromkeys(values, who)}
        return replace(self.with_values(**values), by=tuple(sorted(names.items())))

    def with_values(self, **values: float) -> "Factors":
        """The same with other values."""
        return replace(self, stated=tuple(sorted({**self._own, **values}.items())))


FACTORS: Mapping[Standard, Factors] = MappingProxyType(
    {standard: Factors(standard) for standard in RECOMMENDED}
)
"""The recommended factors of every standard."""

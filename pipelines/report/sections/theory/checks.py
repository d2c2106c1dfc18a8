"""The checks of the bars in formulas, by check and standard."""

from collections.abc import Iterator

from pipelines.bars.adequacy import Check
from pipelines.bars.checks import edge_beams, fatigue
from pipelines.bars.checks.bending_and_service import CREEP, CREEP_SOURCE
from pipelines.bars.checks.collision import ACCIDENTAL, permanent_factor
from pipelines.bars.checks.curtailment import SHIFT_SOURCE
from pipelines.bars.demand.control_sections import WIDTH_IN_DEPTHS
from pipelines.numbers import as_given
from pipelines.report.sections.theory.formulas import Chapter, Item
from pipelines.standards.actions.combinations import Combination, combinations
from pipelines.standards.detailing.cover import BASIC_CLASS, BASIC_LIFE
from pipelines.standards.detailing.laps import CROSSING, EDGES, ENDS, LAPS
from pipelines.standards.detailing.serviceability import LEAST_F_CT
from pipelines.standards.factors import FACTORS, RECOMMENDED, Factors
from pipelines.standards.materials import MPA
from pipelines.standards.resistance.bending import BENDING
from pipelines.standards.resistance.cracking import CRACKING
from pipelines.standards.resistance.fatigue_damage import K_2, LORRIES, YEARS
from pipelines.standards.resistance.punching import PUNCHING
from pipelines.standards.resistance.shear import NEAR_SUPPORT, ONE_WAY, RHO_MOST
from pipelines.standards.sources import Source, Standard
from pipelines.standards.supports import RULE, SOURCES

FROM_MEMORY = "(from memory)"


def actions() -> Chapter:
    """Combinations and partial factors of every standard, and design moments."""
    combined = [
        Item(
            title=f"{standard}: {combination.limit_state}",
            formulas=(_sum(combination),),
            source=str(combination.source),
        )
        for standard, recommended in FACTORS.items()
        for combination in combinations(recommended)
    ]
    factors = [
        Item(
            title=f"{standard}: factors of materials",
            formulas=(_factors(one),),
            source="; ".join(dict.fromkeys(_sources(one))),
        )
        for standard, one in FACTORS.items()
    ]
    moments = (
        Item(
            title="Moments of the bars",
            words="Wood and Armer's rule, load position by load position: what bottom bars along "
            "x need of coexisting moments; along y with x and y exchanged, top bars with the signs "
            "turned. Skew bars take components along their own directions.",
            formulas=(
                "m_{x,bars} = max(m_x + |m_xy|, 0)",
                "m_{x,bars} = max(m_x + m_xy^2 / |m_y|, 0) where m_y + |m_xy| < 0",
            ),
            source="Wood 1968, Armer 1968 (from memory)",
        ),
        Item(
            title="Hogging over supports",
            words=f"{RULE} M, V: moment and shears of either side at the centre line, p: load over "
            "the support.",
            formulas=(
                "m_{face} = M − V t / 2 + p t^2 / 8",
                "m_{quarter} = M − V t / 4 + p t^2 / 32",
                "M − F t / 8 <= m_{quarter}, F = V_{left} + V_{right}",
            ),
            source=SOURCES,
        ),
        Item(
            title="Membrane forces",
            words="A tension n beside m counts as a moment; t is the distance from mid-depth to "
            "the middle of the stress block, h the thickness, λ x the block's depth.",
            formulas=("m_{bars} = m + n t, t = (h − λ x) / 2",),
        ),
    )
    return Chapter("actions", "Actions and factors", (*combined, *factors, *moments))


def _sum(combination: Combination) -> str:
    letters = {
        "self-weight": "G",
        "surfacing": "G_{surfacing}",
        "parapet": "G_{parapet}",
        "other permanent": "G_{other}",
        "shrinkage": "S_{shrinkage}",
        "settlement": "S_{settlement}",
        "warming": "T_{warming}",
        "cooling": "T_{cooling}",
    }
    parts = [
        _times(high, letters[action])
        if high == low
        else f"({as_given(high)} or {as_given(low)}) {letters[action]}"
        for action, (high, low) in combination.permanent.items()
    ]
    if combination.traffic:
        parts.append(_times(combination.traffic, "Q"))
    if combination.distributed is not None:
        parts.append(_times(combination.distributed, "Q_{distributed}"))
    return " + ".join(parts)


def _times(factor: float, letter: str) -> str:
    return letter if factor == 1.0 else f"{as_given(factor)} {letter}"


def _factors(one: Factors) -> str:
    if one.standard == "AASHTO LRFD":
        return (
            f"ϕ = {one['phi_bending_least']:g} to {one['phi_bending']:g} in bending, "
            f"{one['phi_shear']:g} in shear"
        )
    return f"γ_c = {one['gamma_c']:g}, γ_s = {one['gamma_s']:g}, α_cc = {one['alpha_cc']:g}"


def _sources(one: Factors) -> Iterator[str]:
    keys = ("gamma_c", "gamma_s", "alpha_cc", "phi_bending", "phi_shear")
    rows = RECOMMENDED[one.standard]
    yield from (str(rows[key].source) for key in keys if key in rows)


def checks() -> Chapter:
    """Every check of the library; the largest utilisation of any search is told."""
    items = [item for check in Check for item in ITEMS[check]]
    return Chapter("checks", "Checks of the bars", tuple(items))


def _every(sources: dict[Standard, Source]) -> str:
    return "; ".join(map(str, sources.values()))


def _item(check: Check, words: str, formulas: tuple[str, ...], source: str) -> tuple[Item, ...]:
    return (Item(title=_title(check), words=words, formulas=formulas, source=source),)


def _title(check: Check) -> str:
    return check.value[0].upper() + check.value[1:]


_EN = FACTORS["EN 1992"]
_ACCIDENTAL = "; ".join(
    f"{standard}: γ_c = {one.or_one('gamma_c_accidental'):g}, "
    f"γ_s = {one.or_one('gamma_s_accidental'):g}, {permanent_factor(one):g} G"
    for standard, one in FACTORS.items()
)

ITEMS: dict[Check, tuple[Item, ...]] = {
    Check.BENDING: _item(
        Check.BENDING,
        "Plane strains, rectangular stress block of the standard, steel elastic and then at yield, "
        "no concrete in tension. x follows from the balance of forces; σ_c is the block's stress, "
        "λ its depth over x, d the effective depth. ϕ is 1 but for AASHTO.",
        (
            "A_s σ_s = λ x σ_c, σ_s = min(E_s ε_cu (d − x) / x, f_yd)",
            "m_Rd = ϕ λ x σ_c (d − λ x / 2)",
            "m_Ed / m_Rd <= 1",
        ),
        _every(BENDING),
    ),
    Check.SHEAR: _item(
        Check.SHEAR,
        "Principal shear at sections at the face plus d beside supporting lines, averaged over "
        f"{WIDTH_IN_DEPTHS:g} d along the line (lower bound of the Delft guideline, Lantsoght and "
        "others in Heron). f in MPa and MPa of stress for EN and IRC, f'_c in ksi for AASHTO, "
        f"ρ = A_s/d at most {RHO_MOST:g}; tension lowers the resistance by σ_cp = −n/h. Loads near "
        f"a support count in part: {_every(NEAR_SUPPORT)}.",
        (
            "q = √(q_x^2 + q_y^2)",
            "EN, IRC: v_Rd = (τ + 0.15 σ_cp) d, k = min(1 + √(0.2 / d), 2) with d in m",
            "EN: τ = max(0.18 k (100 ρ f_ck)^{1/3} / γ_c, 0.035 k^{1.5} √(f_ck))",
            "IRC: τ = max(0.18 k (80 ρ f_ck)^{0.33} / γ_c, 0.031 k^{1.5} √(f_ck))",
            "AASHTO: v_Rd = ϕ 0.0316 β √(f'_c) d_v, d_v = max(0.9 d, 0.72 h)",
            "β = 4.8 / (1 + 750 ε_s) · 51 / (39 + s_xe), s_xe in inches",
            "ε_s = (m / d_v + 0.5 n + v) / (E_s A_s)",
        ),
        _every(ONE_WAY),
    ),
    Check.PUNCHING: _item(
        Check.PUNCHING,
        "Every wheel of every load position, and wheels whose perimeters overlap together (common "
        "practice). The perimeter u is the least of those of an interior, an edge and a corner "
        "load; u_0 that of the loaded area; ρ = √(ρ_x ρ_y); ν the strength of cracked struts.",
        (
            "v_Ed = P / (u d)",
            "EN, IRC: v_Rd = τ + 0.1 σ_cp, τ as of shear, u at 2 d",
            "EN: P / (u_0 d) <= 0.4 ν f_cd; IRC: P / (u_0 d) <= 0.5 ν f_cd",
            "EN: ν = 0.6 (1 − f_ck / 250); IRC: ν = 0.6 (1 − f_ck / 310)",
            "AASHTO: u at d_v / 2, v_Rd = ϕ min(0.063 + 0.126 / β_c, 0.126) √(f'_c)",
        ),
        _every(PUNCHING),
    ),
    Check.STRESSES: _item(
        Check.STRESSES,
        "Elastic cracked section, concrete without tension; the concrete's stress before creep, "
        f"the bars' after it, with E_c/(1 + {CREEP:g}). Characteristic combination.",
        (
            "σ_s = E_s (ε_m + k (d − h / 2)), from N and M in balance",
            "EN: |σ_c| <= 0.6 f_ck, σ_s <= 0.8 f_yk",
            "IRC: |σ_c| <= 0.48 f_ck, σ_s <= 0.8 f_yk",
            "AASHTO: σ_s <= 0.6 f_y",
        ),
        "EN 1992-2 7.2(102), EN 1992-1-1 7.2(5); IRC:112 12.2.1(1), 12.2.2; AASHTO LRFD 5.6.7 "
        f"{FROM_MEMORY}; {CREEP_SOURCE}",
    ),
    Check.CRACKS: _item(
        Check.CRACKS,
        "Under the combination that the deck file names, against the limit for the exposure or the "
        "one stated. c: cover, φ: diameter, k_2 = 0.5 in bending to 1 in tension, h_e: depth of "
        "the effective tension area. Least steel: k_c = 0.4 in bending, k = 1 to 0.65 for 0.3 to "
        f"0.8 m of depth, f_ct at least {LEAST_F_CT / MPA:g} MPa, A_ct half the slab.",
        (
            "w = s_r ε",
            "ε = max((σ_s − k_t f_ct (1 + ρ E_s / E_c) / ρ) / E_s, 0.6 σ_s / E_s)",
            f"s_r = {_EN['k_3']:g} c + {_EN['k_1_bond']:g} · {_EN['k_4']:g} k_2 φ / ρ, "
            "ρ = A_s / h_e",
            "s_r >= 1.3 (h − x) where bars are more than 5 (c + φ / 2) apart",
            "h_e = min(2.5 (h − d), (h − x) / 3, h / 2), k_t = 0.4",
            "A_{s,min} = k_c k f_ct A_ct / σ_s, σ_s by table 7.2N",
            "AASHTO: s <= 700 γ_e / (β_s f_s) − 2 d_c in inches, f_s in ksi",
            "β_s = 1 + d_c / (0.7 (h − d_c))",
        ),
        f"{_every(CRACKING)}; EN 1992-1-1 7.3.2, IRC:112 12.3.3, AASHTO LRFD 5.6.7 {FROM_MEMORY}",
    ),
    Check.FATIGUE: _item(
        Check.FATIGUE,
        "Range of the stress in straight bars without welds. EN: the plain range under the "
        "frequent combination, or the damage equivalent one under fatigue load model 3, axles "
        f"times {fatigue.AXLES[0]:.2f} for bottom and {fatigue.AXLES[1]:.2f} for top bars. λ_s: "
        f"N in millions of lorries a year against {LORRIES:g}, T years of life against {YEARS:g}. "
        "IRC: bars below a stress need no verification. AASHTO: fatigue truck times "
        f"{fatigue.fatigue_load_factor(FACTORS['AASHTO LRFD']):.3f}, against the threshold for "
        "infinite life.",
        (
            f"EN: Δσ <= {_EN['plain_range_MPa']:g} MPa",
            f"EN, annex NN: λ_s Δσ <= {fatigue.equivalent_range(_EN) / MPA:.1f} MPa",
            "λ_s = ϕ_{fat} λ_{s,1} λ_{s,2} λ_{s,3} λ_{s,4}",
            f"λ_{{s,2}} = c (N_1 / {LORRIES:g})^{{1/{K_2}}}",
            f"λ_{{s,3}} = (T / {YEARS:g})^{{1/{K_2}}}",
            f"λ_{{s,4}} = (Σ N_i / N_1)^{{1/{K_2}}}",
            f"IRC: σ_s <= {FACTORS['IRC:112'][fatigue.UNVERIFIED_KEY]:g} MPa",
            "AASHTO: Δσ <= 26 − 22 f_{min} / f_y in ksi",
        ),
        f"{fatigue.PLAIN_SOURCE}; {fatigue.EQUIVALENT_CLAUSE} {FROM_MEMORY}; "
        f"{fatigue.UNVERIFIED_SOURCE}; {fatigue.THRESHOLD_SOURCE}",
    ),
    Check.STEEL: _item(
        Check.STEEL,
        "Of each layer; distribution steel as a share of the main steel that bending needs. AASHTO "
        "in in^2/ft and ksi, span S in ft, at most 50 % along and 67 % across traffic.",
        (
            "EN, IRC: A_s >= max(0.26 f_ct / f_yk, 0.0013) d",
            "EN: A_s <= 0.04 h; IRC: A_s <= 0.025 h",
            "EN, IRC: A_{distribution} >= 0.20 A_{main}",
            "AASHTO: A_s >= 1.30 h / (2 f_y), from 0.11 to 0.60",
            "AASHTO: m_Rd >= min(1.6 · 0.67 f_r h^2 / 6, 1.33 m_Ed)",
            "AASHTO: A_{distribution} / A_{main} >= 100 / √(S) % along, 220 / √(S) % across",
        ),
        "EN 1992-1-1 9.2.1.1, 9.3.1.1; IRC:112 16.5.1.1, 16.6.1.1; AASHTO LRFD 5.10.6, 5.6.3.3, "
        f"9.7.3.2 {FROM_MEMORY}",
    ),
    Check.SPACING: _item(
        Check.SPACING,
        "Largest spacing as a multiple of the thickness and a length, for main and distribution "
        "bars under concentrated loads; least clear distance, φ the diameter and g the largest "
        "aggregate.",
        (
            "s <= min(n h, s_{max})",
            "EN: s − φ >= max(φ, g + 5 mm, 20 mm)",
            "IRC: s − φ >= max(φ, g + 10 mm, 20 mm)",
            "AASHTO: s − φ >= max(1.5 φ, 1.5 g, 1.5 in)",
        ),
        "EN 1992-1-1 9.3.1.1(3), 8.2(2); IRC:112 16.6.1.1, 15.2.1; AASHTO LRFD 5.10.3.2, "
        f"5.10.3.1.1 {FROM_MEMORY}",
    ),
    Check.COVER: _item(
        Check.COVER,
        f"EN: by exposure and structural class, S{BASIC_CLASS} for {BASIC_LIFE:g} years, two more "
        "for a longer life, one less for strong concrete and one less for a slab; the grade that "
        "the exposure asks for by annex E. IRC and AASHTO: by exposure.",
        ("EN: c >= max(c_{min,dur}, φ, 10 mm) + 10 mm",),
        "EN 1992-1-1 4.4.1, tables 4.3N, 4.4N, E.1N; IRC:112 14.3.2, table 14.2; AASHTO LRFD "
        f"5.10.1 {FROM_MEMORY}",
    ),
    Check.ANCHORAGE: _item(
        Check.ANCHORAGE,
        "As the bar schedule has them, u the largest utilisation in bending with the tension "
        "shift, at most 1. Past the face of the first support: the straight length l to the bars' "
        "end. At edges with U-bars: what the distance s to the end leaves to them, v, by the steel "
        "A_U per width and by what is left of the legs l, as a lap of all bars. Laps l of straight "
        "bars: of every other one. α_6 = √(share / 25) is 1.41 for half of the bars, 1.5 for all. "
        f"η_1 is 1 in good and 0.7 in poor bond. Shift of the moments: {_every(SHIFT_SOURCE)}; "
        f"ends: {_every(ENDS)}; laps: {_every(LAPS)}; edges: {_every(EDGES)}; across laps of bars "
        f"of 20 mm and more: {_every(CROSSING)}.",
        (
            "l >= u l_b",
            "v = max(u − s / l_b, 0), A_U >= v A_s, l − s >= α_6 v l_b",
            "EN, IRC: laps l >= α_6 u l_b, at least 0.3 α_6 l_b, 15 φ, 200 mm",
            "EN, IRC: over both outer thirds of a lap A_{st} >= A_s of one lapped bar",
            "AASHTO: laps l >= 1.3 u l_d, at least 12 in",
            "EN, IRC: l_b = φ f_yd / (4 · 2.25 η_1 η_2 f_ctd), η_2 = min((132 − φ) / 100, 1)",
            "AASHTO: l_d = 2.4 φ f_y / √(f'_c) · λ_{rl} λ_{rc}, at least 12 in",
        ),
        f"EN 1992-1-1 8.4.2, 8.4.3; IRC:112 15.2.3, 15.2.4; AASHTO LRFD 5.10.8.2.1 {FROM_MEMORY}",
    ),
    Check.COLLISION: _item(
        Check.COLLISION,
        "The force F, H above the slab, L_0 long, spreads at the angle δ; at x inside the "
        "parapet's inner face. With it act permanent actions and the wheel that the deck file "
        f"states, accidental factors: {_ACCIDENTAL}.",
        (
            "L = L_0 + 2 (H + x) tan δ, n = F / L, m = n (H + h / 2)",
            "m + n t + m_G + m_{wheel} <= m_Rd",
        ),
        _every(ACCIDENTAL),
    ),
    Check.BEAMS: _item(
        Check.BEAMS,
        "A rectangle b by h, struts at 45 degrees, z = 0.9 d; largest moment, shear and torsion "
        "together. A_k, u_k: area within and length of the tube's centre line, t its thickness; "
        "n legs of A_sw/s in all.",
        (
            "V_Rd = min(A_sw z f_yd / s, b z ν f_cd / 2)",
            "T / T_Rd + V / V_{Rd,max} <= 1, T_Rd = ν f_cd A_k t",
            "A_sw / (n s) >= V / (n z f_yd) + T / (2 A_k f_yd)",
            "A_s >= A_{s,bending} + T u_k / (2 A_k f_yd)",
            "EN: A_sw / s >= 0.08 √(f_ck) b / f_yk",
            "IRC: A_sw / s >= 0.072 √(f_ck) b / f_yk",
            "AASHTO: A_sw / s >= 0.0316 √(f'_c) b / f_y",
            "AASHTO: T <= 0.25 ϕ T_cr may be left out, T_cr = 0.126 √(f'_c) A_cp^2 / p_c",
            "AASHTO: V_{eff} = √(V^2 + (0.9 p_h T / (2 A_o))^2)",
        ),
        f"{_every(edge_beams.LINKS)}; {_every(edge_beams.LEAST_LINKS)}; "
        f"{_every(edge_beams.TORSION)}",
    ),
    Check.DEPTH: _item(
        Check.DEPTH, "", ("AASHTO: h >= 7 in",), f"AASHTO LRFD 9.7.1.1 {FROM_MEMORY}"
    ),
    Check.ADVICE: _item(
        Check.ADVICE,
        "Told, not judged. ρ: steel that bending needs over d, ρ_0 = 0.001 √(f_ck), K = 1.5 of an "
        "interior span; the last factor at most 1.5 (common practice). AASHTO: S in ft, spans "
        "along traffic.",
        (
            "EN: l / d <= K ζ (500 / f_yk) A_s / A_{s,req}",
            "ζ = 11 + 1.5 √(f_ck) ρ_0 / ρ where ρ > ρ_0",
            "ζ = 11 + 1.5 √(f_ck) ρ_0 / ρ + 3.2 √(f_ck) (ρ_0 / ρ − 1)^{1.5} where ρ <= ρ_0",
            "AASHTO: h >= max((S + 10) / 30, 0.54) ft",
        ),
        f"EN 1992-1-1 7.4.2, a rule for buildings; AASHTO LRFD 2.5.2.6.3 {FROM_MEMORY}",
    ),
    Check.OWN: _item(
        Check.OWN,
        "Code that a deck names in [own] gives utilisations of single layers from their section "
        "and the largest moments that they are designed for, and of the shear at every place where "
        "it is judged from the section, the mean over 4 d, the coexisting moment and tension and "
        "the standard's resistance. Nobody but the user has verified it.",
        (),
        "user's",
    ),
    Check.OTHER: _item(
        Check.OTHER, "Rules of a standard that belong to none of these are told by name.", (), ""
    ),
}

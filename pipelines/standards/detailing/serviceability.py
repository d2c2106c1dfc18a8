"""Rules of the standards for slabs in service, as rows: stresses, cracks, span/depth (SI).

A rule that a standard does not have yields no row. The recommended values of EN 1992-1-1:2004 and
EN 1992-2:2005 are used; national annexes govern and change many of them.
"""

from typing import Literal

import numpy as np

from pipelines.standards.actions.combinations import LimitState
from pipelines.standards.detailing.rules import FOOT, INCH, Row
from pipelines.standards.detailing.tables import BAR_STRESSES, LARGEST_BARS, SEVERE
from pipelines.standards.factors import Factors
from pipelines.standards.materials import KSI, MPA, Materials
from pipelines.standards.resistance.bars import Layer, SlabBars, place_of
from pipelines.standards.sources import Source, Standard

Support = Literal["simply supported", "end span", "interior span", "cantilever"]


ADVICE = "advice only"
LEAST_F_CT = 2.9 * MPA  # of the concrete that shrinkage cracks


def crack_bar_stress(diameter: float, w: float) -> float:
    """Stress [Pa] right after cracking at which bars of a diameter keep cracks to w [m]: table 7.2N
    of EN 1992-1-1, its bars unmodified by (7.6N), linear between its values.

    Beyond its ends the stress falls with 1/sqrt(diameter) and sqrt(w), as the table itself does
    nearly; bars smaller than its smallest and cracks wider than its widest gain nothing.
    """
    phi = diameter * 1e3
    columns = sorted(LARGEST_BARS)
    found = []
    for column in columns:
        bars = LARGEST_BARS[column]
        stresses = BAR_STRESSES[: len(bars)]
        stress = float(np.interp(phi, bars[::-1], stresses[::-1]))
        found.append(stress * min(np.sqrt(bars[0] / phi), 1.0))
    narrow = min(np.sqrt(w * 1e3 / columns[0]), 1.0)
    return float(np.interp(w * 1e3, columns, found) * narrow) * MPA


def crack_steel_rows(
    bars: SlabBars, layer: Layer, mat: Materials, w: float, pull: float = 0.0
) -> tuple[Row, ...]:
    """Least steel that keeps the first crack of a layer's face to w [m]: k_c k f_ct,eff A_ct /
    sigma_s (EN 1992-1-1 and -2 7.3.2, IRC:112 12.3.3).

    A_ct is half the slab's depth, k_c = 0.4 in bending and grows to 1 under a tension `pull` [N/m]
    of the whole section; k falls from 1 at 0.3 m of depth to 0.65 at 0.8 m; f_ct,eff is the mean
    strength, not below 2.9 MPa; sigma_s is of `crack_bar_stress` for the bars provided, at most
    f_yk. AASHTO has its own rules (5.10.6, 5.6.3.3) and yields no row.
    """
    clauses = {
        "EN 1992": "7.3.2 (7.1), EN 1992-2 7.3.2(105), table 7.2N",
        "IRC:112": "12.3.3, tables 12.2 and 12.3",
    }
    if mat.standard not in clauses:
        return ()
    h, layer_bars = bars.thickness_of(layer), bars.bars(layer)
    f_ct = max(mat.concrete.f_ct, LEAST_F_CT)
    k_c = min(0.4 * (1 + 1.5 * pull / h / f_ct), 1.0)
    k = float(np.interp(h, (0.3, 0.8), (1.0, 0.65)))
    sigma_s = min(crack_bar_stress(layer_bars.largest, w), mat.steel.f_yk)
    required = k_c * k * f_ct * h / 2 / sigma_s
    words = f"{clauses[mat.standard]}: sigma_s {sigma_s / MPA:.0f} MPa for {1e3 * w:.2g} mm"
    source = Source(mat.standard, words)
    place, name, area = place_of(layer), "least steel for cracks", layer_bars.area
    return (
        Row(
            check=name,
            place=place,
            required=required,
            provided=area,
            sense="at least",
            unit="m2/m",
            source=source,
        ),
    )


def crack_limit(
    factors: Factors, exposure: str | None, stated: float | None = None
) -> float | None:
    """Crack width [m] that the user states, else the recommended one of the exposure, or of the
    mildest where none is stated; None for AASHTO, which has none."""
    key = _crack_key(factors.standard, exposure)
    if key is None or stated is not None:
        return None if key is None else stated
    return 1e-3 * factors[key]


def _crack_key(standard: Standard, exposure: str | None) -> str | None:
    """The factor that is the limit of the crack width."""
    if standard == "AASHTO LRFD":
        return None
    return "w_max_severe_mm" if exposure in SEVERE else "w_max_mm"


def crack_width_row(
    w: float,
    place: str,
    factors: Factors,
    exposure: str | None,
    limit: float | None = None,
    combination: LimitState = "frequent",
) -> tuple[Row, ...]:
    """Crack width w [m] under a combination against the recommended limit, or the one that the
    user states.

    The recommended limits are for the quasi-permanent combination, which has no traffic at all.
    Several national annexes ask for the frequent one, which is the tool's own choice, and some of
    them for 0.2 mm: the user's to state.
    """
    standard, required = factors.standard, crack_limit(factors, exposure, limit)
    if required is None:
        return ()
    clause = {"EN 1992": "EN 1992-2:2005 table 7.101N", "IRC:112": "12.3.2, table 12.1"}[standard]
    if limit is not None:
        clause += "; limit stated by the user"
    elif factors.is_stated(_crack_key(standard, exposure) or ""):
        clause += "; limit stated in [factors]"
    clause += f"; {combination} combination"
    if combination == "quasi-permanent":
        clause += ", no traffic in it"
    source = Source(standard, clause)
    return (
        Row(
            check="crack width",
            place=place,
            required=required,
            provided=w,
            sense="at most",
            unit="m",
            source=source,
        ),
    )


def crack_spacing_row(
    bars: SlabBars, layer: Layer, mat: Materials, sigma_s: float
) -> tuple[Row, ...]:
    """AASHTO 5.6.7: spacing of the bars in tension at the service stress sigma_s [Pa].

    Its exposure factor gamma_e is 1.00 for class 1, 0.75 for class 2 (decks under water or salts).
    """
    if mat.standard != "AASHTO LRFD":
        return ()
    h, d = bars.thickness_of(layer), bars.effective_depth(layer)
    d_c = h - d
    beta_s = 1 + d_c / (0.7 * d)
    stress = min(sigma_s, 0.6 * mat.steel.f_yk) / KSI
    source = Source("AASHTO LRFD", "5.6.7")
    limit = np.inf
    if stress > 0:
        limit = (700 * mat.factors["gamma_e"] / (beta_s * stress) - 2 * d_c / INCH) * INCH
    spacing = bars.bars(layer).widest
    return (
        Row(
            check="spacing for cracks",
            place=place_of(layer),
            required=limit,
            provided=spacing,
            sense="at most",
            unit="m",
            source=source,
        ),
    )


def stress_rows(place: str, mat: Materials, sigma_c: float, sigma_s: float) -> tuple[Row, ...]:
    """Service stresses [Pa] under the characteristic combination (IRC: rare); sizes count.

    EN 0.6 f_ck and 0.8 f_yk; IRC 0.48 f_ck and 0.8 f_yk; AASHTO steel at 0.6 f_y (5.6.7).
    """
    f_ck, f_yk = mat.concrete.f_ck, mat.steel.f_yk
    concrete = {"EN 1992": "7.2(102), EN 1992-2", "IRC:112": "12.2.1(1)"}
    steel = {"EN 1992": "7.2(5)", "IRC:112": "12.2.2", "AASHTO LRFD": "5.6.7"}
    factors = mat.factors
    rows = []
    if mat.standard in concrete:
        rows.append(
            Row(
                check="concrete stress",
                place=place,
                required=factors["concrete_stress"] * f_ck,
                provided=abs(sigma_c),
                sense="at most",
                unit="Pa",
                source=factors.marked(
                    Source(mat.standard, concrete[mat.standard]), "concrete_stress"
                ),
            )
        )
    rows.append(
        Row(
            check="steel stress",
            place=place,
            required=factors["steel_stress"] * f_yk,
            provided=abs(sigma_s),
            sense="at most",
            unit="Pa",
            source=factors.marked(Source(mat.standard, steel[mat.standard]), "steel_stress"),
        )
    )
    return tuple(rows)


def span_depth_rows(
    bars: SlabBars,
    layer: Layer,
    mat: Materials,
    span: float,
    support: Support,
    required: float,
) -> tuple[Row, ...]:
    """Span/depth advice (EN) and least thickness (AASHTO); IRC:112 has no such rule.

    Parameters
    ----------
    span : [m]; required : steel that bending requires in `layer` [m2/m]
    """
    place, h = place_of(layer), bars.thickness_of(layer)
    if mat.standard == "EN 1992":
        limit = _en_span_depth(bars, layer, mat, support, required)
        source = Source("EN 1992", "7.4.2 (rule for buildings, advice only; not in EN 1992-2)")
        d = bars.effective_depth(layer)
        return (
            Row(
                check="span/depth",
                place=place,
                required=limit,
                provided=span / d,
                sense="at most",
                unit="-",
                source=source,
                otherwise=ADVICE,
            ),
        )
    if mat.standard == "AASHTO LRFD":
        feet = span / FOOT
        by_span = 1.2 * (feet + 10) / 30
        if support in ("end span", "interior span"):
            by_span = max((feet + 10) / 30, 0.54)
        rows = [
            Row(
                check="least deck thickness",
                place=place,
                required=7 * INCH,
                provided=h,
                sense="at least",
                unit="m",
                source=Source("AASHTO LRFD", "9.7.1.1"),
            )
        ]
        if layer[1] == "x" and support != "cantilever":  # main bars parallel to traffic
            rows.append(
                Row(
                    check="thickness by span (advice)",
                    place=place,
                    required=by_span * FOOT,
                    provided=h,
                    sense="at least",
                    unit="m",
                    source=Source("AASHTO LRFD", "2.5.2.6.3, table 2.5.2.6.3-1"),
                    otherwise=ADVICE,
                )
            )
        return tuple(rows)
    return ()


def _en_span_depth(
    bars: SlabBars, layer: Layer, mat: Materials, support: Support, required: float
) -> float:
    """Limit of l/d by EN 1992-1-1 (7.16), (7.17), without compression steel."""
    f = mat.concrete.f_ck / MPA
    rho_0 = 1e-3 * np.sqrt(f)
    rho = max(required / bars.effective_depth(layer), 1e-4)
    k = {"simply supported": 1.0, "end span": 1.3, "interior span": 1.5, "cantilever": 0.4}[support]
    limit = 11 + 1.5 * np.sqrt(f) * rho_0 / rho
    if rho <= rho_0:
        limit += 3.2 * np.sqrt(f) * (rho_0 / rho - 1) ** 1.5
    stress = 500 * MPA / mat.steel.f_yk
    provided = bars.bars(layer).area / max(required, 1e-12)
    # more steel than needed lowers its stress; 1.5 at most is common practice
    return float(k * limit * min(stress * provided, 1.5))

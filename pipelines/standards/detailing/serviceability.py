"""Rules of the standards for slabs in service, as rows: stresses, cracks, span/depth (SI).

A rule that a standard does not have yields no row. The recommended values of EN 1992-1-1:2004 and
EN 1992-2:2005 are used; national annexes govern and change many of them.
"""

from typing import Literal

import numpy as np

from pipelines.standards.detailing.rules import FOOT, INCH, Row
from pipelines.standards.detailing.tables import CRACK_LIMITS
from pipelines.standards.materials import KSI, MPA, Materials
from pipelines.standards.resistance.bars import Layer, SlabBars, place_of
from pipelines.standards.sources import Source, Standard

Support = Literal["simply supported", "end span", "interior span", "cantilever"]


def crack_width_row(
    w: float, place: str, standard: Standard, exposure: str, limit: float | None = None
) -> tuple[Row, ...]:
    """Crack width w [m] against the recommended limit, or the one that the user states.

    The recommended limits hold for the quasi-permanent combination, which may contain no traffic
    at all; several national annexes ask for the frequent one and 0.2 mm: the user chooses.
    """
    limits = CRACK_LIMITS.get(standard)
    if limits is None:
        return ()
    clause = {"EN 1992": "EN 1992-2:2005 table 7.101N", "IRC:112": "12.3.2, table 12.1"}[standard]
    if limit is not None:
        clause += "; limit stated by the user"
    required = limits[exposure] if limit is None else limit
    source = Source(standard, clause)
    return (Row("crack width", place, required, w, "at most", "m", source),)


def crack_spacing_row(
    bars: SlabBars, layer: Layer, mat: Materials, sigma_s: float, exposure_factor: float = 0.75
) -> tuple[Row, ...]:
    """AASHTO 5.6.7: spacing of the bars in tension at the service stress sigma_s [Pa].

    exposure_factor : gamma_e, 1.00 for class 1, 0.75 for class 2 (decks under water or salts).
    """
    if mat.standard != "AASHTO LRFD":
        return ()
    d_c = bars.thickness - bars.effective_depth(layer)
    beta_s = 1 + d_c / (0.7 * (bars.thickness - d_c))
    stress = min(sigma_s, 0.6 * mat.steel.f_yk) / KSI
    source = Source("AASHTO LRFD", "5.6.7")
    limit = np.inf
    if stress > 0:
        limit = (700 * exposure_factor / (beta_s * stress) - 2 * d_c / INCH) * INCH
    spacing = bars.bars(layer).spacing
    return (Row("spacing for cracks", place_of(layer), limit, spacing, "at most", "m", source),)


def stress_rows(place: str, mat: Materials, sigma_c: float, sigma_s: float) -> tuple[Row, ...]:
    """Service stresses [Pa] under the characteristic combination (IRC: rare); sizes count.

    EN 0.6 f_ck and 0.8 f_yk; IRC 0.48 f_ck and 0.8 f_yk; AASHTO steel at 0.6 f_y (5.6.7).
    """
    f_ck, f_yk = mat.concrete.f_ck, mat.steel.f_yk
    concrete = {"EN 1992": (0.6, "7.2(102), EN 1992-2"), "IRC:112": (0.48, "12.2.1(1)")}
    steel = {
        "EN 1992": (0.8, "7.2(5)"),
        "IRC:112": (0.8, "12.2.2"),
        "AASHTO LRFD": (0.6, "5.6.7"),
    }
    rows = []
    if mat.standard in concrete:
        share, clause = concrete[mat.standard]
        rows.append(
            Row(
                "concrete stress",
                place,
                share * f_ck,
                abs(sigma_c),
                "at most",
                "Pa",
                Source(mat.standard, clause),
            )
        )
    share, clause = steel[mat.standard]
    rows.append(
        Row(
            "steel stress",
            place,
            share * f_yk,
            abs(sigma_s),
            "at most",
            "Pa",
            Source(mat.standard, clause),
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
    place, h = place_of(layer), bars.thickness
    if mat.standard == "EN 1992":
        limit = _en_span_depth(bars, layer, mat, support, required)
        source = Source("EN 1992", "7.4.2 (rule for buildings, advice only; not in EN 1992-2)")
        d = bars.effective_depth(layer)
        return (Row("span/depth", place, limit, span / d, "at most", "-", source),)
    if mat.standard == "AASHTO LRFD":
        feet = span / FOOT
        by_span = 1.2 * (feet + 10) / 30
        if support in ("end span", "interior span"):
            by_span = max((feet + 10) / 30, 0.54)
        rows = [
            Row(
                "least deck thickness",
                place,
                7 * INCH,
                h,
                "at least",
                "m",
                Source("AASHTO LRFD", "9.7.1.1"),
            )
        ]
        if layer[1] == "x" and support != "cantilever":  # main bars parallel to traffic
            rows.append(
                Row(
                    "thickness by span (advice)",
                    place,
                    by_span * FOOT,
                    h,
                    "at least",
                    "m",
                    Source("AASHTO LRFD", "2.5.2.6.3, table 2.5.2.6.3-1"),
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

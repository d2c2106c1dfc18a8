"""Rules of the standards for bars in slabs, as rows: required, provided, passes, clause, mark.

Values are SI. A rule that a standard does not have yields no row. The recommended values of
EN 1992-1-1:2004 and EN 1992-2:2005 are used; national annexes govern and change many of them.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipelines.numbers import within
from pipelines.standards.detailing.tables import SPACING
from pipelines.standards.factors import Factors
from pipelines.standards.materials import KSI, Materials
from pipelines.standards.resistance.bars import (
    Direction,
    Face,
    Layer,
    SlabBars,
    other_direction,
    place_of,
)
from pipelines.standards.sources import Source, Standard

Sense = Literal["at least", "at most"]
Unit = Literal["m", "m2/m", "m2", "N m/m", "N m", "N", "Pa", "-"]

INCH, FOOT = 0.0254, 0.3048


@dataclass(frozen=True, kw_only=True)
class Row:
    """One rule at one place; required and provided in `unit`.

    otherwise : what it comes to where the rule is not met and nothing is refused for it, as advice
    or where more is to be shown; "" where it is refused.
    """

    check: str
    place: str
    required: float
    provided: float
    sense: Sense
    unit: Unit
    source: Source
    otherwise: str = ""

    @property
    def utilisation(self) -> float:
        """Required over provided where at least that is asked, provided over required where at
        most; infinite where there is no such number and the rule is not met."""
        asked = (self.required, self.provided)
        share, whole = asked if self.sense == "at least" else asked[::-1]
        if share <= 0.0:
            return 0.0 if whole >= share else np.inf
        return float(share / whole) if whole > 0.0 and not np.isnan(share) else np.inf

    @property
    def passes(self) -> bool:
        return within(self.utilisation)


def least_steel_rows(bars: SlabBars, layer: Layer, mat: Materials) -> tuple[Row, ...]:
    """Least steel of a layer in tension; for AASHTO the shrinkage steel of each layer.

    AASHTO's least bending steel is a moment: `least_moment_row`.
    """
    d, provided, place = bars.effective_depth(layer), bars.bars(layer).area, place_of(layer)
    if mat.standard == "AASHTO LRFD":
        f_y, h = mat.steel.f_yk / KSI, bars.thickness / INCH
        per_foot = min(max(1.30 * h / (2 * f_y), 0.11), 0.60)  # in2/ft, wide slab
        required = per_foot * INCH**2 / FOOT
        source = Source("AASHTO LRFD", "5.10.6")
        return (
            Row(
                check="shrinkage steel",
                place=place,
                required=required,
                provided=provided,
                sense="at least",
                unit="m2/m",
                source=source,
            ),
        )
    least, chosen = mat.factors["A_s_min_share"], ("A_s_min_factor", "A_s_min_share")
    share = max(mat.factors["A_s_min_factor"] * mat.concrete.f_ct / mat.steel.f_yk, least)
    clause = {"EN 1992": "9.3.1.1(1), 9.2.1.1(1)", "IRC:112": "16.6.1.1, 16.5.1.1"}[mat.standard]
    source = mat.factors.marked(Source(mat.standard, clause), *chosen)
    return (
        Row(
            check="least steel",
            place=place,
            required=share * d,
            provided=provided,
            sense="at least",
            unit="m2/m",
            source=source,
        ),
    )


def least_moment_row(
    bars: SlabBars, layer: Layer, mat: Materials, m_Rd: float, m_Ed: float
) -> tuple[Row, ...]:
    """AASHTO 5.6.3.3: m_Rd [N m/m] at least the lesser of the cracking moment and 1.33 m_Ed.

    gamma_1 = 1.6, gamma_3 = 0.67 (steel whose yield is 0.67 of its strength).
    """
    if mat.standard != "AASHTO LRFD":
        return ()
    cracking = 1.6 * 0.67 * mat.concrete.f_ct * bars.thickness_of(layer) ** 2 / 6
    required = min(cracking, 1.33 * m_Ed)
    source = Source("AASHTO LRFD", "5.6.3.3")
    return (
        Row(
            check="least resistance",
            place=place_of(layer),
            required=required,
            provided=m_Rd,
            sense="at least",
            unit="N m/m",
            source=source,
        ),
    )


def most_steel_rows(bars: SlabBars, layer: Layer, factors: Factors) -> tuple[Row, ...]:
    """Most steel in tension outside laps (AASHTO has no such limit: its factor falls instead)."""
    clauses = {"EN 1992": "9.2.1.1(3)", "IRC:112": "16.5.1.1"}
    if factors.standard not in clauses:
        return ()
    required = factors["A_s_max_share"] * bars.thickness_of(layer)
    provided = bars.bars(layer).area
    clause = Source(factors.standard, clauses[factors.standard])
    source = factors.marked(clause, "A_s_max_share")
    return (
        Row(
            check="most steel",
            place=place_of(layer),
            required=required,
            provided=provided,
            sense="at most",
            unit="m2/m",
            source=source,
        ),
    )


def spacing_rows(
    bars: SlabBars,
    layer: Layer,
    main: Direction,
    standard: Standard,
    at_peak: bool,
    aggregate: float,
) -> tuple[Row, Row]:
    """Largest spacing and least clear distance [m].

    at_peak : zone of concentrated loads or of the largest moment: under wheels, everywhere.
    aggregate : largest size [m].
    """
    role = "main" if layer[1] == main else "distribution"
    times, most = SPACING[standard][role, at_peak]
    clause = {"EN 1992": "9.3.1.1(3)", "IRC:112": "16.6.1.1", "AASHTO LRFD": "5.10.3.2"}[standard]
    layer_bars, place = bars.bars(layer), place_of(layer)
    limit = min(times * bars.thickness_of(layer), most)
    phi, clear = layer_bars.largest, layer_bars.clear
    least, clear_clause = {
        "EN 1992": (max(phi, aggregate + 0.005, 0.020), "8.2(2)"),
        "IRC:112": (max(phi, aggregate + 0.010, 0.020), "15.2.1"),
        "AASHTO LRFD": (max(1.5 * phi, 1.5 * aggregate, 1.5 * INCH), "5.10.3.1.1"),
    }[standard]
    return (
        Row(
            check=f"largest spacing, {role} bars",
            place=place,
            required=limit,
            provided=layer_bars.widest,
            sense="at most",
            unit="m",
            source=Source(standard, clause),
        ),
        Row(
            check="clear distance",
            place=place,
            required=least,
            provided=clear,
            sense="at least",
            unit="m",
            source=Source(standard, clear_clause),
        ),
    )


def distribution_rows(
    bars: SlabBars, face: Face, main: Direction, standard: Standard, span: float, required: float
) -> tuple[Row, ...]:
    """Distribution steel as a share of the main steel.

    Parameters
    ----------
    span : effective span [m] of the main bars (AASHTO)
    required : main steel that bending requires [m2/m]; the share is taken of it
    """
    across = other_direction(main)
    provided, place = bars.mat(face).bars(across).area, place_of((face, across))
    if standard == "AASHTO LRFD":
        if face == "top":
            return ()
        # x is the direction of traffic
        top, most = (100.0, 50.0) if main == "x" else (220.0, 67.0)
        share = min(top / np.sqrt(span / FOOT), most) / 100
        source = Source("AASHTO LRFD", "9.7.3.2" if main == "y" else "9.7.3.2, 5.12.2.1")
    else:
        share = 0.20
        clause = {"EN 1992": "9.3.1.1(2)", "IRC:112": "16.6.1.1(3)"}[standard]
        source = Source(standard, clause)
    row = Row(
        check=f"distribution steel, {100 * share:.0f} % of main",
        place=place,
        required=float(share) * required,
        provided=provided,
        sense="at least",
        unit="m2/m",
        source=source,
    )
    return (row,)

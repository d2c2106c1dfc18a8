"""Rules of the standards for bars in slabs, as rows: required, provided, passes, clause, mark.

Values are SI. A rule that a standard does not have yields no row. The recommended values of
EN 1992-1-1:2004 and EN 1992-2:2005 are used; national annexes govern and change many of them.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipelines.errors import CoverageError
from pipelines.standards.detailing.tables import (
    AASHTO_COVER,
    EN_COVER,
    EN_DURABILITY_GRADE,
    IRC_COVER,
    LIST_EXPOSURES,
    SPACING,
)
from pipelines.standards.materials import KSI, MPA, Materials
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
SLACK = 1e-9  # rounding of values that are meant to be equal


@dataclass(frozen=True)
class Row:
    """One rule at one place; required and provided in `unit`."""

    check: str
    place: str
    required: float
    provided: float
    sense: Sense
    unit: Unit
    source: Source

    @property
    def passes(self) -> bool:
        slack = SLACK * abs(self.required)
        if self.sense == "at least":
            return self.provided >= self.required - slack
        return self.provided <= self.required + slack


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
        return (Row("shrinkage steel", place, required, provided, "at least", "m2/m", source),)
    share = max(0.26 * mat.concrete.f_ct / mat.steel.f_yk, 0.0013)
    clause = {"EN 1992": "9.3.1.1(1), 9.2.1.1(1)", "IRC:112": "16.6.1.1, 16.5.1.1"}[mat.standard]
    source = Source(mat.standard, clause)
    return (Row("least steel", place, share * d, provided, "at least", "m2/m", source),)


def least_moment_row(
    bars: SlabBars, layer: Layer, mat: Materials, m_Rd: float, m_Ed: float
) -> tuple[Row, ...]:
    """AASHTO 5.6.3.3: m_Rd [N m/m] at least the lesser of the cracking moment and 1.33 m_Ed.

    gamma_1 = 1.6, gamma_3 = 0.67 (steel whose yield is 0.67 of its strength).
    """
    if mat.standard != "AASHTO LRFD":
        return ()
    cracking = 1.6 * 0.67 * mat.concrete.f_ct * bars.thickness**2 / 6
    required = min(cracking, 1.33 * m_Ed)
    source = Source("AASHTO LRFD", "5.6.3.3")
    return (Row("least resistance", place_of(layer), required, m_Rd, "at least", "N m/m", source),)


def most_steel_rows(bars: SlabBars, layer: Layer, standard: Standard) -> tuple[Row, ...]:
    """Most steel in tension outside laps (AASHTO has no such limit: its factor falls instead)."""
    limits = {"EN 1992": (0.04, "9.2.1.1(3)"), "IRC:112": (0.025, "16.5.1.1")}
    if standard not in limits:
        return ()
    share, clause = limits[standard]
    required, provided = share * bars.thickness, bars.bars(layer).area
    source = Source(standard, clause)
    return (Row("most steel", place_of(layer), required, provided, "at most", "m2/m", source),)


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
    limit = min(times * bars.thickness, most)
    phi, clear = layer_bars.diameter, layer_bars.spacing - layer_bars.diameter
    least, clear_clause = {
        "EN 1992": (max(phi, aggregate + 0.005, 0.020), "8.2(2)"),
        "IRC:112": (max(phi, aggregate + 0.010, 0.020), "15.2.1"),
        "AASHTO LRFD": (max(1.5 * phi, 1.5 * aggregate, 1.5 * INCH), "5.10.3.1.1"),
    }[standard]
    return (
        Row(
            f"largest spacing, {role} bars",
            place,
            limit,
            layer_bars.spacing,
            "at most",
            "m",
            Source(standard, clause),
        ),
        Row("clear distance", place, least, clear, "at least", "m", Source(standard, clear_clause)),
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
        f"distribution steel, {100 * share:.0f} % of main",
        place,
        float(share) * required,
        provided,
        "at least",
        "m2/m",
        source,
    )
    return (row,)


def cover_rows(
    bars: SlabBars,
    face: Face,
    mat: Materials,
    exposure: str,
    structural_class: int = 4,
    deviation: float = 0.010,
) -> tuple[Row, ...]:
    """Nominal cover of the outer layer by exposure [m], and the grade that the exposure asks for.

    Parameters
    ----------
    exposure : of the standard: XC1 .. XS3 (EN), moderate .. extreme (IRC), or the words of
        AASHTO_COVER
    structural_class : S1 .. S6 of EN 1992-1-1 4.4.1.2(5); S4 = 50 years before the changes of its
        table 4.3N: two classes more for 100 years, one less for slabs, one less for strong concrete
    deviation : allowance on c_min (EN 4.4.1.3)

    Raises
    ------
    CoverageError
        If the standard does not know the exposure.
    """
    layer_mat = bars.mat(face)
    known = LIST_EXPOSURES[mat.standard]
    if exposure not in known:
        raise CoverageError(
            f"exposure {exposure!r} is not of {mat.standard}: write {', '.join(known)}"
        )
    grade: tuple[float, str] | None = None
    if mat.standard == "EN 1992":
        durable = EN_COVER[exposure][structural_class - 1]
        bond = layer_mat.bars(layer_mat.outer).diameter
        required = max(durable, bond, 0.010) + deviation
        clause = f"4.4.1, table 4.4N, class S{structural_class}"
        grade = EN_DURABILITY_GRADE[exposure] * MPA, "annex E, table E.1N (informative)"
    elif mat.standard == "IRC:112":
        required, grade_fck = IRC_COVER[exposure]
        clause, grade = "14.3.2, table 14.2", (grade_fck * MPA, "14.3.2, table 14.2")
    else:
        required, clause = AASHTO_COVER[exposure], "5.10.1, table 5.10.1-1"
    place = place_of((face, layer_mat.outer))
    rows = [
        Row(
            f"cover, {exposure}",
            place,
            required,
            layer_mat.cover,
            "at least",
            "m",
            Source(mat.standard, clause),
        ),
    ]
    if grade is not None:
        rows.append(
            Row(
                f"concrete grade, {exposure}",
                place,
                grade[0],
                mat.concrete.f_ck,
                "at least",
                "Pa",
                Source(mat.standard, grade[1]),
            )
        )
    return tuple(rows)

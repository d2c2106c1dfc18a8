"""Beams along lines: bending, shear and torsion against the bars and links of the deck file.

The beam is its own rectangle, also where it is joined to the slab's membrane: it then carries the
axial force that the model gives it with its moment, and the slab its own share in its own bars, as
m + n t. Both are in equilibrium and neither is asked for more than it resists: a lower bound of
what the T-shaped section carries. All shear goes to the beam; the joint of beam and slab is not
checked.

Struts run at 45 degrees. Torsion is that of the model with the beam's J as the deck file states it:
where it is compatibility torsion, cracking lowers it and a smaller J with it (EN 1992-1-1
6.3.1(2)). Torsion is checked on a thin tube (6.3.2) for EN and IRC; for AASHTO by 5.7.3.6 within
the links' centre line, where it is more than a quarter of the cracking torque, and with the bars
along of either side by (5.7.3.6.3-1). Largest moments, shear and torsion count together though they
need not coexist.
"""

from collections.abc import Sequence

import numpy as np

from pipelines.bars.demand.beam_forces import BeamExtremes, BeamForces, bending_section
from pipelines.deck.deck import Deck
from pipelines.deck.reinforcement import EdgeBeam
from pipelines.deck.words import line_title
from pipelines.standards.actions.combinations import Combination
from pipelines.standards.detailing.rules import Row
from pipelines.standards.materials import KSI, MPA, Materials
from pipelines.standards.resistance.bending import BENDING, capacity, required_steel
from pipelines.standards.resistance.shear import strut_factor
from pipelines.standards.sources import Source, Standard

LINKS: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "6.2.3(3): (6.8), (6.9), cot theta = 1"),
    "IRC:112": Source("IRC:112", "10.3.3.2, cot theta = 1"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.7.3.3, links alone, cot theta = 1"),
}
LEAST_LINKS: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "9.2.2(5)"),
    "IRC:112": Source("IRC:112", "16.5.2"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.7.2.5"),
}
TORSION: dict[Standard, Source] = {
    "EN 1992": Source("EN 1992", "6.3.2: (6.26) to (6.30), cot theta = 1"),
    "IRC:112": Source("IRC:112", "10.5.2, cot theta = 1"),
    "AASHTO LRFD": Source("AASHTO LRFD", "5.7.3.6.2, A_o = 0.85 A_oh, cot theta = 1"),
}
CRACKING_TORQUE = Source("AASHTO LRFD", "5.7.2.1: 0.25 phi T_cr")
STRUTS = Source("AASHTO LRFD", "5.7.3.3 with the equivalent shear of 5.7.3.4.2, safe side")
ALONG = Source("AASHTO LRFD", "5.7.3.6.3")
LEVER = 0.9  # z / d, EN 1992-1-1 6.2.3(1)


def bending_resistance(beam: EdgeBeam, mat: Materials, *, sagging: bool) -> float:
    """M_Rd [N m]."""
    return beam.width * float(capacity(bending_section(beam, sagging=sagging), mat).m_Rd)


def lever_arm(beam: EdgeBeam) -> float:
    """z of shear [m]."""
    return LEVER * (beam.depth - max(beam.axis_top, beam.axis_bottom))


def strut_resistance(beam: EdgeBeam, mat: Materials) -> float:
    """V_Rd,max [N]."""
    area = beam.width * lever_arm(beam)
    if mat.standard == "AASHTO LRFD":
        return mat.factors.or_one("phi_shear") * 0.25 * mat.concrete.f_ck * area
    return area * strut_factor(mat) * mat.f_cd / 2


def link_resistance(beam: EdgeBeam, mat: Materials) -> float:
    """V_Rd [N] of vertical links, at most that of the struts."""
    links = mat.factors.or_one("phi_shear") * beam.links * lever_arm(beam) * mat.f_yd
    return min(links, strut_resistance(beam, mat))


def least_links(beam: EdgeBeam, mat: Materials) -> float:
    """Least A_sw/s of all legs [m2/m]."""
    f, f_y = mat.concrete.f_ck, mat.steel.f_yk
    if mat.standard == "AASHTO LRFD":
        return float(0.0316 * np.sqrt(f / KSI) * KSI * beam.width / f_y)
    share = 0.08 if mat.standard == "EN 1992" else 0.072
    return float(share * np.sqrt(f / MPA) * MPA / f_y * beam.width)


def tube(beam: EdgeBeam) -> tuple[float, float, float]:
    """t_ef [m], A_k [m2] and u_k [m] of the tube that resists torsion (EN 6.3.2(1))."""
    b, h = beam.width, beam.depth
    t = max(b * h / (2 * (b + h)), 2 * min(beam.axis_top, beam.axis_bottom))
    return t, (b - t) * (h - t), 2 * (b + h - 2 * t)


def torsion_rows(
    beam: EdgeBeam, mat: Materials, acting: BeamExtremes, place: str
) -> tuple[Row, ...]:
    """Struts, outer legs of the links and bars along the beam with torsion, shear and bending."""
    if mat.standard == "AASHTO LRFD":
        return _aashto_torsion(beam, mat, acting, place)
    source = TORSION[mat.standard]
    t, A_k, u_k = tube(beam)
    T_Rd = strut_factor(mat) * mat.f_cd * A_k * t
    struts = acting.torsion / T_Rd + acting.shear / strut_resistance(beam, mat)
    around = acting.torsion / (2 * A_k * mat.f_yd)
    leg = acting.shear / (lever_arm(beam) * mat.f_yd) / beam.legs + around
    # NaN where a side is too small for its moment: the row then does not pass
    along = around * u_k + sum(
        beam.width * float(required_steel(m / beam.width, bending_section(beam, sagging=s), mat))
        for m, s in ((acting.sagging, True), (acting.hogging, False))
    )
    return (
        Row(
            check="beam, struts in shear and torsion",
            place=place,
            required=1.0,
            provided=struts,
            sense="at most",
            unit="-",
            source=source,
        ),
        Row(
            check="beam, outer leg of links, shear and torsion",
            place=place,
            required=leg,
            provided=beam.links / beam.legs,
            sense="at least",
            unit="m2/m",
            source=source,
        ),
        Row(
            check="beam, all bars along, bending and torsion",
            place=place,
            required=along,
            provided=beam.top + beam.bottom,
            sense="at least",
            unit="m2",
            source=source,
        ),
    )


def cracking_torque(beam: EdgeBeam, mat: Materials) -> float:
    """T_cr [N m] of the whole section without axial stress (AASHTO 5.7.2.1, solid sections)."""
    area, round_it = beam.width * beam.depth, 2 * (beam.width + beam.depth)
    return float(0.126 * np.sqrt(mat.concrete.f_ck / KSI) * KSI * area**2 / round_it)


def flow(beam: EdgeBeam) -> tuple[float, float]:
    """A_o [m2] within the shear flow and p_h [m] round the outer links' centre line (AASHTO)."""
    b, h = beam.width - 2 * beam.axis_links, beam.depth - 2 * beam.axis_links
    return 0.85 * b * h, 2 * (b + h)


def _aashto_torsion(
    beam: EdgeBeam, mat: Materials, acting: BeamExtremes, place: str
) -> tuple[Row, ...]:
    phi, f_y, T, V = mat.factors.or_one("phi_shear"), mat.steel.f_yk, acting.torsion, acting.shear
    least = 0.25 * phi * cracking_torque(beam, mat)
    if least >= T:
        words = "beam, torsion that may be left out"
        return (
            Row(
                check=words,
                place=place,
                required=least,
                provided=T,
                sense="at most",
                unit="N m",
                source=CRACKING_TORQUE,
            ),
        )
    A_o, p_h = flow(beam)
    d_v = lever_arm(beam)
    equivalent = float(np.hypot(V, 0.9 * p_h * T / (2 * A_o)))
    struts = strut_resistance(beam, mat)
    leg = V / (phi * d_v * f_y) / beam.legs + T / (phi * 2 * A_o * f_y)
    V_s = min(beam.links * d_v * f_y, V / phi)
    pull = np.hypot(V / phi - 0.5 * V_s, 0.45 * p_h * T / (2 * A_o * phi))
    rows = [
        Row(
            check="beam, struts in shear and torsion",
            place=place,
            required=equivalent,
            provided=struts,
            sense="at least",
            unit="N",
            source=STRUTS,
        ),
        Row(
            check="beam, outer leg of links, shear and torsion",
            place=place,
            required=leg,
            provided=beam.links / beam.legs,
            sense="at least",
            unit="m2/m",
            source=TORSION[mat.standard],
        ),
    ]
    for words, M, area in (
        ("bottom", acting.sagging, beam.bottom),
        ("top", acting.hogging, beam.top),
    ):
        needed = (M / (mat.factors["phi_bending"] * d_v) + float(pull)) / f_y
        check = f"beam, {words} bars in bending, shear and torsion"
        rows.append(
            Row(
                check=check,
                place=place,
                required=needed,
                provided=area,
                sense="at least",
                unit="m2",
                source=ALONG,
            )
        )
    return tuple(rows)


def beam_checks(
    deck: Deck,
    beams: Sequence[EdgeBeam],
    mat: Materials,
    combination: Combination,
    forces: BeamForces | None,
) -> tuple[Row, ...]:
    """Rows of every beam whose bars the deck file states, ultimate limit state."""
    if forces is None:
        return ()
    rows: list[Row] = []
    for beam in beams:
        for name in beam.lines:
            place, acting = line_title(deck, name), forces.extremes(combination, name)
            source = BENDING[mat.standard]
            for words, m, side in (
                ("sagging", acting.sagging, True),
                ("hogging", acting.hogging, False),
            ):
                resists = bending_resistance(beam, mat, sagging=side)
                rows.append(
                    Row(
                        check=f"beam, {words}",
                        place=place,
                        required=m,
                        provided=resists,
                        sense="at least",
                        unit="N m",
                        source=source,
                    )
                )
            V, V_Rd = acting.shear, link_resistance(beam, mat)
            source = LINKS[mat.standard]
            rows.append(
                Row(
                    check="beam, shear with links",
                    place=place,
                    required=V,
                    provided=V_Rd,
                    sense="at least",
                    unit="N",
                    source=source,
                )
            )
            least, source = least_links(beam, mat), LEAST_LINKS[mat.standard]
            rows.append(
                Row(
                    check="beam, least links",
                    place=place,
                    required=least,
                    provided=beam.links,
                    sense="at least",
                    unit="m2/m",
                    source=source,
                )
            )
            rows += torsion_rows(beam, mat, acting, place)
    return tuple(rows)

"""What the deck file states of actions on the bars beside traffic and permanent loads, in words."""

import numpy as np

from pipelines.analysis.result import Result
from pipelines.bars.checks.collision import WHEEL, edge_forces
from pipelines.bars.checks.fatigue import AXLES, MODEL, TRUCK
from pipelines.bars.design import Design
from pipelines.deck.words import line_title
from pipelines.numbers import as_given, length, number
from pipelines.report.document import Block, Paragraph, Symbol, Words, table
from pipelines.standards.resistance.bars import place_of


def membrane_part(design: Design) -> tuple[Block, ...]:
    """Imposed membrane forces and how they are counted; nothing where no membrane force acts."""
    membrane = design.membrane
    if membrane is None:
        return ()
    arms = ", ".join(f"{place_of(layer)} {1e3 * t:.0f}" for layer, t in membrane.arms.items())
    words = (
        "m_Ed contains n t: the layered method of EN 1992-2 annex LL (from memory), "
        "tension n at mid-depth shared between the bars and the compressed concrete at t from "
        f"mid-depth [mm]: {arms}. Tension lowers v_Rd,c; compression is not counted on "
        "in shear."
    )
    if membrane.rows is not None:
        words += " The n of the composite model coexists with each load position's moments."
    rows = [
        [
            _range(force.stations),
            _range(force.offsets),
            *(as_given(1e-3 * n) for n in force.n),
            as_given(force.gamma),
        ]
        for force in design.reinforcement.imposed
    ]
    if not rows:
        return (Paragraph(words),)
    words += " Imposed forces are present or absent, whichever is worse."
    head: list[Words] = ["Stations [m]", "Offsets [m]"]
    head += [(Symbol("n", c), " [kN/m]") for c in ("x", "y", "xy")]
    caption = "Imposed membrane forces, characteristic, tension positive"
    return table(caption, [*head, "γ"], rows, numeric=(2, 3, 4, 5)), Paragraph(words)


def _range(limits: tuple[float, float] | None) -> str:
    return "all" if limits is None else f"{length(limits[0])} to {length(limits[1])}"


def collision_part(design: Design) -> tuple[Block, ...]:
    """The force on the parapets and what it is at the slab."""
    collision = design.reinforcement.collision
    if collision is None:
        return ()
    m, n = (float(v) for v in edge_forces(collision, design.reinforcement.bars.thickness))
    with_it = "No vertical load acts with it (EN 1991-2 4.7.3.3: [collision] vertical_kN)"
    if collision.vertical:
        with_it = (
            f"With it acts a wheel of {number(1e-3 * collision.vertical)} kN, {1e3 * WHEEL:.0f} mm "
            "square, against the parapet anywhere along the edge"
        )
    words = (
        f"Barrier collision: {number(1e-3 * collision.force)} kN outwards at "
        f"{length(collision.height)} m above the slab over {length(collision.length)} m, spread at "
        f"{np.degrees(collision.spread):.0f}° down the parapet over "
        f"{length(collision.force / n)} m; at its inner face, "
        f"{1e3 * collision.inner_face:.0f} mm from the slab's edge, m = {number(1e-3 * m)} kNm/m "
        f"about mid-depth and n = {number(1e-3 * n)} kN/m, with the permanent hogging there; it "
        "goes on spreading at that angle in the slab to the first line that carries a cantilever. "
        f"{with_it}; all of the moment goes to the slab: an edge beam's torsion is not counted on."
    )
    return (Paragraph(words),)


def fatigue_part(design: Design) -> tuple[Block, ...]:
    """How the range of stress was formed."""
    grades = {s.basis.materials.standard: s.basis.materials for s in design.standards}
    standards = set(grades)
    words = []
    if "EN 1992" in standards and design.reinforcement.damage is None:
        words.append(
            "Fatigue: plain range of the bars' stress under the frequent traffic (EN 1992). Where "
            "it is not met the bars may still pass by the damage-equivalent range: [fatigue]."
        )
    elif "EN 1992" in standards:
        words.append(
            f"Fatigue, EN 1992: {MODEL} alone, its axles times {AXLES[0]:.2f} for bottom bars and "
            f"{AXLES[1]:.2f} for top bars, raised near the expansion joints that [traffic] joints "
            "names, times λs."
        )
    if "IRC:112" in standards:
        words.append(
            "Fatigue, IRC:112: where the stress is exceeded the bars are not refused, but fatigue "
            "is to be verified, which is not done here."
        )
    if "AASHTO LRFD" in standards:
        factors = grades["AASHTO LRFD"].factors
        words.append(
            f"Fatigue, AASHTO LRFD: {TRUCK} alone, times {as_given(factors['gamma_LL_fatigue'])} · "
            f"{as_given(1.0 + factors['IM_fatigue'])} (fatigue I, dynamic load allowance), the "
            "section taken as cracked."
        )
    return (Paragraph(" ".join(words)),) if words else ()


def beams_part(result: Result, design: Design) -> tuple[Block, ...]:
    """Bars and links of the beams as the deck file states them."""
    rows = [
        [
            line_title(result.deck, name),
            f"{1e3 * beam.width:.0f} × {1e3 * beam.depth:.0f}",
            number(1e6 * beam.top),
            number(1e6 * beam.bottom),
            number(1e6 * beam.links),
            str(beam.legs),
        ]
        for beam in design.reinforcement.beams
        for name in beam.lines
    ]
    if not rows:
        return ()
    head = ["Beam", "Width × depth [mm]", "Top [mm²]", "Bottom [mm²]", "Links [mm²/m]", "Legs"]
    return table("Bars of beams, as stated", head, rows, numeric=range(1, 6)), Paragraph(
        "Largest moments, shear and torsion count together though they need not coexist; torsion "
        "is the model's, with the J that the deck file gives."
    )

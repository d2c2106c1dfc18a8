"""Section of the report on shear without links, its remedies and punching under wheels."""

from pipelines.analysis.result import Result
from pipelines.bars.design import Design
from pipelines.deck.words import at_text, line_title
from pipelines.numbers import length, number, rounded_up
from pipelines.report.document import Block, Paragraph, Symbol, Words, table
from pipelines.report.sections.bars_words import (
    not_asked,
    standard_of,
    traffic_words,
    used,
)
from pipelines.report.sections.positions import load_text, position_text

V_ED, V_RDC = Symbol("v", "Ed"), Symbol("v", "Rd,c")


def shear_section(result: Result) -> tuple[Block, ...]:
    """Shear without links, its remedies, and punching under wheels."""
    design = result.design
    if design is None:
        return ()
    deck = result.deck
    parts: list[Block] = [
        Paragraph(
            "Principal shear of each load position at sections beside every supporting line, at "
            "the face plus d and no nearer to any line or edge than one thickness, averaged along "
            "the section over the widths below; resistance of the face in tension under the "
            "coexisting moment, in the direction of that shear. The width is a rule, not a result: "
            f"it decides. Judged: 4 d. {traffic_words(design)}"
        )
    ]
    rows: list[list[Words]] = []
    for standard in design.standards:
        for peak in standard.shear:
            side = "before" if peak.side < 0 else "after"
            rows.append(
                [
                    f"{length(peak.width)}"
                    + (" (4 d)" if peak.width == standard.design_width else ""),
                    standard_of(standard),
                    number(1e-3 * peak.v),
                    number(1e-3 * peak.v_Rd),
                    used(peak.utilisation)
                    if standard.shear_not_asked is None
                    else f"({rounded_up(peak.utilisation)})",
                    f"{side} {line_title(deck, peak.line)}, ({at_text(peak.at)}) m",
                    load_text(peak.position, named=True),
                ]
            )
    head: list[Words] = [
        "Mean over [m]",
        "Standard",
        (V_ED, " [kN/m]"),
        (V_RDC, " [kN/m]"),
        (V_ED, "/", V_RDC),
        "Section",
        "Load position",
    ]
    if rows:
        caption = "Shear without links, swept over the width of the mean"
        parts.append(table(caption, head, rows, numeric=(2, 3, 4), wide=(5, 6)))
    else:
        parts.append(Paragraph("No control sections: the plan has no straight supporting lines."))
    parts += [
        Paragraph(f"{standard_of(standard)}: shear {not_asked(standard.shear_not_asked)}.")
        for standard in design.standards
        if standard.shear and standard.shear_not_asked is not None
    ]
    parts += [*_reduced(result, design), *_remedies(design), *_punching(design)]
    return tuple(parts)


def _reduced(result: Result, design: Design) -> tuple[Block, ...]:
    """Loads near supports reduced, beside the same sections without reduction."""
    rows: list[list[Words]] = []
    for standard in design.standards:
        r = standard.reduced
        if r is None:
            continue
        side = "before" if r.side < 0 else "after"
        rows.append(
            [
                standard_of(standard),
                used(r.whole),
                used(r.utilisation),
                number(1e-3 * r.v),
                number(1e-3 * r.v_Rd),
                f"{r.share:.2f}",
                used(r.strut),
                f"{side} {line_title(result.deck, r.line)}, ({at_text(r.at)}) m",
                load_text(r.position, named=True),
                str(r.source),
            ]
        )
    if not rows:
        return ()
    head: list[Words] = [
        "Standard",
        "Unreduced",
        "Reduced",
        (V_ED, " [kN/m]"),
        (V_RDC, " [kN/m]"),
        ("Least ", Symbol("a", "v"), "/2d"),
        "Struts, unreduced",
        "Section",
        "Load position",
        "Clause and mark",
    ]
    caption = "Mean over 4 d with the share of wheels near the section's line reduced"
    return table(caption, head, rows, numeric=range(1, 7), wide=(7, 8)), Paragraph(
        "The plate solved again with the reduced wheels, at places 0.1 m apart about the load "
        "position that governs unreduced beside each line; 1.00: none of its wheels stands nearer "
        "to that line's face than 2 d. Holds only where the bars are fully anchored at that line "
        "or run through. Remedies and the first table are without this reduction."
    )


def _remedies(design: Design) -> tuple[Block, ...]:
    rows: list[list[Words]] = []
    for standard in design.standards:
        for remedy in standard.remedies:
            scale, unit = (1e3, " mm") if remedy.name == "thickness" else (1e6, " mm²/m")
            present, needed = (
                "none of those tried"
                if value is None
                else value
                if isinstance(value, str)
                else f"{scale * value:.0f}{unit}"
                for value in (remedy.present, remedy.needed)
            )
            rows.append(
                [
                    remedy.name,
                    standard_of(standard),
                    present,
                    needed,
                    used(remedy.utilisation),
                ]
            )
    if not rows:
        return (
            Paragraph(
                "No remedies: at the load positions as stepped the mean over 4 d is within the "
                "resistance."
            ),
        )
    head = ["Remedy, alone", "Standard", "Present", "Least that passes", "Utilisation with it"]
    return table("The three remedies", head, rows, numeric=(4,)), Paragraph(
        "Each remedy alone, the plate solved again with it at the load position that governs now; "
        "the steel is that in the direction of the shear, at the face in tension."
    )


def _punching(design: Design) -> tuple[Block, ...]:
    rows: list[list[Words]] = []
    for standard in design.standards:
        p = standard.punching
        if p is None:
            continue
        rows.append(
            [
                standard_of(standard),
                used(p.utilisation),
                used(p.interior),
                number(1e-3 * p.load),
                f"{1e3 * p.sides[0]:.0f} × {1e3 * p.sides[1]:.0f}",
                f"{1e-6 * p.v_Ed:.2f}",
                f"{1e-6 * p.v_Rd:.2f}",
                length(p.u),
                f"{p.shape}{_together(p.wheels)}; ({at_text(p.at)}) m",
                position_text(p.position),
                str(p.source),
            ]
        )
    if not rows:
        return ()
    head: list[Words] = [
        "Standard",
        "Utilisation",
        "In the interior",
        "Load [kN]",
        "Area [mm]",
        (V_ED, " [MPa]"),
        (Symbol("v", "Rd"), " [MPa]"),
        "u [m]",
        "Perimeter; wheel at",
        "Load position",
        "Clause and mark",
    ]
    governs = max(
        (standard for standard in design.standards if standard.punching is not None),
        key=lambda one: one.punching.utilisation if one.punching is not None else 0.0,
    )
    assert governs.punching is not None
    caption = (
        f"Punching: the worst of {governs.punching.n} wheel places by {standard_of(governs)}, "
        "which governs, and of wheels together"
    )
    return table(caption, head, rows, numeric=range(1, 8), wide=(8, 9)), Paragraph(
        "Loaded area: the contact spread through the surfacing, cut at the slab's edge, of a long "
        "one as much as counts as a concentrated load; bars of the bottom face. Wheels whose "
        "perimeters overlap, those of the next lane's vehicle among them, are also taken together "
        "around all of them (common practice). A wheel on the width of a supporting line is no "
        "punching case. Permanent shear is not added."
    )


def _together(wheels: int) -> str:
    return f", around {wheels} wheels" if wheels > 1 else ""

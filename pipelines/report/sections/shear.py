"""Section of the report on shear without links, its remedies and punching under wheels."""

from pipelines.bars.design import Design
from pipelines.deck.words import at_text, line_title
from pipelines.numbers import length, number
from pipelines.report.page import paragraph, table, text
from pipelines.report.sections.bars_words import load_text, standard_of, traffic_words, used
from pipelines.report.sections.tables import position_text
from pipelines.result import Result


def shear_section(result: Result) -> str:
    """Shear without links, its remedies, and punching under wheels."""
    design = result.design
    if design is None:
        return ""
    deck = result.deck
    parts = [
        paragraph(
            "Principal shear of each load position at sections beside every supporting line, at "
            "the face plus d and no nearer to any line or edge than one thickness, averaged along "
            "the section over the widths below; resistance of the face in tension under the "
            "coexisting moment, in the direction of that shear. The width is a rule, not a result: "
            f"it decides. Judged: 4 d. {traffic_words(design)}"
        )
    ]
    rows = []
    for one in design.standards:
        for peak in one.shear:
            side = "before" if peak.side < 0 else "after"
            rows.append(
                [
                    f"{length(peak.width)}" + (" (4 d)" if peak.width == one.design_width else ""),
                    text(standard_of(one)),
                    number(1e-3 * peak.v),
                    number(1e-3 * peak.v_Rd),
                    used(peak.utilisation),
                    text(f"{side} {line_title(deck, peak.line)}, ({at_text(peak.at)}) m"),
                    load_text(peak.position),
                ]
            )
    head = [
        "Mean over [m]",
        "Standard",
        "v<sub>Ed</sub> [kN/m]",
        "v<sub>Rd,c</sub> [kN/m]",
        "v<sub>Ed</sub>/v<sub>Rd,c</sub>",
        "Section",
        "Load position",
    ]
    if rows:
        caption = "Shear without links, swept over the width of the mean"
        parts.append(table(caption, head, rows, numeric=(2, 3, 4), wide=(5, 6)))
    else:
        parts.append(paragraph("No control sections: the plan has no straight supporting lines."))
    parts += [_reduced(result, design), _remedies(design), _punching(result, design)]
    return "\n".join(part for part in parts if part)


def _reduced(result: Result, design: Design) -> str:
    """Loads near supports reduced, beside the same sections without reduction."""
    rows = []
    for one in design.standards:
        r = one.reduced
        if r is None:
            continue
        side = "before" if r.side < 0 else "after"
        rows.append(
            [
                text(standard_of(one)),
                used(r.whole),
                used(r.utilisation),
                number(1e-3 * r.v),
                number(1e-3 * r.v_Rd),
                f"{r.share:.2f}",
                used(r.strut),
                text(f"{side} {line_title(result.deck, r.line)}, ({at_text(r.at)}) m"),
                load_text(r.position),
                text(str(r.source)),
            ]
        )
    if not rows:
        return ""
    head = [
        "Standard",
        "Unreduced",
        "Reduced",
        "v<sub>Ed</sub> [kN/m]",
        "v<sub>Rd,c</sub> [kN/m]",
        "Least a<sub>v</sub>/2d",
        "Struts, unreduced",
        "Section",
        "Load position",
        "Clause and mark",
    ]
    caption = "Mean over 4 d with the share of wheels near the section's line reduced"
    return table(caption, head, rows, numeric=range(1, 7), wide=(7, 8)) + paragraph(
        "The plate solved again with the reduced wheels, at places 0.1 m apart about the load "
        "position that governs unreduced beside each line; 1.00: none of its wheels stands nearer "
        "to that line's face than 2 d. Holds only where the bars are fully anchored at that line "
        "or run through. Remedies and the first table are without this reduction."
    )


def _remedies(design: Design) -> str:
    rows = []
    for one in design.standards:
        for remedy in one.remedies:
            scale, unit = (1e3, " mm") if remedy.name == "thickness" else (1e6, " mm²/m")
            present, needed = (
                "none of those tried"
                if value is None
                else text(value)
                if isinstance(value, str)
                else f"{scale * value:.0f}{unit}"
                for value in (remedy.present, remedy.needed)
            )
            rows.append(
                [
                    text(remedy.name),
                    text(standard_of(one)),
                    present,
                    needed,
                    used(remedy.utilisation),
                ]
            )
    if not rows:
        return paragraph("No remedies: the mean over 4 d is within the resistance.")
    head = ["Remedy, alone", "Standard", "Present", "Least that passes", "Utilisation with it"]
    return table("The three remedies", head, rows, numeric=(4,)) + paragraph(
        "Each remedy alone, the plate solved again with it at the load position that governs now; "
        "the steel is that in the direction of the shear, at the face in tension."
    )


def _punching(result: Result, design: Design) -> str:
    rows = []
    for one in design.standards:
        p = one.punching
        if p is None:
            continue
        rows.append(
            [
                text(standard_of(one)),
                used(p.utilisation),
                used(p.interior),
                number(1e-3 * p.load),
                f"{1e3 * p.sides[0]:.0f} × {1e3 * p.sides[1]:.0f}",
                f"{1e-6 * p.v_Ed:.2f}",
                f"{1e-6 * p.v_Rd:.2f}",
                length(p.u),
                text(f"{p.shape}; ({at_text(p.at)}) m"),
                position_text(p.position),
                text(str(p.source)),
            ]
        )
    if not rows:
        return ""
    head = [
        "Standard",
        "Utilisation",
        "In the interior",
        "Load [kN]",
        "Area [mm]",
        "v<sub>Ed</sub> [MPa]",
        "v<sub>Rd</sub> [MPa]",
        "u [m]",
        "Perimeter; wheel at",
        "Load position",
        "Clause and mark",
    ]
    count = max(one.punching.n for one in design.standards if one.punching is not None)
    return table(
        f"Punching: the worst of {count} wheel places", head, rows, numeric=range(1, 8), wide=(8, 9)
    ) + paragraph(
        "Loaded area: the contact spread through the surfacing, cut at the slab's edge; bars of "
        "the bottom face. Permanent shear is not added."
    )

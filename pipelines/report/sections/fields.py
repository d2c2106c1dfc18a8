"""Sections of the report that show fields: contour plans and envelopes along lines."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.words import at_text, place
from pipelines.envelopes.peaks import SHEARS, UNITS, Governing, clear_of_lines
from pipelines.numbers import number
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.report.drawings.lines import LineFigures, strip_marks
from pipelines.report.page import SYMBOLS, figure, paragraph, text
from pipelines.report.sections.tables import case_table, position_text
from pipelines.report.sections.words import SHEAR_RULE
from pipelines.result import Result
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.conventions import RESULTS

# Static cases drawn for a deck without traffic.
DRAWN_CASES = 4

BAND_WORDS = " Hatched: within one thickness of an edge or line, not read here."
WORDS = {
    "w": "deflection",
    "m_x": "moment of the bars along the deck",
    "m_y": "moment of the bars across the deck",
    "m_xy": "twisting moment",
    "q_x": "shear along the deck",
    "q_y": "shear across the deck",
}


def envelope_plans(result: Result, rows: Sequence[Governing]) -> str:
    if result.envelopes is None:
        return ""
    clear = clear_of_lines(result.solver, result.deck.slab.thickness)
    plans = ContourPlans(result.deck, field_map(result.solver), clear, result.envelopes.runs)
    extremes = result.envelopes.fields.extremes
    parts = [
        paragraph(
            "Each plan shows the envelope over all load positions: no single position gives the "
            "whole picture. The ring marks the peak; the wheels (as dispersed) and the arrow of "
            "travel show the load position that governs there. Colours are one-sided at lines "
            "and steps; darker is further from zero."
        )
    ]
    for row in rows:
        k = RESULTS.index(row.result)
        if row.result == "w" and row.extreme == "min":
            continue
        values = extremes.maximum[k] if row.extreme == "max" else extremes.minimum[k]
        banded = k in SHEARS
        extreme = "largest" if row.extreme == "max" else "smallest"
        field = PlanField(
            f"plan-{row.result}-{row.extreme}",
            f"{row.result} {row.extreme}",
            row.unit,
            values * RESULT_SCALE[k],
            row.extreme,
            row.value,
            row.at,
            row.position,
            banded,
        )
        caption = (
            f"<strong>{SYMBOLS[row.result]} {row.extreme}</strong>: {extreme} "
            f"{WORDS[row.result]} [{row.unit}]. "
        )
        if row.position is None:
            caption += "Zero governs everywhere."
        else:
            caption += (
                f"Peak {number(row.value)} {row.unit}, {text(place(result.deck, row.at))}, at "
                f"({at_text(row.at)}) m; {position_text(row.position)} m."
            )
        if banded:
            caption += BAND_WORDS
        parts.append(figure(f"envelope-{row.result}-{row.extreme}", plans.plan(field), caption))
    return "\n".join(parts)


def case_results(result: Result) -> str:
    """Static cases: a table, and plans of the first ones for a deck without traffic."""
    if not result.cases:
        return ""
    parts = [case_table(result.deck, result), paragraph(SHEAR_RULE)]
    if result.envelopes is None:
        clear = clear_of_lines(result.solver, result.deck.slab.thickness)
        plans = ContourPlans(result.deck, field_map(result.solver), clear)
        names = list(result.cases)
        for count, name in enumerate(names[:DRAWN_CASES], start=1):
            parts.append(f"<h3>{text(name)}</h3>")
            parts += _case_plans(result, plans, name, count, clear)
        if len(names) > DRAWN_CASES:
            parts.append(
                paragraph(
                    f"Plans of the other cases: {', '.join(names[DRAWN_CASES:])} are in fields.vtu."
                )
            )
    return "\n".join(parts)


def _case_plans(
    result: Result, plans: ContourPlans, name: str, count: int, clear: NDArray[np.bool_]
) -> list[str]:
    plan = result.solver.recovery.points.plan
    found = []
    for k, key in enumerate(RESULT_KEYS):
        short = key.removesuffix("_mm")
        values = result.cases[name].fields[k, :, 0] * RESULT_SCALE[k]
        banded = k in SHEARS
        allowed = np.flatnonzero(clear) if banded and clear.any() else np.arange(len(values))
        top = int(allowed[np.argmax(np.abs(values[allowed]))])
        peak, at = float(values[top]), (float(plan[top, 0]), float(plan[top, 1]))
        drawing = plans.plan(
            PlanField(
                f"case-{count}-{short}",
                short,
                UNITS[k],
                values,
                "both",
                peak,
                at,
                None,
                banded,
            )
        )
        caption = (
            f"<strong>{SYMBOLS[short]}, {text(name)}</strong>: {WORDS[short]} [{UNITS[k]}], "
            f"furthest from zero {number(peak)}, {text(place(result.deck, at))}, "
            f"at ({at_text(at)}) m."
        )
        if banded:
            caption += BAND_WORDS
        found.append(figure(f"plan-case-{count}-{short}", drawing, caption))
    return found


def line_sections(result: Result) -> str:
    if result.envelopes is None:
        return ""
    if not result.deck.plan.is_grid:
        return paragraph(
            "The plan has no lines across and along the deck: the envelopes are in the plans above "
            "and at the probes."
        )
    marks = strip_marks(result.findings)
    lines = LineFigures(result.deck, field_map(result.solver), result.envelopes.fields, marks)
    strip = (
        " Marks and dotted rules: each hand strip's largest value there, of all vehicles."
        if marks
        else ""
    )
    down = " Sagging is drawn downwards."
    m_x, m_y = SYMBOLS["m_x"], SYMBOLS["m_y"]
    return "\n".join(
        [
            paragraph("Largest and smallest values over all load positions of all vehicles."),
            figure(
                "section-mid-bays",
                lines.mid_bays(),
                f"<strong>{m_x} and {m_y} across the deck at mid-bay</strong>.{down}{strip}",
            ),
            figure(
                "section-cross-lines",
                lines.cross_lines(),
                f"<strong>{m_x} and {m_y} along the cross lines</strong>, on both sides of "
                f"each.{down}{strip}",
            ),
            figure(
                "section-along",
                lines.along(),
                f"<strong>{m_x} along the deck</strong>.{down}{strip}",
            ),
            figure(
                "section-edges",
                lines.edges(),
                f"<strong>Along the edges</strong>: {m_y} at the start and end edges, {m_x} at "
                f"the side edges.{down}",
            ),
        ]
    )

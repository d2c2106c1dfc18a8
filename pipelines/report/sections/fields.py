"""Sections of the report that show fields: contour plans and envelopes along lines."""

import numpy as np

from pipelines.analysis.result import Result, TrafficResult
from pipelines.deck.words import at_text, place
from pipelines.envelopes.peaks import SHEARS, UNITS, Peak
from pipelines.numbers import number
from pipelines.report.document import Block, Figure, Link, Paragraph, Section, Strong, Words
from pipelines.report.drawings.contour_plans import ContourPlans, PlanField
from pipelines.report.drawings.cuts import field_map
from pipelines.report.drawings.lines import LineFigures, strip_marks
from pipelines.report.drawings.plan import StandingLoad
from pipelines.report.drawings.smooth import RULE, Lattice
from pipelines.report.sections.most import most_governing
from pipelines.report.sections.positions import load_text
from pipelines.report.sections.tables import case_table, fresh_cases, over_width_words
from pipelines.report.sections.words import SYMBOLS, case_title, shear_rule
from pipelines.system.beside import Doer, here
from pipelines.units import RESULT_KEYS, RESULT_SCALE

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


def envelope_plans(result: Result, apart: Doer = here) -> tuple[Block, ...]:
    """Plans of the envelopes, each under the traffic that makes most of it, with that value.

    apart : draws them, as a process beside this one does.
    """
    if not result.traffic:
        return ()
    spread = any(case.envelope.model.has_pressure for case in result.traffic)
    adverse = "; distributed loads act on adverse parts" if spread else ""
    intro = Paragraph(
        "Each plan shows the envelope over all load positions: no single position gives the "
        "whole picture. The ring marks the peak; the wheels (as dispersed) and the arrows of "
        f"travel show what governs there{adverse}. Colours are one-sided at lines and steps; "
        f"darker is further from zero. {RULE}"
    )
    if len(result.traffic) > 1:
        words = (
            "Each result is drawn under the traffic that makes most of it; under the others it is "
            "in fields.vtu, and on a screen in ",
            Link("explore", "the part that is looked at by hand"),
            ".",
        )
        return (intro, Paragraph(words), *_plans(result, apart))
    return (intro, *_plans(result, apart))


def envelope_drawer(result: Result) -> ContourPlans:
    """What draws plans of the envelopes of a run."""
    fields = field_map(result.solved)
    lattice = Lattice.of(result.deck, fields)
    return ContourPlans(result.deck, fields, result.solved.clear_of_lines, lattice)


def _plans(result: Result, apart: Doer) -> list[Figure]:
    named = {
        f"{most.peak.result}-{most.peak.extreme}-{most.number}": most
        for most in most_governing(result)
        if (most.peak.result, most.peak.extreme) != ("w", "min")
    }
    fields = [envelope_field(most.case, most.peak, name) for name, most in named.items()]
    drawings = apart(envelope_drawer(result).all_of, fields)
    return [
        Figure(f"envelope-{name}", drawing, _caption(result, most.case, most.peak))
        for (name, most), drawing in zip(named.items(), drawings, strict=True)
    ]


def envelope_field(case: TrafficResult, row: Peak, name: str) -> PlanField:
    """The envelope of a result under a case of traffic, with its governing value."""
    extremes = case.envelope.fields.extremes
    k = row.component
    values = extremes.maximum[k] if row.extreme == "max" else extremes.minimum[k]
    return PlanField(
        name=f"plan-{name}",
        title=f"{row.result} {row.extreme}, {case_title(case)}",
        unit=row.unit,
        values=values * RESULT_SCALE[k],
        extreme=row.extreme,
        peak=row.value,
        at=row.at,
        load=StandingLoad.of(case.envelope, row.number),
        banded=k in SHEARS,
    )


def _caption(result: Result, case: TrafficResult, row: Peak) -> Words:
    extreme = "largest" if row.extreme == "max" else "smallest"
    title = Strong((SYMBOLS[row.result], f" {row.extreme}"))
    words = f", {case_title(case)}: {extreme} {WORDS[row.result]} [{row.unit}]. "
    governs: tuple[Words, ...] = ("Zero governs everywhere.",)
    if row.position is not None:
        words += (
            f"Peak {number(row.value)} {row.unit}, {place(result.deck, row.at)}, at "
            f"({at_text(row.at)}) m{over_width_words(row)}: "
        )
        governs = (load_text(row.position), " (m).")
    return (title, words, *governs, BAND_WORDS if row.component in SHEARS else "")


def case_results(result: Result) -> tuple[Block, ...]:
    """Static cases: a table, and plans of the first ones for a deck without traffic."""
    if not result.cases:
        return ()
    parts: list[Block] = [case_table(result.deck, result), Paragraph(shear_rule(result.deck))]
    if not result.traffic:
        plans = ContourPlans(result.deck, field_map(result.solved), result.solved.clear_of_lines)
        names = list(result.cases)
        fresh = fresh_cases(result.deck)
        for name in names[:DRAWN_CASES]:
            drawn = 1 if name in fresh else len(RESULT_KEYS)
            figures = [case_plan(result, plans, name, k) for k in range(drawn)]
            parts.append(Section("", name, tuple(figures)))
        if len(names) > DRAWN_CASES:
            parts.append(
                Paragraph(
                    f"Plans of the other cases: {', '.join(names[DRAWN_CASES:])} are in fields.vtu."
                )
            )
    return tuple(parts)


def case_plan(result: Result, plans: ContourPlans, name: str, component: int) -> Figure:
    """The plan of a result (its index in RESULTS) in a static case."""
    key, clear = RESULT_KEYS[component], plans.clear
    short, unit = key.removesuffix("_mm"), UNITS[component]
    values = result.cases[name].fields[component, :, 0] * RESULT_SCALE[component]
    banded = component in SHEARS
    allowed = np.flatnonzero(clear) if banded and clear.any() else np.arange(len(values))
    top = int(allowed[np.argmax(np.abs(values[allowed]))])
    x, y = result.solved.recovery.points.plan[top]
    peak, at = float(values[top]), (float(x), float(y))
    name_of = f"case-{list(result.cases).index(name) + 1}-{short}"
    drawing = plans.plan(
        PlanField(
            name=name_of,
            title=f"{short}, {name}",
            unit=unit,
            values=values,
            extreme="both",
            peak=peak,
            at=at,
            load=None,
            banded=banded,
        )
    )
    title = Strong((SYMBOLS[short], f", {name}"))
    caption = (
        f": {WORDS[short]} [{unit}], "
        f"furthest from zero {number(peak)}, {place(result.deck, at)}, "
        f"at ({at_text(at)}) m."
    )
    if banded:
        caption += BAND_WORDS
    return Figure(f"plan-{name_of}", drawing, (title, caption))


def line_sections(result: Result) -> tuple[Block, ...]:
    """Envelopes along the lines of a grid, under the traffic that makes most of a moment."""
    if not result.traffic:
        return ()
    if not result.deck.plan.is_grid:
        words = (
            "The plan has no lines across and along the deck: the envelopes are in the plans above "
            "and where results are asked for by name."
        )
        return (Paragraph(words),)
    moments = [most for most in most_governing(result) if most.peak.result in ("m_x", "m_y")]
    drawn = {most.number: most.case for most in moments}
    left = [case_title(case) for k, case in enumerate(result.traffic, start=1) if k not in drawn]
    words = f"Not drawn, since no m_x and no m_y is largest there: {', '.join(left)} (fields.vtu)."
    return (
        *(Section("", case_title(drawn[k]), _lines_of(result, drawn[k], k)) for k in sorted(drawn)),
        *([Paragraph(words)] if left else []),
    )


def _lines_of(result: Result, case: TrafficResult, nth: int) -> tuple[Block, ...]:
    names = {case.name} if case.envelope.whole else set(case.envelope.of_vehicles)
    marks = strip_marks([f for f in result.findings if f.load in names])
    lines = LineFigures(
        deck=result.deck,
        fields=field_map(result.solved),
        envelope=case.envelope.fields,
        marks=marks,
        suffix=str(nth),
    )
    strip = " Marks and dotted rules: each hand strip's largest value there." if marks else ""
    down = " Sagging is drawn downwards."
    m_x, m_y = SYMBOLS["m_x"], SYMBOLS["m_y"]
    both: tuple[Words, ...] = (m_x, " and ", m_y)
    return (
        Paragraph(f"Largest and smallest values under {case_title(case)}."),
        Figure(
            f"section-mid-bays-{nth}",
            lines.mid_bays(),
            (Strong((*both, " across the deck at mid-bay")), f".{down}{strip}"),
        ),
        Figure(
            f"section-cross-lines-{nth}",
            lines.cross_lines(),
            (Strong((*both, " along the cross lines")), f", on both sides of each.{down}{strip}"),
        ),
        Figure(
            f"section-along-{nth}",
            lines.along(),
            (Strong((m_x, " along the deck")), f".{down}{strip}"),
        ),
        Figure(
            f"section-edges-{nth}",
            lines.edges(),
            (
                Strong("Along the edges"),
                *(": ", m_y, " at the start and end edges, ", m_x, " at the side edges."),
                down,
            ),
        ),
    )

"""Section of the report on the reconciliation, step by step."""

from collections.abc import Sequence

import numpy as np

from pipelines.analysis.result import Result
from pipelines.deck.words import at_text
from pipelines.findings.finding import Finding
from pipelines.findings.reconciliation.walk import Reconciliation, Step
from pipelines.numbers import as_result, length, number
from pipelines.report.document import (
    Block,
    Figure,
    Link,
    Paragraph,
    Section,
    Strong,
    Table,
    Words,
    table,
)
from pipelines.report.drawings.waterfall import waterfall
from pipelines.report.sections.findings import centre_line_words
from pipelines.report.sections.tolerances import part


def reconciliation_section(result: Result) -> tuple[Block, ...]:
    """Walks of the governing values, each drawn and listed."""
    if not result.reconciliations:
        return ()
    intro = (
        "From the hand strip's value to the plate's peak, one assumption at a time; each step is "
        "the deck analysed again with that assumption changed and all changes before it kept. All "
        "wheels act in every step, and each has the strip rule's own loaded area until the last "
        "change brings the deck file's. Searched: the worst of the load positions of the main "
        "analysis and the worst place of the section, found again in each step. Held: load "
        "position and place as they govern the plate. What one change is worth depends on what "
        "was changed before it, so the walk is drawn in the other order too, as far as one change "
        "does not need another (its load positions are in summary.json). The mean is a side "
        "branch. Under a load model the vehicles of the "
        "governing arrangement are moved along the deck together, with its distributed loads where "
        "they are; the strip has lanes of its own and no held value. Traffic alone, characteristic."
    )
    walks = []
    for k, walk in enumerate(result.reconciliations, start=1):
        finding = walk.finding
        alone = "" if finding.whole_model else " alone"
        along, across = (number(1e3 * v) for v in walk.patch)
        caption = (
            f", {finding.load}{alone}, {finding.hand.strip}. Bars: searched again; in brackets "
            "what the step changes. Loaded area of the heaviest wheel before the last change: "
            f"{along} mm along, {across} mm across traffic."
        )
        if walk.springs is not None:
            caption += (
                " Same strip width on lines that yield: the beam of the strip's mean width on "
                "springs as stiff as the beams below it; shown because it is sometimes tried, the "
                "widths are meant for rigid lines."
            )
        caption += _centre_line(finding, result)
        to = Link(f"finding-{finding.reference}", finding.reference)
        title = Strong((to, f": {finding.place}, {finding.section.effect}"))
        parts: list[Block] = [
            Figure(f"walk-{k}", waterfall(f"waterfall-{k}", walk), (title, caption)),
            _walk_table(walk, walk.forward, f"{finding.reference}: in the fixed order"),
        ]
        walks.append(
            Section(
                "",
                f"{finding.place}, {finding.section.effect}, {finding.load}",
                tuple(parts),
            )
        )
    return Paragraph(intro), *walks


def _centre_line(finding: Finding, result: Result) -> str:
    """The values at the centre line of a line beside which a walk is, in a sentence; else ""."""
    words = centre_line_words(finding, result.findings)
    return f" A{words.removeprefix('; a')}." if words else ""


def _walk_table(walk: Reconciliation, steps: Sequence[Step], caption: str) -> Table:
    heads = [
        "Step",
        "Searched [kNm/m]",
        "± [kNm/m]",
        "Change [kNm/m]",
        "Held [kNm/m]",
        "Change [kNm/m]",
        "Load position searched: station, offset [m]",
        "Place searched: station, offset [m]",
    ]
    body: list[list[Words]] = []
    before: Step | None = None
    for k, step in enumerate(steps):
        changes = ["–", "–"]
        if before is not None:
            changes = [
                _signed(1e-3 * (step.searched - before.searched)),
                _signed(1e-3 * (step.held - before.held)),
            ]
        position = "–"
        if step.position is not None:
            parts = (step.position.station, step.position.offset)
            where = ", ".join(length(v) if np.isfinite(v) else "any" for v in parts)
            position = f"{step.position.direction}, {where}"
        body.append(
            [
                f"{k}. {step.title}",
                number(1e-3 * step.searched),
                "–" if k == 0 else part(1e-3 * step.error),
                changes[0],
                number(1e-3 * step.held),
                changes[1],
                position,
                "–" if step.at is None else at_text(step.at),
            ]
        )
        before = step
    last = steps[-1]
    share = ""
    if walk.finding.hand.value:
        share = f"strip / plate {number(walk.finding.hand.value / walk.finding.plate.peak)}"
    body.append(
        [
            Strong("plate's peak"),
            Strong(number(1e-3 * last.searched)),
            part(1e-3 * last.error),
            share,
            number(1e-3 * last.held),
            "",
            "",
            "",
        ]
    )
    return table(caption, heads, body, numeric=range(1, 6), wide=(0,))


def _signed(value: float) -> str:
    return ("+" if value >= 0 else "") + as_result(value)

"""Sections of the report on strip and plate: findings, back-figured widths, reconciliation."""

from collections.abc import Sequence

from pipelines.analysis.result import Result
from pipelines.deck.deck import Deck
from pipelines.deck.words import at_text
from pipelines.findings.effects import governing_at_places
from pipelines.findings.finding import (
    Finding,
    Verdict,
    at_centre_line,
    chosen,
    governing,
    without_centre_lines,
)
from pipelines.findings.left_out import LeftOut, beyond
from pipelines.numbers import as_result, length, number
from pipelines.report.document import (
    Anchor,
    Block,
    Paragraph,
    Section,
    Short,
    Symbol,
    Table,
    Together,
    Words,
    lines,
    table,
)
from pipelines.report.sections.bars_words import used
from pipelines.report.sections.positions import load_text
from pipelines.report.sections.tables import tolerance
from pipelines.report.sections.words import REFERENCE, SYMBOLS, linked
from pipelines.strips.methods import left_out_methods

# Kinds of section whose largest plate value the first page tells, in its words; over lines whose
# widths are stated that at their faces.
HEADLINES = (
    (("sagging",), "sagging in a bay"),
    (("edge",), "sagging along a free edge"),
    (("face", "hogging"), "hogging over a line"),
    (("edge face", "edge hogging"), "hogging over a line, beside a free edge"),
)


def finding_words(
    findings: Sequence[Finding], no_findings: str, left_out: Sequence[LeftOut] = ()
) -> list[str]:
    """The finding of the whole comparison in a few sentences."""
    if not findings:
        return [f"No comparison with hand strips: {no_findings or 'there is none'}."]
    short = sum(finding.is_short for finding in findings)
    outside = sum(finding.hand.value is None for finding in findings)
    even = sum(finding.verdict is Verdict.EVEN for finding in findings)
    opposed = sum(finding.verdict is Verdict.NOT_COMPARABLE for finding in findings)
    rest = len(findings) - short - outside - even - opposed
    covered = sum(finding.verdict is Verdict.COVERS for finding in findings)
    single = any(not finding.whole_model for finding in findings)
    not_short = f"{covered} covered, " if covered or not single else ""
    if single:
        not_short += f"{rest - covered} no less than the plate under a single vehicle, "
    words = [
        f"{len(findings)} comparisons of a hand strip with the plate's peak: {short} short, "
        f"{even} without a difference beyond the numerical tolerance, {not_short}{outside} outside "
        f"the method's range, {opposed} not comparable. "
        + (
            "Vehicles listed by themselves act alone, which is not a standard's load model: under "
            "them no strip is said to cover."
            if single
            else "Each is for a whole load model, on the plate and on the strip."
        )
    ]
    methods = left_out_methods(dict.fromkeys(finding.load for finding in findings))
    if methods:
        words.append(methods)
    of_strip = chosen(findings)
    counted = without_centre_lines(of_strip)
    for worst, words_of in _headlines(of_strip):
        if worst.ratio is not None and worst.hand.value is not None:
            words.append(
                f"Largest {words_of}: plate {number(1e-3 * worst.plate.peak)} {worst.unit} "
                f"({worst.place}, {worst.load}), against {number(1e-3 * worst.hand.value)} "
                f"by {worst.hand.strip} ({worst.reference}): strip / plate {number(worst.ratio)}, "
                f"{worst.words}{elsewhere(worst, counted, left_out)}"
                f"{centre_line_words(worst, findings)}."
            )
    corners = [finding for finding in of_strip if finding.section.kind == "corner"]
    if corners:
        most = max(corners, key=lambda one: (one.whole_model, abs(one.plate.peak)))
        words.append(
            f"Largest hogging at an obtuse corner: plate {number(1e-3 * most.plate.peak)} "
            f"{most.unit} ({most.section.place}, {most.load}): {most.hand.reason}."
        )
    return words


def _headlines(findings: Sequence[Finding]) -> list[tuple[Finding, str]]:
    """The findings at the largest plate values that the first page tells, and what each is."""
    counted = without_centre_lines(findings)
    found = [(governing(counted, *kinds), words) for kinds, words in HEADLINES]
    return [(one, words) for one, words in found if one is not None and one.ratio is not None]


def centre_line_words(finding: Finding, findings: Sequence[Finding]) -> str:
    """The values at the centre line beside those at a face, "" for other sections."""
    centre = at_centre_line(finding, findings)
    if centre is None:
        return ""
    strip = "no value" if centre.hand.value is None else number(1e-3 * centre.hand.value)
    return (
        f"; at the centre line the plate has {number(1e-3 * centre.plate.peak)}, the strip "
        f"{strip} ({centre.reference}: {centre.words})"
    )


def elsewhere(finding: Finding, findings: Sequence[Finding], left_out: Sequence[LeftOut]) -> str:
    """What is added to the words of a finding where the plate has more than the strip's value in
    another place, so that no strip is read as covering it."""
    if finding.verdict not in (Verdict.COVERS, Verdict.NO_LESS, Verdict.EVEN):
        return ""
    more = beyond(finding, findings, left_out)
    if more is None:
        return ""
    if isinstance(more, LeftOut):
        value, zone, words = more.peak.value, more.zone, "no strip compared"
    else:
        value, zone = 1e-3 * more.plate.peak, more.place
        words = f"{more.reference}: {more.words}"
    start = " there alone:" if finding.verdict is Verdict.COVERS else ";"
    return (
        f"{start} the plate has {number(value)} {finding.unit} in another place under the same "
        f"load ({zone}; {words})"
    )


def left_out_words(left_out: Sequence[LeftOut]) -> list[str]:
    """The governing values that no strip is compared with, a sentence for each load."""
    loads: dict[str, list[LeftOut]] = {}
    for one in left_out:
        loads.setdefault(one.load, []).append(one)
    found = []
    for load, rows in loads.items():
        reasons: dict[str, list[str]] = {}
        for row in rows:
            words = f"{row.peak.result} {number(row.peak.value)} {row.peak.unit} ({row.zone})"
            reasons.setdefault(row.reason, []).append(words)
        parts = [f"{', '.join(values)}: {reason}" for reason, values in reasons.items()]
        found.append(f"Governing values left out of the comparison, {load}: {'; '.join(parts)}.")
    return found


def folded(findings: Sequence[Finding]) -> list[tuple[Finding, int]]:
    """The worst place of each kind, vehicle and method, worst first, with the number of places."""
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for finding in findings:
        key = (
            finding.bars,
            finding.section.kind,
            finding.load,
            finding.hand.strip,
            finding.hand.clause,
        )
        groups.setdefault(key, []).append(finding)
    return [(rows[0], len(rows)) for rows in groups.values()]


def findings_table(
    rows: Sequence[tuple[Finding, int]],
    caption: str,
) -> Table:
    """Strip against plate, one row a comparison, in the order given; each with the number of
    places that it is the worst of."""
    heads: list[Words] = [
        "Ref.",
        "Place; station, offset of the peak [m]",
        "Effect, bars, face",
        "Load, lanes, load position [m]",
        "Strip: method, clause, edition, mark; span, width",
        "Strip",
        "Plate: peak ±, mean (over [m])",
        "Strip / plate",
        (SYMBOLS["m_x"], ", ", SYMBOLS["m_y"], ", ", SYMBOLS["m_xy"], " there [kNm/m]"),
        "Range over beam stiffness",
        (Symbol("m", "Rd"), " [kNm/m]; used by strip, by plate"),
        "Finding",
    ]
    body = [_row(one, places) for one, places in rows]
    if not any(one.used for one, _ in rows):
        heads.pop(-2)
        body = [[*row[:-2], row[-1]] for row in body]
    last = len(heads) - 1
    return table(caption, heads, body, numeric=(5, 6, 7), wide=(3, 4, last))


def _row(finding: Finding, places: int) -> list[Words]:
    section, hand, plate = finding.section, finding.hand, finding.plate
    words: Words = finding.words.replace(" %", "\u00a0%")
    more = "".join(f"; {said}" for said in (hand.reason, finding.caution) if said)
    strip: list[Words] = [Together(hand.strip)]
    if hand.clause and not hand.strip.endswith(hand.clause):
        strip.append(hand.clause)
    if hand.edition:
        strip.append(hand.edition)
    if hand.mark:
        strip.append(hand.mark)
    if hand.span is not None:
        strip.append(f"span {length(hand.span)} m")
    if hand.width is not None:
        strip.append(f"width {number(hand.width)} m per {hand.width_of}")
    where: list[Words] = [
        section.place,
        section.where,
        Together(at_text(plate.at)),
        f"worst of {places}" if places > 1 else "",
    ]
    address = f"finding-{finding.reference}"
    error = None if plate.error is None else 1e-3 * plate.error
    of_plate = [f"{number(1e-3 * plate.peak)}{tolerance(error)}", finding.unit]
    if plate.mean_width > 0.0:
        of_plate.append(f"mean {number(1e-3 * plate.mean)} ({number(plate.mean_width)})")
    span = "–"
    if plate.beam_range is not None:
        low, high = (number(1e-3 * v) for v in plate.beam_range)
        span = f"{low} to {high}"
    return [
        Anchor(address, finding.reference),
        lines(said for said in where if said),
        section.effect,
        finding.load if plate.position is None else load_text(plate.position, named=True),
        lines(strip),
        "–" if hand.value is None else lines((number(1e-3 * hand.value), finding.unit)),
        lines(of_plate),
        "–" if finding.ratio is None else number(finding.ratio),
        ", ".join(as_result(1e-3 * v) for v in plate.coexisting),
        span,
        _used(finding),
        (Short(words) if finding.is_short else words, more),
    ]


def _used(finding: Finding) -> Words:
    """Resistance and utilisations, rounded up so that 1.00 passes."""
    bars = finding.used
    if bars is None:
        return "–"
    by_strip = "–" if bars.by_strip is None else used(bars.by_strip)
    return lines((number(1e-3 * bars.resistance), (by_strip, ", ", used(bars.by_plate))))


def strips_section(result: Result) -> tuple[Block, ...]:
    """The findings of the loads that govern, folded to the worst place of each."""
    if not result.findings:
        return (Paragraph(f"No comparison: {result.no_findings or 'there is none'}."),)
    of_strip = chosen(result.findings)
    first = {one.reference: (one, places) for one, places in folded(governing_at_places(of_strip))}
    # What is told by its reference elsewhere has its row here.
    told = {one.reference for one, _ in _headlines(of_strip)}
    told |= {walk.finding.reference for walk in result.reconciliations}
    told |= {one.row.reference for one in result.effects}
    for verdict in result.verdicts:
        worst = [judgement.worst for judgement in verdict.judgements if judgement.worst]
        told |= {name for found in worst for name in REFERENCE.findall(found.place)}
    rows = [
        first.get(one.reference, (one, 1))
        for one in result.findings
        if one.reference in first or one.reference in told
    ]
    caption = (
        "The strip of the design: of each effect and load the worst of the places where it makes "
        "most, and what is told by its reference, worst first, small values last (all "
        f"{len(result.findings)} rows, other methods among them: findings.csv)"
    )
    said = finding_words(result.findings, result.no_findings, result.left_out)
    left = [Paragraph(linked(words)) for words in left_out_words(result.left_out)]
    return (
        Paragraph(intro(result.deck)),
        findings_table(rows, caption),
        *(Paragraph(linked(words)) for words in said),
        *([Section("left-out", "Without a strip beside them", tuple(left))] if left else []),
    )


def intro(deck: Deck) -> str:
    """What strip and plate are here, in words."""
    words = [
        "Strip / plate below 1: the strip is short. Not comparable: opposite signs; a strip that "
        "has no moment there; sagging over a line that yields, beside a strip on rigid lines. "
        "Strip: per metre, on rigid lines, each axle over the width shown, the load at the strip's "
        "own worst place"
    ]
    if deck.traffic is not None and deck.traffic.load_models:
        words.append(
            "; under a load model the strip has all lanes: along traffic the axles of neighbouring "
            "lanes share a strip where their widths meet, across it all lanes stand on it, and "
            "distributed loads act on adverse parts, along traffic those of the lane with most; "
            "the width is then that of the lane that brings most"
        )
    words.append(
        ". Plate: the deck as it is, peak with its numerical tolerance, the mean at the same load "
        "position."
    )
    if any(line.beam is not None for line in deck.lines):
        words.append(
            " Range: the plate's value there with all beams half and twice as stiff, load position "
            "held."
        )
    words.append(
        " All values are characteristic, of the traffic alone: no permanent load, no factor"
    )
    if deck.reinforcement is not None:
        words.append(
            ", but for resistance and utilisations: at the ultimate limit state, with the plate's "
            "permanent actions and the standard's factors, moments of the bars' own direction "
            "without twist or membrane forces"
        )
    return "".join(words) + "."

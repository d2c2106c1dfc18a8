"""Sections of the report on strip and plate: findings, back-figured widths, reconciliation."""

from collections.abc import Sequence

import numpy as np

from pipelines.deck.words import at_text
from pipelines.envelopes.single_vehicles import LoadPosition
from pipelines.findings.finding import COVERS, Finding
from pipelines.numbers import length, number, reading
from pipelines.report.page import SYMBOLS, paragraph, table, text, together
from pipelines.report.sections.load_models import arrangement_text
from pipelines.report.sections.tables import position_text, tolerance
from pipelines.result import Result

INTRO = (
    "Strip / plate below 1: the strip is short. Strip: per metre, on rigid lines, each axle over "
    "the width shown, the load at the strip's own worst place; under a load model the strip has "
    "all lanes: along traffic the axles of neighbouring lanes share a strip where their widths "
    "meet, across it all lanes stand on it, and distributed loads act on adverse parts, along "
    "traffic those of the lane with most; the width is then that of the lane that brings most. "
    "Plate: the deck as it is, peak "
    "with its numerical tolerance, the mean at the same load position. Range: the plate's value "
    "there with all beams half and twice as stiff, load position held. All values are "
    "characteristic, of the traffic alone: no permanent load, no factor. Where bars are given, "
    "resistance and utilisations are at the ultimate limit state, with the plate's permanent "
    "actions and the standard's factors, moments of the bars' own direction without twist or "
    "membrane forces."
)


def finding_words(findings: Sequence[Finding], no_findings: str) -> list[str]:
    """The finding of the whole comparison in a few sentences."""
    if not findings:
        return [f"No comparison with hand strips: {no_findings or 'there is none'}."]
    short = sum(one.is_short for one in findings)
    outside = sum(one.strip_value is None for one in findings)
    even = sum(one.finding.startswith("no difference") for one in findings)
    opposed = sum(one.strip_value is not None and one.ratio is None for one in findings)
    rest = len(findings) - short - outside - even - opposed
    covered = sum(one.finding == COVERS for one in findings)
    single = any(not one.whole_model for one in findings)
    not_short = f"{covered} covered, " if covered or not single else ""
    if single:
        not_short += f"{rest - covered} no less than the plate under a single vehicle, "
    words = [
        f"{len(findings)} comparisons of a hand strip with the plate's peak: {short} short, "
        f"{even} without a difference beyond the numerical tolerance, {not_short}{outside} outside "
        f"the method's range, {opposed} of opposite sign. "
        + (
            "Vehicles listed by themselves act alone, which is not a standard's load model: under "
            "them no strip is said to cover."
            if single
            else "Each is for a whole load model, on the plate and on the strip."
        )
    ]
    for kind, words_of in (
        ("sagging", "sagging in a bay"),
        ("hogging", "hogging over a line"),
        ("corner", "hogging at an obtuse corner"),
    ):
        one = governing(findings, kind)
        if one is not None and one.ratio is not None and one.strip_value is not None:
            words.append(
                f"Largest {words_of}: plate {number(1e-3 * one.plate_peak)} {one.unit} "
                f"({one.place}, {one.vehicle}), against {number(1e-3 * one.strip_value)} by "
                f"{one.strip} ({one.reference}): strip / plate {number(one.ratio)}, {one.finding}."
            )
    return words


def governing(findings: Sequence[Finding], kind: str, *, single: bool = False) -> Finding | None:
    """Of the largest plate value of a kind the strip that is worst; single : of vehicles alone."""
    rows = [
        one
        for one in findings
        if one.kind == kind and one.ratio is not None and not (single and one.whole_model)
    ]
    if not rows:
        return None
    most = max(abs(one.plate_peak) for one in rows)
    return next(one for one in rows if abs(one.plate_peak) == most)


def first_findings(findings: Sequence[Finding]) -> list[Finding]:
    """The worst row of each kind, worst first."""
    found: dict[tuple[str, str], Finding] = {}
    for one in findings:
        if one.ratio is not None:
            found.setdefault((one.bars, one.kind), one)
    return list(found.values())


def folded(findings: Sequence[Finding]) -> list[tuple[Finding, int]]:
    """The worst place of each kind, vehicle and method, worst first, with the number of places."""
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for one in findings:
        key = (one.bars, one.kind, one.vehicle, one.strip, one.clause)
        groups.setdefault(key, []).append(one)
    return [(rows[0], len(rows)) for rows in groups.values()]


def findings_table(rows: Sequence[tuple[Finding, int]], caption: str, *, tall: bool = False) -> str:
    """Strip against plate, one row a comparison, in the order given; each with the number of
    places that it is the worst of."""
    m_y, m_xy = SYMBOLS["m_y"], SYMBOLS["m_xy"]
    heads = [
        "Ref.",
        "Place; station, offset of the peak [m]",
        "Effect, bars, face",
        "Load, lanes, load position [m]",
        "Strip: method, clause, edition",
        "Span [m]",
        "Width [m] per",
        "Strip",
        "Plate, peak ±",
        "Plate, mean (over [m])",
        "Strip / plate",
        f"{SYMBOLS['m_x']}, {m_y}, {m_xy} there [kNm/m]",
        "Range over beam stiffness",
        "m<sub>Rd</sub> [kNm/m]; used by strip, by plate",
        "Finding",
    ]
    body = [_row(one, places) for one, places in rows]
    if not any(one.utilisation for one, _ in rows):
        heads.pop(-2)
        body = [[*row[:-2], row[-1]] for row in body]
    last = len(heads) - 1
    return table(caption, heads, body, numeric=(5, 7, 8, 9, 10, 11), wide=(3, 4, last), tall=tall)


def _row(one: Finding, places: int) -> list[str]:
    words = text(one.finding.replace(" %", "\u00a0%"))
    if one.is_short:
        words = f'<span class="short">{words}</span>'
    for more in (one.reason, one.caution):
        words += f"; {text(more)}" if more else ""
    strip = together(one.strip)
    if one.clause and not one.strip.endswith(one.clause):
        strip += f"<br>{text(one.clause)}"
    if one.edition:
        strip += f"<br>{text(one.edition)}"
    where = f"{together(one.place)}"
    if one.where:
        where += f"<br>{together(one.where)}"
    where += f"<br>{together(at_text(one.at))}"
    if places > 1:
        where += f"<br>{together(f'worst of {places}')}"
    mean = "–"
    if one.mean_width > 0.0:
        mean = f"{number(1e-3 * one.plate_mean)} ({number(one.mean_width)})"
    error = None if one.plate_error is None else 1e-3 * one.plate_error
    peak = f"{number(1e-3 * one.plate_peak)}{tolerance(error)}<br>{one.unit}"
    span = "–"
    if one.beam_range is not None:
        low, high = (number(1e-3 * v) for v in one.beam_range)
        span = f"{low} to {high}"
    return [
        text(one.reference),
        where,
        text(one.effect),
        _load_text(one),
        strip,
        "–" if one.span is None else length(one.span),
        "–" if one.width is None else f"{number(one.width)}<br>{together(one.width_of)}",
        "–" if one.strip_value is None else f"{number(1e-3 * one.strip_value)}<br>{one.unit}",
        peak,
        mean,
        "–" if one.ratio is None else number(one.ratio),
        ", ".join(reading(1e-3 * v) for v in one.coexisting),
        span,
        _used(one),
        words,
    ]


def _used(one: Finding) -> str:
    """Resistance and utilisations, rounded up so that 1.00 passes."""
    if one.utilisation is None or one.resistance is None:
        return "–"

    def words(value: float | None) -> str:
        if value is None:
            return "–"
        shown = f"{np.ceil(100.0 * value - 1e-9) / 100.0:.2f}"
        return f'<span class="short">{shown}</span>' if value > 1.0 else shown

    by_strip, by_plate = one.utilisation
    resistance = number(1e-3 * one.resistance)
    return f"{resistance}<br>{words(by_strip)}, {words(by_plate)}"


def _load_text(one: Finding) -> str:
    if one.position is None:
        return text(one.vehicle)
    if isinstance(one.position, LoadPosition):
        return position_text(one.position)
    return f"<strong>{text(one.vehicle)}</strong><br>{arrangement_text(one.position)}"


def strips_section(result: Result) -> str:
    """All findings, folded to the worst place of each."""
    if not result.findings:
        return paragraph(f"No comparison: {result.no_findings or 'there is none'}.")
    rows = folded(result.findings)
    caption = (
        f"The worst place of each effect, vehicle and method, worst first, small values last "
        f"(all {len(result.findings)} rows: findings.csv)"
    )
    return paragraph(INTRO) + findings_table(rows, caption, tall=len(rows) > 12)

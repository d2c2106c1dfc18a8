"""Sections of the report on strip and plate: findings, back-figured widths, reconciliation."""

from collections.abc import Sequence

import numpy as np

from pipelines.figures import length, number, reading
from pipelines.findings import COVERS, Finding
from pipelines.places import at_text
from pipelines.reconciliation import Reconciliation, Step
from pipelines.reconciliationfigures import waterfall
from pipelines.reporthtml import SYMBOLS, figure, paragraph, table, text, together
from pipelines.reporttables import position_text
from pipelines.result import Result
from pipelines.sections import M_X, M_Y, frame
from pipelines.slices import field_map
from pipelines.strips_deck import strip_decks
from pipelines.widthfigures import WidthMap, width_map
from pipelines.widths import BackWidth, width_field

TITLES = {
    "sagging": "Sagging in the bays",
    "hogging": "Hogging over the lines, centre line",
    "face": "Hogging at the faces of the lines",
    "over line": "Sagging over loaded lines",
    "transverse": "Moment across the strip, under wheels",
    "edge": "Edges along the strip",
    "end edge": "Edges at the strip's ends",
    "shear": "Shear near the lines",
}
BARS_WORDS = {"parallel": "bars along traffic", "across": "bars across traffic"}

INTRO = (
    "Strip / plate below 1: the strip is short. Strip: per metre, on rigid lines, each axle over "
    "the width shown, the vehicle at the strip's own worst place. Plate: the deck as it is, peak "
    "with its numerical tolerance, the mean at the same load position. Range: the plate's value "
    "there with all beams half and twice as stiff, load position held. All values are "
    "characteristic, of the traffic alone: no permanent load, no factor, no resistance."
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
    not_short = f"{covered} covered" if covered else "no less than the plate"
    words = [
        f"{len(findings)} comparisons of a hand strip with the plate's peak: {short} short, "
        f"{even} without a difference beyond the numerical tolerance, {rest} {not_short}, "
        f"{outside} outside the method's range, {opposed} of opposite sign. "
        + (
            ""
            if covered
            else "Each is for one vehicle alone, which is not a standard's load model: no strip "
            "is said to cover it."
        )
    ]
    for kind, words_of in (("sagging", "sagging in a bay"), ("hogging", "hogging over a line")):
        one = governing(findings, kind)
        if one is not None and one.ratio is not None and one.strip_value is not None:
            words.append(
                f"Largest {words_of}: plate {number(1e-3 * one.plate_peak)} {one.unit} "
                f"({one.place}, {one.vehicle}), against {number(1e-3 * one.strip_value)} by "
                f"{one.strip} ({one.reference}): strip / plate {number(one.ratio)}, {one.finding}."
            )
    return words


def governing(findings: Sequence[Finding], kind: str) -> Finding | None:
    """Of the largest plate value of a kind the strip that is worst."""
    rows = [one for one in findings if one.kind == kind and one.ratio is not None]
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
        "Load (alone), load position [m]",
        "Strip: method, clause, edition",
        "Span [m]",
        "Width [m] per",
        "Strip",
        "Plate, peak ±",
        "Plate, mean (over [m])",
        "Strip / plate",
        f"{SYMBOLS['m_x']}, {m_y}, {m_xy} there [kNm/m]",
        "Range over beam stiffness",
        "Finding",
    ]
    body = [_row(one, places) for one, places in rows]
    return table(caption, heads, body, numeric=(5, 7, 8, 9, 10, 11), wide=(3, 4, 13), tall=tall)


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
    peak = number(1e-3 * one.plate_peak)
    if one.plate_error is not None:
        peak += f" ± {number(1e-3 * one.plate_error)}"
    span = "–"
    if one.beam_range is not None:
        low, high = (number(1e-3 * v) for v in one.beam_range)
        span = f"{low} to {high}"
    return [
        text(one.reference),
        where,
        text(one.effect),
        position_text(one.position) if one.position else text(one.vehicle),
        strip,
        "–" if one.span is None else length(one.span),
        "–" if one.width is None else f"{number(one.width)}<br>{together(one.width_of)}",
        "–" if one.strip_value is None else f"{number(1e-3 * one.strip_value)}\u00a0{one.unit}",
        f"{peak}\u00a0{one.unit}",
        mean,
        "–" if one.ratio is None else number(one.ratio),
        ", ".join(reading(1e-3 * v) for v in one.coexisting),
        span,
        words,
    ]


def strips_section(result: Result) -> str:
    """All findings, folded to the worst place of each."""
    if not result.findings:
        return paragraph(f"No comparison: {result.no_findings or 'there is none'}.")
    rows = folded(result.findings)
    caption = (
        f"The worst place of each effect, vehicle and method, worst first "
        f"(all {len(result.findings)} rows: findings.csv)"
    )
    return paragraph(INTRO) + findings_table(rows, caption, tall=len(rows) > 12)


def widths_section(result: Result) -> str:
    """Back-figured widths: a table of the governing vehicle at every place, and maps."""
    if not result.widths:
        return ""
    intro = (
        "Width = moment or shear of the one-way beam on rigid lines over what the plate finds: the "
        "width that a strip would have to use for the plate's peak, and for its mean over three "
        "thicknesses. A code's width is the same resultant over the code's strip value, so it may "
        "be compared as it stands: wider than the width by the plate's peak means short. Along "
        "traffic a width carries each axle of the vehicle; across it the heaviest axle. Width of "
        "the plate: its own resultant over the whole line through the peak, over the peak; lines "
        "that yield move moment from hogging to sagging, so the two resultants differ."
    )
    parts = [paragraph(intro)]
    for kind in ("sagging", "hogging", "edge", "shear"):
        rows = governing_widths(result.widths, kind)
        if rows:
            parts.append(_width_table(kind, rows))
    return "\n".join([*parts, *_maps(result)])


def governing_widths(rows: Sequence[BackWidth], kind: str) -> list[BackWidth]:
    """At each place the vehicle with the largest peak."""
    found: dict[tuple[str, str, str], BackWidth] = {}
    for one in rows:
        key = (one.place, one.where, one.effect)
        if one.kind == kind and (key not in found or one.peak > found[key].peak):
            found[key] = one
    return list(found.values())


def _width_table(kind: str, rows: Sequence[BackWidth]) -> str:
    codes = list(dict.fromkeys(name for one in rows for name, _ in one.codes))
    unit = "kN" if kind == "shear" else "kNm"
    heads = [
        "Place",
        "Vehicle",
        f"Strip's resultant [{unit}]",
        f"Plate's resultant [{unit}]",
        f"Plate's peak [{unit}/m]",
        "Width by the peak [m]",
        "Width by the mean over 3 h [m]",
        "Width of the plate [m]",
        *(f"{text(name)} [m]" for name in codes),
    ]
    body = []
    for one in rows:
        known = dict(one.codes)
        cells = []
        for name in codes:
            if name not in known:
                cells.append("–")
                continue
            words = number(known[name])
            wide = known[name] > one.by_peak
            cells.append(f'<span class="short">{words}</span>' if wide else words)
        place = together(one.place)
        if one.where and kind != "hogging":
            place += f"<br>{together(one.where)}"
        body.append(
            [
                place,
                text(one.vehicle),
                number(1e-3 * one.strip_resultant),
                number(1e-3 * one.plate_resultant),
                number(1e-3 * one.peak),
                f"<strong>{number(one.by_peak)}</strong>",
                number(one.by_mean),
                number(one.spread),
                *cells,
            ]
        )
    return table(
        f"{TITLES[kind]}: widths of the vehicle with the largest peak, code widths beside them",
        heads,
        body,
        numeric=range(2, len(heads)),
        wide=(1,),
        tall=len(body) > 16,
    )


def _maps(result: Result) -> list[str]:
    """Maps of the width for sagging and for hogging."""
    deck, envelopes = result.deck, result.envelopes
    if envelopes is None or deck.traffic is None:
        return []
    fields = field_map(result.solver)
    found = []
    for strip in strip_decks(deck):
        at = frame(deck, strip, result.solver)
        for kind, sign in (("sagging", 1.0), ("hogging", -1.0)):
            one = governing(result.findings, kind)
            if one is None:
                continue
            vehicle = next(v for v in deck.traffic.vehicles if v.name == one.vehicle)
            extremes = envelopes.vehicles[vehicle.name].extremes
            component = M_X if strip.bars == "parallel" else M_Y
            values = (extremes.maximum if sign > 0 else extremes.minimum)[component]
            widths = width_field(deck, strip, vehicle, at.s, values, sign)
            name = f"width-{strip.bars}-{kind}"
            if not np.isfinite(widths).any():
                continue
            title = f"Width for {kind}, {BARS_WORDS[strip.bars]}"
            caption = (
                f"<strong>Back-figured width for {kind}</strong>, {text(vehicle.name)} alone: "
                "the one-way beam's envelope at each station over the plate's envelope at each "
                "point, where the plate's moment is at least 0.4 of its largest. The ring marks "
                "the least."
            )
            if sign > 0:
                caption += (
                    " Towards the lines the beam on rigid lines hardly sags, so that no width "
                    "would do where a loaded line yields."
                )
            drawing = width_map(deck, fields, WidthMap(name, title, widths))
            found.append(figure(f"plan-{name}", drawing, caption))
    return found


def reconciliation_section(result: Result) -> str:
    """Walks of the governing values, each drawn and listed."""
    if not result.reconciliations:
        return ""
    intro = (
        "From the hand strip's value to the plate's peak, one assumption at a time; each step is "
        "the deck analysed again with that assumption changed and all changes before it kept. All "
        "wheels act in every step, and each has the strip rule's own loaded area until the last "
        "change brings the deck file's. Searched: the worst of the load positions of the main "
        "analysis and the worst place of the section, found again in each step. Held: load "
        "position and place as they govern the plate. What one change is worth depends on what "
        "was changed before it, so the walk is given in the other order too, as far as one change "
        "does not need another. The mean is a side branch. Traffic alone, characteristic."
    )
    parts = [paragraph(intro)]
    for k, walk in enumerate(result.reconciliations, start=1):
        one = walk.finding
        parts.append(f"<h3>{text(f'{one.place}, {one.effect}, {one.vehicle}')}</h3>")
        along, across = (number(1e3 * v) for v in walk.patch)
        caption = (
            f"<strong>{text(one.reference)}: {text(one.place)}, {text(one.effect)}</strong>, "
            f"{text(one.vehicle)} alone, {text(one.strip)}. Bars: searched again; in brackets what "
            f"the step changes. Loaded area of the heaviest wheel before the last change: {along} "
            f"mm along, {across} mm across traffic."
        )
        if walk.springs is not None:
            caption += (
                " Same strip width on lines that yield: the beam of the strip's mean width on "
                "springs as stiff as the beams below it; shown because it is sometimes tried, the "
                "widths are meant for rigid lines."
            )
        parts.append(figure(f"walk-{k}", waterfall(f"waterfall-{k}", walk), caption))
        parts.append(_walk_table(walk, walk.forward, f"{one.reference}: in the fixed order"))
        if walk.reverse != walk.forward:
            parts.append(_walk_table(walk, walk.reverse, f"{one.reference}: in the other order"))
    return "\n".join(parts)


def _walk_table(walk: Reconciliation, steps: Sequence[Step], caption: str) -> str:
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
    body = []
    before: Step | None = None
    for k, one in enumerate(steps):
        changes = ["–", "–"]
        if before is not None:
            changes = [
                _signed(1e-3 * (one.searched - before.searched)),
                _signed(1e-3 * (one.held - before.held)),
            ]
        position = "–"
        if one.position is not None:
            parts = (one.position.station, one.position.offset)
            where = ", ".join(length(v) if np.isfinite(v) else "any" for v in parts)
            position = f"{text(one.position.direction)}, {where}"
        body.append(
            [
                f"{k}. {text(one.title)}",
                number(1e-3 * one.searched),
                "–" if k == 0 else number(1e-3 * one.error),
                changes[0],
                number(1e-3 * one.held),
                changes[1],
                position,
                "–" if one.at is None else at_text(one.at),
            ]
        )
        before = one
    last = steps[-1]
    share = ""
    if walk.finding.strip_value:
        share = f"strip / plate {number(walk.finding.strip_value / walk.finding.plate_peak)}"
    body.append(
        [
            "<strong>plate's peak</strong>",
            f"<strong>{number(1e-3 * last.searched)}</strong>",
            number(1e-3 * last.error),
            share,
            number(1e-3 * last.held),
            "",
            "",
            "",
        ]
    )
    return table(caption, heads, body, numeric=range(1, 6), wide=(0,))


def _signed(value: float) -> str:
    return ("+" if value >= 0 else "") + reading(value)

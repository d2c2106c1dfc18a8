"""Section of the report on back-figured widths."""

from collections.abc import Sequence

import numpy as np

from pipelines.envelopes.peaks import readable
from pipelines.findings.back_figured_widths import BackWidth, width_field
from pipelines.numbers import number
from pipelines.report.drawings.cuts import field_map
from pipelines.report.drawings.widths import WidthMap, width_map
from pipelines.report.page import figure, paragraph, table, text, together
from pipelines.report.sections.findings import governing
from pipelines.result import Result
from pipelines.strips.deck_strip import strip_decks
from pipelines.strips.sections import M_X, M_Y, frame

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


def widths_section(result: Result) -> str:
    """Back-figured widths: a table of the governing vehicle at every place, and maps."""
    if not result.widths:
        return ""
    intro = (
        "Width = moment or shear of the one-way beam on rigid lines over what the plate finds: the "
        "width that a strip would have to use for the plate's peak, and for its mean over three "
        "thicknesses. A code's width is the same resultant over the code's strip value, so it may "
        "be compared as it stands: wider than the width by the plate's peak (*) means short. Along "
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
            cells.append(f'<span class="short">{words} *</span>' if wide else words)
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
    read = readable(result.solver, deck.slab.thickness)
    found = []
    for strip in strip_decks(deck):
        at = frame(deck, strip, result.solver)
        for kind, sign in (("sagging", 1.0), ("hogging", -1.0)):
            one = governing(result.findings, kind, single=True)
            if one is None:
                continue
            vehicle = next(v for v in deck.traffic.vehicles if v.name == one.vehicle)
            extremes = envelopes.vehicles[vehicle.name].extremes
            component = M_X if strip.bars == "parallel" else M_Y
            values = (extremes.maximum if sign > 0 else extremes.minimum)[component]
            widths = width_field(deck, strip, vehicle, at.s, values, sign)
            # Near singular places the plate's moment is not read, nor is a width.
            widths[~read] = np.nan
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

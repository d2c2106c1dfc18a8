"""Section of the report on back-figured widths."""

from collections.abc import Sequence

from pipelines.analysis.result import Result
from pipelines.findings.back_figured_widths import KINDS, BackWidth, WidthField
from pipelines.numbers import number
from pipelines.report.document import (
    Block,
    Figure,
    Paragraph,
    Short,
    Strong,
    Table,
    Together,
    Words,
    lines,
    table,
)
from pipelines.report.drawings.cuts import field_map
from pipelines.report.drawings.widths import WidthMap, width_map

TITLES = {
    "sagging": "Sagging in the bays",
    "hogging": "Hogging over the lines, centre line",
    "face": "Hogging over the lines whose width is stated, where it counts",
    "over line": "Sagging over loaded lines",
    "transverse": "Moment across the strip, under wheels",
    "edge": "Edges along the strip",
    "end edge": "Edges at the strip's ends",
    "shear": "Shear near the lines",
}
BARS_WORDS = {"parallel": "bars along traffic", "across": "bars across traffic"}


def widths_section(result: Result, fields: Sequence[WidthField]) -> tuple[Block, ...]:
    """Back-figured widths: a table of the governing load at every place, and maps of fields."""
    if not result.widths:
        return ()
    intro = (
        "Width = moment or shear of the one-way beam on rigid lines over what the plate finds: the "
        "width that a strip would have to use for the plate's peak, and for its mean over three "
        "thicknesses. A code's width is the same resultant over the code's strip value, so it may "
        "be compared as it stands: wider than the width by the plate's peak (*) means short. Along "
        "traffic a width carries each axle of a vehicle alone, or all lanes of a load model with "
        "its distributed loads; across it the heaviest axle of each lane. Width of the plate: its "
        "own resultant over the whole line through the peak, over the peak; lines that yield move "
        "moment from hogging to sagging, so the two resultants differ."
    )
    parts: list[Block] = [Paragraph(intro)]
    for kind in KINDS:
        rows = governing_widths(result.widths, kind)
        if rows:
            parts.append(_width_table(kind, rows))
    return *parts, *(_map(result, field) for field in fields)


def governing_widths(rows: Sequence[BackWidth], kind: str) -> list[BackWidth]:
    """The load with the largest peak at each place."""
    found: dict[tuple[str, str, str], BackWidth] = {}
    for row in rows:
        key = (row.place, row.where, row.effect)
        if row.kind == kind and (key not in found or row.peak > found[key].peak):
            found[key] = row
    return list(found.values())


def _width_table(kind: str, rows: Sequence[BackWidth]) -> Table:
    codes = list(dict.fromkeys(name for row in rows for name, _ in row.codes))
    unit = "kN" if kind == "shear" else "kNm"
    heads: list[Words] = [
        "Place",
        "Load",
        f"Strip's resultant [{unit}]",
        f"Plate's resultant [{unit}]",
        f"Plate's peak [{unit}/m]",
        *(["At the centre line"] if kind == "face" else []),
        "Width by the peak [m]",
        "Width by the mean over 3 h [m]",
        "Width of the plate [m]",
        *(f"{name} [m]" for name in codes),
    ]
    body: list[list[Words]] = []
    for row in rows:
        known = dict(row.codes)
        cells: list[Words] = []
        for name in codes:
            if name not in known:
                cells.append("–")
                continue
            words = number(known[name])
            wide = known[name] > row.by_peak
            cells.append(Short(f"{words} *") if wide else words)
        beside = []
        if kind == "face":
            beside = ["–" if row.at_centre is None else number(1e-3 * row.at_centre)]
        where = [row.place, *([row.where] if row.where and kind != "hogging" else ())]
        body.append(
            [
                lines(map(Together, where)),
                row.vehicle,
                number(1e-3 * row.strip_resultant),
                number(1e-3 * row.plate_resultant),
                number(1e-3 * row.peak),
                *beside,
                Strong(number(row.by_peak)),
                number(row.by_mean),
                number(row.spread),
                *cells,
            ]
        )
    return table(
        f"{TITLES[kind]}: widths under the load with the largest peak, code widths beside them",
        heads,
        body,
        numeric=range(2, len(heads)),
        wide=(1,),
    )


def _map(result: Result, width_field: WidthField) -> Figure:
    """The map of a field of widths."""
    name = f"width-{width_field.bars}-{width_field.kind}"
    title = f"Width for {width_field.kind}, {BARS_WORDS[width_field.bars]}"
    caption = (
        f", {width_field.load}: the one-way beam's envelope at each station over the plate's "
        "envelope at each point, where the plate's moment is at least 0.4 of its largest. The "
        "ring marks the least."
    )
    if width_field.kind == "sagging":
        caption += (
            " Towards the lines the beam on rigid lines hardly sags, so that no width would do "
            "where a loaded line yields."
        )
    elif any(line.width > 0.0 for line in result.deck.lines):
        caption += " Over the widths of supports no hogging is read, nor a width."
    drawing = width_map(
        result.deck, field_map(result.solved), WidthMap(name, title, width_field.widths)
    )
    head = Strong(f"Back-figured width for {width_field.kind}")
    return Figure(f"plan-{name}", drawing, (head, caption))

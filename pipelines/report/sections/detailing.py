"""Sections of the report on where bars may stop and on the slab as built."""

import numpy as np

from pipelines.bars.checks.as_built import PanelCheck
from pipelines.bars.checks.curtailment import UBARS
from pipelines.bars.checks.free_edges import free_edges
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.design import Design
from pipelines.deck.words import line_title
from pipelines.numbers import number, rounded_up
from pipelines.report.document import Block, Figure, Paragraph, Short, Strong, Words, table
from pipelines.report.drawings.bars import layer_name, layer_title, stretches, zone_drawing
from pipelines.report.sections.bars_words import standard_of, traffic_words, used
from pipelines.result import Result
from pipelines.standards.resistance.bars import FACES, LAYERS, place_of


def detailing_section(result: Result) -> tuple[Block, ...]:
    """Zones in which bars may stop, and what runs through."""
    design = result.design
    if design is None:
        return ()
    bars = design.reinforcement.bars
    found = [standard.zones for standard in design.standards]
    parts: list[Block] = [
        Paragraph(
            "Zones by the ultimate bending envelope, widened along the bars by the tension shift; "
            "bars go on past a zone by their anchorage length. Least, distribution and crack steel "
            f"remain everywhere. Drawn: the larger need of the standards. {traffic_words(design)}"
        )
    ]
    parts += [
        Figure(
            f"plan-zones-{layer_name(bars, layer)}",
            zone_drawing(result.deck, bars, layer, found),
            (
                Strong(layer_title(bars, layer)),
                ": how many of the bars drawn bending needs. The double line shows how the bars "
                "run.",
            ),
        )
        for layer in LAYER_ROWS
    ]
    rows: list[list[Words]] = []
    for layer in LAYER_ROWS:
        for standard in design.standards:
            z = standard.zones
            rows.append(
                [
                    layer_title(bars, layer),
                    standard_of(standard),
                    f"{1e3 * z.shift[layer]:.0f}",
                    f"{1e3 * z.anchorage[layer]:.0f}",
                    stretches(z, layer, 1),
                    stretches(z, layer, 2),
                ]
            )
    head = [
        "Layer",
        "Standard",
        "Shift [mm]",
        "Anchorage [mm]",
        "Bars needed, without anchorage [m]",
        "Every bar needed, without anchorage [m]",
    ]
    parts += [
        table("Curtailment", head, rows, numeric=(2, 3), wide=(4, 5)),
        Paragraph(
            "Stretches along the bars, over the whole width of the deck, rounded outwards to "
            "50 mm; where one ends inside the slab the bars go on by their anchorage. Sources: "
            + "; ".join(str(standard.zones.source) for standard in design.standards)
            + ". Anchorage: straight bars at the design yield stress, poor bond where they lie "
            "high in the pour (EN 1992 8.4, IRC:112 15.2, AASHTO LRFD 5.10.8.2.1; from memory)."
        ),
        *_through(result, design),
        _ubars(result, design),
    ]
    return tuple(parts)


def _ubars(result: Result, design: Design) -> Block:
    """U-bars at every edge that no line supports."""
    bars = design.reinforcement.bars
    rows: list[list[Words]] = []
    for edge, directions in free_edges(result.deck):
        ending = "; ".join(
            f"{face} {bars.bars((face, direction))}, along {direction}"
            for direction in directions
            for face in FACES
        )
        for standard in design.standards:
            rows.append(
                [
                    line_title(result.deck, edge),
                    standard_of(standard),
                    ending,
                    f"{2e3 * bars.thickness:.0f}",
                    str(UBARS[standard.basis.materials.standard]),
                ]
            )
    if not rows:
        return Paragraph(
            "No free edges: every edge of the slab and of its openings lies on a supporting line."
        )
    head = ["Free edge", "Standard", "Bars that end there", "Legs ≥ 2 h [mm]", "Clause and mark"]
    caption = "Free edges: U-bars round the ends of both mats, and bars along the edge inside them"
    return table(caption, head, rows, numeric=(3,))


def _through(result: Result, design: Design) -> tuple[Block, ...]:
    rows: list[list[Words]] = []
    for line in dict.fromkeys(
        item.line for standard in design.standards for item in standard.through
    ):
        for standard in design.standards:
            for item in (item for item in standard.through if item.line == line):
                rows.append(
                    [
                        line_title(result.deck, line),
                        standard_of(standard),
                        item.direction,
                        "end there: anchored" if item.at_edge else "run through",
                        number(1e-3 * item.moment),
                    ]
                )
    if not rows:
        return ()
    head = ["Line", "Standard", "Bars along", "Bottom bars", "Sagging over it, ultimate [kNm/m]"]
    caption = "Bottom bars at flexible lines over which the slab sags"
    return (table(caption, head, rows, numeric=(4,), tall=len(rows) > 12),)


def asbuilt_section(result: Result) -> tuple[Block, ...]:
    """The as-built check of every panel with readings."""
    design = result.design
    if design is None or design.reinforcement.survey is None:
        return ()
    survey = design.reinforcement.survey
    parts: list[Block] = [
        Paragraph(
            f"As-built readings of {survey.path} ({survey.value} of repeated readings); what was "
            "not read comes from the drawing. Bending at the ultimate limit state, against the "
            f"largest demand in the panel. {traffic_words(design)} Deviations: + is how much "
            "worse the quantity alone may still get (less thickness or diameter, more cover or "
            "spacing), − by how much it would have to be better."
        )
    ]
    for standard in design.standards:
        rows = [_panel(check) for check in standard.panels]
        head = [
            "Panel",
            "Finding",
            *[f"{place_of(layer)}" for layer in LAYERS],
            "Differs from the drawing",
            "Largest further deviation that passes [mm]",
            "From the drawing",
        ]
        parts.append(
            table(
                f"As-built check, {standard_of(standard)}: utilisation as built (as drawn)",
                head,
                rows,
                numeric=range(2, 6),
                wide=(6, 7, 8),
            )
        )
    parts.append(_statistics(design))
    return tuple(parts)


def _panel(check: PanelCheck) -> list[Words]:
    finding = "passes" if check.passes else Short("falls short")
    shares = [
        (used(check.utilisation[layer]), f" ({rounded_up(check.drawing[layer])})")
        for layer in LAYERS
    ]
    deviations = "; ".join(
        f"{key} {'−' if value < 0 else '+'}{abs(1e3 * value):.1f}"
        if np.isfinite(value)
        else f"{key}: none passes"
        for key, value in check.deviations.items()
    )
    return [
        check.panel,
        finding,
        *shares,
        "; ".join(check.why) or "nothing by more than 3 %",
        deviations,
        "; ".join(check.as_built.from_drawing) or "nothing",
    ]


def _statistics(design: Design) -> Block:
    rows: list[list[Words]] = []
    for check in design.standards[0].panels:
        for key, s in check.as_built.statistics.items():
            rows.append(
                [
                    check.panel,
                    str(key),
                    str(s.n),
                    f"{1e3 * s.mean:.1f}",
                    "–" if s.n < 2 else f"{1e3 * s.deviation:.1f}",
                    f"{1e3 * s.least:.0f}",
                    f"{1e3 * s.most:.0f}",
                ]
            )
    head = ["Panel", "Quantity", "Readings", "Mean [mm]", "Deviation [mm]", "Least", "Most"]
    caption = "Statistics of the readings"
    return table(caption, head, rows, numeric=range(2, 7), tall=len(rows) > 12)

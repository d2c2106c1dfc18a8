"""Section of the report on where bars may stop."""

from pipelines.analysis.result import Result
from pipelines.bars.checks.curtailment import UBARS
from pipelines.bars.checks.free_edges import free_edges
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.design import Design
from pipelines.deck.words import line_title
from pipelines.numbers import number
from pipelines.report.document import Block, Figure, Paragraph, Strong, Words, table
from pipelines.report.drawings.bars import layer_name, layer_title, stretches, zone_drawing
from pipelines.report.sections.bar_schedule import schedule_blocks
from pipelines.report.sections.bars_words import standard_of, traffic_words
from pipelines.standards.resistance.bars import FACES


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
        *schedule_blocks(result),
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
    return (table(caption, head, rows, numeric=(4,)),)

"""The bar schedule in the report: what decides, the rest in bar_schedule.csv."""

from pipelines.analysis.result import Result
from pipelines.bars.demand.moments import LAYER_ROWS
from pipelines.bars.schedule.marks import SHAPES, STEEL, Mark, Schedule
from pipelines.bars.schedule.sprung import sprung_words
from pipelines.deck.words import line_title
from pipelines.numbers import as_given, number, rounded_up
from pipelines.report.document import Block, Figure, Paragraph, Strong, Words, table
from pipelines.report.drawings.bar_plans import bars_drawing
from pipelines.report.drawings.bars import layer_name, layer_title
from pipelines.standards.detailing.laps import APART, BENDS, LAPS
from pipelines.standards.resistance.bars import SlabBars

MOST = 40  # marks that the report shows, the heaviest


def schedule_blocks(result: Result) -> tuple[Block, ...]:
    """Marks, weights, laps and ends."""
    schedule = result.schedule
    if schedule is None:
        return ()
    bars = result.deck.required_reinforcement.bars
    return (
        Paragraph(
            (
                Strong("Bar schedule. "),
                f"{len(schedule.marks)} marks, {number(schedule.mass)} kg: "
                f"{number(schedule.mass / schedule.area)} kg/m² of slab and "
                f"{number(schedule.mass / schedule.volume)} kg/m³ of concrete, laps, U-bars and "
                "bars at edges and openings with them; chairs, links and bars of beams are not in "
                f"it. Bars go on to the cover; longer ones than {as_given(schedule.stock)} m are "
                f"lapped, every other bar {as_given(APART)} laps or more away, where the layer is "
                "little used in bending. On a curved deck bars across it keep their spacing at the "
                f"outer edge. {STEEL:.0f} kg/m³. {SHAPES}; {BENDS}. Each bar: bar_schedule.csv.",
                *(f" {words}" for words in sprung_words(schedule)),
            )
        ),
        *_plans(result, schedule, bars),
        _marks(result, schedule, bars),
        _weights(schedule),
        _laps(schedule, bars),
        *_ends(result, schedule, bars),
    )


def _plans(result: Result, schedule: Schedule, bars: SlabBars) -> list[Block]:
    return [
        Figure(
            f"plan-bars-{layer_name(bars, layer)}",
            bars_drawing(result.deck, schedule, layer),
            (
                Strong(layer_title(bars, layer)),
                ": one bar of those that lie over its range, with its mark, number and spacing. "
                "Edges and openings: bars.dxf.",
            ),
        )
        for layer in LAYER_ROWS
    ]


def mark_place(bars: SlabBars, mark: Mark) -> str:
    """Layer and use of a mark: "B1 mat", "T2 added A1", "U-bar"."""
    layers = " and ".join(layer_name(bars, layer) for layer in mark.layers)
    return f"{layers} {mark.use}"


def length_words(mark: Mark) -> str:
    """Cut length of a mark [mm], of a series from its longest to its shortest."""
    longest, shortest = max(mark.lengths), min(mark.lengths)
    to = "" if longest == shortest else f" to {1e3 * shortest:.0f}"
    return f"{1e3 * longest:.0f}{to}"


def _marks(result: Result, schedule: Schedule, bars: SlabBars) -> Block:
    shown = sorted(schedule.marks, key=lambda mark: mark.mass, reverse=True)[:MOST]
    rows: list[list[Words]] = []
    for mark in sorted(shown, key=lambda mark: mark.number):
        sizes = [f"{name} {1e3 * size:.0f}" for name, size in
                 (("a", mark.a), ("b", mark.b), ("c", mark.c)) if size is not None]  # fmt: skip
        if mark.radius is not None:
            low, high = (f"{1e3 * radius:.0f}" for radius in mark.radius)
            sizes.append(f"R {low}" if low == high else f"R {low} to {high}")
        of = mark.of
        if mark.use not in ("mat", "added"):
            of = line_title(result.deck, of)
        rows.append(
            [
                str(mark.number),
                mark_place(bars, mark),
                of,
                as_given(1e3 * mark.diameter),
                mark.shape,
                ", ".join(sizes),
                length_words(mark),
                str(len(mark.bars)),
                number(mark.mass),
            ]
        )
    head = ["Mark", "Layer and use", "Of", "Diameter [mm]", "Shape", "Sizes [mm]"]
    head += ["Cut length [mm]", "Number", "Mass [kg]"]
    caption = "Bar schedule"
    if len(shown) < len(schedule.marks):
        caption += f": the {MOST} heaviest of {len(schedule.marks)} marks"
    return table(caption, head, rows, numeric=(3, 6, 7, 8))


def _weights(schedule: Schedule) -> Block:
    rows: list[list[Words]] = [
        [f"{as_given(1e3 * diameter)} mm", number(mass)]
        for diameter, mass in schedule.by_diameter.items()
    ]
    return table(
        "Mass of bars by diameter",
        ["Diameter", "Mass [kg]"],
        [*rows, ["all", number(schedule.mass)]],
        numeric=(1,),
    )


def _laps(schedule: Schedule, bars: SlabBars) -> Block:
    rows: list[list[Words]] = []
    for laps in schedule.laps:
        used = "none lapped" if laps.highest is None else rounded_up(laps.highest)
        if laps.too_long:
            used += f"; {laps.too_long} longer than the stock without room: couplers"
        rows.append(
            [layer_name(bars, laps.layer), f"{1e3 * laps.length:.0f}", str(LAPS[laps.by]), used]
        )
    head = ["Layer", "Lap [mm]", "By", "Highest utilisation in bending at a lap"]
    return table("Laps, at the bars' design yield stress", head, rows, numeric=(1,))


def _ends(result: Result, schedule: Schedule, bars: SlabBars) -> tuple[Block, ...]:
    rows: list[list[Words]] = [
        [
            line_title(result.deck, end.edge),
            line_title(result.deck, end.line),
            layer_name(bars, end.layer),
            rounded_up(end.used),
            f"{1e3 * end.needed:.0f}",
            f"{1e3 * end.room:.0f}",
            "straight" if end.holds else "U-bars",
            str(end.source),
        ]
        for end in schedule.ends
    ]
    if not rows:
        return ()
    head = ["Edge", "First support", "Layer", "Used at its face", "Needed past it [mm]"]
    head += ["Room [mm]", "Ends", "Clause and mark"]
    caption = "Ends of bars past the face of the first support, with the tension shift"
    return (table(caption, head, rows, numeric=(3, 4, 5)),)

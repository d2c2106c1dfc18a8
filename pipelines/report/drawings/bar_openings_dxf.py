"""Details of openings in bars.dxf: trimmers, diagonals and U-bars around each, in plan."""

from textwrap import wrap

import numpy as np
import shapely
from ezdxf.layouts.layout import Modelspace

from pipelines.bars.schedule.marks import Mark, Schedule
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.report.drawings.bar_ranges import beside_ranges, counted
from pipelines.report.drawings.bars import layer_name
from pipelines.report.drawings.dxf_parts import dimension, flat, ring, text
from plate.arrays import Floats
from plate.geometry.outline import points_of

SCALE = 25
SIZE = 2.5 * SCALE  # of text, 2.5 mm as plotted
AROUND = 400.0  # of slab past the bars that is shown [mm]


def opening_details(space: Modelspace, deck: Deck, schedule: Schedule, top: float) -> float:
    """The details below `top`; where the next drawing may begin [mm]."""
    for number in range(1, len(deck.plan.openings) + 1):
        marks = [mark for mark in schedule.marks if mark.of == f"opening {number}"]
        if marks:
            top = _detail(space, deck, schedule, marks, number, top)
    return top


def _detail(
    space: Modelspace, deck: Deck, schedule: Schedule, marks: list[Mark], number: int, top: float
) -> float:
    title = f"BARS AT OPENING {number}, plan, plot at 1:{SCALE}; {TO_VERIFY}"
    text(space, title, (0.0, top), 1.4 * SIZE)
    paths = {mark.number: [flat(deck, bar.path) for bar in mark.bars] for mark in marks}
    points = np.concatenate([path for some in paths.values() for path in some])
    low, high = points.min(axis=0) - AROUND, points.max(axis=0) + AROUND
    shift = np.array([0.0, top - 5 * SIZE]) - np.array([low[0], high[1]])
    window = shapely.box(*low, *high)
    on = {"layer": "SLAB (mm)"}
    for edge in points_of(deck.plan.boundary):
        outline = shapely.LineString(flat(deck, np.vstack([edge, edge[:1]])))
        for part in shapely.get_parts(outline.intersection(window)):
            if isinstance(part, shapely.LineString):
                space.add_lwpolyline((np.array(part.coords) + shift).tolist(), dxfattribs=on)
    _size(space, flat(deck, points_of(deck.plan.openings)[number - 1]) + shift)
    taken: list[Floats] = []
    for mark in marks:
        look = {"layer": f"BARS ALONG {mark.layers[0][1].upper()} (mm)", "lineweight": 35}
        shown = paths[mark.number]
        if mark.use == "U-bar":  # one of those side by side
            shown = [flat(deck, some[len(some) // 2].path) for some in mark.ranges]
        for path in shown:
            space.add_lwpolyline((path + shift).tolist(), dxfattribs=look)
        _rings(space, deck, mark, shift, taken)
    level = top - 5 * SIZE - float(high[1] - low[1]) - 2 * SIZE
    bars = deck.required_reinforcement.bars
    ranges = {r.mark.number: r for r in beside_ranges(deck, schedule)}
    for mark in marks:
        layers = " and ".join(layer_name(bars, layer) for layer in mark.layers)
        ring(space, (SIZE, level + 0.5 * SIZE), mark.number, SIZE)
        words = f"{mark.use} {layers}: {counted(ranges[mark.number])}"
        text(space, words, (2.5 * SIZE, level), SIZE)
        level -= 2.1 * SIZE
    told = (
        CAUTION,
        "Marks of top bars stand at their left or lower ends, those of bottom bars at the others. "
        "Trimmers are set out from the opening, moved by up to a diameter where a bar of the mat "
        "lies in their place.",
    )
    for sentence in told:
        for words in wrap(sentence, 100):
            text(space, words, (0.0, level), SIZE)
            level -= 1.8 * SIZE
    return level - 4 * SIZE


def _size(space: Modelspace, opening: Floats) -> None:
    """Width and height of an opening."""
    (x0, y0), (x1, y1) = opening.min(axis=0).tolist(), opening.max(axis=0).tolist()
    y, x = y0 + 0.2 * (y1 - y0), x0 + 0.2 * (x1 - x0)
    dimension(space, (x0, y0), (x1, y0), (x0, y), SIZE)
    dimension(space, (x0, y0), (x0, y1), (x, y0), SIZE, upright=True)


def _rings(space: Modelspace, deck: Deck, mark: Mark, shift: Floats, taken: list[Floats]) -> None:
    """The mark past an end of a bar of every range: the left or lower end of top bars, the other
    of bottom bars; of U-bars past the ends of their legs; further on where another stands there
    already."""
    for some in mark.ranges:
        bar = some[len(some) // 2] if mark.use == "U-bar" else some[-1]
        bend, legs = flat(deck, bar.path)[[0, -1]] + shift
        first, other = sorted((bend, legs), key=tuple)
        end, far = (first, other) if mark.layers[0][0] == "top" else (other, first)
        if mark.use == "U-bar":
            end, far = legs, bend
        out = (end - far) / np.linalg.norm(end - far)
        at = end + 1.2 * SIZE * out
        while any(np.hypot(*(at - other)) < 1.8 * SIZE for other in taken):
            at = at + 0.6 * SIZE * out
        taken.append(at)
        ring(space, (float(at[0]), float(at[1])), mark.number, SIZE)

"""Details of openings in bars.dxf: trimmers, diagonals and U-bars around each, in plan."""

from textwrap import wrap

import numpy as np
import shapely
from ezdxf.layouts.layout import Modelspace
from shapely import affinity

from pipelines.bars.schedule.marks import Mark, Schedule
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.report.drawings.bar_ranges import beside_ranges, counted
from pipelines.report.drawings.bars import layer_name
from pipelines.report.drawings.dxf_parts import dimension, flat, ring, text
from pipelines.report.drawings.ground_dxf import opening_words
from pipelines.report.drawings.words_dxf import Room
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
    drawn = {mark.number: [flat(deck, bar.path) for bar in mark.bars] for mark in marks}
    points = np.concatenate([path for some in drawn.values() for path in some])
    low, high = points.min(axis=0) - AROUND, points.max(axis=0) + AROUND
    shift = np.array([0.0, top - 5 * SIZE]) - np.array([low[0], high[1]])
    window = shapely.box(*low, *high)
    on = {"layer": "SLAB (mm)"}
    edges: list[shapely.LineString] = []
    for edge in points_of(deck.plan.boundary):
        outline = shapely.LineString(flat(deck, np.vstack([edge, edge[:1]])))
        for part in shapely.get_parts(outline.intersection(window)):
            if isinstance(part, shapely.LineString):
                space.add_lwpolyline((np.array(part.coords) + shift).tolist(), dxfattribs=on)
                edges.append(part)
    around = flat(deck, points_of(deck.plan.openings)[number - 1]) + shift
    opening = shapely.Polygon(around)
    _size(space, around)
    paths: list[Floats] = []
    for mark in marks:
        look = {"layer": f"BARS ALONG {mark.layers[0][1].upper()} (mm)"}
        shown = [path + shift for path in drawn[mark.number]]
        if mark.use == "U-bar":  # one of those side by side
            shown = [flat(deck, some[len(some) // 2].path) + shift for some in mark.ranges]
        for path in shown:
            space.add_lwpolyline(path.tolist(), dxfattribs=look | {"lineweight": 35})
            _ends(space, path, look)
        paths += shown
    bars_drawn = shapely.union_all([shapely.LineString(path) for path in paths])
    heavy = shapely.union_all([bars_drawn, *(affinity.translate(p, *shift) for p in edges)])
    room = Room(SIZE, [opening], heavy=heavy, thin=shapely.LineString())
    for mark in marks:
        _rings(space, deck, mark, shift, room)
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
        opening_words(number, deck.plan.openings[number - 1]),
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


def _ends(space: Modelspace, path: Floats, look: dict[str, str]) -> None:
    """Strokes at both ends of a bar: shorter ones lie over longer ones."""
    along = (path[-1] - path[0]) / np.linalg.norm(path[-1] - path[0])
    stroke = 0.25 * SIZE * (along + np.array([-along[1], along[0]]))
    for end in (path[0], path[-1]):
        space.add_lwpolyline([(end - stroke).tolist(), (end + stroke).tolist()], dxfattribs=look)


def _rings(space: Modelspace, deck: Deck, mark: Mark, shift: Floats, room: Room) -> None:
    """The mark past an end of a bar of every range: the left or lower end of top bars, the other
    of bottom bars; of U-bars past the ends of their legs."""
    for some in mark.ranges:
        bar = some[len(some) // 2] if mark.use == "U-bar" else some[-1]
        bend, legs = flat(deck, bar.path)[[0, -1]] + shift
        first, other = sorted((bend, legs), key=tuple)
        end, far = (first, other) if mark.layers[0][0] == "top" else (other, first)
        if mark.use == "U-bar":
            end, far = legs, bend
        room.ring(space, end, (end - far) / np.linalg.norm(end - far), mark.number)

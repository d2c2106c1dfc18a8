"""Where to measure in a panel: a plan of the deck with the panel and its numbered places."""

from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely

from pipelines.bars.inspection import PanelSheet
from pipelines.deck.deck import Deck
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import canvas
from pipelines.report.drawings.canvas import SMALL, Paper, draw
from pipelines.report.drawings.colours import LOAD, SLAB
from pipelines.report.drawings.plan import (
    closed,
    faint_lines,
    frame,
    line_names,
    line_path,
    outline,
    traced,
)
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, points_of, region

MARK = 4.0  # size of the mark of a place [point]
LETTER = 0.65  # width of a letter, in heights
Beside = tuple[float, float, Literal["start", "middle", "end"]]
# Sides of a place where its name may stand: shift to its base line [point], and how it runs.
SIDES: tuple[Beside, ...] = (
    (4.0, -3.0, "start"),
    (4.0, 10.0, "start"),
    (-4.0, -3.0, "end"),
    (-4.0, 10.0, "end"),
    (0.0, -4.0, "middle"),
    (0.0, 11.0, "middle"),
)
# Where it stands off, with a thin line to the place, if it is clear on none of these.
OFF: tuple[Beside, ...] = (
    (13.0, -13.0, "start"),
    (13.0, 20.0, "start"),
    (-13.0, -13.0, "end"),
    (-13.0, 20.0, "end"),
    (0.0, -17.0, "middle"),
    (0.0, 24.0, "middle"),
)
TALLEST = 160.0  # so that the page has room for the readings [point]


def inspection_plan(
    deck: Deck, sheet: PanelSheet, extent: tuple[tuple[float, float], tuple[float, float]]
) -> Drawing:
    """extent : ranges of the panel's stations and offsets [m]."""
    slab = closed(deck, deck.plan.outline)
    room = canvas(slab, (45.0, 20.0, 14.0, 40.0), 0.9, TALLEST)
    (u0, u1), (y0, y1) = extent
    corners = deck.plan.at(np.array([u0, u1, u1, u0]), np.array([y0, y0, y1, y1]))
    panel = shapely.Polygon(corners) & region(deck.plan, DRAWN)
    parts = [part for part in shapely.get_parts(panel) if isinstance(part, shapely.Polygon)]

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        for part in parts:
            ring = closed(deck, np.array(part.exterior.coords)[:-1])
            axes.path(ring, closed=True, fill=SLAB, ink="none")
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.45, 0.45))
        places = [deck.plan.alignment.to_cartesian(np.array(one.at)) for one in sheet.places]
        marks = [_box(axes.at(at), (-MARK / 2, MARK / 2), MARK / 2, MARK) for at in places]
        rings = (deck.plan.outline, *points_of(deck.plan.openings))
        drawn = [closed(deck, ring) for ring in rings]
        drawn += [traced(deck, line_path(deck, line)) for line in deck.lines]
        lines = [shapely.LineString([axes.at(at) for at in path]) for path in drawn]
        taken: list[shapely.Geometry] = [*marks, *lines]
        for at, place in zip(places, sheet.places, strict=True):
            axes.mark(at, "o", MARK, fill=LOAD, ink="none")
            words = f"P{place.number}"
            side = _beside(axes.at(at), words, taken, marks)
            x, y, along = side
            if side in OFF:
                way = shapely.shortest_line(shapely.Point(axes.at(at)), taken[-1])
                paper.path(np.array(way.coords), ink=LOAD, width=0.5)
            axes.text(at, words, (x, y), size=SMALL, along=along, level="base", ink=LOAD, halo=True)

    name = f"plan-inspection-{sheet.panel.replace('/', '-').replace(' ', '-')}"
    return draw(name, f"Places to measure at in {sheet.panel}.", room.size, paint)


def _beside(
    at: Floats, words: str, taken: list[shapely.Geometry], marks: Sequence[shapely.Polygon]
) -> Beside:
    """The first side of a place on the sheet where its name stands clear of lines, places and names
    so far, and nearer to its own mark than to another's; else one where it stands off; else the
    first that is clear of places and names, or of all. Added to what is taken."""
    wide = LETTER * SMALL * len(words)
    rooms = {}
    for side in (*SIDES, *OFF):
        x, y, along = side
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[along] * wide
        rooms[side] = _box(at, (left, left + wide), y, SMALL)
    own = min(marks, key=lambda mark: float(mark.distance(shapely.Point(at))))
    others = [one for one in taken if isinstance(one, shapely.Polygon) and one is not own]

    def clear(room: shapely.Geometry, of: Sequence[shapely.Geometry]) -> bool:
        return not any(room.intersects(one) for one in of)

    def nearest(room: shapely.Polygon) -> bool:
        return all(room.distance(own) < room.distance(one) for one in marks if one is not own)

    def led(room: shapely.Polygon) -> bool:
        return clear(shapely.shortest_line(shapely.Point(at), room), others)

    found = [
        *(s for s in SIDES if clear(rooms[s], taken) and nearest(rooms[s])),
        *(s for s in OFF if clear(rooms[s], taken) and led(rooms[s])),
        *(s for s in SIDES if clear(rooms[s], [*others, own])),
        SIDES[0],
    ][0]
    taken.append(rooms[found])
    return found


def _box(at: Floats, reach: tuple[float, float], base: float, high: float) -> shapely.Polygon:
    """Beside a place on the sheet, from its base line up [point]."""
    x, y = at.tolist()
    return shapely.box(x + reach[0], y + base - high, x + reach[1], y + base)

"""Plans of the bars in bars.dxf: each layer with marks and ranges, and what lies at edges.

Of bars side by side one is drawn, with a dot on the line over whose length the others lie; pieces
that are lapped are drawn beside each other in turn, with strokes at their ends.
"""

from textwrap import wrap

import numpy as np
import shapely
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.layouts.layout import Modelspace

from pipelines.bars.schedule.marks import Schedule
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title
from pipelines.numbers import as_given
from pipelines.report.drawings.bar_ranges import DrawnRange, beside_ranges, counted, layer_ranges
from pipelines.report.drawings.bars import layer_name, layer_title, step_words
from pipelines.report.drawings.dxf_parts import (
    MM,
    PLAN,
    Ground,
    arc_words,
    draw_ground,
    ground_of,
    ring,
    sheet,
    text,
)
from pipelines.standards.resistance.bars import MIDDLE, Layer
from plate.arrays import Floats

GAP = 0.35 * PLAN  # of the pieces of a line that are drawn beside each other
LETTER = 0.7 * PLAN  # width, no less than of any
FAR = 100 * PLAN  # beyond all that a plan may need
LINE = 1.8 * PLAN  # from one line of words to the next
SIDES = np.array([-1.0, -1.0, 1.0, 1.0])  # of the corners of a strip of words
# Where words are tried, in lines across them.
ROWS = (0.0, 1.5, -1.5, 2.5, -2.5, 3.5, -3.5, 5.0, -5.0, 6.5, -6.5)


def layer_plan(
    space: Modelspace, deck: Deck, schedule: Schedule, layer: Layer, top: float
) -> float:
    """The plan of one layer below `top`; where the next drawing may begin [mm]."""
    bars = deck.required_reinforcement.bars
    title = f"BARS OF LAYER {layer_title(bars, layer)}, plan, plot at 1:100; {TO_VERIFY}"
    ground = _begin(space, deck, title, top)
    # title and dimensions with all that is above, names of lines and notes with all below
    left, right = ground.x_min - FAR, ground.x_max + FAR
    taken = [
        shapely.box(left, ground.above + 1.5 * PLAN, right, top + FAR),
        shapely.box(left, ground.below - FAR, right, ground.below - 0.4 * PLAN),
    ]
    for one in layer_ranges(deck, schedule, layer):
        on = f"BARS ALONG {layer[1].upper()} (mm)"
        _range(space, one, ground.shift, on, taken)
    laps = next(laps for laps in schedule.laps if laps.layer == layer)
    cover = as_given(MM * max(bars.mat(face).cover for face in ("top", "bottom")))
    words = [
        CAUTION,
        f"Cover {as_given(MM * bars.mat(layer[0]).cover_to(layer[1]))} mm to this layer, {cover} mm"
        " at the ends of bars. One bar is drawn of those that lie over its range: number x diameter"
        "@spacing, L cut length, mark in a ring. U-bars and edge bars: plan of edges; trimmers: "
        "details of openings.",
    ]
    words += [*_added(deck, layer), *step_words(deck), *arc_words(deck)]
    if laps.highest is not None:
        words.append(
            f"Laps {MM * laps.length:.0f} mm or more as drawn, those of every other line shifted; "
            f"utilisation in bending at laps up to {laps.highest:.2f}."
        )
    return _end(space, ground, words, ground.below - 4 * PLAN)


def _added(deck: Deck, layer: Layer) -> list[str]:
    """In which gaps of the mat each set of added bars lies."""
    reinforcement = deck.required_reinforcement
    mat = reinforcement.bars.bars(layer)
    found = []
    for one in reinforcement.added:
        if one.layer != layer:
            continue
        every, share = round(one.bars.spacing / mat.spacing), one.bars.place % 1.0
        gap = "every gap" if every == 1 else f"one gap of {every}"
        where = "in the middle of" if share == MIDDLE else f"{share:g} of the width into"
        found.append(f"{one.mark}, {one.bars}: {where} {gap} between the bars of the mat.")
    return found


def edges_plan(space: Modelspace, deck: Deck, schedule: Schedule, top: float) -> float:
    """The plan of U-bars and edge bars; the same. Openings have details of their own."""
    found = [r for r in beside_ranges(deck, schedule) if r.mark.of in deck.plan.edges]
    if not found:
        return top
    ground = _begin(
        space, deck, f"U-BARS AND BARS ALONG EDGES, plan, plot at 1:100; {TO_VERIFY}", top
    )
    for one in found:
        layer = f"BARS ALONG {one.mark.layers[0][1].upper()} (mm)"
        _range(space, one, ground.shift, layer, None)
    low = ground.below - 4 * PLAN
    bars = deck.required_reinforcement.bars
    for place in dict.fromkeys(one.mark.of for one in found):
        marks = {one.mark.number: one for one in found if one.mark.of == place}
        _name_edge(space, deck, place, list(marks), ground)
        text(space, f"{line_title(deck, place)}:", (ground.x_min, low), PLAN)
        at = ground.x_min + 22 * PLAN
        for one in marks.values():
            mark = one.mark
            layers = " and ".join(layer_name(bars, layer) for layer in mark.layers)
            ring(space, (at, low + 0.5 * PLAN), mark.number, PLAN)
            words = f"{mark.use} {layers}: {counted(one)}"
            text(space, words, (at + 1.5 * PLAN, low), PLAN)
            low -= 2.1 * PLAN
    return _end(space, ground, [CAUTION], low - LINE)


def _begin(space: Modelspace, deck: Deck, title: str, top: float) -> Ground:
    ground = ground_of(deck, top)
    text(space, title, (ground.x_min, top), 1.4 * PLAN)
    draw_ground(space, deck, ground)
    return ground


def _end(space: Modelspace, ground: Ground, sentences: list[str], low: float) -> float:
    for sentence in sentences:
        for words in wrap(sentence, 100):
            text(space, words, (ground.x_min, low), PLAN)
            low -= LINE
    return low - 4 * PLAN


def _range(
    space: Modelspace,
    one: DrawnRange,
    shift: Floats,
    layer: str,
    taken: list[shapely.Polygon] | None,
) -> None:
    """A bar with the line over which it stands for others; taken : where words stand already, None
    without words."""
    path, middle = sheet(one.bar) + shift, sheet(one.middle) + shift
    along = (path[-1] - path[0]) / np.linalg.norm(path[-1] - path[0])
    if along[0] < -1e-9 or (abs(along[0]) < 1e-9 and along[1] < 0.0):
        along = -along
    aside = np.array([-along[1], along[0]])
    beside = np.zeros(2) if one.even else -GAP * aside
    path, middle = path + beside, middle + beside
    heavy = {"layer": layer, "lineweight": 50}
    space.add_lwpolyline(path.tolist(), dxfattribs=heavy)
    for end in (path[0], path[-1]):
        stroke = 0.25 * PLAN * (along + aside)
        space.add_lwpolyline([(end - stroke).tolist(), (end + stroke).tolist()], dxfattribs=heavy)
    thin = {"layer": "DIMENSIONS (mm)"}
    if one.reach is not None:
        reach = sheet(one.reach) + shift
        space.add_lwpolyline(reach.tolist(), dxfattribs=thin)
        for end in (reach[0], reach[-1]):
            bar = 0.5 * PLAN * along
            space.add_lwpolyline([(end - bar).tolist(), (end + bar).tolist()], dxfattribs=thin)
    dot = space.add_hatch(color=256, dxfattribs={"layer": "TEXT"}).paths.add_edge_path()
    dot.add_ellipse(tuple(middle.tolist()), (0.16 * PLAN, 0.0), ratio=1.0)
    if taken is None:
        return
    # below a piece that is drawn below its line, longer words towards the end of the bar
    side = 1.0 if one.even else -1.0
    # back over the range where they would leave the bar
    need = 2.6 * PLAN + LETTER * max(map(len, one.words))
    room = float(max((end - middle) @ along for end in path))
    if abs(along[0]) < 0.5 and np.hypot(*(path[-1] - path[0])) < need:
        # words longer than bars that run up the sheet: level, past the end of their range
        reach = middle[None] if one.reach is None else sheet(one.reach) + shift
        x = float(reach[:, 0].max())
        at, level = np.array([x + 2.0 * PLAN, float(middle[1])]), np.array([1.0, 0.0])
        _words(space, one, at, level, middle, taken)
        return
    at = middle + (1.3 * PLAN + min(room - need, 0.0)) * along + side * 1.8 * PLAN * aside
    _words(space, one, at, along, middle, taken)


def _words(
    space: Modelspace,
    one: DrawnRange,
    at: Floats,
    along: Floats,
    of: Floats,
    taken: list[shapely.Polygon],
) -> None:
    """The mark in a ring, and number and length past it, clear of words that stand there already;
    moved for that they have a line to the dot `of` their range."""
    aside = np.array([-along[1], along[0]])
    ends = np.array([-1.0, 1.3 + 0.9 * LETTER / PLAN * max(map(len, one.words))])
    corners = PLAN * (ends[[0, 1, 1, 0], None] * along + 1.3 * SIDES[:, None] * aside)
    for step in ROWS:
        moved = at + step * LINE * aside
        room = shapely.Polygon(moved + corners)
        if not any(room.intersects(other) for other in taken):
            break
    else:
        moved, room = at, shapely.Polygon(at + corners)
    taken.append(room)
    if np.abs(moved - at).max() > 0.0:
        thin = {"layer": "DIMENSIONS (mm)"}
        end = moved - 0.8 * PLAN * (moved - of) / np.linalg.norm(moved - of)
        space.add_line(of.tolist(), end.tolist(), dxfattribs=thin)
    at = moved
    ring(space, (float(at[0]), float(at[1])), one.mark.number, PLAN)
    turn = float(np.degrees(np.arctan2(along[1], along[0])))
    for words, up in zip(one.words, (0.7, -0.7), strict=True):
        start = at + 1.3 * PLAN * along + up * PLAN * aside
        text(space, words, (float(start[0]), float(start[1])), PLAN, Align.MIDDLE_LEFT, turn)


def _name_edge(space: Modelspace, deck: Deck, edge: str, marks: list[int], ground: Ground) -> None:
    """The name of an edge within the slab beside it, and its marks below the name."""
    ends = deck.plan.alignment.to_cartesian(deck.plan.lines[edge].path)
    middle = sheet(ends[len(ends) // 2] if len(ends) > 2 else ends.mean(axis=0))
    inner = ground.edges[0].mean(axis=0) - middle
    inner /= max(float(np.linalg.norm(inner)), 1.0)
    # past the legs of U-bars and half of the words
    at = middle + (4.0 + 5.0 * abs(inner[0])) * PLAN * inner
    x, y = (float(v) for v in at + ground.shift)
    # and beside the one that is drawn in the middle of the edge
    x += (1.0 - abs(float(inner[0]))) * (len(marks) + 3.0) * PLAN
    text(space, line_title(deck, edge), (x, y + 1.1 * PLAN), PLAN, Align.MIDDLE_CENTER)
    # two by two beside edges that run up the sheet: opposite ones may be near
    row = 2 if abs(float(inner[0])) > 0.5 else len(marks)
    for k, number in enumerate(marks):
        off = 2.0 * (k % row) - min(row, len(marks)) + 1.0
        ring(space, (x + off * PLAN, y - (0.5 + 2.0 * (k // row)) * PLAN), number, PLAN)

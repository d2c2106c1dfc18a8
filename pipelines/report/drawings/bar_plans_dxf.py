"""Plans of the bars in bars.dxf: each layer with marks and ranges, and what lies at edges.

Of bars side by side one is drawn, with a dot on the line over whose length the others lie; pieces
that are lapped are drawn beside each other in turn, with strokes at their ends.
"""

from itertools import product
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

# In heights of text.
GAP = 0.35  # of the pieces of a line that are drawn beside each other
LETTER = 0.85  # width of most, as printed
FAR = 100.0  # beyond all that a plan may need
LINE = 1.8  # from one line of words to the next
SIDES = np.array([-1.0, -1.0, 1.0, 1.0])  # of the corners of a strip of words
# Where words are tried, in lines across them and in heights of text along them; what counts a move
# of one height, as much of a bar or an edge that they cover, and of a thin line.
ROWS = (0.0, 1.5, -1.5, 2.5, -2.5, 3.5, -3.5, 5.0, -5.0, 6.5, -6.5)
ALONG = (0.0, -3.0, 3.0, -6.0, 6.0, -9.0, 9.0, -12.0, 12.0)
MOVED, COVERED, CROSSED = 0.3, 2.0, 0.5


def layer_plan(
    space: Modelspace, deck: Deck, schedule: Schedule, layer: Layer, top: float
) -> float:
    """The plan of one layer below `top`; where the next drawing may begin [mm]."""
    bars = deck.required_reinforcement.bars
    ground = _begin(space, deck, f"BARS OF LAYER {layer_title(bars, layer)}", top)
    size = ground.size
    # title and dimensions with all that is above, names of lines and notes with all below
    far = FAR * size
    left, right = ground.x_min - far, ground.x_max + far
    taken = [
        shapely.box(left, ground.above + 1.5 * size, right, top + far),
        shapely.box(left, ground.below - far, right, ground.below - 0.4 * size),
    ]
    ranges = list(layer_ranges(deck, schedule, layer))
    on = f"BARS ALONG {layer[1].upper()} (mm)"
    drawn = [_range(space, one, ground, on) for one in ranges]
    edges = [shapely.LinearRing(edge + ground.shift) for edge in ground.edges]
    heavy = shapely.union_all([*edges, *(bar for bar, _ in drawn)])
    thin = shapely.union_all([reach for _, reach in drawn])
    for one in ranges:
        _mark(space, one, ground, taken, (heavy, thin))
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
    return _end(space, ground, words, ground.below - 4 * size)


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
    ground = _begin(space, deck, "U-BARS AND BARS ALONG EDGES", top)
    size = ground.size
    for one in found:
        layer = f"BARS ALONG {one.mark.layers[0][1].upper()} (mm)"
        _range(space, one, ground, layer)
    low = ground.below - 4 * size
    bars = deck.required_reinforcement.bars
    for place in dict.fromkeys(one.mark.of for one in found):
        marks = {one.mark.number: one for one in found if one.mark.of == place}
        _name_edge(space, deck, place, list(marks), ground)
        text(space, f"{line_title(deck, place)}:", (ground.x_min, low), size)
        at = ground.x_min + 22 * size
        for one in marks.values():
            mark = one.mark
            layers = " and ".join(layer_name(bars, layer) for layer in mark.layers)
            ring(space, (at, low + 0.5 * size), mark.number, size)
            words = f"{mark.use} {layers}: {counted(one)}"
            text(space, words, (at + 1.5 * size, low), size)
            low -= 2.1 * size
    return _end(space, ground, [CAUTION], low - LINE * size)


def _begin(space: Modelspace, deck: Deck, title: str, top: float) -> Ground:
    ground = ground_of(deck, top)
    title += f", plan, plot at 1:{ground.scale}; {TO_VERIFY}"
    text(space, title, (ground.x_min, top), 1.4 * ground.size)
    draw_ground(space, deck, ground)
    return ground


def _end(space: Modelspace, ground: Ground, sentences: list[str], low: float) -> float:
    for sentence in sentences:
        for words in wrap(sentence, 100):
            text(space, words, (ground.x_min, low), ground.size)
            low -= LINE * ground.size
    return low - 4 * ground.size


def _on_sheet(one: DrawnRange, ground: Ground) -> tuple[Floats, Floats, Floats, Floats]:
    """A bar (n, 2) and where its range crosses it (2,), its direction to the right or up the sheet
    and the one across; a piece in turn lies a little beside its line."""
    path, middle = sheet(one.bar) + ground.shift, sheet(one.middle) + ground.shift
    along = (path[-1] - path[0]) / np.linalg.norm(path[-1] - path[0])
    if along[0] < -1e-9 or (abs(along[0]) < 1e-9 and along[1] < 0.0):
        along = -along
    aside = np.array([-along[1], along[0]])
    beside = np.zeros(2) if one.even else -GAP * ground.size * aside
    return path + beside, middle + beside, along, aside


def _range(
    space: Modelspace, one: DrawnRange, ground: Ground, layer: str
) -> tuple[shapely.LineString, shapely.LineString]:
    """A bar with the line over which it stands for others, which is empty for one alone; both."""
    path, middle, along, aside = _on_sheet(one, ground)
    size = ground.size
    over = shapely.LineString()
    heavy = {"layer": layer, "lineweight": 50}
    space.add_lwpolyline(path.tolist(), dxfattribs=heavy)
    for end in (path[0], path[-1]):
        stroke = 0.25 * size * (along + aside)
        space.add_lwpolyline([(end - stroke).tolist(), (end + stroke).tolist()], dxfattribs=heavy)
    thin = {"layer": "DIMENSIONS (mm)"}
    if one.reach is not None:
        reach = sheet(one.reach) + ground.shift
        over = shapely.LineString(reach)
        space.add_lwpolyline(reach.tolist(), dxfattribs=thin)
        for end in (reach[0], reach[-1]):
            bar = 0.5 * size * along
            space.add_lwpolyline([(end - bar).tolist(), (end + bar).tolist()], dxfattribs=thin)
    dot = space.add_hatch(color=256, dxfattribs={"layer": "TEXT"}).paths.add_edge_path()
    dot.add_ellipse(tuple(middle.tolist()), (0.16 * size, 0.0), ratio=1.0)
    return shapely.LineString(path), over


def _mark(
    space: Modelspace,
    one: DrawnRange,
    ground: Ground,
    taken: list[shapely.Polygon],
    lines: tuple[shapely.Geometry, shapely.Geometry],
) -> None:
    """Mark, number and length of the bars of a range, beside the one that is drawn; taken : where
    words stand already; lines : heavy and thin ones that they should
    not cover."""
    path, middle, along, aside = _on_sheet(one, ground)
    size = ground.size
    # below a piece that is drawn below its line, longer words towards the end of the bar
    side = 1.0 if one.even else -1.0
    # back over the range where they would leave the bar
    need = (2.6 + LETTER * max(map(len, one.words))) * size
    room = float(max((end - middle) @ along for end in path))
    at = middle + (1.3 * size + min(room - need, 0.0)) * along + side * 1.8 * size * aside
    if abs(along[0]) < 0.5 and np.hypot(*(path[-1] - path[0])) < need:
        # words longer than bars that run up the sheet: level, past the end of their range
        reach = middle[None] if one.reach is None else sheet(one.reach) + ground.shift
        x = float(reach[:, 0].max())
        at, along = np.array([x + 2.0 * size, float(middle[1])]), np.array([1.0, 0.0])
    at = _free(one, at, along, size, taken, lines)
    if np.abs(at - middle).max() > 6.0 * size:
        thin = {"layer": "DIMENSIONS (mm)"}
        end = at - 0.8 * size * (at - middle) / np.linalg.norm(at - middle)
        space.add_line(middle.tolist(), end.tolist(), dxfattribs=thin)
    ring(space, (float(at[0]), float(at[1])), one.mark.number, size)
    turn = float(np.degrees(np.arctan2(along[1], along[0])))
    aside = np.array([-along[1], along[0]])
    for words, up in zip(one.words, (0.7, -0.7), strict=True):
        start = at + 1.3 * size * along + up * size * aside
        text(space, words, (float(start[0]), float(start[1])), size, Align.MIDDLE_LEFT, turn)


def _free(
    one: DrawnRange,
    at: Floats,
    along: Floats,
    size: float,
    taken: list[shapely.Polygon],
    lines: tuple[shapely.Geometry, shapely.Geometry],
) -> Floats:
    """Where the mark of a range stands, `at` or moved from there: clear of other words, if such a
    place is near, and of lines as far as that is worth the way; it is taken then."""
    aside = np.array([-along[1], along[0]])
    ends = np.array([-1.0, 1.5 + LETTER * max(map(len, one.words))])
    corners = size * (ends[[0, 1, 1, 0], None] * along + 1.3 * SIDES[:, None] * aside)
    found: list[tuple[float, float, Floats]] = []
    for row, by in product(ROWS, ALONG):
        moved = at + size * (LINE * row * aside + by * along)
        room = shapely.Polygon(moved + corners)
        on_words = sum(room.intersection(other).area for other in taken) / size**2
        heavy, thin = (room.intersection(line).length / size for line in lines)
        moved_by = MOVED * float(np.hypot(LINE * row, by))
        cost = COVERED * heavy + CROSSED * thin + moved_by
        found.append((round(on_words, 6), round(cost, 6), moved))
    _, _, best = min(found, key=lambda one: one[:2])
    taken.append(shapely.Polygon(best + corners))
    return best


def _name_edge(space: Modelspace, deck: Deck, edge: str, marks: list[int], ground: Ground) -> None:
    """The name of an edge within the slab beside it, and its marks below the name."""
    size = ground.size
    ends = deck.plan.alignment.to_cartesian(deck.plan.lines[edge].path)
    middle = sheet(ends[len(ends) // 2] if len(ends) > 2 else ends.mean(axis=0))
    inner = ground.edges[0].mean(axis=0) - middle
    inner /= max(float(np.linalg.norm(inner)), 1.0)
    # past the legs of U-bars and half of the words
    at = middle + (4.0 + 5.0 * abs(inner[0])) * size * inner
    x, y = (float(v) for v in at + ground.shift)
    # and beside the one that is drawn in the middle of the edge
    x += (1.0 - abs(float(inner[0]))) * (len(marks) + 3.0) * size
    text(space, line_title(deck, edge), (x, y + 1.1 * size), size, Align.MIDDLE_CENTER)
    # two by two beside edges that run up the sheet: opposite ones may be near
    row = 2 if abs(float(inner[0])) > 0.5 else len(marks)
    for k, number in enumerate(marks):
        off = 2.0 * (k % row) - min(row, len(marks)) + 1.0
        ring(space, (x + off * size, y - (0.5 + 2.0 * (k // row)) * size), number, size)

"""Plans of the bars in bars.dxf: each layer with marks and ranges, and what lies at edges.

Of bars side by side one is drawn, with a dot on the line over whose length the others lie; pieces
that are lapped are drawn beside each other in turn, with strokes at their ends.
"""

from collections.abc import Sequence
from textwrap import wrap

import numpy as np
import shapely
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.layouts.layout import Modelspace

from pipelines.bars.schedule.marks import Schedule
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.deck.words import named_title
from pipelines.numbers import as_given, length
from pipelines.report.drawings.bar_ranges import (
    DrawnRange,
    beside_ranges,
    counted,
    is_laid,
    layer_ranges,
)
from pipelines.report.drawings.bars import layer_name, layer_title, step_words
from pipelines.report.drawings.dxf_parts import (
    MM,
    flat,
    ring,
    sheet,
    text,
)
from pipelines.report.drawings.ground_dxf import (
    Ground,
    draw_ground,
    ground_of,
    line_on,
    set_out_words,
)
from pipelines.report.drawings.words_dxf import LINE, Room
from pipelines.standards.resistance.bars import MIDDLE, Layer
from plate.arrays import Floats

# In heights of text.
GAP = 0.35  # of the pieces of a line that are drawn beside each other
LETTER = 0.85  # width of most, as printed
EVERY = 12.0  # from one mark of single U-bars that are alike to the next
FAR = 100.0  # beyond all that a plan may need
SIDES = np.array([-1.0, -1.0, 1.0, 1.0])  # of the corners of a strip of words


def layer_plan(
    space: Modelspace, deck: Deck, schedule: Schedule, layer: Layer, top: float
) -> float:
    """The plan of one layer below `top`; where the next drawing may begin [mm]."""
    bars = deck.required_reinforcement.bars
    title = f"BARS OF LAYER {layer_title(bars, layer)}"
    ground, taken = _begin(space, deck, title, top)
    ranges = list(layer_ranges(deck, schedule, layer))
    on = f"BARS ALONG {layer[1].upper()} (mm)"
    drawn = [_range(space, one, ground, on) for one in ranges]
    room = _room(deck, ground, taken, drawn)
    for one in ranges:
        _mark(space, one, ground, room)
    laps = next(laps for laps in schedule.laps if laps.layer == layer)
    cover = as_given(MM * max(bars.mat(face).cover for face in ("top", "bottom")))
    words = [
        CAUTION,
        f"Cover {as_given(MM * bars.mat(layer[0]).cover_to(layer[1]))} mm to this layer, {cover} mm"
        " at the ends of bars. One bar is drawn of those that lie over its range: number x diameter"
        "@spacing, L cut length, mark in a ring. U-bars and edge bars: plan of edges; trimmers: "
        "details of openings.",
    ]
    whole = [bars for mark in schedule.marks if is_laid(mark, layer) for bars in mark.ranges]
    if len(ranges) > len(whole):
        words.append(
            "Bars are laid square to the lines of their ranges; where ranges of a mark follow one "
            "another its spacing runs through."
        )
    words += [*_added(deck, layer), *step_words(deck), *set_out_words(deck)]
    if layer[1] == "y":
        words += _radial(deck)
    if laps.highest is not None:
        words.append(
            f"Laps {MM * laps.length:.0f} mm or more as drawn, those of every other line shifted; "
            f"utilisation in bending at laps up to {laps.highest:.2f}."
        )
    return _end(space, ground, words, ground.below - 4 * ground.size)


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


def _radial(deck: Deck) -> list[str]:
    """How far bars across a curved deck are apart, which are radial."""
    if deck.plan.alignment.straight:
        return []
    offsets = deck.plan.outline[:, 1]
    ends = np.column_stack([np.zeros(2), [offsets.min(), offsets.max()]])
    stretch = deck.plan.alignment.stretch(ends)
    inner, outer = (float(ends[k, 1]) for k in np.argsort(stretch))
    share = float(stretch.min() / stretch.max())
    return [
        "Bars across and U-bars beside them are radial: spacings are those at the outer edge, "
        f"y = {length(outer)}, and {share:.3f} of them at the inner one, y = {length(inner)}."
    ]


def edges_plan(space: Modelspace, deck: Deck, schedule: Schedule, top: float) -> float:
    """The plan of U-bars and edge bars; the same. Openings have details of their own."""
    found = [r for r in beside_ranges(deck, schedule) if r.mark.of in deck.plan.edges]
    if not found:
        return top
    ground, taken = _begin(space, deck, "U-BARS AND BARS ALONG EDGES", top)
    size = ground.size
    drawn = [
        _range(space, one, ground, f"BARS ALONG {one.mark.layers[0][1].upper()} (mm)")
        for one in found
    ]
    room = _room(deck, ground, taken, drawn)
    marked: dict[int, Floats] = {}
    for one in found:
        if one.mark.use != "U-bar":
            continue
        bend, legs = (sheet(one.bar) + ground.shift)[[0, -1]]
        # of single ones along an edge askew every few
        last = marked.get(one.mark.number) if one.reach is None else None
        if last is None or np.hypot(*(legs - last)) > EVERY * size:
            out = (legs - bend) / np.linalg.norm(legs - bend)
            room.ring(space, legs, out, one.mark.number)
            marked[one.mark.number] = legs
    low = ground.below - 4 * size
    bars = deck.required_reinforcement.bars
    for place in dict.fromkeys(one.mark.of for one in found):
        marks = {one.mark.number: one for one in found if one.mark.of == place}
        along = [number for number, one in marks.items() if one.mark.use != "U-bar"]
        _name_edge(space, deck, place, along, ground, room)
        text(space, f"{named_title(deck, place)}:", (ground.x_min, low), size)
        at = ground.x_min + 22 * size
        for one in marks.values():
            mark = one.mark
            layers = " and ".join(layer_name(bars, layer) for layer in mark.layers)
            ring(space, (at, low + 0.5 * size), mark.number, size)
            words = f"{mark.use} {layers}: {counted(one)}"
            text(space, words, (at + 1.5 * size, low), size)
            low -= 2.1 * size
    notes = [CAUTION, *set_out_words(deck), *_radial(deck)]
    return _end(space, ground, notes, low - LINE * size)


def _begin(
    space: Modelspace, deck: Deck, title: str, top: float
) -> tuple[Ground, list[shapely.Polygon]]:
    """The slab below its title, and where no more words may stand."""
    ground = ground_of(deck, top)
    title += f", plan, plot at 1:{ground.scale}; {TO_VERIFY}"
    text(space, title, (ground.x_min, top), 1.4 * ground.size)
    taken = draw_ground(space, deck, ground)
    # title and dimensions with all that is above, notes with all below
    size, far = ground.size, FAR * ground.size
    left, right = ground.x_min - far, ground.x_max + far
    taken += [
        shapely.box(left, ground.above + 1.5 * size, right, top + far),
        shapely.box(left, ground.below - far, right, ground.below - 0.4 * size),
    ]
    return ground, taken


def _room(
    deck: Deck,
    ground: Ground,
    taken: list[shapely.Polygon],
    drawn: Sequence[tuple[shapely.LineString, shapely.LineString]],
) -> Room:
    edges = [shapely.LinearRing(edge + ground.shift) for edge in ground.edges]
    held = [shapely.LineString(line_on(deck, line, ground)) for line in deck.lines]
    steps = Thicknesses.of(deck).straight_steps
    held += [shapely.LineString(flat(deck, path) + ground.shift) for path in steps]
    return Room(
        ground.size,
        taken,
        heavy=shapely.union_all([*edges, *(bar for bar, _ in drawn)]),
        thin=shapely.union_all([*held, *(reach for _, reach in drawn)]),
    )


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


def _mark(space: Modelspace, one: DrawnRange, ground: Ground, room: Room) -> None:
    """Mark, number and length of the bars of a range, beside the one that is drawn."""
    path, middle, along, aside = _on_sheet(one, ground)
    size = ground.size
    # below a piece that is drawn below its line, longer words towards the end of the bar
    side = 1.0 if one.even else -1.0
    # back over the range where they would leave the bar
    need = (2.6 + LETTER * max(map(len, one.words))) * size
    rest = float(max((end - middle) @ along for end in path))
    at = middle + (1.3 * size + min(rest - need, 0.0)) * along + side * 1.8 * size * aside
    if abs(along[0]) < 0.5 and np.hypot(*(path[-1] - path[0])) < need:
        # words longer than bars that run up the sheet: level, past the end of their range
        reach = middle[None] if one.reach is None else sheet(one.reach) + ground.shift
        x = float(reach[:, 0].max())
        at, along = np.array([x + 2.0 * size, float(middle[1])]), np.array([1.0, 0.0])
    ends = np.array([-1.0, 1.5 + LETTER * max(map(len, one.words))])
    aside = np.array([-along[1], along[0]])
    corners = size * (ends[[0, 1, 1, 0], None] * along + 1.3 * SIDES[:, None] * aside)
    at = room.place(space, at, along, corners, middle, 3.5)
    ring(space, (float(at[0]), float(at[1])), one.mark.number, size)
    turn = float(np.degrees(np.arctan2(along[1], along[0])))
    for words, up in zip(one.words, (0.7, -0.7), strict=True):
        start = at + 1.3 * size * along + up * size * aside
        text(space, words, (float(start[0]), float(start[1])), size, Align.MIDDLE_LEFT, turn)


def _name_edge(
    space: Modelspace, deck: Deck, edge: str, marks: list[int], ground: Ground, room: Room
) -> None:
    """The name of an edge within the slab beside it, and the marks of bars along it below."""
    size, title = ground.size, named_title(deck, edge)
    course = shapely.LineString(flat(deck, deck.plan.lines[edge].path))
    middle = np.array(course.interpolate(0.5, normalized=True).coords[0])
    inner = ground.edges[0].mean(axis=0) - middle
    inner /= max(float(np.linalg.norm(inner)), 1.0)
    # two by two beside edges that run up the sheet: opposite ones may be near
    row = min(2 if abs(float(inner[0])) > 0.5 else len(marks), len(marks))
    down = 2.0 * -(-len(marks) // row) if marks else 0.0
    half = max(0.5 * LETTER * len(title), 1.0 * row)
    sides, ends = np.array([-half, half, half, -half]), np.array([-down, -down, 1.8, 1.8])
    # past the legs of U-bars and half of the words
    at = middle + ground.shift + (4.0 + half * abs(float(inner[0]))) * size * inner
    corners = size * np.column_stack([sides, ends])
    x, y = room.place(space, at, np.array([1.0, 0.0]), corners, at, FAR).tolist()
    text(space, title, (x, y + 0.9 * size), size, Align.MIDDLE_CENTER)
    for k, number in enumerate(marks):
        off = 2.0 * (k % row) - row + 1.0
        ring(space, (x + off * size, y - (1.0 + 2.0 * (k // row)) * size), number, size)

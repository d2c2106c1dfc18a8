"""The table of bars in bars.dxf, and the details of U-bars."""

from textwrap import wrap

import numpy as np
import shapely
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.layouts.layout import Modelspace

from pipelines.bars.schedule.ends import fuller
from pipelines.bars.schedule.lines import in_bend
from pipelines.bars.schedule.marks import Mark, Schedule
from pipelines.bars.schedule.sprung import sprung_words
from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.deck.words import named_title
from pipelines.numbers import as_given, number
from pipelines.report.drawings.bar_ranges import LAID
from pipelines.report.drawings.bars import centre_depth, layer_name
from pipelines.report.drawings.dxf_parts import (
    MM,
    SECTION,
    TABLE,
    dimension,
    filled_circle,
    text,
    u_bar,
)
from pipelines.standards.resistance.bars import (
    FACES,
    Direction,
    Face,
    Layer,
    SlabBars,
    other_direction,
)
from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN

HEADS = ("Mark", "Layer, use", "Of", "Dia.", "No.", "Shape", "a", "b", "c", "R", "Cut length", "kg")
WIDE = (6, 17, 20, 6, 7, 7, 8, 7, 7, 15, 16, 9)  # of the columns, in heights of text
ASKEW = ("cover square to the edge: along", "bars askew to it more")
SQUARE = 1.02  # cover along a bar over that square to the edge, up to which both are one
LENGTH, PAST = 1300.0, 250.0  # of slab that a detail shows at least, and past the legs [mm]


def bar_table(space: Modelspace, deck: Deck, schedule: Schedule, top: float) -> float:
    """The table below `top`; where the next drawing may begin [mm]."""
    text(space, f"BAR TABLE, lengths in mm, plot at 1:100; {TO_VERIFY}", (0.0, top), 1.4 * TABLE)
    rows = [HEADS, *(_row(deck, mark) for mark in schedule.marks)]
    edges = TABLE * np.concatenate([[0.0], np.cumsum(WIDE)])
    step, first = 2.0 * TABLE, top - 3 * TABLE
    on = {"layer": "DIMENSIONS (mm)"}
    for k, row in enumerate(rows):
        level = first - (k + 0.5) * step
        for x, cell in zip(edges[:-1].tolist(), row, strict=True):
            text(space, cell, (x + 0.5 * TABLE, level), TABLE, Align.MIDDLE_LEFT)
    low = first - len(rows) * step
    for k in range(len(rows) + 1):
        space.add_line((0.0, first - k * step), (edges[-1], first - k * step), dxfattribs=on)
    for x in edges.tolist():
        space.add_line((x, first), (x, low), dxfattribs=on)
    masses = [
        f"{as_given(round(MM * d, 6))} mm: {m:.0f} kg" for d, m in schedule.by_diameter.items()
    ]
    sentences = [
        f"By diameter {', '.join(masses)}; all {schedule.mass:.0f} kg, "
        f"{number(schedule.mass / schedule.area)} kg/m2, "
        f"{number(schedule.mass / schedule.volume)} kg/m3.",
        "Shape codes of ISO 3766 (from memory): 00 straight, 21 U-bar, 67 arc; sizes from outside "
        "to outside, cut lengths of the axis; R inside of bends, of the axis of an arc. Series run "
        "from the longest to the shortest bar: each length stands in bar_schedule.csv. Chairs, "
        "links and bars of beams are not in the table.",
        *sprung_words(schedule),
        CAUTION,
    ]
    words = [line for sentence in sentences for line in wrap(sentence, 100)]
    for line in words:
        low -= 1.8 * TABLE
        text(space, line, (0.0, low), TABLE)
    return low - 6 * TABLE


def _row(deck: Deck, mark: Mark) -> tuple[str, ...]:
    bars = deck.required_reinforcement.bars
    longest, shortest = max(mark.lengths), min(mark.lengths)
    layers = " ".join(layer_name(bars, layer) for layer in mark.layers)
    sizes = ("" if size is None else f"{MM * size:.0f}" for size in (mark.a, mark.b, mark.c))
    return (
        str(mark.number),
        f"{layers} {mark.use}",
        " ".join(
            (mark.of if mark.use in LAID else named_title(deck, mark.of), *level(deck, mark))
        ).strip(),
        as_given(round(MM * mark.diameter, 6)),
        str(len(mark.bars)),
        mark.shape,
        *sizes,
        "" if mark.radius is None else _to(*sorted(mark.radius)),
        _to(longest, shortest),
        f"{mark.mass:.1f}",
    )


def _to(first: float, last: float) -> str:
    """One length, or from one to another [mm]."""
    found = list(dict.fromkeys(f"{MM * one:.0f}" for one in (first, last)))
    return " to ".join(found)


def level(deck: Deck, mark: Mark) -> tuple[str, ...]:
    """Where the soffit steps: at the level of which thickness bottom bars lie."""
    faces = {layer[0] for layer in mark.layers}
    if "bottom" not in faces or Thicknesses.of(deck).uniform:
        return ()
    return (f"h {as_given(round(MM * mark.thickness, 6))}",)


def u_bar_details(space: Modelspace, deck: Deck, schedule: Schedule, top: float) -> float:
    """A section at the edge for every kind of U-bar; where the next drawing may begin [mm]."""
    kinds: dict[object, list[Mark]] = {}
    for mark in schedule.marks:
        if mark.use == "U-bar" and mark.a is not None:
            kind = (mark.layers, mark.thickness, mark.diameter, mark.a)
            kinds.setdefault(kind, []).append(mark)
    for marks in kinds.values():
        top = _detail(space, deck, schedule, marks, top)
    return top


def _detail(
    space: Modelspace, deck: Deck, schedule: Schedule, marks: list[Mark], top: float
) -> float:
    """The slab from its edge, on the left, with the U-bar, the bars beside it and across."""
    mark = marks[0]
    bars = deck.required_reinforcement.bars.at(mark.thickness)
    direction = mark.layers[0][1]
    h, cover = MM * bars.thickness, MM * max(bars.mat(face).cover for face in FACES)
    wide = max(LENGTH, cover + MM * (mark.a or 0.0) + PAST)
    where = ", ".join(named_title(deck, one.of) for one in marks)
    numbers = ", ".join(str(one.number) for one in marks)
    title = f"U-BAR at {where}, plot at 1:10; {TO_VERIFY}"
    text(space, title, (0.0, top), 1.4 * SECTION)
    top -= 6 * SECTION
    on = {"layer": "SLAB (mm)"}
    for z in (top, top - h):
        space.add_line((0.0, z), (wide, z), dxfattribs=on)
    space.add_line((0.0, top), (0.0, top - h), dxfattribs=on)
    space.add_line((wide, top), (wide, top - h), dxfattribs=on | {"linetype": "DASHED"})
    for face in FACES:
        _bar_along(space, bars, (face, direction), (cover, wide), top)
        _bars_across(space, bars, schedule, mark, face, (cover, wide), top)
    u_bar(space, mark, cover, MM * (mark.a or 0.0), top - MM * bars.mat("top").cover_to(direction))
    a, b, c = MM * (mark.a or 0.0), MM * (mark.b or 0.0), cover
    level = top - MM * bars.mat("top").cover_to(direction)
    dimension(space, (c, top), (c + a, top), (c, top + 2 * SECTION), SECTION)
    dimension(space, (0.0, top - h), (c, top - h), (0.0, top - h - 2 * SECTION), SECTION)
    side = -3 * SECTION
    dimension(space, (c, level), (c, level - b), (side, level), SECTION, upright=True)
    dimension(space, (0.0, top), (0.0, top - h), (2 * side, top), SECTION, upright=True)
    size = f"{as_given(round(MM * mark.diameter, 6))}@{as_given(round(MM * mark.spacing, 6))}"
    words = (
        f"U-bar {size}, mark {numbers}, R {MM * (mark.radius or (0.0,))[0]:.0f},",
        f"one beside every bar of {layer_name(bars, fuller(bars, direction))}",
        *(ASKEW if any(_is_askew(deck, one) for one in marks) else ()),
    )
    for k, line in enumerate(words):
        at = (wide + 2 * SECTION, top - h / 2 + (0.9 * (len(words) - 1) - 1.8 * k) * SECTION)
        text(space, line, at, SECTION, Align.MIDDLE_LEFT)
    return top - h - 9 * SECTION


def _is_askew(deck: Deck, mark: Mark) -> bool:
    """Whether U-bars go round an edge that they do not meet squarely."""
    found = deck.plan.lines.get(mark.of)
    if found is None:
        return False
    course = shapely.LineString(sampled(found.course(full=True), DRAWN))
    for bar in mark.bars:
        end, far = bar.path[0], bar.path[-1]
        out = (end - far) / np.linalg.norm(end - far)
        square = course.distance(shapely.Point(end))
        ahead = shapely.LineString([end, end + 3.0 * square * out]).intersection(course)
        if ahead.is_empty or shapely.Point(end).distance(ahead) > SQUARE * square:
            return True
    return False


def _bar_along(
    space: Modelspace, bars: SlabBars, layer: Layer, reach: tuple[float, float], top: float
) -> None:
    """The mat's bar beside the U-bar, as an outline; reach : from where to where [mm]."""
    z, r = top - MM * centre_depth(bars, layer), MM * bars.bars(layer).diameter / 2
    (start, end) = reach
    outline = [(start, z - r), (end, z - r), (end, z + r), (start, z + r)]
    on = {"layer": f"BARS ALONG {layer[1].upper()} (mm)"}
    space.add_lwpolyline(outline, close=True, dxfattribs=on)


def _bars_across(
    space: Modelspace,
    bars: SlabBars,
    schedule: Schedule,
    mark: Mark,
    face: Face,
    reach: tuple[float, float],
    top: float,
) -> None:
    """The mat's bars across it, the first one its spacing off the edge bar, and the edge bar in the
    bend where there is one."""
    own: Direction = mark.layers[0][1]
    across: Layer = (face, other_direction(own))
    one = bars.bars(across)
    z = top - MM * centre_depth(bars, across)
    on = {"layer": f"BARS ALONG {across[1].upper()} (mm)"}
    beside = (m for m in schedule.marks if m.use == "edge bar" and m.of == mark.of)
    edge = next(beside, None)
    cover, wide = reach
    first, count = cover + MM * in_bend(mark.diameter), int((wide - cover) / (MM * one.spacing))
    places = [first + MM * one.spacing * k for k in range(1, count + 1)]
    if edge is not None:
        inside = MM * in_bend(mark.diameter)
        depth = MM * bars.mat(face).cover_to(own) + inside
        level = top - (depth if face == "top" else MM * bars.thickness - depth)
        filled_circle(space, (cover + inside, level), MM * edge.diameter / 2, on)
    for x in places:
        if x < wide - 20.0:
            filled_circle(space, (x, z), MM * one.diameter / 2, on)

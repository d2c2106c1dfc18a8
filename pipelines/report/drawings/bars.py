"""Drawings of the bars: sections of the slab in both directions to scale, and plans of zones."""

from collections.abc import Sequence
from math import ceil, floor

import numpy as np
from shapely import Polygon, coverage_union_all, get_parts, polygons
from shapely.geometry.base import BaseGeometry

from pipelines.bars.checks.curtailment import Zones
from pipelines.bars.schedule.marks import up
from pipelines.bars.schedule.steps import longest_run_on
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import SMALL, Paper, draw
from pipelines.report.drawings.colours import INK, PALE, SERIES
from pipelines.report.drawings.legend import Key, legend
from pipelines.report.drawings.plan import (
    closed,
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    outline,
    traced,
)
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    Bars,
    Direction,
    Face,
    Layer,
    SlabBars,
    other_direction,
)
from plate.arrays import Floats
from plate.geometry.outline import points_of

LENGTH = 1.0  # of slab that a section shows [m]
ROUND = 0.05  # m, of places that are set out on site
INKS: dict[Direction, str] = {"x": SERIES[0], "y": SERIES[1]}
ALONG: dict[Direction, str] = {"x": "along the deck (x)", "y": "across the deck (y)"}
SHADES = ("#ffffff", "#d9d2c3", "#9d8f73")
ZONE_WORDS = ("no bar for bending", "every other bar", "every bar")


def layer_name(bars: SlabBars, layer: Layer) -> str:
    """B1, B2 at the bottom and T1, T2 at the top; 1 is the layer nearest to the face."""
    face, direction = layer
    return f"{face[0].upper()}{1 if direction == bars.mat(face).outer else 2}"


def layer_title(bars: SlabBars, layer: Layer) -> str:
    """ "B1 16@125 across the deck (y)"."""
    return f"{layer_name(bars, layer)} {bars.bars(layer)} {ALONG[layer[1]]}"


def centre_depth(bars: SlabBars, layer: Layer) -> float:
    """Depth of the bars' centres below the top of the slab [m]."""
    d = bars.effective_depth(layer)
    return d if layer[0] == "bottom" else bars.thickness - d


def places_across(bars: Bars) -> Floats:
    """Centres of the bars that a section of `LENGTH` cuts, about its middle [m]."""
    count = int((LENGTH - bars.diameter) / bars.spacing)
    return np.asarray((np.arange(count + 1) - 0.5 * count) * bars.spacing + 0.5 * LENGTH)


def stretches(zones: Zones, layer: Layer, least: int) -> str:
    """Stretches along the bars in which a layer's zone is at least that, in words: rounded
    outwards to `ROUND` within the slab [m]."""
    along = zones.u if layer[1] == "x" else zones.y
    low, high = float(along.min()), float(along.max())
    outwards = [
        (max(floor(a / ROUND) * ROUND, low), min(ceil(b / ROUND) * ROUND, high))
        for a, b in zones.ranges(layer, least)
    ]
    return ", ".join(f"{length(a)} to {length(b)}" for a, b in outwards) or "none"


def step_words(deck: Deck) -> list[str]:
    """Where the soffit steps, and how bars pass it, in words; nothing of one thickness."""
    if Thicknesses.of(deck).uniform:
        return []
    zones = [
        f"{as_given(round(1e3 * zone.thickness, 6))} mm"
        + _range_words(" at x = ", zone.stations)
        + _range_words(" at y = ", zone.offsets)
        for zone in deck.slab.zones
    ]
    reach = longest_run_on(deck.required_reinforcement)
    along = " and ".join(f"{1e3 * up(reach[d]):.0f} mm along {d}" for d in DIRECTIONS)
    return [
        f"Slab {as_given(round(1e3 * deck.slab.thickness, 6))} mm, {'; '.join(zones)}: its top is "
        "level, the soffit steps at the dashed lines. Bottom bars are cut there: those of the "
        f"thinner part run on straight into the thicker one, {along} or more, at their own level; "
        "those of the thicker part, at its soffit, end at the step less the cover. Top bars run "
        "level past it (common practice)."
    ]


def _range_words(words: str, limits: tuple[float, float] | None) -> str:
    return "" if limits is None else f"{words}{length(limits[0])} to {length(limits[1])} m"


def section_drawing(bars: SlabBars, cut: Direction) -> Drawing:
    """A section along `cut`: bars in that direction as lines, the others as circles. To scale,
    lengths in mm."""
    scale = 446.0  # points per metre
    left, top, right, below = 76.0, 32.0, 198.0, 32.0
    h = bars.thickness
    size = (LENGTH * scale + left + right, h * scale + top + below)

    def paint(paper: Paper) -> None:
        box = (left, top, left + LENGTH * scale, top + h * scale)
        axes = Axes(paper=paper, box=box, x=(0.0, LENGTH), y=(0.0, h))
        axes.path(_box(0.0, 0.0, LENGTH, h), closed=True, fill="#f1eee6", ink="none")
        for x in (0.0, LENGTH):  # the slab goes on
            axes.upright(x, ink=PALE, width=0.8, dash=(6, 3))
        for z in (0.0, h):
            axes.level(z, width=1.2)
        for face in FACES:
            for direction in DIRECTIONS:
                _layer(axes, bars, (face, direction), cut, scale)
        _labels(axes, bars, cut)
        _dimension(axes, -51.0, 0.0, h, as_given(1e3 * h))
        for face in FACES:
            cover = bars.mat(face).cover
            low, high = (0.0, cover) if face == "top" else (h - cover, h)
            _dimension(axes, -20.0, low, high, as_given(1e3 * cover))
        paper.text([left, size[1] - 10.0], "lengths in mm", along="start", size=SMALL)

    words = f"Section {ALONG[cut]}: bars, layers and covers to scale."
    return draw(f"section-bars-{cut}", words, size, paint)


def _box(left: float, top: float, right: float, bottom: float) -> list[list[float]]:
    return [[left, top], [right, top], [right, bottom], [left, bottom]]


def _layer(axes: Axes, bars: SlabBars, layer: Layer, cut: Direction, scale: float) -> None:
    z, one = centre_depth(bars, layer), bars.bars(layer)
    ink, half = INKS[layer[1]], 0.5 * one.diameter
    if layer[1] == cut:
        axes.path(_box(0.0, z - half, LENGTH, z + half), closed=True, fill=ink, ink="none")
        return
    places = np.array([[x, z] for x in places_across(one)])
    axes.mark(places, "o", scale * one.diameter, fill=ink, ink="none")


def _labels(axes: Axes, bars: SlabBars, cut: Direction) -> None:
    """The layers' names beside the section, with leaders, in the order of their depths."""
    layers: list[Layer] = sorted(
        ((f, d) for f in FACES for d in DIRECTIONS), key=lambda layer: centre_depth(bars, layer)
    )
    h = bars.thickness
    right = axes.box[2]
    # Two lines each, wherever the bars are.
    middle, room = 0.5 * h, max(0.44 * h, 36.0 * h / (axes.box[3] - axes.box[1]))
    for layer, z in zip(layers, np.linspace(middle - room, middle + room, 4).tolist(), strict=True):
        ink, one = INKS[layer[1]], bars.bars(layer)
        x = LENGTH if layer[1] == cut else float(places_across(one)[-1])
        start, level = axes.at([x, centre_depth(bars, layer)]), axes.at([LENGTH, z])[1]
        leader = np.vstack([start, [right + 11, level], [right + 22, level]])
        axes.paper.path(leader, ink=ink, width=0.7)
        cover = bars.mat(layer[0]).cover_to(layer[1])
        words = f"{layer_title(bars, layer)}\ncover {as_given(1e3 * cover)}, "
        words += f"d = {as_given(1e3 * bars.effective_depth(layer))}"
        axes.paper.text([right + 26, level], words, size=SMALL, ink=ink, along="start")


def _dimension(axes: Axes, shift: float, low: float, high: float, words: str) -> None:
    """A length beside the section, so far right of its start [point]."""
    (left, a), (_, b) = axes.at([[0.0, low], [0.0, high]]).tolist()
    x = left + shift
    axes.paper.path([[x, a], [x, b]])
    for y in (a, b):
        axes.paper.path([[x - 3.5, y], [x + 3.5, y]])
        axes.paper.path([[x + 5.0, y], [left - 2.0, y]], ink=PALE, width=0.4)
    if b - a > 14.0:
        axes.paper.text([x - 4.0, 0.5 * (a + b)], words, size=SMALL, turn=-90.0, level="base")
    else:
        axes.paper.text([x - 6.0, 0.5 * (a + b)], words, size=SMALL, along="end")


def zone_drawing(deck: Deck, bars: SlabBars, layer: Layer, found: Sequence[Zones]) -> Drawing:
    """Plan of one layer's zones, the larger one of all standards at each place."""
    room = deck_canvas(deck, 0.9, 54.0)
    name, direction = layer_name(bars, layer), layer[1]
    keys = [
        Key(words=words, fill=shade, ink=INK, width=0.5)
        for shade, words in zip(SHADES, ZONE_WORDS, strict=True)
    ]

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        for least in (1, 2):
            for part in get_parts(zone_area(deck, found, layer, least)):
                if isinstance(part, Polygon):
                    rings = [np.array(ring.coords) for ring in (part.exterior, *part.interiors)]
                    axes.path(*rings, closed=True, fill=SHADES[least], ink=PALE, width=0.4)
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.45, 0.45))
        _draw_bar_mark(axes, deck, direction)
        legend(paper, keys)

    return draw(f"plan-zones-{name}", f"Zones of layer {name}.", room.size, paint)


def zone_area(deck: Deck, found: Sequence[Zones], layer: Layer, least: int) -> BaseGeometry:
    """Where a layer's zone by any standard is at least that, within the slab: what lies nearest to
    such points of the raster, Cartesian [m]."""

    def between(values: Floats, axis: int) -> Floats:
        first, last = np.take(values, [0], axis), np.take(values, [-1], axis)
        n = values.shape[axis]
        middle = (np.take(values, range(1, n), axis) + np.take(values, range(n - 1), axis)) / 2
        return np.concatenate([first, middle, last], axis)

    zones = found[0]
    u = between(between(np.broadcast_to(zones.u[:, None], zones.y.shape), 0), 1)
    y = between(between(zones.y, 0), 1)
    plan = deck.plan.at(u, y)
    xy = deck.plan.alignment.to_cartesian(plan.reshape(-1, 2)).reshape(plan.shape)
    quads = np.stack([xy[:-1, :-1], xy[1:, :-1], xy[1:, 1:], xy[:-1, 1:]], axis=2)
    inside = np.max([z.zone[layer] for z in found], axis=0) >= least
    rings = [closed(deck, ring) for ring in points_of(deck.plan.boundary)]
    slab = Polygon(rings[0], rings[1:]).buffer(0.0)
    return coverage_union_all(polygons(quads[inside])).intersection(slab)


def bar_mark(deck: Deck, direction: Direction, half: float, gap: float) -> list[Floats]:
    """Plan paths (2, 2) of a double line in the middle of the slab along the bars of a direction:
    half its length, and half the distance of both lines [m]."""
    angle = 0.0
    if direction == "y":
        angle = np.pi / 2 if deck.reinforcement is None else deck.reinforcement.angle
    along, aside = (
        np.array([np.cos(angle), np.sin(angle)]),
        np.array([-np.sin(angle), np.cos(angle)]),
    )
    u = 0.5 * sum(deck.plan.u_range)
    limits = deck.plan.line_offsets(np.array(u))
    middle = deck.plan.at(np.array(u), 0.5 * (limits[0] + limits[-1]))
    ends = middle + half * np.array([-along, along])
    return [ends + side * gap * aside for side in (-1.0, 1.0)]


def _draw_bar_mark(axes: Axes, deck: Deck, direction: Direction) -> None:
    wide = axes.x[1] - axes.x[0]
    for path in bar_mark(deck, direction, 0.06 * wide, 0.008 * wide):
        ends = traced(deck, path)
        axes.path(ends, ink="white", width=4.0)
        axes.path(ends, ink=INKS[direction], width=1.8)


def outer_words(bars: SlabBars, face: Face) -> str:
    """Which direction lies outermost at a face, in words."""
    outer = bars.mat(face).outer
    return f"{ALONG[outer]} outermost, {ALONG[other_direction(outer)]} inside"

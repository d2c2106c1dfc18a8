"""Drawings of the bars: sections of the slab in both directions to scale, and plans of zones."""

from collections.abc import Sequence
from math import ceil, floor

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle
from matplotlib.patches import Patch as Swatch

from pipelines.bars.checks.curtailment import Zones
from pipelines.deck.deck import Deck
from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, draw
from pipelines.report.drawings.plan import (
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

LENGTH = 1.0  # of slab that a section shows [m]
ROUND = 0.05  # m, of places that are set out on site
INKS: dict[Direction, str] = {"x": "#1f4e79", "y": "#a0430a"}
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


def section_drawing(bars: SlabBars, cut: Direction) -> Drawing:
    """A section along `cut`: bars in that direction as lines, the others as circles. To scale,
    lengths in mm."""
    scale = 6.2  # inch per metre
    left, right, above, below = 1.05, 2.75, 0.45, 0.45
    h = bars.thickness
    size = (LENGTH * scale + left + right, h * scale + above + below)

    def paint(figure: Figure) -> None:
        axes = figure.add_axes(
            (left / size[0], below / size[1], LENGTH * scale / size[0], h * scale / size[1])
        )
        axes.set_xlim(0.0, LENGTH)
        axes.set_ylim(h, 0.0)
        axes.set_axis_off()
        axes.add_patch(Rectangle((0, 0), LENGTH, h, fc="#f1eee6", ec="none", zorder=0))
        for z in (0.0, h):
            axes.plot([0, LENGTH], [z, z], color=INK, lw=1.2, clip_on=False)
        for x in (0.0, LENGTH):
            _break_line(axes, x, h)
        for face in FACES:
            for direction in DIRECTIONS:
                _layer(axes, bars, (face, direction), cut)
        _labels(axes, bars, cut)
        _dimensions(axes, bars)

    words = f"Section {ALONG[cut]}: bars, layers and covers to scale."
    return draw(f"section-bars-{cut}", words, size, paint)


def _break_line(axes: Axes, x: float, h: float) -> None:
    """The slab goes on: a thin broken line."""
    axes.plot([x, x], [0, h], color=PALE, lw=0.8, ls=(0, (6, 3)), clip_on=False)


def _layer(axes: Axes, bars: SlabBars, layer: Layer, cut: Direction) -> None:
    z, one = centre_depth(bars, layer), bars.bars(layer)
    ink = INKS[layer[1]]
    if layer[1] == cut:
        axes.add_patch(
            Rectangle((0, z - one.diameter / 2), LENGTH, one.diameter, fc=ink, ec="none", zorder=2)
        )
        return
    for x in places_across(one):
        axes.add_patch(Circle((x, z), one.diameter / 2, fc=ink, ec="none", zorder=3))


def _labels(axes: Axes, bars: SlabBars, cut: Direction) -> None:
    """The layers' names beside the section, with leaders, in the order of their depths."""
    layers: list[Layer] = sorted(
        ((f, d) for f in FACES for d in DIRECTIONS), key=lambda layer: centre_depth(bars, layer)
    )
    h = bars.thickness
    heights = np.linspace(0.06 * h, 0.94 * h, len(layers))
    for layer, z in zip(layers, heights, strict=True):
        at = centre_depth(bars, layer)
        x = LENGTH if layer[1] == cut else float(places_across(bars.bars(layer))[-1])
        axes.plot(
            [x, LENGTH + 0.025, LENGTH + 0.05],
            [at, z, z],
            color=INKS[layer[1]],
            lw=0.7,
            clip_on=False,
            zorder=4,
        )
        cover = bars.mat(layer[0]).cover_to(layer[1])
        axes.text(
            LENGTH + 0.057,
            z,
            f"{layer_title(bars, layer)}\ncover {as_given(1e3 * cover)}, "
            f"d = {as_given(1e3 * bars.effective_depth(layer))}",
            color=INKS[layer[1]],
            va="center",
            ha="left",
            fontsize=7.5,
            linespacing=1.15,
        )


def _dimensions(axes: Axes, bars: SlabBars) -> None:
    """Thickness and the covers to the outer layers, left of the section [mm]."""
    h = bars.thickness
    _dimension(axes, -0.115, 0.0, h, as_given(1e3 * h))
    for face in FACES:
        cover = bars.mat(face).cover
        low, high = (0.0, cover) if face == "top" else (h - cover, h)
        _dimension(axes, -0.045, low, high, as_given(1e3 * cover))


def _dimension(axes: Axes, x: float, low: float, high: float, words: str) -> None:
    axes.plot([x, x], [low, high], color=INK, lw=0.6, clip_on=False)
    for z in (low, high):
        axes.plot([x - 0.008, x + 0.008], [z, z], color=INK, lw=0.6, clip_on=False)
        axes.plot([x + 0.012, -0.004], [z, z], color=PALE, lw=0.4, clip_on=False)
    axes.text(
        x - 0.012, 0.5 * (low + high), words, rotation=90, ha="right", va="center", fontsize=7.5
    )


def zone_drawing(deck: Deck, bars: SlabBars, layer: Layer, found: Sequence[Zones]) -> Drawing:
    """Plan of one layer's zones, the larger one of all standards at each place."""
    room = deck_canvas(deck, 0.9, 0.85)
    name, direction = layer_name(bars, layer), layer[1]

    def paint(figure: Figure) -> None:
        axes = room.axes(figure)
        frame(axes, deck)
        zone = np.max([z.zone[layer] for z in found], axis=0)
        first = found[0]
        plan = deck.plan.at(np.broadcast_to(first.u[:, None], first.y.shape), first.y)
        xy = deck.plan.alignment.to_cartesian(plan.reshape(-1, 2)).reshape(plan.shape)
        axes.contourf(
            xy[..., 0], xy[..., 1], zone, levels=(-0.5, 0.5, 1.5, 2.5), colors=SHADES, zorder=1
        )
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.45, 0.45))
        _draw_bar_mark(axes, deck, direction)
        legend = [
            Swatch(fc=shade, ec=INK, lw=0.5, label=words)
            for shade, words in zip(SHADES, ZONE_WORDS, strict=True)
        ]
        figure.legend(handles=legend, loc="lower center", ncols=3, frameon=False, fontsize=7.5)

    return draw(f"plan-zones-{name}", f"Zones of layer {name}.", room.size, paint)


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
    x0, x1 = axes.get_xlim()
    for path in bar_mark(deck, direction, 0.06 * (x1 - x0), 0.008 * (x1 - x0)):
        ends = traced(deck, path).T
        axes.plot(*ends, color="white", lw=4.0, zorder=7, solid_capstyle="butt")
        axes.plot(*ends, color=INKS[direction], lw=1.8, zorder=8, solid_capstyle="butt")


def outer_words(bars: SlabBars, face: Face) -> str:
    """Which direction lies outermost at a face, in words."""
    outer = bars.mat(face).outer
    return f"{ALONG[outer]} outermost, {ALONG[other_direction(outer)]} inside"

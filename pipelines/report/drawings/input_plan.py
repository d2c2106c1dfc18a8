"""The input as one drawing: a dimensioned plan of lines, supports, beams, carriageway, probes."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import Polygon
from matplotlib.path import Path
from shapely import LineString, Point
from shapely.ops import nearest_points

from pipelines.deck.deck import Deck, Held, Line
from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, canvas, draw
from pipelines.report.drawings.plan import (
    LOAD_INK,
    along_carriageway,
    closed,
    line_names,
    line_path,
    outline,
    scale_bar,
    traced,
)
from plate.arrays import Floats

BEAM_INK = "#2b5f8a"
HOLD_INK = "#8c2d04"
# A tick of a rigid line in the legend.
SLANTED = Path([(-0.5, -1.0), (0.5, 1.0)])
# Width of a column of the legend [inch].
LEGEND_COLUMN = 2.2


def input_plan(deck: Deck, name: str = "sketch") -> Drawing:
    """The input as a dimensioned plan: lines, supports, beams, holds, carriageway, probes."""
    drawn = closed(deck, deck.plan.outline)
    spread = float(np.ptp(drawn, axis=0).max())
    unit = 0.03 * spread
    beyond = [_longest_stub(deck, letter) for letter in "CL"]
    tapered = deck.plan.end_offsets != deck.plan.offsets
    low = drawn.min(axis=0) - [beyond[1] + 3.2 * unit, beyond[0] + 1.7 * unit]
    right = beyond[1] + (3.2 if tapered or not deck.plan.alignment.straight else 1.2) * unit
    high = drawn.max(axis=0) + np.array([right, beyond[0] + 3.6 * unit])
    room = canvas(np.stack([low, high]), (0.15, 0.3, 0.15, 0.55))

    def paint(figure: Figure) -> None:
        axes = room.axes(figure)
        axes.set_axis_off()
        axes.add_patch(Polygon(closed(deck, deck.plan.outline), fc="#f4f2ec", ec="none", zorder=0))
        _zones(axes, deck)
        outline(axes, deck)
        legend = _supports(axes, deck, room.scale, unit)
        legend += _carriageway(axes, deck)
        legend += _probes(axes, deck, unit)
        _points(axes, deck)
        if deck.points:
            legend.append(
                Line2D([], [], marker="s", ls="", mfc=HOLD_INK, mec=INK, label="point support")
            )
        line_names(axes, deck, [b + 0.9 * unit for b in beyond], stations=True)
        _dimensions(axes, deck, [b + 1.9 * unit for b in beyond], unit)
        if not deck.plan.alignment.straight:
            scale_bar(axes)
        top = 1.0 - 0.16 / room.size[1]
        figure.text(0.15 / room.size[0], top, _words(deck), va="center", color="#444444")
        figure.legend(
            handles=legend,
            loc="lower center",
            ncols=max(1, min(4, len(legend), int(room.size[0] / LEGEND_COLUMN))),
            frameon=False,
            fontsize=7.5,
            handlelength=3.0,
        )

    return draw(name, f"Plan of {deck.title}: lines, supports and dimensions.", room.size, paint)


def _words(deck: Deck) -> str:
    """What the plan's lines do not tell."""
    thickness = f"slab {as_given(1e3 * deck.slab.thickness)} mm"
    axes = "stations" if deck.plan.is_grid else "x"
    words = f"from above, {axes} to the right; lengths in m; {thickness}"
    if deck.plan.skew:
        words += f"; skew {as_given(round(float(np.degrees(deck.plan.skew)), 6))}°"
    if not deck.plan.alignment.straight:
        words += f"; radius {as_given(deck.plan.alignment.radius)} m"
    return words


def _longest_stub(deck: Deck, letter: str) -> float:
    """Longest run of beams past the slab's edges, of C or L lines [m]."""
    named = [line for line in deck.lines if line.name.startswith(letter)]
    return max((held.stub for line in named for held in line.held_at), default=0.0)


def _zones(axes: Axes, deck: Deck) -> None:
    low, high = deck.plan.u_range
    y = deck.plan.outline[:, 1]
    for zone in deck.slab.zones:
        a, b = zone.stations or (low, high)
        c, d = zone.offsets or (float(y.min()), float(y.max()))
        corners = deck.plan.at(np.array([a, b, b, a]), np.array([c, c, d, d]))
        patch = Polygon(closed(deck, corners), fc="#e3ddcf", ec=PALE, lw=0.5, hatch="..", zorder=1)
        axes.add_patch(patch)
        patch.set_clip_path(Polygon(closed(deck, deck.plan.outline), transform=axes.transData))
        x, y_text = deck.plan.alignment.to_cartesian(corners).mean(axis=0)
        axes.text(
            x,
            y_text,
            f"{as_given(1e3 * zone.thickness)} mm",
            ha="center",
            va="center",
            rotation=90 if b - a < 0.1 * (high - low) else 0,
            fontsize=7,
            bbox={"fc": "white", "ec": "none", "pad": 1.0},
            zorder=8,
        )


def _supports(axes: Axes, deck: Deck, scale: float, unit: float) -> list[Line2D | Swatch]:
    """Every supporting line by its kind; returns the legend."""
    legend: dict[str, Line2D | Swatch] = {}
    for name, free in deck.plan.lines.items():
        if name not in deck.plan.edges and deck.line(name) is None:
            x, y = traced(deck, free.path).T
            style: dict[str, Any] = {"color": PALE, "lw": 0.6, "ls": (0, (1, 3))}
            axes.plot(x, y, zorder=4, **style)
            legend.setdefault("free", Line2D([], [], label="line without support", **style))
    for line in deck.lines:
        path = line_path(deck, line)
        xy = traced(deck, path)
        key, handle = _draw_line(axes, line, xy, scale, unit)
        legend.setdefault(key, handle)
        for held in line.held_at:
            key, handle = _draw_hold(axes, deck, path, held)
            legend.setdefault(key, handle)
    legend.setdefault("edge", Line2D([], [], color=INK, lw=0.9, label="edge of the slab"))
    return list(legend.values())


def _draw_line(
    axes: Axes, line: Line, xy: Floats, scale: float, unit: float
) -> tuple[str, Line2D | Swatch]:
    x, y = xy.T
    if line.support == "beam":
        points = 72.0 * scale * (line.width or 0.3 * unit)
        axes.plot(x, y, color=BEAM_INK, lw=max(points, 2.2), solid_capstyle="butt", zorder=4)
        axes.plot(x, y, color="#cfe0ee", lw=max(points, 2.2) - 1.2, solid_capstyle="butt", zorder=5)
        axes.plot(x, y, color=BEAM_INK, lw=0.5, ls=(0, (8, 2, 1, 2)), zorder=5)
        return "beam", Swatch(fc="#cfe0ee", ec=BEAM_INK, label="beam (drawn at its stated width)")
    if line.support == "spring":
        style: dict[str, Any] = {"color": HOLD_INK, "lw": 1.6, "ls": (0, (3, 1.5))}
        axes.plot(x, y, zorder=5, **style)
        return "spring", Line2D([], [], label="line spring", **style)
    ticks = _ticks(xy, 0.35 * unit, both=line.support == "clamped")
    for tick in ticks:
        axes.plot(*tick.T, color=INK, lw=0.6, zorder=5)
    axes.plot(x, y, color=INK, lw=2.0, solid_capstyle="butt", zorder=5)
    hard = line.support == "rigid" and line.hard
    if hard:
        axes.plot(x, y, color="white", lw=0.7, zorder=6)
    marker = SLANTED if line.support == "rigid" else "x"
    words = {"clamped": "clamped line", "rigid": "rigid line (soft)"}[line.support]
    key = "hard" if hard else line.support
    label = "rigid line (hard)" if hard else words
    handle = Line2D([], [], color=INK, lw=2.0, marker=marker, ms=7, mec=INK, mew=0.3, label=label)
    if hard:
        handle.set_markerfacecolor("white")
    return key, handle


def _ticks(xy: Floats, size: float, *, both: bool) -> list[Floats]:
    """Slanting ticks along a polyline, on one side or on both."""
    steps = np.linalg.norm(np.diff(xy, axis=0), axis=1)
    s = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.arange(0.5 * size, s[-1], 0.8 * size)
    points = np.column_stack([np.interp(at, s, xy[:, k]) for k in range(2)])
    index = np.clip(np.searchsorted(s, at) - 1, 0, len(steps) - 1)
    along = np.diff(xy, axis=0)[index] / steps[index, None]
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    slant = 0.5 * size * (normal - along)
    starts = points - slant if both else points
    return [np.stack(pair) for pair in zip(starts, points + slant, strict=True)]


def _draw_hold(axes: Axes, deck: Deck, path: Floats, held: Held) -> tuple[str, Line2D]:
    """A beam's hold as a triangle, at the crossing or at the end of the stub."""
    at, away = hold_place(deck, path, held)
    end = at + held.stub * away
    a, b = deck.plan.alignment.to_cartesian(np.stack([at, end]))
    if held.stub > 0.0:
        axes.plot(*np.stack([a, b]).T, color=BEAM_INK, lw=2.0, zorder=5)
    springy = np.isfinite(held.k) or held.k_rot > 0.0
    style: dict[str, Any] = {
        "marker": "^",
        "ms": 6,
        "mec": HOLD_INK,
        "mfc": "white" if springy else HOLD_INK,
        "ls": "",
    }
    axes.plot(*b, zorder=8, **style)
    label = "hold of a beam with springs" if springy else "hold of a beam (w = 0)"
    return f"hold {springy}", Line2D([], [], label=label, **style)


def hold_place(deck: Deck, path: Floats, held: Held) -> tuple[Floats, Floats]:
    """Plan point of a beam's crossing with the line it is held on, and the unit vector off the
    beam's nearer end."""
    other = deck.plan.lines[held.on].full
    if len(path) > 2 or len(other) > 2:
        return _met(path, other)
    a, b = path
    along, across = b - a, other[1] - other[0]
    share, _ = np.linalg.solve(np.column_stack([along, -across]), other[0] - a)
    direction = along / np.linalg.norm(along)
    return a + share * along, direction if share > 0.5 else -direction


def _met(path: Floats, other: Floats) -> tuple[Floats, Floats]:
    """The same of lines of many points."""
    own = LineString(path)
    there = np.array(nearest_points(own, LineString(other))[0].coords[0])
    second_half = own.project(Point(there)) > 0.5 * own.length
    ends = path[[-2, -1]] if second_half else path[[1, 0]]
    away = ends[1] - ends[0]
    return there, away / np.linalg.norm(away)


def _carriageway(axes: Axes, deck: Deck) -> list[Line2D | Swatch]:
    """Its edges, and its axis where it has one, in the direction of traffic."""
    if deck.traffic is None:
        return []
    style: dict[str, Any] = {"color": "#3f7d3a", "lw": 1.0, "ls": (0, (6, 3))}
    for y in deck.traffic.carriageway:
        axes.plot(*along_carriageway(deck, y).T, zorder=6, **style)
    left, right = deck.traffic.carriageway
    label = f"edge of the carriageway ({length(right - left)} m wide)"
    found: list[Line2D | Swatch] = [Line2D([], [], label=label, **style)]
    if deck.traffic.axis is not None:
        style |= {"ls": (0, (9, 2, 1.5, 2)), "lw": 0.8}
        path = along_carriageway(deck, 0.0)
        axes.plot(*path.T, zorder=6, **style)
        start = deck.traffic.axis.to_plan(np.zeros(2))
        axes.plot(*start, "o", ms=4, color=style["color"], zorder=6, clip_on=True)
        arrow = {"arrowstyle": "-|>", "color": style["color"], "shrinkA": 0, "shrinkB": 0}
        k = int(0.7 * len(path))  # clear of the names of edges
        tip = path[k] + 0.01 * (path[k] - path[k - 1]) / np.linalg.norm(path[k] - path[k - 1])
        axes.annotate("", xy=tip, xytext=path[k], arrowprops=arrow, zorder=6)
        words = "carriageway's axis, 0 at the dot"
        found.append(Line2D([], [], label=words, marker="o", ms=4, **style))
    return found


def _probes(axes: Axes, deck: Deck, unit: float) -> list[Line2D | Swatch]:
    """Probes with the numbers of the probe table."""
    style: dict[str, Any] = {
        "marker": "+",
        "ms": 7,
        "mew": 1.1,
        "mec": LOAD_INK,
        "color": LOAD_INK,
        "lw": 1.6,
    }
    for i, probe in enumerate(deck.probes):
        path = np.array([probe.at] if probe.at is not None else [probe.start, probe.end])
        xy = traced(deck, path) if len(path) > 1 else deck.plan.alignment.to_cartesian(path)
        axes.plot(*xy.T, markevery=[0, -1], zorder=9, **style)
        x, y = xy[-1]
        text = axes.text(
            x + 0.25 * unit, y + 0.2 * unit, f"{i + 1}", ha="left", va="top", zorder=10
        )
        text.set(fontsize=7.5, color=LOAD_INK, fontweight="bold")
        text.set_bbox({"fc": "white", "ec": "none", "pad": 0.3, "alpha": 0.75})
    if not deck.probes:
        return []
    return [Line2D([], [], label="probe, with its number in the table", **(style | {"lw": 0.0}))]


def _points(axes: Axes, deck: Deck) -> None:
    for point in deck.points:
        corners = closed(deck, deck.plan.alignment.rectangles(point.at, point.size))
        axes.add_patch(Polygon(corners, fc=HOLD_INK, ec=INK, lw=0.6, zorder=7))
        x, y = corners.max(axis=0)
        axes.text(x, y, f" {point.name}", ha="left", va="top", fontsize=7.5, zorder=9)


def _dimensions(axes: Axes, deck: Deck, gaps: Sequence[float], unit: float) -> None:
    """Chains of stations beyond the right edge, of offsets at one or both ends; of an outline
    its extent."""
    plan, alignment = deck.plan, deck.plan.alignment
    low, high = plan.u_range
    y = float(plan.line_offsets(np.array([low, high])).max()) + gaps[0]
    if not plan.is_grid:
        y += 1.5 * unit  # clear of the names of edges
    u = np.unique(np.round([low, *plan.stations, high], 9))
    _chain(axes, deck, plan.at(u, np.array(y)), u, unit)
    tapered = plan.end_offsets != plan.offsets
    ends = [(low, low - gaps[1], -1.0), (high, high + gaps[1], 1.0)]
    if plan.is_grid:
        ends = [(plan.stations[0], ends[0][1], -1.0), (plan.stations[-1], ends[1][1], 1.0)]
    for station, at, away in ends[: 2 if tapered else 1]:
        offsets = np.unique(np.round(plan.line_offsets(np.array(station)), 9))
        points = np.column_stack([np.full(len(offsets), at), offsets])
        if alignment.straight:
            points[:, 0] += away * np.abs(offsets).max() * abs(np.tan(plan.skew))
        _chain(axes, deck, points, offsets, unit)


def _chain(axes: Axes, deck: Deck, points: Floats, values: Floats, unit: float) -> None:
    """A dimension chain through plan points with the differences of values written on it."""
    axes.plot(*traced(deck, points).T, color=INK, lw=0.5, zorder=2)
    xy = deck.plan.alignment.to_cartesian(points)
    axes.plot(*xy.T, ls="", marker="|", ms=5, mew=0.7, color=INK, zorder=2)
    axes.plot(*xy.T, ls="", marker="_", ms=5, mew=0.7, color=INK, zorder=2)
    middle = deck.plan.alignment.to_cartesian(0.5 * (points[1:] + points[:-1]))
    steps = np.diff(xy, axis=0)
    for place, step, value in zip(middle, steps, np.diff(values), strict=True):
        # Text reads from the left or from below; y runs down the page.
        angle = -np.degrees(np.arctan2(step[1], step[0]))
        angle = (angle + 90.0) % 180.0 - 90.0
        turned = angle + 180.0 if angle < -60.0 else angle
        narrow = np.hypot(*step) < 1.1 * unit
        away = np.array([0.0, 0.5 * unit]) if abs(turned) < 45 else np.array([-0.5 * unit, 0.0])
        x, y = place + away * (2.0 if narrow else 1.0)
        axes.text(x, y, length(float(value)), ha="center", va="center", rotation=turned, fontsize=7)

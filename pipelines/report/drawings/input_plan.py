"""The input as one drawing: a dimensioned plan of lines, supports, beams, carriageway, probes."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely import LineString, Point, Polygon, get_parts
from shapely.ops import nearest_points

from pipelines.deck.deck import Deck, Held, Line
from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, canvas
from pipelines.report.drawings.canvas import SMALL, Paper, draw
from pipelines.report.drawings.colours import (
    BEAM,
    BEAM_FILL,
    HOLD,
    INK,
    LOAD,
    PALE,
    ROAD,
    SLAB,
    SOFT,
)
from pipelines.report.drawings.legend import Key, legend, legend_height
from pipelines.report.drawings.plan import (
    along_carriageway,
    closed,
    line_names,
    line_path,
    outline,
    scale_bar,
    traced,
)
from plate.arrays import Floats

# Sizes of lengths in chains [point].
CHAIN = 7.0
# Dashes, in widths of the line.
SPRING, AXIS = (3, 1.5), (9, 2, 1.5, 2)


def input_plan(deck: Deck, name: str = "sketch") -> Drawing:
    """The input as a dimensioned plan: lines, supports, beams, holds, carriageway, probes."""
    drawn = closed(deck, deck.plan.outline)
    spread = float(np.ptp(drawn, axis=0).max())
    unit = 0.03 * spread
    beyond = [_longest_stub(deck, letter) for letter in "CL"]
    tapered = deck.plan.end_offsets != deck.plan.offsets
    low = drawn.min(axis=0) - [beyond[1] + 3.2 * unit, beyond[0] + 2.1 * unit]
    right = beyond[1] + (3.2 if tapered or not deck.plan.alignment.straight else 1.2) * unit
    below = beyond[0] + (3.6 if deck.plan.is_grid else 5.0) * unit
    high = drawn.max(axis=0) + np.array([right, below])
    keys = _keys(deck)
    room = canvas(np.stack([low, high]), (11.0, 22.0, 11.0, 0.0))
    foot = 6.0 + legend_height(keys, room.size[0])
    room = replace(room, margins=(11.0, 22.0, 11.0, foot))

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        axes.path(drawn, closed=True, fill=SLAB, ink="none")
        _zones(axes, deck)
        chains = [b + 1.9 * unit for b in beyond]
        _dimensions(axes, deck, chains, unit)
        outline(axes, deck)
        _lines(axes, deck, room.scale, unit)
        _carriageway(axes, deck)
        for point in deck.points:
            corners = closed(deck, deck.plan.alignment.rectangles(point.at, point.size))
            axes.path(corners, closed=True, fill=HOLD)
            at = corners.max(axis=0)
            axes.text(at, point.name, (3.0, 0.0), size=SMALL, along="start", level="top")
        for line in deck.lines:
            for held in line.held_at:
                _hold(axes, deck, line_path(deck, line), held)
        line_names(axes, deck, [beyond[0] + 1.3 * unit, beyond[1] + 0.9 * unit], stations=True)
        _probes(axes, deck, unit)
        if not deck.plan.alignment.straight:
            scale_bar(axes)
        paper.text([11.0, 12.0], _words(deck), along="start", ink=SOFT)
        legend(paper, keys)

    return draw(name, f"Plan of {deck.title}: lines, supports and dimensions.", room.size, paint)


def _keys(deck: Deck) -> list[Key]:
    """The legend: each kind of line and hold that the deck has, once."""
    found: dict[str, Key] = {}
    for name in deck.plan.lines:
        if name not in deck.plan.edges and deck.line(name) is None:
            key = Key(words="line without support", ink=PALE, width=0.6, dash=(1, 3))
            found.setdefault("free", key)
    for line in deck.lines:
        hard = line.support == "rigid" and line.hard
        found.setdefault("hard" if hard else line.support, _line_key(line))
        for held in line.held_at:
            springy = _springy(held)
            words = "hold of a beam with springs" if springy else "hold of a beam (w = 0)"
            fill = "white" if springy else HOLD
            key = Key(words=words, mark="^", size=6.0, mark_fill=fill, mark_ink=HOLD)
            found.setdefault(f"hold {springy}", key)
    found["edge"] = Key(words="edge of the slab", width=0.9)
    if deck.traffic is not None:
        left, right = deck.traffic.carriageway
        words = f"edge of the carriageway ({length(right - left)} m wide)"
        found["road"] = Key(words=words, ink=ROAD, width=1.0, dash=(6, 3))
        if deck.traffic.axis is not None:
            found["axis"] = Key(
                words="carriageway's axis, 0 at the dot",
                ink=ROAD,
                width=0.8,
                dash=AXIS,
                mark="o",
                size=4.0,
                mark_fill=ROAD,
                mark_ink="none",
            )
    if deck.probes:
        words = "probe, with its number in the table"
        found["probe"] = Key(words=words, mark="+", size=7.0, mark_ink=LOAD)
    if deck.points:
        found["point"] = Key(words="point support", mark="s", size=6.0, mark_fill=HOLD)
    return list(found.values())


def _line_key(line: Line) -> Key:
    if line.support == "beam":
        words = "beam (drawn at its stated width)"
        return Key(words=words, fill=BEAM_FILL, ink=BEAM, width=1.0)
    if line.support == "spring":
        return Key(words="line spring", ink=HOLD, width=1.6, dash=SPRING)
    if line.support == "clamped":
        return Key(words="clamped line", width=2.0, mark="x", size=6.0)
    words = "rigid line (hard)" if line.hard else "rigid line (soft)"
    fill = "white" if line.hard else INK
    return Key(words=words, width=2.0, mark="D", size=4.0, mark_fill=fill)


def _words(deck: Deck) -> str:
    """What the plan's lines do not tell."""
    thickness = f"slab {as_given(1e3 * deck.slab.thickness)} mm"
    axes = "stations" if deck.plan.is_grid else "x"
    words = f"from above, {axes} to the right; lengths in m; {thickness}"
    if deck.plan.skew:
        words += f"; skew {as_given(round(float(np.degrees(deck.plan.skew)), 6))}°"
    if not deck.plan.alignment.straight:
        radius = as_given(deck.plan.alignment.radius)
        words += f"; radius {radius} m at offset 0, along which lengths on the arc are"
    return words


def _longest_stub(deck: Deck, letter: str) -> float:
    """Longest run of beams past the slab's edges, of C or L lines [m]."""
    named = [line for line in deck.lines if line.name.startswith(letter)]
    return max((held.stub for line in named for held in line.held_at), default=0.0)


def _zones(axes: Axes, deck: Deck) -> None:
    low, high = deck.plan.u_range
    y = deck.plan.outline[:, 1]
    slab = Polygon(closed(deck, deck.plan.outline)).buffer(0.0)
    for zone in deck.slab.zones:
        a, b = zone.stations or (low, high)
        c, d = zone.offsets or (float(y.min()), float(y.max()))
        corners = deck.plan.at(np.array([a, b, b, a]), np.array([c, c, d, d]))
        for part in get_parts(Polygon(closed(deck, corners)).intersection(slab)):
            if isinstance(part, Polygon):
                rim = np.array(part.exterior.coords)
                axes.path(rim, closed=True, fill="#e3ddcf", ink=PALE, width=0.5, hatch=".")
        axes.text(
            deck.plan.alignment.to_cartesian(corners).mean(axis=0),
            f"{as_given(1e3 * zone.thickness)} mm",
            turn=-90.0 if b - a < 0.1 * (high - low) else 0.0,
            size=CHAIN,
            halo=True,
        )


def _lines(axes: Axes, deck: Deck, scale: float, unit: float) -> None:
    """Every line by its kind."""
    for name, free in deck.plan.lines.items():
        if name not in deck.plan.edges and deck.line(name) is None:
            axes.path(traced(deck, free.path), ink=PALE, width=0.6, dash=(1, 3))
    for line in deck.lines:
        xy = traced(deck, line_path(deck, line))
        if line.support == "beam":
            wide = max(scale * (line.width or 0.3 * unit), 2.2)
            axes.path(xy, ink=BEAM, width=wide)
            axes.path(xy, ink=BEAM_FILL, width=wide - 1.2)
            axes.path(xy, ink=BEAM, width=0.5, dash=(8, 2, 1, 2))
        elif line.support == "spring":
            axes.path(xy, ink=HOLD, width=1.6, dash=SPRING)
        else:
            axes.path(*_ticks(xy, 0.35 * unit, both=line.support == "clamped"))
            axes.path(xy, width=2.0)
            if line.support == "rigid" and line.hard:
                axes.path(xy, ink="white", width=0.7)


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


def _springy(held: Held) -> bool:
    return bool(np.isfinite(held.k) or held.k_rot > 0.0)


def _hold(axes: Axes, deck: Deck, path: Floats, held: Held) -> None:
    """A beam's hold as a triangle, at the crossing or at the end of the stub."""
    at, away = hold_place(deck, path, held)
    a, b = deck.plan.alignment.to_cartesian(np.stack([at, at + held.stub * away]))
    if held.stub > 0.0:
        axes.path([a, b], ink=BEAM, width=2.0)
    axes.mark(b, "^", 6.0, fill="white" if _springy(held) else HOLD, ink=HOLD)


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


def _carriageway(axes: Axes, deck: Deck) -> None:
    """Its edges, and its axis where it has one, in the direction of traffic."""
    if deck.traffic is None:
        return
    for y in deck.traffic.carriageway:
        axes.path(along_carriageway(deck, y), ink=ROAD, width=1.0, dash=(6, 3))
    if deck.traffic.axis is None:
        return
    path = along_carriageway(deck, 0.0)
    axes.path(path, ink=ROAD, width=0.8, dash=AXIS)
    start = deck.traffic.axis.to_plan(np.zeros(2))
    (x0, x1), (y0, y1) = axes.x, axes.y
    if x0 <= start[0] <= x1 and y0 <= start[1] <= y1:
        axes.mark(start, "o", 4.0, fill=ROAD, ink="none")
    k = int(0.7 * len(path))  # clear of the names of edges
    tip = axes.at(path[k])
    along = tip - axes.at(path[k - 1])
    axes.paper.arrow(tip, tip + 7.0 * along / np.linalg.norm(along), ink=ROAD, width=0.8)


def _probes(axes: Axes, deck: Deck, unit: float) -> None:
    """Probes with the numbers of the probe table."""
    for i, probe in enumerate(deck.probes):
        path = np.array([probe.at] if probe.at is not None else [probe.start, probe.end])
        xy = traced(deck, path) if len(path) > 1 else deck.plan.alignment.to_cartesian(path)
        if len(xy) > 1:
            axes.path(xy, ink=LOAD, width=1.6)
        axes.mark(xy[[0, -1]] if len(xy) > 1 else xy, "+", 7.0, ink=LOAD, width=1.1)
        at = xy[-1] + np.array([0.25, 0.2]) * unit
        axes.text(
            at, f"{i + 1}", along="start", level="top", size=SMALL, ink=LOAD, bold=True, halo=True
        )


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
    axes.path(traced(deck, points), width=0.5)
    xy = deck.plan.alignment.to_cartesian(points)
    for kind in "|_":
        axes.mark(xy, kind, 5.0, width=0.7)
    middle = deck.plan.alignment.to_cartesian(0.5 * (points[1:] + points[:-1]))
    steps = np.diff(xy, axis=0)
    for place, step, value in zip(middle, steps, np.diff(values), strict=True):
        # Text reads from the left or from below; y runs down the page.
        angle = -np.degrees(np.arctan2(step[1], step[0]))
        angle = (angle + 90.0) % 180.0 - 90.0
        turned = angle + 180.0 if angle < -60.0 else angle
        narrow = np.hypot(*step) < 1.1 * unit
        away = np.array([0.0, 0.5 * unit]) if abs(turned) < 45 else np.array([-0.5 * unit, 0.0])
        at = place + away * (2.0 if narrow else 1.0)
        axes.text(at, length(float(value)), turn=-turned, size=CHAIN)

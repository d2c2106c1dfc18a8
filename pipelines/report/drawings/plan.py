"""Plan drawings: the deck from above, x to the right, y down the page.

Everything is straight in plan coordinates (station, offset) and drawn through the deck's alignment,
so straight, skew, tapered and curved decks share one way of drawing.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import Polygon

from pipelines.deck.deck import Deck, Line
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, Canvas, canvas, draw
from pipelines.report.drawings.scales import scale
from pipelines.traffic.arrangements import LoadPosition
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, points_of

# Pieces into which a straight plan line is divided to be drawn on a curved deck.
PIECES = 60

LOAD_INK = "#6a1b5d"


def traced(deck: Deck, path: Floats) -> Floats:
    """Cartesian points along a plan polyline (n, 2) [m]."""
    if deck.plan.alignment.straight:
        return path
    share = np.linspace(0.0, 1.0, PIECES + 1)[:, None]
    parts = [a + share * (b - a) for a, b in itertools.pairwise(path)]
    return deck.plan.alignment.to_cartesian(np.concatenate(parts))


def closed(deck: Deck, corners: Floats) -> Floats:
    """Cartesian outline of a plan polygon (n, 2) [m]."""
    return traced(deck, np.vstack([corners, corners[:1]]))


def line_path(deck: Deck, line: Line) -> Floats:
    """Plan points (n, 2) of a supporting line as it acts."""
    found = deck.plan.lines[line.name]
    return found.full if line.to_edges else found.path


def along_carriageway(deck: Deck, offset: float) -> Floats:
    """Cartesian points (n, 2) at an offset of the traffic, over the slab's extent along it."""
    axis = deck.required_traffic.axis
    if axis is None:
        ends = deck.plan.at(np.array(deck.plan.u_range), np.array([offset, offset]))
        return traced(deck, ends)
    low, high = deck.slab_limits[:, 0].tolist()
    stations = axis.stations(low, high, DRAWN)
    return axis.to_plan(np.column_stack([stations, np.full(len(stations), offset)]))


def deck_canvas(deck: Deck, around: float, bottom: float) -> Canvas:
    """Canvas of the whole slab with room around it [m] and below it [inch]."""
    return canvas(closed(deck, deck.plan.outline), (0.62, 0.28, 0.2, bottom), around)


def frame(axes: Axes, deck: Deck) -> None:
    """Axis titles; on a curved deck stations stand at the lines and a scale bar is drawn."""
    if deck.plan.alignment.straight:
        scale(axes, "bottom", "station x [m]")
        scale(axes, "left", "offset y [m]")
    else:
        axes.xaxis.set_visible(False)
        axes.yaxis.set_visible(False)
        scale_bar(axes)
    for side in axes.spines.values():
        side.set_color("#bbbbbb")


def scale_bar(axes: Axes) -> None:
    (x0, x1), (y1, y0) = axes.get_xlim(), axes.get_ylim()
    bar = float(10.0 ** np.floor(np.log10(0.3 * (x1 - x0))))
    bar *= 2.0 if 0.3 * (x1 - x0) >= 2.0 * bar else 1.0
    x, y = x0 + 0.03 * (x1 - x0), y1 - 0.04 * (y1 - y0)
    axes.plot([x, x + bar], [y, y], color=INK, lw=2.5, solid_capstyle="butt")
    axes.text(x + 0.5 * bar, y - 0.012 * (y1 - y0), f"{bar:g} m", ha="center", va="bottom")


def outline(axes: Axes, deck: Deck, fill: str = "none") -> None:
    """The slab's edges, those of its openings included."""
    axes.add_patch(Polygon(closed(deck, deck.plan.outline), fc=fill, ec=INK, lw=0.9, zorder=3))
    for corners in points_of(deck.plan.openings):
        axes.add_patch(Polygon(closed(deck, corners), fc="white", ec=INK, lw=0.9, zorder=3))


def faint_lines(axes: Axes, deck: Deck) -> None:
    """All lines of the plan, those that carry the slab drawn stronger."""
    for name, line in deck.plan.lines.items():
        if name in deck.plan.edges and deck.line(name) is None:
            continue
        support = deck.line(name)
        path = line.path if support is None else line_path(deck, support)
        x, y = traced(deck, path).T
        if support is None:
            axes.plot(x, y, color=PALE, lw=0.5, ls=(0, (1, 3)), zorder=4)
        else:
            axes.plot(x, y, color=INK, lw=0.9, zorder=4)


def line_names(axes: Axes, deck: Deck, gaps: Sequence[float], *, stations: bool = False) -> None:
    """C1, C2, ... beyond the left edge and L1, L2, ... before the start edge, `gaps` [m] off;
    names of other edges outside their middle, of other lines beside it."""
    plan = deck.plan
    for name, line in plan.lines.items():
        if line.curves:
            k = len(line.curves) // 2
            at, along = line.curves[k].at(0.5), line.curves[k].tangent(0.5)
            away = gaps[0] * np.array([-along[1], along[0]])
            if name in plan.edges and plan.contains(at + 1e-3 * away / gaps[0]):
                away = -away
            x, y = plan.alignment.to_cartesian(at + away)
            axes.text(x, y, name, ha="center", va="center", fontsize=7.5, color=INK, zorder=9)
    if not plan.is_grid:
        return
    low = plan.u_range[0]
    for i, u in enumerate(plan.stations):
        y = plan.line_offsets(np.array(u))[0] - gaps[0]
        x, y = plan.alignment.to_cartesian(plan.at(np.array(u), y))
        text = f"C{i + 1}\n{length(u)}" if stations else f"C{i + 1}"
        axes.text(x, y, text, ha="center", va="center", fontsize=7.5, color=INK, zorder=9)
    offsets = plan.line_offsets(np.array(low))[1:-1]
    for j, offset in enumerate(offsets):
        x, y = plan.alignment.to_cartesian(plan.at(np.array(low - gaps[1]), offset))
        axes.text(x, y, f"L{j + 1}", ha="center", va="center", fontsize=7.5, color=INK, zorder=9)


@dataclass(frozen=True, eq=False)
class StandingLoad:
    """Traffic as a plan shows it: wheel patches (n, 4, 2) in plan [m] and the vehicles, for their
    arrows of travel."""

    wheels: Floats
    vehicles: tuple[LoadPosition, ...]

    @classmethod
    def of(cls, envelope: TrafficEnvelope, number: int) -> "StandingLoad | None":
        """The arrangement of that number; None for the empty deck."""
        at = envelope.position(number)
        if at is None:
            return None
        vehicles = tuple(lane.position for lane in at.lanes if lane.position is not None)
        return cls(envelope.wheels(number).corners, vehicles)


def standing(axes: Axes, deck: Deck, load: StandingLoad) -> None:
    """The wheel patches of the traffic, and arrows in the direction of travel."""
    for corners in load.wheels:
        axes.add_patch(
            Polygon(closed(deck, corners), fc="none", ec="white", lw=2.2, zorder=6, clip_on=True)
        )
        axes.add_patch(
            Polygon(closed(deck, corners), fc="none", ec=LOAD_INK, lw=1.1, zorder=7, clip_on=True)
        )
    arrow = {"arrowstyle": "-|>", "color": LOAD_INK, "lw": 1.1, "shrinkA": 0, "shrinkB": 0}
    for at in load.vehicles:
        a, b = travel(deck, at)
        axes.annotate("", xy=b, xytext=a, arrowprops=arrow, zorder=8, annotation_clip=True)


def travel(deck: Deck, at: LoadPosition) -> Floats:
    """Cartesian tail and tip (2, 2) [m] of the arrow of travel, at the first axle."""
    ahead = 1.0 if at.direction == "forward" else -1.0
    stations = at.station + ahead * np.array([-0.1, 0.9])
    track = np.column_stack([stations, [at.offset, at.offset]])
    return deck.plan.alignment.to_cartesian(deck.course.to_plan(track))


def static_loads(deck: Deck, name: str = "static-loads") -> Drawing | None:
    """Patches and line loads of the static cases on the plan; None where there are none."""
    cases = [case for case in deck.cases if case.patches or case.lines]
    if not cases:
        return None
    room = deck_canvas(deck, 1.0, 0.75)
    inks = ("#6a1b5d", "#1b6a5d", "#a0522d", "#2b5f8a", "#555500")
    hatches = ("////", "\\\\\\\\", "xxxx", "....", "----")

    def paint(figure: Figure) -> None:
        axes = room.axes(figure)
        frame(axes, deck)
        outline(axes, deck, "#f4f2ec")
        faint_lines(axes, deck)
        line_names(axes, deck, (0.5, 0.5))
        legend: list[Swatch] = []
        for k, case in enumerate(cases):
            ink, hatch = inks[k % len(inks)], hatches[k % len(hatches)]
            for patch in case.patches:
                corners = closed(deck, deck.plan.alignment.rectangles(patch.at, patch.size))
                axes.add_patch(Polygon(corners, fc="white", ec=ink, lw=1.0, hatch=hatch, zorder=6))
                x, y = corners.max(axis=0)
                axes.text(x, y, f" {as_given(1e-3 * patch.load)} kN", va="top", color=ink, zorder=8)
            for line in case.lines:
                xy = traced(deck, np.array(line.path))
                axes.plot(*xy.T, color=ink, lw=2.2, zorder=6)
                x, y = xy[len(xy) // 2] if len(xy) > 2 else xy.mean(axis=0)
                label = f"{as_given(1e-3 * line.load)} kN/m"
                axes.text(
                    x,
                    y,
                    label,
                    ha="center",
                    va="center",
                    color=ink,
                    bbox={"fc": "white", "ec": "none", "pad": 0.8},
                    zorder=8,
                )
            legend.append(Swatch(fc="white", ec=ink, hatch=hatch, label=case.name))
        figure.legend(handles=legend, loc="lower center", ncols=4, frameon=False, fontsize=7.5)

    return draw(name, "Patches and line loads of the static cases.", room.size, paint)

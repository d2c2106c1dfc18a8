"""Plan drawings: the deck from above, x to the right, y down the page.

Everything is straight in plan coordinates (station, offset) and drawn through the deck's alignment,
so straight, skew, tapered and curved decks share one way of drawing.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.deck.deck import Deck, Line
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, Canvas, canvas
from pipelines.report.drawings.canvas import SMALL, Paper, draw
from pipelines.report.drawings.colours import LOAD, PALE, SERIES, SLAB
from pipelines.report.drawings.legend import Key, legend, legend_height
from pipelines.traffic.arrangements import LoadPosition
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, points_of

# Pieces into which a straight plan line is divided to be drawn on a curved deck.
PIECES = 60


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
    """Canvas of the whole slab with room around it [m] and below it [point]."""
    return canvas(closed(deck, deck.plan.outline), (45.0, 20.0, 14.0, bottom), around)


def frame(axes: Axes, deck: Deck) -> None:
    """Axis titles; on a curved deck stations stand at the lines and a scale bar is drawn."""
    axes.frame("#bbbbbb")
    if deck.plan.alignment.straight:
        axes.scale("bottom", "station x [m]")
        axes.scale("left", "offset y [m]")
    else:
        scale_bar(axes)


def scale_bar(axes: Axes) -> None:
    (x0, x1), (y0, y1) = axes.x, axes.y
    bar = float(10.0 ** np.floor(np.log10(0.3 * (x1 - x0))))
    bar *= 2.0 if 0.3 * (x1 - x0) >= 2.0 * bar else 1.0
    x, y = x0 + 0.03 * (x1 - x0), y1 - 0.04 * (y1 - y0)
    axes.path([[x, y], [x + bar, y]], width=2.5)
    axes.text([x + 0.5 * bar, y], f"{bar:g} m", (0.0, -3.0), level="foot")


def outline(axes: Axes, deck: Deck, fill: str = "none") -> None:
    """The slab's edges, those of its openings included."""
    axes.path(closed(deck, deck.plan.outline), closed=True, fill=fill, width=0.9)
    for corners in points_of(deck.plan.openings):
        axes.path(closed(deck, corners), closed=True, fill="white", width=0.9)


def faint_lines(axes: Axes, deck: Deck) -> None:
    """All lines of the plan, those that carry the slab drawn stronger."""
    for name, line in deck.plan.lines.items():
        if name in deck.plan.edges and deck.line(name) is None:
            continue
        support = deck.line(name)
        if support is None:
            axes.path(traced(deck, line.path), ink=PALE, width=0.5, dash=(1, 3))
        else:
            axes.path(traced(deck, line_path(deck, support)), width=0.9)


def line_names(axes: Axes, deck: Deck, gaps: Sequence[float], *, stations: bool = False) -> None:
    """C1, C2, ... beyond the left edge and L1, L2, ... before the start edge, `gaps` [m] off;
    names of other edges outside their middle, of other lines beside it."""
    plan = deck.plan
    named: list[tuple[Floats, str]] = []
    for name, line in plan.lines.items():
        if line.curves:
            k = len(line.curves) // 2
            at, along = line.curves[k].at(0.5), line.curves[k].tangent(0.5)
            away = gaps[0] * np.array([-along[1], along[0]])
            if name in plan.edges and plan.contains(at + 1e-3 * away / gaps[0]):
                away = -away
            named.append((at + away, name))
    if plan.is_grid:
        low = plan.u_range[0]
        for i, u in enumerate(plan.stations):
            y = plan.line_offsets(np.array(u))[0] - gaps[0]
            text = f"C{i + 1}\n{length(u)}" if stations else f"C{i + 1}"
            named.append((plan.at(np.array(u), y), text))
        for j, offset in enumerate(plan.line_offsets(np.array(low))[1:-1]):
            named.append((plan.at(np.array(low - gaps[1]), offset), f"L{j + 1}"))
    for at, text in named:
        axes.text(plan.alignment.to_cartesian(at), text, size=SMALL, halo=True)


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
    wheels = [closed(deck, corners) for corners in load.wheels]
    axes.path(*wheels, closed=True, ink="white", width=2.6)
    axes.path(*wheels, closed=True, ink=LOAD, width=1.2)
    for at in load.vehicles:
        axes.arrow(*travel(deck, at), ink=LOAD, width=1.2)


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
    looks = [(SERIES[k % len(SERIES)], "/\\x.-"[k % 5]) for k in range(len(cases))]
    keys = [
        Key(words=case.name, ink=ink, width=1.0, fill="white", hatch=hatch)
        for case, (ink, hatch) in zip(cases, looks, strict=True)
    ]
    width = deck_canvas(deck, 1.0, 0.0).size[0]
    room = deck_canvas(deck, 1.0, 32.0 + legend_height(keys, width))

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        outline(axes, deck, SLAB)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.5, 0.5))
        for case, (ink, hatch) in zip(cases, looks, strict=True):
            for patch in case.patches:
                corners = closed(deck, deck.plan.alignment.rectangles(patch.at, patch.size))
                axes.path(corners, closed=True, fill="white", ink=ink, width=1.0, hatch=hatch)
                words = f"{as_given(1e-3 * patch.load)} kN"
                axes.text(
                    corners.max(axis=0), words, (3.0, 0.0), along="start", level="top", ink=ink,
                    halo=True,
                )  # fmt: skip
            for line in case.lines:
                xy = traced(deck, np.array(line.path))
                axes.path(xy, ink=ink, width=2.2)
                at = xy[len(xy) // 2] if len(xy) > 2 else xy.mean(axis=0)
                axes.text(at, f"{as_given(1e-3 * line.load)} kN/m", ink=ink, halo=True)
        legend(paper, keys)

    return draw(name, "Patches and line loads of the static cases.", room.size, paint)

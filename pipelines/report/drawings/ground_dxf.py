"""The slab in plan in bars.dxf: outline, lines and their names, chains of dimensions or words that
set it out.
"""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.layouts.layout import Modelspace

from pipelines.deck.deck import Deck, Line
from pipelines.deck.thicknesses import Thicknesses
from pipelines.numbers import as_given, length
from pipelines.report.drawings.dxf_parts import LETTERS, MM, dimension, flat, sheet, text
from pipelines.report.drawings.plan import line_path
from plate.arrays import Floats
from plate.geometry.curves import Curve
from plate.geometry.outline import points_of
from plate.geometry.plan import Plan

# Plans have the first of these scales at which they are no larger than this on paper [mm], that of
# an A3 sheet less its frame, title and notes; else the last.
PLANS, LARGEST = (25, 50, 100), (330.0, 130.0)
BESIDE = (0.5, 0.4, 0.6, 0.3, 0.7)  # of an edge, where its name may stand


@dataclass(frozen=True, eq=False, kw_only=True)
class Ground:
    """Place of a plan on the sheet [mm]. scale : 50 = 1:50. edges : closed outlines (n, 2) before
    they are moved by `shift`; x_min, x_max, above, below : what the slab takes."""

    scale: int
    edges: tuple[Floats, ...]
    shift: Floats
    x_min: float
    x_max: float
    above: float
    below: float

    @property
    def size(self) -> float:
        """Height of text."""
        return LETTERS * self.scale


def ground_of(deck: Deck, top: float) -> Ground:
    """The plan of the slab below its title at `top`."""
    edges = [flat(deck, np.vstack([e, e[:1]]))[:-1] for e in points_of(deck.plan.boundary)]
    points = np.concatenate(edges)
    (x_min, y_min), (x_max, y_max) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    wide, high = x_max - x_min, y_max - y_min
    fits = [k for k in PLANS if wide <= k * LARGEST[0] and high <= k * LARGEST[1]]
    scale = next(iter(fits), PLANS[-1])
    down = top - 5 * LETTERS * scale - y_max
    return Ground(
        scale=scale,
        edges=tuple(edges),
        shift=np.array([0.0, down]),
        x_min=x_min,
        x_max=x_max,
        above=y_max + down,
        below=y_min + down,
    )


def draw_ground(space: Modelspace, deck: Deck, ground: Ground) -> list[shapely.Polygon]:
    """Outline, openings, supporting lines with their names, steps of the soffit, the directions of
    x and y, chains of dimensions on straight decks with lines. Where names and axes stand."""
    shift, size = ground.shift, ground.size
    for edge in ground.edges:
        points = (edge + shift).tolist()
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": "SLAB (mm)"})
    for line in deck.lines:
        on = {"layer": "SUPPORTING LINES (mm)", "ltscale": size / 2}
        space.add_lwpolyline(line_on(deck, line, ground).tolist(), dxfattribs=on)
    for path in Thicknesses.of(deck).straight_steps:
        on = {"layer": "SLAB (mm)", "linetype": "DASHED", "ltscale": 3 * size}
        space.add_lwpolyline((flat(deck, path) + shift).tolist(), dxfattribs=on)
    taken = []
    for name, (x, y) in _names(deck, ground):
        text(space, name, (x, y), 0.8 * size, Align.MIDDLE_CENTER)
        half = 0.4 * size * len(name)
        taken.append(shapely.box(x - half, y - 0.5 * size, x + half, y + 0.5 * size))
    # past the names of lines that run along the slab
    taken.append(_axes(space, deck, (ground.x_max + 4 * size, ground.above + 2 * size), size))
    if deck.plan.is_grid and deck.plan.alignment.straight:
        taken += _chains(space, deck, ground)
    return taken


def line_on(deck: Deck, line: Line, ground: Ground) -> Floats:
    """Points (n, 2) of a supporting line on the sheet [mm]."""
    return np.asarray(flat(deck, line_path(deck, line)) + ground.shift)


def _names(deck: Deck, ground: Ground) -> Iterator[tuple[str, tuple[float, float]]]:
    """Names of lines past their ends, those of the edges of an outline outside their middles."""
    plan, size = deck.plan, ground.size
    edges = () if plan.is_grid else plan.edges
    past: list[Floats] = []
    for line in deck.lines:
        if line.name not in edges:
            # as it runs: names of lines that meet in a corner stand apart
            points = line_on(deck, line, ground)
            run = points[-1] - points[-2]
            at = points[-1] + 0.95 * size * run / np.linalg.norm(run)
            past.append(at)
            yield line.name, (float(at[0]), float(at[1]))
    for name in edges:
        curves = plan.lines[name].curves
        curve = curves[len(curves) // 2]
        spots = [_outside(deck, ground, curve, share) for share in BESIDE]
        # away from the names that stand past ends of lines
        at = next(
            (at for at in spots if all(np.hypot(*(at - p)) > 3.0 * size for p in past)), spots[0]
        )
        yield name, (float(at[0]), float(at[1]))


def _outside(deck: Deck, ground: Ground, curve: Curve, share: float) -> Floats:
    """A point beside an edge, off the slab, on the sheet [mm]."""
    a, b = curve.tangent(share)
    away = np.array([-b, a])
    if deck.plan.contains(curve.at(share) + 1e-3 * away):
        away = -away
    return np.asarray(sheet(curve.at(share) + 1.2e-3 * ground.size * away) + ground.shift)


def set_out_words(deck: Deck) -> list[str]:
    """What sets out a plan of which no chains of dimensions are drawn, and openings."""
    plan, words = deck.plan, arc_words(deck)
    if not plan.is_grid:
        names = [*plan.edges, *(n for n in plan.lines if n not in plan.edges)]
        found = [f"{name} {_course(plan.lines[name].curves)}" for name in names]
        words.append(f"Set out in m by x and y: {'; '.join(found)}.")
    words += [opening_words(k, ring) for k, ring in enumerate(plan.openings, start=1)]
    return words


def opening_words(number: int, ring: Sequence[Curve]) -> str:
    """Where an opening is, and how large."""
    if len(ring) == 2 and all(np.isclose(abs(curve.sweep), np.pi) for curve in ring):
        size = as_given(round(2.0 * MM * ring[0].radius, 6))
        return f"Opening {number}: {size} mm round about {_point(ring[0].centre)} m."
    return f"Opening {number}, its corners in m by x and y: {_course(ring[:-1])}."


def _course(curves: Sequence[Curve]) -> str:
    """ "(0.00, -4.00) by (6.03, -4.61) on R 47.08 to (12.00, -6.00)": as a line runs."""
    words = _point(np.array(curves[0].start))
    for curve in curves:
        if curve.sweep:
            words += f" by {_point(curve.at(0.5))} on R {length(curve.radius)}"
        words += f" to {_point(np.array(curve.end))}"
    return words


def _point(at: Floats) -> str:
    """Not to be parted at the end of a line."""
    x, y = at.tolist()
    return f"({length(x)},\u00a0{length(y)})"


def arc_words(deck: Deck) -> list[str]:
    """What sets out a curved deck, of which no chains of dimensions are drawn."""
    plan = deck.plan
    if plan.alignment.straight:
        return []
    low, high = plan.u_range
    offsets = plan.line_offsets(np.array(low)).tolist()
    sign = "-" if plan.alignment.radius > 0.0 else "+"
    return [
        f"Arc of R {length(abs(plan.alignment.radius))} m at offset 0, along which stations count: "
        f"edges x = {length(low)} and {length(high)}, "
        + ", ".join(f"C{k} {length(u)}" for k, u in enumerate(plan.stations, start=1))
        + f" m; offsets: edges y = {length(offsets[0])} and {length(offsets[-1])}, "
        + ", ".join(f"L{k} {length(y)}" for k, y in enumerate(offsets[1:-1], start=1))
        + f" m; radius {length(abs(plan.alignment.radius))} {sign} y. The arrows along x and y are "
        "those of the end edge. Cut lengths are on the arc.",
        _ends_on_arc(plan),
    ]


def _ends_on_arc(plan: Plan) -> str:
    """Corners of a curved plan in axes at its start edge, and how far its end edge is turned."""
    (low, high), turn = plan.u_range, 1.0 / plan.alignment.radius
    start = np.array([low, 0.0])
    along = plan.alignment.tangent(start)
    axes = np.column_stack([along, [-along[1], along[0]]])
    from_start = plan.alignment.to_cartesian(plan.outline) - plan.alignment.to_cartesian(start)
    # none as minus naught
    corners = np.round(from_start @ axes, 3) + 0.0
    left, end_left, end_right, right = (
        f"({x:.3f},\u00a0{y:.3f})".replace("-", "\u2212") for x, y in corners.tolist()
    )
    angle = float(np.degrees(abs(turn) * (high - low)))
    return (
        "Set out from the start edge at offset 0, in m by X along the deck there and Y square to "
        f"it to the right: start edge {left} to {right}, end edge {end_left} to {end_right}; the "
        f"deck turns to the {'right' if turn > 0.0 else 'left'} through {angle:.3f} degrees from "
        "edge to edge."
    )


def _axes(space: Modelspace, deck: Deck, at: tuple[float, float], size: float) -> shapely.Polygon:
    """Arrows along x and y from a point, on a curved deck those of its end edge; what they take."""
    on, (x, y) = {"layer": "TEXT"}, at
    end = np.array([deck.plan.u_range[1], 0.0])
    along = np.diff(flat(deck, end + np.array([[-1e-3, 0.0], [0.0, 0.0]])), axis=0)[-1]
    along /= np.linalg.norm(along)
    for name, (a, b) in (("x", along.tolist()), ("y", (float(along[1]), -float(along[0])))):
        head = [(2.0, 0.0), (1.4, 0.25), (1.4, -0.25), (2.0, 0.0)]
        space.add_line(at, (x + 2 * size * a, y + 2 * size * b), dxfattribs=on)
        points = [(x + size * (a * u - b * v), y + size * (b * u + a * v)) for u, v in head]
        space.add_lwpolyline(points, dxfattribs=on)
        text(space, name, (x + 2.7 * size * a, y + 2.7 * size * b), size, Align.MIDDLE_CENTER)
    far = 3.3 * size
    return shapely.Point(at).buffer(far)


def _chains(space: Modelspace, deck: Deck, ground: Ground) -> list[shapely.Polygon]:
    """Chains of dimensions: edges and cross lines above, where they meet the upper edge; edges and
    lines along at the start; the skew. What those beside the slab take."""
    plan, above, shift, size = deck.plan, ground.above, ground.shift, ground.size
    low, high = plan.u_range
    offsets = sorted(set(plan.line_offsets(np.array(low)).tolist()))
    upper = float(plan.outline[:, 1].min())
    met = plan.at(np.array(sorted({low, *plan.stations, high})), np.array(upper))[:, 0].tolist()
    left = MM * float(plan.outline[:, 0].min())
    for a, b in _pairs(met):
        dimension(space, (MM * a, above), (MM * b, above), (MM * a, above + 2 * size), size)
    for a, b in _pairs(offsets):
        ends = ((left, MM * -a + shift[1]), (left, MM * -b + shift[1]))
        dimension(space, *ends, (left - 2 * size, ends[0][1]), size, upright=True)
    taken = [shapely.box(left - 3.5 * size, ground.below, left - 1.5 * size, above)]
    if plan.skew:
        words = f"skew {as_given(round(float(np.degrees(plan.skew)), 6))} degrees"
        at = plan.at(np.array(low), np.array(float(plan.outline[:, 1].max())))
        x, y = (MM * at * np.array([1.0, -1.0]) + shift).tolist()
        # clear of an edge that leans over the words
        lean = max(2.0 * size * float(np.tan(plan.skew)), 0.0)
        right = x - 0.5 * size - lean
        text(space, words, (right, y + size), size, Align.RIGHT)
        wide = 0.85 * size * len(words)
        taken.append(shapely.box(right - wide, y + 0.7 * size, right, y + 2.3 * size))
    return taken


def _pairs(values: list[float]) -> Iterable[tuple[float, float]]:
    return ((a, b) for a, b in itertools.pairwise(values) if b - a > 1e-9)

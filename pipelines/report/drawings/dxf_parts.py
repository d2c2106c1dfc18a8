"""What the drawings of bars as DXF are made of: text, dimensions, the slab in plan.

Everything is drawn at full size in mm, X along the deck and Y up the sheet: y grows down it.
"""

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.layouts.layout import Modelspace

from pipelines.bars.schedule.marks import Mark
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.numbers import as_given, length
from pipelines.report.drawings.plan import line_path, traced
from plate.arrays import Floats
from plate.geometry.outline import points_of

MM = 1e3  # of a metre
LETTERS = 2.5  # height of text as plotted [mm]
FIGURE = 0.87  # width of a figure, in heights
SECTION, TABLE = 10 * LETTERS, 100 * LETTERS  # at 1:10 and at 1:100
# Plans have the first of these scales at which they are no larger than this on paper [mm], that of
# an A3 sheet less its frame, title and notes; else the last.
PLANS, LARGEST = (25, 50, 100), (330.0, 130.0)


def text(
    space: Modelspace,
    words: str,
    at: tuple[float, float],
    height: float,
    align: Align = Align.LEFT,
    turn: float = 0.0,
) -> None:
    # a true minus sign is missing in many drawing fonts
    words = words.replace("\u2212", "-")
    entity = space.add_text(
        words, height=height, rotation=turn, dxfattribs={"layer": "TEXT", "style": "BARS"}
    )
    entity.set_placement(at, align=align)


def dimension(
    space: Modelspace,
    a: tuple[float, float],
    b: tuple[float, float],
    base: tuple[float, float],
    height: float,
    *,
    upright: bool = False,
) -> None:
    """A measured dimension in whole mm between two points, its line through `base`; of an upright
    one that is shorter than its figures need, these stand level beside the line."""
    look = {
        "dimtxt": height,
        "dimtsz": 0.4 * height,
        "dimexe": 0.4 * height,
        "dimexo": 0.4 * height,
        "dimgap": 0.3 * height,
        "dimtad": 1,
        "dimdec": 0,
        "dimlfac": 1.0,
        "dimscale": 1.0,
        "dimrnd": 1.0,
        "dimtxsty": "BARS",
    }
    figures = FIGURE * height * len(f"{abs(a[1] - b[1]):.0f}")
    level = upright and abs(a[1] - b[1]) < figures + height
    beside = (base[0] - 0.6 * height - 0.5 * figures, 0.5 * (a[1] + b[1]))
    dimension = space.add_linear_dim(
        base,
        a,
        b,
        location=beside if level else None,
        text_rotation=0.0 if level else None,
        angle=90 if upright else 0,
        override=look,
        dxfattribs={"layer": "DIMENSIONS (mm)"},
    )
    dimension.render()


def ring(space: Modelspace, at: tuple[float, float], number: int, height: float) -> None:
    """A mark in its ring; height : of the text around it [mm]."""
    radius = 0.8 * height * (1.0 if number < 100 else 1.3)
    space.add_circle(at, radius, dxfattribs={"layer": "TEXT"})
    text(space, str(number), at, 0.8 * height, Align.MIDDLE_CENTER)


def filled_circle(
    space: Modelspace, at: tuple[float, float], radius: float, on: dict[str, str]
) -> None:
    """A bar that is cut."""
    space.add_circle(at, radius, dxfattribs=on)
    space.add_hatch(color=256, dxfattribs=on).paths.add_edge_path().add_ellipse(
        at, (radius, 0.0), ratio=1.0
    )


def u_bar(
    space: Modelspace, mark: Mark, at: float, leg: float, level: float, *, rightward: bool = True
) -> None:
    """Outside and inside of a U-bar, its bends round, filled; at : of the outside of its bend, from
    which the legs, `leg` long, run to the right or to the left; level : of its upper outside
    [mm]."""
    a, b, d = leg, MM * (mark.b or 0.0), MM * mark.diameter
    inner = MM * (mark.radius or (0.0,))[0]
    quarter = np.tan(np.pi / 8)

    def course(off: float, radius: float) -> list[tuple[float, float, float]]:
        """x, y, bulge from the end of the upper leg to that of the lower one."""
        left, high, low = off, level - off, level - b + off
        return [
            (a, high, 0.0),
            (left + radius, high, quarter),
            (left, high - radius, 0.0),
            (left, low + radius, quarter),
            (left + radius, low, 0.0),
            (a, low, 0.0),
        ]

    inside = course(d, inner)[::-1]
    # backwards the bend before a point is the one after it, turned the other way
    back = [(*p[:2], -q[2]) for p, q in zip(inside, [*inside[1:], (0.0, 0.0, 0.0)], strict=True)]
    side = 1.0 if rightward else -1.0
    ring = [(at + side * x, y, side * k) for x, y, k in (*course(0.0, inner + d), *back)]
    on = {"layer": f"BARS ALONG {mark.layers[0][1].upper()} (mm)"}
    space.add_lwpolyline(ring, format="xyb", close=True, dxfattribs=on)
    space.add_hatch(color=256, dxfattribs=on).paths.add_polyline_path(ring, is_closed=True)


def flat(deck: Deck, path: Floats) -> Floats:
    """Points of a plan path (n, 2) on the sheet [mm]."""
    return sheet(traced(deck, path))


def sheet(points: Floats) -> Floats:
    """Cartesian points (n, 2) [m] on the sheet [mm]."""
    return np.asarray(MM * points * np.array([1.0, -1.0]))


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


def draw_ground(space: Modelspace, deck: Deck, ground: Ground) -> None:
    """Outline, openings, supporting lines with their names, steps of the soffit, the directions of
    x and y, chains of dimensions on straight decks with lines."""
    shift, size = ground.shift, ground.size
    for edge in ground.edges:
        points = (edge + shift).tolist()
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": "SLAB (mm)"})
    for line in deck.lines:
        path = line_path(deck, line)
        points = (flat(deck, path) + shift).tolist()
        on = {"layer": "SUPPORTING LINES (mm)", "ltscale": size / 2}
        space.add_lwpolyline(points, dxfattribs=on)
        # past its end, as it runs: names of lines that meet in a corner stand apart
        run = np.subtract(points[-1], points[-2])
        x, y = (np.array(points[-1]) + 0.95 * size * run / np.linalg.norm(run)).tolist()
        text(space, line.name, (x, y), 0.8 * size, Align.MIDDLE_CENTER)
    for path in Thicknesses.of(deck).straight_steps:
        on = {"layer": "SLAB (mm)", "linetype": "DASHED", "ltscale": 3 * size}
        space.add_lwpolyline((flat(deck, path) + shift).tolist(), dxfattribs=on)
    # past the names of lines that run along the slab
    _axes(space, (ground.x_max + 4 * size, ground.above + 2 * size), size)
    if deck.plan.is_grid and deck.plan.alignment.straight:
        _chains(space, deck, ground)


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
        + f" m; radius {length(abs(plan.alignment.radius))} {sign} y. Cut lengths are on the arc."
    ]


def _axes(space: Modelspace, at: tuple[float, float], size: float) -> None:
    """Arrows along x and y from a point."""
    on, (x, y) = {"layer": "TEXT"}, at
    for name, (a, b) in (("x", (1.0, 0.0)), ("y", (0.0, -1.0))):
        head = [(2.0, 0.0), (1.4, 0.25), (1.4, -0.25), (2.0, 0.0)]
        space.add_line(at, (x + 2 * size * a, y + 2 * size * b), dxfattribs=on)
        points = [(x + size * (a * u - b * v), y + size * (b * u + a * v)) for u, v in head]
        space.add_lwpolyline(points, dxfattribs=on)
        end = (x + 2.7 * size * a, y + 2.7 * size * b)
        text(space, name, end, size, Align.MIDDLE_CENTER)


def _chains(space: Modelspace, deck: Deck, ground: Ground) -> None:
    """Chains of dimensions: edges and cross lines above, where they meet the upper edge; edges and
    lines along at the start; the skew."""
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
    if plan.skew:
        words = f"skew {as_given(round(float(np.degrees(plan.skew)), 6))} degrees"
        at = plan.at(np.array(low), np.array(float(plan.outline[:, 1].max())))
        x, y = (MM * at * np.array([1.0, -1.0]) + shift).tolist()
        text(space, words, (x - size, y + size), size, Align.RIGHT)


def _pairs(values: list[float]) -> Iterable[tuple[float, float]]:
    return ((a, b) for a, b in itertools.pairwise(values) if b - a > 1e-9)

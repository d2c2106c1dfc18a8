"""What the drawings of bars as DXF are made of: text, dimensions, U-bars, paths.

Everything is drawn at full size in mm, X along the deck and Y up the sheet: y grows down it.
"""

import numpy as np
from ezdxf.enums import TextEntityAlignment as Align
from ezdxf.layouts.layout import Modelspace

from pipelines.bars.schedule.marks import Mark
from pipelines.deck.deck import Deck
from pipelines.report.drawings.plan import traced
from plate.arrays import Floats

MM = 1e3  # of a metre
LETTERS = 2.5  # height of text as plotted [mm]
FIGURE = 0.87  # width of a figure, in heights
SECTION, TABLE = 10 * LETTERS, 100 * LETTERS  # at 1:10 and at 1:100


def text(
    space: Modelspace,
    words: str,
    at: tuple[float, float],
    height: float,
    align: Align = Align.LEFT,
    turn: float = 0.0,
) -> None:
    # a true minus sign is missing in many drawing fonts
    words = words.replace("\u2212", "-").replace("\u00a0", " ")
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
    beside = (base[0] - 0.9 * height - 0.5 * figures, 0.5 * (a[1] + b[1]))
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

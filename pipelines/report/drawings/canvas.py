"""Figures as inline SVG: drawn without a screen, the same bytes from run to run.

Text stays text, so that it can be read aloud, searched and copied. Every name inside a drawing is
made unique to it, so that many drawings live on one page.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from html import escape
from io import StringIO
from textwrap import wrap
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from shapely import get_coordinates, linestrings, simplify

from pipelines.caution import CAUTION
from pipelines.report.document import Drawing
from plate.arrays import Floats

STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "deckslab",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "Helvetica"],
    "font.size": 8.0,
    # Names with $ in them are no formulas.
    "text.parse_math": False,
    "axes.linewidth": 0.6,
    "axes.edgecolor": "#444444",
    "axes.facecolor": "none",
    "figure.facecolor": "none",
    "savefig.facecolor": "none",
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.major.pad": 2.0,
    "ytick.major.pad": 2.0,
    # Titles stand at the top of their axes: nothing is laid out to find out.
    "axes.titley": 1.0,
    "hatch.linewidth": 0.5,
}
# Symbols such as m_x in running text, as they are printed.
SYMBOL = re.compile(r"\b([mq])_(xy|x|y|Ed|Rd)\b")
INK = "#222222"
PALE = "#8a8a8a"

# Points of polylines are left out where the line moves by less than this [point].
UNSEEN = 0.12

_VIEW = re.compile(r'viewBox="(\S+) (\S+) (\S+) (\S+)"')
# Of a note below a sheet [point]: its size, lines beneath each other as a share of that, the room
# that a letter takes, and that to the sheet's edge.
NOTE, LEADING, LETTER, EDGE = 8.0, 1.4, 4.7, 8.0
FAMILIES = "DejaVu Sans, Verdana, Arial, Helvetica, sans-serif"

# Points of an inch.
INCH = 72.0
# Widest drawing and tallest plan [inch].
WIDTH = 9.6
TALLEST = 6.4


def draw(
    name: str, description: str, size: tuple[float, float], paint: Callable[[Figure], None]
) -> Drawing:
    """What `paint` puts on a figure of that size [inch], as an SVG element.

    name : prefix of every id in it; description : read aloud instead of the picture.
    """
    with rc_context(STYLE):
        figure = Figure(figsize=size)
        FigureCanvasSVG(figure)
        paint(figure)
        stream = StringIO()
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(stream, format="svg", metadata=nothing)
    width, height = (INCH * side for side in size)
    return Drawing(_embed(stream.getvalue(), name, description), description, width, height)


def sheet(drawing: Drawing) -> str:
    """A drawing as a file of its own: below it stands the caution, at the size of its notes."""
    low, top, width, height = map(float, _VIEW.findall(drawing.svg)[0])
    lines = wrap(CAUTION, int((width - 2 * EDGE) / LETTER))
    room = NOTE * LEADING * len(lines) + EDGE
    view = f'viewBox="{low:g} {top:g} {width:g} {height + room:g}"'
    words = "".join(
        f'<text x="{low + EDGE:g}" y="{top + height + NOTE * (1 + LEADING * k):g}" '
        f'style="font: {NOTE:g}px {FAMILIES}" fill="{INK}">{escape(line)}</text>'
        for k, line in enumerate(lines)
    )
    start, end = _VIEW.sub(lambda _: view, drawing.svg, count=1), "</svg>"
    return start[: start.rindex(end)] + words + end + "\n"


def _embed(text: str, name: str, description: str) -> str:
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{name}-", text)
    text = re.sub(r'\bd="[^"]*"', lambda m: _shorten(m.group()), text)
    text = re.sub(r"(?<=>)[^<]*(?=</text>)", lambda m: _printed(m.group()), text)
    view = re.search(r'viewBox="[^"]*"', text)
    assert view is not None
    width = float(view.group().split()[2])
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{view.group()} style="max-width:{1.25 * width:.0f}pt" role="img" '
        f'aria-label="{escape(description, quote=True)}">'
    )
    return head + text[text.index(">") + 1 :].strip()


def _printed(words: str) -> str:
    """Words of a drawing with symbols in italics and their marks set lower."""
    start, *rest = SYMBOL.split(words)
    for letter, mark, after in zip(rest[::3], rest[1::3], rest[2::3], strict=True):
        start += f'<tspan font-style="italic">{letter}</tspan>'
        start += f'<tspan dy="1.6" font-size="75%">{mark}</tspan><tspan dy="-1.6">{after}</tspan>'
    return start


def _shorten(path: str) -> str:
    """Path data without what nobody sees, on a grid of a tenth of a point, in relative steps;
    curves keep two decimals."""
    head, body = path[:3], path[3:-1]
    if re.search(r"[^MLz\d\s.e+-]", body):
        short = re.sub(r"-?\d+\.\d+", lambda m: f"{float(m.group()):.2f}", body)
        return head + re.sub(r"\s+", " ", short) + '"'
    pieces = []
    for piece in body.split("M")[1:]:
        closed = "z" in piece
        values = np.array(piece.replace("L", " ").replace("z", " ").split(), dtype=float)
        grid = np.rint(10.0 * values.reshape(-1, 2)).astype(np.int64)
        if len(grid) > 2:
            lines = simplify(linestrings(values.reshape(-1, 2)), UNSEEN, preserve_topology=False)
            grid = np.rint(10.0 * get_coordinates(lines)).astype(np.int64)
        steps = np.diff(grid, axis=0)
        steps = steps[np.any(steps != 0, axis=1)]
        start = " ".join(map(_tenths, grid[0].tolist()))
        moves = " ".join(map(_tenths, steps.ravel().tolist())).replace(" -", "-")
        if not moves and not closed:
            moves = "0 0"
        pieces.append(f"M{start}" + (f"l{moves}" if moves else "") + ("z" if closed else ""))
    return head + "".join(pieces) + '"'


@cache
def _tenths(value: int) -> str:
    sign, size = "-" if value < 0 else "", abs(value)
    whole, tenth = divmod(size, 10)
    return sign + (f"{whole or ''}.{tenth}" if tenth else f"{whole}")


@dataclass(frozen=True)
class Canvas:
    """A plan's place on paper: from above, x to the right, y down the page, one scale.

    low, high : corners of what is shown (X, Y) [m]; scale : inch per metre.
    margins : left, top, right, bottom [inch].
    """

    low: Floats
    high: Floats
    scale: float
    margins: tuple[float, float, float, float]

    @property
    def size(self) -> tuple[float, float]:
        """The size of the whole figure [inch]."""
        left, top, right, bottom = self.margins
        width, height = (self.high - self.low) * self.scale
        return max(float(width), 5.0) + left + right, float(height) + top + bottom

    def axes(self, figure: Figure) -> Axes:
        """Axes on the figure, y down, equal scales."""
        width, height = self.size
        left, _top, right, bottom = self.margins
        plan_width, plan_height = (self.high - self.low) * self.scale
        free = width - left - right - plan_width
        axes = figure.add_axes(
            (
                (left + 0.5 * free) / width,
                bottom / height,
                plan_width / width,
                plan_height / height,
            )
        )
        axes.set_xlim(self.low[0], self.high[0])
        axes.set_ylim(self.high[1], self.low[1])
        return axes


def canvas(
    points: Floats, margins: tuple[float, float, float, float], around: float = 0.0
) -> Canvas:
    """Canvas for Cartesian points (n, 2) [m] with some room around them [m]."""
    low, high = points.min(axis=0) - around, points.max(axis=0) + around
    width, height = high - low
    left, _, right, _ = margins
    scale = min((WIDTH - left - right) / width, TALLEST / height)
    return Canvas(low, high, float(scale), margins)

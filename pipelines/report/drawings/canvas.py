"""Figures as inline SVG, written as they are drawn: the same bytes from run to run.

Text stays text, so that it can be read aloud, searched and copied, in a family of fonts that every
system has one of. What is drawn later lies above what was drawn before. Every name inside a drawing
is its own, so that many drawings live on one page.
"""

import re
from collections.abc import Callable
from functools import cache
from html import escape
from textwrap import wrap

import numpy as np
from numpy.typing import ArrayLike
from shapely import get_coordinates, linestrings, simplify

from pipelines.caution import CAUTION
from pipelines.report.document import Drawing
from pipelines.report.drawings.colours import INK
from plate.arrays import Floats

# Symbols such as m_x in running text, as they are printed.
SYMBOL = re.compile(r"\b([mq])_(xy|x|y|Ed|Rd)\b")
FAMILIES = "DejaVu Sans, Verdana, Arial, Helvetica, sans-serif"
# Sizes of text: of words and of numbers [point].
TEXT, SMALL = 8.0, 7.5
# Height of capitals and of what hangs below the line, lines beneath each other: shares of a size.
CAPITAL, DEEP, LEADING = 0.73, 0.24, 1.2
# Room that letters take at most, as shares of a size, in the widest of the families.
NARROW, COMMON, BROAD = 0.38, 0.64, 0.86

# Points of polylines are left out where the line moves by less than this [point].
UNSEEN = 0.12
# So few points are all kept.
FEW = 5
# Paper between the lines of a hatch [point].
HATCHES = {
    "/": '<path d="M-1 5L5 -1M-1 1L1 -1M3 5L5 3"',
    "\\": '<path d="M-1 -1L5 5M3 -1L5 1M-1 3L1 5"',
    "x": '<path d="M-1 5L5 -1M-1 -1L5 5"',
    "-": '<path d="M0 2L4 2"',
    ".": '<path d="M1.5 2L2.5 2"',
}
HATCH = 4
# Outlines of marks about their middle, for a size of two.
MARKS = {
    "s": "M-1-1h2v2h-2z",
    "D": "M0-1.3l1.3 1.3l-1.3 1.3l-1.3-1.3z",
    "^": "M0-1.2l1.2 2.2h-2.4z",
    "v": "M0 1.2l1.2-2.2h-2.4z",
    "P": "M-.4-1.2h.8v.8h.8v.8h-.8v.8h-.8v-.8h-.8v-.8h.8z",
    "X": "M-1-.5l.5-.5l.5.5l.5-.5l.5.5l-.5.5l.5.5l-.5.5l-.5-.5l-.5.5l-.5-.5l.5-.5z",
    "o": "M-1 0a1 1 0 1 0 2 0a1 1 0 1 0-2 0z",
    "+": "M-1.2 0h2.4M0-1.2v2.4",
    "x": "M-1-1l2 2M-1 1l2-2",
    "|": "M0-1v2",
    "_": "M-1 0h2",
}

# Of a note below a drawing of its own [point]: its size, lines beneath each other as a share of
# that, the room that a letter takes, and that to the sheet's edge.
NOTE, NOTE_LEADING, LETTER, EDGE = 8.0, 1.4, 4.7, 8.0

# Widest drawing and tallest plan [point].
WIDTH = 690.0
TALLEST = 460.0

_VIEW = re.compile(r'viewBox="(\S+) (\S+) (\S+) (\S+)"')


class Paper:
    """A sheet on which to draw [point]: x to the right, y down.

    name : begins every name in the drawing.
    """

    def __init__(self, name: str, width: float, height: float) -> None:
        self.name, self.width, self.height = name, width, height
        self._parts: list[str] = []
        self._patterns: dict[tuple[str, str], str] = {}

    def path(
        self,
        *paths: ArrayLike,
        ink: str = INK,
        width: float = 0.6,
        dash: tuple[float, ...] = (),
        fill: str = "none",
        hatch: str = "",
        closed: bool = False,
    ) -> None:
        """Polylines (n, 2), or with `closed` the area between rings.

        ink : of the line, "none" for none; dash : on and off, in widths of the line; hatch : of
        `HATCHES`, in the ink, over the fill.
        """
        data = "".join(_data(np.asarray(one, dtype=float), closed) for one in paths)
        if not data:
            return
        line = ""
        if ink != "none" and width > 0.0:
            line = f' stroke="{ink}" stroke-width="{width:g}"'
            if dash:
                line += f' stroke-dasharray="{" ".join(f"{width * d:.3g}" for d in dash)}"'
        area = f' fill="{fill}" fill-rule="evenodd"' if fill != "none" else ""
        self._parts.append(f'<path d="{data}"{area}{line}/>')
        if hatch:
            pattern = self._hatched(hatch, INK if ink == "none" else ink)
            self._parts.append(f'<path d="{data}" fill="url(#{pattern})" fill-rule="evenodd"/>')

    def text(
        self,
        at: ArrayLike,
        words: str,
        *,
        size: float = TEXT,
        ink: str = INK,
        along: str = "middle",
        level: str = "middle",
        turn: float = 0.0,
        bold: bool = False,
        halo: bool = False,
    ) -> None:
        """Words at a point, one line beneath the other.

        along : "start", "middle" or "end" of each line is there; level : "top", "middle", "foot" of
        all, or the "base" of the first; turn : clockwise [degree]; halo : paper round each letter.
        """
        lines = words.split("\n")
        tall = CAPITAL * size + (len(lines) - 1) * LEADING * size
        down = {
            "top": CAPITAL * size,
            "middle": CAPITAL * size - 0.5 * tall,
            "foot": CAPITAL * size - tall - DEEP * size,
            "base": 0.0,
        }[level]
        look = f' font-size="{size:g}" fill="{ink}"'
        look += f' text-anchor="{along}"' if along != "start" else ""
        look += ' font-weight="bold"' if bold else ""
        if halo:
            look += ' stroke="white" stroke-width="2.4" paint-order="stroke"'
        x, y = (float(v) for v in np.asarray(at))
        for k, line in enumerate(lines):
            low = down + k * LEADING * size
            place = f'x="{_short(x)}" y="{_short(y + low)}"'
            if turn:
                place = f'transform="translate({_short(x)} {_short(y)}) rotate({turn:.4g})"'
                place += f' y="{_short(low)}"'
            self._parts.append(f"<text {place}{look}>{_printed(escape(line, quote=False))}</text>")

    def mark(
        self,
        at: ArrayLike,
        kind: str,
        size: float = 5.0,
        *,
        fill: str = "none",
        ink: str = INK,
        width: float = 0.8,
    ) -> None:
        """A mark of `MARKS` at points (2,) or (n, 2), so large [point]."""
        line = f' stroke="{ink}" stroke-width="{2.0 * width / size:.3g}"' if ink != "none" else ""
        for x, y in np.asarray(at, dtype=float).reshape(-1, 2).tolist():
            self._parts.append(
                f'<path d="{MARKS[kind]}" fill="{fill}"{line} '
                f'transform="translate({_short(x)} {_short(y)}) scale({0.5 * size:.3g})"/>'
            )

    def arrow(self, tail: ArrayLike, tip: ArrayLike, ink: str = INK, width: float = 1.0) -> None:
        """An arrow with a filled head."""
        a, b = np.asarray(tail, dtype=float), np.asarray(tip, dtype=float)
        along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        foot, aside = b - 6.0 * along, 2.2 * np.array([-along[1], along[0]])
        self.path([a, foot], ink=ink, width=width)
        self.path([b, foot + aside, foot - aside], ink="none", fill=ink, closed=True)

    def drawing(self, words: str) -> Drawing:
        """What is on the sheet; words : read aloud instead of it."""
        patterns = "".join(
            f'<pattern id="{name}" width="{HATCH}" height="{HATCH}" '
            f'patternUnits="userSpaceOnUse">{HATCHES[hatch]} stroke="{ink}" '
            f'stroke-width="{1.0 if hatch == "." else 0.5}"/></pattern>'
            for (hatch, ink), name in self._patterns.items()
        )
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} '
            f'{self.height:g}" style="max-width:{1.25 * self.width:.0f}pt" role="img" '
            f'aria-label="{escape(words)}" font-family="{FAMILIES}" fill="none" '
            'stroke-linejoin="round">\n'
            + (f"<defs>{patterns}</defs>\n" if patterns else "")
            + "\n".join(self._parts)
            + "\n</svg>"
        )
        return Drawing(svg, words, self.width, self.height)

    def _hatched(self, hatch: str, ink: str) -> str:
        count = len(self._patterns) + 1
        return self._patterns.setdefault((hatch, ink), f"{self.name}-hatch-{count}")


def draw(
    name: str, description: str, size: tuple[float, float], paint: Callable[[Paper], None]
) -> Drawing:
    """What `paint` puts on a sheet of that size [point].

    name : begins every name in it; description : read aloud instead of the picture.
    """
    width, height = (round(side, 1) for side in size)
    paper = Paper(name, width, height)
    paint(paper)
    return paper.drawing(description)


def room_of(words: str, size: float) -> float:
    """Room that the longest line of words takes [point]: at most, whatever the font."""

    def share(letter: str) -> float:
        if letter in " .,:;'|!()[]ijlft·":
            return NARROW
        return BROAD if letter in "mwMWOQ%@−±×–" else COMMON

    return size * max(sum(map(share, line)) for line in words.split("\n"))


def sheet(drawing: Drawing) -> str:
    """A drawing as a file of its own: below it stands the caution, at the size of its notes."""
    low, top, width, height = map(float, _VIEW.findall(drawing.svg)[0])
    lines = wrap(CAUTION, int((width - 2 * EDGE) / LETTER))
    room = NOTE * NOTE_LEADING * len(lines) + EDGE
    view = f'viewBox="{low:g} {top:g} {width:g} {height + room:g}"'
    words = "".join(
        f'<text x="{low + EDGE:g}" y="{top + height + NOTE * (1 + NOTE_LEADING * k):g}" '
        f'style="font: {NOTE:g}px {FAMILIES}" fill="{INK}">{escape(line)}</text>'
        for k, line in enumerate(lines)
    )
    start, end = _VIEW.sub(lambda _: view, drawing.svg, count=1), "</svg>"
    return start[: start.rindex(end)] + words + end + "\n"


def _printed(words: str) -> str:
    """Words of a drawing with symbols in italics and their marks set lower."""
    start, *rest = SYMBOL.split(words)
    for letter, mark, after in zip(rest[::3], rest[1::3], rest[2::3], strict=True):
        start += f'<tspan font-style="italic">{letter}</tspan>'
        start += f'<tspan dy="1.6" font-size="75%">{mark}</tspan><tspan dy="-1.6">{after}</tspan>'
    return start


def _data(points: Floats, closed: bool) -> str:
    """Path data without what nobody sees, on a grid of a tenth of a point, in relative steps."""
    if len(points) > FEW:
        ring = np.vstack([points, points[:1]]) if closed else points
        points = get_coordinates(simplify(linestrings(ring), UNSEEN, preserve_topology=False))
        points = points[:-1] if closed else points
    if not len(points):
        return ""
    grid = np.rint(10.0 * points).astype(np.int64)
    steps = grid[1:] - grid[:-1]
    steps = steps[steps.any(axis=1)]
    start = " ".join(map(_tenths, grid[0].tolist()))
    moves = " ".join(map(_tenths, steps.ravel().tolist())).replace(" -", "-")
    if not moves:
        return "" if closed else f"M{start}h0"
    return f"M{start}l{moves}" + ("z" if closed else "")


@cache
def _tenths(value: int) -> str:
    sign, size = "-" if value < 0 else "", abs(value)
    whole, tenth = divmod(size, 10)
    return sign + (f"{whole or ''}.{tenth}" if tenth else f"{whole}")


def _short(value: float) -> str:
    return _tenths(round(10.0 * value))

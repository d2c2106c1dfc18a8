"""Numbered marks along a side of axes: one line and plain words.

An axis of the drawing library lays out every tick as several artists of its own, which takes most
of the time of a drawing.
"""

from collections.abc import Sequence
from typing import Literal, cast

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from plate.arrays import Floats

# Points of an inch.
INCH = 72.0
# Size of numbers and of titles; height of a number over its foot, of a title with what hangs below
# it, and the widths of characters, as shares of their size (those of the font's digits).
SMALL, LARGE = 7.5, 8.0
TALL, DEEP, WIDE, SIGN = 0.76, 0.99, 0.636, 0.838
# A mark, and the paper after it and after its number [point].
MARK, APART = 2.5, 2.0
ON = 1e-9


def scale(
    axes: Axes,
    side: Literal["bottom", "left"],
    words: str = "",
    marks: tuple[Floats, Sequence[str]] | None = None,
    *,
    numbered: bool = True,
    ruled: bool = False,
) -> None:
    """Marks along a side of axes whose limits are set, with the title `words`.

    marks : values and their print, round ones by default; numbered : False leaves the print out;
    ruled : with light lines across the axes.
    """
    figure = cast(Figure, axes.figure)
    sheet = INCH * np.asarray(figure.get_size_inches())
    box = axes.get_position()
    low, high = box.p0 * sheet, box.p1 * sheet
    k = 0 if side == "bottom" else 1
    axis = axes.xaxis if k == 0 else axes.yaxis
    axis.set_visible(False)
    start, end = axes.get_xlim() if k == 0 else axes.get_ylim()
    if marks is None:
        values = np.asarray(axis.get_major_locator()(), dtype=float)
        marks = values, axis.get_major_formatter().format_ticks(values.tolist())
    shares = (marks[0] - start) / (end - start)
    shown = np.flatnonzero((shares > -ON) & (shares < 1.0 + ON))
    along = low[k] + shares[shown] * (high[k] - low[k])
    if ruled:
        across = np.tile([*(axes.get_ylim() if k == 0 else axes.get_xlim()), np.nan], len(shown))
        lines = np.array([np.repeat(marks[0][shown], 3), across])
        lines = lines if k == 0 else lines[::-1]
        axes.add_line(Line2D(*lines, color="#dddddd", lw=0.4, zorder=0.5))
    printed = [marks[1][i] for i in shown.tolist()] if numbered else []
    edge = low[1 - k]
    path = np.array([np.repeat(along, 3), np.tile([edge, edge - MARK, np.nan], len(along))])
    path = path if k == 0 else path[::-1]
    line = Line2D(*(path / sheet[:, None]), color="black", lw=0.6, transform=figure.transFigure)
    figure.add_artist(line)
    foot = edge - MARK - APART
    for at, number in zip(along.tolist(), printed, strict=False):
        if k == 0:
            x, y, align = at, foot - TALL * SMALL, "center"
        else:
            x, y, align = foot, at - 0.5 * TALL * SMALL, "right"
        figure.text(x / sheet[0], y / sheet[1], number, ha=align, va="baseline", size=SMALL)
    if not words:
        return
    middle = 0.5 * (low[k] + high[k])
    if k == 0:
        y = foot - SMALL - APART - TALL * LARGE
        figure.text(middle / sheet[0], y / sheet[1], words, ha="center", va="baseline", size=LARGE)
        return
    widest = max((_width(number) for number in printed), default=0.0)
    x = foot - widest - APART - (DEEP - TALL) * LARGE
    figure.text(
        x / sheet[0], middle / sheet[1], words, ha="right", va="center", rotation=90, size=LARGE
    )


def _width(number: str) -> float:
    """Of a number in print [point]."""
    return SMALL * sum(SIGN if c in "−-" else 0.5 * WIDE if c == "." else WIDE for c in number)

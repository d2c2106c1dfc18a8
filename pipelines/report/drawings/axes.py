"""Data coordinates on a sheet: the box that they fill, its numbered marks, plans at one scale."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pipelines.report.drawings.canvas import (
    CAPITAL,
    DEEP,
    SMALL,
    TALLEST,
    TEXT,
    WIDTH,
    Paper,
    room_of,
)
from pipelines.report.drawings.colours import RULE, SOFT
from plate.arrays import Floats

# A mark, and the paper after it and after its number [point].
MARK, APART = 2.5, 2.0
# Paper from one numbered mark to the next, across and up, at least [point].
ACROSS, UP = 34.0, 20.0
ON = 1e-9
# Narrowest plan's place on a sheet [point].
NARROWEST = 360.0
Ticks = tuple[Sequence[float], Sequence[str]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Axes:
    """A box on a sheet and the data coordinates at its sides.

    box : left, top, right, bottom [point]; x : at left and right; y : at top and bottom, which may
    run either way; log : whether x is spread by its logarithm, and y.
    """

    paper: Paper
    box: tuple[float, float, float, float]
    x: tuple[float, float]
    y: tuple[float, float]
    log: tuple[bool, bool] = (False, False)

    def at(self, points: ArrayLike) -> Floats:
        """Points (..., 2) on the sheet."""
        p = np.asarray(points, dtype=float)
        left, top, right, bottom = self.box
        found = np.empty(p.shape)
        found[..., 0] = left + self._share(p[..., 0], self.x, self.log[0]) * (right - left)
        found[..., 1] = top + self._share(p[..., 1], self.y, self.log[1]) * (bottom - top)
        return found

    @staticmethod
    def _share(values: Floats, ends: tuple[float, float], log: bool) -> Floats:
        low, high = ends
        if log:
            values, low, high = np.log(values), math.log(low), math.log(high)
        return (values - low) / (high - low)

    def path(self, *paths: ArrayLike, closed: bool = False, **look: Any) -> None:
        """Polylines or rings (n, 2), cut off at the box; look : as of `Paper.path`."""
        left, top, right, bottom = self.box
        shown: list[Floats] = []
        for one in paths:
            points = self.at(one)
            inside = (points >= [left - 0.5, top - 0.5]) & (points <= [right + 0.5, bottom + 0.5])
            if inside.all():
                shown.append(points)
                continue
            form = shapely.polygons(points) if closed else shapely.linestrings(points)
            cut = shapely.clip_by_rect(form, left, top, right, bottom)
            for part in shapely.get_parts(shapely.get_parts(cut)):
                rings = [part.exterior, *part.interiors] if closed else [part]
                shown += [np.array(ring.coords) for ring in rings]
        self.paper.path(*shown, closed=closed, **look)

    def text(
        self, at: ArrayLike, words: str, shift: tuple[float, float] = (0.0, 0.0), **look: Any
    ) -> None:
        """Words at a point of the data, moved on the sheet [point]; look : as of `Paper.text`."""
        self.paper.text(self.at(at) + np.asarray(shift), words, **look)

    def mark(self, at: ArrayLike, kind: str, size: float = 5.0, **look: Any) -> None:
        """Marks at points (2,) or (n, 2) of the data; look : as of `Paper.mark`."""
        self.paper.mark(self.at(at), kind, size, **look)

    def arrow(self, tail: ArrayLike, tip: ArrayLike, **look: Any) -> None:
        """An arrow between points of the data, without its head where that leaves the box; look :
        as of `Paper.arrow`."""
        x, y = self.at(tip).tolist()
        left, top, right, bottom = self.box
        if left <= x <= right and top <= y <= bottom:
            self.paper.arrow(self.at(tail), [x, y], **look)
        else:
            self.path(np.stack([np.asarray(tail), np.asarray(tip)]), **look)

    def upright(self, x: float, **look: Any) -> None:
        """A line over the whole height at x."""
        self.path([[x, self.y[0]], [x, self.y[1]]], **look)

    def level(self, y: float, **look: Any) -> None:
        """A line over the whole width at y."""
        self.path([[self.x[0], y], [self.x[1], y]], **look)

    def frame(self, ink: str = SOFT, sides: str = "ltrb", width: float = 0.6) -> None:
        """Sides of the box by their first letters."""
        left, top, right, bottom = self.box
        ends = {
            "l": [[left, top], [left, bottom]],
            "t": [[left, top], [right, top]],
            "r": [[right, top], [right, bottom]],
            "b": [[left, bottom], [right, bottom]],
        }
        self.paper.path(*(ends[side] for side in sides), ink=ink, width=width)

    def scale(
        self,
        side: Literal["bottom", "left"],
        words: str = "",
        ticks: Ticks | None = None,
        *,
        numbered: bool = True,
        ruled: bool = False,
    ) -> None:
        """Marks along a side with the title `words`.

        ticks : values and their print, round ones by default; numbered : False leaves the print
        out; ruled : with light lines across the box.
        """
        left, top, right, bottom = self.box
        flat = side == "bottom"
        ends = self.x if flat else self.y
        log = self.log[0 if flat else 1]
        if ticks is None:
            reach = (right - left) / ACROSS if flat else (bottom - top) / UP
            low, high = min(ends), max(ends)
            ticks = decades(low, high) if log else round_ticks(low, high, int(reach))
        shares = self._share(np.array(ticks[0], dtype=float), ends, log)
        widest = 0.0
        for share, number in zip(shares.tolist(), ticks[1], strict=True):
            if not -ON < share < 1.0 + ON:
                continue
            at = left + share * (right - left) if flat else top + share * (bottom - top)
            if flat:
                line, out, foot = [[at, top], [at, bottom]], [at, bottom + MARK], [at, bottom]
            else:
                line, out, foot = [[left, at], [right, at]], [left - MARK, at], [left, at]
            if ruled:
                self.paper.path(line, ink=RULE, width=0.4)
            self.paper.path([foot, out], ink=SOFT)
            if not numbered:
                continue
            if flat:
                self.paper.text([at, out[1] + APART], number, size=SMALL, level="top")
            else:
                self.paper.text([out[0] - APART, at], number, size=SMALL, along="end")
            widest = max(widest, room_of(number, SMALL))
        if not words:
            return
        if flat:
            down = MARK + APART + (CAPITAL + DEEP) * SMALL + APART
            self.paper.text([0.5 * (left + right), bottom + down], words, level="top")
            return
        aside = MARK + APART + widest + APART + DEEP * TEXT
        self.paper.text([left - aside, 0.5 * (top + bottom)], words, turn=-90.0, level="base")


def round_step(span: float, most: int) -> float:
    """The least of 1, 2, 2.5 and 5 times a power of ten that divides a span into no more parts."""
    least = span / max(most, 1)
    power = 10.0 ** math.floor(math.log10(least))
    return next(k * power for k in (1.0, 2.0, 2.5, 5.0, 10.0) if k * power >= least * (1.0 - ON))


def round_levels(low: float, high: float, most: int) -> Floats:
    """Round values from at or below `low` to at or above `high`; two about one value alone."""
    size = max(abs(low), abs(high))
    step = round_step(high - low if high - low > ON * size else size or 1.0, most)
    first, last = math.floor(low / step + ON), math.ceil(high / step - ON)
    last = max(last, first + 1)
    return np.asarray(np.round(step * np.arange(first, last + 1), 12))


def round_ticks(low: float, high: float, most: int) -> Ticks:
    """Round values between two, and their print."""
    step = round_step(high - low, most)
    values = step * np.arange(math.ceil(low / step - ON), math.floor(high / step + ON) + 1)
    decimals = next((d for d in range(12) if abs(round(step, d) - step) < 1e-6 * step), 12)
    shown = [f"{v + 0.0:.{decimals}f}".replace("-", "\u2212") for v in np.round(values, 12)]
    return values.tolist(), shown


def decades(low: float, high: float) -> Ticks:
    """1, 2 and 5 times the powers of ten between two values, and their print."""
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    values = [k * 10.0**p for p in powers for k in (1, 2, 5) if low <= k * 10.0**p <= high]
    return values, [f"{value:g}" for value in values]


@dataclass(frozen=True)
class Canvas:
    """A plan's place on a sheet: from above, x to the right, y down the page, one scale.

    low, high : corners of what is shown (X, Y) [m]; scale : points per metre.
    margins : left, top, right, bottom [point].
    """

    low: Floats
    high: Floats
    scale: float
    margins: tuple[float, float, float, float]

    @property
    def size(self) -> tuple[float, float]:
        """The size of the whole sheet [point]."""
        left, top, right, bottom = self.margins
        width, height = (self.high - self.low) * self.scale
        return max(float(width), NARROWEST) + left + right, float(height) + top + bottom

    def axes(self, paper: Paper) -> Axes:
        """Axes on the sheet, y down, equal scales."""
        left, top, right, _ = self.margins
        width, height = (float(v) for v in (self.high - self.low) * self.scale)
        start = left + 0.5 * (self.size[0] - left - right - width)
        (x0, y0), (x1, y1) = self.low.tolist(), self.high.tolist()
        box = (start, top, start + width, top + height)
        return Axes(paper=paper, box=box, x=(x0, x1), y=(y0, y1))


def canvas(
    points: Floats,
    margins: tuple[float, float, float, float],
    around: float = 0.0,
    tallest: float = TALLEST,
) -> Canvas:
    """Canvas for Cartesian points (n, 2) [m] with some room around them [m], no taller than that
    [point]."""
    low, high = points.min(axis=0) - around, points.max(axis=0) + around
    width, height = high - low
    left, _, right, _ = margins
    scale = min((WIDTH - left - right) / width, tallest / height)
    return Canvas(low, high, float(scale), margins)

"""Envelopes along lines of the plan: mid-bays, cross lines, edges and lines along the deck, with
the hand strips' values on them."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title
from pipelines.envelopes.extremes import FieldEnvelope
from pipelines.findings.finding import Finding
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, WIDTH, draw
from pipelines.report.drawings.cuts import FieldMap, along_path, cross_path, cut
from pipelines.report.drawings.scales import scale
from plate.arrays import Floats
from plate.conventions import RESULTS

M_X, M_Y = RESULTS.index("m_x"), RESULTS.index("m_y")
INKS = {M_X: "#1f4e79", M_Y: "#b5520b"}
STYLES = {M_X: "-", M_Y: (0, (4, 1.6))}
NAMES = {M_X: "m_x, bars along", M_Y: "m_y, bars across"}
MARKS = ("s", "D", "^", "v", "P", "X")
# Bays or lines in one drawing.
PANELS = 12
COLUMNS = 4
# Lines along the deck by their share of the slab's width from the left edge.
SHARES = {
    0.25: "quarter of the width from the left edge",
    0.5: "mid-width",
    0.75: "quarter of the width from the right edge",
}


@dataclass(frozen=True)
class StripMark:
    """The largest value of a hand strip at one place [N m/m]."""

    strip: str
    place: str
    value: float


def strip_marks(findings: Sequence[Finding]) -> list[StripMark]:
    """Per strip, place and sign of moment the value furthest from zero."""
    worst: dict[tuple[str, str, bool], float] = {}
    for finding in findings:
        if finding.hand.value is None or finding.section.kind not in ("sagging", "hogging"):
            continue
        key = (finding.hand.strip, finding.section.place, finding.hand.value > 0.0)
        if abs(finding.hand.value) >= abs(worst.get(key, 0.0)):
            worst[key] = finding.hand.value
    return [StripMark(strip, place, value) for (strip, place, _), value in worst.items()]


@dataclass(frozen=True, kw_only=True)
class LineFigures:
    """Drawings along lines of one deck's envelope; suffix : ends the drawings' names."""

    deck: Deck
    fields: FieldMap
    envelope: FieldEnvelope
    marks: Sequence[StripMark]
    suffix: str = ""

    def mid_bays(self) -> Drawing:
        """m_x and m_y across the deck at the middle of every bay."""
        u = np.array(self.deck.stations)
        panels = [
            (f"bay C{i + 1}–C{i + 2}", *cross_path(self.deck, 0.5 * (a + b)), (0,))
            for i, (a, b) in enumerate(itertools.pairwise(u))
        ]
        title = "Moments across the deck at the middle of each bay"
        return self._across(f"lines-mid-bays-{self.suffix}", title, panels)

    def cross_lines(self) -> Drawing:
        """m_x and m_y along every cross line, the worse of both sides."""
        panels = []
        for i, u in enumerate(self.deck.stations):
            low, high = self.deck.plan.u_range
            sides = tuple(s for s in (1, -1) if (s > 0 and u > low) or (s < 0 and u < high))
            panels.append((line_title(self.deck, f"C{i + 1}"), *cross_path(self.deck, u), sides))
        title = "Moments along each cross line, both sides of it"
        return self._across(f"lines-cross-lines-{self.suffix}", title, panels)

    def _across(
        self,
        name: str,
        title: str,
        panels: Sequence[tuple[str, Floats, Floats, tuple[int, ...]]],
    ) -> Drawing:
        panels = panels[:PANELS]
        columns = min(COLUMNS, len(panels))
        rows = -(-len(panels) // columns)

        def paint(figure: Figure) -> None:
            grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
            figure.subplots_adjust(
                left=0.065,
                right=0.99,
                top=1.0 - 0.25 / (rows * 1.9 + 0.8),
                bottom=0.75 / (rows * 1.9 + 0.8),
                wspace=0.07,
                hspace=0.26,
            )
            for axes, (label, a, b, sides) in zip(grid.ravel(), panels, strict=False):
                for k in (M_X, M_Y):
                    self._curve(axes, k, a, b, sides, 1)
                self._level_marks(axes, label)
                self._lines_crossed(axes, along=False)
                axes.set_title(label, fontsize=8, pad=2.5)
                finish(axes)
            for axes in grid.ravel()[len(panels) :]:
                axes.set_visible(False)
            turn_down(grid[0, 0])
            for i, axes in enumerate(grid.ravel()[: len(panels)]):
                lowest = i >= len(panels) - columns
                _scales(axes, "offset y [m]", across=lowest, up=i % columns == 0)
            self._legend(figure, (M_X, M_Y))

        return draw(name, title, (WIDTH, 1.9 * rows + 0.8), paint)

    def edges(self) -> Drawing:
        """m_y along the start and end edges, m_x along the left and right edges."""
        low, high = self.deck.plan.u_range
        panels = [
            ("start edge", M_Y, cross_path(self.deck, low), -1, 1),
            ("end edge", M_Y, cross_path(self.deck, high), 1, 1),
            ("left edge", M_X, along_path(self.deck, 0.0), 1, 0),
            ("right edge", M_X, along_path(self.deck, 1.0), -1, 0),
        ]

        def paint(figure: Figure) -> None:
            grid = figure.subplots(2, 2, sharey=True)
            figure.subplots_adjust(
                left=0.065, right=0.99, top=0.94, bottom=0.17, wspace=0.06, hspace=0.42
            )
            for axes, (label, k, (a, b), side, axis) in zip(grid.ravel(), panels, strict=True):
                self._curve(axes, k, a, b, (side,), axis)
                self._lines_crossed(axes, along=axis == 0)
                axes.set_title(label, fontsize=8, pad=2.5)
                finish(axes)
            turn_down(grid[0, 0])
            for i, (axes, panel) in enumerate(zip(grid.ravel(), panels, strict=True)):
                words = "offset y [m]" if panel[-1] else "station x [m]"
                _scales(axes, words, across=True, up=i % 2 == 0)
            self._legend(figure, (M_X, M_Y))

        return draw(
            f"lines-edges-{self.suffix}", "Moments along the slab's edges", (WIDTH, 4.4), paint
        )

    def along(self) -> Drawing:
        """m_x along the deck at mid-width and at the quarters of the width."""

        def paint(figure: Figure) -> None:
            grid = figure.subplots(len(SHARES), 1, sharex=True, sharey=True)
            figure.subplots_adjust(left=0.065, right=0.99, top=0.96, bottom=0.13, hspace=0.24)
            for axes, share in zip(grid, SHARES, strict=True):
                a, b = along_path(self.deck, share)
                # A line along the deck may lie in this path: take the worse of both sides.
                self._curve(axes, M_X, a, b, (1, -1), 0)
                self._lines_crossed(axes, along=True)
                for k, strip in enumerate(self._strips()):
                    self._bay_marks(axes, strip, k, 0.5 * (a[1] + b[1]))
                axes.set_title(SHARES[share], fontsize=8, pad=2.5)
                finish(axes)
            turn_down(grid[0])
            for axes in grid:
                _scales(axes, "station x [m]", across=axes is grid[-1], up=True)
            self._legend(figure, (M_X,))

        title = "Moment of the bars along the deck, along the deck"
        return draw(f"lines-along-{self.suffix}", title, (WIDTH, 5.6), paint)

    def _curve(
        self, axes: Axes, k: int, a: Floats, b: Floats, sides: tuple[int, ...], axis: int
    ) -> None:
        extremes = self.envelope.extremes
        values = np.stack([extremes.maximum[k], extremes.minimum[k]])
        for side in sides:
            points, found = cut(self.fields, a, b, values, side)
            for curve in found:
                axes.plot(
                    points[:, axis], 1e-3 * curve, color=INKS[k], ls=STYLES[k], lw=1.1, zorder=4
                )

    def _lines_crossed(self, axes: Axes, *, along: bool) -> None:
        """Where the lines of the plan cross, as faint verticals with their names."""
        if along:
            for i, u in enumerate(self.deck.stations):
                axes.axvline(u, color=PALE, lw=0.5, ls=(0, (1, 2)), zorder=1)
                axes.annotate(
                    f"C{i + 1}",
                    (u, 1.0),
                    xycoords=("data", "axes fraction"),
                    xytext=(1.5, -2),
                    textcoords="offset points",
                    va="top",
                    fontsize=6.5,
                    color="#555555",
                )
        elif self.deck.plan.end_offsets == self.deck.plan.offsets:
            for y in self.deck.offsets:
                axes.axvline(y, color=PALE, lw=0.5, ls=(0, (1, 2)), zorder=1)

    def _strips(self) -> list[str]:
        return list(dict.fromkeys(mark.strip for mark in self.marks))

    def _level_marks(self, axes: Axes, place: str) -> None:
        for k, strip in enumerate(self._strips()):
            for mark in self.marks:
                if mark.strip == strip and mark.place == place:
                    axes.axhline(1e-3 * mark.value, color=INK, lw=0.6, ls=(0, (1, 1.2)), zorder=3)
                    axes.plot(
                        0.06 + 0.07 * k,
                        1e-3 * mark.value,
                        transform=axes.get_yaxis_transform(),
                        **_marker(k),
                    )

    def _bay_marks(self, axes: Axes, strip: str, k: int, y: float) -> None:
        plan = self.deck.plan
        at = plan.at(np.array(self.deck.stations), np.full(len(self.deck.stations), y))[:, 0]
        for place, low, high in _places(self.deck, at):
            for mark in self.marks:
                if mark.strip != strip or mark.place != place:
                    continue
                value = 1e-3 * mark.value
                if high > low:
                    axes.plot([low, high], [value] * 2, color=INK, lw=0.6, ls=(0, (1, 1.2)))
                share = 0.3 + 0.2 * k if high > low else 0.0
                axes.plot(low + share * (high - low), value, **_marker(k))

    def _legend(self, figure: Figure, components: tuple[int, ...]) -> None:
        handles = [
            Line2D([], [], color=INKS[k], ls=STYLES[k], lw=1.2, label=f"plate, {NAMES[k]}")
            for k in components
        ]
        for k, strip in enumerate(self._strips()):
            label = f"strip, m_x, {strip}"
            handles.append(Line2D([], [], ls=(0, (1, 1.2)), lw=0.6, label=label, **_marker(k)))
        figure.legend(
            handles=handles, loc="lower center", ncols=min(5, len(handles)), frameon=False
        )


def _marker(k: int) -> dict[str, Any]:
    return {
        "marker": MARKS[k % len(MARKS)],
        "ms": 4.5,
        "mfc": "white",
        "mec": INK,
        "mew": 0.8,
        "color": INK,
        "zorder": 6,
    }


def _places(deck: Deck, at: Floats) -> Iterator[tuple[str, float, float]]:
    """Bays and cross lines by their printed names with where they lie on the x axis."""
    for i, (a, b) in enumerate(itertools.pairwise(at)):
        yield f"bay C{i + 1}–C{i + 2}", float(a), float(b)
    for i, a in enumerate(at):
        yield line_title(deck, f"C{i + 1}"), float(a), float(a)


def _scales(axes: Axes, words: str, *, across: bool, up: bool) -> None:
    """Marks along both sides of axes, with print across and up where it is wanted."""
    scale(axes, "bottom", words if across else "", numbered=across)
    scale(axes, "left", "moment [kNm/m]" if up else "", numbered=up, ruled=True)


def finish(axes: Axes) -> None:
    """A zero line and no box."""
    axes.axhline(0.0, color=INK, lw=0.6, zorder=2)
    axes.margins(x=0.0, y=0.08)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def turn_down(axes: Axes) -> None:
    """Sagging downwards, on the side of the slab that it pulls."""
    if not axes.yaxis_inverted():
        axes.invert_yaxis()

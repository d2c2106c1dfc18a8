"""Envelopes along lines of the plan: mid-bays, cross lines, edges and lines along the deck, with
the hand strips' values on them."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title
from pipelines.envelopes.extremes import FieldEnvelope
from pipelines.findings.finding import Finding
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import WIDTH, Paper, draw
from pipelines.report.drawings.colours import DASHES, INK, MARKS, PALE, SERIES, SOFT
from pipelines.report.drawings.cuts import FieldMap, along_path, cross_path, cut
from pipelines.report.drawings.legend import Key, legend, legend_height
from plate.arrays import Floats
from plate.conventions import RESULTS

M_X, M_Y = RESULTS.index("m_x"), RESULTS.index("m_y")
STYLES = {M_X: (SERIES[0], DASHES[0]), M_Y: (SERIES[1], DASHES[1])}
NAMES = {M_X: "m_x, bars along", M_Y: "m_y, bars across"}
# Bays or lines in one drawing.
PANELS = 12
COLUMNS = 4
# Paper round the boxes: left, top, right, for the title of the lowest; between boxes across and
# down [point]; share of the values' range above and below them.
LEFT, TOP, RIGHT, FOOT, BESIDE, BELOW, SPARE = 48.0, 18.0, 8.0, 34.0, 12.0, 26.0, 0.08
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
        panels = [
            self._across(f"bay C{i + 1}–C{i + 2}", 0.5 * (a + b), (0,))
            for i, (a, b) in enumerate(itertools.pairwise(self.deck.stations))
        ]
        title = "Moments across the deck at the middle of each bay"
        return self._drawing("mid-bays", title, panels[:PANELS], COLUMNS, 118.0)

    def cross_lines(self) -> Drawing:
        """m_x and m_y along every cross line, the worse of both sides."""
        low, high = self.deck.plan.u_range
        panels = []
        for i, u in enumerate(self.deck.stations):
            sides = tuple(s for s in (1, -1) if (s > 0 and u > low) or (s < 0 and u < high))
            panels.append(self._across(line_title(self.deck, f"C{i + 1}"), u, sides))
        title = "Moments along each cross line, both sides of it"
        return self._drawing("cross-lines", title, panels[:PANELS], COLUMNS, 118.0)

    def _across(self, place: str, u: float, sides: tuple[int, ...]) -> "_Panel":
        ends = cross_path(self.deck, u)
        curves = [(k, curve) for k in (M_X, M_Y) for curve in self._curves(k, *ends, sides, 1)]
        marks = [
            (k, mark.value, 0.06 + 0.07 * k, None)
            for k, strip in enumerate(self._strips)
            for mark in self.marks
            if mark.strip == strip and mark.place == place
        ]
        return _Panel(place, "offset y [m]", curves, self._offsets_crossed(), marks)

    def edges(self) -> Drawing:
        """m_y along the start and end edges, m_x along the left and right edges."""
        low, high = self.deck.plan.u_range
        panels = []
        for label, u, side in (("start edge", low, -1), ("end edge", high, 1)):
            found = self._curves(M_Y, *cross_path(self.deck, u), (side,), 1)
            curves = [(M_Y, curve) for curve in found]
            panels.append(_Panel(label, "offset y [m]", curves, self._offsets_crossed(), []))
        for label, share, side in (("left edge", 0.0, 1), ("right edge", 1.0, -1)):
            found = self._curves(M_X, *along_path(self.deck, share), (side,), 0)
            curves = [(M_X, curve) for curve in found]
            panels.append(_Panel(label, "station x [m]", curves, self._lines_crossed(), []))
        return self._drawing("edges", "Moments along the slab's edges", panels, 2, 105.0)

    def along(self) -> Drawing:
        """m_x along the deck at mid-width and at the quarters of the width."""
        panels = []
        for share, label in SHARES.items():
            a, b = along_path(self.deck, share)
            # A line along the deck may lie in this path: take the worse of both sides.
            curves = [(M_X, curve) for curve in self._curves(M_X, a, b, (1, -1), 0)]
            marks = self._bay_marks(0.5 * (a[1] + b[1]))
            panels.append(_Panel(label, "station x [m]", curves, self._lines_crossed(), marks))
        title = "Moment of the bars along the deck, along the deck"
        return self._drawing("along", title, panels, 1, 105.0)

    def _drawing(
        self, name: str, title: str, panels: "Sequence[_Panel]", columns: int, height: float
    ) -> Drawing:
        """Panels with one scale of moments, so many in a row, each box so high."""
        columns = min(columns, len(panels))
        rows = -(-len(panels) // columns)
        one_title = len({panel.title for panel in panels}) == 1
        below = BELOW if one_title else BELOW + FOOT - 8.0
        shown = {k for panel in panels for k, _ in panel.curves}
        keys = [
            Key(words=f"plate, {NAMES[k]}", ink=ink, dash=dash, width=1.3)
            for k, (ink, dash) in STYLES.items()
            if k in shown
        ]
        if any(panel.marks for panel in panels):
            for k, strip in enumerate(self._strips):
                mark = MARKS[k % len(MARKS)]
                words = f"strip, m_x, {strip}"
                keys.append(
                    Key(words=words, dash=(1, 1.2), width=0.6, mark=mark, mark_fill="white")
                )
        values = [v for panel in panels for _, xy in panel.curves for v in xy[:, 1].tolist()]
        values += [1e-3 * value for panel in panels for _, value, *_ in panel.marks] + [0.0]
        low, high = min(values), max(values)
        spare = SPARE * ((high - low) or 1.0)
        wide = (WIDTH - LEFT - RIGHT - BESIDE * (columns - 1)) / columns
        foot = FOOT + legend_height(keys, WIDTH)
        size = (WIDTH, TOP + rows * height + (rows - 1) * below + foot)

        def paint(paper: Paper) -> None:
            for i, panel in enumerate(panels):
                left = LEFT + (i % columns) * (wide + BESIDE)
                top = TOP + (i // columns) * (height + below)
                x = np.concatenate([xy[:, 0] for _, xy in panel.curves])
                # Sagging downwards, on the side of the slab that it pulls.
                axes = Axes(
                    paper=paper,
                    box=(left, top, left + wide, top + height),
                    x=(float(x.min()), float(x.max())),
                    y=(low - spare, high + spare),
                )
                lowest = not one_title or i >= len(panels) - columns
                _panel(axes, panel, across=lowest, up=i % columns == 0)
            legend(paper, keys)

        return draw(f"lines-{name}-{self.suffix}", title, size, paint)

    def _curves(
        self, k: int, a: Floats, b: Floats, sides: tuple[int, ...], axis: int
    ) -> Iterator[Floats]:
        """Largest and smallest values as paths (n, 2): place [m] and moment [kNm/m]."""
        extremes = self.envelope.extremes
        values = np.stack([extremes.maximum[k], extremes.minimum[k]])
        for side in sides:
            points, found = cut(self.fields, a, b, values, side)
            for curve in found:
                yield np.column_stack([points[:, axis], 1e-3 * curve])

    def _lines_crossed(self) -> list[tuple[float, str]]:
        return [(u, f"C{i + 1}") for i, u in enumerate(self.deck.stations)]

    def _offsets_crossed(self) -> list[tuple[float, str]]:
        same = self.deck.plan.end_offsets == self.deck.plan.offsets
        return [(y, "") for y in self.deck.offsets] if same else []

    @cached_property
    def _strips(self) -> list[str]:
        return list(dict.fromkeys(mark.strip for mark in self.marks))

    def _bay_marks(self, y: float) -> "list[_Mark]":
        plan = self.deck.plan
        at = plan.at(np.array(self.deck.stations), np.full(len(self.deck.stations), y))[:, 0]
        return [
            (k, mark.value, low + (0.3 + 0.2 * (k % 3)) * (high - low), (low, high))
            for k, strip in enumerate(self._strips)
            for place, low, high in _places(self.deck, at)
            for mark in self.marks
            if mark.strip == strip and mark.place == place
        ]


# A strip's number, its value [N m/m], its mark's place, and from where to where its level is drawn:
# of a level over all of a box the place is a share of it.
_Mark = tuple[int, float, float, tuple[float, float] | None]


@dataclass(frozen=True)
class _Panel:
    """One box: its name, its title across, curves by component, lines that are crossed by place and
    name, marks."""

    name: str
    title: str
    curves: Sequence[tuple[int, Floats]]
    crossed: Sequence[tuple[float, str]]
    marks: Sequence[_Mark]


def _panel(axes: Axes, panel: _Panel, *, across: bool, up: bool) -> None:
    """Draw one; across, up : whether numbers and titles stand along the foot and the left side."""
    axes.scale("bottom", panel.title if across else "", numbered=across)
    axes.scale("left", "moment [kNm/m]" if up else "", numbered=up, ruled=True)
    axes.frame(sides="lb")
    low, high = axes.x
    for at, name in panel.crossed:
        if low <= at <= high:
            axes.upright(at, ink=PALE, width=0.5, dash=(1, 2))
            axes.text([at, axes.y[0]], name, (2.0, 2.0), size=6.5, along="start", level="top")
    axes.level(0.0)
    for _, value, _, ends in panel.marks:
        kilo = 1e-3 * value
        a, b = ends or (low, high)
        if b > a:
            axes.path([[a, kilo], [b, kilo]], width=0.6, dash=(1, 1.2))
    for k, curve in panel.curves:
        ink, dash = STYLES[k]
        axes.path(curve, ink=ink, dash=dash, width=1.2)
    for k, value, at, ends in panel.marks:
        x = low + at * (high - low) if ends is None else at
        axes.mark([x, 1e-3 * value], MARKS[k % len(MARKS)], 4.5, fill="white", ink=INK)
    (left, top, right, _) = axes.box
    axes.paper.text([0.5 * (left + right), top - 4.0], panel.name, level="base", ink=SOFT)


def _places(deck: Deck, at: Floats) -> Iterator[tuple[str, float, float]]:
    """Bays and cross lines by their printed names with where they lie on the x axis."""
    for i, (a, b) in enumerate(itertools.pairwise(at)):
        yield f"bay C{i + 1}–C{i + 2}", float(a), float(b)
    for i, a in enumerate(at):
        yield line_title(deck, f"C{i + 1}"), float(a), float(a)

"""Filled contour plans of fields: one-sided at lines, with the governing wheels and the peak."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Polygon, unary_union

from pipelines.deck.deck import Deck
from pipelines.numbers import length, number
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, round_levels
from pipelines.report.drawings.canvas import Paper, draw, room_of
from pipelines.report.drawings.colours import field_colours
from pipelines.report.drawings.contours import bands, colour_bar, label_contours
from pipelines.report.drawings.cuts import FieldMap
from pipelines.report.drawings.marching import Triangles
from pipelines.report.drawings.plan import (
    StandingLoad,
    closed,
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    line_path,
    outline,
    standing,
    traced,
    travel,
)
from pipelines.report.drawings.smooth import Lattice
from plate.arrays import Floats
from plate.geometry.outline import points_of

LEVELS = 12
# A peak stands alone where on this share of the area all is less than that share of it.
COMMON, ALONE = 0.97, 0.25
# Paper between the peak and its label [point].
LABEL_AWAY = 36.0
# Corners of that label about its middle [point].
PEAK_BOX = np.array([[-18.0, -8.0], [18.0, -8.0], [18.0, 8.0], [-18.0, 8.0], [-18.0, -8.0]])


@dataclass(frozen=True, kw_only=True)
class PlanField:
    """What a contour plan shows, in print units.

    name : of the drawing; title : in words; values : (n_point,); extreme : "max" and "min" of
    envelopes are never below or above zero, "both" has either sign.
    peak, at : value and plan point to be marked; load : what governs there.
    banded : whether values near edges and lines are not to be read.
    """

    name: str
    title: str
    unit: str
    values: Floats
    extreme: str
    peak: float
    at: tuple[float, float]
    load: StandingLoad | None = None
    banded: bool = False


@dataclass(frozen=True)
class ContourPlans:
    """Contour plans of one deck.

    clear : (n_point,) whether a field point is outside the band that shears are not read in.
    lattice : of the load positions, whose teeth envelopes are drawn without; None for fields of one
    position.
    """

    deck: Deck
    fields: FieldMap
    clear: NDArray[np.bool_]
    lattice: Lattice | None = None

    @cached_property
    def _triangles(self) -> Triangles:
        return Triangles.of_quads(self.fields.xy, self.fields.quads)

    @cached_property
    def _clear_triangles(self) -> Triangles:
        """Those that are not wholly in the band."""
        triangles = self._triangles
        return triangles.where(np.asarray(self.clear[triangles.corners].any(axis=1)))

    @cached_property
    def _band(self) -> list[Floats]:
        """Rings (n, 2) round what lies within one thickness of edges and supporting lines."""
        deck = self.deck
        holes = [closed(deck, corners) for corners in points_of(deck.plan.openings)]
        slab = Polygon(closed(deck, deck.plan.outline), holes)
        lines = [LineString(traced(deck, line_path(deck, line))) for line in deck.lines]
        reach = deck.slab.thickness
        band = unary_union([line.buffer(reach) for line in [*lines, slab.boundary]])
        band = band.intersection(slab)
        return [
            np.array(ring.coords)
            for part in getattr(band, "geoms", [band])
            if isinstance(part, Polygon)
            for ring in (part.exterior, *part.interiors)
        ]

    def all_of(self, fields: Sequence[PlanField]) -> list[Drawing]:
        """The drawings of several fields."""
        return [self.plan(field) for field in fields]

    def plan(self, field: PlanField) -> Drawing:
        """The drawing of one field."""
        room = deck_canvas(self.deck, 0.9, 76.0)

        def paint(paper: Paper) -> None:
            axes = room.axes(paper)
            frame(axes, self.deck)
            if field.peak != 0.0:
                self._contours(axes, field)
            if field.banded:
                axes.path(
                    *self._band, closed=True, fill="white", ink="#999999", width=0.3, hatch="/"
                )
            outline(axes, self.deck)
            faint_lines(axes, self.deck)
            line_names(axes, self.deck, (0.5, 0.5))
            if field.load is not None:
                standing(axes, self.deck, field.load)
            if field.peak != 0.0:
                self._mark(axes, field)
            else:
                middle = [0.5 * sum(axes.x), 0.5 * sum(axes.y)]
                axes.text(middle, "zero everywhere", halo=True)

        place = f"station {length(field.at[0])} m, offset {length(field.at[1])} m"
        words = f"{field.title}. Peak {number(field.peak)} {field.unit} at {place}."
        return draw(field.name, words, room.size, paint)

    def _contours(self, axes: Axes, field: PlanField) -> None:
        high = self._highest(field)
        levels = contour_levels(field, high)
        colours = field_colours(field.extreme, len(levels) - 1)
        # On a slab thicker than its spans nothing is clear: the band covers all of it.
        banded = field.banded and self.clear.any()
        triangles = self._clear_triangles if banded else self._triangles
        values = field.values
        if self.lattice is not None and field.extreme != "both":
            values = self.lattice.smoothed(values, 1.0 if field.extreme == "max" else -1.0)
        lines = bands(axes, triangles, values, levels, colours)
        label_contours(axes, levels[1:-1], lines, self._keep_off(axes, field))
        words = f"{field.title} [{field.unit}]"
        if high < abs(field.peak):
            words += f"; the darkest band goes on to {number(field.peak)}"
        colour_bar(axes.paper, levels, colours, words)

    @cached_property
    def _areas(self) -> Floats:
        """The areas of the quadrilaterals between field points [m²]."""
        a, b, c, d = (self.fields.xy[self.fields.quads[:, k]] for k in range(4))
        (x, y), (u, v) = (c - a).T, (d - b).T
        return np.asarray(0.5 * np.abs(x * v - y * u))

    def _highest(self, field: PlanField) -> float:
        """The peak; where it stands far above what is common, that, so that the plan is no
        blank."""
        values = np.abs(field.values[self.fields.quads]).mean(axis=1)
        order = np.argsort(values)
        share = np.cumsum(self._areas[order])
        common = float(values[order[np.searchsorted(share, COMMON * share[-1])]])
        return common if 0.0 < common < ALONE * abs(field.peak) else abs(field.peak)

    def _keep_off(self, axes: Axes, field: PlanField) -> list[Floats]:
        """What no label may touch, on the sheet: edges, lines, the band, the peak, its label and
        the wheels."""
        deck = self.deck
        rings = [deck.plan.outline, *points_of(deck.plan.openings)]
        found = [closed(deck, ring) for ring in rings]
        found += [traced(deck, line_path(deck, line)) for line in deck.lines]
        if field.banded:
            found += self._band
        peak = axes.at(deck.plan.alignment.to_cartesian(np.array(field.at)))
        middle = self._free_place(axes, field, peak)
        label = np.vstack([peak, middle, middle + PEAK_BOX])
        return [*(axes.at(xy) for xy in [*found, *self._load(field)]), label]

    def _load(self, field: PlanField) -> list[Floats]:
        """Outlines of the wheels that govern, and the arrows of travel."""
        if field.load is None:
            return []
        arrows = [travel(self.deck, at) for at in field.load.vehicles]
        return [*(closed(self.deck, wheel) for wheel in field.load.wheels), *arrows]

    def _mark(self, axes: Axes, field: PlanField) -> None:
        place = self.deck.plan.alignment.to_cartesian(np.array(field.at))
        peak = axes.at(place)
        peak_label(axes, place, _peak_words(field), self._free_place(axes, field, peak) - peak)

    def _free_place(self, axes: Axes, field: PlanField, peak: Floats) -> Floats:
        """Middle of the peak's label on the sheet: away from the wheels and the arrow."""
        angles = np.radians(np.arange(0, 360, 30))
        tried = peak + LABEL_AWAY * np.column_stack([np.cos(angles), np.sin(angles)])
        left, top, right, bottom = axes.box
        inside = np.all(
            (tried > [left + 20, top + 10]) & (tried < [right - 20, bottom - 10]), axis=1
        )
        free = np.zeros(len(tried))
        load = [xy.mean(axis=0) for xy in self._load(field)]
        if load:
            free = np.linalg.norm(tried[:, None] - axes.at(load), axis=2).min(axis=1)
        return np.asarray(tried[int(np.argmax(np.where(inside, free, -1.0)))])


def peak_label(axes: Axes, place: Floats, words: str, away: Floats) -> None:
    """A ring round a Cartesian point [m], and its value in a frame that far off [point]."""
    axes.mark(place, "o", 8.0, ink="white", width=2.4)
    axes.mark(place, "o", 8.0, width=1.1)
    axes.mark(place, "+", 4.0, width=0.8)
    at = axes.at(place)
    middle = at + away
    start = at + 5.0 * away / np.linalg.norm(away)
    axes.paper.path([start, middle], width=0.7)
    half = np.array([0.5 * room_of(words, 9.0) + 2.5, 6.5])
    corners = middle + half * [[-1, -1], [1, -1], [1, 1], [-1, 1]]
    axes.paper.path(corners, closed=True, fill="white", width=0.5)
    axes.paper.text(middle, words, size=9.0, bold=True)


def contour_levels(field: PlanField, high: float) -> Floats:
    """Round levels up to a value on both sides; from zero for envelopes, about zero for both
    signs."""
    low = -high if field.extreme == "both" else 0.0
    levels = round_levels(low, high, LEVELS)
    if field.extreme == "both":
        return levels
    return np.asarray(levels if field.extreme == "max" else 0.0 - levels[::-1])


def _peak_words(field: PlanField) -> str:
    """The peak in print; a utilisation is rounded up, so that 1.00 passes."""
    if field.unit == "-":
        return f"{np.ceil(100.0 * field.peak - 1e-9) / 100.0:.2f}"
    return number(field.peak)

"""Filled contour plans of fields: one-sided at lines, with the governing wheels and the peak."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.ticker import MaxNLocator
from matplotlib.tri import Triangulation
from numpy.typing import NDArray
from shapely import LineString, Polygon, unary_union

from pipelines.deck.deck import Deck
from pipelines.numbers import length, number
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, draw
from pipelines.report.drawings.contours import bands, colour_bar, label_contours
from pipelines.report.drawings.cuts import FieldMap
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
from plate.arrays import Floats
from plate.geometry.outline import points_of

LEVELS = 12
# Light to dark, so that grey prints read; one hue for each sign.
MAPS = {"max": "YlGnBu", "min": "YlOrBr_r", "both": "PuOr_r"}
# Part of each map that is used: labels in ink stay readable on the darkest.
SHARE = {"max": (0.0, 0.72), "min": (0.28, 1.0), "both": (0.14, 0.86)}
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
    """

    deck: Deck
    fields: FieldMap
    clear: NDArray[np.bool_]

    @cached_property
    def _triangles(self) -> Triangulation:
        quads = self.fields.quads
        triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        return Triangulation(self.fields.xy[:, 0], self.fields.xy[:, 1], triangles)

    @cached_property
    def _clear_triangles(self) -> Triangulation:
        """Those that are not wholly in the band."""
        triangles = self._triangles.triangles
        x, y = self.fields.xy.T
        return Triangulation(x, y, triangles[self.clear[triangles].any(axis=1)])

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

    def plan(self, field: PlanField) -> Drawing:
        """The drawing of one field."""
        room = deck_canvas(self.deck, 0.9, 1.05)

        def paint(figure: Figure) -> None:
            axes = room.axes(figure)
            frame(axes, self.deck)
            if field.peak != 0.0:
                self._contours(figure, axes, field)
            if field.banded:
                self._cover(axes)
            outline(axes, self.deck)
            faint_lines(axes, self.deck)
            line_names(axes, self.deck, (0.5, 0.5))
            if field.load is not None:
                standing(axes, self.deck, field.load)
            if field.peak != 0.0:
                self._mark(axes, field)
            else:
                axes.text(0.5, 0.5, "zero everywhere", transform=axes.transAxes, ha="center")

        place = f"station {length(field.at[0])} m, offset {length(field.at[1])} m"
        words = f"{field.title}. Peak {number(field.peak)} {field.unit} at {place}."
        return draw(field.name, words, room.size, paint)

    def _contours(self, figure: Figure, axes: Axes, field: PlanField) -> None:
        high = self._highest(field)
        levels = contour_levels(field, high)
        colours = colormaps[MAPS[field.extreme]](
            np.linspace(*SHARE[field.extreme], len(levels) - 1)
        )
        # On a slab thicker than its spans nothing is clear: the band covers all of it.
        banded = field.banded and self.clear.any()
        triangles = self._clear_triangles if banded else self._triangles
        lines = bands(axes, triangles, field.values, levels, colours)
        label_contours(axes, levels[1:-1], lines, self._keep_off(axes, field))
        words = f"{field.title} [{field.unit}]"
        if high < abs(field.peak):
            words += f"; the darkest band goes on to {number(field.peak)}"
        colour_bar(figure, levels, colours, words)

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
        """What no label may touch: edges, lines, the band, the peak, its label and the wheels."""
        deck = self.deck
        rings = [deck.plan.outline, *points_of(deck.plan.openings)]
        found = [closed(deck, ring) for ring in rings]
        found += [traced(deck, line_path(deck, line)) for line in deck.lines]
        if field.banded:
            found += self._band
        peak = deck.plan.alignment.to_cartesian(np.array(field.at))
        middle = np.array(self._free_place(axes, field, peak))
        label = np.vstack([np.zeros(2), middle, middle + PEAK_BOX])
        dots = axes.transData.transform(peak) + label * axes.figure.dpi / 72.0
        return [*found, *self._load(field), axes.transData.inverted().transform(dots)]

    def _load(self, field: PlanField) -> list[Floats]:
        """Outlines of the wheels that govern, and the arrows of travel."""
        if field.load is None:
            return []
        arrows = [travel(self.deck, at) for at in field.load.vehicles]
        return [*(closed(self.deck, wheel) for wheel in field.load.wheels), *arrows]

    def _cover(self, axes: Axes) -> None:
        path = Path.make_compound_path(*[Path(ring, closed=True) for ring in self._band])
        axes.add_patch(
            PathPatch(path, fc="white", ec="#999999", lw=0.3, hatch="//////", zorder=2.5)
        )

    def _mark(self, axes: Axes, field: PlanField) -> None:
        x, y = self.deck.plan.alignment.to_cartesian(np.array(field.at))
        axes.plot(x, y, marker="o", ms=7, mfc="none", mec="white", mew=2.4, zorder=9)
        axes.plot(x, y, marker="o", ms=7, mfc="none", mec=INK, mew=1.1, zorder=10)
        axes.plot(x, y, marker="+", ms=5, mec=INK, mew=0.9, zorder=10)
        axes.annotate(
            _peak_words(field),
            xy=(x, y),
            xytext=self._free_place(axes, field, np.array([x, y])),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=9,
            fontweight="bold",
            zorder=11,
            bbox={"fc": "white", "ec": INK, "lw": 0.5, "pad": 1.6},
            arrowprops={"arrowstyle": "-", "lw": 0.7, "shrinkA": 0, "shrinkB": 4},
        )

    def _free_place(self, axes: Axes, field: PlanField, peak: Floats) -> tuple[float, float]:
        """Offset [point] of the peak's label: away from the wheels and the arrow, on the axes."""
        angles = np.radians(np.arange(0, 360, 30))
        offsets = LABEL_AWAY * np.column_stack([np.cos(angles), np.sin(angles)])
        to_points = 72.0 / axes.figure.dpi
        screen = axes.transData.transform(peak) * to_points + offsets
        box = axes.get_window_extent()
        low, high = np.array([box.p0, box.p1]) * to_points
        inside = np.all((screen > low + 16.0) & (screen < high - 8.0), axis=1)
        free = np.zeros(len(offsets))
        load = [xy.mean(axis=0) for xy in self._load(field)]
        if load:
            at = axes.transData.transform(np.array(load)) * to_points
            free = np.linalg.norm(screen[:, None] - at, axis=2).min(axis=1)
        x, y = offsets[int(np.argmax(np.where(inside, free, -1.0)))]
        return float(x), float(y)


def contour_levels(field: PlanField, high: float) -> Floats:
    """Round levels up to a value on both sides; from zero for envelopes, about zero for both
    signs."""
    low = -high if field.extreme == "both" else 0.0
    levels = np.asarray(MaxNLocator(LEVELS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))
    if field.extreme == "both":
        return np.asarray(levels)
    levels = levels[levels >= 0.0]
    return np.asarray(levels if field.extreme == "max" else 0.0 - levels[::-1])


def _peak_words(field: PlanField) -> str:
    """The peak in print; a utilisation is rounded up, so that 1.00 passes."""
    if field.unit == "-":
        return f"{np.ceil(100.0 * field.peak - 1e-9) / 100.0:.2f}"
    return number(field.peak)

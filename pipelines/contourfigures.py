"""Filled contour plans of fields: one-sided at lines, with the governing wheels and the peak."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.ticker import FuncFormatter, MaxNLocator
from matplotlib.tri import Triangulation
from numpy.typing import NDArray
from shapely import LineString, Polygon, unary_union

from pipelines.deck import Deck
from pipelines.envelopes import LoadPosition
from pipelines.figures import INK, draw, given, length, number
from pipelines.planfigures import (
    closed,
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    line_path,
    outline,
    run_of,
    traced,
    wheels,
)
from pipelines.slices import FieldMap
from pipelines.traffic import LoadPositions
from plate.outline import points_of

Floats = NDArray[np.float64]

LEVELS = 12
# Light to dark, so that grey prints read; one hue for each sign.
MAPS = {"max": "YlGnBu", "min": "YlOrBr_r", "both": "PuOr_r"}
# Part of each map that is used: labels in ink stay readable on the darkest.
SHARE = {"max": (0.0, 0.72), "min": (0.28, 1.0), "both": (0.14, 0.86)}
# Paper between the peak and its label [point].
LABEL_AWAY = 36.0


@dataclass(frozen=True)
class PlanField:
    """What a contour plan shows, in print units.

    name : of the drawing; title : in words; values : (n_point,); extreme : "max" and "min" of
    envelopes are never below or above zero, "both" has either sign.
    peak, at : value and plan point to be marked; position : governing.
    banded : whether values near edges and lines are not to be read.
    """

    name: str
    title: str
    unit: str
    values: Floats
    extreme: str
    peak: float
    at: tuple[float, float]
    position: LoadPosition | None = None
    banded: bool = False


@dataclass(frozen=True)
class ContourPlans:
    """Contour plans of one deck.

    clear : (n_point,) whether a field point is outside the band that shears are not read in.
    """

    deck: Deck
    fields: FieldMap
    clear: NDArray[np.bool_]
    runs: Sequence[LoadPositions] = ()

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
    def _band(self) -> Path:
        """Within one thickness of edges and supporting lines."""
        deck = self.deck
        holes = [closed(deck, corners) for corners in points_of(deck.plan.openings)]
        slab = Polygon(closed(deck, deck.plan.outline), holes)
        lines = [LineString(traced(deck, line_path(deck, line))) for line in deck.lines]
        reach = deck.slab.thickness
        band = unary_union([line.buffer(reach) for line in [*lines, slab.boundary]])
        band = band.intersection(slab)
        rings = [
            np.array(ring.coords)
            for part in getattr(band, "geoms", [band])
            if isinstance(part, Polygon)
            for ring in (part.exterior, *part.interiors)
        ]
        return Path.make_compound_path(*[Path(ring, closed=True) for ring in rings])

    def plan(self, field: PlanField) -> str:
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
            if field.position is not None:
                wheels(axes, self.deck, self.runs, field.position)
            if field.peak != 0.0:
                self._mark(axes, field)
            else:
                axes.text(0.5, 0.5, "zero everywhere", transform=axes.transAxes, ha="center")

        place = f"station {length(field.at[0])} m, offset {length(field.at[1])} m"
        words = f"{field.title}. Peak {number(field.peak)} {field.unit} at {place}."
        return draw(field.name, words, room.size, paint)

    def _contours(self, figure: Figure, axes: Axes, field: PlanField) -> None:
        levels = contour_levels(field)
        # What lies on the last level would be left blank.
        inside = 1e-6 * (levels[-1] - levels[0])
        shown = np.clip(field.values, levels[0] + inside, levels[-1] - inside)
        triangles = self._clear_triangles if field.banded else self._triangles
        colours = colormaps[MAPS[field.extreme]](
            np.linspace(*SHARE[field.extreme], len(levels) - 1)
        )
        filled = axes.tricontourf(triangles, shown, levels=levels, colors=colours, zorder=1)
        filled.set_edgecolor("face")
        filled.set_linewidth(0.25)
        inner = levels[1:-1]
        lines = axes.tricontour(
            triangles,
            shown,
            levels=inner,
            colors=INK,
            linewidths=0.35,
            negative_linestyles="solid",
            zorder=2,
        )
        axes.clabel(lines, inner[::2], fmt=given, fontsize=6, inline_spacing=1, zorder=2)
        width, height = figure.get_size_inches()
        bar_axes = figure.add_axes((0.5 - 3.0 / width, 0.36 / height, 6.0 / width, 0.13 / height))
        bar = figure.colorbar(filled, cax=bar_axes, orientation="horizontal", ticks=levels)
        bar.ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: given(v)))
        bar.ax.tick_params(length=2, pad=1.5)
        bar.outline.set_linewidth(0.5)
        bar.set_label(f"{field.title} [{field.unit}]", labelpad=1.5)

    def _cover(self, axes: Axes) -> None:
        axes.add_patch(
            PathPatch(
                self._band, fc=(1, 1, 1, 0.9), ec="#999999", lw=0.3, hatch="//////", zorder=2.5
            )
        )

    def _mark(self, axes: Axes, field: PlanField) -> None:
        x, y = self.deck.plan.chart.to_cartesian(np.array(field.at))
        axes.plot(x, y, marker="o", ms=7, mfc="none", mec="white", mew=2.4, zorder=9)
        axes.plot(x, y, marker="o", ms=7, mfc="none", mec=INK, mew=1.1, zorder=10)
        axes.plot(x, y, marker="+", ms=5, mec=INK, mew=0.9, zorder=10)
        axes.annotate(
            number(field.peak),
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
        """Offset [point] of the peak's label: away from the wheels, on the axes."""
        angles = np.radians(np.arange(0, 360, 30))
        offsets = LABEL_AWAY * np.column_stack([np.cos(angles), np.sin(angles)])
        to_points = 72.0 / axes.figure.dpi
        screen = axes.transData.transform(peak) * to_points + offsets
        box = axes.get_window_extent()
        low, high = np.array([box.p0, box.p1]) * to_points
        inside = np.all((screen > low + 16.0) & (screen < high - 8.0), axis=1)
        free = np.zeros(len(offsets))
        if field.position is not None:
            run, index = run_of(self.runs, field.position)
            centres = run.wheels(slice(index, index + 1)).corners.mean(axis=1)
            at = axes.transData.transform(self.deck.plan.chart.to_cartesian(centres)) * to_points
            free = np.linalg.norm(screen[:, None] - at, axis=2).min(axis=1)
        x, y = offsets[int(np.argmax(np.where(inside, free, -1.0)))]
        return float(x), float(y)


def contour_levels(field: PlanField) -> Floats:
    """Round levels over what is to be read; from zero for envelopes, about zero for both signs."""
    high = abs(field.peak)
    low = -high if field.extreme == "both" else 0.0
    levels = np.asarray(MaxNLocator(LEVELS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))
    if field.extreme == "both":
        return np.asarray(levels)
    levels = levels[levels >= 0.0]
    return np.asarray(levels if field.extreme == "max" else 0.0 - levels[::-1])

"""Maps of the back-figured width: what a strip would have to use, place by place."""

from dataclasses import dataclass

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator
from matplotlib.tri import Triangulation
from numpy.typing import NDArray

from pipelines.deck import Deck
from pipelines.figures import INK, draw, given, number
from pipelines.planfigures import deck_canvas, faint_lines, frame, line_names, outline
from pipelines.slices import FieldMap

Floats = NDArray[np.float64]
LEVELS = 10
MAP, SHARE = "YlGnBu", (0.0, 0.72)


@dataclass(frozen=True)
class WidthMap:
    """name : of the drawing; title : in words; widths : (n_point,) [m], nan where none is shown."""

    name: str
    title: str
    widths: Floats


def width_map(deck: Deck, fields: FieldMap, one: WidthMap) -> str:
    """Plan of the widths; small ones are dark, since there a strip has little slab to help."""
    room = deck_canvas(deck, 0.9, 1.05)
    shown = np.isfinite(one.widths)
    low, high = np.nanpercentile(one.widths, [0.0, 95.0])
    levels = np.asarray(MaxNLocator(LEVELS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))

    def paint(figure: Figure) -> None:
        axes = room.axes(figure)
        frame(axes, deck)
        _fill(figure, axes, fields, one, shown, levels)
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.5, 0.5))
        k = int(np.nanargmin(one.widths))
        x, y = fields.xy[k]
        axes.plot(x, y, marker="o", ms=7, mfc="none", mec="white", mew=2.4, zorder=9)
        axes.plot(x, y, marker="o", ms=7, mfc="none", mec=INK, mew=1.1, zorder=10)
        axes.annotate(
            f"{number(float(one.widths[k]))} m",
            (x, y),
            xytext=(0, 26),
            textcoords="offset points",
            ha="center",
            fontsize=9,
            fontweight="bold",
            bbox={"fc": "white", "ec": INK, "lw": 0.5, "pad": 1.6},
            arrowprops={"arrowstyle": "-", "lw": 0.7, "shrinkA": 0, "shrinkB": 4},
            zorder=11,
        )

    least = number(float(np.nanmin(one.widths)))
    return draw(one.name, f"{one.title}. Least width {least} m.", room.size, paint)


def _fill(
    figure: Figure,
    axes: Axes,
    fields: FieldMap,
    one: WidthMap,
    shown: NDArray[np.bool_],
    levels: Floats,
) -> None:
    quads = fields.quads
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    triangles = triangles[shown[triangles].all(axis=1)]
    if not len(triangles):
        return
    mesh = Triangulation(fields.xy[:, 0], fields.xy[:, 1], triangles)
    values = np.clip(np.where(shown, one.widths, levels[0]), levels[0], levels[-1])
    colours = colormaps[MAP](np.linspace(*SHARE[::-1], len(levels) - 1))
    filled = axes.tricontourf(mesh, values, levels=levels, colors=colours, zorder=1)
    filled.set_edgecolor("face")
    filled.set_linewidth(0.25)
    lines = axes.tricontour(
        mesh, values, levels=levels[1:-1], colors=INK, linewidths=0.35, zorder=2
    )
    axes.clabel(lines, levels[1:-1][::2], fmt=given, fontsize=6, inline_spacing=1, zorder=2)
    width, height = figure.get_size_inches()
    bar_axes = figure.add_axes((0.5 - 3.0 / width, 0.36 / height, 6.0 / width, 0.13 / height))
    bar = figure.colorbar(filled, cax=bar_axes, orientation="horizontal", ticks=levels)
    bar.ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: given(v)))
    bar.ax.tick_params(length=2, pad=1.5)
    bar.outline.set_linewidth(0.5)
    bar.set_label(f"{one.title} [m]; the last band takes all that is wider", labelpad=1.5)

"""Maps of the back-figured width: what a strip would have to use, place by place."""

from dataclasses import dataclass

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from matplotlib.tri import Triangulation
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.numbers import number
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, draw
from pipelines.report.drawings.contours import bands, colour_bar, label_contours
from pipelines.report.drawings.cuts import FieldMap
from pipelines.report.drawings.plan import (
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    line_path,
    outline,
    traced,
)
from plate.arrays import Floats

LEVELS = 10
MAP, SHARE = "YlGnBu", (0.0, 0.72)


@dataclass(frozen=True)
class WidthMap:
    """name : of the drawing; title : in words; widths : (n_point,) [m], nan where none is shown."""

    name: str
    title: str
    widths: Floats


def width_map(deck: Deck, fields: FieldMap, one: WidthMap) -> Drawing:
    """Plan of the widths; small ones are dark, since there a strip has little slab to help."""
    room = deck_canvas(deck, 0.9, 1.05)
    shown = np.isfinite(one.widths)
    low, high = np.nanpercentile(one.widths, [0.0, 95.0])
    levels = np.asarray(MaxNLocator(LEVELS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))

    def paint(figure: Figure) -> None:
        axes = room.axes(figure)
        frame(axes, deck)
        _fill(deck, figure, axes, fields, one, shown, levels)
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
    deck: Deck,
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
    values = np.where(shown, one.widths, levels[0])
    colours = colormaps[MAP](np.linspace(*SHARE[::-1], len(levels) - 1))
    lines = bands(axes, mesh, values, levels, colours)
    names = [traced(deck, line_path(deck, line)) for line in deck.lines]
    label_contours(axes, levels[1:-1], lines, names)
    colour_bar(figure, levels, colours, f"{one.title} [m]; the last band takes all that is wider")

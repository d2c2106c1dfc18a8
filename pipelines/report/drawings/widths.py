"""Maps of the back-figured width: what a strip would have to use, place by place."""

from dataclasses import dataclass

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.numbers import number
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, round_levels
from pipelines.report.drawings.canvas import Paper, draw
from pipelines.report.drawings.colours import LARGEST, ramp
from pipelines.report.drawings.contour_plans import peak_label
from pipelines.report.drawings.contours import bands, colour_bar, label_contours
from pipelines.report.drawings.cuts import FieldMap
from pipelines.report.drawings.marching import Triangles
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


@dataclass(frozen=True)
class WidthMap:
    """name : of the drawing; title : in words; widths : (n_point,) [m], nan where none is shown."""

    name: str
    title: str
    widths: Floats


def width_map(deck: Deck, fields: FieldMap, one: WidthMap) -> Drawing:
    """Plan of the widths; small ones are dark, since there a strip has little slab to help."""
    room = deck_canvas(deck, 0.9, 76.0)
    low, high = np.nanpercentile(one.widths, [0.0, 95.0])
    levels = round_levels(low, high, LEVELS)

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        _fill(deck, axes, fields, one, levels)
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.5, 0.5))
        k = int(np.nanargmin(one.widths))
        words = f"{number(float(one.widths[k]))} m"
        peak_label(axes, fields.xy[k], words, np.array([0.0, -28.0]))

    least = number(float(np.nanmin(one.widths)))
    return draw(one.name, f"{one.title}. Least width {least} m.", room.size, paint)


def _fill(deck: Deck, axes: Axes, fields: FieldMap, one: WidthMap, levels: Floats) -> None:
    shown = np.isfinite(one.widths)
    triangles = Triangles.of_quads(fields.xy, fields.quads)
    triangles = triangles.where(np.asarray(shown[triangles.corners].all(axis=1)))
    if not len(triangles.corners):
        return
    colours = ramp(LARGEST, len(levels) - 1)[::-1]
    lines = bands(axes, triangles, np.where(shown, one.widths, levels[0]), levels, colours)
    off = [axes.at(traced(deck, line_path(deck, line))) for line in deck.lines]
    label_contours(axes, levels[1:-1], lines, off)
    words = f"{one.title} [m]; the last band takes all that is wider"
    colour_bar(axes.paper, levels, colours, words)

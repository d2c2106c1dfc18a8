"""Plans of the bars in the report: each layer with marks and ranges, as bars.dxf has them."""

import numpy as np

from pipelines.bars.schedule.marks import Schedule
from pipelines.deck.deck import Deck
from pipelines.deck.thicknesses import Thicknesses
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.bar_ranges import DrawnRange, layer_ranges
from pipelines.report.drawings.bars import INKS, layer_name
from pipelines.report.drawings.canvas import SMALL, Paper, draw
from pipelines.report.drawings.colours import SOFT
from pipelines.report.drawings.plan import (
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    outline,
    traced,
)
from pipelines.standards.resistance.bars import Layer

APART = 4.0  # of pieces of a line that are drawn beside each other [point]


def bars_drawing(deck: Deck, schedule: Schedule, layer: Layer) -> Drawing:
    """Plan of one layer: one bar of those side by side, and the range of the others."""
    room = deck_canvas(deck, 0.9, 54.0)
    name = layer_name(deck.required_reinforcement.bars, layer)

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.45, 0.45))
        for path in Thicknesses.of(deck).straight_steps:
            axes.path(traced(deck, path), ink=SOFT, width=0.8, dash=(5, 3))
        for one in layer_ranges(deck, schedule, layer):
            _range(axes, one, INKS[layer[1]], room.scale)

    return draw(f"plan-bars-{name}", f"Bars of layer {name}.", room.size, paint)


def _range(axes: Axes, one: DrawnRange, ink: str, scale: float) -> None:
    run = one.bar[-1] - one.bar[0]
    run = run / np.linalg.norm(run)
    aside = np.array([-run[1], run[0]]) * (0.0 if one.even else APART / scale)
    if one.reach is not None:
        axes.path(one.reach, ink=SOFT, width=0.6)
        for end in one.reach[[0, -1]]:
            axes.path(end + np.array([[-4.0], [4.0]]) / scale * run, ink=SOFT, width=0.6)
    axes.path(one.bar + aside, ink=ink, width=1.6)
    axes.mark(one.middle + aside, "o", 3.0, fill=ink, ink="none")
    upright = abs(run[0]) < 0.5
    words = f"({one.mark.number}) {one.words[0]}"
    if upright:
        # beside the longer part of the bar; y runs down the page
        middle, ends = one.middle[1], one.bar[[0, -1], 1]
        up = middle - ends.min() > ends.max() - middle
        axes.text(
            one.middle + aside, words, (-5.0, -6.0 if up else 6.0), size=SMALL, turn=-90.0,
            along="start" if up else "end", level="base", ink=ink, halo=True,
        )  # fmt: skip
        return
    shift = (5.0, -4.0) if one.even else (5.0, 10.0)
    axes.text(
        one.middle + aside, words, shift, size=SMALL, along="start", level="base", ink=ink,
        halo=True,
    )  # fmt: skip

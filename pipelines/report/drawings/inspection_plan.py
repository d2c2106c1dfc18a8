"""Where to measure in a panel: a plan of the deck with the panel and its numbered places."""

import numpy as np
import shapely

from pipelines.bars.inspection import PanelSheet
from pipelines.deck.deck import Deck
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import canvas
from pipelines.report.drawings.canvas import SMALL, Paper, draw
from pipelines.report.drawings.colours import LOAD, SLAB
from pipelines.report.drawings.plan import (
    closed,
    faint_lines,
    frame,
    line_names,
    outline,
)
from plate.geometry.outline import DRAWN, region

TALLEST = 190.0  # so that the page has room for the readings [point]


def inspection_plan(
    deck: Deck, sheet: PanelSheet, extent: tuple[tuple[float, float], tuple[float, float]]
) -> Drawing:
    """extent : ranges of the panel's stations and offsets [m]."""
    slab = closed(deck, deck.plan.outline)
    room = canvas(slab, (45.0, 20.0, 14.0, 40.0), 0.9, TALLEST)
    (u0, u1), (y0, y1) = extent
    corners = deck.plan.at(np.array([u0, u1, u1, u0]), np.array([y0, y0, y1, y1]))
    panel = shapely.Polygon(corners) & region(deck.plan, DRAWN)
    parts = [part for part in shapely.get_parts(panel) if isinstance(part, shapely.Polygon)]

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        for part in parts:
            ring = closed(deck, np.array(part.exterior.coords)[:-1])
            axes.path(ring, closed=True, fill=SLAB, ink="none")
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.45, 0.45))
        for place in sheet.places:
            at = deck.plan.alignment.to_cartesian(np.array(place.at))
            axes.mark(at, "o", 4.0, fill=LOAD, ink="none")
            axes.text(
                at, f"P{place.number}", (4.0, -3.0), size=SMALL, along="start", level="base",
                ink=LOAD, halo=True,
            )  # fmt: skip

    name = f"plan-inspection-{sheet.panel.replace('/', '-').replace(' ', '-')}"
    return draw(name, f"Places to measure at in {sheet.panel}.", room.size, paint)

"""Arrangements of a load model on the plan: wheels, and where distributed load acts."""

import numpy as np
import shapely

from pipelines.analysis.result import Result
from pipelines.deck.deck import Deck
from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import Peak
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import Paper, draw
from pipelines.report.drawings.colours import HOLD, LOAD
from pipelines.report.drawings.plan import (
    along_carriageway,
    closed,
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    outline,
)
from plate.arrays import Floats

PRESSED = "#e3d3df"


def arrangement_drawing(
    result: Result, envelope: TrafficEnvelope, peak: Peak, name: str
) -> Drawing:
    """Wheels and distributed load of an arrangement on the plan, the peak ringed."""
    deck = result.deck
    room = deck_canvas(deck, 1.0, 36.0)
    wheels = len(envelope.wheels(peak.number).load)
    slab = shapely.Polygon(closed(deck, deck.plan.outline)).buffer(0.0)

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        outline(axes, deck, "#f8f6f1")
        pressed = _pressed(deck, peak.held.corners[wheels:]).intersection(slab)
        for part in shapely.get_parts(pressed):
            if isinstance(part, shapely.Polygon):
                rings = [np.array(ring.coords) for ring in (part.exterior, *part.interiors)]
                axes.path(*rings, closed=True, fill=PRESSED, ink="none")
        outline(axes, deck)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.5, 0.5))
        for y in deck.required_traffic.carriageway:
            axes.path(along_carriageway(deck, y), ink="#777777", width=0.7, dash=(6, 3))
        for corners in peak.held.corners[:wheels]:  # dispersed, they may overlap
            axes.path(closed(deck, corners), closed=True, fill="white", ink=LOAD, width=1.2)
        place = deck.plan.alignment.to_cartesian(np.array(peak.at))
        axes.mark(place, "o", 9.0, ink=HOLD, width=1.4)

    at = "empty deck" if peak.position is None else peak.position.words
    words = f"{envelope.name}, {at}: wheels and distributed load in plan."
    return draw(name, words, room.size, paint)


def _pressed(deck: Deck, corners: Floats) -> shapely.Geometry:
    """The loaded area of cells (n, 4, 2) of the plan, as it is drawn."""
    area = shapely.union_all(shapely.polygons(corners), grid_size=1e-6)

    def drawn(ring: shapely.LinearRing) -> Floats:
        return closed(deck, np.array(ring.coords)[:-1])

    return shapely.union_all(
        [
            shapely.Polygon(drawn(part.exterior), [drawn(hole) for hole in part.interiors])
            for part in shapely.get_parts(area)
            if isinstance(part, shapely.Polygon)
        ]
    )

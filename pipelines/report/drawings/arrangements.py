"""Arrangements of a load model on the plan: wheels, and where distributed load acts."""

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.envelopes.peaks import Peak
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import draw
from pipelines.report.drawings.plan import (
    LOAD_INK,
    along_carriageway,
    closed,
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    outline,
)
from pipelines.result import Result
from plate.arrays import Floats

PRESSED = "#e3d3df"


def arrangement_drawing(
    result: Result, envelope: TrafficEnvelope, peak: Peak, name: str
) -> Drawing:
    """Wheels and distributed load of an arrangement on the plan, the peak ringed."""
    deck = result.deck
    room = deck_canvas(deck, 1.0, 0.45)
    wheels = len(envelope.wheels(peak.number).load)

    def paint(sheet: Figure) -> None:
        axes = room.axes(sheet)
        frame(axes, deck)
        outline(axes, deck, "#f8f6f1")
        slab = _slab(axes, result)
        for rings in _pressed(peak.held.corners[wheels:]):
            path = Path.make_compound_path(*(Path(closed(deck, r), closed=True) for r in rings))
            patch = PathPatch(path, fc=PRESSED, ec="none", zorder=3.5)
            axes.add_patch(patch)
            patch.set_clip_path(slab)
        faint_lines(axes, deck)
        line_names(axes, deck, (0.5, 0.5))
        _kerbs(axes, result)
        for corners in peak.held.corners[:wheels]:
            axes.add_patch(
                Polygon(closed(deck, corners), fc="white", ec=LOAD_INK, lw=1.1, zorder=7)
            )
        x, y = deck.plan.alignment.to_cartesian(np.array(peak.at))
        axes.plot(x, y, "o", ms=9, mfc="none", mec="#8c2d04", mew=1.4, zorder=9)

    at = "empty deck" if peak.position is None else peak.position.words
    words = f"{envelope.name}, {at}: wheels and distributed load in plan."
    return draw(name, words, room.size, paint)


def _pressed(corners: Floats) -> list[list[Floats]]:
    """Rings (k, 2) in plan round the loaded area of cells (n, 4, 2), outer ones first, part by
    part."""
    area = shapely.union_all(shapely.polygons(corners), grid_size=1e-6)
    return [
        [np.array(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
        for part in shapely.get_parts(area)
        if isinstance(part, shapely.Polygon)
    ]


def _slab(axes: Axes, result: Result) -> Polygon:
    slab = Polygon(closed(result.deck, result.deck.plan.outline), fc="none", ec="none")
    axes.add_patch(slab)
    return slab


def _kerbs(axes: Axes, result: Result) -> None:
    for y in result.deck.required_traffic.carriageway:
        path = along_carriageway(result.deck, y)
        axes.plot(*path.T, color="#777777", lw=0.7, ls=(0, (6, 3)), zorder=5)

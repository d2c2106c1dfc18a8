"""Plans of a collapse load: how the slab gives way, and the moments that carry just less."""

import numpy as np

from pipelines.bars.collapse.search import Bounded
from pipelines.deck.deck import Deck
from pipelines.numbers import number
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, round_levels
from pipelines.report.drawings.canvas import SMALL, Paper, draw
from pipelines.report.drawings.colours import LOAD, SERIES, field_colours
from pipelines.report.drawings.contours import bands, colour_bar, label_contours
from pipelines.report.drawings.legend import Key
from pipelines.report.drawings.marching import Triangles
from pipelines.report.drawings.plan import (
    StandingLoad,
    closed,
    deck_canvas,
    faint_lines,
    frame,
    line_names,
    outline,
    standing,
)
from plate.arrays import Floats
from plate.conventions import MOMENTS
from plate.plastic.collapse import Collapse

LEVELS = 12
# Hinges that turn less than this share of the largest turn are left out; widths of lines [point].
LEAST_TURN, THIN, THICK = 0.08, 0.5, 3.2
# Deflections less than this share of the largest are none, up or down.
NONE = 0.02
# The keys below the plan, beside the title of its axis, and the room of one [point].
KEYS_BELOW, KEY_ROOM = 24.0, 100.0
SAGS = Key(words="hinge, sagging", ink=SERIES[0], width=2.0)
HOGS = Key(words="hinge, hogging", ink=SERIES[1], width=2.0, dash=(2.5, 1.5))


def mechanism_plan(deck: Deck, one: Bounded) -> Drawing:
    """Deflections of the mechanism as shares of the largest, and its hinges, thicker where they
    turn more."""
    found = one.found
    assert found is not None
    mesh = found.triangles
    w = np.where(np.abs(found.deflections) < NONE, 0.0, found.deflections)
    extreme = "max" if w.min() >= 0.0 else "both"
    levels = round_levels(0.0 if extreme == "max" else -1.0, 1.0, LEVELS)
    colours = field_colours(extreme, len(levels) - 1)
    room = deck_canvas(deck, 0.9, 76.0)

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        bands(axes, Triangles(mesh.points, mesh.cells), w, levels, colours)
        largest = float(np.abs(found.hinges).max())
        for key, sign in ((SAGS, 1.0), (HOGS, -1.0)):
            share = sign * found.hinges / largest if largest > 0.0 else found.hinges
            for k in np.flatnonzero(share > LEAST_TURN):
                axes.path(
                    mesh.points[mesh.edges[k]],
                    ink=key.ink,
                    width=THIN + (THICK - THIN) * float(share[k]),
                    dash=key.dash,
                )
        _deck(axes, deck, one)
        level = axes.box[3] + KEYS_BELOW
        for key, left in ((SAGS, axes.box[0]), (HOGS, axes.box[2] - KEY_ROOM)):
            paper.path([[left, level], [left + 20.0, level]], ink=key.ink, width=2.0, dash=key.dash)
            paper.text([left + 25.0, level], key.words, size=SMALL, along="start")
        words = "deflection of the mechanism, share of the largest"
        colour_bar(paper, levels, colours, words)

    words = "Mechanism of the upper bound: deflections as shares of the largest, and hinges."
    return draw("mechanism", words, room.size, paint)


def moment_plan(deck: Deck, one: Bounded, component: int) -> Drawing:
    """The moments m_x or m_y of the lower bound under permanent load and its multiple of the
    vehicle: at each point the mean of the triangles that meet there, between which they jump."""
    found = one.found
    assert found is not None
    mesh = found.triangles
    weights = np.repeat(mesh.areas, 3)
    own = moments_in_plan(deck, found, component)
    sums = np.bincount(mesh.cells.ravel(), weights * own.ravel(), len(mesh.points))
    shares = np.bincount(mesh.cells.ravel(), weights, len(mesh.points))
    values = 1e-3 * sums / np.where(shares > 0.0, shares, 1.0)
    high = float(np.abs(values).max())
    levels = round_levels(-high, high, LEVELS)
    colours = field_colours("both", len(levels) - 1)
    room = deck_canvas(deck, 0.9, 76.0)
    name = MOMENTS[component]

    def paint(paper: Paper) -> None:
        axes = room.axes(paper)
        frame(axes, deck)
        lines = bands(axes, Triangles(mesh.points, mesh.cells), values, levels, colours)
        label_contours(axes, levels[1:-1], lines, _keep_off(axes, one))
        _deck(axes, deck, one)
        colour_bar(paper, levels, colours, f"{name} of the lower bound [kNm/m]")

    words = (
        f"{name} of the lower bound, from {number(float(values.min()))} to "
        f"{number(float(values.max()))} kNm/m."
    )
    return draw(f"collapse-{name}", words, room.size, paint)


def moments_in_plan(deck: Deck, found: Collapse, component: int) -> Floats:
    """m_x or m_y (m, 3) [N m/m] along or across the deck at the corners of the triangles."""
    alignment = deck.plan.alignment
    a, b = np.moveaxis(alignment.tangent(alignment.from_cartesian(found.triangles.corners)), -1, 0)
    a, b = (a, b) if component == 0 else (-b, a)
    m = found.moments[:, :3]
    return np.asarray(a**2 * m[..., 0] + b**2 * m[..., 1] + 2.0 * a * b * m[..., 2])


def _deck(axes: Axes, deck: Deck, one: Bounded) -> None:
    outline(axes, deck)
    faint_lines(axes, deck)
    line_names(axes, deck, (0.5, 0.5))
    for corners in one.standing.spread.corners:
        axes.path(closed(deck, corners), closed=True, ink=LOAD, width=0.7, dash=(3, 2))
    standing(axes, deck, StandingLoad(one.standing.wheels.corners, one.standing.vehicles))


def _keep_off(axes: Axes, one: Bounded) -> list[Floats]:
    return [axes.at(np.vstack([ring, ring[:1]])) for ring in one.standing.wheels.corners]

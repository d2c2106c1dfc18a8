"""Filled contours over triangles, with labels that cross neither lines nor each other.

Every band is drawn over the one below it, so that each contour is drawn once and no seam shows.
"""

from collections.abc import Sequence

import numpy as np
from shapely import (
    STRtree,
    box,
    distance,
    get_coordinates,
    intersects,
    line_interpolate_point,
    linestrings,
    points,
    prepare,
    union_all,
)

from pipelines.numbers import as_given
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import Paper
from pipelines.report.drawings.colours import INK
from pipelines.report.drawings.marching import Triangles
from plate.arrays import Floats

# Height of a label and width of one of its characters [point].
TALL, WIDE = 6.5, 4.0
# Labels of a level and the paper between them, and between a label and any line [point].
LABELS, APART, CLEAR = 3, 110.0, 2.5
# Places tried on a contour [point].
TRIED = 6.0
# A bar of colours: its length, its height and its foot above that of the sheet [point].
LONG, HIGH, UP = 432.0, 9.0, 27.0


def bands(
    axes: Axes, triangles: Triangles, values: Floats, levels: Floats, colours: Sequence[str]
) -> list[list[Floats]]:
    """Fill between levels (n,) in n - 1 colours; returns the polylines of every inner level.

    values : (n_point,); what lies beyond the levels takes the outermost colours. Contours below
    zero are dashed and that of zero is stronger, so that signs show without colour.
    """
    step = 1e-6 * (levels[-1] - levels[0])
    shown = np.clip(values, levels[0] + step, levels[-1] - step)
    both = levels[0] < 0.0 < levels[-1]
    lines: list[list[Floats]] = []
    for k, (level, colour) in enumerate(zip(levels[:-1].tolist(), colours, strict=True)):
        rings, contours = triangles.above(shown, level)
        zero = both and abs(level) < step
        axes.path(
            *rings,
            closed=True,
            fill=colour,
            ink=INK if k else "none",
            width=0.9 if zero else 0.35,
            dash=(5, 2) if both and level < -step else (),
        )
        lines.append(contours)
    return lines[1:]


def label_contours(
    axes: Axes, levels: Floats, contours: Sequence[Sequence[Floats]], keep_off: Sequence[Floats]
) -> None:
    """Label every second contour where it has room.

    contours : polylines (n, 2) of every level in data coordinates; keep_off : polylines on the
    sheet [point] that no label may touch.
    """
    drawn = [[linestrings(axes.at(line)) for line in lines] for lines in contours]
    everything = STRtree([line for lines in drawn for line in lines])
    owner = np.repeat(np.arange(len(drawn)), [len(lines) for lines in drawn])
    obstacles = union_all([linestrings(line) for line in keep_off]) if keep_off else None
    prepare(obstacles)
    placed = np.empty((0, 2))
    for k in range(0, len(levels), 2):
        words = as_given(float(levels[k]))
        half = 0.5 * np.array([WIDE * len(words), TALL]) + CLEAR
        at = [
            line_interpolate_point(line, np.arange(0.5 * TRIED, line.length, TRIED))
            for line in drawn[k]
            if line.length > 6.0 * half[0]
        ]
        if not at:
            continue
        tried = get_coordinates(np.concatenate(at))
        boxes = box(*(tried - half).T, *(tried + half).T)
        met, line = everything.query(boxes, predicate="intersects")
        free = np.ones(len(tried), dtype=bool)
        free[met[owner[line] != k]] = False
        room = np.full(len(tried), APART)
        if obstacles is not None:
            free &= ~intersects(obstacles, boxes)
            room = np.minimum(room, distance(points(tried), obstacles))
        mine = np.empty((0, 2))
        for _ in range(LABELS):
            gap = _gap(tried, placed)
            score = np.where(
                free & (gap > 6.0 * TALL) & (_gap(tried, mine) > APART),
                room + np.minimum(gap, APART),
                0.0,
            )
            best = int(np.argmax(score))
            if score[best] == 0.0:
                break
            mine, placed = (np.vstack([one, tried[best]]) for one in (mine, placed))
            axes.paper.text(tried[best], words, size=TALL, halo=True)


def _gap(tried: Floats, placed: Floats) -> Floats:
    """Distance (n,) of points (n, 2) to the nearest of others (m, 2); infinite without any."""
    between = np.linalg.norm(tried[:, None] - placed, axis=2)
    return np.asarray(between.min(axis=1, initial=np.inf))


def colour_bar(paper: Paper, levels: Floats, colours: Sequence[str], words: str) -> None:
    """A bar of the bands below a plan, labelled at every level."""
    count = len(colours)
    left, bottom = 0.5 * (paper.width - LONG), paper.height - UP
    place = (left, bottom - HIGH, left + LONG, bottom)
    axes = Axes(paper=paper, box=place, x=(0.0, float(count)), y=(0.0, 1.0))
    for k, colour in enumerate(colours):
        axes.path([[k, 0], [k + 1, 0], [k + 1, 1], [k, 1]], closed=True, fill=colour, ink="none")
    axes.frame()
    numbers = [as_given(value) for value in levels.tolist()]
    axes.scale("bottom", words, (list(range(count + 1)), numbers))

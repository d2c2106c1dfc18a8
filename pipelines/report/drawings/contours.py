"""Filled contours over triangles, with labels that cross neither lines nor each other.

Every band is drawn over the one below it, so that each contour is drawn once and no seam shows.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.tri import Triangulation
from shapely import STRtree, box, distance, linestrings, points, union_all
from shapely.geometry.base import BaseGeometry

from pipelines.numbers import as_given
from pipelines.report.drawings.canvas import INK
from pipelines.report.drawings.scales import scale
from plate.arrays import Floats

# Height of a label and width of one of its characters [point].
TALL, WIDE = 6.5, 4.0
# Labels of a level and the paper between them, and between a label and any line [point].
LABELS, APART, CLEAR = 3, 110.0, 2.5
# Places tried on a contour [point].
TRIED = 6.0


def bands(
    axes: Axes, triangles: Triangulation, values: Floats, levels: Floats, colours: Floats
) -> list[list[Floats]]:
    """Fill between levels (n,) in colours (n - 1, 4); returns the polylines of every inner level.

    values : (n_point,); what lies beyond the levels takes the outermost colours. Contours below
    zero are dashed and that of zero is stronger, so that signs show without colour.
    """
    step = 1e-6 * (levels[-1] - levels[0])
    shown = np.clip(values, levels[0] + step, levels[-1] - step)
    both = levels[0] < 0.0 < levels[-1]
    for k, (level, colour) in enumerate(zip(levels[:-1], colours, strict=True)):
        if shown[triangles.triangles].max() <= level:
            break
        filled = axes.tricontourf(triangles, shown, levels=[level, levels[-1]], colors=[colour])
        filled.set_zorder(1 + 0.01 * k)
        if k > 0:
            zero = both and abs(level) < step
            filled.set_edgecolor(INK)
            filled.set_linewidth(0.9 if zero else 0.35)
            filled.set_linestyle((0, (5, 2)) if both and level < -step else "solid")
    lines = axes.tricontour(triangles, shown, levels=levels[1:-1])
    found = lines.allsegs
    lines.remove()
    return found


def label_contours(
    axes: Axes, levels: Floats, contours: Sequence[Sequence[Floats]], keep_off: Sequence[Floats]
) -> None:
    """Label every second contour where it has room.

    contours : polylines (n, 2) of every level in data coordinates; keep_off : polylines and
    single points of data coordinates that no label may touch.
    """
    to_points = 72.0 / axes.figure.dpi

    def on_paper(polylines: Sequence[Floats]) -> list[BaseGeometry]:
        """Polylines on the sheet [point]; one point stands for itself."""
        found = []
        for xy in polylines:
            if len(xy):
                xy = axes.transData.transform(xy) * to_points
                found.append(linestrings(xy if len(xy) > 1 else np.repeat(xy, 2, axis=0)))
        return found

    drawn = [on_paper(lines) for lines in contours]
    everything = STRtree([line for lines in drawn for line in lines])
    owner = np.repeat(np.arange(len(drawn)), [len(lines) for lines in drawn])
    obstacles = union_all(on_paper(keep_off)) if keep_off else None
    placed = np.empty((0, 2))
    for k in range(0, len(levels), 2):
        words = as_given(float(levels[k]))
        half = 0.5 * np.array([WIDE * len(words), TALL]) + CLEAR
        at = [
            line.interpolate(d).coords[0]
            for line in drawn[k]
            if line.length > 6.0 * half[0]
            for d in np.arange(0.5 * TRIED, line.length, TRIED)
        ]
        if not at:
            continue
        tried = np.array(at)
        boxes = box(*(tried - half).T, *(tried + half).T)
        met, line = everything.query(boxes, predicate="intersects")
        free = np.ones(len(tried), dtype=bool)
        free[met[owner[line] != k]] = False
        room = np.full(len(tried), APART)
        if obstacles is not None:
            free &= distance(boxes, obstacles) > 0.0
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
            x, y = axes.transData.inverted().transform(tried[best] / to_points)
            axes.text(
                x,
                y,
                words,
                fontsize=TALL,
                ha="center",
                va="center_baseline",
                bbox={"fc": (1, 1, 1, 0.8), "ec": "none", "pad": 0.6},
                zorder=2.6,
            )


def _gap(tried: Floats, placed: Floats) -> Floats:
    """Distance (n,) of points (n, 2) to the nearest of others (m, 2); infinite without any."""
    between = np.linalg.norm(tried[:, None] - placed, axis=2)
    return np.asarray(between.min(axis=1, initial=np.inf))


def colour_bar(figure: Figure, levels: Floats, colours: Floats, words: str) -> None:
    """A bar of the bands below a plan, labelled at every level."""
    width, height = figure.get_size_inches()
    axes = figure.add_axes((0.5 - 3.0 / width, 0.36 / height, 6.0 / width, 0.13 / height))
    count = len(colours)
    axes.set_xlim(0, count)
    axes.set_ylim(0, 1)
    axes.yaxis.set_visible(False)
    axes.broken_barh([(k, 1) for k in range(count)], (0, 1), facecolors=colours)
    numbers = [as_given(value) for value in levels.tolist()]
    scale(axes, "bottom", words, (np.arange(count + 1.0), numbers))

"""Figures of a fit: predicted against computed, residuals, partial dependence, limits, and where
hand methods are unsafe.

Series differ in their marks as well as in colour and lightness: grey prints keep them apart.

The widths of hand methods stand on the same axes; the numbers are in fit.csv.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, round_levels
from pipelines.report.drawings.canvas import Paper, draw
from pipelines.report.drawings.colours import INK, MARKS, PALE, SERIES
from pipelines.report.drawings.legend import Key, legend, legend_height
from pipelines.study.fit.file import Fit
from pipelines.study.fit.result import FitResult
from pipelines.study.fit.rows import Rows
from pipelines.study.fit.score import Curves
from plate.arrays import Floats

FITTED, HELD, SAFE = SERIES[:3]
# Of rows on which a hand method is safe, a little unsafe, and more.
SAFE_INK, NEAR_INK, FAR_INK = PALE, SERIES[1], INK
# Relative error of the pale lines beside the line of equality.
BAND = 0.1
# Boxes: side of the square one, width, height, paper at the left, above and below each [point].
SQUARE, WIDE, HIGH, LEFT, ABOVE, BELOW = 330.0, 180.0, 140.0, 50.0, 14.0, 40.0
# Marks that are lines.
LINES = ("x", "+", "_", "|")
ACROSS = 2  # boxes in a row at most: 17 cm at full size
MOST = 8  # parts of a scale at most
# Inputs that spread further than that, largest to smallest, are drawn by their logarithms.
SPREAD = 5.0


@dataclass(frozen=True)
class _Series:
    """Values as marks, or as a line where it has no mark."""

    key: Key
    x: Floats
    y: Floats


def figures(result: FitResult) -> dict[str, Drawing]:
    """Drawings by file name; those of the limits and of hand methods where there is a polygon."""
    fit, rows, curves, predicted = result.fit, result.rows, result.curves, result.predicted
    label, *names = result.labels
    ratio = "predicted / computed"
    against = f"{fit.title}: predicted over computed {fit.label} against every input"
    partial = f"{fit.title}: {fit.label} against every input, the others at their middle values"
    of_residuals = [list(_residuals(k, rows, predicted)) for k in range(len(names))]
    of_partial = [list(_partial(k, rows, curves)) for k in range(len(names))]
    found = {
        "predicted": _predicted(fit, label, rows, predicted),
        "residuals": _panels("residuals", against, names, ratio, of_residuals, level=1.0),
        "partial": _panels("partial", partial, names, label, of_partial, level=0.0),
    }
    if result.validity.leading is not None:
        found["limits"] = _limits(result, *result.validity.leading)
        if rows.compare:
            found["methods"] = _methods_map(result, *result.validity.leading)
    return found


def _dots(words: str, ink: str, mark: str = "o", size: float = 3.5) -> Key:
    line = mark in LINES
    fill, edge = ("none", ink) if line else (ink, "none")
    return Key(words=words, mark=mark, size=size, mark_fill=fill, mark_ink=edge)


def _methods(rows: Rows) -> Iterator[tuple[Key, Floats]]:
    """Hand methods with their values, each in a colour and a mark of its own."""
    inks = SERIES[3:]
    for k, (name, values) in enumerate(rows.compare.items()):
        yield _dots(name, inks[k % len(inks)], MARKS[k % len(MARKS)]), values


def _predicted(fit: Fit, label: str, rows: Rows, predicted: dict[str, Floats]) -> Drawing:
    series = [_Series(key, rows.y, values) for key, values in _methods(rows)]
    for held, ink, name in ((False, FITTED, "mean, fitted"), (True, HELD, "mean, held out")):
        pick = rows.held == held
        if pick.any():
            series.append(
                _Series(
                    _dots(name, ink, "x" if held else "o"), rows.y[pick], predicted["mean"][pick]
                )
            )
    series.append(_Series(_dots("safe side", SAFE, "_"), rows.y, predicted["safe"]))
    top = max(float(np.nanmax(one.y)) for one in series if np.isfinite(one.y).any())
    top, right = 1.05 * max(top, float(rows.y.max())), 1.05 * float(rows.y.max())
    keys = [one.key for one in series]
    width = LEFT + SQUARE + 14.0
    height = ABOVE + SQUARE + BELOW + legend_height(keys, width)

    def paint(paper: Paper) -> None:
        box = (LEFT, ABOVE, LEFT + SQUARE, ABOVE + SQUARE)
        axes = Axes(paper=paper, box=box, x=(0.0, right), y=(top, 0.0))
        axes.scale("bottom", f"computed {label}", ruled=True)
        axes.scale("left", f"predicted {label}; dashed: ±{100 * BAND:.0f} %", ruled=True)
        axes.frame(sides="lb")
        for factor in (1.0 - BAND, 1.0 + BAND):
            axes.path([[0.0, 0.0], [top, factor * top]], ink=PALE, dash=(5, 2))
        axes.path([[0.0, 0.0], [top, top]], width=0.8)
        for one in series:
            _draw(axes, one)
        legend(paper, keys)

    words = f"{fit.title}: predicted against computed {fit.label}"
    return draw("predicted", words, (width, height), paint)


def _panels(
    name: str,
    words: str,
    labels: Sequence[str],
    up: str,
    panels: Sequence[Sequence[_Series]],
    *,
    level: float,
) -> Drawing:
    """A box for every input, all with one scale up; a line at `level`."""
    across = min(ACROSS, len(panels))
    down = ceil(len(panels) / across)
    keys = list({one.key.words: one.key for panel in panels for one in panel}.values())
    width = across * (LEFT + WIDE) + 14.0
    height = down * (ABOVE + HIGH + BELOW) + legend_height(keys, width)
    values = np.concatenate([one.y for panel in panels for one in panel])
    values = np.append(values[np.isfinite(values)], level)
    levels = round_levels(float(values.min()), float(values.max()), MOST)

    def paint(paper: Paper) -> None:
        for k, (label, panel) in enumerate(zip(labels, panels, strict=True)):
            left = LEFT + (k % across) * (LEFT + WIDE)
            top = ABOVE + (k // across) * (ABOVE + HIGH + BELOW)
            x = np.concatenate([one.x for one in panel])
            log = _is_log(x)
            axes = Axes(
                paper=paper,
                box=(left, top, left + WIDE, top + HIGH),
                x=_ends(x, log=log),
                y=(float(levels[-1]), float(levels[0])),
                log=(log, False),
            )
            axes.scale("bottom", label)
            axes.scale("left", up if k % across == 0 else "", ruled=True)
            axes.frame(sides="lb")
            axes.level(level, width=0.8)
            for one in panel:
                _draw(axes, one)
        legend(paper, keys)

    return draw(name, words, (width, height), paint)


def _limits(result: FitResult, first: int, second: int) -> Drawing:
    """The polygon of the two leading inputs with the rows fitted and held out."""
    fit, rows, polygon = result.fit, result.rows, result.validity.polygon
    pair = rows.x[:, [first, second]]
    series = []
    for held, ink, name in ((False, FITTED, "fitted"), (True, HELD, "held out")):
        pick = rows.held == held
        if pick.any():
            mark = _dots(name, ink, "x" if held else "o")
            series.append(_Series(mark, pair[pick, 0], pair[pick, 1]))
    line = Key(words="limits of validity", ink=INK, width=1.0)
    keys = [line, *(one.key for one in series)]
    width = LEFT + SQUARE + 14.0
    height = ABOVE + SQUARE + BELOW + legend_height(keys, width)
    low, high = pair.min(axis=0), pair.max(axis=0)
    spare = 0.04 * (high - low)

    def paint(paper: Paper) -> None:
        axes = Axes(
            paper=paper,
            box=(LEFT, ABOVE, LEFT + SQUARE, ABOVE + SQUARE),
            x=(float(low[0] - spare[0]), float(high[0] + spare[0])),
            y=(float(high[1] + spare[1]), float(low[1] - spare[1])),
        )
        axes.scale("bottom", result.labels[1 + first])
        axes.scale("left", result.labels[1 + second], ruled=True)
        axes.frame(sides="lb")
        axes.path(np.vstack([polygon, polygon[:1]]), ink=line.ink, width=line.width)
        for one in series:
            _draw(axes, one)
        legend(paper, keys)

    of = f"{fit.inputs[first].label} and {fit.inputs[second].label}"
    words = f"{fit.title}: limits of validity in {of}, with the rows fitted and held out"
    return draw("limits", words, (width, height), paint)


def _methods_map(result: FitResult, first: int, second: int) -> Drawing:
    """Where in the two leading inputs each hand method lies on the safe side of what was computed,
    and where not: a box for each."""
    fit, rows = result.fit, result.rows
    far = 1.0 + BAND
    inks = (SAFE_INK, NEAR_INK, FAR_INK)
    of = "above" if fit.unsafe_above else "below"
    share = f"{100 * BAND:.0f} %"
    words = ("on the safe side", f"unsafe, {of} by up to {share}", f"unsafe by more than {share}")
    marks = [_dots(*one) for one in zip(words, inks, ("o", "x", "s"), strict=True)]
    logs = [_is_log(rows.x[:, k]) for k in (first, second)]
    across = min(ACROSS, len(rows.compare))
    down = ceil(len(rows.compare) / across)
    width = across * (LEFT + WIDE) + 14.0
    height = down * (ABOVE + 14.0 + WIDE + BELOW) + legend_height(marks, width)

    def paint(paper: Paper) -> None:
        for k, (name, values) in enumerate(rows.compare.items()):
            left = LEFT + (k % across) * (LEFT + WIDE)
            top = ABOVE + 14.0 + (k // across) * (ABOVE + 14.0 + WIDE + BELOW)
            (x0, x1), (y0, y1) = (
                _ends(rows.x[:, j], log=log) for j, log in zip((first, second), logs, strict=True)
            )
            axes = Axes(
                paper=paper,
                box=(left, top, left + WIDE, top + WIDE),
                x=(x0, x1),
                y=(y1, y0),
                log=(logs[0], logs[1]),
            )
            axes.scale("bottom", result.labels[1 + first])
            axes.scale("left", result.labels[1 + second] if k % across == 0 else "")
            axes.frame(sides="lb")
            paper.text((left, top - 8.0), name, along="start", bold=True)
            over = values / rows.y if fit.unsafe_above else rows.y / values
            for low, high, mark in zip((0.0, 1.0, far), (1.0, far, np.inf), marks, strict=True):
                pick = (over > low) & (over <= high)
                if pick.any():
                    _draw(axes, _Series(mark, rows.x[pick, first], rows.x[pick, second]))
        legend(paper, marks)

    pair = f"{fit.inputs[first].label} and {fit.inputs[second].label}"
    title = f"{fit.title}: where in {pair} hand methods are safe, and where not"
    return draw("methods", title, (width, height), paint)


def _is_log(x: Floats) -> bool:
    return bool(float(x.max()) > SPREAD * float(x.min()) > 0.0)


def _ends(x: Floats, *, log: bool) -> tuple[float, float]:
    """Of a scale on which all values stand clear of its ends."""
    low, high = float(x.min()), float(x.max())
    spare = 0.04 * ((high - low) or 1.0)
    return (low / 1.05, high * 1.05) if log else (low - spare, high + spare)


def _draw(axes: Axes, one: _Series) -> None:
    key = one.key
    shown = np.isfinite(one.y)
    points = np.column_stack([one.x[shown], one.y[shown]])
    if key.mark:
        axes.mark(points, key.mark, key.size, fill=key.mark_fill, ink=key.mark_ink)
    else:
        axes.path(points, ink=key.ink, width=key.width, dash=key.dash)


def _residuals(k: int, rows: Rows, predicted: dict[str, Floats]) -> Iterator[_Series]:
    for held, ink, name in ((False, FITTED, "mean, fitted"), (True, HELD, "mean, held out")):
        pick = rows.held == held
        if pick.any():
            ratio = predicted["mean"][pick] / rows.y[pick]
            yield _Series(_dots(name, ink, "x" if held else "o"), rows.x[pick, k], ratio)


def _partial(k: int, rows: Rows, curves: Curves) -> Iterator[_Series]:
    x = rows.x[:, k]
    middle = _middle(rows.x)
    along = np.geomspace(float(x.min()), float(x.max()), 60)
    grid = np.tile(middle, (60, 1))
    grid[:, k] = along
    yield _Series(Key(words="mean", ink=FITTED, width=1.5), along, curves.mean.at(grid))
    safe = Key(words="safe side", ink=SAFE, width=1.5, dash=(4, 1.6))
    yield _Series(safe, along, curves.safe.at(grid))
    others = np.delete(np.isclose(rows.x, middle, rtol=1e-6), k, axis=1).all(axis=1)
    for key, values in _methods(rows):
        yield _Series(key, x[others], values[others])
    yield _Series(_dots("computed", INK), x[others], rows.y[others])


def _middle(x: Floats) -> Floats:
    """Inputs (n_input,) of the row nearest to the medians of all, so that rows lie on its axes."""
    logs = np.log(x)
    spread = np.ptp(logs, axis=0)
    away = np.abs(logs - np.median(logs, axis=0)) / np.where(spread > 0.0, spread, 1.0)
    return np.asarray(x[int(np.argmin(away.max(axis=1)))])

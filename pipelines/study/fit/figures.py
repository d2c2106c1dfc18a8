"""Figures of a fit, as SVG: predicted against computed, residuals, partial dependence.

The widths of hand methods stand on the same axes; the numbers are in fit.csv.
"""

from collections.abc import Callable
from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullFormatter

from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, draw
from pipelines.study.fit.file import Fit
from pipelines.study.fit.score import Curves, Rows
from plate.arrays import Floats

FITTED, HELD, SAFE = "#1f5a8c", "#c4622d", "#2b7a4b"
METHODS = ("#7a4fa3", "#a37a00", "#a3336b", "#4d4d4d", "#008080", "#8b4513")
MARKS = ("^", "s", "v", "D", "P", "X")
# Relative error of the pale lines beside the line of equality.
BAND = 0.1


def figures(
    fit: Fit, rows: Rows, curves: Curves, predicted: dict[str, Floats]
) -> dict[str, Drawing]:
    """Drawings by file name."""
    n_panel = len(fit.inputs)
    across = min(3, n_panel)
    size = (3.2 * across, 2.7 * ceil(n_panel / across) + 0.5)
    return {
        "predicted": draw(
            "predicted",
            f"{fit.title}: predicted against computed {fit.label}",
            (5.6, 5.2),
            lambda figure: _predicted(figure, fit, rows, predicted),
        ),
        "residuals": draw(
            "residuals",
            f"{fit.title}: predicted over computed {fit.label} against every input",
            size,
            lambda figure: _panels(
                figure, fit, lambda axes, k: _residuals(axes, k, fit, rows, predicted)
            ),
        ),
        "partial": draw(
            "partial",
            f"{fit.title}: {fit.label} against every input, the others at their middle values",
            size,
            lambda figure: _panels(
                figure, fit, lambda axes, k: _partial(axes, k, fit, rows, curves)
            ),
        ),
    }


def _predicted(figure: Figure, fit: Fit, rows: Rows, predicted: dict[str, Floats]) -> None:
    axes = figure.add_subplot()
    for k, (name, values) in enumerate(rows.compare.items()):
        axes.plot(
            rows.y,
            values,
            MARKS[k % len(MARKS)],
            color=METHODS[k % len(METHODS)],
            markersize=2.5,
            alpha=0.5,
            markeredgewidth=0,
            label=name,
        )
    for held, colour, name in ((False, FITTED, "mean, fitted"), (True, HELD, "mean, held out")):
        pick = rows.held == held
        if pick.any():
            axes.plot(
                rows.y[pick], predicted["mean"][pick], "o", color=colour, markersize=3, label=name
            )
    axes.plot(rows.y, predicted["safe"], ".", color=SAFE, markersize=2.5, label="safe side")
    every = [rows.y, predicted["mean"], predicted["safe"], *rows.compare.values()]
    top = 1.05 * max(float(np.nanmax(v)) for v in every if np.isfinite(v).any())
    ends = np.array([0.0, top])
    axes.plot(ends, ends, color=INK, linewidth=0.8)
    for factor in (1.0 - BAND, 1.0 + BAND):
        axes.plot(ends, factor * ends, color=PALE, linewidth=0.6, linestyle="--")
    axes.set_xlim(0.0, 1.05 * float(rows.y.max()))
    axes.set_ylim(0.0, top)
    axes.set_xlabel(f"computed {fit.label}")
    axes.set_ylabel(f"predicted {fit.label}; dashed: ±{100 * BAND:.0f} %")
    axes.legend(frameon=False, fontsize=7, loc="upper left", markerscale=2.0)
    figure.subplots_adjust(left=0.12, right=0.97, bottom=0.1, top=0.97)


def _panels(figure: Figure, fit: Fit, paint: Callable[[Axes, int], None]) -> None:
    n = len(fit.inputs)
    across = min(3, n)
    down = ceil(n / across)
    for k in range(n):
        paint(figure.add_subplot(down, across, k + 1), k)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="upper center", ncol=4, frameon=False, fontsize=7, markerscale=1.5
    )
    height = figure.get_figheight()
    figure.subplots_adjust(
        left=0.09, right=0.98, bottom=0.45 / height, top=1.0 - 0.5 / height, wspace=0.3, hspace=0.4
    )


def _residuals(axes: Axes, k: int, fit: Fit, rows: Rows, predicted: dict[str, Floats]) -> None:
    x = rows.x[:, k]
    for held, colour, name in ((False, FITTED, "mean, fitted"), (True, HELD, "mean, held out")):
        pick = rows.held == held
        if pick.any():
            ratio = predicted["mean"][pick] / rows.y[pick]
            axes.plot(x[pick], ratio, "o", color=colour, markersize=2.5, alpha=0.7, label=name)
    axes.axhline(1.0, color=INK, linewidth=0.8)
    _scale(axes, x)
    axes.set_xlabel(fit.inputs[k].label)
    if k == 0:
        axes.set_ylabel("predicted / computed")


def _partial(axes: Axes, k: int, fit: Fit, rows: Rows, curves: Curves) -> None:
    x = rows.x[:, k]
    middle = _middle(rows.x)
    low, high = float(x.min()), float(x.max())
    along = np.geomspace(low, high, 60)
    grid = np.tile(middle, (60, 1))
    grid[:, k] = along
    axes.plot(along, curves.mean.at(grid), color=FITTED, label="mean")
    axes.plot(along, curves.safe.at(grid), color=SAFE, linestyle="--", label="safe side")
    others = np.delete(np.isclose(rows.x, middle, rtol=1e-6), k, axis=1).all(axis=1)
    axes.plot(x[others], rows.y[others], "o", color=INK, markersize=3, label="computed")
    for m, (name, values) in enumerate(rows.compare.items()):
        axes.plot(
            x[others],
            values[others],
            MARKS[m % len(MARKS)],
            color=METHODS[m % len(METHODS)],
            markersize=3.5,
            label=name,
        )
    _scale(axes, x)
    axes.set_ylim(0.0, 1.05 * axes.get_ylim()[1])
    axes.set_xlabel(fit.inputs[k].label)
    if k == 0:
        axes.set_ylabel(fit.label)


def _middle(x: Floats) -> Floats:
    """Inputs (n_input,) of the row nearest to the medians of all, so that rows lie on its axes."""
    logs = np.log(x)
    spread = np.ptp(logs, axis=0)
    away = np.abs(logs - np.median(logs, axis=0)) / np.where(spread > 0.0, spread, 1.0)
    return np.asarray(x[int(np.argmin(away.max(axis=1)))])


def _scale(axes: Axes, x: Floats) -> None:
    if x.max() > 5.0 * x.min():
        axes.set_xscale("log")
        axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axes.xaxis.set_major_formatter("{x:g}")
        axes.xaxis.set_minor_formatter(NullFormatter())

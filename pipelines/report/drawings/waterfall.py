"""The reconciliation as a waterfall: every step of the walk with what it changes."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from pipelines.findings.reconciliation.walk import Reconciliation, Step
from pipelines.numbers import as_result, number
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, WIDTH, draw
from plate.conventions import RESULTS

WHOLE, MORE, LESS, BRANCH = "#3b5b7a", "#c46a2b", "#4f8f6b", "#ffffff"
ROW = 0.30  # height of a step [inch]
LABELS = 3.75  # width of the titles [inch]


def waterfall(name: str, walk: Reconciliation) -> Drawing:
    """Both orders of the walk, one below the other on one scale."""
    orders = [("In the fixed order", walk.forward), ("In the other order", walk.reverse)]
    if walk.forward == walk.reverse:
        orders = orders[:1]
    branches = 1 + (walk.springs is not None)
    rows = [len(steps) + 1 + (branches if k == 0 else 0) for k, (_, steps) in enumerate(orders)]
    height = ROW * sum(rows) + 0.55 * len(orders) + 0.45
    values = [v for _, steps in orders for step in steps for v in (step.held, step.searched)]
    values = [v for v in values if np.isfinite(v)]
    values += [walk.mean, 0.0, *([walk.springs] if walk.springs is not None else [])]
    low, high = 1e-3 * min(values), 1e-3 * max(values)
    room = 0.28 * (high - low)

    def paint(figure: Figure) -> None:
        top = height - 0.3
        for k, (title, steps) in enumerate(orders):
            size = ROW * rows[k]
            axes = figure.add_axes(
                (LABELS / WIDTH, (top - size) / height, 1 - (LABELS + 0.15) / WIDTH, size / height)
            )
            top -= size + 0.55
            _steps(axes, steps)
            if k == 0:
                _branches(axes, walk, len(steps) + 1)
            axes.set_xlim(low - (room if low < 0 else 0.0), high + (room if high > 0 else 0.0))
            axes.set_ylim(rows[k] - 0.5, -0.5)
            axes.set_title(title, fontsize=8.5, loc="left", pad=4)
            for side in ("top", "right", "left"):
                axes.spines[side].set_visible(False)
            axes.tick_params(axis="y", length=0)
            axes.axvline(0.0, color=INK, lw=0.8, zorder=3)
            axes.grid(axis="x", color="#dddddd", lw=0.4)
            axes.set_axisbelow(True)
        axes.set_xlabel(_axis(walk), labelpad=2)
        handles = [
            Patch(fc=WHOLE, label="hand strip and plate"),
            Patch(fc=MORE, hatch="////", ec="white", lw=0.0, label="further from zero"),
            Patch(fc=LESS, label="nearer to zero"),
            Line2D([], [], ls="", marker="D", ms=4.5, mfc="white", mec=INK, label="position held"),
            Patch(fc=BRANCH, ec=INK, lw=0.7, ls="--", label="side branch"),
        ]
        figure.legend(handles=handles, loc="lower center", ncols=5, frameon=False, fontsize=7.5)

    words = "; ".join(f"{step.title}: {number(1e-3 * step.searched)}" for step in walk.forward)
    return draw(name, f"Reconciliation in kNm/m. {words}.", (WIDTH, height), paint)


def _axis(walk: Reconciliation) -> str:
    sign = (
        "hogging negative"
        if walk.finding.section.kind in ("hogging", "corner")
        else "sagging positive"
    )
    return (
        f"{RESULTS[walk.finding.section.component]} [kNm/m], {sign}, characteristic traffic alone"
    )


def _steps(axes: Axes, steps: Sequence[Step]) -> None:
    before = 0.0
    for k, step in enumerate(steps):
        value = 1e-3 * step.searched
        if k == 0:
            axes.barh(k, value, color=WHOLE, height=0.62, zorder=2)
        else:
            grows = abs(value) >= abs(before)
            axes.barh(
                k,
                value - before,
                left=before,
                height=0.62,
                color=MORE if grows else LESS,
                hatch="////" if grows else None,
                edgecolor="white",
                linewidth=0.0,
                zorder=2,
            )
            axes.plot([before, before], [k - 1 + 0.31, k - 0.31], color=PALE, lw=0.6, zorder=1)
        # Under a load model the strip has no held value.
        held = 1e-3 * step.held if np.isfinite(step.held) else value
        axes.plot(held, k, ls="", marker="D", ms=4.2, mfc="white", mec=INK, mew=0.8, zorder=5)
        text = number(value)
        if k:
            change = value - before
            text += f"  ({'+' if change >= 0 else ''}{as_result(change)})"
        # Beside the bar's end that is further from zero, clear of the marker.
        away = 1.0 if value >= 0 else -1.0
        edge = away * max(away * value, away * before if k else 0.0, away * held)
        axes.annotate(
            text,
            (edge, k),
            xytext=(away * 6, 0),
            textcoords="offset points",
            ha="left" if away > 0 else "right",
            va="center",
            fontsize=7.5,
            fontweight="normal" if k else "bold",
            zorder=6,
        )
        before = value
    axes.barh(len(steps), before, color=WHOLE, height=0.62, zorder=2)
    away = 1.0 if before >= 0 else -1.0
    axes.annotate(
        f"{number(before)} ± {number(1e-3 * steps[-1].error)}",
        (before, len(steps)),
        xytext=(away * 6, 0),
        textcoords="offset points",
        ha="left" if away > 0 else "right",
        va="center",
        fontsize=7.5,
        fontweight="bold",
        zorder=6,
    )
    titles = [*(_title(step.title) for step in steps), "plate's peak"]
    axes.set_yticks(range(len(titles)), titles, fontsize=7.5)


def _branches(axes: Axes, walk: Reconciliation, count: int) -> None:
    """The mean, and the strip on yielding lines: not steps."""
    rows = [(f"plate's mean over {number(walk.mean_width)} m", walk.mean)]
    if walk.springs is not None:
        rows.append(("same strip width on lines that yield", walk.springs))
    for k, (_, value) in enumerate(rows, start=count):
        axes.barh(
            k,
            1e-3 * value,
            height=0.5,
            color=BRANCH,
            edgecolor=INK,
            linewidth=0.7,
            ls="--",
            zorder=2,
        )
        away = 1.0 if value >= 0 else -1.0
        axes.annotate(
            number(1e-3 * value),
            (1e-3 * value, k),
            xytext=(away * 6, 0),
            textcoords="offset points",
            ha="left" if away > 0 else "right",
            va="center",
            fontsize=7.5,
            zorder=6,
        )
    axes.axhline(count - 0.5, color=PALE, lw=0.6, ls=(0, (2, 2)))
    ticks = [*axes.get_yticks(), *range(count, count + len(rows))]
    labels = [yticklabel.get_text() for yticklabel in axes.get_yticklabels()] + [
        words for words, _ in rows
    ]
    axes.set_yticks(ticks, labels, fontsize=7.5)


def _title(words: str) -> str:
    return words if len(words) <= 62 else words[:61].rpartition(" ")[0].rstrip(",;") + " …"

"""The reconciliation as a waterfall: every step of the walk with what it changes."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipelines.findings.reconciliation.search import OVER_LINES
from pipelines.findings.reconciliation.walk import Reconciliation, Step
from pipelines.numbers import as_result, number
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import SMALL, WIDTH, Paper, draw
from pipelines.report.drawings.colours import INK, PALE, SERIES
from pipelines.report.drawings.legend import Key, legend
from plate.conventions import RESULTS

WHOLE, MORE, LESS, BRANCH = SERIES[0], SERIES[1], SERIES[2], "#ffffff"
# Height of a step, width of the titles, paper above an order and below the last one [point].
ROW, LABELS, ABOVE, BELOW = 21.0, 270.0, 20.0, 54.0
# Half the height of a bar, of a side branch, as shares of a step.
THICK, THIN = 0.31, 0.25


def waterfall(name: str, walk: Reconciliation) -> Drawing:
    """Both orders of the walk, one below the other on one scale."""
    orders = [("In the fixed order", walk.forward), ("In the other order", walk.reverse)]
    if walk.forward == walk.reverse:
        orders = orders[:1]
    branches = 1 + (walk.springs is not None)
    rows = [len(steps) + 1 + (branches if k == 0 else 0) for k, (_, steps) in enumerate(orders)]
    height = sum(ROW * count + ABOVE for count in rows) + BELOW + 18.0 * (len(orders) - 1)
    values = [v for _, steps in orders for step in steps for v in (step.held, step.searched)]
    values = [v for v in values if np.isfinite(v)]
    values += [walk.mean, 0.0, *([walk.springs] if walk.springs is not None else [])]
    low, high = 1e-3 * min(values), 1e-3 * max(values)
    room = 0.28 * (high - low)
    ends = (low - (room if low < 0 else 0.0), high + (room if high > 0 else 0.0))

    def paint(paper: Paper) -> None:
        top = 0.0
        for k, (title, steps) in enumerate(orders):
            top += ABOVE
            box = (LABELS, top, WIDTH - 11.0, top + ROW * rows[k])
            axes = Axes(paper=paper, box=box, x=ends, y=(-0.5, rows[k] - 0.5))
            paper.text([LABELS, top - 6.0], title, size=8.5, along="start", level="base", bold=True)
            axes.scale("bottom", _axis(walk) if k == len(orders) - 1 else "", ruled=True)
            axes.frame(sides="b")
            _steps(axes, steps)
            if k == 0:
                _branches(axes, walk, len(steps) + 1)
            axes.upright(0.0, width=0.8)
            top = box[3] + 18.0
        legend(paper, KEYS)

    words = "; ".join(f"{step.title}: {number(1e-3 * step.searched)}" for step in walk.forward)
    return draw(name, f"Reconciliation in kNm/m. {words}.", (WIDTH, height), paint)


def _axis(walk: Reconciliation) -> str:
    sign = (
        "hogging negative"
        if walk.finding.section.kind in (*OVER_LINES, "corner")
        else "sagging positive"
    )
    return (
        f"{RESULTS[walk.finding.section.component]} [kNm/m], {sign}, characteristic traffic alone"
    )


def _bar(axes: Axes, row: int, start: float, end: float, half: float, **look: Any) -> None:
    corners = [[start, row - half], [end, row - half], [end, row + half], [start, row + half]]
    axes.path(corners, closed=True, **look)


def _beside(axes: Axes, row: int, edge: float, words: str, *, bold: bool = False) -> None:
    """Words beside a bar's end that is further from zero, clear of the mark."""
    away = 1.0 if edge >= 0 else -1.0
    along = "start" if away > 0 else "end"
    axes.text([edge, row], words, (7.0 * away, 0.0), size=SMALL, along=along, bold=bold)


def _title(axes: Axes, row: int, words: str) -> None:
    shown = words if len(words) <= 62 else words[:61].rpartition(" ")[0].rstrip(",;") + " …"
    at = [axes.box[0] - 6.0, float(axes.at([0.0, row])[1])]
    axes.paper.text(at, shown, size=SMALL, along="end")


def _steps(axes: Axes, steps: Sequence[Step]) -> None:
    before = 0.0
    for k, step in enumerate(steps):
        value = 1e-3 * step.searched
        grows = abs(value) >= abs(before)
        if k == 0:
            _bar(axes, k, 0.0, value, THICK, fill=WHOLE, ink="none")
        else:
            axes.path([[before, k - 1 + THICK], [before, k - THICK]], ink=PALE)
            look = {"fill": MORE, "hatch": "/"} if grows else {"fill": LESS}
            _bar(axes, k, before, value, THICK, ink="white", width=0.3, **look)
        # Under a load model the strip has no held value.
        held = 1e-3 * step.held if np.isfinite(step.held) else value
        axes.mark([held, k], "D", 4.2, fill="white")
        words = number(value)
        if k:
            change = value - before
            words += f"  ({'+' if change >= 0 else ''}{as_result(change)})"
        away = 1.0 if value >= 0 else -1.0
        edge = away * max(away * value, away * before if k else 0.0, away * held)
        _beside(axes, k, edge, words, bold=not k)
        _title(axes, k, step.title)
        before = value
    last = len(steps)
    _bar(axes, last, 0.0, before, THICK, fill=WHOLE, ink="none")
    _beside(axes, last, before, f"{number(before)} ± {number(1e-3 * steps[-1].error)}", bold=True)
    _title(axes, last, "plate's peak")


def _branches(axes: Axes, walk: Reconciliation, count: int) -> None:
    """The mean, and the strip on yielding lines: not steps."""
    rows = [(f"plate's mean over {number(walk.mean_width)} m", walk.mean)]
    if walk.springs is not None:
        rows.append(("same strip width on lines that yield", walk.springs))
    axes.level(count - 0.5, ink=PALE, dash=(2, 2))
    for row, (words, newton) in enumerate(rows, start=count):
        value = 1e-3 * newton
        _bar(axes, row, 0.0, value, THIN, fill=BRANCH, ink=INK, width=0.7, dash=(4, 2))
        _beside(axes, row, value, number(value))
        _title(axes, row, words)


KEYS = (
    Key(words="hand strip and plate", fill=WHOLE, ink="none"),
    Key(words="further from zero", fill=MORE, ink="white", width=0.3, hatch="/"),
    Key(words="nearer to zero", fill=LESS, ink="none"),
    Key(words="position held", mark="D", size=4.5, mark_fill="white"),
    Key(words="side branch", fill=BRANCH, width=0.7, dash=(4, 2)),
)

"""The finding over the beams' stiffness: plate curves, hand strips as levels, flips as marks."""

import numpy as np

from pipelines.findings.beam_stiffness import Sweep
from pipelines.findings.reconciliation.search import OVER_LINES
from pipelines.numbers import number
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, round_levels
from pipelines.report.drawings.canvas import SMALL, WIDTH, Paper, draw
from pipelines.report.drawings.colours import DASHES, MARKS, PALE, SERIES, SLAB
from pipelines.report.drawings.legend import Key, legend
from plate.conventions import RESULTS

HEIGHT = 330.0
# The box [point].
LEFT, TOP, RIGHT, BOTTOM = 55.0, 20.0, 555.0, 255.0
MOST = 8  # parts up the box


def sweep_figure(name: str, one: Sweep) -> Drawing:
    """Plate and strips over EI_b / (D L), on a logarithmic scale, rigid lines at the right."""
    sign = "hogging negative" if one.finding.section.kind in OVER_LINES else "sagging positive"

    unit = f"{RESULTS[one.finding.section.component]} [kNm/m], {sign}"
    values = [1e-3 * value for _, value in one.strips] + [0.0]
    for curve in one.curves:
        values += [*(1e-3 * curve.values).tolist(), 1e-3 * curve.own, 1e-3 * curve.rigid]
    levels = round_levels(min(values), max(values), MOST)
    rigid = float(one.ratios[-1]) * 4.0

    def paint(paper: Paper) -> None:
        axes = Axes(
            paper=paper,
            box=(LEFT, TOP, RIGHT, BOTTOM),
            x=(float(one.ratios[0]), rigid * 1.5),
            y=(float(levels[-1]), float(levels[0])),
            log=(True, False),
        )
        beyond = [one.ratios[-1] * 1.6, axes.x[1]]
        corners = np.column_stack([[*beyond, *beyond[::-1]], np.repeat(axes.y, 2)])
        axes.path(corners, closed=True, fill=SLAB, ink="none")
        axes.frame(sides="lb")
        axes.scale("left", unit, ruled=True)
        axes.scale("bottom", "EI of a beam / (D of the slab × span of the strip) [–]")
        axes.level(0.0)
        axes.upright(one.own, ink=PALE, width=0.7, dash=(1, 2))
        axes.text([one.own, axes.y[0]], f"deck: {number(one.own)}", (0.0, -3.0), level="foot")
        axes.text([rigid, axes.y[0]], "rigid lines", (0.0, -3.0), level="foot", size=SMALL)
        for k, curve in enumerate(one.curves):
            path = np.column_stack([one.ratios, 1e-3 * curve.values])
            axes.path(path, ink=SERIES[k], dash=DASHES[k], width=1.4)
            axes.mark([rigid, 1e-3 * curve.rigid], "_", 14.0, ink=SERIES[k], width=2.0)
            axes.mark([one.own, 1e-3 * curve.own], "o", 6.0, fill="white", ink=SERIES[k])
        _strips(axes, one, rigid)
        keys = [
            Key(
                words=f"plate, slab stiffness × {number(curve.share)}",
                ink=SERIES[k],
                dash=DASHES[k],
                width=1.4,
            )
            for k, curve in enumerate(one.curves)
        ]
        legend(paper, [*keys, Key(words="as the deck is", mark="o", mark_fill="white")])

    words = "; ".join(
        f"{strip}: {one.words(value, curve)} with the slab's stiffness times {number(curve.share)}"
        for strip, value in one.strips
        for curve in one.curves
    )
    return draw(
        name,
        f"{one.finding.place}, {one.finding.section.effect}. {words}.",
        (WIDTH, HEIGHT),
        paint,
    )


def _strips(axes: Axes, sweep: Sweep, rigid: float) -> None:
    """Levels with their words at the right, which are kept apart."""
    right = axes.box[2]
    low = -np.inf
    levels = sorted(enumerate(sweep.strips), key=lambda one: axes.at([axes.x[1], one[1][1]])[1])
    for k, (strip, newton) in levels:
        value = 1e-3 * newton
        axes.level(value, width=0.7, dash=(1, 1.4))
        at = float(axes.at([axes.x[1], value])[1])
        low = max(at, low + 10.0)
        axes.paper.path([[right, at], [right + 6, low]], width=0.4)
        words = f"{strip}, {number(value)}"
        axes.paper.text([right + 8, low], words, size=SMALL, along="start")
        for curve, ink in zip(sweep.curves, SERIES, strict=False):
            flip = sweep.flip(newton, curve)
            if flip is not None:
                at_x = min(flip, float(np.sqrt(sweep.ratios[-1] * rigid)))
                mark = MARKS[k % len(MARKS)]
                axes.mark([at_x, value], mark, 6.0, fill=ink, ink="white")

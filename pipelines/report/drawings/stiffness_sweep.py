"""The finding over the beams' stiffness: plate curves, hand strips as levels, flips as marks."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import NullFormatter

from pipelines.findings.beam_stiffness import Sweep
from pipelines.numbers import number
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, WIDTH, draw
from plate.conventions import RESULTS

INKS = ("#1f4e79", "#b5520b")
STYLES = ("-", (0, (5, 1.6)))
MARKS = ("s", "D", "^", "v", "P", "X")


def sweep_figure(name: str, one: Sweep) -> Drawing:
    """Plate and strips over EI_b / (D L), on a logarithmic scale, rigid lines at the right."""
    sign = "hogging negative" if one.finding.section.kind == "hogging" else "sagging positive"

    def paint(figure: Figure) -> None:
        axes = figure.add_axes((0.08, 0.24, 0.72, 0.70))
        right = float(one.ratios[-1]) * 4.0
        for k, curve in enumerate(one.curves):
            label = f"plate, slab stiffness × {number(curve.share)}"
            axes.plot(
                one.ratios, 1e-3 * curve.values, color=INKS[k], ls=STYLES[k], lw=1.4, label=label
            )
            axes.plot(right, 1e-3 * curve.rigid, marker="_", ms=14, mew=2.0, color=INKS[k])
            axes.plot(one.own, 1e-3 * curve.own, marker="o", ms=6, mfc="white", mec=INKS[k])
        _strips(axes, one, right)
        axes.axvline(one.own, color=PALE, lw=0.7, ls=(0, (1, 2)))
        axes.annotate(
            f"deck: {number(one.own)}",
            (one.own, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(3, -3),
            textcoords="offset points",
            va="top",
            fontsize=7.5,
        )
        axes.set_xscale("log")
        axes.xaxis.set_major_formatter("{x:g}")
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_xlim(one.ratios[0], right * 1.5)
        axes.axvspan(one.ratios[-1] * 1.6, right * 1.5, color="#f4f2ec", zorder=0)
        axes.annotate(
            "rigid lines",
            (right, 0.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 4),
            textcoords="offset points",
            ha="center",
            fontsize=7.5,
        )
        axes.set_xlabel("EI of a beam / (D of the slab × span of the strip) [–]", labelpad=2)
        axes.set_ylabel(f"{RESULTS[one.finding.section.component]} [kNm/m], {sign}")
        axes.axhline(0.0, color=INK, lw=0.6)
        axes.grid(axis="y", color="#dddddd", lw=0.4)
        axes.set_axisbelow(True)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        figure.legend(loc="lower center", ncols=2, frameon=False, fontsize=7.5)

    words = "; ".join(
        f"{strip}: {one.words(value, curve)} with the slab's stiffness times {number(curve.share)}"
        for strip, value in one.strips
        for curve in one.curves
    )
    return draw(
        name,
        f"{one.finding.section.place}, {one.finding.section.effect}. {words}.",
        (WIDTH, 4.6),
        paint,
    )


def _strips(axes: Axes, sweep: Sweep, right: float) -> None:
    for k, (strip, value) in enumerate(sweep.strips):
        axes.axhline(1e-3 * value, color=INK, lw=0.7, ls=(0, (1, 1.4)))
        axes.annotate(
            f"strip: {strip}, {number(1e-3 * value)}",
            (1.0, 1e-3 * value),
            xycoords=("axes fraction", "data"),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            fontsize=7.5,
        )
        for curve, ink in zip(sweep.curves, INKS, strict=False):
            flip = sweep.flip(value, curve)
            if flip is not None:
                at = min(flip, np.sqrt(sweep.ratios[-1] * right))
                axes.plot(at, 1e-3 * value, marker=MARKS[k], ms=5.5, mfc=ink, mec="white", zorder=6)

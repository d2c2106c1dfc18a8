"""The sensitivity of a study's responses to its parameters, as a table and as a figure."""

from collections.abc import Sequence
from math import ceil
from pathlib import Path

import numpy as np

from pipelines.caution import TO_VERIFY
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import SMALL, Paper, draw, room_of, sheet
from pipelines.report.drawings.colours import RULE, SERIES
from pipelines.report.drawings.legend import Key, legend, legend_height
from pipelines.study.pages import has_pdf, pages_of
from pipelines.study.sensitivity import Sensitivity, indices
from pipelines.study.spec import Study
from pipelines.study.table import Column, csv_text
from pipelines.system.files import write_bytes, write_text

SENSITIVITY = ("sensitivity.csv", "sensitivity.svg", "sensitivity.pdf")
METHOD = (
    "Sobol's indices of the decks themselves on a scrambled Sobol sequence, estimators of Saltelli "
    "et al. 2010 (first order) and Jansen 1999 (total); intervals of 95 % by 1000 resamples"
)
# Boxes in a row, their width, height of a parameter, paper above and below [point].
ACROSS, WIDE, TALL, ABOVE, BELOW, BESIDE = 2, 170.0, 18.0, 14.0, 34.0, 10.0
DARK, LIGHT = SERIES[:2]
FIRST = Key(words="first order: alone", ink=DARK, width=1.2, mark="o", mark_fill=DARK)
TOTAL = Key(words="total: in any company", ink=LIGHT, width=1.2, mark="s", mark_fill="#ffffff")


def write_sensitivity(folder: Path, study: Study, columns: Sequence[Column]) -> None:
    """Write the files of SENSITIVITY, the figure where a response changes, as PDF where the extra
    "pdf" is installed."""
    found = sensitivities(study, columns)
    write_text(folder / SENSITIVITY[0], csv_text(sensitivity_columns(found)))
    if found:
        figure = sensitivity_figure(study, found)
        write_text(folder / SENSITIVITY[1], sheet(figure))
        if has_pdf():
            write_bytes(folder / SENSITIVITY[2], pages_of([figure]))


def sensitivities(study: Study, columns: Sequence[Column]) -> tuple[Sensitivity, ...]:
    """Indices of every response that changes, from the columns of a saltelli design's table."""
    names = [one.name for one in study.parameters]
    table = {column.name: column.values for column in columns}
    found = []
    for one in study.responses:
        values = np.array([np.nan if v is None else float(v) for v in table[one.name]])
        told = indices(one.name, names, values.reshape(-1, len(names) + 2))
        if told is not None:
            found.append(told)
    return tuple(found)


def sensitivity_columns(found: Sequence[Sensitivity]) -> list[Column]:
    """A row a response and parameter."""
    rows = [
        (
            *(one.response, name, float(one.first[k]), *one.first_ends[k].tolist()),
            *(float(one.total[k]), *one.total_ends[k].tolist(), one.points, one.left_out),
            METHOD,
            TO_VERIFY,
        )
        for one in found
        for k, name in enumerate(one.names)
    ]
    heads = (
        *("response", "parameter", "first_order", "first_order_low", "first_order_high"),
        *("total", "total_low", "total_high", "points", "points_left_out", "method", "caution"),
    )
    cells = list(zip(*rows, strict=True)) if rows else [()] * len(heads)
    return [Column(head, "", "", values) for head, values in zip(heads, cells, strict=True)]


def sensitivity_figure(study: Study, found: Sequence[Sensitivity]) -> Drawing:
    """A box for every response, a line for every parameter, with the intervals."""
    across, down = min(ACROSS, len(found)), ceil(len(found) / ACROSS)
    names = found[0].names
    left = BESIDE + max(room_of(name, SMALL) for name in names)
    high = TALL * len(names)
    keys = [FIRST, TOTAL]
    width = max(across * (left + WIDE) + BESIDE, 330.0)
    height = down * (ABOVE + high + BELOW) + legend_height(keys, width)

    def paint(paper: Paper) -> None:
        for k, one in enumerate(found):
            x = left + (k % across) * (left + WIDE)
            y = ABOVE + (k // across) * (ABOVE + high + BELOW)
            box = (x, y, x + WIDE, y + high)
            count = len(names)
            axes = Axes(paper=paper, box=box, x=(-0.1, 1.1), y=(-0.5, count - 0.5))
            for end in (0.0, 1.0):
                axes.upright(end, ink=RULE)
            axes.scale("left", "", (list(range(count)), list(names)))
            axes.scale("bottom", f"share of the variance of {one.response}")
            axes.frame(sides="lb")
            parts = (
                (one.first, one.first_ends, FIRST, -0.17),
                (one.total, one.total_ends, TOTAL, 0.17),
            )
            for values, ends, key, shift in parts:
                for row, (value, (low, up)) in enumerate(zip(values, ends, strict=True)):
                    at = row + shift
                    axes.path([[low, at], [up, at]], ink=key.ink, width=key.width)
                    look = {"fill": key.mark_fill, "ink": key.ink}
                    axes.mark([float(value), at], key.mark, key.size, **look)
        legend(paper, keys)

    words = f"{study.title}: sensitivity of each response to each parameter. {METHOD}"
    return draw("sensitivity", words, (width, height), paint)

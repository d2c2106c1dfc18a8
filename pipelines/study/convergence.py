"""A page that is looked at while a study runs: how far it is, what fails, and where the mean of
each response and the error of a fit are going."""

import os
import time
from collections import Counter
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from math import ceil
from pathlib import Path

import numpy as np
from scipy.stats import t as student

from pipelines.caution import CAUTION
from pipelines.report.document import Block, Document, Drawing, Figure, Interactive, Section, table
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import Paper, draw
from pipelines.report.drawings.colours import INK, RULE, SERIES
from pipelines.report.html import html_of
from pipelines.study.fit.held import Look
from pipelines.study.plan import Plan
from pipelines.study.spec import Study
from pipelines.study.task import Finished
from plate.arrays import Floats

PAGE = "progress.html"
# Between two writings of the page [s]; it asks for itself again as often.
PAUSE = 10.0
# Points of a line, boxes in a row, their width and height, paper around them [point].
POINTS, ACROSS, WIDE, HIGH, LEFT, ABOVE, BELOW = 60, 3, 150.0, 80.0, 56.0, 14.0, 34.0
REASONS = 5
# Of a value: below it a difference is rounding.
SAME = 1e-9
AGAIN = f"<script>setTimeout(() => location.reload(), {PAUSE * 1e3:.0f});</script>"


@dataclass(frozen=True)
class Mean:
    """The mean of the first n values (m,) with half the width of its 95 % interval (m,)."""

    n: Floats
    mean: Floats
    half: Floats


def running_mean(values: Floats) -> Mean:
    """Means of the first 2, ... values, at `POINTS` numbers of them at most."""
    count = len(values)
    n = np.unique(np.linspace(2, count, min(POINTS, max(count - 1, 1))).astype(int))
    n = n[n >= 2]
    mean = np.array([values[:k].mean() for k in n])
    spread = np.array([values[:k].std(ddof=1) for k in n])
    half = student.ppf(0.975, n - 1.0) * spread / np.sqrt(n)
    return Mean(n.astype(float), mean, np.asarray(half))


class Convergence:
    """What a study has found so far, in the order in which it was found."""

    def __init__(self, study: Study, plan: Plan, place: Path, before: Iterable[Finished]) -> None:
        """place : of the page; before : rows that are there."""
        self.study, self.place, self.whole = study, place, len(plan.rows)
        self.start = self.last = time.monotonic()
        self.values: dict[str, list[float]] = {one.name: [] for one in study.responses}
        self.reasons = Counter(row.reason for row in plan.rows if row.reason)
        self.looks: list[Look] = []
        self.done = self.failed
        for one in before:
            self.add(one)
        self.before = self.done

    @property
    def failed(self) -> int:
        """Rows that failed so far."""
        return self.reasons.total()

    def add(self, one: Finished) -> None:
        """Take a finished row in."""
        self.done += 1
        if one.status == "failed":
            self.reasons[one.reason] += 1
        for name, values in self.values.items():
            value = one.values.get(name)
            if value is not None:
                values.append(value)

    def write(self, *, ended: str = "") -> None:
        """Replace the page, now and then, and with words of the end at the end.

        It is a convenience: where it cannot be written the study goes on."""
        now = time.monotonic()
        if not ended and now - self.last < PAUSE:
            return
        self.last = now
        new = self.place.with_name(f".{self.place.name}.new")
        with suppress(OSError):
            new.write_text(html_of(self.page(ended)), encoding="utf-8")
            os.replace(new, self.place)

    def page(self, ended: str = "") -> Document:
        """The page as it is now."""
        lead = f"{self.done} of {self.whole} rows, {self.failed} failed"
        computed = self.done - self.before
        if computed and not ended:
            rate = computed / max(time.monotonic() - self.start, 1e-9)
            lead += f", {3600.0 * rate:.0f} an hour in this run"
        front: tuple[Block, ...] = () if ended else (Interactive(AGAIN),)
        return Document(
            title=self.study.title,
            lead=f"{lead}. {ended}".rstrip(" "),
            front=front,
            sections=(self._means(), self._errors(), self._failures()),
            end=CAUTION,
        )

    def _means(self) -> Section:
        rows, panels = [], []
        for one in self.study.responses:
            values = np.array(self.values[one.name])
            if len(values) < 2:
                continue
            mean = running_mean(values)
            last, half = float(mean.mean[-1]), float(mean.half[-1])
            numbers = (last, half, float(values.min()), float(values.max()))
            name = f"{one.name} [{one.unit}]" if one.unit else one.name
            rows.append((name, str(len(values)), *(f"{number:.4g}" for number in numbers)))
            panels.append((name, mean))
        if not rows:
            return Section("means", "Responses", ())
        heads = ("response", "rows", "mean", "± (95 %)", "least", "largest")
        words = (
            "Mean of each response over the rows so far with its 95 % interval, for rows that come "
            "in as if drawn at random from the design"
        )
        figure = Figure("means-figure", _panels("means", words, panels), words)
        told = table("Responses so far", heads, rows, numeric=range(1, 6))
        return Section("means", "Responses", (told, figure))

    def _errors(self) -> Section:
        stop = self.study.stop
        if stop is None or not self.looks:
            return Section("errors", "Error of the fit", ())
        rows = [
            (
                str(one.rows),
                str(one.held),
                "–" if one.within is None else f"{100.0 * one.within:.2f} %",
                "–" if one.worst is None else f"{100.0 * one.worst:.2f} %",
                one.reason,
            )
            for one in self.looks
        ]
        heads = ("rows", "held out", "95 % of them within", "worst", "")
        words = f"Error of {stop.fit.title} on rows held out; {100.0 * stop.error:g} % ends it"
        return Section("errors", "Error of the fit", (table(words, heads, rows, numeric=range(4)),))

    def _failures(self) -> Section:
        if not self.reasons:
            return Section("failures", "Failures", ())
        rows = [(reason, str(count)) for reason, count in self.reasons.most_common(REASONS)]
        told = table("The most frequent reasons", ("reason", "rows"), rows, numeric=(1,), wide=(0,))
        return Section("failures", "Failures", (told,))


def _panels(name: str, words: str, panels: list[tuple[str, Mean]]) -> Drawing:
    """A box for every response: its mean against the number of rows, within its interval."""
    across = min(ACROSS, len(panels))
    down = ceil(len(panels) / across)
    size = (across * (LEFT + WIDE) + 14.0, down * (ABOVE + HIGH + BELOW))

    def paint(paper: Paper) -> None:
        for k, (label, mean) in enumerate(panels):
            left = LEFT + (k % across) * (LEFT + WIDE)
            top = ABOVE + (k // across) * (ABOVE + HIGH + BELOW)
            # From a tenth of the rows on: the first few tell nothing and would set the scale.
            late = mean.n >= 0.1 * mean.n[-1]
            low = float((mean.mean - mean.half)[late].min())
            high = float((mean.mean + mean.half)[late].max())
            most = max(abs(low), abs(high))
            # Of a response that no row changes only rounding is left between the two.
            spare = 0.05 * (high - low if high - low > SAME * most else most) or 1.0
            axes = Axes(
                paper=paper,
                box=(left, top, left + WIDE, top + HIGH),
                x=(0.0, 1.02 * float(mean.n[-1])),
                y=(high + spare, low - spare),
            )
            upper = np.column_stack([mean.n, mean.mean + mean.half])
            lower = np.column_stack([mean.n, mean.mean - mean.half])
            if len(mean.n) > 1:
                band = np.concatenate([upper, lower[::-1]])
                axes.path(band, closed=True, fill=RULE, ink="none")
                line = np.column_stack([mean.n, mean.mean])
                axes.path(line, ink=SERIES[0], width=1.2)
            else:
                axes.mark([mean.n[-1], mean.mean[-1]], "o", 3.5, fill=SERIES[0], ink=INK)
            axes.scale("bottom", f"rows; {label}")
            axes.scale("left", "")
            axes.frame(sides="lb")

    return draw(name, words, size, paint)

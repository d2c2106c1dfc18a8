"""Computed over measured: a mark for each reading, on the diagonal where they agree."""

from pipelines.deck.load_test import UNITS, Quantity
from pipelines.loadtest.outcome import Outcome
from pipelines.loadtest.words import unit_words
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes, round_levels
from pipelines.report.drawings.canvas import WIDTH, Paper, draw
from pipelines.report.drawings.colours import PALE, SERIES
from pipelines.report.drawings.legend import Key, legend

HEIGHT = 340.0
# The box [point].
LEFT, TOP, RIGHT, BOTTOM = 130.0, 15.0, 400.0, 285.0
MOST = 8


def agreement_figure(name: str, outcome: Outcome, quantity: Quantity) -> Drawing:
    """The readings of one quantity: computed as the file has the deck, and with what was found."""
    mine = [i for i, one in enumerate(outcome.test.readings) if one.quantity == quantity]
    unit, words = UNITS[quantity].scale, unit_words(outcome.test.readings[mine[0]])
    measured = outcome.measured[mine] / unit
    series = [("deck as in its file", outcome.computed[mine] / unit)]
    if outcome.fitted is not None:
        series.append(("with the stiffnesses found", outcome.fitted[mine] / unit))
    every = [*measured.tolist(), *(v for _, values in series for v in values.tolist()), 0.0]
    levels = round_levels(min(every), max(every), MOST)
    ends = float(levels[0]), float(levels[-1])

    def paint(paper: Paper) -> None:
        axes = Axes(paper=paper, box=(LEFT, TOP, RIGHT, BOTTOM), x=ends, y=ends[::-1])
        axes.frame(sides="lb")
        axes.scale("left", f"computed {quantity} [{words}]", ruled=True)
        axes.scale("bottom", f"measured {quantity} [{words}]")
        axes.path([[ends[0], ends[0]], [ends[1], ends[1]]], ink=PALE, width=1.0)
        keys = [Key(words="computed = measured", ink=PALE, width=1.0)]
        for k, (said, values) in enumerate(series):
            # What was found stands out; the deck as it was is a ring about it.
            fill = SERIES[0] if k else "white"
            for m, c in zip(measured.tolist(), values.tolist(), strict=True):
                axes.mark([m, c], "o", 6.0, fill=fill, ink=SERIES[0])
            keys.append(Key(words=said, mark="o", mark_fill=fill, mark_ink=SERIES[0]))
        legend(paper, keys)

    told = ", ".join(f"{one} for {len(mine)} readings" for one, _ in series)
    return draw(name, f"Computed over measured {quantity}: {told}.", (WIDTH, HEIGHT), paint)

"""The inspection sheet as a document: one page a panel, with room for the readings."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import ceil

import numpy as np

from pipelines.analysis.result import Result
from pipelines.bars.adequacy import StandardVerdict
from pipelines.bars.inspection import FILE, LayerOrder, Limit, Measured, PanelSheet
from pipelines.caution import CAUTION
from pipelines.numbers import as_given, length
from pipelines.report.data.inspection_csv import (
    MM,
    least_words,
    most_words,
    stops_words,
    tolerance_words,
)
from pipelines.report.document import (
    Block,
    Bullets,
    Document,
    Figure,
    Paragraph,
    Section,
    Short,
    Table,
    Words,
    table,
)
from pipelines.report.drawings.inspection_plan import inspection_plan
from pipelines.report.sections.bars_words import decisive_words
from pipelines.standards.resistance.bars import place_of
from plate.geometry.plan import Plan

TO_FILL = 12 * "_"
ANY = "any"
# Of a page: letters in a line, and in one of the caption; heights of a line, of a row that is
# written into by hand, and what there is for both below the plan [point]: a panel has one page.
LETTERS, BESIDE = 165, 95
LINE, ROW, ROOM = 14.0, 13.3, 305.0
VALUES = {"mean": "The mean of a panel's readings counts", "worst": "The worst reading counts"}


def inspection(result: Result, sheets: Sequence[PanelSheet]) -> Document:
    """The sheet of a deck that is read as drawn (`bars.inspection.read_as_drawn`)."""
    return Document(
        title=f"{result.deck.title}: inspection sheet",
        lead="What to measure where, and how far it may be off the drawing",
        front=(Paragraph(CAUTION), Bullets(tuple(_rules(result, sheets)))),
        sections=tuple(
            Section(f"panel-{k}", f"Panel {sheet.panel}", tuple(_page(result, k, sheet)))
            for k, sheet in enumerate(sheets)
        ),
        end=CAUTION,
        paged=True,
    )


def _rules(result: Result, sheets: Sequence[PanelSheet]) -> Iterator[Words]:
    survey = result.deck.required_reinforcement.survey
    if survey is not None:
        yield (
            f"{VALUES[survey.value]}, of covers for durability always the least. Passes from, to: "
            "what passes all checks of the as-built check while all else is as drawn, lengths in "
            f"mm; “{ANY}”: that way no check gets worse; “or more”: none fails up to half of what "
            "is drawn. Deviations of several quantities add up: all that was read is judged "
            "together."
        )
    yield (
        f"Write readings into {FILE}, column reading, with the day; copy a row for a further "
        f'reading. Then name the file in the deck file, [survey] file = "{FILE}", and run it.'
    )
    yield (
        "Tolerance: what execution may deviate by; set out where that is more than what passes. "
        "Spacing: the mean over ten bars, whose tolerance the standards leave to the "
        "specification. Covers are to the outermost bars. Demands are those of the deck as drawn; "
        "shear at the load positions, punching at the place that govern as drawn."
    )
    yield from _on_an_arc(result.deck.plan)
    for source in dict.fromkeys(
        one.tolerance.source for sheet in sheets for one in sheet.measured if one.tolerance
    ):
        yield f"Tolerance by {source}."


def _on_an_arc(plan: Plan) -> Iterator[Words]:
    """How places are found and spacings read on a curved deck, whose bars across are radial."""
    if plan.alignment.straight:
        return
    radius, offsets = abs(plan.alignment.radius), plan.outline[:, 1]
    points = np.column_stack([np.zeros(2), [offsets.min(), offsets.max()]])
    stretch = plan.alignment.stretch(points)
    outer = int(stretch.argmax())
    sign = "\u2212" if plan.alignment.radius > 0.0 else "+"
    at_edge = f"at the outer edge, offset {length(float(points[outer, 1]))} m"
    yield (
        f"Stations count along the arc of R {length(radius)} m at offset 0, offsets from it to the "
        f"right. Bars along y are radial: their drawn spacing and what passes are those {at_edge}. "
        "Write what is read at an offset y times "
        f"{length(radius * float(stretch[outer]))} / ({length(radius)} {sign} y)."
    )


def _page(result: Result, k: int, sheet: PanelSheet) -> Iterator[Block]:
    survey = result.deck.required_reinforcement.survey
    assert survey is not None
    number = list(survey.built)[k]
    drawing = inspection_plan(result.deck, sheet, survey.panels.extent(number))
    drawn = f"As drawn: {_finding(result.verdicts, sheet.panel)} "
    yield Paragraph((drawn, CAUTION, " Measured by: ", 2 * TO_FILL, " day: ", TO_FILL))
    places = "; ".join(
        f"P{p.number} ({length(p.at[0])}, {length(p.at[1])}) m, {p.words}: {p.why}"
        for p in sheet.places
    )
    yield Figure(f"plan-panel-{k}", drawing, f"Places (station, offset): {places}.")
    readings = _readings(sheet)
    lines = sum(ceil(len(words) / LETTERS) for words in (drawn + CAUTION, sheet.note))
    lines += ceil(len(places) / BESIDE)
    high = LINE * lines + ROW * (len(readings.rows) + 2)
    yield replace(readings, by_hand=high <= ROOM)
    if sheet.note:
        yield Paragraph(sheet.note)


def _finding(verdicts: Sequence[StandardVerdict], panel: str) -> str:
    return " ".join(
        f"{one.standard}{own.panel.removeprefix(panel)}: {own.adequacy.value}, "
        f"{decisive_words(own)}"
        for one in verdicts
        for own in one.panels
        if own.panel == panel or own.panel.startswith(f"{panel}, ")
    )


def _readings(sheet: PanelSheet) -> Table:
    numbers = [place.number for place in sheet.places]
    rows: list[list[Words]] = []
    for order in sheet.orders:
        asked = {order.place}
        rows.append(
            [f"outermost bars, {order.face}: along", order.drawn, "–", *_order(order)]
            + [TO_FILL if k in asked else "" for k in numbers]
        )
    for one in sheet.measured:
        rows.append(
            [
                _what(one),
                as_given(MM * one.drawn),
                _tolerance(one),
                _told(one.least, least_words(one.least), "less"),
                _told(one.most, most_words(one.most), "more"),
                *(TO_FILL if k in one.places else "" for k in numbers),
            ]
        )
    head = ["Measure", "Drawn", "Tolerance", "Passes from", "to", *(f"P{k}" for k in numbers)]
    return table(f"Readings of panel {sheet.panel} [mm]", head, rows, numeric=(1,))


def _order(order: LayerOrder) -> list[Words]:
    if order.stops is None:
        return [ANY, ANY]
    return [order.drawn, ("the other: ", Short(stops_words(order.stops)))]


def _what(one: Measured) -> str:
    face, direction = one.key.face, one.key.direction
    if face is None:
        return one.key.quantity
    where = face if direction is None else place_of((face, direction))
    if one.key.mark:
        where += f", added {one.key.mark}"
    return f"{one.key.quantity}, {where}"


def _tolerance(one: Measured) -> Words:
    """Set out where it reaches beyond what passes."""
    words = tolerance_words(one) or "–"
    return Short(words) if one.tolerance_is_beyond else words


def _told(limit: Limit | None, value: str, way: str) -> Words:
    if limit is None:
        return ANY
    if limit.value is None:
        return Short(f"{value}: {stops_words(limit.stops)}")
    if limit.stops is None:
        return f"{value} or {way}"
    return f"{value}, {stops_words(limit.stops)}"

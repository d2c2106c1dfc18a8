"""inspection.csv: one row a reading to be taken on site; filled in, it is the file of [survey]."""

import csv
from collections.abc import Callable, Iterator, Sequence
from math import ceil, floor
from pathlib import Path

from pipelines.bars.adequacy import Check
from pipelines.bars.inspection import LayerOrder, Limit, Measured, PanelSheet, reading_rows
from pipelines.caution import TO_VERIFY
from pipelines.deck.reading.survey_schema import OUTER
from pipelines.numbers import as_given
from pipelines.standards.sources import Standard
from pipelines.system.files import plain_cell

COLUMNS = (
    *("panel", "place", "x_m", "y_m", "date", "face", "direction", "mark"),
    "quantity",
    *("drawing", "tolerance", "least", "stops_below", "most", "stops_above", "reading", "caution"),
)
NONE_PASSES = "none passes"
NOTHING = "nothing as far as is looked"
MM = 1e3


def write_inspection(path: Path, sheets: Sequence[PanelSheet]) -> None:
    """Write inspection.csv; dates and readings are left for whoever measures."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.DictWriter(file, COLUMNS)
        rows.writeheader()
        for sheet in sheets:
            for row in _rows(sheet):
                rows.writerow(row)


def _rows(sheet: PanelSheet) -> Iterator[dict[str, str]]:
    for spot, one in reading_rows(sheet):
        row = {"panel": plain_cell(sheet.panel), "caution": TO_VERIFY}
        if spot is not None:
            x, y = (f"{value:g}" for value in spot.at)
            row |= {"place": f"P{spot.number} {spot.words}", "x_m": x, "y_m": y}
        yield row | (_order(one) if isinstance(one, LayerOrder) else _length(one))


def _order(order: LayerOrder) -> dict[str, str]:
    stops = "" if order.stops is None else f"the other: {stops_words(order.stops)}"
    return {"face": order.face, "quantity": OUTER, "drawing": order.drawn, "stops_above": stops}


def _length(one: Measured) -> dict[str, str]:
    return {
        "face": one.key.face or "",
        "direction": one.key.direction or "",
        "mark": plain_cell(one.key.mark),
        "quantity": one.key.measure.column,
        "drawing": as_given(MM * one.drawn),
        "tolerance": tolerance_words(one),
        "least": least_words(one.least),
        "stops_below": beyond_words(one.least),
        "most": most_words(one.most),
        "stops_above": beyond_words(one.most),
    }


def stops_words(stops: tuple[Check, Standard] | None) -> str:
    return "" if stops is None else f"{stops[0].value} ({stops[1]})"


def beyond_words(limit: Limit | None) -> str:
    """What stops a quantity beyond its limit, or that nothing does as far as was looked."""
    if limit is None:
        return ""
    return NOTHING if limit.stops is None else stops_words(limit.stops)


def tolerance_words(one: Measured) -> str:
    """What execution may deviate [mm]; "" where no standard states it."""
    if one.tolerance is None:
        return ""
    less, more = (f"{MM * value:.2g}" for value in (one.tolerance.less, one.tolerance.more))
    return f"{less} less" + ("" if more == "inf" else f", {more} more")


def least_words(limit: Limit | None) -> str:
    """In mm to the tenth, on the side that passes."""
    return _limit(limit, lambda tenths: ceil(tenths - 1e-6))


def most_words(limit: Limit | None) -> str:
    return _limit(limit, lambda tenths: floor(tenths + 1e-6))


def _limit(limit: Limit | None, rounded: Callable[[float], int]) -> str:
    if limit is None:
        return ""
    if limit.value is None:
        return NONE_PASSES
    return f"{rounded(10 * MM * limit.value) / 10:.1f}"

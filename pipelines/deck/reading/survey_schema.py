"""The columns of a file of readings on site."""

from typing import Annotated, Any, get_args

from pipelines.deck.reading.rules import Choice, Range, Text
from pipelines.deck.reading.schema import Name, Table, entry
from pipelines.deck.survey import MEASURES, Quantity
from pipelines.standards.resistance.bars import Direction, Face

FARTHEST = 1e6  # of a place from the origin [m]
OUTER = "outer"
# What `quantity` may name: columns of readings, and which layer lies outermost.
QUANTITIES = (*(measure.column for measure in MEASURES.values()), OUTER)


def _range(quantity: Quantity) -> Range:
    measure = MEASURES[quantity]
    return Range(measure.low, measure.high, measure.column.rpartition("_")[2])


def _reading(quantity: Quantity, meaning: str, example: float) -> Any:
    needs = MEASURES[quantity].where
    told = f"{meaning}; needs {' and '.join(needs)}." if needs else f"{meaning}."
    return entry(told, example, default=None, left_out="not read")


def _told(meaning: str, example: str) -> Any:
    return entry(
        f"{meaning}: of an inspection sheet, not read.", example, default=None, left_out="–"
    )


class SurveyColumns(Table):
    """The columns of a file of readings on site (CSV), in any order; a row holds one reading or
    several, blank where nothing was read, and readings may be repeated. An inspection sheet that is
    filled in is such a file: of its rows `quantity` says what is read, `reading` what was."""

    panel: Name | None = entry(
        "Panel of the deck: between two C lines, and two L lines where there are more than two; a "
        "bay that is cut into parts stands for all of them; of a plan without such lines the slab.",
        "C2-C3",
        default=None,
        left_out="that in which x_m and y_m lie",
    )
    date: Annotated[str, Text(10)] | None = entry(
        "Day of the reading, year, month and day.", "2026-04-18", default=None, left_out="not told"
    )
    x_m: Annotated[float, Range(-FARTHEST, FARTHEST, "m")] | None = entry(
        "Station of the place that was read; together with y_m.",
        4.65,
        default=None,
        left_out="anywhere in the panel",
    )
    y_m: Annotated[float, Range(-FARTHEST, FARTHEST, "m")] | None = entry(
        "Offset of the place that was read; together with x_m.",
        -1.2,
        default=None,
        left_out="anywhere in the panel",
    )
    face: Annotated[Face, Choice(get_args(Face))] | None = entry(
        "Face of the slab.", "bottom", default=None, left_out="of thickness and cores alone"
    )
    direction: Annotated[Direction, Choice(get_args(Direction))] | None = entry(
        "Direction of the bars read.",
        "x",
        default=None,
        left_out="cover_mm is to the outermost bars",
    )
    mark: Name | None = entry(
        "Added bars that were read, by the mark of their [[bars.added]], which says face and "
        "direction.",
        "A1",
        default=None,
        left_out="the bars of the mat",
    )
    outer: Annotated[Direction, Choice(get_args(Direction))] | None = entry(
        "Direction of the outermost bars as seen; needs face.",
        "y",
        default=None,
        left_out="as the covers say, else as the deck file does",
    )
    thickness_mm: Annotated[float, _range("thickness")] | None = _reading(
        "thickness",
        "Thickness of the slab, with x_m and y_m in a panel of which the drawing has several",
        268,
    )
    cover_mm: Annotated[float, _range("cover")] | None = _reading(
        "cover", "Concrete cover of the bars, in a direction where one is named", 42
    )
    diameter_mm: Annotated[float, _range("diameter")] | None = _reading(
        "diameter", "Diameter of a bar as it was built", 16
    )
    spacing_mm: Annotated[float, _range("spacing")] | None = _reading(
        "spacing", "Distance between two bars' centres", 131
    )
    remaining_diameter_mm: Annotated[float, _range("remaining diameter")] | None = _reading(
        "remaining diameter", "Diameter that corrosion has left of a bar", 14.5
    )
    area_loss_percent: Annotated[float, _range("area loss")] | None = _reading(
        "area loss", "Share of a bar's area that corrosion has taken", 12
    )
    spalled_mm: Annotated[float, _range("spalled depth")] | None = _reading(
        "spalled depth", "Depth of concrete that is gone from the face", 25
    )
    core_MPa: Annotated[float, _range("core strength")] | None = _reading(
        "core strength", "Strength of a core twice as long as wide", 38
    )
    quantity: Annotated[str, Choice(QUANTITIES)] | None = entry(
        "Column that `reading` stands for.", "cover_mm", default=None, left_out="no reading"
    )
    reading: Annotated[str, Text(10)] | None = entry(
        "What was read of `quantity`, a number in its unit, or x or y.",
        "42",
        default=None,
        left_out="not read",
    )
    place: Annotated[str, Text(80)] | None = _told("Where to read, in words", "bay C1–C2")
    drawing: Annotated[str, Text(10)] | None = _told("What is drawn", "45")
    tolerance: Annotated[str, Text(30)] | None = _told(
        "What execution may deviate", "10 less, 12 more"
    )
    least: Annotated[str, Text(10)] | None = _told("The least that passes all checks", "35.0")
    stops_below: Annotated[str, Text(80)] | None = _told("The check that fails below", "cover")
    most: Annotated[str, Text(10)] | None = _told("The most that passes all checks", "51.3")
    stops_above: Annotated[str, Text(80)] | None = _told("The check that fails above", "bending")
    caution: Annotated[str, Text(80)] | None = _told(
        "That all of it is to be verified", "for a qualified engineer to verify"
    )


COLUMNS = tuple(SurveyColumns.model_fields)

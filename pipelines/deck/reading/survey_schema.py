"""The columns of a file of readings on site."""

from typing import Annotated, Any, get_args

from pipelines.deck.reading.rules import Choice, Range, Text
from pipelines.deck.reading.schema import Name, Table, entry
from pipelines.deck.survey import MEASURES, Quantity
from pipelines.standards.resistance.bars import Direction, Face

FARTHEST = 1e6  # of a place from the origin [m]


def _range(quantity: Quantity) -> Range:
    measure = MEASURES[quantity]
    return Range(measure.low, measure.high, measure.column.rpartition("_")[2])


def _reading(quantity: Quantity, meaning: str, example: float) -> Any:
    needs = MEASURES[quantity].where
    told = f"{meaning}; needs {' and '.join(needs)}." if needs else f"{meaning}."
    return entry(told, example, default=None, left_out="not read")


class SurveyColumns(Table):
    """The columns of a file of readings on site (CSV), in any order; a row holds one reading or
    several, blank where nothing was read, and readings may be repeated."""

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
    outer: Annotated[Direction, Choice(get_args(Direction))] | None = entry(
        "Direction of the outermost bars as seen; needs face.",
        "y",
        default=None,
        left_out="as the covers say, else as the deck file does",
    )
    thickness_mm: Annotated[float, _range("thickness")] | None = _reading(
        "thickness", "Thickness of the slab", 268
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


COLUMNS = tuple(SurveyColumns.model_fields)

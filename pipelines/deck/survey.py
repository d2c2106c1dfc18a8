"""What was measured on site in a panel: readings, what each is of, and their statistics (SI)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipelines.standards.resistance.bars import Direction, Face

Quantity = Literal[
    "thickness",
    "cover",
    "diameter",
    "spacing",
    "remaining diameter",
    "area loss",
    "spalled depth",
    "core strength",
]
Value = Literal["mean", "worst"]


@dataclass(frozen=True, kw_only=True)
class Measure:
    """How a quantity is read.

    column : of the readings' file, with its unit; unit : of that column in SI; low, high : readings
    outside these are slips of the pen or of the unit, in the column's unit. adverse : +1 where more
    lowers the capacity, -1 where less does. where : what a reading needs beside the number.
    """

    column: str
    unit: float
    low: float
    high: float
    adverse: float
    where: tuple[Literal["face", "direction"], ...] = ()

    @property
    def unit_words(self) -> str:
        """The unit for print."""
        return {"MPa": "MPa", "percent": "%"}.get(self.column.rsplit("_", 1)[1], "mm")


MM = 1e-3
MEASURES: dict[Quantity, Measure] = {
    "thickness": Measure(column="thickness_mm", unit=MM, low=50.0, high=2000.0, adverse=-1),
    "cover": Measure(column="cover_mm", unit=MM, low=1.0, high=300.0, adverse=1, where=("face",)),
    "diameter": Measure(
        column="diameter_mm", unit=MM, low=4.0, high=60.0, adverse=-1, where=("face", "direction")
    ),
    "spacing": Measure(
        column="spacing_mm", unit=MM, low=20.0, high=1000.0, adverse=1, where=("face", "direction")
    ),
    "remaining diameter": Measure(
        column="remaining_diameter_mm",
        unit=MM,
        low=0.0,
        high=60.0,
        adverse=-1,
        where=("face", "direction"),
    ),
    "area loss": Measure(
        column="area_loss_percent",
        unit=1e-2,
        low=0.0,
        high=100.0,
        adverse=1,
        where=("face", "direction"),
    ),
    "spalled depth": Measure(
        column="spalled_mm", unit=MM, low=0.0, high=300.0, adverse=1, where=("face",)
    ),
    "core strength": Measure(column="core_MPa", unit=1e6, low=5.0, high=150.0, adverse=-1),
}


@dataclass(frozen=True)
class Key:
    """What a reading is of: face None for the thickness and cores, direction None for the cover to
    the outermost bars and for spalling; mark : of added bars, "" for the mat's own."""

    quantity: Quantity
    face: Face | None = None
    direction: Direction | None = None
    mark: str = ""

    def __str__(self) -> str:
        where = [self.face or "", f"bars along {self.direction}" if self.direction else ""]
        where.append(f"added bars {self.mark}" if self.mark else "")
        return ", ".join(word for word in (self.quantity, *where) if word)

    @property
    def measure(self) -> Measure:
        return MEASURES[self.quantity]


@dataclass(frozen=True, kw_only=True)
class Statistics:
    """Readings of one quantity in SI; deviation: sample standard deviation, NaN of one reading."""

    n: int
    mean: float
    deviation: float
    least: float
    most: float

    @classmethod
    def of(cls, values: tuple[float, ...]) -> "Statistics":
        a = np.asarray(values)
        return cls(
            n=a.size,
            mean=float(a.mean()),
            deviation=float(a.std(ddof=1)) if a.size > 1 else float("nan"),
            least=float(a.min()),
            most=float(a.max()),
        )

    def value(self, quantity: Quantity, which: Value) -> float:
        """The mean, or the reading that lowers the capacity most."""
        if which == "mean":
            return self.mean
        return self.most if MEASURES[quantity].adverse > 0 else self.least


@dataclass(frozen=True, kw_only=True)
class PanelReadings:
    """Readings of one panel.

    readings : values in SI by what they are of; outer : outermost direction seen at a face.
    dates : days of the readings, "2026-04-18", sorted, each once. places : plan points [m] of those
    that state one. set_off : whether readings of the thickness are those of the slab's own, more or
    less by what the drawing has at their places, as in panels with several.
    """

    panel: str
    readings: Mapping[Key, tuple[float, ...]]
    outer: Mapping[Face, Direction]
    dates: tuple[str, ...] = ()
    places: tuple[tuple[float, float], ...] = ()
    set_off: bool = False

    def statistics(self) -> dict[Key, Statistics]:
        return {key: Statistics.of(values) for key, values in self.readings.items()}

    @property
    def days(self) -> str:
        """The day, or the first and the last day, of the readings; "" where none is stated."""
        return " to ".join(dict.fromkeys(self.dates[:1] + self.dates[-1:]))

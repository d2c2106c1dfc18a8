"""The hand strip that a deck was designed by, as its deck file states it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from pipelines.standards.strip_widths.method import Bars

StripPart = Literal["sagging", "hogging", "edge", "edge_hogging", "overhang", "across", "shear"]
WidthOf = Literal["axle", "wheel line", "wheel"]


@dataclass(frozen=True, kw_only=True)
class DesignStrip:
    """A method of the library, the user's own widths and values, or both.

    method : name of a set of strip methods; None = the own ones alone. name, source : of the own
    ones, for print. bars : main bars of the strip to traffic; None = along the shorter span.
    widths : own widths [m] by part, each carrying what `width_of` says; values : own moments
    [N m/m] and shear [N/m] by part, magnitudes. A part has one of the two, which stands for the
    method's.
    """

    method: str | None = None
    name: str = "own strip"
    source: str = "deck file"
    bars: Bars | None = None
    width_of: WidthOf = "axle"
    widths: Mapping[StripPart, float] = field(default_factory=dict)
    values: Mapping[StripPart, float] = field(default_factory=dict)

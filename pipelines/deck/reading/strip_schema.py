"""What a deck file may say of the hand strip that the design stands on."""

from dataclasses import dataclass
from typing import Annotated, get_args

from pipelines.deck.design_strip import WidthOf
from pipelines.deck.reading.rules import Choice, Range, Text
from pipelines.deck.reading.schema import Name, Table, entry
from pipelines.standards.strip_widths.method import Bars
from pipelines.standards.strip_widths.sets import FIRST_SET

Width = Annotated[float, Range(0.1, 50.0, "m")]
Moment = Annotated[float, Range(0.0, 1e4, "kNm/m")]
LIBRARY = ", ".join(f'"{one.name}"' for one in FIRST_SET)
NOT_OWN = "the method's, or none"


@dataclass(frozen=True)
class MethodName(Text):
    """A strip method's name; which there are is known once the whole file is."""

    longest: int = 100

    @property
    def allowed(self) -> str:
        return f"{LIBRARY}, or the name of a method that [own] strips gives"


class StripWidthsTable(Table):
    """Own widths of the strip, each carrying what width_of says."""

    sagging: Width | None = entry("For sagging in the bays.", 2.1, default=None, left_out=NOT_OWN)
    hogging: Width | None = entry(
        "For hogging over the lines.", 1.8, default=None, left_out=NOT_OWN
    )
    edge: Width | None = entry(
        "Beside free edges along the strip, for sagging and hogging.",
        1.2,
        default=None,
        left_out=NOT_OWN,
    )
    overhang: Width | None = entry(
        "On overhangs, for the hogging at their root.", 1.6, default=None, left_out=NOT_OWN
    )


class StripMomentsTable(Table):
    """Own moments of the strip per metre of width from traffic, characteristic with impact, without
    permanent loads and factors; magnitudes, also for hogging."""

    sagging: Moment | None = entry("Sagging in the bays.", 95, default=None, left_out=NOT_OWN)
    hogging: Moment | None = entry("Hogging over the lines.", 80, default=None, left_out=NOT_OWN)
    edge: Moment | None = entry("Sagging along free edges.", 110, default=None, left_out=NOT_OWN)
    edge_hogging: Moment | None = entry(
        "Hogging over the lines beside free edges.", 90, default=None, left_out=NOT_OWN
    )
    overhang: Moment | None = entry(
        "Hogging at the root of overhangs.", 60, default=None, left_out=NOT_OWN
    )
    across: Moment | None = entry(
        "Under wheels, of the bars at right angles to the strip's.",
        30,
        default=None,
        left_out=NOT_OWN,
    )


class StripTable(Table):
    """The hand strip that the design stands on: a method of the library or of [own], own widths or
    values, or a method with own ones in place of some of its own. Without the table the method that
    goes with the traffic is taken."""

    method: Annotated[str, MethodName()] | None = entry(
        "Method of the library, or one of the user's own.",
        FIRST_SET[1].name,
        default=None,
        left_out="own widths and values alone",
    )
    name: Name = entry("Name of the own strip, for print.", "sheet 12", default="own strip")
    source: Name = entry(
        "Where the own widths or values come from, for print.",
        "calculation of 1987, sheet 12",
        default="deck file",
    )
    bars: Annotated[Bars, Choice(get_args(Bars))] | None = entry(
        "Main bars of the strip: parallel to traffic or across it.",
        "parallel",
        default=None,
        left_out="along the shorter span; both where spans are alike",
    )
    width_of: Annotated[WidthOf, Choice(get_args(WidthOf))] | None = entry(
        "What an own width carries: an axle, a line of wheels (half an axle), or a wheel.",
        "axle",
        default=None,
        left_out="no own width",
    )
    width_m: StripWidthsTable | None = entry(
        "Own widths by section.", {"sagging": 2.1, "hogging": 1.8}, default=None, left_out="none"
    )
    moment_kNm_m: StripMomentsTable | None = entry(
        "Own moments by section.", {"sagging": 95, "hogging": 80}, default=None, left_out="none"
    )
    shear_kN_m: Annotated[float, Range(0.0, 1e4, "kN/m")] | None = entry(
        "Own shear beside lines per metre of width, from traffic, characteristic.",
        120,
        default=None,
        left_out="the method's, or a rule of common practice",
    )

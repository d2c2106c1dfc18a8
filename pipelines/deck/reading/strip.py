"""The hand strip of the design as the deck file states it, checked and in SI units."""

from typing import cast

from pipelines.deck.design_strip import DesignStrip, StripPart
from pipelines.deck.reading.mistakes import Mistakes, nearest
from pipelines.deck.reading.schema import Table
from pipelines.deck.reading.strip_schema import StripTable
from pipelines.standards.own.strips import OwnRules
from pipelines.standards.strip_widths.sets import FIRST_SET

WHERE = "[strip]"
LIBRARY = tuple(one.name for one in FIRST_SET)


def design_strip(table: StripTable | None, own: OwnRules, mistakes: Mistakes) -> DesignStrip | None:
    """The strip, None without one; what its keys cannot mean together goes to the mistakes.

    own : methods of the user's own, which it may name as well.
    """
    if table is None:
        return None
    methods = (*LIBRARY, *(one.name for one in own.sets))
    if table.method is not None and table.method not in methods:
        told = f"no strip method, {nearest(table.method, methods)}"
        if table.method in own.names:
            told = "gives moments; a strip of the design has widths"
        mistakes.add(f"{WHERE} method", table.method, told)
    widths = _given(table.width_m)
    values = {part: 1e3 * value for part, value in _given(table.moment_kNm_m).items()}
    if table.shear_kN_m is not None:
        values["shear"] = 1e3 * table.shear_kN_m
    if table.method is None and not widths and not values:
        needs = "is missing; give method, or own width_m, moment_kNm_m or shear_kN_m"
        mistakes.add(f"{WHERE} method", None, needs)
    if widths and table.width_of is None:
        needs = "is missing; say what a width of width_m carries: axle, wheel line or wheel"
        mistakes.add(f"{WHERE} width_of", None, needs)
    if not widths and table.width_of is not None:
        mistakes.add(f"{WHERE} width_of", table.width_of, "belongs to width_m, which is not given")
    if (widths or values) and table.name in (*LIBRARY, *own.names):
        mistakes.add(f"{WHERE} name", table.name, "is a method's; own values need another name")
    for part in widths.keys() & values.keys():
        words = "this section has a width in width_m too; give one of them"
        mistakes.add(f"{WHERE} moment_kNm_m.{part}", values[part] / 1e3, words)
    return DesignStrip(
        method=table.method,
        name=table.name,
        source=table.source,
        bars=table.bars,
        width_of=table.width_of or "axle",
        widths=widths,
        values=values,
    )


def _given(table: Table | None) -> dict[StripPart, float]:
    """The keys of a table that are given."""
    if table is None:
        return {}
    found = table.model_dump(exclude_none=True)
    return {cast(StripPart, part): float(value) for part, value in found.items()}

"""A hand method's value at a section, and how it is told as that of the strip of the run."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from pipelines.deck.design_strip import StripPart
from pipelines.deck.traffic import Direction as Travel
from pipelines.standards.sources import Mark
from pipelines.standards.strip_widths.sets import METHODS
from pipelines.strips.chosen import SHEAR_RULE, ChosenStrip
from pipelines.strips.sections import Kind, Section

# The clause of a user's own value.
OWN_VALUE = "own value"
# What a strip is called where no method has one.
NONE = "none"
_PARTS: Mapping[Kind, StripPart] = {
    "sagging": "sagging",
    "edge": "edge",
    "edge hogging": "edge_hogging",
    "edge face": "edge_hogging",
    "transverse": "across",
    "shear": "shear",
}


@dataclass(frozen=True, kw_only=True)
class HandStrip:
    """A hand method's value at a section; units and None as in `Finding`.

    reason : why there is no value, or why it cannot stand beside the plate's.
    place, lines : in words and by name where they differ from the section's.
    station, direction : of the governing load position on the strip.
    mark, note : of the method, how far it is to be trusted and what to know before; "" without one.
    chosen : whether it is the strip that the run is about (`strips.chosen`), not one beside it.
    """

    strip: str
    clause: str
    edition: str
    span: float | None
    width: float | None
    width_of: str
    effect: str
    value: float | None
    reason: str
    place: str = ""
    lines: tuple[str, ...] = ()
    station: float | None = None
    direction: Travel | None = None
    mark: Mark | Literal[""] = ""
    note: str = ""
    chosen: bool = False


def as_chosen(hand: HandStrip, section: Section, chosen: ChosenStrip) -> HandStrip:
    """The value at a section told as that of the chosen strip where it is, with the user's own in
    its place where there is one."""
    mine = chosen.name
    if section.kind == "shear":
        mine = (chosen.strips.shear or METHODS[SHEAR_RULE]).standard
    if hand.strip not in (mine, NONE):
        return hand
    hand = replace(hand, chosen=True)
    part = _part(section, overhang=hand.effect == "overhang")
    if chosen.stated is None or part is None or part not in chosen.stated.values:
        return hand
    value = chosen.stated.values[part]
    return replace(
        hand,
        strip=chosen.stated.name,
        clause=OWN_VALUE,
        edition="",
        width=None,
        width_of="",
        # Shears are magnitudes.
        value=value if part == "shear" else section.sign * value,
        reason="",
        station=None,
        direction=None,
        mark="",
        note=chosen.stated.source,
    )


def _part(section: Section, *, overhang: bool) -> StripPart | None:
    """Which of the user's own values a section has; None for one that has none."""
    if section.kind in ("hogging", "face"):
        return "overhang" if overhang else "hogging"
    return _PARTS.get(section.kind)

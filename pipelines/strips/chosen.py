"""The strip that a run is about: the one that the design stands on, as the deck file states it, or
where it does not, the method of the library that goes with the deck and its traffic, and why."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import NoReturn

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.deck.design_strip import DesignStrip, StripPart
from pipelines.deck.traffic import Traffic
from pipelines.errors import MethodRangeError
from pipelines.standards.actions.load_models import family_of
from pipelines.standards.sources import Standard
from pipelines.standards.strip_widths.method import Bars, Effect, StripInput, StripMethod, near_edge
from pipelines.standards.strip_widths.sets import FIRST_SET, Share, StripSet
from pipelines.strips.methods import all_sets, goes_with
from pipelines.traffic.positions import dispersed
from plate.arrays import Floats

_AASHTO, _HEFT_240, _IRC = FIRST_SET
_OF_FAMILY: Mapping[Standard, StripSet] = MappingProxyType(
    {"AASHTO LRFD": _AASHTO, "EN 1992": _HEFT_240, "IRC:112": _IRC}
)
# Beside every method: few have a width for shear of their own, and that of Heft 240 ends at wheels
# of a fifth of the span.
SHEAR_RULE = "shear-45-far-side"
_EFFECTS: Mapping[StripPart, Effect] = MappingProxyType(
    {"sagging": "sagging", "hogging": "hogging", "edge": "edge", "overhang": "overhang"}
)
OWN = "own width"


@dataclass(frozen=True, kw_only=True)
class ChosenStrip:
    """The strip that the findings under a load are about.

    strips : its widths; stated : what the deck file has, None where the tool chose. why : of the
    choice, in words.
    """

    strips: StripSet
    stated: DesignStrip | None
    why: str

    @property
    def name(self) -> str:
        return self.strips.name


def chosen_strip(deck: Deck, load: str) -> ChosenStrip:
    """The strip under a vehicle or load model of the deck's traffic."""
    stated = deck.strip
    if stated is None:
        strips, why = _fitting(deck, load)
        return ChosenStrip(strips=strips, stated=None, why=why)
    base = next((one for one in all_sets(deck) if one.name == stated.method), None)
    why = "stated in [strip] of the deck file"
    if base in FIRST_SET and base is not None and not goes_with(base.name, load):
        why += "; its widths are made for the loads of another standard"
    strips = _stated_set(deck.required_traffic, deck.slab.thickness, stated, base)
    return ChosenStrip(strips=strips, stated=stated, why=why)


def _fitting(deck: Deck, load: str) -> tuple[StripSet, str]:
    """The method that goes with a load, and why."""
    traffic = deck.required_traffic
    own = family_of(load)
    if own is not None:
        return _OF_FAMILY[own], f"its widths go with the loads of {load}"
    models, vehicles = traffic.load_models, traffic.vehicles
    for other in [*(model.name for model in models), *(one.name for one in vehicles)]:
        family = family_of(other)
        if family is not None:
            words = f"its widths go with the other traffic of the deck, {other}"
            return _OF_FAMILY[family], words
    if deck.reinforcement is not None:
        standard = deck.reinforcement.bases[0].materials.standard
        words = f"the traffic is of no standard, the bars are checked to {standard}"
        return _OF_FAMILY[standard], words
    return _HEFT_240, "the traffic is of no standard, and its widths are for any wheel"


def _stated_set(
    traffic: Traffic, depth: float, stated: DesignStrip, base: StripSet | None
) -> StripSet:
    """The widths of a stated strip: the method's, with own ones in their place."""
    if base is not None and not stated.widths and not stated.values:
        return base

    def method(part: StripPart, of_base: StripMethod | None) -> StripMethod:
        if of_base is not None and part not in stated.widths:
            return of_base
        return _own_method(stated, part)

    def patch(one: StripInput) -> tuple[float, float]:
        return dispersed(one.contact, traffic, depth)

    if base is None or "edge" in stated.widths:
        edge = _own_method(stated, "edge")
        edges: Mapping[Bars, StripMethod] = MappingProxyType({"parallel": edge, "across": edge})
    else:
        edges = base.edge
    own = StripSet(
        name=stated.name,
        sagging=method("sagging", None if base is None else base.sagging),
        hogging=method("hogging", None if base is None else base.hogging),
        overhang=method("overhang", None if base is None else base.overhang),
        edge=edges,
        edge_from="rail",
        width_of="section",
        patch=patch,
        share=Share("", "from memory", _no_share),
    )
    if base is None:
        return own
    edge_from = "rail" if "edge" in stated.widths else base.edge_from
    return replace(
        own,
        edge_from=edge_from,
        width_of=base.width_of,
        patch=base.patch,
        share=base.share,
        shear=base.shear,
    )


def _own_method(stated: DesignStrip, part: StripPart) -> StripMethod:
    """A width of the user's own, or a method that says that there is none."""
    given = stated.widths.get(part)

    def width(one: StripInput) -> Floats:
        if given is None:
            raise MethodRangeError(f"[strip] has no width for this section ({part})")
        wide = np.full(np.shape(one.position), given)
        return wide if part == "edge" else near_edge(wide, one, f"{stated.name}, {part}")

    return StripMethod(
        standard=stated.name,
        edition="",
        clause=OWN,
        mark="",
        effect=_EFFECTS[part],
        bars="either",
        per=stated.width_of,
        span="as drawn",
        width=width,
        note=stated.source,
    )


def _no_share(one: StripInput) -> NoReturn:
    raise MethodRangeError("[strip] has no moment for this section (across)")

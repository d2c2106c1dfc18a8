"""The strip library: every hand method by its key, and the first set that the report shows.

A method says what carries a wheel (`StripMethod`); a set says how one standard puts a moving
vehicle on a strip: the widths for sagging, hogging and overhangs, and the loaded length.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from pipelines import (
    strips_aashto,
    strips_heft240,
    strips_irc,
    strips_other,
    strips_shear,
)
from pipelines.strips_input import StripInput, StripMethod

METHODS: Mapping[str, StripMethod] = MappingProxyType(
    strips_aashto.METHODS
    | strips_heft240.METHODS
    | strips_irc.METHODS
    | strips_other.METHODS
    | strips_shear.METHODS
)


@dataclass(frozen=True)
class StripSet:
    """How one standard takes a moving vehicle on a continuous strip along traffic.

    length : loaded length of an axle along the strip [m]; length_rule says it in words.
    width_of : whether one width belongs to the section and carries every axle, or each load has
        the width of its own place in its span.
    """

    name: str
    sagging: StripMethod
    hogging: StripMethod
    overhang: StripMethod
    width_of: Literal["section", "load"]
    length: Callable[[StripInput], float]
    length_rule: str


# Bars parallel to traffic on cross beams: the LRFD table gives concrete decks one width for both
# directions, so its +M and -M strips apply, carrying an axle each, up to 15 ft of span (4.6.2.3
# beyond). Table A4-1 does not: it is computed for transverse strips on girders.
FIRST_SET: tuple[StripSet, ...] = (
    StripSet(
        name=strips_aashto.LRFD,
        sagging=strips_aashto.LRFD_SAGGING,
        hogging=strips_aashto.LRFD_HOGGING,
        overhang=strips_aashto.LRFD_OVERHANG,
        width_of="section",
        length=lambda one: one.contact[0] + one.depth,
        length_rule="tyre contact and slab depth (4.6.2.1.6)",
    ),
    StripSet(
        name=strips_heft240.NAME,
        sagging=strips_heft240.SAGGING,
        hogging=strips_heft240.HOGGING,
        overhang=strips_heft240.CANTILEVER,
        width_of="load",
        length=lambda one: strips_heft240.loaded(one)[0],
        length_rule="contact, 45 degrees through surfacing to mid-depth",
    ),
    StripSet(
        name=f"{strips_irc.NAME} annex B-3",
        sagging=strips_irc.SAGGING,
        hogging=strips_irc.HOGGING,
        overhang=strips_irc.CANTILEVER,
        width_of="load",
        length=strips_irc.loaded_length,
        length_rule="contact, 45 degrees through wearing coat and slab to the soffit",
    ),
)

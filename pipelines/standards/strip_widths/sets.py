"""The strip library: every hand method by its key, and the first set that the report shows.

A method says what carries a wheel (`StripMethod`); a set says how one standard puts a moving
vehicle on a strip: the widths for sagging, hogging and overhangs, and the loaded length.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from pipelines.standards.sources import Mark
from pipelines.standards.strip_widths import aashto as strips_aashto
from pipelines.standards.strip_widths import heft240 as strips_heft240
from pipelines.standards.strip_widths import irc as strips_irc
from pipelines.standards.strip_widths import shear as strips_shear
from pipelines.standards.strip_widths import westergaard as strips_other
from pipelines.standards.strip_widths.aashto_table import DECK_TABLE
from pipelines.standards.strip_widths.method import FOOT, Bars, StripInput, StripMethod

METHODS: Mapping[str, StripMethod] = MappingProxyType(
    strips_aashto.METHODS
    | {"aashto-lrfd-deck-table": DECK_TABLE}
    | strips_heft240.METHODS
    | strips_irc.METHODS
    | strips_other.METHODS
    | strips_shear.METHODS
)


@dataclass(frozen=True)
class Share:
    """Moment of the bars at right angles to the strip's as a share of the strip's own.

    The codes give it as steel; lever arms are left out. clause, mark : where it comes from. of :
    the share for a span.
    """

    clause: str
    mark: Mark
    of: Callable[[StripInput], float]


@dataclass(frozen=True, kw_only=True)
class StripSet:
    """How one standard takes a moving vehicle on a continuous strip.

    edge : the rule for a strip along a free edge, by the direction of the bars; edge_from : what
        its distance is to: the nearest wheel's centre, or the barrier (bars parallel) and the
        first line that carries the edge (bars across).
    patch : loaded sides of a wheel along and across the strip [m] that go with the widths.
    width_of : whether one width belongs to the section and carries every axle, or each load has
        the width of its own place in its span.
    share : for the transverse moment under wheels.
    shear : a rule of its own for shear beside lines, None = those of `METHODS`.
    """

    name: str
    sagging: StripMethod
    hogging: StripMethod
    overhang: StripMethod
    edge: Mapping[Bars, StripMethod]
    edge_from: Literal["wheel", "rail"]
    width_of: Literal["section", "load"]
    patch: Callable[[StripInput], tuple[float, float]]
    share: Share
    shear: StripMethod | None = None

    def method(self, bars: Bars, *, hogging: bool, edge: bool) -> StripMethod:
        """The rule for a bay or over a line, within the slab or along a free edge.

        A rule of its own for edges gives one width for both signs; else a width is cut at the
        edge (`near_edge`), that for hogging over a line.
        """
        if edge and (self.edge_from == "rail" or not hogging):
            return self.edge[bars]
        return self.hogging if hogging else self.sagging

    def length(self, axle: StripInput) -> float:
        """Loaded length along the strip [m]."""
        return self.patch(axle)[0]


@dataclass(frozen=True)
class _Fixed:
    """The same share for every span."""

    value: float

    def __call__(self, _: StripInput) -> float:
        return self.value


def _lrfd_patch(one: StripInput) -> tuple[float, float]:
    return one.contact[0] + one.depth, one.contact[1] + one.depth


def _irc_patch(one: StripInput) -> tuple[float, float]:
    return strips_irc.loaded_length(one), strips_irc.breadth(one)


def _lrfd_share(axle: StripInput) -> float:
    """100 / sqrt(S) <= 50 % bars parallel to traffic, 220 / sqrt(S) <= 67 % across, S in ft."""
    root = math.sqrt(axle.span / FOOT)
    return min(1.0 / root, 0.5) if axle.bars == "parallel" else min(2.2 / root, 0.67)


# Bars parallel to traffic on cross beams: the LRFD table gives concrete decks one width for both
# directions, so its +M and -M strips apply, carrying an axle each, up to 15 ft of span (4.6.2.3
# beyond). Table A4-1 does not: it is computed for transverse strips on girders, where it stands
# beside the strips (`hand_values`).
FIRST_SET: tuple[StripSet, ...] = (
    StripSet(
        name=strips_aashto.LRFD,
        sagging=strips_aashto.LRFD_SAGGING,
        hogging=strips_aashto.LRFD_HOGGING,
        overhang=strips_aashto.LRFD_OVERHANG,
        edge=MappingProxyType(
            {
                "parallel": METHODS["aashto-lrfd-longitudinal-edge"],
                "across": METHODS["aashto-lrfd-transverse-edge"],
            }
        ),
        edge_from="rail",
        width_of="section",
        patch=_lrfd_patch,
        share=Share("9.7.3.2", "from memory", _lrfd_share),
    ),
    StripSet(
        name=strips_heft240.NAME,
        sagging=strips_heft240.SAGGING,
        hogging=strips_heft240.HOGGING,
        overhang=strips_heft240.CANTILEVER,
        edge=MappingProxyType(
            {"parallel": strips_heft240.SAGGING, "across": strips_heft240.SAGGING}
        ),
        edge_from="wheel",
        width_of="load",
        patch=strips_heft240.loaded,
        share=Share("DIN 1045:1988 20.1.6.3", "from memory", _Fixed(0.6)),
    ),
    StripSet(
        name=f"{strips_irc.NAME} annex B-3",
        sagging=strips_irc.SAGGING,
        hogging=strips_irc.HOGGING,
        overhang=strips_irc.CANTILEVER,
        edge=MappingProxyType({"parallel": strips_irc.SAGGING, "across": strips_irc.SAGGING}),
        edge_from="wheel",
        width_of="load",
        patch=_irc_patch,
        share=Share("0.3 of the live-load moment, IRC:21 305.18", "from memory", _Fixed(0.3)),
    ),
)

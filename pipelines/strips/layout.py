"""Where a strip lies on its deck: s counts along it and t across it [m].

On a plan with C and L lines a strip along traffic has stations for s and offsets for t, a strip
across it the other way round; on a plan of any outline see `pipelines.strips.ruled`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from pipelines.deck.deck import Deck
from pipelines.errors import MethodRangeError
from pipelines.standards.strip_widths.method import Bars
from plate.arrays import Floats

WORDS = {"parallel": ("along", "cross"), "across": ("across", "longitudinal")}


class StripLayout(Protocol):
    """A strip's own coordinates and the lines and edges beside it.

    lines : s of the lines across the strip that may carry it, by name. extent : s of its ends.
    width : of the slab across it. skew : of the lines that carry it [rad]. edges : names of the
    slab's edges along it, at the lowest and highest t; ends : of those at its own ends. piece :
    length of t over which field points stand in a row of one s, inf where all of them do [m].
    """

    @property
    def piece(self) -> float: ...

    @property
    def lines(self) -> Mapping[str, float]: ...

    @property
    def extent(self) -> tuple[float, float]: ...

    @property
    def width(self) -> float: ...

    @property
    def skew(self) -> float: ...

    @property
    def edges(self) -> tuple[str, str]: ...

    @property
    def ends(self) -> tuple[str, str]: ...

    def coordinates(self, plan: Floats) -> tuple[Floats, Floats]:
        """s and t (n,) of plan points (n, 2)."""

    def points(self, s: Floats, t: Floats) -> Floats:
        """Plan points (..., 2) of s and t (...,)."""

    def to_edges(self, plan: Floats) -> tuple[Floats, Floats]:
        """Distances (n,) of plan points (n, 2) from the edges along the strip [m]."""

    def to_ends(self, plan: Floats) -> tuple[Floats, Floats]:
        """Distances (n,) of plan points (n, 2) from the edges at the strip's own ends [m]."""

    def t_range(self, s: float) -> tuple[float, float]:
        """t of the slab's edges at s [m]."""

    def stiffening(self, edge: str) -> float:
        """Distance from an edge along the strip to the first line that supports or stiffens it [m];
        inf without one."""

    def edge_offset(self, edge: str) -> float:
        """t of an edge along the strip where it comes nearest to its middle [m]."""


@dataclass(frozen=True, eq=False)
class GridLayout:
    """A strip on a plan with C and L lines."""

    deck: Deck
    bars: Bars
    piece: float = np.inf

    @property
    def along(self) -> bool:
        return self.bars == "parallel"

    @property
    def lines(self) -> Mapping[str, float]:
        start, end = self.extent
        if self.along:
            named = {f"C{i + 1}": at for i, at in enumerate(self.deck.stations)}
            return named | {"start": start, "end": end}
        named = {f"L{j + 1}": at for j, at in enumerate(self.deck.offsets)}
        return named | {"left": start, "right": end}

    @property
    def extent(self) -> tuple[float, float]:
        plan = self.deck.plan
        if self.along:
            return plan.u_range
        offsets = plan.line_offsets(np.array(plan.u_range[0]))
        return float(offsets[0]), float(offsets[-1])

    @property
    def width(self) -> float:
        plan = self.deck.plan
        low, high = plan.u_range
        if not self.along:
            return high - low
        offsets = plan.line_offsets(np.array([low, high]))
        return float(np.min(offsets[:, -1] - offsets[:, 0]))

    @property
    def skew(self) -> float:
        return self.deck.plan.skew

    @property
    def edges(self) -> tuple[str, str]:
        return ("left", "right") if self.along else ("start", "end")

    @property
    def ends(self) -> tuple[str, str]:
        return ("start", "end") if self.along else ("left", "right")

    def coordinates(self, plan: Floats) -> tuple[Floats, Floats]:
        u, y = self.deck.plan.logical_station(plan), np.asarray(plan)[..., 1]
        return (u, y) if self.along else (y, u)

    def points(self, s: Floats, t: Floats) -> Floats:
        return self.deck.plan.at(s, t) if self.along else self.deck.plan.at(t, s)

    def to_edges(self, plan: Floats) -> tuple[Floats, Floats]:
        s, t = self.coordinates(plan)
        if self.along:
            offsets = self.deck.plan.line_offsets(s)
            return t - offsets[:, 0], offsets[:, -1] - t
        low, high = self.deck.plan.u_range
        return t - low, high - t

    def to_ends(self, plan: Floats) -> tuple[Floats, Floats]:
        s, (start, end) = self.coordinates(plan)[0], self.extent
        return np.abs(s - start), np.abs(s - end)

    def t_range(self, s: float) -> tuple[float, float]:
        if not self.along:
            return self.deck.plan.u_range
        offsets = self.deck.plan.line_offsets(np.array(s))
        return float(offsets[0]), float(offsets[-1])

    def stiffening(self, edge: str) -> float:
        deck = self.deck
        if deck.line(edge) is not None:
            return 0.0
        letter, places = ("L", deck.offsets) if self.along else ("C", deck.stations)
        names = [f"{letter}{k + 1}" for k in range(len(places))]
        if edge in ("right", "end"):
            names, places = names[::-1], places[::-1]
        for name, at in zip(names, places, strict=True):
            if deck.line(name) is not None:
                return float(deck.plan.overhang[edge] + abs(at - places[0]))
        return np.inf

    def edge_offset(self, edge: str) -> float:
        plan = self.deck.plan
        if not self.along:
            return plan.u_range[0 if edge == "start" else 1]
        offsets = plan.line_offsets(np.array(plan.u_range))
        return float(offsets[:, 0].max() if edge == "left" else offsets[:, -1].min())


def grid_layout(deck: Deck, bars: Bars) -> GridLayout:
    """The layout on a plan with C and L lines. Raises MethodRangeError across L lines that are not
    parallel."""
    if bars == "across" and deck.plan.end_offsets != deck.plan.offsets:
        raise MethodRangeError("a strip across the deck needs parallel L lines, here they taper")
    return GridLayout(deck, bars)

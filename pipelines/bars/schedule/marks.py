"""Bars as they are bent and placed: shapes, dimensions, cut lengths, marks and weights.

Shape codes of ISO 3766: 00 straight, 21 two bends of 90 degrees to one side (a U-bar), 67 bent to
an arc. Dimensions are from outside to outside, the cut length is that of the bar's axis.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, floor, pi
from typing import Literal

import numpy as np

from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import Layer, SlabBars
from pipelines.standards.sources import Source, Standard
from plate.arrays import Floats

Shape = Literal["00", "21", "67"]
Use = Literal["mat", "added", "U-bar", "edge bar", "trimmer", "diagonal"]

SHAPES = Source(None, "ISO 3766: shape codes 00, 21, 67, their dimensions a, b, c, R")
STEEL = 7850.0  # kg/m3, EN 10080 (from memory)
STEP = 0.005  # of cut lengths [m]
SLACK = 1e-6
BESIDE = 0.5  # of a bar, along which its neighbour lies


def up(value: float) -> float:
    """To the next 5 mm."""
    return ceil(value / STEP - SLACK) * STEP


def down(value: float) -> float:
    """To the last 5 mm: ends keep their cover."""
    return floor(value / STEP + SLACK) * STEP


def u_length(leg: float, height: float, diameter: float, radius: float) -> float:
    """Length [m] of the axis of a U-bar whose legs and height are from outside to outside."""
    corner = radius + diameter  # of each leg, and of the height, that a bend takes
    return 2.0 * leg + height - 4.0 * corner + pi * (radius + diameter / 2)


@dataclass(frozen=True, eq=False)
class PlacedBar:
    """One bar. path : plan points (n, 2) from its first end to its last, of a U-bar from the bend
    to the ends of its legs; cut : its cut length [m]; across : its place across the bars [m]."""

    path: Floats
    cut: float
    across: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Mark:
    """Bars that are bent alike, or in lengths that run from one to another.

    layers : that they lie in, both of a U-bar; thickness : of the slab at whose level those of the
    bottom lie [m]; of : mark of added bars, edge or opening; spacing :
    across the bars [m], 0 = by number; a, b, c : None where the shape or a series has none;
    radius : inside of bends, or of the axis of an arc, from the smallest to the largest.
    ranges : the bars that lie side by side, over which one that is drawn stands for all.
    """

    number: int
    use: Use
    layers: tuple[Layer, ...]
    thickness: float
    of: str
    diameter: float
    spacing: float
    shape: Shape
    a: float | None
    b: float | None
    c: float | None
    radius: tuple[float, float] | None
    ranges: tuple[tuple[PlacedBar, ...], ...]

    @property
    def bars(self) -> tuple[PlacedBar, ...]:
        """All of them."""
        return tuple(bar for one in self.ranges for bar in one)

    @property
    def lengths(self) -> Mapping[float, int]:
        """How many bars have each cut length [m], the longest first."""
        return dict(sorted(Counter(round(bar.cut, 3) for bar in self.bars).items(), reverse=True))

    @property
    def total(self) -> float:
        """Sum of the cut lengths [m]."""
        return sum(length * n for length, n in self.lengths.items())

    @property
    def mass(self) -> float:
        """[kg]"""
        return STEEL * pi / 4 * self.diameter**2 * self.total


@dataclass(frozen=True, kw_only=True)
class LayerLaps:
    """Laps of one layer. length : of a lap, `by` which standard; sets : the bars of the slab with
    what lies in this layer alone and with what is added to it; highest : utilisation of the
    layer in bending at its laps, None where no bar is lapped; too_long : lines of bars longer than
    the stock length, without room for laps."""

    layer: Layer
    length: float
    by: Standard
    sets: tuple[SlabBars, ...]
    highest: float | None
    too_long: int


@dataclass(frozen=True, kw_only=True)
class EndAnchorage:
    """Bars at an edge past the face of the first line that supports them: straight length that they
    need and the room there is to their end [m], `used` of their design stress at the face with the
    tension shift."""

    edge: str
    line: str
    layer: Layer
    standard: Standard
    used: float
    needed: float
    room: float
    source: Source

    @property
    def holds(self) -> bool:
        return self.needed <= self.room + SLACK


@dataclass(frozen=True, kw_only=True)
class TurnedEnd:
    """Bars at an edge round which U-bars go: of what they carry, their own straight length to the
    edge anchors a part, the U-bars the rest.

    at : distances from the bars' end [m]; used : share of their design stress there, with the
    tension shift. bond : length that anchors them [m]; lap : the same with a U-bar, and the least
    of it [m]; steel : of the bars [m2/m], diameter : of the thickest [m].
    """

    edge: str
    layer: Layer
    standard: Standard
    at: tuple[float, ...]
    used: tuple[float, ...]
    bond: float
    lap: tuple[float, float]
    steel: float
    diameter: float
    source: Source

    @property
    def rest(self) -> tuple[float, ...]:
        """Share of the design stress that is left to the U-bars, at every distance."""
        pairs = zip(self.at, self.used, strict=True)
        return tuple(max(min(used, 1.0) - s / self.bond, 0.0) for s, used in pairs)

    def laps(self, leg: float, weaker: float = 1.0) -> tuple[float, float]:
        """Length that the rest needs and what is left of the legs, where that is worst [m];
        weaker : by how much longer laps are, for U-bars of less steel."""
        least = self.lap[1], leg
        rest = zip(self.at, self.rest, strict=True)
        needed = [(self.lap[0] * weaker * share, leg - s) for s, share in rest if share > 0.0]
        return max((least, *needed), key=lambda pair: pair[0] / max(pair[1], SLACK))

    def holds(self, leg: float, weaker: float = 1.0) -> bool:
        """Whether U-bars do with such legs [m]."""
        needed, there = self.laps(leg, weaker)
        return needed <= there + SLACK


@dataclass(frozen=True, eq=False, kw_only=True)
class Schedule:
    """All bars of the slab. stock : longest bar [m]; area, volume : of the slab [m2], [m3];
    turned : ends at edges with U-bars;
    anchorage : how ends and laps are judged, by standard."""

    marks: tuple[Mark, ...]
    laps: tuple[LayerLaps, ...]
    ends: tuple[EndAnchorage, ...]
    turned: tuple[TurnedEnd, ...]
    stock: float
    area: float
    volume: float
    anchorage: Mapping[Standard, tuple[Row, ...]]

    @property
    def by_diameter(self) -> Mapping[float, float]:
        """Mass of every diameter [kg]."""
        found: dict[float, float] = {}
        for mark in self.marks:
            found[mark.diameter] = found.get(mark.diameter, 0.0) + mark.mass
        return dict(sorted(found.items()))

    @property
    def mass(self) -> float:
        return sum(self.by_diameter.values())


def side_by_side(bars: Sequence[PlacedBar]) -> tuple[tuple[PlacedBar, ...], ...]:
    """Bars in ranges: each lies next to the one before and along most of it."""
    ordered = sorted(bars, key=lambda bar: bar.across)
    steps = np.diff([bar.across for bar in ordered])
    apart = float(steps[steps > SLACK].min()) if (steps > SLACK).any() else 0.0
    run = ordered[0].path[-1] - ordered[0].path[0]
    run = run / np.linalg.norm(run)
    found: list[list[PlacedBar]] = []
    for bar in ordered:
        for one in found:
            gap = bar.across - one[-1].across
            if SLACK < gap < 1.5 * apart and _shared(one[-1], bar, run) > BESIDE:
                one.append(bar)
                break
        else:
            found.append([bar])
    return tuple(tuple(one) for one in found)


def _shared(one: PlacedBar, other: PlacedBar, run: Floats) -> float:
    """Share of the longer bar along which both lie."""
    (a, b), (c, d) = (np.sort(bar.path[[0, -1]] @ run).tolist() for bar in (one, other))
    return float((min(b, d) - max(a, c)) / max(b - a, d - c))


def numbered(marks: Sequence[Mark]) -> tuple[Mark, ...]:
    """The marks from 1, bars of one layer and use that are bent alike under one of them."""
    alike: dict[object, Mark] = {}
    for mark in marks:
        lengths = tuple(mark.lengths)
        own = len(lengths) > 1
        bent = (mark.diameter, mark.shape, mark.b, mark.radius, lengths)
        key = (mark.use, mark.layers, mark.thickness, mark.of, *bent, id(mark) if own else 0)
        before = alike.get(key)
        if before is not None:
            mark = replace(before, ranges=before.ranges + mark.ranges)
        alike[key] = mark
    return tuple(replace(mark, number=k) for k, mark in enumerate(alike.values(), start=1))

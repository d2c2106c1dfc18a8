"""Strips on a plan of any outline: over named straight lines that cross the carriageway, or over
named girders that run along it.

A strip follows a guide, s being the length along it: along traffic the middle of the carriageway,
across traffic the line at a right angle to it at mid-length. Between two neighbouring lines the
slab is ruled by straight lines that turn evenly from the one into the other; t is counted on these
from the guide, per metre at a right angle to it, as offsets are on a skew deck.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from pipelines.deck.deck import Deck
from pipelines.standards.strip_widths.method import Bars
from plate.arrays import Floats
from plate.geometry.curves import Curve, distance, sampled
from plate.geometry.outline import FINE

# Lines that meet the guide at less than this angle run along the strip [rad].
CROSSING = np.radians(45.0)
# Points that read a section beside a line are taken from every piece of so much t [m].
PIECE = 0.3
# Places at which the slab's width is taken.
WIDTHS = 24
ON = 1e-6  # m


@dataclass(frozen=True, eq=False, kw_only=True)
class Crossed:
    """A straight line where it crosses the guide.

    s : there, at : the point (2,) [m]; guide : unit vector of growing s; along : (2,) by which the
    line goes on for each metre of t; ends : t of its two ends, lower first.
    """

    name: str
    s: float
    at: Floats
    guide: Floats
    along: Floats
    ends: tuple[float, float]


@dataclass(frozen=True, eq=False, kw_only=True)
class RuledLayout:
    """The layout of a strip over crossed lines, in order of s; see `layout.StripLayout`.

    middle : t at the guide; low, high : the slab's edges along the strip on either side of it by
    their names; start, end : those across it at its ends.
    """

    deck: Deck
    bars: Bars
    crossed: tuple[Crossed, ...]
    extent: tuple[float, float]
    middle: float
    low: Mapping[str, Curve]
    high: Mapping[str, Curve]
    start: Mapping[str, Curve]
    end: Mapping[str, Curve]
    piece: float = PIECE

    @property
    def lines(self) -> Mapping[str, float]:
        return {one.name: one.s for one in self.crossed}

    @property
    def skew(self) -> float:
        """The largest of any line [rad]."""
        return max(abs(float(np.arctan(one.along @ one.guide))) for one in self.crossed)

    @cached_property
    def width(self) -> float:
        places = np.linspace(self.crossed[0].s, self.crossed[-1].s, WIDTHS + 2)[1:-1]
        ranges = np.array([self.t_range(s) for s in places.tolist()])
        return float(np.diff(ranges, axis=1).min())

    @property
    def edges(self) -> tuple[str, str]:
        return ("left", "right") if self.bars == "parallel" else ("start", "end")

    @property
    def ends(self) -> tuple[str, str]:
        return ("start", "end") if self.bars == "parallel" else ("left", "right")

    def coordinates(self, plan: Floats) -> tuple[Floats, Floats]:
        plan = np.asarray(plan, dtype=float)
        passed = sum(
            (cross(one.along, plan - one.at) * cross(one.along, one.guide) > 0.0).astype(int)
            for one in self.crossed
        )
        s, t = np.empty(len(plan)), np.empty(len(plan))
        for number in np.unique(passed).tolist():
            mine = passed == number
            if 0 < number < len(self.crossed):
                s[mine], t[mine] = self._in_bay(number - 1, plan[mine])
            else:
                s[mine], t[mine] = self._beyond(self.crossed[0 if number == 0 else -1], plan[mine])
        return s, t

    def _in_bay(self, bay: int, plan: Floats) -> tuple[Floats, Floats]:
        """s and t of points between two lines: on a ruling at a share f of the way from the first
        to the second, a root of a quadratic."""
        one, two = self.crossed[bay], self.crossed[bay + 1]
        a, e, p = two.at - one.at, two.along - one.along, plan - one.at
        c0, c1 = cross(p, one.along), cross(p, e) - cross(a, one.along)
        root = np.sqrt(np.maximum(c1 * c1 + 4.0 * cross(a, e) * c0, 0.0))
        f = -2.0 * c0 / (c1 + np.copysign(root, c1))
        ruling, away = one.along + f[:, None] * e, p - f[:, None] * a
        t = np.sum(away * ruling, axis=1) / np.sum(ruling * ruling, axis=1)
        return one.s + f * (two.s - one.s), self.middle + t

    def _beyond(self, line: Crossed, plan: Floats) -> tuple[Floats, Floats]:
        """s and t of points beyond an outermost line, by parallels to it."""
        p, turn = plan - line.at, cross(line.along, line.guide)
        return line.s + cross(line.along, p) / turn, self.middle - cross(line.guide, p) / turn

    def points(self, s: Floats, t: Floats) -> Floats:
        s, t = np.broadcast_arrays(np.asarray(s, dtype=float), np.asarray(t, dtype=float))
        at, along = self.rulings(s)
        return np.asarray(at + (t - self.middle)[..., None] * along)

    def rulings(self, s: Floats) -> tuple[Floats, Floats]:
        """Points of the guide, and what a ruling goes on by for each metre of t, (..., 2)."""
        places = np.array([one.s for one in self.crossed])
        first, last = self.crossed[0], self.crossed[-1]
        inner = np.clip(s, places[0], places[-1])
        at, along = (
            np.stack([np.interp(inner, places, column) for column in rows.T], axis=-1)
            for rows in (
                np.array([one.at for one in self.crossed]),
                np.array([one.along for one in self.crossed]),
            )
        )
        before, after = np.minimum(s - places[0], 0.0), np.maximum(s - places[-1], 0.0)
        return at + before[..., None] * first.guide + after[..., None] * last.guide, along

    def to_edges(self, plan: Floats) -> tuple[Floats, Floats]:
        return distance(self.low.values(), plan), distance(self.high.values(), plan)

    def to_ends(self, plan: Floats) -> tuple[Floats, Floats]:
        return distance(self.start.values(), plan), distance(self.end.values(), plan)

    def t_range(self, s: float) -> tuple[float, float]:
        for one in self.crossed:
            if abs(s - one.s) < ON:
                return one.ends
        # A ruling along the slab's own edge is taken just beside it.
        s = float(np.clip(s, self.extent[0] + ON, self.extent[1] - ON))
        at, along = self.rulings(np.array(s))
        far = float(np.ptp(self.deck.plan.outline, axis=0).sum()) / float(np.hypot(*along))
        ruling = shapely.LineString([at - far * along, at + far * along])
        pieces = shapely.get_parts(outer(self.deck).intersection(ruling))
        piece = min(pieces, key=shapely.Point(at).distance)
        t = (shapely.get_coordinates(piece)[[0, -1]] - at) @ along / (along @ along)
        return self.middle + float(t.min()), self.middle + float(t.max())

    def stiffening(self, edge: str) -> float:
        beside = self.low if edge == self.edges[0] else self.high
        if all(self.deck.line(name) is not None for name in beside):
            return 0.0
        found = [np.inf]
        for line in self.deck.lines:
            curves = self.deck.plan.lines[line.name].course()
            curve = curves[len(curves) // 2]
            s, t = self.coordinates(curve.at(0.5)[None])
            if line.name in self.lines or line.name in {*self.low, *self.high}:
                continue
            if self.runs_along(s, curve.tangent(0.5)) and (t[0] < self.middle) == (
                beside is self.low
            ):
                found.append(float(distance(beside.values(), curve.at(0.5))))
        return min(found)

    def runs_along(self, s: Floats, tangent: Floats) -> bool:
        """Whether a direction (2,) at s (1,) is that of the strip rather than of lines across."""
        along = self.rulings(s)[1][0]
        return bool(abs(tangent @ along) < np.cos(CROSSING) * np.hypot(*along))

    def edge_offset(self, edge: str) -> float:
        beside = self.low if edge == self.edges[0] else self.high
        _, t = self.coordinates(np.concatenate([sampled([c], FINE) for c in beside.values()]))
        return float(t.max() if beside is self.low else t.min())


def outer(deck: Deck) -> shapely.Polygon:
    """The slab without its openings."""
    return shapely.Polygon(sampled(deck.plan.boundary[0], FINE))


def cross(a: Floats, b: Floats) -> Floats:
    """Cross products (...,) of vectors (..., 2)."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])

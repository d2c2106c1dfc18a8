"""Which lines of a plan of any outline a strip crosses, and the layout that they give it."""

import itertools
from collections.abc import Sequence

import numpy as np
import shapely

from pipelines.deck.deck import Deck
from pipelines.deck.words import line_title
from pipelines.errors import MethodRangeError
from pipelines.standards.strip_widths.method import Bars
from pipelines.strips.layout import WORDS
from pipelines.strips.ruled import CROSSING, ON, Crossed, RuledLayout, cross, outer
from plate.arrays import Floats
from plate.geometry.curves import Curve, distance

# Bars and the plate's moments are along x and y: a strip that runs further off them is not compared
# [rad]; of a moment along it that leaves out 3 % of m_x and a third of m_xy.
OFF_BARS = np.radians(10.0)
# Ends of lines nearer to the slab's edge than this reach it [m].
REACHES = 0.05
# Pieces of the guide, and how far it goes on beyond the slab [m].
PIECES, BEYOND = 2000, 1.0


def ruled_layout(deck: Deck, bars: Bars) -> RuledLayout:
    """The layout of a strip on an outline.

    Raises MethodRangeError without traffic, where fewer than two lines that carry the slab cross
    the guide, where one of them is curved, ends on the slab or meets another one, and where the
    strip does not run along the bars.
    """
    words, _ = WORDS[bars]
    if deck.traffic is None:
        raise MethodRangeError(f"a strip {words} the deck needs the course of its traffic")
    guide = _Guide(deck, bars)
    crossed = sorted(
        (
            found
            for line in deck.lines
            if line.support != "spring" or line.k > 0.0
            for found in guide.crossings(line.name)
        ),
        key=lambda one: one.s,
    )
    if len(crossed) < 2:
        raise MethodRangeError(
            f"a strip {words} the deck needs two lines across it that carry it, here {len(crossed)}"
        )
    _check(deck, bars, crossed, guide.middle)
    beside: tuple[dict[str, Curve], ...] = ({}, {})
    ends: tuple[dict[str, Curve], ...] = ({}, {})
    layout = RuledLayout(
        deck=deck,
        bars=bars,
        crossed=tuple(crossed),
        extent=guide.extent((crossed[0].s, crossed[-1].s)),
        middle=guide.middle,
        low=beside[0],
        high=beside[1],
        start=ends[0],
        end=ends[1],
    )
    for name in deck.plan.edges:
        (curve,) = deck.plan.lines[name].curves
        s, t = layout.coordinates(curve.at(0.5)[None])
        if name not in layout.lines and layout.runs_along(s, curve.tangent(0.5)):
            beside[int(t[0] > guide.middle)][name] = curve
        else:
            ends[int(s[0] > 0.5 * (crossed[0].s + crossed[-1].s))][name] = curve
    if not all(beside):
        raise MethodRangeError(f"a strip {words} the deck needs edges of the slab on both sides")
    return layout


def _check(deck: Deck, bars: Bars, crossed: Sequence[Crossed], middle: float) -> None:
    """Tells a strip that does not run along bars, and lines with no strip between them."""
    words, _ = WORDS[bars]
    x, y = np.abs(crossed[-1].at - crossed[0].at)
    off, axis = (np.arctan2(y, x), "x") if bars == "parallel" else (np.arctan2(x, y), "y")
    if off > OFF_BARS:
        raise MethodRangeError(
            f"a strip {words} the deck runs at {np.degrees(off):.3g}° to {axis}, while moments and "
            "bars are along x and y"
        )
    for one, two in itertools.pairwise(crossed):
        title, other = line_title(deck, one.name), line_title(deck, two.name)
        if one.name == two.name:
            raise MethodRangeError(f"{title} crosses the strip {words} the deck more than once")
        t = np.array([max(one.ends[0], two.ends[0]), min(one.ends[1], two.ends[1])]) - middle
        gap = two.at - one.at + t[:, None] * (two.along - one.along)
        if min(gap @ one.guide) <= 0.0:
            raise MethodRangeError(f"{title} and {other} meet: no strip lies between them")


class _Guide:
    """The line that a strip follows, as a fine polyline with its s.

    points : (n, 2); s : (n,); middle : t there; side : 1 where t grows a quarter turn from x to y
    from it, else -1.
    """

    def __init__(self, deck: Deck, bars: Bars) -> None:
        limits = deck.slab_limits
        along = bars == "parallel"
        start, end = limits[:, 0 if along else 1] + np.array([-BEYOND, BEYOND])
        way = np.linspace(start, end, PIECES + 1)
        self.deck = deck
        if along:
            self.middle = 0.5 * sum(deck.required_traffic.carriageway)
            track = np.column_stack([way, np.full(len(way), self.middle)])
        else:
            self.middle = float(limits[:, 0].mean())
            track = np.column_stack([np.full(len(way), self.middle), way])
        self.side = 1.0 if along else -1.0
        self.points = deck.course.to_plan(track)
        lengths = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        self.s = start + np.concatenate([[0.0], np.cumsum(lengths)])

    def crossings(self, name: str) -> list[Crossed]:
        """Where a line crosses the guide at no small angle.

        Raises MethodRangeError if it is curved or ends on the slab short of its edges.
        """
        path = self.deck.plan.lines[name].path
        chord = (path[-1] - path[0]) / np.hypot(*(path[-1] - path[0]))
        straight = bool(np.abs(cross(chord, path - path[0])).max() < ON)
        found = []
        for a, b in itertools.pairwise(path[[0, -1]] if straight else path):
            over = cross(b - a, self.points - a)
            (places,) = np.nonzero((over[:-1] <= 0.0) != (over[1:] <= 0.0))
            for k in places.tolist():
                share = over[k] / (over[k] - over[k + 1])
                one = self._crossed(name, k, float(share), a, b)
                if one is not None:
                    found.append(one)
        title, ends = line_title(self.deck, name), path[[0, -1]]
        if found and not straight:
            raise MethodRangeError(f"{title} is not straight, as lines across a strip must be")
        short = distance(self.deck.plan.boundary[0], ends) > REACHES
        if found and short.any():
            x, y = ends[np.argmax(short)]
            raise MethodRangeError(
                f"{title} ends on the slab at {x:.2f}, {y:.2f}: lines across a strip must run from "
                "edge to edge"
            )
        return found

    def _crossed(self, name: str, k: int, share: float, a: Floats, b: Floats) -> Crossed | None:
        """The line from a to b where the guide's k-th piece crosses it; None if it does not."""
        step = self.points[k + 1] - self.points[k]
        at = self.points[k] + share * step
        step = step / np.hypot(*step)
        right = self.side * np.array([-step[1], step[0]])
        along = (b - a) / np.hypot(*(b - a))
        within = -ON <= (at - a) @ along <= np.hypot(*(b - a)) + ON
        if not within or abs(along @ right) < np.sin(CROSSING):
            return None
        low, high = sorted(self.middle + float((end - at) @ right) for end in (a, b))
        return Crossed(
            name=name,
            s=float(self.s[k] + share * (self.s[k + 1] - self.s[k])),
            at=at,
            guide=step,
            along=along / (along @ right),
            ends=(low, high),
        )

    def extent(self, lines: tuple[float, float]) -> tuple[float, float]:
        """s between which the guide is on the slab, openings left aside; at the outermost lines
        (s) where these are its edges."""
        whole = shapely.LineString(self.points)
        pieces = shapely.get_parts(outer(self.deck).intersection(whole))
        longest = shapely.get_coordinates(max(pieces, key=lambda piece: piece.length))
        low, high = sorted(whole.project(shapely.Point(p)) for p in longest[[0, -1]])
        ends = self.s[0] + low, self.s[0] + high
        first, last = (
            line if abs(end - line) < REACHES else float(end)
            for end, line in zip(ends, lines, strict=True)
        )
        return first, last

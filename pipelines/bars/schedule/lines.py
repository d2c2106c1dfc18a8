"""Lines of bars over the slab: where the bars of a layer lie, from edge to edge."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import floor, sqrt

import numpy as np
import shapely

from pipelines.deck.deck import Deck
from pipelines.standards.detailing.laps import bend_radius
from pipelines.standards.resistance.bars import FACES, Bars, Direction
from plate.arrays import Floats, Ints
from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN, region
from plate.geometry.plan import Plan

# Points along a line across an arc, from which its length is taken.
ALONG = 64
SAME = 1e-6
CLEAR = 0.020  # of a bar in the bend of U-bars to the first of the mat [m]
SHORTEST = 0.3  # a shorter piece beside an edge or a corner is no bar [m]


def in_bend(diameter: float) -> float:
    """Distance [m] from the outside of a U-bar to the centre of a bar of the same diameter that
    touches the inside of its bend, the same both ways."""
    radius = bend_radius(diameter)
    return radius + diameter - (radius - diameter / 2) / sqrt(2.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class BarLine:
    """A line on which bars lie. number : in its layer, across the bars; path : plan points (n, 2);
    length : on the ground [m]; across : its place across the bars in plan [m]; ends : edges at
    which it ends, "" within the slab."""

    number: int
    path: Floats
    length: float
    across: float
    ends: tuple[str, str]

    def part(self, start: float, end: float) -> Floats:
        """Plan points of the part between two lengths from its first end [m]."""
        steps = np.hypot(*np.diff(self.path, axis=0).T)
        at = np.concatenate([[0.0], np.cumsum(steps)])
        at *= self.length / at[-1]
        inner = at[(at > start + SAME) & (at < end - SAME)]
        s = np.concatenate([[start], inner, [end]])
        return np.column_stack([np.interp(s, at, column) for column in self.path.T])


def true_length(plan: Plan, path: Floats) -> float:
    """Length on the ground [m] of a plan path (n, 2), straight in plan between its points."""
    if plan.alignment.straight:
        return float(np.hypot(*np.diff(path, axis=0).T).sum())
    share = (np.arange(ALONG)[:, None] + 0.5) / ALONG
    total = 0.0
    for a, b in pairwise(path):
        stretch = plan.alignment.stretch(a + share * (b - a))
        total += float(np.hypot((b - a)[0] * stretch, (b - a)[1]).mean())
    return total


def arc_radius(plan: Plan, path: Floats) -> float | None:
    """Radius [m] to which a bar along a plan path is bent, None of a straight one."""
    steps = np.linspace(path[:-1], path[1:], 9, axis=1).reshape(-1, 2)
    points = plan.alignment.to_cartesian(steps)
    runs = np.diff(points, axis=0)
    runs = runs[np.hypot(*runs.T) > SAME]
    angles = np.unwrap(np.arctan2(runs[:, 1], runs[:, 0]))
    turn = abs(float(angles[-1] - angles[0]))
    middle = float(np.hypot(*runs.T).sum() - 0.5 * np.hypot(*runs[[0, -1]].T).sum())
    return None if turn < 1e-4 else middle / turn


@dataclass(frozen=True, kw_only=True)
class Course:
    """The bars of one direction of a deck. cover : at the ends of the bars [m]."""

    deck: Deck
    direction: Direction
    cover: float

    @property
    def along(self) -> Floats:
        """(2,) unit vector along the bars in plan."""
        angle = 0.0 if self.direction == "x" else self.deck.required_reinforcement.angle
        return np.array([np.cos(angle), np.sin(angle)])

    @property
    def aside(self) -> Floats:
        """(2,) unit vector across the bars, to growing offsets or stations."""
        side = 1.0 if self.direction == "x" else -1.0
        return side * np.array([-self.along[1], self.along[0]])

    @cached_property
    def inset(self) -> float:
        """Distance from the edges in plan that is no less than the cover on the ground [m]."""
        least = self.deck.plan.alignment.least_stretch(self.deck.plan.outline[:, 1])
        return self.cover / min(least, 1.0)

    @cached_property
    def slab(self) -> shapely.Geometry:
        """What lies no nearer to an edge than the cover."""
        return region(self.deck.plan, DRAWN).buffer(-self.inset, join_style="mitre")

    @cached_property
    def edges(self) -> Mapping[str, shapely.LineString]:
        """Edges of the slab and of openings by name."""
        plan = self.deck.plan
        rings = {name: plan.lines[name].course(full=True) for name in plan.edges}
        rings |= {f"opening {k}": ring for k, ring in enumerate(plan.openings, start=1)}
        return {name: shapely.LineString(sampled(ring, DRAWN)) for name, ring in rings.items()}

    def pitch(self, spacing: float) -> float:
        """Spacing in plan [m] that is no more than `spacing` anywhere on the ground: bars across a
        curved deck fan out."""
        plan = self.deck.plan
        if self.direction == "x" or plan.alignment.straight:
            return spacing
        return spacing / float(plan.alignment.stretch(plan.outline).max())

    def places(self, bars: Bars, between: Bars | None = None) -> tuple[Ints, Floats]:
        """Numbers (n,) and places across (n,) of the bars of a mat, which lie centred between the
        edges, or of those added in its gaps."""
        across = shapely.get_coordinates(self.slab) @ self.aside
        low, high = float(across.min()), float(across.max())
        room = in_bend(bars.diameter) + bars.diameter + max(bars.diameter, CLEAR)
        low, high, pitch = low + room, high - room, self.pitch(bars.spacing)
        count = floor((high - low) / pitch + SAME) + 1
        first = 0.5 * (low + high - (count - 1) * pitch)
        numbers = np.arange(count, dtype=np.int64)
        if between is None:
            return numbers, np.asarray(first + pitch * numbers)
        every, off = round(between.spacing / bars.spacing), floor(between.place)
        gaps = numbers[off:-1:every]
        return numbers[: len(gaps)], np.asarray(first + pitch * (gaps - off + between.place))

    def lines(
        self, bars: Bars, between: Bars | None = None, area: shapely.Geometry | None = None
    ) -> tuple[BarLine, ...]:
        """Lines of the bars of a mat on the slab, or of those added between them in an area; bars
        keep the cover on both sides as well as at their ends."""
        half = 0.5 * (bars if between is None else between).diameter * self.aside
        slab = shapely.intersection_all(
            [shapely.transform(self.slab, lambda p, by=by: p + by) for by in (-half, half)]
        )
        within = slab if area is None else slab & area
        far = np.abs(shapely.bounds(slab)).max() * 2.0 + 1.0
        numbers, places = self.places(bars, between)
        ends = places[:, None, None] * self.aside + np.array([[-far], [far]]) * self.along
        found: list[BarLine] = []
        cut = shapely.intersection(shapely.linestrings(ends), within)
        for number, place, geometry in zip(numbers, places, cut, strict=True):
            for piece in shapely.get_parts(geometry):
                if isinstance(piece, shapely.LineString) and not piece.is_empty:
                    found += self._line(int(number), float(place), np.array(piece.coords))
        return tuple(found)

    def _line(self, number: int, place: float, path: Floats) -> list[BarLine]:
        path = path[[0, -1]]
        if (path[1] - path[0]) @ self.along < 0.0:
            path = path[::-1]
        length = true_length(self.deck.plan, path)
        if length < SHORTEST:
            return []
        ends = (self.edge_at(path[0]), self.edge_at(path[1]))
        return [BarLine(number=number, path=path, length=length, across=place, ends=ends)]

    def edge_at(self, point: Floats) -> str:
        """The edge at which a bar ends there, "" where it ends within the slab."""
        at = shapely.Point(point)
        name = min(self.edges, key=lambda name: self.edges[name].distance(at))
        return name if self.edges[name].distance(at) < 1.5 * self.inset + 0.02 else ""


def course_of(deck: Deck, direction: Direction) -> Course:
    """The course of the bars along a direction. U-bars join both faces: the larger of their covers
    at the ends."""
    bars = deck.required_reinforcement.bars
    cover = max(bars.mat(face).cover for face in FACES)
    return Course(deck=deck, direction=direction, cover=cover)

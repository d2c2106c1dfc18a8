"""Straight lines and circular arcs of a plan: points, lengths, places, intersections.

A curve runs from `start` to `end` and turns by `sweep` on the way: 0 is straight, positive turns
from x towards y. Its parameter is the share of its length, 0 to 1.
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.errors import GeometryError

Point = tuple[float, float]

# Points closer than this are one point [m].
SAME = 1e-7
# An arc that turns less than this is straight [rad].
FLAT = 1e-9


@dataclass(frozen=True)
class Curve:
    """A straight line or an arc; start, end [m]; sweep [rad], less than a full turn."""

    start: Point
    end: Point
    sweep: float = 0.0

    @property
    def chord(self) -> Floats:
        return np.subtract(self.end, self.start)

    @cached_property
    def length(self) -> float:
        """[m]"""
        chord = float(np.hypot(*self.chord))
        half = 0.5 * self.sweep
        return chord if half == 0.0 else chord * abs(half / np.sin(half))

    @cached_property
    def centre(self) -> Floats:
        """The centre of the circle (2,) [m]; only arcs have one."""
        x, y = self.chord
        middle = 0.5 * np.add(self.start, self.end)
        return np.asarray(middle + np.array([-y, x]) / (2.0 * np.tan(0.5 * self.sweep)))

    @cached_property
    def radius(self) -> float:
        """[m], inf of a straight line."""
        if self.sweep == 0.0:
            return np.inf
        return float(np.hypot(*self.chord) / (2.0 * abs(np.sin(0.5 * self.sweep))))

    @cached_property
    def _angle(self) -> float:
        x, y = np.subtract(self.start, self.centre)
        return float(np.arctan2(y, x))

    def at(self, share: ArrayLike) -> Floats:
        """Points (..., 2) at parameters (...,); the ends exactly."""
        s = np.asarray(share, dtype=float)[..., None]
        straight = np.array(self.start) * (1.0 - s) + np.array(self.end) * s
        if self.sweep == 0.0:
            return np.asarray(straight)
        # As a bulge over the chord: exact at the ends, no cancellation on flat arcs.
        half = 0.5 * self.sweep
        a, b = np.sin(half * s), np.sin(half * (1.0 - s))
        along = a * np.cos(half * (1.0 - s)) / np.sin(half) - s
        x, y = self.chord
        away = -a * b / np.sin(half)
        return np.asarray(straight + along * np.array([x, y]) + away * np.array([-y, x]))

    def tangent(self, share: ArrayLike) -> Floats:
        """Unit tangents (..., 2) towards the end at parameters (...,)."""
        s = np.asarray(share, dtype=float)
        x, y = self.chord / np.hypot(*self.chord)
        turn = self.sweep * (s - 0.5)
        c, d = np.cos(turn), np.sin(turn)
        return np.stack([c * x - d * y, d * x + c * y], axis=-1)

    def part(self, first: float, last: float) -> "Curve":
        """The piece between two parameters."""
        a, b = self.at([first, last])
        return Curve(
            self.start if first == 0.0 else (float(a[0]), float(a[1])),
            self.end if last == 1.0 else (float(b[0]), float(b[1])),
            self.sweep * (last - first),
        )

    def reversed(self) -> "Curve":
        return Curve(self.end, self.start, -self.sweep)

    def nearest(self, points: Floats) -> tuple[Floats, Floats]:
        """Parameters (...,) of the curve's nearest points to points (..., 2), and distances."""
        points = np.asarray(points, dtype=float)
        if self.sweep == 0.0:
            chord = self.chord
            s = np.clip((points - self.start) @ chord / (chord @ chord), 0.0, 1.0)
        else:
            x, y = np.moveaxis(points - self.centre, -1, 0)
            turn = (np.arctan2(y, x) - self._angle) * np.sign(self.sweep) % (2.0 * np.pi)
            size = abs(self.sweep)
            beyond = 0.5 * (2.0 * np.pi - size)  # nearer to the start than to the end
            s = np.where(turn > size + beyond, 0.0, np.minimum(turn / size, 1.0))
        return np.asarray(s), np.linalg.norm(points - self.at(s), axis=-1)

    def sampled(self, sagitta: float) -> Floats:
        """Points (n + 1, 2) along the curve whose chords stay within `sagitta` [m] of it, with
        the points furthest along x and y."""
        return self.at(self.shares(sagitta))

    def shares(self, sagitta: float) -> Floats:
        """Parameters (n + 1,) of `sampled`."""
        if self.sweep == 0.0:
            return np.array([0.0, 1.0])
        step = 2.0 * np.arccos(max(1.0 - sagitta / self.radius, 0.5))
        n = max(int(np.ceil(abs(self.sweep) / step)), 2)
        quarter = (np.arange(4) * 0.5 * np.pi - self._angle) * np.sign(self.sweep)
        extremes = quarter % (2.0 * np.pi) / abs(self.sweep)
        shares = np.linspace(0.0, 1.0, n + 1)
        for extreme in extremes[(extremes > 1e-3 / n) & (extremes < 1.0 - 1e-3 / n)]:
            # An inner point that is nearly there gives way.
            near = np.abs(shares - extreme) < 0.1 / n
            near[[0, -1]] = False
            shares = np.sort(np.append(shares[~near], extreme))
        return shares


def arc_through(start: Point, through: Point, end: Point) -> Curve:
    """The arc from start over a point to the end. Raises GeometryError if there is none."""
    a, b = np.subtract(start, through), np.subtract(end, through)
    chord = np.subtract(end, start)
    if min(np.hypot(*a), np.hypot(*b), np.hypot(*chord)) < SAME:
        raise GeometryError("an arc needs three different points; a full circle is two arcs")
    cross, dot = float(a[0] * b[1] - a[1] * b[0]), float(a @ b)
    inside = float(np.arctan2(cross, dot))
    if abs(inside) < 1e-3:
        raise GeometryError("the point on the arc lies on its chord's extension")
    sweep = 2.0 * (np.pi - abs(inside)) * (1.0 if cross < 0.0 else -1.0)
    return Curve(start, end, 0.0 if abs(sweep) < FLAT else sweep)


def circle(centre: Point, diameter: float) -> tuple[Curve, Curve]:
    """A full circle as two arcs."""
    (x, y), r = centre, 0.5 * diameter
    left, right = (x - r, y), (x + r, y)
    return Curve(left, right, np.pi), Curve(right, left, np.pi)


def polyline(points: Sequence[Sequence[float]]) -> tuple[Curve, ...]:
    """Straight lines between points in order."""
    pairs = itertools.pairwise((float(x), float(y)) for x, y in points)
    return tuple(Curve(a, b) for a, b in pairs)


def sampled(curves: Iterable[Curve], sagitta: float) -> Floats:
    """Points (n, 2) along a chain of curves, see `Curve.sampled`."""
    parts = [curve.sampled(sagitta) for curve in curves]
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])


def ring_area(ring: Iterable[Curve]) -> float:
    """Area [m2] enclosed by a ring, positive where it turns from x to y. Exact."""
    total = 0.0
    for curve in ring:
        (x0, y0), (x1, y1) = curve.start, curve.end
        total += 0.5 * (x0 * y1 - x1 * y0)
        if curve.sweep != 0.0:
            total += 0.5 * curve.radius**2 * (curve.sweep - np.sin(curve.sweep))
    return float(total)


def winding(ring: Iterable[Curve], points: Floats) -> Floats:
    """How often a ring runs round each point (..., 2), positive from x to y; points not on it."""
    points = np.asarray(points, dtype=float)
    turns = np.zeros(points.shape[:-1])
    for curve in ring:
        a, b = curve.start - points, curve.end - points
        # A point on the chord itself counts as left of it, here and below.
        cross = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0] + 0.0
        turns += np.arctan2(cross, np.sum(a * b, axis=-1)) / (2.0 * np.pi)
        if curve.sweep != 0.0:
            # Between chord and arc the arc runs round a point that the chord passes; a positive
            # arc bulges to the right of its chord.
            in_disc = np.linalg.norm(points - curve.centre, axis=-1) < curve.radius
            beyond = cross < 0.0 if curve.sweep > 0.0 else cross >= 0.0
            turns += np.where(in_disc & beyond, np.sign(curve.sweep), 0.0)
    return np.asarray(np.round(turns))


def distance(curves: Iterable[Curve], points: Floats) -> Floats:
    """Distance (...,) [m] of points (..., 2) to the nearest of the curves."""
    points = np.asarray(points, dtype=float)
    least = np.full(points.shape[:-1], np.inf)
    for curve in curves:
        least = np.minimum(least, curve.nearest(points)[1])
    return least


def meetings(one: Curve, other: Curve) -> list[tuple[float, float]]:
    """Parameters on both curves of the places where they meet: crossings, touching ends, and the
    ends of what they have in common."""
    found = _crossings(one, other)
    for share, end in ((0.0, other.start), (1.0, other.end)):
        place, gap = one.nearest(np.array(end))
        if gap < SAME:
            found.append((float(place), share))
    for share, end in ((0.0, one.start), (1.0, one.end)):
        place, gap = other.nearest(np.array(end))
        if gap < SAME:
            found.append((share, float(place)))
    unique: list[tuple[float, float]] = []
    for s, t in found:
        s, t = _snapped(one, s), _snapped(other, t)
        point = one.at(s)
        if all(np.hypot(*(one.at(u) - point)) >= SAME for u, _ in unique):
            unique.append((s, t))
    return unique


def _snapped(curve: Curve, share: float) -> float:
    """0 or 1 where the place is the curve's end."""
    if share * curve.length < SAME:
        return 0.0
    return 1.0 if (1.0 - share) * curve.length < SAME else share


def _crossings(one: Curve, other: Curve) -> list[tuple[float, float]]:
    """Proper crossings of two curves as parameters on both."""
    if one.sweep == 0.0 and other.sweep == 0.0:
        (a, b), (c, d) = one.chord, other.chord
        det = a * d - b * c
        if abs(det) < 1e-12 * one.length * other.length:
            return []
        x, y = np.subtract(other.start, one.start)
        points = [one.at((x * d - y * c) / det)]
    elif one.sweep == 0.0:
        points = _line_circle(one, other)
    elif other.sweep == 0.0:
        points = _line_circle(other, one)
    else:
        points = _circles(one, other)
    found = []
    for point in points:
        (s, near), (t, close) = one.nearest(point), other.nearest(point)
        if near < SAME and close < SAME:
            found.append((float(s), float(t)))
    return found


def _line_circle(line: Curve, arc: Curve) -> list[Floats]:
    direction = line.chord / line.length
    foot = line.start + direction * float((arc.centre - line.start) @ direction)
    inside = arc.radius**2 - float(np.sum((foot - arc.centre) ** 2))
    if inside < -2.0 * arc.radius * SAME:
        return []
    reach = np.sqrt(max(inside, 0.0)) * direction
    return [foot - reach, foot + reach]


def _circles(one: Curve, other: Curve) -> list[Floats]:
    between = other.centre - one.centre
    gap = float(np.hypot(*between))
    if gap < SAME:
        return []  # the same circle, or none in common
    r, q = one.radius, other.radius
    along = (gap**2 + r**2 - q**2) / (2.0 * gap)
    inside = r**2 - along**2
    if inside < -2.0 * r * SAME:
        return []
    unit = between / gap
    reach = np.sqrt(max(inside, 0.0)) * np.array([-unit[1], unit[0]])
    foot = one.centre + along * unit
    return [foot - reach, foot + reach]

"""An axis across a plan: straight lines and arcs that run on in one direction.

What follows the axis has a station, the length along it, and an offset from it, positive to its
right (seen from above with y down the page). Beyond its ends the axis carries on straight. The plan
itself is straight: its coordinates are Cartesian.
"""

import itertools
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.errors import GeometryError
from plate.geometry.alignment import Alignment
from plate.geometry.curves import SAME, Curve
from plate.geometry.elementary import CORNERS

# Curves whose directions differ by more where they meet do not run on in one direction [rad].
KINK = np.radians(0.5)


class Course(Protocol):
    """What gives stations and offsets (..., 2) [m] their place in plan: the plan's own alignment,
    of which they are the coordinates, or an axis across it."""

    @property
    def straight(self) -> bool:
        """Whether it has no curve."""

    def to_plan(self, track: Floats) -> Floats:
        """Plan points (..., 2) of stations and offsets (..., 2) [m]."""

    def along(self, station: Floats, offset: Floats, distance: Floats) -> Floats:
        """Stations (...,) reached by going so far on the ground at an offset [m]."""

    def least_stretch(self, offsets: Floats) -> float:
        """Least length on the ground per length of station at any of the offsets (n,) [-]; not
        positive where one lies beyond a centre of curvature."""

    def rectangles(self, centre: ArrayLike, sides: ArrayLike) -> Floats:
        """Plan corners (..., 4, 2) of rectangles of true size about stations and offsets (..., 2),
        their sides along and across the course [m], turning from x to y."""

    def moved(self, corners: Floats, by: float) -> Floats:
        """Plan corners (..., n, 2) of small pieces moved along the course by stations [m]."""

    def limits(self, points: Floats) -> Floats:
        """Least and largest station and offset (2, 2) of plan points (n, 2) [m]."""

    def polygon_area(self, plan: Floats) -> Floats:
        """Signed areas (...,) [m2] on the ground of polygons (..., n, 2) in plan."""


@dataclass(frozen=True)
class Axis:
    """A chain of lines and arcs in a straight plan.

    Raises GeometryError where a curve does not begin where the one before it ends, or in another
    direction.
    """

    curves: tuple[Curve, ...]

    def __post_init__(self) -> None:
        for one, two in itertools.pairwise(self.curves):
            if np.hypot(*np.subtract(one.end, two.start)) > SAME:
                raise GeometryError("the parts of the axis do not meet")
            a, b = one.tangent(1.0), two.tangent(0.0)
            turn = float(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))
            if abs(turn) > KINK:
                x, y = two.start
                raise GeometryError(
                    f"turns by {abs(np.degrees(turn)):.3g} degrees at {x:g}, {y:g}, where traffic "
                    "cannot: lines and arcs must run on in one direction; round it by an arc"
                )

    @cached_property
    def knots(self) -> Floats:
        """Stations (n + 1,) where its curves begin and the last one ends [m]."""
        return np.concatenate([[0.0], np.cumsum([curve.length for curve in self.curves])])

    @cached_property
    def curvature(self) -> Floats:
        """Of its curves (n,), positive to the right [1/m]."""
        return np.array([curve.sweep / curve.length for curve in self.curves])

    @property
    def straight(self) -> bool:
        return not self.curvature.any()

    def points(self, station: Floats) -> tuple[Floats, Floats]:
        """Its points and unit tangents (..., 2) at stations (...,)."""
        s = np.asarray(station, dtype=float)
        within = np.clip(s, 0.0, self.knots[-1])
        which = np.clip(np.searchsorted(self.knots, within, "right") - 1, 0, len(self.curves) - 1)
        at, along = np.empty((*s.shape, 2)), np.empty((*s.shape, 2))
        for k in np.unique(which).tolist():
            mine, curve = which == k, self.curves[k]
            share = (within[mine] - self.knots[k]) / curve.length
            at[mine], along[mine] = curve.at(share), curve.tangent(share)
        return at + (s - within)[..., None] * along, along

    def stations(self, low: float, high: float, sagitta: float) -> Floats:
        """Growing stations (n,) from low to high between which its chords stay within `sagitta` [m]
        of it."""
        inner = [
            start + curve.shares(sagitta) * curve.length
            for start, curve in zip(self.knots, self.curves, strict=False)
        ]
        every = np.unique(np.concatenate([[low, high], *inner]))
        return every[(every >= low) & (every <= high)]

    def to_plan(self, track: Floats) -> Floats:
        """Plan points (..., 2) of stations and offsets (..., 2) [m]."""
        track = np.asarray(track, dtype=float)
        at, along = self.points(track[..., 0])
        return at + track[..., 1:] * _right(along)

    def to_track(self, points: Floats) -> Floats:
        """Stations and offsets (..., 2) [m] of plan points (..., 2), from the nearest point of the
        axis and of the straight lines that carry it on."""
        points = np.asarray(points, dtype=float)
        station = np.zeros(points.shape[:-1])
        least = np.full(points.shape[:-1], np.inf)

        def take(there: Floats, gap: Floats) -> None:
            nearer = gap < least
            station[nearer], least[nearer] = there[nearer], gap[nearer]

        for k, curve in enumerate(self.curves):
            share, gap = curve.nearest(points)
            take(self.knots[k] + share * curve.length, gap)
        for curve, end, sign in ((self.curves[0], 0.0, -1.0), (self.curves[-1], 1.0, 1.0)):
            beyond = np.maximum((points - curve.at(end)) @ (sign * curve.tangent(end)), 0.0)
            there = self.knots[0 if sign < 0.0 else -1] + sign * beyond
            take(there, np.linalg.norm(points - self.points(there)[0], axis=-1))
        at, along = self.points(station)
        return np.stack([station, np.sum((points - at) * _right(along), axis=-1)], axis=-1)

    def along(self, station: Floats, offset: Floats, distance: Floats) -> Floats:
        """Stations (...,) reached by going so far on the ground at an offset [m]."""
        turns = np.concatenate([[0.0], np.cumsum([curve.sweep for curve in self.curves])])
        # At an offset y the length on the ground up to a station s is s - y times the turn so far.
        goal = station - offset * np.interp(station, self.knots, turns) + distance
        found = goal + 0.0 * offset
        for k, knot in enumerate(self.knots):
            bend = self.curvature[k] if k < len(self.curves) else 0.0
            more = goal - (knot - offset * turns[k])
            found = np.where(more > 0.0, knot + more / (1.0 - offset * bend), found)
        return np.asarray(found)

    def least_stretch(self, offsets: Floats) -> float:
        """Least length on the ground per length of station at any of the offsets (n,) [-]."""
        return float(min(1.0, (1.0 - np.outer(offsets, self.curvature)).min()))

    def rectangles(self, centre: ArrayLike, sides: ArrayLike) -> Floats:
        """Plan corners (..., 4, 2) of rectangles turned with the axis, see `Course`."""
        track = np.asarray(centre, dtype=float)
        half = 0.5 * np.broadcast_to(np.asarray(sides, dtype=float), track.shape)
        at, along = self.points(track[..., 0])
        right = _right(along)
        own = CORNERS * half[..., None, :]
        middle = at + track[..., 1:] * right
        return np.asarray(
            middle[..., None, :]
            + own[..., :1] * along[..., None, :]
            + own[..., 1:] * right[..., None, :]
        )

    def moved(self, corners: Floats, by: float) -> Floats:
        """Plan corners (..., n, 2) of pieces moved along the axis and turned with it."""
        centre = corners.mean(axis=-2)
        track = self.to_track(centre)
        _, before = self.points(track[..., 0])
        _, after = self.points(track[..., 0] + by)
        away = corners - centre[..., None, :]
        local = np.stack(
            [
                np.einsum("...na,...a->...n", away, before),
                np.einsum("...na,...a->...n", away, _right(before)),
            ],
            axis=-1,
        )
        there = self.to_plan(track + np.array([by, 0.0]))
        return np.asarray(
            there[..., None, :]
            + local[..., :1] * after[..., None, :]
            + local[..., 1:] * _right(after)[..., None, :]
        )

    def limits(self, points: Floats) -> Floats:
        """Least and largest station and offset (2, 2) of plan points (n, 2) [m]."""
        track = self.to_track(points)
        return np.array([track.min(axis=0), track.max(axis=0)])

    def polygon_area(self, plan: Floats) -> Floats:
        """Signed areas (...,) [m2] of polygons (..., n, 2) in plan."""
        return Alignment().polygon_area(plan)


def _right(along: Floats) -> Floats:
    """Unit vectors (..., 2) a quarter turn from x to y from directions."""
    return np.stack([-along[..., 1], along[..., 0]], axis=-1)

"""Plan coordinates (station, offset) and their Cartesian image.

A straight deck has plan = Cartesian. On a curved deck of centre-line radius R (positive curves
to the right) the station s is the arc length at offset zero and
X = (R - y) sin(s/R), Y = R - (R - y) cos(s/R); components are along the local tangent and the
growing offset.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plate.arrays import Floats
from plate.errors import GeometryError
from plate.geometry.elementary import rectangle_corners


@dataclass(frozen=True)
class Alignment:
    """The course of the deck's reference line, straight or a circular arc.

    radius : R of the arc [m], positive for a deck that curves to the right; infinite for a
        straight one.
    """

    radius: float = np.inf

    @property
    def straight(self) -> bool:
        return bool(np.isinf(self.radius))

    def to_cartesian(self, plan: Floats) -> Floats:
        """Cartesian (..., 2) [m] of plan points (..., 2) [m].

        Raises GeometryError where 1 - y/R is not positive.
        """
        plan = np.asarray(plan, dtype=float)
        if self.straight:
            return plan
        if np.any(self.stretch(plan) <= 0.0):
            raise GeometryError(f"offset beyond the centre of curvature, R = {self.radius:g} m")
        R = self.radius
        s, y = plan[..., 0], plan[..., 1]
        return np.stack([(R - y) * np.sin(s / R), R - (R - y) * np.cos(s / R)], axis=-1)

    def from_cartesian(self, xy: Floats) -> Floats:
        """Plan points (..., 2) [m] of Cartesian ones, within half a circle of station 0."""
        xy = np.asarray(xy, dtype=float)
        if self.straight:
            return xy
        R, side = self.radius, np.sign(self.radius)
        across, along = side * (R - xy[..., 1]), side * xy[..., 0]
        return np.stack([R * np.arctan2(along, across), R - side * np.hypot(along, across)], -1)

    def stretch(self, plan: Floats) -> Floats:
        """Length of arc at each point per length of station, 1 - y/R, (...,) [-]."""
        plan = np.asarray(plan, dtype=float)
        return 1.0 - plan[..., 1] / self.radius

    def tangent(self, plan: Floats) -> Floats:
        """Unit vectors (..., 2) of growing station at plan points (..., 2)."""
        plan = np.asarray(plan, dtype=float)
        angle = plan[..., 0] / self.radius
        return np.stack([np.cos(angle), np.sin(angle)], axis=-1)

    def to_plan(self, track: Floats) -> Floats:
        """The plan points (..., 2) themselves: stations and offsets are their coordinates."""
        return np.asarray(track, dtype=float)

    def along(self, station: Floats, offset: Floats, distance: Floats) -> Floats:
        """Stations (...,) reached by going so far on the ground at an offset [m]."""
        return np.asarray(station + distance / (1.0 - offset / self.radius))

    def least_stretch(self, offsets: Floats) -> float:
        """Least length of arc per length of station at any of the offsets (n,) [-]."""
        return float((1.0 - np.asarray(offsets) / self.radius).min())

    def moved(self, corners: Floats, by: float) -> Floats:
        """Plan corners (..., n, 2) moved along by stations [m]."""
        return np.asarray(corners + np.array([by, 0.0]))

    def limits(self, points: Floats) -> Floats:
        """Least and largest station and offset (2, 2) of plan points (n, 2) [m]."""
        return np.array([points.min(axis=0), points.max(axis=0)])

    def rectangles(self, centre: ArrayLike, sides: ArrayLike) -> Floats:
        """Plan corners (..., 4, 2) of rectangles of true size on the ground, turning from x to y.

        centre, sides : (..., 2) the centres in plan and the sides along and across [m]; one side
        for squares. On an arc the edges along have their length on the arc at their own offset.
        """
        corners = rectangle_corners(centre, sides)
        if self.straight:
            return corners
        middle = np.asarray(centre, dtype=float)[..., None, 0]
        corners[..., 0] = middle + (corners[..., 0] - middle) / self.stretch(corners)
        return corners

    def polygon_area(self, plan: Floats) -> Floats:
        """Cartesian area (...,) [m2] of polygons (..., n, 2) straight-sided in plan coordinates.

        Signed: positive when x turns into y. Exact: the integral of 1 - y/R by Green's theorem.
        """
        x, y = plan[..., 0], plan[..., 1]
        xn, yn = np.roll(x, -1, axis=-1), np.roll(y, -1, axis=-1)
        cross = x * yn - xn * y
        first_moment = np.sum((y + yn) * cross, axis=-1) / 6.0
        area: Floats = 0.5 * np.sum(cross, axis=-1) - first_moment / self.radius
        return area

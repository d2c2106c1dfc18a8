"""Frames of wheels that stand turned in plan, so that what is measured along and across them is
measured in their own directions."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from plate.arrays import Floats, Ints


@dataclass(frozen=True, eq=False)
class Turn:
    """Frames turned from the plan's axes, each about a point.

    angle : (n,) from x to y [rad]; pivot : (n, 2) [m].
    """

    angle: Floats
    pivot: Floats

    def of(self, which: Ints) -> "Turn":
        """The frames of those numbers."""
        return Turn(self.angle[which], self.pivot[which])

    def from_plan(self, points: Floats) -> Floats:
        """Points (n, 2) of the plan, each in its frame."""
        return self._turned(points, -1.0)

    def corners(self, low: Floats, high: Floats) -> Floats:
        """Corners (n, 4, 2) in plan of boxes along the frames' axes by two of them (n, 2)."""
        (a, b), (c, d) = low.T, high.T
        corners = [np.stack(corner, axis=-1) for corner in ((a, b), (c, b), (c, d), (a, d))]
        return np.stack([self._turned(corner, 1.0) for corner in corners], axis=1)

    def boxes(self, low: Floats, high: Floats) -> NDArray[np.object_]:
        """The same boxes as polygons (n,)."""
        return np.asarray(shapely.polygons(self.corners(low, high)))

    def _turned(self, points: Floats, sign: float) -> Floats:
        if not self.angle.any():
            return points  # no rounding where nothing turns
        c, s = np.cos(self.angle), sign * np.sin(self.angle)
        x, y = (points - self.pivot).T
        return np.asarray(self.pivot + np.stack([c * x - s * y, s * x + c * y], axis=-1))


def first_wheel(corners: Floats, count: int) -> Turn:
    """Frames of wheels (n, 4, 2) of so many positions: of each that of the first wheel there."""
    first = corners.reshape(count, -1, 4, 2)[:, 0]
    x, y = (first[:, 1] - first[:, 0]).T
    wheels = len(corners) // count
    angle = np.repeat(np.arctan2(y, x), wheels)
    return Turn(angle, np.repeat(first.mean(axis=1), wheels, axis=0))

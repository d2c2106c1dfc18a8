"""Geometries that several threads may ask at once."""

from dataclasses import dataclass, field
from threading import Lock

import numpy as np
import shapely
from numpy.typing import NDArray

from plate.arrays import Floats


@dataclass(frozen=True, eq=False)
class Prepared:
    """A geometry prepared for many questions, which threads ask one after the other.

    GEOS keeps in a prepared geometry what it works on, without a lock, and shapely lets other
    threads run meanwhile: two that ask at the same time end the process.
    """

    geometry: shapely.Geometry
    _alone: Lock = field(init=False, default_factory=Lock)

    def __post_init__(self) -> None:
        shapely.prepare(self.geometry)

    def __reduce__(self) -> tuple[type["Prepared"], tuple[shapely.Geometry]]:
        return Prepared, (self.geometry,)  # a lock is of one process

    def intersects(self, others: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Which geometries (n,) it meets."""
        with self._alone:
            return np.asarray(shapely.intersects(self.geometry, others))

    def covers(self, others: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Which geometries (n,) lie within it, their border on its own or not."""
        with self._alone:
            return np.asarray(shapely.covers(self.geometry, others))

    def contains(self, points: Floats) -> NDArray[np.bool_]:
        """Which points (n, 2) lie inside."""
        with self._alone:
            return np.asarray(shapely.contains_xy(self.geometry, *points.T))

    def meets(self, points: Floats) -> NDArray[np.bool_]:
        """Which points (n, 2) lie inside or on its border."""
        with self._alone:
            return np.asarray(shapely.intersects_xy(self.geometry, *points.T))

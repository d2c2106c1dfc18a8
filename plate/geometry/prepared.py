"""Areas that several threads may ask about points at once."""

from typing import TypeVar

import shapely

Geometry = TypeVar("Geometry", bound=shapely.Geometry)


def prepared(area: Geometry) -> Geometry:
    """The area, itself, prepared for questions whether points lie in it, by any threads.

    GEOS builds the index of a prepared area when it is first needed, without a lock, and shapely
    lets other threads run meanwhile: two that ask first at the same time end the process. So it is
    built here. Questions of lines and areas remain for one thread at a time.
    """
    shapely.prepare(area)
    if not shapely.is_empty(area):  # a point outside its bounds would need no index
        left, low, right, high = area.bounds
        shapely.intersects_xy(area, 0.5 * (left + right), 0.5 * (low + high))
    return area

"""Where a formula may be asked: the ranges of its inputs, and the polygon around the rows in the
two that it changes with most."""

from dataclasses import dataclass

import numpy as np
import shapely

from pipelines.study.fit.rows import Flags
from plate.arrays import Floats

# Rows on the border are inside: of the ranges, a share.
SLACK = 1e-9


@dataclass(frozen=True, eq=False)
class Validity:
    """ranges (n_input, 2); leading : the two inputs of the polygon (n, 2), anticlockwise, and none
    where there is no more than one input or all rows lie on a line."""

    ranges: Floats
    leading: tuple[int, int] | None
    polygon: Floats

    def inside(self, x: Floats) -> Flags:
        """Which inputs (n, n_input) lie within."""
        low, high = self.ranges.T
        slack = SLACK * (high - low)
        found = np.all((x >= low - slack) & (x <= high + slack), axis=1)
        if self.leading is None:
            return np.asarray(found)
        pair = list(self.leading)
        unit = (high - low)[pair]
        start = self.polygon / unit
        side = np.roll(start, -1, axis=0) - start
        away = (x[:, pair] / unit)[:, None, :] - start
        left = side[:, 0] * away[:, :, 1] - side[:, 1] * away[:, :, 0]
        return np.asarray(found & np.all(left >= -SLACK, axis=1))


def validity_of(x: Floats, total: Floats) -> Validity:
    """The limits of rows x (n, n_input); total (n_input,) : what the formula changes with each."""
    ranges = np.stack([x.min(axis=0), x.max(axis=0)], axis=1)
    if x.shape[1] < 2 or not np.isfinite(total).all():
        return Validity(ranges, None, np.zeros((0, 2)))
    first, second = np.argsort(-total, kind="stable")[:2].tolist()
    unit = np.ptp(ranges, axis=1)[[first, second]]
    around = shapely.convex_hull(shapely.multipoints(x[:, [first, second]] / unit))
    if not isinstance(around, shapely.Polygon):
        return Validity(ranges, None, np.zeros((0, 2)))
    ring = np.array(shapely.orient_polygons(around).exterior.coords)[:-1]
    return Validity(ranges, (first, second), ring * unit)

"""Where words stand on plans in bars.dxf: clear of each other, and of bars as far as they can."""

from dataclasses import dataclass
from itertools import product

import numpy as np
import shapely
from ezdxf.layouts.layout import Modelspace

from pipelines.report.drawings.dxf_parts import ring
from plate.arrays import Floats

# In heights of text.
LINE = 1.8  # from one line of words to the next
# Where words are tried, in lines across them and in heights of text along them; what counts a move
# of one height, as much of a bar or an edge that they cover, and of a thin line.
ROWS = (0.0, 1.5, -1.5, 2.5, -2.5, 3.5, -3.5, 5.0, -5.0, 6.5, -6.5)
ALONG = (0.0, -3.0, 3.0, -6.0, 6.0, -9.0, 9.0, -12.0, 12.0)
MOVED, COVERED, CROSSED = 0.3, 2.0, 0.5


@dataclass(frozen=True, eq=False)
class Room:
    """Room for words on a plan. size : their height [mm]; taken : where none may stand any more;
    heavy : bars and edges of the slab that they should not cover, thin : other lines."""

    size: float
    taken: list[shapely.Polygon]
    heavy: shapely.Geometry
    thin: shapely.Geometry

    def place(
        self, space: Modelspace, at: Floats, along: Floats, corners: Floats, of: Floats, far: float
    ) -> Floats:
        """Where words stand that take `corners` about them (4, 2), `at` or moved from there, along
        and across: clear of other words, if such a place is near, and of lines as far as that is
        worth the way; it is taken then.

        of : the point (2,) that they name, from which a thin line is drawn to where they are
        nearest if that is further than `far` heights.
        """
        aside, size, taken = np.array([-along[1], along[0]]), self.size, np.array(self.taken)
        start = shapely.Point(of)
        found: list[tuple[float, float, Floats]] = []
        for row, by in product(ROWS, ALONG):
            moved = at + size * (LINE * row * aside + by * along)
            room = shapely.Polygon(moved + corners)
            on_words = shapely.area(shapely.intersection(taken, room)).sum() / size**2
            heavy = room.intersection(self.heavy).length
            thin = room.intersection(self.thin).length
            way = shapely.shortest_line(start, room)
            through = shapely.length(shapely.intersection(taken, way)).sum()
            cost = (COVERED * (heavy + through) + CROSSED * thin) / size
            cost += MOVED * float(np.hypot(LINE * row, by))
            found.append((round(float(on_words), 6), round(float(cost), 6), moved))
        _, _, best = min(found, key=lambda one: one[:2])
        room = shapely.Polygon(best + corners)
        way = shapely.shortest_line(start, room)
        self.taken.append(room)
        if way.length > far * size:
            space.add_lwpolyline(list(way.coords), dxfattribs={"layer": "DIMENSIONS (mm)"})
            self.taken.append(way.buffer(0.1 * size))
        return best

    def ring(self, space: Modelspace, end: Floats, out: Floats, number: int) -> None:
        """A mark past the end of a bar that runs out of it along `out` (2,)."""
        half = 0.95 * (1.0 if number < 100 else 1.3)
        corners = half * self.size * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        at = self.place(space, end + 1.2 * self.size * out, out, corners, end, 1.0)
        ring(space, (float(at[0]), float(at[1])), number, self.size)

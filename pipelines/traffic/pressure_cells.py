"""The carriageway cut into cells under a unit pressure, so that a distributed load can be put on
the adverse parts of an influence surface alone: on each cell whose response has the sign sought."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from pipelines.traffic.positions import WheelPatches
from plate.arrays import Floats
from plate.geometry.axis import Course

# Largest sides of a cell, and their share of the shortest span [m].
SIDE = 0.5
SPAN_SHARE = 1.0 / 6.0


@dataclass(frozen=True, eq=False)
class PressureCells:
    """Cells of one strip along the carriageway, each under 1 N/m2.

    stations : (n + 1,) their ends; offsets : of the strip's sides [m].
    """

    stations: Floats
    offsets: tuple[float, float]
    course: Course

    def __len__(self) -> int:
        return len(self.stations) - 1

    @property
    def words(self) -> str:
        """Where the strip lies."""
        return f"unit pressure between offsets {self.offsets[0]:g} and {self.offsets[1]:g} m"

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """The cells as patches, one each."""
        start, end = self.stations[:-1][index], self.stations[1:][index]
        near, far = (np.full(len(start), y) for y in self.offsets)
        track = np.stack(
            [
                np.stack([start, end, end, start], axis=-1),
                np.stack([near, near, far, far], axis=-1),
            ],
            axis=-1,
        )
        corners = self.course.to_plan(track)
        area = np.abs(self.course.polygon_area(corners))
        return WheelPatches(corners, area, np.arange(len(start)))


@dataclass(frozen=True, eq=False)
class CellsAbreast:
    """The cells of strips that lie side by side: at each station those of every strip."""

    strips: Sequence[PressureCells]

    def __len__(self) -> int:
        return sum(map(len, self.strips))

    @property
    def words(self) -> str:
        """What they are."""
        return "unit pressure on cells of the carriageway"

    def wheels(self, index: slice | NDArray[np.intp]) -> WheelPatches:
        """The cells as patches, one each."""
        cell, strip = np.divmod(np.arange(len(self))[index], len(self.strips))
        every = [one.wheels(slice(None)) for one in self.strips]
        corners, area = np.stack([e.corners for e in every]), np.stack([e.load for e in every])
        return WheelPatches(corners[strip, cell], area[strip, cell], np.arange(len(cell)))


def pressure_cells(deck: Deck, side: float | None = None) -> tuple[Floats, list[PressureCells]]:
    """Edges (n + 1,) of the strips across the carriageway, and the cells of each.

    side : largest of a cell [m].
    """
    if side is None:
        spans = [*np.diff(deck.stations), *np.diff(deck.offsets), SIDE / SPAN_SHARE]
        side = min(SIDE, SPAN_SHARE * float(min(spans)))
    low, high = deck.slab_limits
    left, right = (float(np.clip(y, low[1], high[1])) for y in deck.required_traffic.carriageway)
    across = np.linspace(left, right, int(np.ceil((right - left) / side - 1e-9)) + 1)
    along = np.linspace(low[0], high[0], int(np.ceil((high[0] - low[0]) / side - 1e-9)) + 1)
    return across, [PressureCells(along, (a, b), deck.course) for a, b in pairwise(across.tolist())]

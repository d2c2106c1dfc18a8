"""Where the slab is how thick, and where a thinner part begins.

The top of the slab is level, so that its soffit steps where zones of another thickness begin.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from pipelines.deck.deck import Deck, Slab, Zone
from pipelines.deck.panels import Panels
from pipelines.standards.resistance.bars import SlabBars
from plate.arrays import Floats
from plate.geometry.outline import DRAWN, region
from plate.geometry.plan import Plan
from plate.geometry.prepared import Prepared

Part = tuple[float, shapely.Geometry]
"""A thickness [m] and the part of the slab in plan that has it."""
# Within so much of a step a place lies on it [m]; a smaller part of the slab is none [m2].
ON, NOTHING = 1e-6, 1e-6
# Places along a bar, in shares of a length, at which a thinner part is looked for.
SHARES = (-1.0, -0.75, -0.5, -0.25, 0.25, 0.5, 0.75, 1.0)


# Distance of points that stand for a part [m], how many there are each way at least and at most.
RASTER, LEAST, MOST = 0.1, 20, 400


def corners(plan: Plan, zone: Zone) -> Floats:
    """Plan points (4, 2) around a zone; on skew decks its ends run with the C lines."""
    a, b = zone.stations or plan.u_range
    c, d = zone.offsets or (plan.outline[:, 1].min(), plan.outline[:, 1].max())
    return plan.at(np.array([a, b, b, a]), np.array([c, c, d, d]))


@dataclass(frozen=True, eq=False)
class Thicknesses:
    """Thicknesses of a slab at plan points."""

    plan: Plan
    slab: Slab

    @classmethod
    def of(cls, deck: Deck) -> "Thicknesses":
        return cls(deck.plan, deck.slab)

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Thicknesses [m], the thinnest first, with the parts of the slab that have them."""
        slab = region(self.plan, DRAWN)
        found: dict[float, shapely.Geometry] = {}
        for zone in self.slab.zones:
            part = shapely.Polygon(corners(self.plan, zone)) & slab
            found[zone.thickness] = found.get(zone.thickness, shapely.Polygon()) | part
        t = self.slab.thickness
        rest = slab - shapely.union_all(list(found.values()))
        found[t] = found.get(t, shapely.Polygon()) | rest
        return tuple((t, part) for t, part in sorted(found.items()) if part.area > NOTHING)

    def within_cover(self, cover: float) -> tuple[Part, ...]:
        """The same for bars: what lies within the cover [m] of a thinner part belongs to that."""
        found: list[Part] = []
        rest = region(self.plan, DRAWN)
        for t, part in self.parts:
            grown = part.buffer(cover, join_style="mitre") & rest
            found.append((t, grown))
            rest = rest - grown
        return tuple(found)

    @property
    def uniform(self) -> bool:
        """Whether the slab has its own thickness everywhere."""
        return [t for t, _ in self.parts] == [self.slab.thickness]

    @property
    def thickest(self) -> float:
        return self.parts[-1][0]

    @property
    def mean(self) -> float:
        """Over the slab in plan [m]."""
        if self.uniform:
            return self.parts[0][0]
        return float(
            np.average([t for t, _ in self.parts], weights=[p.area for _, p in self.parts])
        )

    @cached_property
    def steps(self) -> shapely.Geometry:
        """Lines in plan at which the thickness changes."""
        grown = [part.buffer(ON) for _, part in self.parts]
        edges = [part.boundary for _, part in self.parts]
        found = [edges[k] & grown[j] for k in range(len(grown)) for j in range(len(grown)) if j < k]
        return shapely.union_all(found)

    @cached_property
    def straight_steps(self) -> tuple[Floats, ...]:
        """Plan points (2, 2) of every straight piece of the steps."""
        lines = [part for part in shapely.get_parts(self.steps) if part.length > ON]
        if not lines:
            return ()
        merged = shapely.line_merge(shapely.MultiLineString(lines)).simplify(ON)
        return tuple(
            np.array(pair)
            for line in shapely.get_parts(merged)
            for pair in pairwise(line.coords)
            if np.hypot(*np.subtract(*pair)) > 1e3 * ON
        )

    def thinner(self, thickness: float) -> shapely.Geometry:
        """The parts of the slab that are thinner than that."""
        return shapely.union_all([p for t, p in self.parts if t < thickness - ON])

    def within(self, holds: Callable[[Floats], NDArray[np.bool_]]) -> tuple[float, ...]:
        """The thicknesses [m] of the parts of which some lies where plan points (n, 2) are held."""
        if self.uniform:
            return (self.parts[0][0],)
        return tuple(t for t, part in self.parts if holds(_raster(part)).any())

    def at(self, points: Floats) -> Floats:
        """Thickness (n,) [m] at plan points (n, 2), on a step that of the thinner part."""
        found = np.full(len(points), self.slab.thickness)
        for t, grown in reversed(self._grown):
            found[grown.meets(points)] = t
        return found

    def least_along(self, points: Floats, along: Floats, reach: float) -> Floats:
        """The least thickness (n,) [m] at plan points (n, 2) and along a bar through each, to
        either side as far as `reach` [m]; along : (2,) unit vector."""
        found = self.at(points)
        near = np.flatnonzero(shapely.dwithin(shapely.points(points), self.steps, reach + ON))
        for share in SHARES if len(near) else ():
            places = points[near] + share * reach * along
            on = self._slab.meets(places)
            found[near[on]] = np.minimum(found[near[on]], self.at(places[on]))
        return found

    @cached_property
    def _grown(self) -> tuple[tuple[float, Prepared], ...]:
        return tuple((t, Prepared(part.buffer(DRAWN))) for t, part in self.parts)

    @cached_property
    def _slab(self) -> Prepared:
        return Prepared(region(self.plan, DRAWN).buffer(DRAWN))


def as_drawn(
    bars: SlabBars, panels: Panels, number: int, thicknesses: Thicknesses
) -> SlabBars | None:
    """The bars of a panel at its thickness on the drawing; None where it has several."""
    found = thicknesses.within(partial(panels.holds, number))
    return bars.at(found[0]) if len(found) == 1 else None


def _raster(part: shapely.Geometry) -> Floats:
    """Plan points (n, 2) within every piece of a part."""
    found = []
    for piece in shapely.get_parts(part):
        low, high = np.reshape(shapely.bounds(piece), (2, 2))
        count = np.clip(np.ceil((high - low) / RASTER), LEAST, MOST).astype(int)
        axes = (
            a + (np.arange(n) + 0.5) / n * (b - a) for a, b, n in zip(low, high, count, strict=True)
        )
        points = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
        found.append(points[shapely.contains_xy(piece, *points.T)])
    return np.concatenate(found)

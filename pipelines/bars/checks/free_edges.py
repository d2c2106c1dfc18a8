"""Free edges of the slab, those of openings among them, and how far patches stand from them."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from pipelines.bars.checks.wheel_frames import Turn
from pipelines.deck.deck import Deck
from pipelines.standards.resistance.bars import Direction
from plate.arrays import Floats
from plate.geometry.curves import sampled
from plate.geometry.outline import FINE, region
from plate.geometry.prepared import Prepared

# An edge this near to a supporting line along its whole length is supported by it [m].
ALONG = 0.01


# An edge is free where lines support less than this share of it.
SUPPORTED = 0.9
# Bars end at an edge that they meet at a larger angle than this: its sine.
END = 0.25


@dataclass(frozen=True, kw_only=True)
class OnSlab:
    """What of some patches lies on the slab, as boxes in their frames.

    low, high : (n, 2) corners [m]; share : (n,) of each patch's area; gap_x, gap_y : (n,) clear
    distances to the nearest free edge whose normal is nearer to the frame's x, or to its y [m],
    infinite where there is none.
    """

    low: Floats
    high: Floats
    share: Floats
    gap_x: Floats
    gap_y: Floats


@dataclass(frozen=True, eq=False)
class FreeEdges:
    """The slab in plan and its free edges: those whose normal is nearer to x, to y, None = none."""

    slab: Prepared
    across_x: shapely.MultiLineString | None
    across_y: shapely.MultiLineString | None

    @classmethod
    def of(cls, deck: Deck) -> "FreeEdges":
        """Those of a deck, its openings' among them."""
        slab = region(deck.plan)
        sides = [
            shapely.multilinestrings(edges) if len(edges) else None
            for edges in _free_edges(deck, slab)
        ]
        return cls(Prepared(slab), *sides)


def on_slab(edges: FreeEdges, corners: Floats, turn: Turn) -> OnSlab:
    """Patches given by their corners in plan (n, 4, 2), with their frames."""
    slab = edges.slab
    patches = shapely.polygons(corners)
    areas = shapely.area(patches)
    cut = ~slab.covers(patches)
    patches[cut] = shapely.intersection(patches[cut], slab.geometry)
    gap_x, gap_y = (
        np.full(len(patches), np.inf) if side is None else shapely.distance(patches, side)
        for side in (edges.across_x, edges.across_y)
    )
    # A vehicle that runs across x meets edges across x at its sides.
    swapped = np.abs(np.sin(turn.angle)) > np.abs(np.cos(turn.angle))
    gap_x, gap_y = np.where(swapped, gap_y, gap_x), np.where(swapped, gap_x, gap_y)
    share = shapely.area(patches) / areas
    points, owner = shapely.get_coordinates(patches, return_index=True)
    patches = shapely.set_coordinates(patches, turn.of(owner).from_plan(points))
    # what lies off the slab altogether has no bounds
    bounds = np.nan_to_num(shapely.bounds(patches))
    return OnSlab(low=bounds[:, :2], high=bounds[:, 2:], share=share, gap_x=gap_x, gap_y=gap_y)


def free_edges(deck: Deck) -> tuple[tuple[str, tuple[Direction, ...]], ...]:
    """Edges of the slab and of its openings that no line supports, and the directions of the bars
    that end there."""
    plan, supported = deck.plan, _supported(deck)
    courses = {name: plan.lines[name].course() for name in plan.edges}
    courses |= {f"opening {k}": ring for k, ring in enumerate(plan.openings, start=1)}
    found: list[tuple[str, tuple[Direction, ...]]] = []
    for name, course in courses.items():
        points = sampled(course, FINE)
        edge = shapely.LineString(points)
        if edge.intersection(supported).length >= SUPPORTED * edge.length:
            continue
        steps = np.diff(points, axis=0)
        along = np.abs(steps / np.linalg.norm(steps, axis=1, keepdims=True)).max(axis=0)
        ends: tuple[tuple[Direction, float], ...] = (("x", along[1]), ("y", along[0]))
        found.append((name, tuple(direction for direction, sine in ends if sine > END)))
    return tuple(found)


def _supported(deck: Deck) -> shapely.Polygon:
    """What lies along the supporting lines."""
    lines = [
        shapely.LineString(sampled(deck.plan.lines[line.name].course(full=line.to_edges), FINE))
        for line in deck.lines
    ]
    return shapely.union_all(lines).buffer(ALONG) if lines else shapely.Polygon()


def _free_edges(deck: Deck, slab: shapely.Polygon) -> tuple[Floats, Floats]:
    """Segments (k, 2, 2) of the slab's edge that no line supports, those whose normal is nearer to
    x and those nearer to y."""
    supported = _supported(deck)
    rings = [slab.exterior, *slab.interiors]
    found: tuple[list[Floats], list[Floats]] = ([], [])
    for ring in rings:
        for a, b in pairwise(np.array(ring.coords)):
            left = shapely.LineString([a, b]).difference(supported)
            along = np.abs(b - a)
            mine = found[0] if along[1] >= along[0] else found[1]
            mine += [
                np.array(part.coords) for part in shapely.get_parts(left) if part.length > ALONG
            ]
    empty = np.empty((0, 2, 2))
    x, y = (np.concatenate([empty, *(p[None, [0, -1]] for p in part)]) for part in found)
    return x, y

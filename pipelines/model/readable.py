"""Where fields may be read: away from places of infinite moments, and clear of edges and lines."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipelines.deck.deck import Deck
from plate.arrays import Floats, Ints
from plate.geometry.elementary import distance_from_segments
from plate.geometry.plan import EDGES
from plate.model.model import PlateModel
from plate.model.singular_points import SingularPlace, stiff_ends
from plate.results.fields import FieldPoints

Mask = NDArray[np.bool_]

# Indices in RESULTS of the twisting moment and of the shears.
TWIST, SHEARS = 3, (4, 5)

# Edges of any outline, and openings.
RIM = r"E\d+|opening \d+"
# Points nearer than this to where hogging is read are there [m].
ON_PLACE = 1e-9
# Share of a distance within which a point counts as at that distance.
ROUNDED = 1e-6
# A line longer than the way between its ends by no more than this share is straight.
STRAIGHT = 1e-13
# A place nearer to a line than this is on it [m].
ON_LINE = 1e-6
# Exponent of a place's deflections from which on its moments grow no faster than ln r.
LOGARITHM = 2.0


def away_from(
    places: tuple[SingularPlace, ...],
    model: PlateModel,
    xy: Floats,
    distance: float | Sequence[float],
) -> Mask:
    """Points xy (n, 2) no nearer than `distance` [m] to any of the places; (n,).

    distance : one for all places, or one of each.
    """
    clear = np.ones(len(xy), dtype=bool)
    for place, least in zip(places, np.broadcast_to(distance, len(places)), strict=True):
        clear &= reaches(np.linalg.norm(xy - model.mesh.xy[place.node], axis=1), float(least))
    return clear


def clear_of_lines(model: PlateModel, xy: Floats, distance: float) -> Mask:
    """Points xy (n, 2) no nearer than `distance` [m] to edges, supports and beams; (n,)."""
    mesh = model.mesh
    names = [s.line for s in model.supports] + [b.line for b in model.beams]
    names += [name for name in mesh.lines if name in EDGES or re.fullmatch(RIM, name)]
    sides = [_joined(mesh.xy[mesh.lines[name][:, [0, -1]]]) for name in dict.fromkeys(names)]
    return reaches(distance_from_segments(xy, np.concatenate(sides)), distance)


def _joined(sides: Floats) -> Floats:
    """Sides (n, 2, 2) [m] of cells along a line as one side where they are one straight stretch."""
    points = sides.reshape(-1, 2)
    first, last = points[0], points[-1]
    length = float(np.linalg.norm(sides[:, 1] - sides[:, 0], axis=1).sum())
    reach = float(np.linalg.norm(last - first))
    # Nothing that joins two places is shorter than what is straight.
    contiguous = np.allclose(sides[1:, 0], sides[:-1, 1], rtol=0.0, atol=ROUNDED * length)
    if not contiguous or reach < (1.0 - STRAIGHT) * length:
        return sides
    return np.asarray(np.stack([first, last])[None])


def hogging_points(deck: Deck, points: FieldPoints) -> Mask:
    """Field points (n_point,) at which hogging counts: no nearer to a supporting line than
    `standards.supports` reads it; where no row of points lies there, the row next to it towards the
    line is with them, which is on the safe side."""
    allowed = np.ones(points.n_points, dtype=bool)
    for line in deck.lines:
        path = deck.plan.lines[line.name].full
        gap = distance_from_segments(points.plan, np.stack([path[:-1], path[1:]], axis=1))
        away = gap - line.hogging_at
        corners = away[points.quads]
        cut = (corners.min(axis=1) < -ON_PLACE) & (corners.max(axis=1) > ON_PLACE)
        beside = np.zeros(points.n_points, dtype=bool)
        beside[points.quads[cut]] = True
        allowed &= (away >= -ON_PLACE) | beside
    return allowed


def line_reach(deck: Deck, at: tuple[float, float], thickness: float) -> float:
    """How near to a place on a supporting line hogging is read [m]: where it counts beside the
    line, at least half a thickness; a thickness where it counts on the line itself."""
    found = thickness
    for line in deck.lines:
        path = deck.plan.lines[line.name].full
        sides = np.stack([path[:-1], path[1:]], axis=1)
        on = distance_from_segments(np.array([at]), sides)[0] < ON_LINE
        if on and line.hogging_at > 0.0:
            found = min(found, max(line.hogging_at, 0.5 * thickness))
    return found


@dataclass(frozen=True, eq=False)
class ReadablePoints:
    """Where the fields of a plate may be read, of its field points.

    places : of infinite moments.
    """

    deck: Deck
    model: PlateModel
    places: tuple[SingularPlace, ...]
    points: FieldPoints

    @cached_property
    def ends(self) -> Ints:
        """Nodes (n,) at which moments are infinite within Mindlin's layer alone: where lines that
        hold both slopes run on to free edges. None by thin theory."""
        none = np.zeros(0, dtype=np.int64)
        return none if self.model.section.thin else stiff_ends(self.model)

    @cached_property
    def off_places(self) -> Mask:
        """Points (n_point,) no nearer than one thickness to a singular place, nor to one within the
        layer."""
        t = self.model.section.thickness
        off = away_from(self.places, self.model, self.points.xy, t)
        return off & self._off_ends([t] * len(self.ends))

    @cached_property
    def hogging(self) -> Mask:
        """Points (n_point,) where hogging is to be read: where it counts over supports, off
        singular places, unless no point of the slab is.

        Moments that grow like ln r from a point on a line, or within the layer alone, are finite
        beside the line where hogging counts, and the mesh has them there: they are read to that
        distance from the point, but no nearer than half a thickness.
        """
        t = self.model.section.thickness
        near = [
            line_reach(self.deck, place.at, t) if place.exponent >= LOGARITHM else t
            for place in self.places
        ]
        off = away_from(self.places, self.model, self.points.xy, near)
        ends = [(float(x), float(y)) for x, y in self.model.mesh.plan[self.ends]]
        off &= self._off_ends([line_reach(self.deck, at, t) for at in ends])
        counts = off & hogging_points(self.deck, self.points)
        return counts if counts.any() else self.off_places

    def _off_ends(self, distances: Sequence[float]) -> Mask:
        """Points (n_point,) no nearer than these distances [m] to the nodes of `ends`."""
        clear = np.ones(self.points.n_points, dtype=bool)
        for node, least in zip(self.ends.tolist(), distances, strict=True):
            gap = np.linalg.norm(self.points.xy - self.model.mesh.xy[node], axis=1)
            clear &= reaches(gap, least)
        return clear

    @cached_property
    def off_lines(self) -> Mask:
        """Points (n_point,) no nearer than one thickness to edges, supports and beams."""
        return clear_of_lines(self.model, self.points.xy, self.model.section.thickness)

    @cached_property
    def clear(self) -> Mask:
        """Points (n_point,) off both places and lines, unless no point of the slab is."""
        clear = self.off_places & self.off_lines
        return clear if clear.any() else self.off_places

    def headline(self, component: int) -> Mask:
        """Points (n_point,) where a result may govern: off singular places, shears and by
        Mindlin's theory twisting moments clear of the layer beside lines and edges too."""
        in_layer = component in SHEARS or (component == TWIST and not self.model.section.thin)
        return self.clear if in_layer else self.off_places


def yielding_edges(model: PlateModel) -> Floats:
    """Plan sides (n, 2, 2) [m] of cells on edges of the slab along which nothing holds its slope:
    free, softly supported, on springs or on a beam."""
    ends, owner = model.mesh.edges
    outer = owner[:, 1, 0] < 0
    for support in model.supports:
        if support.hard or support.kind == "clamped":
            outer[model.mesh.edge_index(model.line_edges(support.line)[:, [0, -1]])] = False
    return np.asarray(model.mesh.plan[ends[outer]])


def reaches(gap: Floats, distance: float) -> Mask:
    """Whether gaps (n,) are no less than a distance [m]; points at just that distance, of which
    meshes have many, are clear however their coordinates are rounded."""
    return np.asarray(gap >= (1.0 - ROUNDED) * distance)

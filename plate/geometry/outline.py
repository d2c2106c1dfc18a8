"""Plans of any outline: true arcs, openings, lines anywhere.

Edges of an outline are E1, E2, ... in the order of its corners; E1 leaves the first corner.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from types import MappingProxyType

import numpy as np
import shapely

from plate.arrays import Floats
from plate.errors import GeometryError
from plate.geometry.alignment import Alignment
from plate.geometry.axis import Axis
from plate.geometry.curves import SAME, Curve, meetings, ring_area, sampled
from plate.geometry.plan import Plan, PlanLine

# Points on arcs for drawings and for the way of vehicles stay this close to the arc [m].
DRAWN = 1e-4
# The same for areas and for what lies on the slab.
FINE = 1e-6
# Points along the slab's edge from which its extent beside an axis is taken: their distance [m],
# and how many at most.
APART, MOST = 0.1, 5000

Ring = tuple[Curve, ...]


def outline_plan(
    ring: Sequence[Curve], openings: Sequence[Ring] = (), lines: Mapping[str, Ring] | None = None
) -> Plan:
    """Plan of the slab within a ring of curves.

    Raises
    ------
    GeometryError
        A ring that is open, crosses itself or has no area; an opening not within the slab or
        meeting its edge or another opening; a line that leaves the slab.
    """
    ring = tuple(ring)
    _check_ring(ring, "the outline")
    points = sampled(ring, DRAWN)[:-1]
    edges = {f"E{i + 1}": (curve,) for i, curve in enumerate(ring)}
    plan = Plan(
        alignment=Alignment(),
        outline=points,
        lines=MappingProxyType({name: _line(name, curves) for name, curves in edges.items()}),
        edges=tuple(edges),
        ring=ring,
    )
    return with_lines(with_openings(plan, openings), lines or {})


def with_openings(plan: Plan, openings: Sequence[Ring]) -> Plan:
    """The plan with more openings cut into it. Raises GeometryError, see `outline_plan`."""
    for ring in openings:
        name = f"opening {len(plan.openings) + 1}"
        _check_ring(ring, name)
        if not region(plan).contains_properly(shapely.Polygon(sampled(ring, FINE))):
            raise GeometryError(f"{name} is not wholly within the slab's edges, or meets another")
        plan = replace(plan, openings=(*plan.openings, tuple(ring)))
    return plan


def with_lines(plan: Plan, lines: Mapping[str, Ring]) -> Plan:
    """The plan with further lines. Raises GeometryError for one that leaves the slab's edge."""
    outer = region(replace(plan, openings=())).buffer(10.0 * FINE)
    found = dict(plan.lines)
    for name, curves in lines.items():
        course = shapely.LineString(sampled(curves, FINE))
        if not outer.covers(course):
            raise GeometryError(f"line {name} leaves the slab")
        if not course.is_simple:
            raise GeometryError(f"line {name} crosses itself")
        found[name] = _line(name, curves)
    return replace(plan, lines=MappingProxyType(found))


def _line(name: str, curves: Ring) -> PlanLine:
    points = sampled(curves, DRAWN)
    return PlanLine(name, points, points, tuple(curves))


def _check_ring(ring: Ring, what: str) -> None:
    for curve, following in itertools.pairwise((*ring, ring[0])):
        if np.hypot(*np.subtract(curve.end, following.start)) > SAME:
            raise GeometryError(f"{what} is not closed")
    shape = shapely.Polygon(sampled(ring, FINE)) if len(ring) > 1 else shapely.Polygon()
    if not shape.is_valid or abs(ring_area(ring)) < SAME:
        why = shapely.is_valid_reason(shape) if not shape.is_valid else "no area"
        raise GeometryError(f"{what} crosses or touches itself or has no area ({why})")


def region(plan: Plan, sagitta: float = FINE) -> shapely.Polygon:
    """The slab as a polygon whose sides stay within `sagitta` [m] of its arcs."""
    rings = [_ring_points(tuple(ring), sagitta) for ring in plan.boundary]
    return shapely.Polygon(rings[0], rings[1:])


@lru_cache(maxsize=1024)
def _ring_points(ring: Ring, sagitta: float) -> Floats:
    """Points of a ring, kept since a plan of many openings is asked for its region at each."""
    points = sampled(ring, sagitta)
    points.flags.writeable = False
    return points


def plan_area(plan: Plan) -> float:
    """Area [m2] of the slab on the ground, exact."""
    if not plan.alignment.straight:
        rings = [sampled(ring, FINE)[:-1] for ring in plan.boundary]
        areas = [abs(float(plan.alignment.polygon_area(points))) for points in rings]
    else:
        areas = [abs(ring_area(ring)) for ring in plan.boundary]
    return areas[0] - sum(areas[1:])


def over_opening(plan: Plan, name: str, *, full: bool = False) -> int | None:
    """The first opening, counted from 0, that a line runs over, None where it runs over none."""
    course = shapely.LineString(sampled(plan.lines[name].course(full=full), FINE))
    for k, ring in enumerate(plan.openings):
        hole = shapely.Polygon(sampled(ring, FINE)).buffer(-10.0 * FINE)
        if hole.intersection(course).length > SAME:
            return k
    return None


def plan_limits(plan: Plan, axis: Axis | None) -> Floats:
    """Least and largest station and offset (2, 2) of the slab [m]: beside an axis, to within a few
    millimetres where it bends, else its coordinates in plan."""
    if axis is None:
        return plan.alignment.limits(plan.outline)
    edge = region(plan, DRAWN).exterior
    points = shapely.segmentize(edge, max(APART, edge.length / MOST))
    return axis.limits(np.asarray(shapely.get_coordinates(points)))


def band(plan: Plan, axis: Axis | None, offsets: tuple[float, float]) -> shapely.Polygon:
    """What lies between two offsets [m] from an axis, or of the plan's own, over the slab's extent
    along it, on the slab or beside it; its sides stay within `DRAWN` of arcs. Not valid where it
    meets itself."""
    (first, _), (last, _) = plan_limits(plan, axis).tolist()
    low, high = offsets
    if axis is None:
        return shapely.box(first, low, last, high)
    along = axis.stations(first, last, DRAWN)
    sides = [axis.to_plan(np.column_stack([along, np.full(len(along), y)])) for y in offsets]
    return shapely.Polygon(np.concatenate([sides[0], sides[1][::-1]]))


def covers(plan: Plan, path: Floats) -> bool:
    """Whether a polyline of plan points (n, 2) stays on the slab, its edges included."""
    return bool(region(plan).buffer(10.0 * FINE).covers(shapely.LineString(path)))


def crossings(plan: Plan, name: str, *, full: bool = False) -> dict[str, list[float]]:
    """Where a line meets every other line of the plan, taken to its full extent: distances along
    the line from its first end [m] by name, lines that it does not meet left out."""
    own = plan.lines[name].course(full=full)
    starts = np.concatenate([[0.0], np.cumsum([curve.length for curve in own])])
    found: dict[str, list[float]] = {}
    for other, line in plan.lines.items():
        if other == name:
            continue
        places: list[float] = []
        for k, curve in enumerate(own):
            for there in line.course(full=True):
                places += [float(starts[k] + s * curve.length) for s, _ in meetings(curve, there)]
        apart: list[float] = []
        for place in sorted(places):
            if not apart or place - apart[-1] > 10.0 * SAME:
                apart.append(place)
        if apart:
            found[other] = apart
    return found


def inscribed_diameter(shape: shapely.Polygon) -> float:
    """Diameter of the largest circle within a polygon [m]."""
    tolerance = 1e-3 * float(np.sqrt(shape.area))
    return 2.0 * float(shapely.length(shapely.maximum_inscribed_circle(shape, tolerance)))


def narrowest_panel(plan: Plan, names: Sequence[str], least: float) -> float:
    """The smallest inscribed diameter [m] of the parts into which the named lines divide the
    slab, parts narrower than `least` left out unless there are no others."""
    courses = [sampled(plan.lines[name].course(full=True), DRAWN) for name in names]
    edges = [sampled(ring, DRAWN) for ring in plan.boundary]
    cuts = shapely.unary_union([shapely.LineString(points) for points in [*edges, *courses]])
    slab = region(plan, DRAWN)
    panels = shapely.get_parts(shapely.polygonize(shapely.get_parts(cuts).tolist()))
    widths = [
        inscribed_diameter(panel) for panel in panels if slab.contains(panel.representative_point())
    ]
    wide = [width for width in widths if width >= least]
    return min(wide) if wide else max(widths)


def points_of(rings: Sequence[Ring], sagitta: float = DRAWN) -> list[Floats]:
    """Closed polygons (n, 2) of rings, the first point not repeated."""
    return [sampled(ring, sagitta)[:-1] for ring in rings]

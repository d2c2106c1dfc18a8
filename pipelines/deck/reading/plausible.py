"""Values within their bounds that cannot be meant together: slips of unit, things in one place.

The limits lie far outside of what is built (common practice, with room); they do not say what is
good engineering.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import shapely

from pipelines.deck.deck import Line, Point, Slab
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.deck.reading.supports_schema import BeamTable
from pipelines.deck.traffic import SAME
from pipelines.numbers import number
from pipelines.standards.actions.loads import Axle
from plate.arrays import Floats
from plate.geometry.curves import sampled
from plate.geometry.outline import FINE, region
from plate.geometry.plan import Plan

# Radius of gyration of a beam, the root of I/A [m]. Half the distance between flanges or chords is
# the most that it can be, and trusses 20 m high are rare; flats of 20 mm have 6 mm.
GYRATION = (5e-3, 10.0)
# Distance of the slab's farthest point from all that carries it, in thicknesses: half a span, or a
# cantilever. Slabs span 15 to 40 thicknesses.
FAR, TOO_FAR, NEAR = 40.0, 100.0, 1.0
# Points looked at along each side of a slab, of one that is plainly in order, and along a line.
LATTICE, FEW, ALONG = 97, 17, 65
# A carriageway may be wider than the slab, which may be a part of a deck: so many times at most.
WIDEST_CARRIAGEWAY = 3.0


def check_beam(key: str, beam: BeamTable, mistakes: Mistakes) -> None:
    """Tells a beam section whose radius of gyration no section has."""
    radius = 1e-2 * (beam.I_cm4 / beam.A_cm2) ** 0.5
    low, high = GYRATION
    if low <= radius <= high:
        return
    slip = ""
    for unit, factor in (("mm4", 1e-4), ("m4", 1e8)):
        if low <= radius * factor**0.5 <= high:
            slip = f"; {beam.I_cm4:g} {unit} would be {beam.I_cm4 * factor:g} cm4"
    mistakes.add(
        f"{key}.I_cm4",
        beam.I_cm4,
        f"the root of I/A is {radius:.3g} m with A_cm2 = {beam.A_cm2:g}; allowed is {low:g} to "
        f"{high:g} m{slip}",
    )


def check_size(
    slab: Slab,
    plan: Plan,
    lines: Sequence[Line],
    points: Sequence[Point],
    mistakes: Mistakes,
    warnings: list[str],
) -> None:
    """Tells a slab that is too large, or too small, between its supports for its thickness: a
    drawing or a plan in the wrong unit."""
    carrying: list[shapely.Geometry] = [
        _course(plan, line) for line in lines if line.support != "spring" or line.k > 0.0
    ]
    carrying += [shapely.Point(point.at) for point in points]
    if not carrying or slab.rigidity is not None:
        return
    area, carried = region(plan), shapely.union_all(carrying)
    reach, most = _farthest(area, carried, FEW)
    if reach >= NEAR * slab.thickness and most <= FAR * slab.thickness:
        return
    reach, _ = _farthest(area, carried, LATTICE)
    extent = " m by ".join(f"{size:.4g}" for size in np.ptp(plan.outline, axis=0))
    ratio = reach / slab.thickness
    told = (
        f"the slab of {extent} m and {1e3 * slab.thickness:g} mm has a place about {number(reach)} "
        f"m away from all that carries it, {number(ratio)} times its thickness"
    )
    if ratio > TOO_FAR:
        mistakes.add(
            "[plan]", None, f"{told}; allowed is {TOO_FAR:g} times at most. {_units(plan)}"
        )
    elif ratio > FAR:
        warnings.append(f"{told}: more than slabs have. {_units(plan)}")
    elif ratio < NEAR:
        warnings.append(f"{told}, and none farther: no plate. {_units(plan)}")


def _units(plan: Plan) -> str:
    unit = "" if plan.is_grid else ", and dxf_unit of a drawing"
    return f"Check the unit of the plan, m{unit}, and the supports"


def _farthest(slab: shapely.Geometry, carried: shapely.Geometry, n: int) -> tuple[float, float]:
    """Largest distance from all that carries the slab [m]: that of its points on a lattice of n by
    n, and what no point of it exceeds."""
    left, low, right, high = slab.bounds
    grid = np.meshgrid(np.linspace(left, right, n), np.linspace(low, high, n))
    x, y = (values.ravel() for values in grid)
    shapely.prepare(slab)
    inside = shapely.intersects_xy(slab, x, y)
    distances = shapely.distance(shapely.points(x, y), carried)
    corners = shapely.distance(shapely.points(shapely.get_coordinates(slab)), carried)
    between = 0.5 * np.hypot(right - left, high - low) / (n - 1)
    found = max(distances[inside].max(initial=0.0), corners.max())
    return float(found), float(distances.max() + between)


def _course(plan: Plan, line: Line) -> shapely.LineString:
    return shapely.LineString(sampled(plan.lines[line.name].course(full=line.to_edges), FINE))


def check_flanges(plan: Plan, lines: Sequence[Line], mistakes: Mistakes) -> None:
    """Tells neighbouring supports whose widths overlap along all of one of them."""
    wide = [(line, _course(plan, line)) for line in lines if line.width > 0.0]
    for (one, a), (other, b) in combinations(wide, 2):
        room = 0.5 * (one.width + other.width)
        if a.distance(b) >= room - SAME or a.intersects(b):
            continue
        gap = min(float(shapely.distance(_along(p), q).max()) for p, q in ((a, b), (b, a)))
        if gap < room - SAME:
            mistakes.add(
                "[[line]] width_mm",
                1e3 * other.width,
                f"{one.name} and {other.name} overlap: they are {gap:.4g} m apart and half their "
                f"widths are {room:.4g} m together",
            )
            return  # one width is of many lines mostly


def _along(course: shapely.LineString) -> np.ndarray:
    return np.asarray(
        shapely.line_interpolate_point(course, np.linspace(0.0, 1.0, ALONG), normalized=True)
    )


def check_wheels(where: str, axles: Sequence[Axle], mistakes: Mistakes) -> None:
    """Tells wheels of a vehicle that stand in one place, once for each two axles."""
    for i, front in enumerate(axles):
        for j, rear in enumerate(axles[i:], start=i):
            if rear.at - front.at >= 0.5 * (front.patch[0] + rear.patch[0]) - SAME and i != j:
                continue
            gaps = np.abs(np.subtract.outer(front.wheels, rear.wheels))
            if i == j:
                np.fill_diagonal(gaps, np.inf)
            room = 0.5 * (front.patch[1] + rear.patch[1])
            if gaps.min() < room - SAME:
                whose = "each other" if i == j else f"those of axle {i + 1}"
                mistakes.add(
                    f"{where}, axles {j + 1}, patch_mm",
                    [1e3 * side for side in rear.patch],
                    f"its wheels overlap {whose}: they are {gaps.min():.4g} m apart and "
                    f"{room:.4g} m wide",
                )


def check_carriageway(carriageway: Sequence[float], edges: Floats, mistakes: Mistakes) -> None:
    """Tells a carriageway that is many times as wide as the slab; edges : of the slab [m]."""
    width, slab = carriageway[1] - carriageway[0], float(edges[1] - edges[0])
    if width > WIDEST_CARRIAGEWAY * slab:
        mistakes.add(
            "[traffic] carriageway_m",
            list(carriageway),
            f"{width:.4g} m wide on a slab of {slab:.4g} m; allowed is {WIDEST_CARRIAGEWAY:g} "
            "times the slab at most",
        )

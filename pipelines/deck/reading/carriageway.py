"""The carriageway of a deck file: its edges and, on a plan of any outline, its axis."""

from collections.abc import Sequence

import numpy as np
import shapely

from pipelines.deck.deck import Line
from pipelines.deck.reading.chains import read_chain
from pipelines.deck.reading.loads_schema import TrafficTable
from pipelines.deck.reading.mistakes import Mistakes, shown
from pipelines.deck.reading.plausible import check_carriageway
from pipelines.deck.traffic import SAME, Traffic
from pipelines.numbers import length
from plate.errors import GeometryError
from plate.geometry.axis import Axis
from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN, band, inscribed_diameter, plan_limits, region
from plate.geometry.plan import Plan
from plate.geometry.smoothing import smoothed

EDGES_KEY = "[traffic] carriageway_m"
AXIS_KEY = "[traffic] carriageway_axis_m"
# A part of the slab beyond the carriageway in which a circle of this diameter has room is told:
# kerbs, parapets and verges are narrower (common practice) [m].
ROOM = 1.5
# A smaller area is none [m2].
NOTHING = 1e-6
# Overhangs of an outline: into how many pieces lines are cut, places looked at along and across the
# carriageway, and how far beyond a line they count [m].
PIECES, PLACES, ALONG = 200, 97, 0.01


def axis_of(
    table: TrafficTable, plan: Plan, mistakes: Mistakes, warnings: list[str]
) -> Axis | None:
    """The axis of the carriageway, chords that were a curve smooth; None where it runs along the
    plan's own stations, or has mistakes."""
    if table.carriageway_axis_m is None:
        return None
    if plan.is_grid:
        allowed = "belongs to a plan of outline_m or dxf; over C and L lines traffic runs along x"
        mistakes.add(AXIS_KEY, None, allowed)
        return None
    chain = read_chain(table.carriageway_axis_m, AXIS_KEY, mistakes, closed=False)
    if not chain:
        return None
    found = smoothed(chain)
    try:
        axis = Axis(found.curves)
    except GeometryError as error:
        mistakes.add(AXIS_KEY, None, str(error))
        return None
    if found.corners:
        warnings.append(
            f"the carriageway's axis is drawn as chords that turn by {np.degrees(found.turn):.2g}° "
            f"at most; it is read as the smooth curve through their {found.corners} corners, "
            f"{1e3 * found.move:.2g} mm from the chords at most"
        )
    return axis


def check_edges(traffic: Traffic, plan: Plan, mistakes: Mistakes, warnings: list[str]) -> bool:
    """Whether the edges of the carriageway lie about the slab as they may; tells what is wrong,
    and what of the slab lies beyond them on a plan of any outline."""
    low, high = traffic.carriageway
    left, right = plan_limits(plan, traffic.axis)[:, 1].tolist()
    of_axis = "" if traffic.axis is None else " from the axis"
    if low >= high:
        mistakes.add(EDGES_KEY, [low, high], "the left edge first, then the right")
        return False
    if high <= left or low >= right:
        mistakes.add(
            EDGES_KEY,
            [low, high],
            f"beside the slab, which reaches from {left:g} to {right:g} m{of_axis}",
        )
        return False
    before = len(mistakes.lines)
    check_carriageway((low, high), np.array([left, right]), mistakes)
    if low < left or high > right:
        warnings.append(
            f"the carriageway {shown([low, high])} m is wider than the slab, which reaches from "
            f"{left:g} to {right:g} m{of_axis}; wheels beside the slab load nothing"
        )
    if traffic.axis is not None:
        _check_axis(traffic, traffic.axis, plan, mistakes)
    if len(mistakes.lines) > before:
        return False
    if not plan.is_grid:
        _tell_beyond(traffic, plan, mistakes, warnings)
    return True


def _check_axis(traffic: Traffic, axis: Axis, plan: Plan, mistakes: Mistakes) -> None:
    """Tells edges beyond a centre of the axis, and a carriageway that meets itself."""
    for edge in traffic.carriageway:
        if axis.least_stretch(np.array([edge])) <= 0.0:
            radius = float(1.0 / np.abs(axis.curvature).max())
            allowed = f"reaches the centre of an arc of the axis, whose radius is {radius:.4g} m"
            mistakes.add(EDGES_KEY, edge, allowed)
            return
    shape = band(plan, axis, traffic.carriageway)
    if not shape.is_valid:
        why = shapely.is_valid_reason(shape)
        allowed = f"the carriageway along it meets itself beside the slab ({why})"
        mistakes.add(AXIS_KEY, None, allowed)


def _tell_beyond(traffic: Traffic, plan: Plan, mistakes: Mistakes, warnings: list[str]) -> None:
    """A sentence on what of the slab lies beyond the edges of the carriageway, if a wheel line has
    room there."""
    slab = region(plan, DRAWN)
    road = band(plan, traffic.axis, traffic.carriageway)
    if slab.intersection(road).area < NOTHING:
        mistakes.add(
            EDGES_KEY if traffic.axis is None else AXIS_KEY, None, "no part of it is on the slab"
        )
        return
    for part in shapely.get_parts(slab.difference(road)):
        if (
            isinstance(part, shapely.Polygon)
            and part.area > NOTHING
            and inscribed_diameter(part) > ROOM
        ):
            x0, y0, x1, y1 = part.bounds
            warnings.append(
                f"{part.area:.3g} m2 of the slab, x from {length(x0)} to {length(x1)} m and y from "
                f"{length(y0)} to {length(y1)} m, lie beyond the edges of the carriageway: no "
                "wheel and no lane is set there; carriageway_m and carriageway_axis_m say where "
                "traffic runs"
            )


def on_overhang(
    carriageway: tuple[float, float], plan: Plan, lines: Sequence[Line], axis: Axis | None
) -> tuple[bool, bool]:
    """Whether the left and the right kerb stand on the slab beyond the outermost line along the
    deck that carries it; on plans without such lines none does."""
    if not plan.is_grid:
        return _on_overhang_of_outline(carriageway, plan, lines, axis)
    limits = plan.line_offsets(np.array(plan.u_range))
    names = ["left", *(f"L{k}" for k in range(1, limits.shape[1] - 1)), "right"]
    named = {line.name for line in lines if line.support != "spring" or line.k > 0}
    carrying = [k for k, name in enumerate(names) if name in named]
    if not carrying:
        return False, False
    first, last = limits[:, carrying[0]], limits[:, carrying[-1]]
    left = carrying[0] > 0 and bool((first > max(carriageway[0], limits[:, 0].min()) + SAME).any())
    right = carrying[-1] < len(names) - 1 and bool(
        (last < min(carriageway[1], limits[:, -1].max()) - SAME).any()
    )
    return left, right


def _on_overhang_of_outline(
    carriageway: tuple[float, float], plan: Plan, lines: Sequence[Line], axis: Axis | None
) -> tuple[bool, bool]:
    """The same where lines lie anywhere: whether the slab has a place between the kerb and the
    outermost of the lines that run more along traffic than across it."""
    tracks = []
    for line in lines:
        if line.support == "spring" and line.k == 0.0:
            continue
        course = shapely.LineString(sampled(plan.lines[line.name].course(), DRAWN))
        points = np.asarray(
            shapely.get_coordinates(shapely.segmentize(course, course.length / PIECES))
        )
        track = points if axis is None else axis.to_track(points)
        if np.ptp(track[:, 0]) > np.ptp(track[:, 1]):
            tracks.append(track[np.argsort(track[:, 0])])
    if not tracks:
        return False, False
    first, last = plan_limits(plan, axis)[:, 0]
    stations, offsets = np.linspace(first, last, PLACES), np.linspace(*carriageway, PLACES)
    beside = [
        np.interp(stations, track[:, 0], track[:, 1], left=np.nan, right=np.nan) for track in tracks
    ]
    low, high = np.fmin.reduce(beside)[:, None], np.fmax.reduce(beside)[:, None]
    places = np.stack(np.meshgrid(stations, offsets, indexing="ij"), axis=-1)
    on_slab = plan.contains(places if axis is None else axis.to_plan(places))
    left, right = offsets < low - ALONG, offsets > high + ALONG
    return bool((left & on_slab).any()), bool((right & on_slab).any())

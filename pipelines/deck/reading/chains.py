"""Chains of straight lines and arcs as a deck file gives them, corner by corner."""

from collections.abc import Iterable, Sequence
from math import hypot

from pipelines.deck.reading.dxf import Chain
from pipelines.deck.reading.mistakes import Mistakes
from pipelines.deck.reading.schema import CornerTable
from plate.errors import GeometryError
from plate.geometry.curves import Curve, Point, arc_through

LEAST_GAP = 0.01  # m between neighbouring lines, corners, or between a line and the edge beyond it


def read_chain(
    corners: Iterable[CornerTable], key: str, mistakes: Mistakes, *, closed: bool
) -> Chain:
    """Straight lines and arcs over corners; none where there is a mistake."""
    curves: list[Curve] = []
    first: Point | None = None
    last: Point | None = None
    for i, corner in enumerate(corners):
        where = f"{key} {i + 1}"
        straight = corner.corner_m is not None
        if straight == (corner.arc_to_m is not None) or straight == (corner.through_m is not None):
            mistakes.add(where, None, "give [x, y], or { arc_to_m = [x, y], through_m = [x, y] }")
            return ()
        end = point(corner.corner_m or corner.arc_to_m or [])
        if last is None:
            if not straight:
                mistakes.add(where, None, "an arc needs a corner before it; start with [x, y]")
                return ()
            first = last = end
            continue
        if gap(last, end) < LEAST_GAP and (straight or end != first):
            mistakes.add(where, end, f"must be {LEAST_GAP} m or more from the corner before it")
            return ()
        if straight:
            curves.append(Curve(last, end))
        else:
            try:
                curves.append(arc_through(last, point(corner.through_m or []), end))
            except GeometryError as error:
                mistakes.add(f"{where}, through_m", corner.through_m, str(error))
                return ()
        last = end
    assert first is not None
    assert last is not None
    if closed and last != first:
        if gap(last, first) < LEAST_GAP:
            allowed = f"must be the first corner, or {LEAST_GAP} m or more from it"
            mistakes.add(f"{key}, last", last, allowed)
            return ()
        curves.append(Curve(last, first))
    if not curves or (closed and len(curves) < 2):
        mistakes.add(key, None, "encloses nothing" if closed else "has no length")
        return ()
    return tuple(curves)


def point(values: Sequence[float]) -> Point:
    return values[0], values[1]


def gap(a: Point, b: Point) -> float:
    return hypot(a[0] - b[0], a[1] - b[1])

"""Curves on layers of a DXF drawing, in plan coordinates.

A drawing's (X, Y), seen from above with Y up the page, become x = X, y = -Y. Closed and open
polylines with bulges, lines, arcs and circles of the model space are read; separate ones that
meet are joined. The file is anybody's: whatever it holds, curves come back or one clear error.
"""

from collections.abc import Iterable
from itertools import pairwise
from math import atan, cos, isfinite, radians, sin, tau
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.deck.reading.mistakes import printable
from pipelines.deck.reading.plan_schema import DrawingUnit
from pipelines.system.files import UnreadableError, read_plain
from plate.geometry.curves import Curve, Point, circle

Chain = tuple[Curve, ...]

LARGEST_FILE = 20_000_000  # bytes
MOST_CURVES = 2000  # on one layer
FARTHEST = 1e4  # m from the drawing's origin
# Ends of separate curves closer than this are joined [m].
JOINED = 1e-4

SCALES: dict[DrawingUnit, float] = {"m": 1.0, "cm": 1e-2, "mm": 1e-3}
# The header's $INSUNITS, DXF reference: 4 millimetres, 5 centimetres, 6 metres.
HEADER_UNITS: dict[int, DrawingUnit] = {4: "mm", 5: "cm", 6: "m"}
# What may stand on a layer beside curves and means nothing for the plan.
NOTES = frozenset(
    {"TEXT", "MTEXT", "DIMENSION", "LEADER", "MULTILEADER", "POINT", "HATCH", "ATTDEF"}
)


class DrawingError(Exception):
    """What is wrong with a drawing, in one sentence."""


class Drawing:
    """The model space of a DXF file.

    unit : of its lengths; None = as its header says.

    Raises
    ------
    DrawingError
        Not a readable DXF file, too large, or without a unit.
    """

    def __init__(self, path: Path, unit: DrawingUnit | None) -> None:
        document = _document(path)
        header = HEADER_UNITS.get(_header_unit(document))
        if unit is None and header is None:
            raise DrawingError("the drawing's header states no unit; give dxf_unit")
        self._scale = SCALES[unit or header or "m"]
        self._entities: dict[str, list[Any]] = {}
        for entity in document.modelspace():
            # An entity that the parser does not know has no layer.
            layer = entity.dxf.get("layer") if entity.dxf.is_supported("layer") else "0"
            self._entities.setdefault(str(layer).lower(), []).append(entity)

    @property
    def layers(self) -> list[str]:
        """Layers on which something stands, in lower case."""
        return sorted(self._entities)

    def chains(self, layer: str) -> list[Chain]:
        """The curves on a layer, joined where they meet, in the order of the drawing.

        Raises DrawingError for a layer that is empty or holds what is no plan curve.
        """
        found: list[Chain] = []
        for entity in self._entities.get(layer.lower(), []):
            kind = entity.dxftype()
            if kind in NOTES:
                continue
            try:
                chain = _curves(entity, self._scale)
            except DrawingError as error:
                raise DrawingError(f"{kind} on layer {printable(layer)}: {error}") from None
            except Exception as error:  # as below
                words = f"cannot be read ({_words(error)})"
                raise DrawingError(f"{kind} on layer {printable(layer)}: {words}") from None
            if chain:
                found.append(chain)
        if sum(len(chain) for chain in found) > MOST_CURVES:
            raise DrawingError(f"more than {MOST_CURVES} curves on layer {printable(layer)}")
        if not found:
            listed = ", ".join(printable(name) for name in self.layers[:12]) or "none"
            raise DrawingError(
                f"no curves on layer {printable(layer)}; layers with something on them: {listed}"
            )
        return _joined(found, layer)


def _document(path: Path) -> Any:
    from ezdxf import filemanagement  # here, since few decks need it and it takes a second

    try:
        read_plain(path, LARGEST_FILE)
    except UnreadableError as error:
        raise DrawingError(str(error)) from None
    try:
        return filemanagement.readfile(path)
    except Exception as error:  # a parser fed with anything may raise anything
        raise DrawingError(f"is not a DXF file that can be read ({_words(error)})") from None


def _words(error: Exception) -> str:
    return printable(str(error)) or type(error).__name__


def _header_unit(document: Any) -> int:
    value = document.header.get("$INSUNITS", 0)
    return value if isinstance(value, int) else 0


def _curves(entity: Any, scale: float) -> Chain:
    """The curves of one entity; none of a polyline without length."""
    kind = entity.dxftype()
    if kind == "LINE":
        start, end = _point(entity.dxf.start, scale), _point(entity.dxf.end, scale)
        return () if start == end else (Curve(start, end),)
    if kind in ("ARC", "CIRCLE", "LWPOLYLINE", "POLYLINE"):
        normal = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
        if abs(normal[0]) > 1e-9 or abs(normal[1]) > 1e-9 or normal[2] <= 0.0:
            raise DrawingError("is mirrored or not drawn in plan (its extrusion is not +Z)")
    if kind == "CIRCLE":
        centre = _point(entity.dxf.center, scale)
        return circle(centre, 2.0 * _length(entity.dxf.radius, scale))
    if kind == "ARC":
        return (_arc(entity, scale),)
    if kind == "LWPOLYLINE":
        rows = [((x, y), bulge) for x, y, bulge in entity.get_points("xyb")]
        return _polyline(rows, bool(entity.closed), scale)
    if kind == "POLYLINE":
        if not entity.is_2d_polyline or entity.dxf.flags & 6:
            raise DrawingError("is a mesh, a 3D polyline or fitted to a curve; draw arcs instead")
        vertices = [(v.dxf.location, v.dxf.get("bulge", 0.0)) for v in entity.vertices]
        return _polyline(vertices, bool(entity.is_closed), scale)
    raise DrawingError("only lines, arcs, circles and polylines make a plan; explode or redraw it")


def _arc(entity: Any, scale: float) -> Curve:
    x, y = _point(entity.dxf.center, scale)
    r = _length(entity.dxf.radius, scale)
    first, last = entity.dxf.start_angle, entity.dxf.end_angle
    if not (isfinite(first) and isfinite(last)):
        raise DrawingError("has an angle that is no number")
    sweep = radians((last - first) % 360.0) or tau
    if sweep > tau - 1e-6:
        raise DrawingError("is a full circle drawn as an arc; draw a circle")
    # Turned in the drawing from X to Y, in plan from x to -y.
    a, b = -radians(first), -radians(first) - sweep
    start, end = (x + r * cos(a), y + r * sin(a)), (x + r * cos(b), y + r * sin(b))
    return Curve(start, end, -sweep)


def _polyline(rows: Iterable[tuple[Any, float]], closed: bool, scale: float) -> Chain:
    points = [(_point(at, scale), float(bulge)) for at, bulge in rows]
    if closed and len(points) > 1 and _apart(points[0][0], points[-1][0]) > JOINED:
        points.append((points[0][0], 0.0))
    curves = []
    for (start, bulge), (end, _) in pairwise(points):
        if not isfinite(bulge) or abs(bulge) > 1e3:
            raise DrawingError("has a bulge out of range")
        if start != end:
            curves.append(Curve(start, end, -4.0 * atan(bulge) if abs(bulge) > 1e-9 else 0.0))
    return tuple(curves)


def _point(at: Any, scale: float) -> Point:
    x, y = float(at[0]) * scale, -float(at[1]) * scale
    if not (isfinite(x) and isfinite(y) and max(abs(x), abs(y)) <= FARTHEST):
        raise DrawingError(
            f"has a point further than {FARTHEST:g} m from the drawing's origin; is the unit right?"
        )
    return x, y + 0.0


def _length(value: float, scale: float) -> float:
    length = float(value) * scale
    if not (isfinite(length) and 0.0 < length <= FARTHEST):
        raise DrawingError("has a radius out of range")
    return length


def _apart(a: Point, b: Point) -> float:
    return max(abs(a[0] - b[0]), abs(a[1] - b[1]))


def _joined(chains: list[Chain], layer: str) -> list[Chain]:
    """Chains joined end to end, the first one's direction kept."""
    ends = [end for chain in chains for end in (chain[0].start, chain[-1].end)]
    meeting = _meeting(chains, ends, layer)
    joined, taken = [], set[int]()
    for k, chain in enumerate(chains):
        if k in taken:
            continue
        taken.add(k)
        if not _is_closed(chain):
            onwards = _continued(chains, meeting, 2 * k + 1, taken)
            backwards = _continued(chains, meeting, 2 * k, taken)
            chain = (*_turned(backwards), *chain, *onwards)
        joined.append(_snapped(chain))
    return joined


def _meeting(chains: list[Chain], ends: list[Point], layer: str) -> dict[int, int]:
    """Which ends of open chains meet, by their numbers: 2 k and 2 k + 1 are those of chain k.

    Raises DrawingError where more than two meet.
    """
    from scipy.spatial import cKDTree  # here, since few decks need it

    open_ends = [i for i in range(len(ends)) if not _is_closed(chains[i // 2])]
    if not open_ends:
        return {}
    tree = cKDTree([ends[i] for i in open_ends])
    near: dict[int, list[int]] = {i: [] for i in open_ends}
    for a, b in tree.query_pairs(JOINED, p=np.inf, output_type="ndarray").tolist():
        near[open_ends[a]].append(open_ends[b])
        near[open_ends[b]].append(open_ends[a])
    for i in open_ends:
        if len(near[i]) > 1:
            x, y = ends[i]
            raise DrawingError(
                f"curves on layer {printable(layer)} branch, or lie twice upon each other, at "
                f"({x:.3f}, {0.0 - y:.3f}) m of the drawing"
            )
    return {i: others[0] for i, others in near.items() if others}


def _continued(chains: list[Chain], meeting: dict[int, int], end: int, taken: set[int]) -> Chain:
    """What goes on from an end of a chain, turned away from it; its chains are taken."""
    found: list[Curve] = []
    while (other := meeting.get(end)) is not None and other // 2 not in taken:
        k = other // 2
        taken.add(k)
        found += chains[k] if other % 2 == 0 else _turned(chains[k])
        end = other ^ 1
    return tuple(found)


def _turned(chain: Chain) -> Chain:
    return tuple(curve.reversed() for curve in reversed(chain))


def _is_closed(chain: Chain) -> bool:
    return len(chain) > 1 and _apart(chain[0].start, chain[-1].end) <= JOINED


def _snapped(chain: Chain) -> Chain:
    """The chain with every curve starting exactly where the one before it ends."""
    points = [chain[0].start, *(curve.end for curve in chain)]
    if _is_closed(chain):
        points[-1] = points[0]
    ends = zip(chain, pairwise(points), strict=True)
    return tuple(Curve(start, end, curve.sweep) for curve, (start, end) in ends)

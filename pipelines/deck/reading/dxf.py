"""Curves on layers of a DXF drawing, in plan coordinates.

A drawing's (X, Y), seen from above with Y up the page, become x = X, y = -Y. Closed and open
polylines with bulges, lines, arcs and circles of the model space are read; separate ones that
meet are joined. The file is anybody's: whatever it holds, curves come back or one clear error.
"""

import stat
from collections.abc import Iterable, Iterator
from itertools import pairwise
from math import atan, cos, isfinite, radians, sin, tau
from pathlib import Path
from typing import Any

from pipelines.deck.reading.mistakes import printable
from pipelines.deck.reading.schema import DrawingUnit
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
        info = path.stat()
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not a file name"
        raise DrawingError(f"cannot be read ({reason})") from None
    if not stat.S_ISREG(info.st_mode):
        raise DrawingError("is not a plain file")
    if info.st_size > LARGEST_FILE:
        raise DrawingError(
            f"has {info.st_size / 1e6:.1f} MB; allowed is {LARGEST_FILE / 1e6:g} MB at most"
        )
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
    waiting = [chain for chain in chains if not _is_closed(chain)]
    ends = [end for chain in waiting for end in (chain[0].start, chain[-1].end)]
    for end in ends:
        if sum(_apart(end, other) <= JOINED for other in ends) > 2:
            raise DrawingError(
                f"curves on layer {printable(layer)} branch, or lie twice upon each other, at "
                f"({end[0]:.3f}, {0.0 - end[1]:.3f}) m of the drawing"
            )
    return [_snapped(chain) for chain in _in_order(chains)]


def _in_order(chains: list[Chain]) -> Iterator[Chain]:
    """Each closed chain as it is, and each open one with those that continue it: first onwards
    from its end, then backwards from its start."""
    left = list(chains)
    while left:
        chain = left.pop(0)
        while not _is_closed(chain):
            onwards = _continuing(left, chain[-1].end)
            if onwards is not None:
                chain = (*chain, *onwards)
                continue
            backwards = _continuing(left, chain[0].start)
            if backwards is None:
                break
            chain = (*_turned(backwards), *chain)
        yield chain


def _continuing(left: list[Chain], end: Point) -> Chain | None:
    """The open chain that starts or ends at a point, turned to start there and taken from the
    list."""
    for k, chain in enumerate(left):
        if not _is_closed(chain):
            for candidate in (chain, _turned(chain)):
                if _apart(candidate[0].start, end) <= JOINED:
                    del left[k]
                    return candidate
    return None


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

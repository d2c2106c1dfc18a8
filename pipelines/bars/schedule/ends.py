"""Ends of bars at the slab's edges: anchorage past end supports, U-bars, bars along the edge."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely

from pipelines.bars.checks.free_edges import free_edges
from pipelines.bars.schedule.lines import (
    BarLine,
    Course,
    LaidBars,
    arc_radius,
    course_of,
    in_bend,
    true_length,
)
from pipelines.bars.schedule.marks import (
    EndAnchorage,
    Mark,
    PlacedBar,
    down,
    side_by_side,
    u_length,
    up,
)
from pipelines.bars.schedule.pieces import Used, lapped
from pipelines.deck.deck import Deck, Line
from pipelines.standards.detailing.laps import ENDS, bend_radius, end_length
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    Direction,
    Layer,
    SlabBars,
)
from plate.arrays import Floats
from plate.geometry.curves import sampled
from plate.geometry.outline import DRAWN

MOST_ENDS = 24  # of an edge that are looked at
PROBE = 0.05  # along a bar, from which its angle with a line is taken [m]
ALONG = 0.1  # sine of that angle up to which a bar lies along the line
THINNER = (0.016, 0.012, 0.010, 0.008)  # of U-bars where the layer's own do not bend in the slab


def end_anchorages(
    deck: Deck,
    laid: Sequence[LaidBars],
    mat: Materials,
    used: Mapping[Layer, Used],
    shift: Mapping[Layer, float],
) -> Iterator[EndAnchorage]:
    """Of the bottom bars at every edge, the worst of each: past the first line that supports them.

    used : utilisation of every layer in bending; shift : of the tension [m]. The force at the face
    is the largest within the shift beyond it.
    """
    supports = [(line.name, line.width, _course(deck, line)) for line in deck.lines]
    worst: dict[tuple[Layer, str], EndAnchorage] = {}
    for one in laid:
        layer = one.layer
        if layer[0] != "bottom":
            continue
        for edge, paths in _ends(one.lines).items():
            for path in paths[:: max(len(paths) // MOST_ENDS, 1)]:
                first = _first_support(path, supports)
                if first is None:
                    continue
                name, gap, half = first
                inward = (path[-1] - path[0]) / np.linalg.norm(path[-1] - path[0])
                s = gap + np.linspace(0.0, half + shift[layer], 5)
                share = float(used[layer](path[0] + s[:, None] * inward).max())
                end = EndAnchorage(
                    edge=edge,
                    line=name,
                    layer=layer,
                    standard=mat.standard,
                    used=share,
                    needed=end_length(one.whole, layer, mat, share),
                    room=gap + half,
                    source=ENDS[mat.standard],
                )
                known = worst.get((layer, edge))
                if known is None or end.needed - end.room > known.needed - known.room:
                    worst[layer, edge] = end
    yield from worst.values()


def _ends(lines: Sequence[BarLine]) -> dict[str, list[Floats]]:
    """Paths of bars from their ends at edges of the slab, by edge."""
    found: dict[str, list[Floats]] = {}
    for line in lines:
        for name, path in zip(line.ends, (line.path, line.path[::-1]), strict=True):
            if name and not name.startswith("opening"):
                found.setdefault(name, []).append(path)
    return found


def _course(deck: Deck, line: Line) -> shapely.LineString:
    """A supporting line as far as it supports."""
    curves = deck.plan.lines[line.name].course(full=line.to_edges)
    return shapely.LineString(sampled(curves, DRAWN))


def _first_support(
    path: Floats, supports: Sequence[tuple[str, float, shapely.LineString]]
) -> tuple[str, float, float] | None:
    """The first line that a bar crosses from its end, how far from there, less than nothing where
    it lies beyond, and half of its width along the bar [m]."""
    inward = (path[-1] - path[0]) / np.linalg.norm(path[-1] - path[0])
    reach = shapely.LineString([path[0] - inward * 0.3, path[-1]])
    best: tuple[str, float, float] | None = None
    for name, width, course in supports:
        met = shapely.get_coordinates(reach.intersection(course))
        if len(met) == 0:
            continue
        gap = float(((met - path[0]) @ inward).min())
        sine = course.distance(shapely.Point(path[0] + (gap + PROBE) * inward)) / PROBE
        # a bar that lies along a line rests on it nowhere in particular
        if sine > ALONG and (best is None or gap < best[1]):
            best = (name, gap, 0.5 * width / sine)
    return best


def edges_with_u_bars(
    deck: Deck, ends: Sequence[EndAnchorage]
) -> dict[str, tuple[tuple[Direction, ...], bool]]:
    """Edges with the directions of the bars whose ends get U-bars, and whether these have to anchor
    the bars: free edges, joints, and where straight bars lack room."""
    lacking = {(end.edge, end.layer[1]) for end in ends if not end.holds}
    wanted = dict(free_edges(deck))
    for joint in () if deck.traffic is None else deck.traffic.joints:
        wanted.setdefault(joint, DIRECTIONS[:1])
    for edge, direction in sorted(lacking):
        wanted[edge] = tuple(dict.fromkeys((*wanted.get(edge, ()), direction)))
    return {
        edge: (directions, any((edge, d) in lacking for d in directions))
        for edge, directions in wanted.items()
    }


def u_bars(
    deck: Deck,
    laid: Sequence[LaidBars],
    edges: Mapping[str, tuple[tuple[Direction, ...], bool]],
    laps: Mapping[Layer, float],
) -> Iterator[Mark]:
    """U-bars of legs of 2 h, or of a lap where they anchor the bars, one beside every bar of the
    fuller of both mats that ends at such an edge, and beside every added bar there without which
    they would be less than its layer; thinner where these do not bend in the slab."""
    bars = deck.required_reinforcement.bars
    for edge, (directions, anchors) in edges.items():
        for direction in directions:
            full = fuller(bars, direction)
            for one in laid:
                more = one.mark and one.whole.bars(one.layer).area > bars.bars(full).area
                if one.layer == full or (more and one.layer[1] == direction):
                    leg = up(max(2.0 * bars.thickness, laps[one.layer] if anchors else 0.0))
                    yield from _u_bars(one, u_height(bars, direction), edge, leg)


def _u_bars(laid: LaidBars, height: float, edge: str, most: float) -> Iterator[Mark]:
    """Those beside bars that end at an edge; most : length of their legs, shorter ones, beside bars
    that are shorter themselves, are a series."""
    direction = laid.layer[1]
    diameter = u_diameter(laid.bars.diameter, height)
    radius = bend_radius(diameter)
    whole: list[PlacedBar] = []
    shorter: list[PlacedBar] = []
    for line in laid.lines:
        for side, name in enumerate(line.ends):
            if name != edge:
                continue
            own = min(most, down(line.length))
            path = (
                line.part(0.0, own)
                if side == 0
                else line.part(line.length - own, line.length)[::-1]
            )
            cut = up(u_length(own, height, diameter, radius))
            placed = whole if own == most else shorter
            placed.append(PlacedBar(path, cut, line.across))
    for those, leg in ((whole, round(most, 3)), (shorter, None)):
        if those:
            yield Mark(
                number=0,
                use="U-bar",
                layers=(("top", direction), ("bottom", direction)),
                of=edge,
                diameter=diameter,
                spacing=laid.bars.spacing,
                shape="21",
                a=leg,
                b=round(height, 4),
                c=leg,
                radius=(radius, radius),
                ranges=side_by_side(those),
            )


def fuller(bars: SlabBars, direction: Direction) -> Layer:
    """The layer along a direction with more steel in its mat."""
    layers: list[Layer] = [(face, direction) for face in FACES]
    return max(layers, key=lambda layer: bars.bars(layer).diameter ** 2 / bars.bars(layer).spacing)


def u_height(bars: SlabBars, direction: Direction) -> float:
    """Of U-bars between the outsides of both layers along a direction [m]."""
    return bars.thickness - sum(bars.mat(face).cover_to(direction) for face in FACES)


def u_diameter(diameter: float, height: float) -> float:
    """The largest diameter, no more than that of the bars, that bends within a height [m]."""
    for one in (diameter, *THINNER):
        if one <= diameter and 2.0 * (bend_radius(one) + one) <= height:
            return one
    return THINNER[-1]


def edge_bars(
    deck: Deck,
    edges: Mapping[str, tuple[tuple[Direction, ...], bool]],
    laps: Mapping[Layer, float],
    stock: float,
) -> Iterator[Mark]:
    """A bar at the top and one at the bottom along every edge of the slab with U-bars, in their
    bends; openings have trimmers."""
    bars = deck.required_reinforcement.bars
    for edge, (directions, _) in edges.items():
        if edge.startswith("opening") or not directions:
            continue
        a, b = np.array(course_of(deck, "x").edges[edge].coords)[[0, -1]]
        direction: Direction = "y" if abs(b - a)[0] >= abs(b - a)[1] else "x"
        layer = fuller(bars, direction)
        course = course_of(deck, layer[1])
        height = u_height(bars, direction)
        diameter = u_diameter(bars.bars(layer).diameter, height)
        path = _beside(course, edge, diameter)
        if path is None:
            continue
        length = true_length(deck.plan, path)
        along: Direction = "y" if direction == "x" else "x"
        for number, face in enumerate(FACES):
            line = BarLine(number=number, path=path, length=length, across=0.0, ends=("", ""))
            # as of the layer's own bars, in AASHTO with the square of the diameter
            lap = laps[face, along] * max(diameter / bars.bars((face, along)).largest, 1.0) ** 2
            for group in lapped([line], lap, stock, lambda points: np.zeros(len(points))):
                for placed in group.pieces():
                    bend = arc_radius(deck.plan, placed[0].path)
                    yield Mark(
                        number=0,
                        use="edge bar",
                        layers=((face, along),),
                        of=edge,
                        diameter=diameter,
                        spacing=0.0,
                        shape="00" if bend is None else "67",
                        a=round(placed[0].cut, 3),
                        b=None,
                        c=None,
                        radius=None if bend is None else (round(bend, 3), round(bend, 3)),
                        ranges=(tuple(placed),),
                    )


def _beside(course: Course, edge: str, diameter: float) -> Floats | None:
    """Plan points of a bar along an edge in the bends of U-bars of its diameter [m], with the cover
    to the neighbouring edges on all of its width."""
    line, slab = course.edges[edge], course.slab.buffer(-diameter / 2, join_style="mitre")
    inside = in_bend(diameter)
    sides = []
    for distance in (course.inset + inside, -course.inset - inside):
        met = line.offset_curve(distance).intersection(slab)
        parts = [
            p for p in shapely.get_parts(met) if isinstance(p, shapely.LineString) and p.length
        ]
        sides += [shapely.line_merge(shapely.MultiLineString(parts))] if parts else []
    if not sides:
        return None
    found = max(sides, key=lambda side: side.length)
    part = max(shapely.get_parts(found), key=lambda part: part.length)
    points = np.array(part.simplify(DRAWN).coords)
    return points if part.length > 0.3 else None
